#include "reports/advise_report.hpp"
#include "reports/csv_text.hpp"
#include "reports/format.hpp"
#include "reports/json.hpp"

#include <cmath>

namespace shaftlog {

namespace {

std::string cell(const std::optional<double>& v) { return v ? format_figure(*v, 6) : ""; }

void add_estimate(std::vector<std::string>& row, const std::optional<Estimate>& e) {
  for (const double Estimate::*part : {&Estimate::value, &Estimate::low, &Estimate::high})
    row.push_back(e ? format_figure((*e).*part, 6) : "");
}

std::optional<Estimate> kg(const std::optional<YearOfGrease>& y, Estimate YearOfGrease::*what,
                           const std::optional<double>& density) {
  if (!y || !density) return std::nullopt;
  const Estimate& e = (*y).*what;
  return Estimate{e.value * *density / 1000, e.low * *density / 1000, e.high * *density / 1000};
}

std::optional<double> kg(const std::optional<double>& cm3, double density) {
  if (!cm3 || !(density > 0)) return std::nullopt;
  return *cm3 * density / 1000;
}

std::optional<double> packs(const AdviceView& view, const OrderLine& l) {
  const auto weight = kg(l.p90_cm3, l.density_g_cm3);
  if (!weight || !view.pack_kg) return std::nullopt;
  return std::ceil(*weight / *view.pack_kg);
}

void write_year(JsonWriter& json, std::string_view key, const std::optional<YearOfGrease>& y,
                const std::optional<double>& density) {
  json.key(key);
  if (!y) {
    json.null();
    return;
  }
  json.begin_object();
  json.key("greasings").number(y->greasings);
  json.key("by_hand_cm3").estimate(y->by_hand_cm3);
  json.key("automatic_cm3").estimate(y->automatic_cm3);
  json.key("to_sea_cm3").estimate(y->to_sea_cm3);
  json.key("to_sea_kg").estimate(kg(y, &YearOfGrease::to_sea_cm3, density));
  json.key("surplus_cm3").estimate(y->surplus_cm3);
  json.key("below_reserve_h").estimate(y->below_reserve_h);
  json.end_object();
}

void write_shaft(JsonWriter& json, const ShaftAdvice& a, const Names& names) {
  json.begin_object();
  json.key("vessel").text(names.vessel(a.vessel));
  json.key("shaft").text(names.shaft(a.shaft));
  json.key("verdict").text(name_of(a.verdict));
  json.key("reason").text_or_null(a.reason);
  json.key("causes_first").texts(a.causes_first);
  json.key("washout_cm3_per_h").estimate(a.washout_cm3_per_h);
  json.key("intervals").integer(a.intervals);
  json.key("mostly_bounded").boolean(a.is_mostly_bounded);
  json.key("cavity_cm3").number(a.cavity_cm3);
  json.key("reserve_pct").number(a.reserve_pct);
  json.key("hours_per_year").number(a.hours_per_year);
  json.key("registered_h").number(a.registered_h);
  json.key("practised_h").number(a.practised_h);
  json.key("present_h").number(a.present_h);
  json.key("p_holds").number(a.p_holds);
  json.key("p_practised").number(a.p_practised);
  json.key("overdue").boolean(a.is_overdue);
  json.key("since_last_h").number(a.since_last_h);
  json.key("p_now").number(a.p_now);
  json.key("longest_h").number(a.longest_h);
  json.key("has_limit").boolean(a.has_limit);
  json.key("automatic").boolean(a.is_automatic);
  json.key("dose_vouched").boolean(a.is_dose_vouched);
  json.key("feeds").begin_list();
  for (const FeedSetting& f : a.feeds) {
    json.begin_object();
    json.key("lubricator").text(names.lubricator(f.lubricator));
    json.key("dose_cm3").number(f.dose_cm3);
    json.key("cycle_min").number(f.cycle_min);
    json.end_object();
  }
  json.end_list();
  json.key("dose_cm3_per_h").number(a.is_automatic ? std::optional{a.dose_cm3_per_h} : std::nullopt);
  json.key("arrives").estimate(a.is_automatic ? std::optional{a.arrives} : std::nullopt);
  json.key("as_if_mended").boolean(a.is_as_if_mended);
  json.key("smallest_dose_cm3_per_h").number(a.smallest_dose_cm3_per_h);
  json.key("smallest_alone_cm3_per_h").number(a.smallest_alone_cm3_per_h);
  json.key("advised_h").number(a.advised_h);
  json.key("advised_dose_cm3_per_h").number(a.advised_dose_cm3_per_h);
  write_year(json, "year_now", a.year_now, a.density_g_cm3);
  write_year(json, "year_advised", a.year_advised, a.density_g_cm3);
  json.key("says").texts(a.says);
  json.end_object();
}

}  // namespace

std::string advice_json(const AdviceView& view) {
  const Names names{view.reg};
  JsonWriter json;
  json.begin_object();
  json.key("as_of").time(view.as_of);
  json.key("confidence").number(kAdviceConfidence);
  json.key("shafts").begin_list();
  for (const ShaftAdvice& a : view.shafts) write_shaft(json, a, names);
  json.end_list();
  if (view.order_days > 0) {
    json.key("order_days").number(view.order_days);
    json.key("order").begin_list();
    for (const OrderLine& l : view.order) {
      json.begin_object();
      json.key("vessel").text(names.vessel(l.vessel));
      json.key("grease").text(names.grease(l.grease));
      json.key("p50_cm3").number(l.p50_cm3);
      json.key("p90_cm3").number(l.p90_cm3);
      json.key("p50_kg").number(kg(l.p50_cm3, l.density_g_cm3));
      json.key("p90_kg").number(kg(l.p90_cm3, l.density_g_cm3));
      json.key("by_hand_p50_kg").number(kg(l.by_hand_p50_cm3, l.density_g_cm3));
      json.key("automatic_p50_kg").number(kg(l.automatic_p50_cm3, l.density_g_cm3));
      json.key("packs").number(packs(view, l));
      json.key("left_out").begin_list();
      for (const ShaftId s : l.left_out) json.text(names.shaft(s));
      json.end_list();
      json.end_object();
    }
    json.end_list();
  }
  if (view.with_peers) {
    json.key("peers_compared").integer(static_cast<std::int64_t>(view.peers_compared));
    json.key("peers").begin_list();
    for (const PeerLoss& p : view.peers) {
      json.begin_object();
      json.key("vessel").text(names.vessel(p.vessel));
      json.key("shaft").text(names.shaft(p.shaft));
      json.key("group").text(p.group);
      json.key("sisters").integer(p.sisters);
      json.key("own_cm3_per_h").estimate(p.own_cm3_per_h);
      json.key("shrunk_cm3_per_h").estimate(p.shrunk_cm3_per_h);
      json.key("factor").number(p.factor);
      json.key("p").number(p.p);
      json.key("adjusted_p").number(p.adjusted_p);
      json.key("stands_out").boolean(p.stands_out);
      json.end_object();
    }
    json.end_list();
    json.key("alarm_peers_compared").integer(static_cast<std::int64_t>(view.alarm_peers_compared));
    json.key("alarm_peers").begin_list();
    for (const PeerAlarms& p : view.alarm_peers) {
      json.begin_object();
      json.key("vessel").text(names.vessel(p.vessel));
      json.key("lubricator").text(names.lubricator(p.lubricator));
      json.key("episodes").integer(p.episodes);
      json.key("run_h").number(p.run_h);
      json.key("own_per_1000h").estimate(p.own_per_1000h);
      json.key("shrunk_per_1000h").estimate(p.shrunk_per_1000h);
      json.key("factor").number(p.factor);
      json.key("p").number(p.p);
      json.key("adjusted_p").number(p.adjusted_p);
      json.key("stands_out").boolean(p.stands_out);
      json.end_object();
    }
    json.end_list();
  }
  json.key("cautions").texts(advice_cautions());
  json.end_object();
  return json.take();
}

std::string advice_csv(const AdviceView& view) {
  const Names names{view.reg};
  std::string out = csv_row({"vessel",
                             "shaft",
                             "verdict",
                             "reason",
                             "causes_first",
                             "washout_cm3_per_h",
                             "washout_low",
                             "washout_high",
                             "intervals",
                             "present_h",
                             "p_holds",
                             "longest_h",
                             "has_limit",
                             "dose_cm3_per_h",
                             "smallest_dose_cm3_per_h",
                             "smallest_alone_cm3_per_h",
                             "to_sea_kg",
                             "to_sea_low",
                             "to_sea_high",
                             "surplus_kg",
                             "surplus_low",
                             "surplus_high",
                             "below_reserve_h",
                             "below_low",
                             "below_high",
                             "advised_to_sea_kg",
                             "advised_to_sea_low",
                             "advised_to_sea_high",
                             "says"});
  for (const ShaftAdvice& a : view.shafts) {
    std::string causes, says;
    for (const std::string& c : a.causes_first) causes += (causes.empty() ? "" : "; ") + c;
    for (const std::string& s : a.says) says += (says.empty() ? "" : ". ") + s;
    std::vector<std::string> row{std::string{names.vessel(a.vessel)}, std::string{names.shaft(a.shaft)},
                                 std::string{name_of(a.verdict)}, a.reason, causes};
    add_estimate(row, a.washout_cm3_per_h);
    const bool is_told = a.verdict != AdviceVerdict::unknown;
    row.insert(row.end(), {std::to_string(a.intervals), cell(a.present_h), cell(a.p_holds), cell(a.longest_h),
                           !is_told      ? ""
                           : a.has_limit ? "yes"
                                         : "no",
                           a.is_automatic ? format_figure(a.dose_cm3_per_h, 6) : "", cell(a.smallest_dose_cm3_per_h),
                           cell(a.smallest_alone_cm3_per_h)});
    add_estimate(row, kg(a.year_now, &YearOfGrease::to_sea_cm3, a.density_g_cm3));
    add_estimate(row, kg(a.year_now, &YearOfGrease::surplus_cm3, a.density_g_cm3));
    add_estimate(row, a.year_now ? std::optional{a.year_now->below_reserve_h} : std::nullopt);
    add_estimate(row, kg(a.year_advised, &YearOfGrease::to_sea_cm3, a.density_g_cm3));
    row.push_back(says);
    out += csv_row(row);
  }
  return out;
}

std::string order_csv(const AdviceView& view) {
  const Names names{view.reg};
  std::string out = csv_row({"vessel", "grease", "days", "p50_cm3", "p90_cm3", "p50_kg", "p90_kg", "by_hand_p50_kg",
                             "automatic_p50_kg", "packs", "left_out"});
  for (const OrderLine& l : view.order) {
    std::string left_out;
    for (const ShaftId s : l.left_out) left_out += (left_out.empty() ? "" : "; ") + std::string{names.shaft(s)};
    out += csv_row({std::string{names.vessel(l.vessel)}, std::string{names.grease(l.grease)},
                    format_figure(view.order_days, 6), cell(l.p50_cm3), cell(l.p90_cm3),
                    cell(kg(l.p50_cm3, l.density_g_cm3)), cell(kg(l.p90_cm3, l.density_g_cm3)),
                    cell(kg(l.by_hand_p50_cm3, l.density_g_cm3)), cell(kg(l.automatic_p50_cm3, l.density_g_cm3)),
                    cell(packs(view, l)), left_out});
  }
  return out;
}

std::string peers_csv(const AdviceView& view) {
  const Names names{view.reg};
  std::string out =
      csv_row({"vessel", "shaft", "group", "sisters", "own_cm3_per_h", "own_low", "own_high", "shrunk_cm3_per_h",
               "shrunk_low", "shrunk_high", "factor", "p", "adjusted_p", "stands_out"});
  for (const PeerLoss& p : view.peers) {
    std::vector<std::string> row{std::string{names.vessel(p.vessel)}, std::string{names.shaft(p.shaft)}, p.group,
                                 std::to_string(p.sisters)};
    add_estimate(row, p.own_cm3_per_h);
    add_estimate(row, p.shrunk_cm3_per_h);
    row.insert(row.end(), {format_figure(p.factor, 6), format_figure(p.p, 6), format_figure(p.adjusted_p, 6),
                           p.stands_out ? "yes" : "no"});
    out += csv_row(row);
  }
  return out;
}

std::string alarm_peers_csv(const AdviceView& view) {
  const Names names{view.reg};
  std::string out =
      csv_row({"vessel", "lubricator", "episodes", "run_h", "own_per_1000h", "own_low", "own_high", "shrunk_per_1000h",
               "shrunk_low", "shrunk_high", "factor", "p", "adjusted_p", "stands_out"});
  for (const PeerAlarms& p : view.alarm_peers) {
    std::vector<std::string> row{std::string{names.vessel(p.vessel)}, std::string{names.lubricator(p.lubricator)},
                                 std::to_string(p.episodes), format_figure(p.run_h, 6)};
    add_estimate(row, p.own_per_1000h);
    add_estimate(row, p.shrunk_per_1000h);
    row.insert(row.end(), {format_figure(p.factor, 6), format_figure(p.p, 6), format_figure(p.adjusted_p, 6),
                           p.stands_out ? "yes" : "no"});
    out += csv_row(row);
  }
  return out;
}

}  // namespace shaftlog
