#include "reports/dossier_charts.hpp"
#include "reports/html_page.hpp"
#include "reports/pdf_pages.hpp"

#include <algorithm>

#include <fmt/format.h>

namespace shaftlog {
namespace {

std::string h_text(const std::optional<double>& h) { return h ? fmt::format("{:.0f}", *h) : "-"; }
std::string starved_text(const std::optional<StarvedHours>& s) {
  return s ? fmt::format("{:.0f} ({:.0f} to {:.0f})", s->best, s->least, s->most) : "not known";
}

/// A table by its heads; one that begins with '#' is of figures.
ReportTable table(std::string caption, std::initializer_list<std::string_view> heads, std::string when_empty = "none") {
  ReportTable t;
  t.caption = std::move(caption);
  for (const std::string_view h : heads) {
    const bool is_number = h.starts_with("#");
    t.columns.push_back({std::string{is_number ? h.substr(1) : h}, is_number});
  }
  t.when_empty = std::move(when_empty);
  return t;
}

void add(ReportTable& t, std::vector<std::string> cells) {
  TableRow row;
  for (std::string& c : cells) row.cells.push_back({std::move(c), std::nullopt});
  t.rows.push_back(std::move(row));
}

class Document {
 public:
  explicit Document(const DossierView& view) : view_{view}, d_{view.dossier}, words_{view} {}

  Report all() {
    r_.title = fmt::format("History of {}", words_.title());
    r_.subtitle = fmt::format("as of {}; shaftlog {}; {}", words_.as_of(), view_.version, words_.clock());
    r_.footer = fmt::format("{}, as of {}; shaftlog {}", r_.title, words_.day(d_.as_of), view_.version);
    r_.as_of = d_.as_of;
    heading("In short", "short");
    r_.blocks.emplace_back(BulletList{"", d_.answer});
    heading("Over time", "charts");
    for (ChartBlock& c : dossier_charts(view_, words_)) r_.blocks.emplace_back(std::move(c));
    order();
    bearings();
    comparison();
    known();
    causes();
    timeline();
    if (!d_.suspects.empty()) {
      heading("Records that contradict others", "suspects");
      ReportTable t = table("", {"record", "what is odd"});
      for (const Suspect& s : d_.suspects) add(t, {words_.record(s.record), s.says});
      put(std::move(t));
    }
    heading("Caveats", "caveats");
    r_.blocks.emplace_back(BulletList{"", d_.caveats});
    heading("Methods", "methods");
    ReportTable t = table("All ranges are 5 to 95 % unless another is named.", {"figure", "page"});
    for (const auto& [what, page] : dossier_methods()) add(t, {what, page});
    put(std::move(t));
    return std::move(r_);
  }

 private:
  void heading(std::string text, std::string anchor) {
    r_.blocks.emplace_back(Heading{2, std::move(text), std::move(anchor)});
  }
  void paragraph(std::string text) { r_.blocks.emplace_back(Paragraph{std::move(text), false, false}); }
  void note(std::string text) { r_.blocks.emplace_back(Paragraph{std::move(text), true, false}); }
  void put(ReportTable t) { r_.blocks.emplace_back(std::move(t)); }

  void order() {
    heading("What changed, in order (this bearing)", "order");
    ReportTable t = table("", {"between", "", "before the next", "what"}, "Nothing found.");
    for (std::size_t i = 0; i < d_.marks.size(); ++i) {
      const Mark& m = d_.marks[i];
      std::string p;
      for (const OrderPair& o : d_.order)
        if (o.a == i) {
          p = o.p > 0.995 ? "sure" : fmt::format("{:.2f}", o.p);
          break;  // the next one that is no plain event
        }
      std::string what = fmt::format("{}: {}", m.channel, m.text);
      if (words_.day(m.when.low) != words_.day(m.when.high)) what += "; about " + words_.day(m.when.estimate);
      if (!m.records.empty()) what += fmt::format(" [{}]", words_.records(m.records, 3));
      add(t, {words_.range(m.when), std::string{name_of(m.role)}, p, std::move(what)});
    }
    put(std::move(t));
    note(
        "\"Before the next\": probability, from the two ranges alone, that it came before the next change or "
        "consequence "
        "in the list.");
    ReportTable looked = table("What was looked at", {"what", "result", ""});
    for (const LookedAt& l : d_.looked_at) add(looked, {l.channel, std::string{name_of(l.result)}, l.text});
    put(std::move(looked));
  }

