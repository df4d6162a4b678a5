#include "analysis/dossier.hpp"

#include "analysis/dossier_parts.hpp"
#include "analysis/whole_hours.hpp"
#include "base/error.hpp"
#include "base/figure.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

namespace shaftlog {
namespace {

const Shaft& shaft_of(const VesselLog& log, ShaftId id) {
  const auto it = std::find_if(log.shafts.begin(), log.shafts.end(), [&](const Shaft& s) { return s.id == id; });
  if (it == log.shafts.end())
    throw Error{Errc::not_found, fmt::format("shaft with key {}: {} has none", id.value, log.vessel.code)};
  return *it;
}

}  // namespace

std::string_view name_of(TimelineKind k) noexcept {
  static constexpr std::string_view kNames[]{"record",  "hours",      "counts",     "levels", "alarm",
                                             "setting", "correction", "withdrawal", "gap"};
  return kNames[static_cast<std::size_t>(k)];
}
std::string_view name_of(MarkRole r) noexcept {
  static constexpr std::string_view kNames[]{"change", "event", "consequence"};
  return kNames[static_cast<std::size_t>(r)];
}
std::string_view name_of(LookedAt::Result r) noexcept {
  static constexpr std::string_view kNames[]{"changed", "unchanged", "unknown"};
  return kNames[static_cast<std::size_t>(r)];
}
std::string_view name_of(PeerKind k) noexcept {
  static constexpr std::string_view kNames[]{"itself", "twin", "same_ship", "sister"};
  return kNames[static_cast<std::size_t>(k)];
}
std::string_view name_of(Seen s) noexcept {
  static constexpr std::string_view kNames[]{"present", "absent", "unknown"};
  return kNames[static_cast<std::size_t>(s)];
}

namespace dossier {

Work::Work(const DossierSources& sources)
    : in{sources}, log{sources.log}, shaft{shaft_of(sources.log, sources.shaft)}, zone{sources.log.vessel.time_zone} {
  for (const Entry& e : sources.entries) entries_[e.head.id] = &e;
  feeding = now().digest.schedule->lubricators_of(shaft.id);
}

const StateAt& Work::at(Instant t) {
  std::unique_ptr<StateAt>& s = states_[t];
  if (!s) {
    s = std::make_unique<StateAt>();
    const bool is_whole = t == in.as_of;
    s->log = is_whole ? log : cut(log, t);
    s->digest = is_whole ? digest(s->log, t) : digest_with_hours_of(now().digest, s->log, t);
    s->review = review_vessel(s->log, s->digest, in.prior, t, /*with_detail=*/true);
  }
  return *s;
}

const ShaftDetail& Work::detail(Instant t, ShaftId id) {
  for (const ShaftDetail& d : at(t).review.shaft_details)
    if (d.shaft == id) return d;
  throw Error{Errc::not_found, fmt::format("shaft with key {}: no detail", id.value)};
}

const LubricatorDetail* Work::lubricator(Instant t, LubricatorId id) {
  for (const LubricatorDetail& d : at(t).review.lubricator_details)
    if (d.lubricator == id) return &d;
  return nullptr;
}

const WashoutShift* Work::rise(Instant t, ShaftId id) {
  const WashoutResult& r = detail(t, id).washout;
  const WashoutShift* s = r.wear ? &*r.wear : r.step ? &*r.step : r.high ? &*r.high : nullptr;
  if (s == nullptr) return nullptr;
  for (const Finding& f : at(t).review.findings) {
    const bool is_own = f.shaft == id && (f.kind == FindingKind::abnormal_washout || f.kind == FindingKind::seal_wear);
    if (is_own) return s;
  }
  return common_cause(t, id) == nullptr ? nullptr : s;
}

const Finding* Work::common_cause(Instant t, ShaftId id) {
  for (const Finding& f : at(t).review.findings) {
    const bool is_risen =
        std::any_of(f.figures.begin(), f.figures.end(), [](const Figure& x) { return x.name == "factor"; });
    if (f.kind == FindingKind::grease_mixed && is_risen && f.is_about(id)) return &f;
  }
  return nullptr;
}

bool Work::feeds(LubricatorId id) const {
  return id.is_set() && std::find(feeding.begin(), feeding.end(), id) != feeding.end();
}

bool Work::concerns(ShaftId s, LubricatorId l) const {
  if (s.is_set()) return s == shaft.id;
  return !l.is_set() || feeds(l);
}

std::string Work::person(std::uint32_t by) const {
  return by == 0 || by >= log.people.size() ? std::string{"somebody"} : log.people[by];
}

const Lubricator* Work::find_lubricator(LubricatorId id) const {
  for (const Lubricator& l : log.lubricators)
    if (l.id == id) return &l;
  return nullptr;
}

std::string Work::grease(GreaseId id) const {
  for (const Grease& g : log.greases)
    if (g.id == id) return g.code;
  return "not named";
}

const Entry* Work::entry(const Uuid& id) const {
  const auto it = entries_.find(id);
  return it == entries_.end() ? nullptr : it->second;
}

std::string Work::remark(const Uuid& id) const {
  const Entry* e = entry(id);
  return e == nullptr ? std::string{} : e->head.remark;
}

VesselLog cut(const VesselLog& log, Instant until) {
  VesselLog out = log;
  const auto drop = [&](auto& rows) { std::erase_if(rows, [&](const auto& r) { return r.at > until; }); };
  drop(out.hours);
  drop(out.cycles);
  drop(out.levels);
  drop(out.refills);
  drop(out.greasings);
  drop(out.alarms);
  drop(out.work);
  drop(out.inspections);
  out.future.clear();
  for (Logged<Alarm>& a : out.alarms)
    if (a.what.cleared && a.what.cleared->utc > until) a.what.cleared.reset();
  return out;
}

std::vector<Occasion> occasions(const VesselLog& log, ShaftId shaft, Instant from, Instant to) {
  std::vector<Occasion> out;
  for (const auto& g : log.greasings) {
    if (g.shaft != shaft || g.what.ended == Ended::not_done || g.at < from || g.at > to) continue;
    const bool goes_on = !out.empty() && out.back().ended == Ended::stopped && g.at <= out.back().at + kOneGreasing;
    if (!goes_on) out.push_back({g.at, g.at, g.id, {}, g.what.ended, 0, true, g.by, g.what.gun, g.what.purge});
    Occasion& o = out.back();
    o.at = g.at;
    o.id = g.id;
    o.ended = g.what.ended;
    o.records.push_back(g.id);
    if (g.what.purge) o.purge = g.what.purge;
    if (g.what.amount && g.what.amount->volume)
      o.taken_cm3 += in_cm3(*g.what.amount->volume);
    else
      o.is_amount_known = false;
  }
  return out;
}

std::vector<Occasion> greasings(std::vector<Occasion> done) {
  std::erase_if(done, [](const Occasion& o) { return o.ended == Ended::packed; });
  return done;
}

std::string merged_text(const std::vector<Occasion>& done) {
  std::size_t records = 0;
  for (const Occasion& o : done) records += o.records.size();
  if (records == done.size()) return {};
  return fmt::format("; of {} records, what was broken off and finished within 3 days taken as one", records);
}

double median_of(std::vector<double> x) {
  if (x.empty()) return 0;
  std::sort(x.begin(), x.end());
  const std::size_t n = x.size();
  return n % 2 == 1 ? x[n / 2] : (x[n / 2 - 1] + x[n / 2]) / 2;
}

std::string pct_text(double x) { return plain_figure(x, 4); }

std::string count_text(double n, std::string_view one, std::string_view many) {
  return fmt::format("{:.0f} {}", n, n == 1 ? one : many);
}

}  // namespace dossier

Dossier make_dossier(const DossierSources& sources) {
  dossier::Work w{sources};
  Dossier d;
  d.vessel = sources.log.vessel.id;
  d.shaft = sources.shaft;
  d.as_of = sources.as_of;
  d.detail = w.detail(sources.as_of);
  d.digest = w.now().digest;
  for (const ShaftState& s : w.now().review.shafts)
    if (s.shaft == sources.shaft) d.state = s;
  for (const LubricatorId id : w.feeding)
    if (const LubricatorDetail* l = w.lubricator(sources.as_of, id); l != nullptr) d.lubricators.push_back(*l);
  const auto concerns = [&](const Uuid& id) {
    const Entry* e = w.entry(id);
    return e != nullptr && w.concerns(e->shaft, e->lubricator);
  };
  for (const Suspect& s : w.now().review.suspects)
    if (concerns(s.record)) d.suspects.push_back(s);
  dossier::add_lives(w, d);
  dossier::add_timeline(w, d);
  dossier::add_marks(w, d);
  dossier::add_comparison(w, d);
  dossier::add_lateness(w, d);
  dossier::add_causes(w, d);
  dossier::add_answer(w, d);
  dossier::add_caveats(w, d);
  return d;
}

void told_by(std::vector<Told>& told, const VesselReview& review, ShaftId shaft,
             const std::vector<LubricatorId>& feeding, Instant day) {
  for (const Finding& f : review.findings) {
    const bool feeds = std::find(feeding.begin(), feeding.end(), f.lubricator) != feeding.end();
    const bool whole_ship = !f.shaft.is_set() && !f.lubricator.is_set();
    if (f.shaft != shaft && !(!f.shaft.is_set() && feeds) &&
        !(whole_ship && (f.kind == FindingKind::records_missing || f.kind == FindingKind::grease_mixed)))
      continue;
    if (f.kind == FindingKind::record_suspect || f.kind == FindingKind::refill_due) continue;
    // One matter as long as it is told without a break of a month and a half; then it is another occasion.
    constexpr auto kBreak = std::chrono::days{45};
    auto it = std::find_if(told.rbegin(), told.rend(), [&](const Told& t) {
      return t.kind == f.kind && t.shaft == f.shaft && t.lubricator == f.lubricator && day - t.last <= kBreak;
    });
    if (it == told.rend()) {
      told.push_back({f.kind, f.shaft, f.lubricator, day, day, f.urgency, {}, f.summary});
      it = told.rbegin();
    }
    it->last = std::max(it->last, day);
    if (f.urgency == Urgency::act && !it->first_act) it->first_act = day;
  }
}

}  // namespace shaftlog
