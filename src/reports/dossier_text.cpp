#include "reports/dossier_report.hpp"

#include <algorithm>

#include <fmt/format.h>

namespace shaftlog {
namespace {

std::string h_text(const std::optional<double>& h) { return h ? fmt::format("{:.0f}", *h) : "-"; }
std::string starved_text(const std::optional<StarvedHours>& s) {
  return s ? fmt::format("about {:.0f} (least {:.0f}, most {:.0f})", s->best, s->least, s->most) : "not known";
}

class Text {
 public:
  Text(const DossierView& view, const TextStyle& style) : view_{view}, d_{view.dossier}, style_{style}, words_{view} {}

  std::string all() {
    out_ = strong(fmt::format("History of {}", words_.title()), style_) + '\n';
    line(fmt::format("as of {}; shaftlog {}", words_.as_of(), view_.version));
    line(words_.clock());
    answer();
    order();
    looked_at();
    lives();
    comparison();
    known();
    causes();
    timeline();
    suspects();
    ending();
    return std::move(out_);
  }

 private:
  void heading(std::string_view text) { out_ += '\n' + strong(text, style_) + '\n'; }
  void line(std::string_view text, int indent = 0) {
    const auto blanks = static_cast<std::size_t>(indent);
    out_ += std::string(blanks, ' ') + wrapped(text, style_.width, indent, indent) + '\n';
  }
  void item(std::string_view text) { out_ += "  - " + wrapped(text, style_.width, 4, 4) + '\n'; }
  void put(const TextTable& t) {
    if (!t.is_empty()) out_ += t.text(style_, 2);
  }

  void answer() {
    heading("In short");
    for (const std::string& s : d_.answer) item(s);
  }

  void order() {
    heading("What changed, in order (this bearing)");
    if (d_.marks.empty()) {
      line("nothing found", 2);
      return;
    }
    for (std::size_t i = 0; i < d_.marks.size(); ++i) {
      const Mark& m = d_.marks[i];
      std::string p;
      for (const OrderPair& o : d_.order) {
        if (o.a != i) continue;
        p = o.p > 0.995 ? "; before the next: sure" : fmt::format("; before the next: {:.2f}", o.p);
        break;  // the next one that is no plain event
      }
      line(fmt::format("{}  {}: {}", words_.range(m.when), name_of(m.role), m.channel), 2);
      std::string text = m.text;
      if (!m.records.empty()) text += fmt::format(" [{}]", words_.records(m.records, 3));
      if (words_.day(m.when.low) != words_.day(m.when.high)) text += "; about " + words_.day(m.when.estimate);
      line(text + p, 6);
    }
    line(
        "\"before the next\": probability, from the two ranges alone, that it came before the next change or "
        "consequence in the list.",
        2);
  }

  void looked_at() {
    heading("What was looked at");
    TextTable t{{{"what"}, {"result"}, {""}}};
    for (const LookedAt& l : d_.looked_at) t.add({l.channel, std::string{name_of(l.result)}, l.text});
    put(t);
  }