  void bearings() {
    heading("Bearings, and their running hours below the reserve", "bearings");
    ReportTable t = table("Best (least to most).", {"bearing", "#meter h", "#assumed h", "#judged h",
                                                    "#below the reserve, h", "first below", "usual loss, cm3/h"});
    for (std::size_t i = 0; i < d_.lives.size(); ++i) {
      const BearingLife& l = d_.lives[i];
      std::string name = words_.life(l);
      if (i == d_.focus && d_.lives.size() > 1) name += " (the one in question)";
      for (const Instant s : l.seals) name += fmt::format("; seal replaced {}", words_.day(s));
      std::string below = starved_text(l.starved_h);
      if (l.since_last_seal) below += fmt::format("; since the last seal {}", starved_text(l.since_last_seal));
      add(t, {name, h_text(metered(l)), h_text(l.assumed_h), fmt::format("{:.0f}", l.judged_h), below,
              l.first_below ? words_.range(*l.first_below)
              : l.starved_h ? "never"
                            : "-",
              format_estimate(l.baseline_cm3_per_h, 2)});
    }
    put(std::move(t));
    const BearingLife& l = d_.lives[d_.focus];
    ReportTable sums = table(
        "By hand, every interval: hours below = hours run - (capacity x (1 - reserve) - missing at the start) / (loss "
        "- "
        "dose), the loss [cm3/h] even over the interval.",
        {"interval", "#run h", "#taken cm3", "ended", "#loss at least", "#h below", "#usual loss", "#h below",
         "record"},
        "No greasing of this bearing.");
    for (const IntervalAccount& a : l.intervals)
      add(sums,
          {fmt::format("{} to {}", words_.day(a.from), words_.day(a.to)), fmt::format("{:.0f}", a.run_h),
           a.taken_cm3 ? format_figure(*a.taken_cm3) : "-", a.ended ? spoken(name_of(*a.ended)) : "(end of its life)",
           format_figure(a.least_w, 2), fmt::format("{:.0f}", a.least_h), format_figure(a.usual_w, 2),
           fmt::format("{:.0f}", a.usual_h), a.record.is_nil() ? "" : format_uuid(a.record).substr(0, 8)});
    put(std::move(sums));
    if (l.sensitivities.empty()) return;
    ReportTable s = table("The same total were one assumption another.", {"if", "hours below the reserve"});
    for (const Sensitivity& x : l.sensitivities) add(s, {x.what, starved_text(x.starved_h)});
    put(std::move(s));
  }

  void comparison() {
    heading("Compared", "compared");
    ReportTable t = table("With its own past.",
                          {"", "from", "to", "#meter h", "#assumed h", "#h a day", "#greas- ings", "#to pres- sure",
                           "#cm3", "#h between", "#longest", "#days between", "#longest", "#alarms"});
    for (const Phase& p : d_.phases)
      add(t, {p.name, words_.day(p.from), words_.day(p.to), h_text(metered(p)), h_text(p.assumed_h),
              p.use_h_per_day ? format_figure(*p.use_h_per_day, 2) : "-", std::to_string(p.greasings),
              std::to_string(p.with_pressure), fmt::format("{:.0f}", p.taken_cm3), h_text(p.usual_gap_h),
              h_text(p.longest_gap_h), h_text(p.usual_gap_days), h_text(p.longest_gap_days), std::to_string(p.alarms)});
    put(std::move(t));
    for (const std::string& note : phase_notes(d_.phases)) paragraph(note);
    ReportTable peers = table(
        "With other shafts, up to the end of this bearing; hours between greasings since the first change, where there "
        "is "
        "one. Losses are drawn towards the group's as far as a shaft's own records leave them open.",
        {"", "shaft", "usual loss, cm3/h", "this one's over it", "#h between", "#longest", "#of"});
    for (const Peer& p : d_.peers)
      add(peers, {spoken(name_of(p.kind)), p.key, format_estimate(p.washout_cm3_per_h, 2), format_estimate(p.ratio, 2),
                  h_text(p.usual_gap_h), h_text(p.longest_gap_h), std::to_string(p.intervals)});
    put(std::move(peers));
  }

