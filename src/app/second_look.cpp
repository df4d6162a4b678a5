#include "app/second_look.hpp"

#include "analysis/contradictions.hpp"
#include "analysis/review.hpp"
#include "app/odd_values.hpp"
#include "base/figure.hpp"
#include "domain/amount.hpp"
#include "storage/log_repository.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

namespace shaftlog {

namespace {

template <class What>
void put(std::vector<Logged<What>>& records, const Entry& e) {
  Logged<What> r;
  r.id = e.head.id;
  r.at = e.head.at.utc;
  r.recorded_at = e.head.recorded_at.utc;
  r.precision = e.head.at.precision;
  r.has_remark = !e.head.remark.empty();
  r.shaft = e.shaft;
  r.lubricator = e.lubricator;
  r.what = std::get<What>(e.detail);
  const auto place = std::lower_bound(records.begin(), records.end(), r, [](const auto& a, const auto& b) {
    return a.at != b.at ? a.at < b.at : a.id < b.id;
  });
  records.insert(place, std::move(r));
}

void put(VesselLog& log, const Entry& e) {
  switch (e.kind) {
    case Kind::hours:
      return put(log.hours, e);
    case Kind::cycles:
      return put(log.cycles, e);
    case Kind::level:
      return put(log.levels, e);
    case Kind::refill:
      return put(log.refills, e);
    case Kind::greasing:
      return put(log.greasings, e);
    case Kind::alarm:
      return put(log.alarms, e);
    case Kind::work:
      return put(log.work, e);
    case Kind::inspection:
      return put(log.inspections, e);
  }
}

void drop(VesselLog& log, const Uuid& id) {
  for_each_list(log, [&](auto& records) { std::erase_if(records, [&](const auto& r) { return r.id == id; }); });
}

/// A new record that is dated long before the last one: a slip of the date, a clock that is wrong, or an old log that
/// is written in late. \param log without the draft
std::optional<std::string> odd_date(const VesselLog& log, const Entry& draft, Instant now) {
  constexpr double kLong_d = 30;  // as for records written in late, see date slips (common practice, no source)
  std::optional<Instant> last;
  for_each_list(log, [&](const auto& records) {
    for (const auto& r : records)
      if (r.at <= now && (!last || r.at > *last)) last = r.at;
  });
  if (draft.head.replaces || !last) return std::nullopt;
  const double days = days_between(draft.head.at.utc, *last);
  if (days <= kLong_d) return std::nullopt;
  const Zone zone = zone_of(log);
  return fmt::format("dated {}, {:.0f} days before the ship's last record on {}: is the date right?",
                     format_day(draft.head.at.utc, zone), days, format_day(*last, zone));
}

/// 90 % of a normal distribution lie within so many standard deviations.
constexpr double kNormal95 = 1.6448536269514722;

std::optional<Estimate> expected_reading(const VesselLog& log, const Entry& draft) {
  std::vector<Logged<Hours>> readings;
  for (const Logged<Hours>& h : log.hours)
    if (h.shaft == draft.shaft && h.at < draft.head.at.utc && h.id != draft.head.id) readings.push_back(h);
  if (readings.size() < 2) return std::nullopt;
  std::optional<double> rollover;
  for (const Shaft& s : log.shafts) {
    const ShaftSetting* now = s.id == draft.shaft ? setting_at(s.settings, draft.head.at.utc) : nullptr;
    if (now != nullptr && now->meter_rollover) rollover = in_h(*now->meter_rollover);
  }
  const HoursResult result = build_hours(readings, rollover, draft.head.at.utc);
  if (result.curve.is_empty()) return std::nullopt;
  const Instant last = result.curve.last();
  const double run = result.curve.run_h(last, draft.head.at.utc);
  const double sd = result.curve.run_sd_h(last, draft.head.at.utc);
  const double at_most = std::max(0.0, hours_between(last, draft.head.at.utc));
  return Estimate{result.meter_now_h + run, result.meter_now_h + std::max(0.0, run - kNormal95 * sd),
                  result.meter_now_h + std::min(at_most, run + kNormal95 * sd)};
}

/// What a refill should take: from the level that was read before, else that of the balance, up to the level read
/// after, else the full mark. \param before the log without the draft \param d of it, as of the draft
std::optional<Estimate> expected_refill(const VesselLog& before, const VesselDigest& d, const Entry& draft) {
  const auto unit = std::find_if(before.lubricators.begin(), before.lubricators.end(),
                                 [&](const Lubricator& l) { return l.id == draft.lubricator; });
  const LubricatorSetting* set =
      unit == before.lubricators.end() ? nullptr : setting_at(unit->settings, draft.head.at.utc);
  if (set == nullptr) return std::nullopt;
  const auto balance = d.delivery.find(draft.lubricator);
  const Refill& r = std::get<Refill>(draft.detail);
  constexpr double kReading_pct = 1.5;  // of a level, 1 sd, while the records do not tell (common practice, no source)
  const double told_pct = balance == d.delivery.end() ? 0 : balance->second.level_sd_pct;
  const double reading_pct = kNormal95 * (told_pct > 0 ? told_pct : kReading_pct);
  const auto read = [&](const Level& l) {
    return Estimate{in_pct(l), in_pct(l) - reading_pct, in_pct(l) + reading_pct};
  };
  std::optional<Estimate> from;
  if (r.before) {
    from = read(*r.before);
  } else if (balance != d.delivery.end()) {
    from = balance->second.level_pct;
  }
  if (!from) return std::nullopt;
  const Estimate to = r.after ? read(*r.after) : Estimate{100, 100, 100};
  const double pct = in_cm3(set->reservoir) / 100;
  const double value = (to.value - from->value) * pct;
  const double down = std::hypot(to.value - to.low, from->high - from->value) * pct;
  const double up = std::hypot(to.high - to.value, from->value - from->low) * pct;
  return Estimate{std::max(0.0, value), std::max(0.0, value - down), std::max(0.0, value + up)};
}

/// "60 strokes are 78 cm3" of an amount that was typed in another unit; else empty.
std::string worth(const Amount& a) {
  if (a.unit == Unit::cm3 || a.unit == Unit::ml || !a.volume) return "";
  return fmt::format("{} {} are {} cm3", a.typed, name_of(a.unit), plain_figure(in_cm3(*a.volume), 4));
}

/// Puts an objection that speaks of the draft's amount in cm3; the first also says what was typed.
void object_to_amount(SecondLook& look, std::string says, const Entry& draft) {
  const auto* g = std::get_if<Greasing>(&draft.detail);
  if (look.odd.empty() && g != nullptr && g->amount)
    if (const std::string of = worth(*g->amount); !of.empty()) says += "; " + of;
  look.odd.push_back(std::move(says));
}

/// The prediction for the draft, made with everything before it and without its own amount.
void look_at_amount(SecondLook& look, const VesselLog& log, const VesselDigest& d, const Entry& draft) {
  const auto own = d.histories.find(draft.shaft);
  if (own == d.histories.end()) return;
  std::vector<ShaftHistory> histories;
  for (const auto& [id, h] : d.histories) histories.push_back(h);
  const FleetPrior prior = fit_fleet_prior(histories);
  std::map<ShaftId, WashoutResult> washouts;
  std::map<ShaftId, WashoutPrior> priors;
  // Of the other shafts those whose amounts may be exchanged with the draft's: greased within a day of it, or within a
  // day of such a greasing, which may be exchanged with that one instead.
  const auto is_near = [&draft](const GreasingInterval& g) {
    return std::abs(hours_between(g.at, draft.head.at.utc)) <= 48;
  };
  for (const auto& [id, h] : d.histories) {
    if (id != draft.shaft && std::none_of(h.intervals.begin(), h.intervals.end(), is_near)) continue;
    priors[id] = prior.of(h.group);
    washouts[id] = fit_washout(h, priors[id]);
  }
  for (const WashoutStep& s : washouts[draft.shaft].steps)
    if (s.record == draft.head.id) look.expected = Estimate{s.expected_cm3, s.expected_low, s.expected_high};
  for (const Suspect& s : find_amount_slips(log, d.histories, washouts, priors))
    if (s.record == draft.head.id) object_to_amount(look, s.says, draft);
}

/// An amount beyond what is usual, in the unit that was typed and in cm3.
std::string far_from_usual(const Amount& a, const Estimate& usual) {
  const double cm3 = in_cm3(*a.volume);
  const std::string in_all =
      fmt::format("{:.0f} cm3 is far from the usual {:.0f} to {:.0f}", cm3, usual.low, usual.high);
  if (worth(a).empty() || !a.nano_cm3_per_unit || *a.nano_cm3_per_unit <= 0) return in_all;
  const double per_unit = static_cast<double>(*a.nano_cm3_per_unit) * 1e-9;
  return fmt::format("{} {} is far from the usual {} to {} ({})", a.typed, name_of(a.unit),
                     plain_figure(usual.low / per_unit, 2), plain_figure(usual.high / per_unit, 2), in_all);
}

}  // namespace

bool is_odd_amount(double taken_cm3, const Estimate& expected) noexcept {
  constexpr double kLeast_cm3 = 1;  // below this a ratio says nothing
  constexpr double kRepeatability_cm3 = 25;
  const double value = std::max(expected.value, kLeast_cm3);
  const double low = std::max(expected.low, kLeast_cm3);
  const double high = std::max(expected.high, value);
  if (taken_cm3 > expected.high + kRepeatability_cm3) return taken_cm3 > high * (high / value);
  if (taken_cm3 < expected.low - kRepeatability_cm3) return std::max(taken_cm3, kLeast_cm3) < low * (low / value);
  return false;
}

SecondLook second_look(Database& db, const Entry& draft, Instant now) {
  SecondLook look;
  const Instant as_of = std::max(now, draft.head.at.utc);
  VesselLog log;
  {
    const ReadTransaction view{db};
    const LogRepository records{db};
    log = records.load_vessel(draft.vessel, as_of, std::nullopt);
    ListQuery query;
    query.kind = draft.kind;
    query.vessel = draft.vessel;
    query.shaft = draft.shaft;
    query.lubricator = draft.lubricator;
    // What was kept a moment ago stands in the same minute.
    query.until = draft.head.at.utc + std::chrono::seconds{draft.head.at.precision == Precision::minute ? 60 : 1};
    query.most = 2;
    for (const Entry& e : records.list(query))
      if (e.head.id != draft.head.replaces) look.last = e;
  }
  if (draft.head.replaces) drop(log, *draft.head.replaces);
  const std::optional<std::string> date = odd_date(log, draft, now);
  std::vector<std::string> odd;
  if (draft.kind == Kind::refill || draft.kind == Kind::level || draft.kind == Kind::cycles ||
      draft.kind == Kind::inspection) {
    const VesselDigest before = digest(log, draft.head.at.utc, /*with_detail=*/false);
    if (draft.kind == Kind::refill) look.expected = expected_refill(log, before, draft);
    odd = odd_values(log, before, draft, look.expected);
  }
  Entry e = draft;
  // Any id of its own will do; the greatest sorts behind what happened at the same moment.
  e.head.id.bytes.fill(0xFF);
  put(log, e);

  if (draft.head.at.utc > now + std::chrono::hours{1}) look.odd.push_back("it lies in the future");
  const VesselDigest d = digest(log, as_of, /*with_detail=*/false);
  for (const Suspect& s : d.suspects) {
    const bool is_of_it =
        s.record == e.head.id || std::find(s.against.begin(), s.against.end(), e.head.id) != s.against.end();
    if (!is_of_it) continue;
    if (s.kind == SuspectKind::duplicate || s.kind == SuspectKind::amount_beyond_capacity)
      object_to_amount(look, s.says, e);
    else
      look.odd.push_back(s.says);
  }
  // Where levels stand beside it their contradiction is told already.
  const auto* r = std::get_if<Refill>(&draft.detail);
  if (look.odd.empty() && r != nullptr && r->amount && r->amount->volume == Volume{})
    look.odd.push_back("a refill of 0: nothing went in");
  // What contradicts by itself explains the rest, but not what was meant.
  const bool is_beyond = std::any_of(d.suspects.begin(), d.suspects.end(), [&](const Suspect& s) {
    return s.record == e.head.id && s.kind == SuspectKind::amount_beyond_capacity;
  });
  if (look.odd.empty() || (is_beyond && draft.kind == Kind::refill))
    look.odd.insert(look.odd.end(), odd.begin(), odd.end());
  if (draft.kind == Kind::hours) look.expected = expected_reading(log, e);
  if (draft.kind == Kind::greasing) {
    look_at_amount(look, log, d, e);
    const Greasing& g = std::get<Greasing>(draft.detail);
    const bool is_measured = g.ended == Ended::pressure || g.ended == Ended::limit;
    if (look.odd.empty() && look.expected && is_measured && g.amount && g.amount->volume &&
        is_odd_amount(in_cm3(*g.amount->volume), *look.expected))
      look.odd.push_back(far_from_usual(*g.amount, *look.expected));
  }
  if (date) look.odd.push_back(*date);
  return look;
}

std::optional<SecondLook> look_ahead(Database& db, const Register& reg, Instant now, Kind kind, NamedTexts fields) {
  constexpr std::pair<std::string_view, std::string_view> kSayNothing[] = {
      {"meter_h", "0"}, {"count", "0"}, {"level_pct", "0"}, {"amount", "1"}, {"unit", "cm3"}, {"ended", "pressure"}};
  if (kind != Kind::hours && kind != Kind::cycles && kind != Kind::level && kind != Kind::refill &&
      kind != Kind::greasing)
    return std::nullopt;
  for (const auto& [name, text] : kSayNothing) {
    const auto has_name = [&name = name](const auto& f) { return f.first == name; };
    if (std::find_if(fields_of(kind).begin(), fields_of(kind).end(),
                     [&name = name](const EntryField& f) { return f.name == name; }) == fields_of(kind).end())
      continue;
    std::erase_if(fields, has_name);
    fields.emplace_back(name, text);
  }
  const Draft draft = draft_record(reg, now, kind, fields);
  if (!draft.entry) return std::nullopt;
  SecondLook look = second_look(db, *draft.entry, now);
  look.odd.clear();
  return look;
}

std::vector<UnitWorth> unit_worths(const Register& reg, Instant now, Kind kind, const NamedTexts& fields) {
  const auto text_of = [&](std::string_view name) {
    for (const auto& [known, text] : fields)
      if (known == name) return std::string_view{text};
    return std::string_view{};
  };
  const auto vessel = std::find_if(reg.vessels.begin(), reg.vessels.end(),
                                   [&](const Vessel& v) { return v.code == text_of("vessel"); });
  const auto is_meant = [&](const auto& row, std::string_view field) {
    return vessel != reg.vessels.end() && row.vessel == vessel->id && row.code == text_of(field);
  };
  Conversion with;
  std::optional<GreaseId> registered;
  if (kind == Kind::greasing) {
    for (const Shaft& s : reg.shafts)
      if (is_meant(s, "shaft"))
        if (const auto* held = setting_at(s.settings, now)) registered = held->grease;
  } else {
    for (const Lubricator& l : reg.lubricators)
      if (is_meant(l, "lubricator"))
        if (const auto* held = setting_at(l.settings, now)) {
          registered = held->grease;
          with.reservoir = held->reservoir;
        }
  }
  std::vector<UnitWorth> out;
  const auto add = [&](Unit unit, std::optional<std::string> gun, std::optional<std::string> grease) {
    UnitWorth worth{unit, std::move(gun), std::move(grease), std::nullopt};
    if (const auto nano = nano_cm3_per_unit(unit, with)) worth.cm3 = static_cast<double>(*nano) * 1e-9;
    out.push_back(std::move(worth));
  };
  for (const Unit unit : {Unit::cm3, Unit::ml, Unit::l}) add(unit, std::nullopt, std::nullopt);
  for (const Unit unit : {Unit::g, Unit::kg, Unit::oz, Unit::lb}) {
    with.density.reset();
    for (const Grease& g : reg.greases)
      if (registered == g.id) with.density = g.density;
    add(unit, std::nullopt, "");
    for (const Grease& g : reg.greases) {
      with.density = g.density;
      add(unit, std::nullopt, g.code);
    }
  }
  if (kind == Kind::refill) add(Unit::pct, std::nullopt, std::nullopt);
  if (kind != Kind::greasing) return out;
  bool has_gun = false;
  for (const Gun& g : reg.guns) {
    if (vessel == reg.vessels.end() || g.vessel != vessel->id) continue;
    const GunCalibration* held = setting_at(g.calibrations, now);
    with.per_stroke = held == nullptr ? std::nullopt : std::optional{held->per_stroke};
    add(Unit::strokes, g.code, std::nullopt);
    has_gun = true;
  }
  with.per_stroke.reset();
  if (!has_gun) add(Unit::strokes, std::nullopt, std::nullopt);
  return out;
}

}  // namespace shaftlog
