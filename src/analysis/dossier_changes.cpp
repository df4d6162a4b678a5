#include "analysis/dossier_finder.hpp"

namespace shaftlog::dossier {
namespace {

constexpr double kHalfAsLong = 1.5;  // a habit is left when a gap is half as long again as the longest before

std::string gap_text(const std::vector<double>& days, const std::vector<double>& h) {
  std::string out = fmt::format("{:.0f} days", median_of(days));
  if (!h.empty()) out += fmt::format(" or {:.0f} running hours", median_of(h));
  return out;
}

}  // namespace

void Finder::greasing_habit() {
  const std::vector<Occasion> done = occasions(w_.log, w_.shaft.id, life_.from, life_.to);
  const HoursCurve& curve = w_.detail(life_.to).hours;
  if (done.size() < kFewestBefore + 2) {
    looked("greasing interval", LookedAt::Result::unknown,
           fmt::format("{} in the life of this bearing: too few to speak of a habit",
                       count_text(static_cast<double>(greasings(done).size()), "greasing", "greasings")));
    return;
  }
  std::vector<double> days, hours;
  for (std::size_t i = 0; i + 1 < done.size(); ++i) {
    days.push_back(days_between(done[i].at, done[i + 1].at));
    if (!curve.is_empty()) hours.push_back(curve.run_h(done[i].at, done[i + 1].at));
  }
  // The wait that the end of the life cut short counts once it is longer than any that ended.
  if (!curve.is_empty()) {
    const double wait = curve.run_h(done.back().at, std::min(life_.to, std::max(curve.last(), done.back().at)));
    if (wait > kHalfAsLong * *std::max_element(hours.begin(), hours.end())) {
      hours.push_back(wait);
      days.push_back(days_between(done.back().at, life_.to));
    }
  }
  const auto end_of_gap = [&](std::size_t k) { return k + 1 < done.size() ? done[k + 1].at : life_.to; };
  const std::vector<double>& by = hours.empty() ? days : hours;  // a ship that lies still needs no grease
  for (std::size_t k = kFewestBefore; k < by.size(); ++k) {
    const auto before_end = by.begin() + static_cast<std::ptrdiff_t>(k);
    const auto [shortest, longest] = std::minmax_element(by.begin(), before_end);
    const double usual = median_of({by.begin(), before_end});
    const double later = median_of({before_end, by.end()});
    const bool longer = by[k] > kHalfAsLong * *longest && later > kHalfAsLong * usual;
    const bool shorter = by[k] < *shortest / kHalfAsLong && later < usual / kHalfAsLong && k + 1 < by.size();
    if (!longer && !shorter) continue;
    const auto cut_days = days.begin() + static_cast<std::ptrdiff_t>(k);
    const std::vector<double> days_before{days.begin(), cut_days}, days_after{cut_days, days.end()};
    std::vector<double> h_before, h_after;
    if (!hours.empty()) {
      h_before.assign(hours.begin(), hours.begin() + static_cast<std::ptrdiff_t>(k));
      h_after.assign(hours.begin() + static_cast<std::ptrdiff_t>(k), hours.end());
    }
    Mark m;
    m.channel = "greasing interval";
    m.role = MarkRole::change;
    m.spread = Spread::even;
    const Instant last = done[k].at;
    const auto after = [&](double gap) {
      if (hours.empty()) return last + std::chrono::seconds{static_cast<std::int64_t>(gap * 86400)};
      return curve.time_of(curve.hours_at(last) + gap).value_or(end_of_gap(k));
    };
    // The greasing that the old habit would have brought next did not come: between the last one and the longest
    // that it had ever been waited for. A shorter gap shows itself when it ends.
    m.when = longer ? When{after(usual), last, std::min(after(*longest), end_of_gap(k))}
                    : When{end_of_gap(k), last, end_of_gap(k)};
    m.when.estimate = std::clamp(m.when.estimate, m.when.low, m.when.high);
    m.factor = Estimate{later / usual, *std::min_element(before_end, by.end()) / usual,
                        *std::max_element(before_end, by.end()) / usual};
    m.records = {done[k].id};
    for (std::size_t j = k + 1; j < done.size() && m.records.size() < 8; ++j) m.records.push_back(done[j].id);
    m.text = fmt::format("the manual greasings came {}: {} apart (median of {}), until then {} (median of {})",
                         longer ? "further apart" : "closer together", gap_text(days_after, h_after), days_after.size(),
                         gap_text(days_before, h_before), days_before.size());
    const bool all_beyond =
        std::all_of(before_end, by.end(), [longer = longer, longest = longest, shortest = shortest](double g) {
          return longer ? g > *longest : g < *shortest;
        });
    if (all_beyond) {
      // If order told nothing, every choice of which gaps come last would be as likely: one in n over k.
      double ways = 1;
      for (std::size_t j = 1; j <= days_after.size(); ++j)
        ways *= static_cast<double>(days_before.size() + j) / static_cast<double>(j);
      m.strength = std::log(ways);
      m.text += fmt::format(
          "; every later one is {} than any before, which at a given place happens by chance 1 time in {:.0f}",
          longer ? "longer" : "shorter", ways);
    }
    if (longer) {
      m.text += fmt::format("; after the greasing of {} the old habit would have brought the next by {}", w_.day(last),
                            w_.day(m.when.high));
      const ShaftSetting* set = setting_at(w_.shaft.settings, last);
      std::optional<Instant> due;
      if (set != nullptr && set->interval_days) due = last + std::chrono::days{*set->interval_days};
      if (set != nullptr && set->interval && !curve.is_empty()) {
        const auto by_h = curve.time_of(curve.hours_at(last) + in_h(*set->interval));
        if (by_h && (!due || *by_h < *due)) due = by_h;
      }
      if (due) m.text += fmt::format(", the register asks for it by {}", w_.day(*due));
    }
    std::set<std::uint32_t> by_before, by_after;
    for (std::size_t j = 0; j <= k; ++j) by_before.insert(done[j].by);
    for (std::size_t j = k + 1; j < done.size(); ++j) by_after.insert(done[j].by);
    const bool same =
        std::all_of(by_after.begin(), by_after.end(), [&](std::uint32_t p) { return p != 0 && by_before.contains(p); });
    if (same && !by_after.empty()) m.text += "; the persons are the same before and after";
    mark(std::move(m), longer ? "came further apart" : "came closer together");
    return;
  }
  std::string text = fmt::format("{}, {} apart in the middle, none half as long again as the longest before it",
                                 count_text(static_cast<double>(greasings(done).size()), "greasing", "greasings"),
                                 gap_text(days, hours));
  // Waits are weighed by running hours: of the time that no reading covers nothing is known.
  const double waited = days_between(done.back().at, life_.to);
  const Instant read = curve.is_empty() ? done.back().at : std::clamp(curve.last(), done.back().at, life_.to);
  const bool is_open = life_.is_standing && waited > kHalfAsLong * *std::max_element(days.begin(), days.end()) &&
                       days_between(read, life_.to) > median_of(days);
  if (is_open) {
    text += fmt::format(
        "; but none recorded for {:.0f} days now, of which the meter was read for {:.0f}: whether it ran "
        "and was greased since cannot be told",
        waited, days_between(done.back().at, read));
  }
  looked("greasing interval", is_open ? LookedAt::Result::unknown : LookedAt::Result::unchanged, std::move(text));
}

void Finder::how_greasings_ended() {
  const std::vector<Occasion> done = greasings(occasions(w_.log, w_.shaft.id, life_.from, life_.to));
  std::size_t full = 0, broken_off = 0;
  std::optional<std::size_t> early;  // how many had, before the first of many that had not
  for (const Occasion& o : done) {
    if (o.ended == Ended::pressure) {
      ++full;
      continue;
    }
    std::size_t later = 0, later_full = 0;
    for (const Occasion& x : done) {
      if (x.at < o.at) continue;
      ++later;
      later_full += x.ended == Ended::pressure ? 1 : 0;
    }
    const bool lasts = later_full * 2 <= later;  // else one that was broken off
    if (lasts && full < kFewestBefore && !early) early = full;
    if (!lasts || full < kFewestBefore) {
      ++broken_off;
      continue;
    }
    Mark m{"end of greasings", MarkRole::consequence, {o.at, o.at, o.at}, Spread::even, "", {}, 0, {o.id}, 0};
    m.text = fmt::format(
        "a greasing did not reach back-pressure{} ({}), after {} that had",
        broken_off == 0 ? " for the first time" : "",
        o.is_amount_known ? fmt::format("{} cm3 went in", figure_text(o.taken_cm3)) : "amount not told", full);
    if (broken_off > 0) m.text += fmt::format(" and {} that had not", broken_off);
    if (later > 1)
      m.text +=
          fmt::format("; {} of the {} from then on did", later_full == 0 ? "none" : std::to_string(later_full), later);
    mark(std::move(m), "back-pressure was no longer reached");
    return;
  }
  if (done.size() < kFewestBefore) {
    looked("end of greasings", LookedAt::Result::unknown, "too few greasings");
    return;
  }
  std::string text = fmt::format("{} of {} ended with back-pressure{}", full, done.size(), merged_text(done));
  if (early) text += fmt::format("; only {} before the first that did not: too few to speak of a habit", *early);
  looked("end of greasings", early ? LookedAt::Result::unknown : LookedAt::Result::unchanged, std::move(text));
}

void Finder::people_and_guns() {
  const std::vector<Occasion> done = occasions(w_.log, w_.shaft.id, life_.from, life_.to);
  const auto judge = [&](const std::string& channel, const auto& who, const auto& name_of_it) {
    bool said = false;
    for (const Occasion& o : done) said |= who(o) != 0;
    if (!said || done.size() < 6) {
      looked(channel, LookedAt::Result::unknown, said ? "too few greasings" : "not said in the records");
      return;
    }
    for (std::size_t k = 3; k + 3 <= done.size(); ++k) {
      std::set<std::int64_t> before, after;
      for (std::size_t i = 0; i < done.size(); ++i)
        if (who(done[i]) != 0) (i < k ? before : after).insert(who(done[i]));
      const bool disjoint = !before.empty() && !after.empty() &&
                            std::none_of(after.begin(), after.end(), [&](auto x) { return before.contains(x); });
      if (!disjoint) continue;
      Mark m{channel,
             MarkRole::change,
             {done[k].from, done[k - 1].at, done[k].from},
             Spread::even,
             "",
             {},
             0,
             {done[k].id},
             0};
      std::string names;
      for (const auto x : after) names += (names.empty() ? "" : ", ") + name_of_it(x);
      m.text = fmt::format("from here on by {}, who had not greased this bearing before", names);
      if (channel == "gun") m.text = fmt::format("from here on with {}, not used on this bearing before", names);
      mark(std::move(m), "changed");
      return;
    }
    std::set<std::int64_t> all;
    for (const Occasion& o : done)
      if (who(o) != 0) all.insert(who(o));
    std::string names;
    for (const auto x : all) names += (names.empty() ? "" : ", ") + name_of_it(x);
    looked(channel, LookedAt::Result::unchanged, fmt::format("{} throughout, by turns or alone", names));
  };
  judge(
      "person who greases", [](const Occasion& o) { return static_cast<std::int64_t>(o.by); },
      [&](std::int64_t x) { return w_.person(static_cast<std::uint32_t>(x)); });
  judge(
      "gun", [](const Occasion& o) { return o.gun.value; },
      [&](std::int64_t x) {
        for (const Gun& g : w_.log.guns)
          if (g.id.value == x) return g.code;
        return std::string{"another gun"};
      });
}

void Finder::settings() {
  const std::size_t before = d_.marks.size();
  for (const TimelineItem& t : d_.timeline) {
    if (t.kind != TimelineKind::setting || t.from <= life_.from || t.from >= life_.to) continue;
    Mark m{"settings", MarkRole::change, {t.from, t.from, t.from}, Spread::even, t.text, {}, 0, {}, 0};
    mark(std::move(m), t.text);
  }
  if (d_.marks.size() == before)
    looked("settings", LookedAt::Result::unchanged, "the register has one row for this time: no change is entered");
}

void Finder::grease() {
  bool said = false;
  std::optional<Mark> first;
  const auto look = [&](Instant at, GreaseId used, const auto* set, const Uuid& id, const std::string& where) {
    if (at < life_.from || at > life_.to) return;
    said |= used.is_set();
    if (!used.is_set() || set == nullptr || used == set->grease || (first && first->when.estimate <= at)) return;
    first = Mark{"grease", MarkRole::change, {at, at, at}, Spread::even, "", {}, 0, {id}, 0};
    first->text = fmt::format("{} where {} is registered, {}", w_.grease(used), w_.grease(set->grease), where);
  };
  // A ship changes over shaft by shaft: the first aboard is the day on which the change began.
  for (const auto& g : w_.log.greasings) {
    const auto s =
        std::find_if(w_.log.shafts.begin(), w_.log.shafts.end(), [&](const Shaft& x) { return x.id == g.shaft; });
    if (s != w_.log.shafts.end())
      look(g.at, g.what.grease, setting_at(s->settings, g.at), g.id,
           g.shaft == w_.shaft.id ? "in a greasing" : "first in a greasing of " + s->code);
  }
  for (const auto& r : w_.log.refills) {
    const Lubricator* l = w_.find_lubricator(r.lubricator);
    if (l != nullptr && w_.feeds(l->id))
      look(r.at, r.what.grease, setting_at(l->settings, r.at), r.id, "in a refill of " + l->code);
  }
  if (first) {
    mark(std::move(*first), "another grease was used");
    return;
  }
  looked("grease", said ? LookedAt::Result::unchanged : LookedAt::Result::unknown,
         said ? "the registered one wherever a record names it"
              : "no record names the grease used; the registered one is assumed");
}

void Finder::inspections() {
  int samples = 0, purges = 0;
  std::optional<Mark> first_water;
  for (const auto& i : w_.log.inspections)
    samples += i.shaft == w_.shaft.id && i.at >= life_.from && i.at <= life_.to ? 1 : 0;
  const std::vector<Occasion> done = occasions(w_.log, w_.shaft.id, life_.from, life_.to);
  std::optional<Instant> last_other;
  for (const Occasion& o : done) {
    if (!o.purge) continue;
    ++purges;
    if (*o.purge == Purge::water && !first_water) {
      first_water = Mark{"water",
                         MarkRole::consequence,
                         {o.at, last_other.value_or(life_.from), o.at},
                         Spread::even,
                         "water came out at the seal for the first time",
                         {},
                         0,
                         {o.id},
                         0};
    }
    if (*o.purge != Purge::water) last_other = o.at;
  }
  for (const Finding& f : w_.at(life_.to).review.findings) {
    if (f.shaft != w_.shaft.id || (f.kind != FindingKind::water_ingress && f.kind != FindingKind::wear_sign) ||
        !f.began)
      continue;
    Mark m{f.kind == FindingKind::water_ingress ? "water" : "wear sign",
           MarkRole::consequence,
           *f.began,
           Spread::even,
           f.summary,
           {},
           0,
           f.evidence,
           0};
    if (f.kind == FindingKind::water_ingress) first_water.reset();
    mark(std::move(m), "risen");
  }
  if (first_water) mark(*first_water, "seen in the purge");
  const bool told = std::any_of(d_.marks.begin(), d_.marks.end(),
                                [](const Mark& m) { return m.channel == "water" || m.channel == "wear sign"; });
  if (!told)
    looked("water and wear", samples + purges == 0 ? LookedAt::Result::unknown : LookedAt::Result::unchanged,
           samples + purges == 0
               ? "no sample was taken and the purge was not looked at"
               : fmt::format("{} and {} noted; no water, no rise", count_text(samples, "inspection", "inspections"),
                             count_text(purges, "purge", "purges")));
}

void add_marks(Work& w, Dossier& d) {
  Finder{w, d}.find();
  d.order = put_in_order(d.marks);
}

}  // namespace shaftlog::dossier