  void known() {
    heading("What was written when, and what the program would have said", "known");
    const Lateness& l = d_.lateness;
    paragraph(
        fmt::format("{} records in force about this shaft and what serves it: written after the event by {} days in "
                    "the middle, {} for 9 "
                    "in 10, {} at most; {} more than {} days late; {} corrections, {} withdrawals.",
                    l.records, format_figure(l.median_days, 2), format_figure(l.p90_days, 2),
                    format_figure(l.longest_days, 2), l.late, format_figure(kLate_days), l.corrected, l.withdrawn));
    if (!is_told_known(d_)) paragraph(untold_text(d_, words_.zone()));
    if (!d_.told_step_days) return;
    ReportTable t = table("", {"first said", "act from", "last", "finding", "in the words of that day"},
                          "The program would have said nothing about this shaft.");
    for (const Told& x : d_.told)
      add(t, {words_.day(x.first), x.first_act ? words_.day(*x.first_act) : "-", words_.day(x.last),
              fmt::format("{} {}", words_.names().subject(x.shaft, x.lubricator), spoken(name_of(x.kind))), x.summary});
    put(std::move(t));
    note(fmt::format(
        "This version of the program, with only what had happened and been recorded by the noon (UTC) of each "
        "day; looked at every {:.0f} days, first days found to the day.",
        *d_.told_step_days));
  }

  void causes() {
    if (d_.causes.empty()) return;
    heading("Competing causes", "causes");
    const auto join = [](const std::vector<std::string>& words) {
      std::string out;
      for (const std::string& w : words) out += (out.empty() ? "" : ", ") + spoken(w);
      return out.empty() ? std::string{"-"} : out;
    };
    for (const CauseMatrix& m : d_.causes) {
      r_.blocks.emplace_back(Heading{3, spoken(name_of(m.kind)), fmt::format("cause-{}", static_cast<int>(m.kind))});
      paragraph(m.about);
      ReportTable t = table("", {"#weight", "cause", "present", "absent", "not known"});
      for (const CompetingCause& c : m.causes)
        add(t, {c.lacks_required ? "no" : fmt::format("{:.1f}", c.score), c.text, join(c.present), join(c.absent),
                join(c.unknown)});
      put(std::move(t));
      ReportTable s = table("Signs.", {"sign", "", "rests on"});
      for (const Symptom& x : m.symptoms) add(s, {spoken(x.word), std::string{name_of(x.seen)}, x.why});
      put(std::move(s));
      if (!m.reasoning.empty()) r_.blocks.emplace_back(BulletList{"By arithmetic", m.reasoning});
      if (!m.deciding.empty()) r_.blocks.emplace_back(BulletList{"Would decide between the leading ones", m.deciding});
    }
    note(
        "Weights are judgements of the trade (natural logarithms), comparable within one table only; \"no\": a sign "
        "without "
        "which it does not stand is not there. A cause that is not in the table is never named.");
    std::vector<std::string> cautions = dossier_cautions(d_);
    if (cautions.empty()) return;
    cautions.emplace_back("makers' instructions, class, flag, local rules and licensed practice decide");
    r_.blocks.emplace_back(Cautions{"Before any check", std::move(cautions)});
  }

  void timeline() {
    heading("Timeline (the ship's clock)", "timeline");
    ReportTable t = table("", {"when", "what", "says", "by", "record"});
    for (const TimelineItem& x : d_.timeline) {
      std::string when = words_.moment(x.from, x.from == x.to ? x.precision : Precision::day);
      if (x.from != x.to) when += " to " + words_.moment(x.to, Precision::day);
      std::string says = words_.says(x);
      if (x.late_days) says += fmt::format(" (written {} days later)", format_figure(*x.late_days, 2));
      add(t, {when, words_.what(x), says, words_.by(x), words_.records(x.records, 1)});
    }
    put(std::move(t));
  }

  const DossierView& view_;
  const Dossier& d_;
  DossierWords words_;
  Report r_;
};

}  // namespace

Report dossier_blocks(const DossierView& view) { return Document{view}.all(); }
std::string dossier_html(const DossierView& view) { return html_page(Document{view}.all()); }
std::string dossier_pdf(const DossierView& view) { return pdf_pages(Document{view}.all(), Paper::a4); }

}  // namespace shaftlog
