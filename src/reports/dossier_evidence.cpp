#include "reports/csv_text.hpp"
#include "reports/dossier_report.hpp"

#include <cmath>

#include <fmt/format.h>

namespace shaftlog {
namespace {

std::string number(double x) { return std::isfinite(x) ? fmt::format("{:.6g}", x) : ""; }
std::string number(const std::optional<double>& x) { return x ? number(*x) : ""; }
std::string id_of(const Uuid& id) { return id.is_nil() ? "" : format_uuid(id); }
std::string ids_of(std::span<const Uuid> ids) {
  std::string out;
  for (const Uuid& id : ids) {
    if (!out.empty()) out += ' ';
    out += format_uuid(id);
  }
  return out;
}

std::string hours_csv(const Dossier& d) {
  std::string out = csv_row({"at_utc", "hours_since_first", "is_estimated", "sd_h"});
  for (const HoursCurve::Point& p : d.detail.hours.points())
    out += csv_row({format_utc(p.at), number(p.hours), p.is_estimated ? "yes" : "no", number(p.sd_h)});
  return out;
}

std::string fill_csv(const Dossier& d) {
  std::string out = csv_row({"bearing", "at_utc", "fill_pct", "fill_low", "fill_high", "is_greasing"});
  for (std::size_t i = 0; i < d.lives.size(); ++i)
    for (const FillPoint& p : d.lives[i].fill)
      out += csv_row({std::to_string(i + 1), format_utc(p.at), number(p.fill_pct.value), number(p.fill_pct.low),
                      number(p.fill_pct.high), p.is_greasing ? "yes" : "no"});
  return out;
}

std::string washout_csv(const Dossier& d) {
  std::string out = csv_row({"at_utc", "record", "run_h", "delivered_cm3", "taken_cm3", "ended", "expected_cm3",
                             "expected_low", "expected_high", "washout_cm3_per_h", "washout_low", "washout_high",
                             "p_step", "p_wear", "missing_after_cm3"});
  const auto& steps = d.detail.washout.steps;
  const auto& all = d.detail.history.intervals;
  for (std::size_t i = 0; i < steps.size() && i < all.size(); ++i) {
    const WashoutStep& s = steps[i];
    out += csv_row({format_utc(s.at), id_of(s.record), number(all[i].run_h), number(all[i].delivered_cm3),
                    number(all[i].taken_cm3), std::string{name_of(all[i].ended)}, number(s.expected_cm3),
                    number(s.expected_low), number(s.expected_high), number(s.washout_cm3_per_h.value),
                    number(s.washout_cm3_per_h.low), number(s.washout_cm3_per_h.high), number(s.p_step),
                    number(s.p_wear), number(s.missing_after_cm3)});
  }
  return out;
}

std::string intervals_csv(const Dossier& d) {
  std::string out =
      csv_row({"bearing", "from_utc", "to_utc", "record", "run_h", "delivered_cm3", "missing_before_cm3", "taken_cm3",
               "ended", "is_bound", "least_loss_cm3_per_h", "least_h_below", "usual_loss_cm3_per_h", "usual_h_below"});
  for (std::size_t i = 0; i < d.lives.size(); ++i)
    for (const IntervalAccount& a : d.lives[i].intervals)
      out += csv_row({std::to_string(i + 1), format_utc(a.from), format_utc(a.to), id_of(a.record), number(a.run_h),
                      number(a.delivered_cm3), number(a.missing_before_cm3), number(a.taken_cm3),
                      a.ended ? std::string{name_of(*a.ended)} : "", a.is_bound ? "yes" : "no", number(a.least_w),
                      number(a.least_h), number(a.usual_w), number(a.usual_h)});
  return out;
}

std::string bearings_csv(const Dossier& d) {
  std::string out = csv_row(
      {"bearing", "from_utc", "to_utc", "if", "running_h", "assumed_h", "judged_h", "least_h", "best_h", "most_h"});
  const auto row = [&](std::size_t i, const std::string& what, const std::optional<StarvedHours>& s) {
    const BearingLife& l = d.lives[i];
    out += csv_row({std::to_string(i + 1), format_utc(l.from), format_utc(l.to), what, number(l.run_h),
                    number(l.assumed_h), number(l.judged_h), s ? number(s->least) : "", s ? number(s->best) : "",
                    s ? number(s->most) : ""});
  };
  for (std::size_t i = 0; i < d.lives.size(); ++i) {
    row(i, "as registered", d.lives[i].starved_h);
    for (const Sensitivity& s : d.lives[i].sensitivities) row(i, s.what, s.starved_h);
  }
  return out;
}

std::string changes_csv(const Dossier& d) {
  std::string out = csv_row({"n", "channel", "role", "estimate_utc", "low_utc", "high_utc", "spread", "p_first",
                             "strength", "text", "records"});
  for (std::size_t i = 0; i < d.marks.size(); ++i) {
    const Mark& m = d.marks[i];
    out += csv_row({std::to_string(i), m.channel, std::string{name_of(m.role)}, format_utc(m.when.estimate),
                    format_utc(m.when.low), format_utc(m.when.high), m.spread == Spread::even ? "even" : "normal",
                    number(m.p_first), number(m.strength), m.text, ids_of(m.records)});
  }
  return out;
}

std::string order_csv(const Dossier& d) {
  std::string out = csv_row({"first", "then", "p", "ranges_overlap"});
  for (const OrderPair& o : d.order)
    out += csv_row({std::to_string(o.a), std::to_string(o.b), number(o.p), o.overlap ? "yes" : "no"});
  return out;
}

std::string delivery_csv(const Dossier& d, const Names& names) {
  std::string out = csv_row({"lubricator", "from_utc", "to_utc", "record", "called_for_cm3", "used_cm3", "ratio",
                             "ratio_low", "ratio_high", "p_low", "p_high"});
  for (const LubricatorDetail& l : d.lubricators)
    for (const RatioStep& s : l.delivery.steps)
      out += csv_row({std::string{names.lubricator(l.lubricator)}, format_utc(s.from), format_utc(s.at),
                      id_of(s.record), number(s.expected_cm3), number(s.used_cm3), number(s.ratio.value().value),
                      number(s.ratio.value().low), number(s.ratio.value().high), number(s.p_low), number(s.p_high)});
  return out;
}

std::string peers_csv(const Dossier& d) {
  std::string out = csv_row({"kind", "shaft", "loss_cm3_per_h", "loss_low", "loss_high", "ratio", "ratio_low",
                             "ratio_high", "usual_gap_h", "longest_gap_h", "gaps"});
  for (const Peer& p : d.peers) {
    const auto part = [](const std::optional<Estimate>& e, double Estimate::*which) {
      return e ? number((*e).*which) : std::string{};
    };
    out += csv_row({std::string{name_of(p.kind)}, p.key, part(p.washout_cm3_per_h, &Estimate::value),
                    part(p.washout_cm3_per_h, &Estimate::low), part(p.washout_cm3_per_h, &Estimate::high),
                    part(p.ratio, &Estimate::value), part(p.ratio, &Estimate::low), part(p.ratio, &Estimate::high),
                    number(p.usual_gap_h), number(p.longest_gap_h), std::to_string(p.intervals)});
  }
  return out;
}

std::string told_csv(const Dossier& d, const Names& names) {
  std::string out =
      csv_row({"kind", "shaft", "lubricator", "first_utc", "first_urgency", "first_act_utc", "last_utc", "summary"});
  for (const Told& t : d.told)
    out += csv_row({std::string{name_of(t.kind)}, std::string{names.shaft(t.shaft)},
                    std::string{names.lubricator(t.lubricator)}, format_utc(t.first), std::string{name_of(t.urgency)},
                    t.first_act ? format_utc(*t.first_act) : "", format_utc(t.last), t.summary});
  return out;
}

std::string formulas(const Dossier& d) {
  const WashoutPrior& p = d.detail.prior;
  std::string out = R"(Formulas

Symbols: H running hours [h]; C capacity of the cavity [cm3]; R reserve [share of C]; w loss [cm3/h]; D grease delivered
automatically in an interval [cm3]; x missing volume [cm3]; y amount that a greasing took [cm3].

Running hours      H between two moments: the line between the neighbouring meter readings that can all be true.
Balance            x after h hours = x before + w h - D, never below 0, never above C. fill = 100 (1 - x / C) %.
Greasing           ended with pressure: y = x + error, then x = 0. At the limit or broken off: x >= y, then x - y.
Loss, by hand      w = (y + D - x before) / h; with y >= 0.95 C, at the limit or broken off this is the least w only.
Hours below, by hand   h - (C (1 - R) - x before) / (w - D / h), not below 0.
Hours below, computed  the same sum over all intervals with the law of w of each: docs/methods/fill.md. Least, best, most
                   are its 5, 50 and 95 % points.
Loss, computed     posterior of w by a filter over constant, stepped and rising histories, with the prior
                   ln w ~ N(mean, sd): docs/methods/washout.md, fleet-prior.md.
Habit of greasing  left when a gap is 1.5 times the longest before and the median of the gaps from then on is 1.5 times the
                   median before, at least 5 gaps before. By chance alone: 1 in (n + k over k) when all k later gaps are
                   longer than all n before.
Order              P(A before B) = share of pairs of 101 equally likely points of each range in which A is earlier; even
                   between two records, else a normal law on either side of the median. First of all: product over the others.
Delivery ratio     grease that left the reservoir / (doses x cycles): docs/methods/delivery.md.
Causes             score = base + weights of signs present - weights of signs looked for and absent: docs/methods/causes.md.

)";
  out += fmt::format(
      "What the fleet taught about this shaft: ln w has mean {} and sd {} ({} shafts); repeatability of full {} cm3;\n"
      "relative error of an amount {}; scatter of ln w from interval to interval {}, over a season {}.\n",
      number(p.mean_log_w), number(p.sd_log_w), p.shafts, number(p.fill_sd_cm3), number(p.relative_sd),
      number(p.duty_sd), number(p.season_sd));
  return out;
}

std::string readme(const DossierView& view, const DossierWords& words) {
  return fmt::format(R"(Evidence on {}
as of {}
made by shaftlog {}

dossier.txt, .json, .html, .pdf   the dossier: the same content for each reader
series/*.csv                the figures behind every table and chart; times in UTC, empty where not known
formulas.txt                how they are computed
records/*.csv               the register and every version of every record of the ship, unaltered: what was corrected or
                            withdrawn stands beside what replaced it
SHA256SUMS                  sums of all these files

To check that nothing was changed since:   sha256sum -c SHA256SUMS
To read the records into a new file:       shaftlog --db check.db init; shaftlog --db check.db import records
To make the dossier from them:             shaftlog --db check.db history {} {} --until {}{}

The records of other ships are not here. What they taught is the law of the loss named in formulas.txt, and the sister ships in
series/peers.csv; a dossier made from this folder alone differs from this one by as much as that says. From the file that this
folder was made from, the same command gives the same bytes (dossier.pdf with the same drawing library).
)",
                     words.title(), words.as_of(), view.version, words.names().vessel(view.dossier.vessel),
                     words.names().shaft(view.dossier.shaft), format_utc(view.dossier.as_of),
                     view.known ? " --known " + format_utc(*view.known) : "");
}

}  // namespace

std::vector<std::pair<std::string, std::string>> dossier_evidence(const DossierView& view) {
  const Dossier& d = view.dossier;
  const DossierWords words{view};
  std::vector<std::pair<std::string, std::string>> out;
  out.emplace_back("README.txt", readme(view, words));
  out.emplace_back("dossier.txt", dossier_text(view, TextStyle{120, false}));
  out.emplace_back("dossier.json", dossier_json(view));
  out.emplace_back("dossier.html", dossier_html(view));
  out.emplace_back("dossier.pdf", dossier_pdf(view));
  out.emplace_back("formulas.txt", formulas(d));
  out.emplace_back("series/bearings.csv", bearings_csv(d));
  out.emplace_back("series/changes.csv", changes_csv(d));
  out.emplace_back("series/delivery.csv", delivery_csv(d, words.names()));
  out.emplace_back("series/fill.csv", fill_csv(d));
  out.emplace_back("series/hours.csv", hours_csv(d));
  out.emplace_back("series/intervals.csv", intervals_csv(d));
  out.emplace_back("series/order.csv", order_csv(d));
  out.emplace_back("series/peers.csv", peers_csv(d));
  out.emplace_back("series/timeline.csv", timeline_csv(view));
  out.emplace_back("series/told.csv", told_csv(d, words.names()));
  out.emplace_back("series/washout.csv", washout_csv(d));
  return out;
}

}  // namespace shaftlog