  void lives() {
    heading("Bearings, and their running hours below the reserve");
    TextTable t{{{"bearing"},
                 {"meter h", Align::right},
                 {"assumed h", Align::right},
                 {"judged h", Align::right},
                 {"below the reserve, h"},
                 {"first below, between"},
                 {"usual loss cm3/h"}}};
    for (std::size_t i = 0; i < d_.lives.size(); ++i) {
      const BearingLife& l = d_.lives[i];
      t.add({fmt::format("{}{}", i == d_.focus ? "> " : "", words_.life(l)), h_text(metered(l)), h_text(l.assumed_h),
             fmt::format("{:.0f}", l.judged_h), starved_text(l.starved_h),
             l.first_below ? words_.range(*l.first_below)
             : l.starved_h ? "never"
                           : "-",
             format_estimate(l.baseline_cm3_per_h, 2)});
      for (const Instant seal : l.seals)
        t.add({fmt::format("  seal replaced {}", words_.day(seal)), "", "", "",
               seal == l.seals.back() && l.since_last_seal ? "since: " + starved_text(l.since_last_seal) : "", "", ""});
    }
    put(t);
    const BearingLife& l = d_.lives[d_.focus];
    TextTable sums{{{"interval"},
                    {"run h", Align::right},
                    {"taken cm3", Align::right},
                    {"ended"},
                    {"loss at least", Align::right},
                    {"h below", Align::right},
                    {"usual loss", Align::right},
                    {"h below", Align::right},
                    {"record"}}};
    int left_out = 0;
    for (const IntervalAccount& a : l.intervals) {
      if (a.least_h <= 0 && a.usual_h <= 0) {
        ++left_out;
        continue;
      }
      sums.add({fmt::format("{} to {}", words_.day(a.from), words_.day(a.to)), fmt::format("{:.0f}", a.run_h),
                a.taken_cm3 ? format_figure(*a.taken_cm3) : "-",
                a.ended ? spoken(name_of(*a.ended)) : "(end of its life)", format_figure(a.least_w, 2),
                fmt::format("{:.0f}", a.least_h), format_figure(a.usual_w, 2), fmt::format("{:.0f}", a.usual_h),
                a.record.is_nil() ? "" : format_uuid(a.record).substr(0, 8)});
    }
    if (!sums.is_empty()) {
      line(
          "By hand: hours below = hours run - (capacity x (1 - reserve) - missing at the start) / (loss - dose), the "
          "loss [cm3/h] even over the interval:",
          2);
      put(sums);
      if (left_out > 0)
        line(fmt::format("and {} with none at either loss",
                         left_out == 1 ? "one interval" : fmt::format("{} intervals", left_out)),
             2);
    }
    if (!l.sensitivities.empty()) {
      line("The same total were one assumption another:", 2);
      TextTable s{{{"if"}, {"hours below the reserve"}}};
      for (const Sensitivity& x : l.sensitivities) s.add({x.what, starved_text(x.starved_h)});
      put(s);
    }
  }

  void comparison() {
    heading("Compared with its own past");
    TextTable t{{{""},
                 {"from"},
                 {"to"},
                 {"meter h", Align::right},
                 {"assumed h", Align::right},
                 {"h a day", Align::right},
                 {"greasings", Align::right},
                 {"to pressure", Align::right},
                 {"cm3", Align::right},
                 {"h between, usual", Align::right},
                 {"longest", Align::right},
                 {"days", Align::right},
                 {"longest", Align::right},
                 {"alarms", Align::right}}};
    for (const Phase& p : d_.phases)
      t.add({p.name, words_.day(p.from), words_.day(p.to), h_text(metered(p)), h_text(p.assumed_h),
             p.use_h_per_day ? format_figure(*p.use_h_per_day, 2) : "-", std::to_string(p.greasings),
             std::to_string(p.with_pressure), fmt::format("{:.0f}", p.taken_cm3), h_text(p.usual_gap_h),
             h_text(p.longest_gap_h), h_text(p.usual_gap_days), h_text(p.longest_gap_days), std::to_string(p.alarms)});
    put(t);
    for (const std::string& note : phase_notes(d_.phases)) line(note, 2);
    heading("Compared with other shafts, up to the end of this bearing");
    TextTable peers{{{""},
                     {"shaft"},
                     {"usual loss cm3/h"},
                     {"this one's over it"},
                     {"h between greasings, usual", Align::right},
                     {"longest", Align::right},
                     {"of", Align::right}}};
    for (const Peer& p : d_.peers)
      peers.add({spoken(name_of(p.kind)), p.key, format_estimate(p.washout_cm3_per_h, 2), format_estimate(p.ratio, 2),
                 h_text(p.usual_gap_h), h_text(p.longest_gap_h), std::to_string(p.intervals)});
    put(peers);
    if (std::none_of(d_.peers.begin(), d_.peers.end(), [](const Peer& p) { return p.kind == PeerKind::twin; }))
      line("No twin: no shaft of this ship has the same code with port and starboard exchanged.", 2);
    line(
        "The losses are drawn towards the group's as far as a shaft's own records leave them open; greasing intervals "
        "are "
        "those since the first change, where there is one.",
        2);
  }

  void known() {
    heading("What was written when, and what the program would have said");
    const Lateness& l = d_.lateness;
    line(fmt::format(
             "{} records in force about this shaft and what serves it: written after the event by {} days in the "
             "middle, {} for 9 in 10, {} at most; {} more than {} days late; {} corrections, {} withdrawals.",
             l.records, format_figure(l.median_days, 2), format_figure(l.p90_days, 2), format_figure(l.longest_days, 2),
             l.late, format_figure(kLate_days), l.corrected, l.withdrawn),
         2);
    if (!l.late_records.empty()) line(fmt::format("latest: {}", words_.records(l.late_records, 5)), 2);
    if (!is_told_known(d_)) line(untold_text(d_, words_.zone()), 2);
    if (!d_.told_step_days) return;
    if (d_.told.empty()) {
      line("The program would have said nothing about this shaft during this bearing's life.", 2);
      return;
    }
    TextTable t{{{"first said"}, {"act from"}, {"last"}, {"finding"}, {"in the words of that day"}}};
    for (const Told& x : d_.told)
      t.add({words_.day(x.first), x.first_act ? words_.day(*x.first_act) : "-", words_.day(x.last),
             fmt::format("{} {}", words_.names().subject(x.shaft, x.lubricator), spoken(name_of(x.kind))), x.summary});
    put(t);
    line(
        fmt::format(
            "This version of the program, with only what had happened and been recorded by the noon (UTC) of each day; "
            "looked at every {:.0f} days, first days found to the day. To see one: review --vessel {} --as-of DAY "
            "--known DAY.",
            *d_.told_step_days, words_.names().vessel(d_.vessel)),
        2);
  }

  void causes() {
    if (d_.causes.empty()) return;
    heading("Competing causes");
    for (const CauseMatrix& m : d_.causes) {
      line(fmt::format("{}: {}", spoken(name_of(m.kind)), m.about), 2);
      TextTable t{{{"weight", Align::right}, {"cause"}, {"present"}, {"absent"}, {"not known"}}};
      const auto list = [](const std::vector<std::string>& words) {
        std::string out;
        for (const std::string& w : words) out += (out.empty() ? "" : ", ") + spoken(w);
        return out.empty() ? std::string{"-"} : out;
      };
      for (const CompetingCause& c : m.causes)
        t.add({c.lacks_required ? "no" : fmt::format("{:.1f}", c.score), c.text, list(c.present), list(c.absent),
               list(c.unknown)});
      put(t);
      for (const Symptom& s : m.symptoms)
        if (s.seen != Seen::unknown) line(fmt::format("{} ({}): {}", spoken(s.word), name_of(s.seen), s.why), 4);
      for (const std::string& x : m.reasoning) line("by arithmetic: " + x, 4);
      if (!m.deciding.empty()) {
        line("Would decide between the leading ones:", 2);
        for (const std::string& x : m.deciding) line("- " + x, 4);
      }
      out_ += '\n';
    }
    line(
        "Weights are judgements of the trade (natural logarithms), comparable within one table only; \"no\": a sign "
        "without "
        "which it does not stand is not there. A cause that is not in the table is never named.",
        2);
  }

  void timeline() {
    heading("Timeline (the ship's clock)");
    TextTable t{{{"when"}, {"what"}, {"says"}, {"by"}, {"record"}}};
    for (const TimelineItem& x : d_.timeline) {
      std::string when = words_.moment(x.from, x.from == x.to ? x.precision : Precision::day);
      if (x.from != x.to) when += " to " + words_.moment(x.to, Precision::day);
      std::string says = words_.says(x);
      if (x.late_days) says += fmt::format(" (written {} days later)", format_figure(*x.late_days, 2));
      t.add({when, words_.what(x), says, words_.by(x), words_.records(x.records, 1)});
    }
    put(t);
  }

  void suspects() {
    if (d_.suspects.empty()) return;
    heading("Records that contradict others");
    for (const Suspect& s : d_.suspects) item(fmt::format("{}: {}", words_.record(s.record), s.says));
  }

  void ending() {
    heading("Caveats");
    for (const std::string& c : d_.caveats) item(c);
    heading("Methods");
    for (const auto& [what, page] : dossier_methods()) item(fmt::format("{}: {}", what, page));
    line("All ranges are 5 to 95 % unless another is named.", 2);
    const std::vector<std::string> cautions = dossier_cautions(d_);
    if (!cautions.empty()) {
      heading("Before any check");
      for (const std::string& c : cautions) item(c);
      item("Makers' instructions, class, flag, local rules and licensed practice decide.");
    }
  }

  const DossierView& view_;
  const Dossier& d_;
  TextStyle style_;
  DossierWords words_;
  std::string out_;
};

}  // namespace

std::string dossier_text(const DossierView& view, const TextStyle& style) { return Text{view, style}.all(); }

}  // namespace shaftlog
