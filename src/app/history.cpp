#include "app/history.hpp"

#include "analysis/parallel.hpp"
#include "app/look_up.hpp"
#include "base/lot.hpp"
#include "storage/finding_repository.hpp"
#include "storage/log_repository.hpp"
#include "storage/register_repository.hpp"
#include "storage/verification_repository.hpp"

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <iterator>
#include <map>
#include <thread>
#include <unordered_map>

namespace shaftlog {
namespace {

/// What the fleet's histories are, and when each greasing that closes an interval was recorded.
struct UsualShaft {
  ShaftHistory history;
  std::vector<Instant> recorded;  ///< one an interval
};

/// The ships that tell what is usual, in the register's order: all, or of a large fleet as many by lot as say nearly
/// the same, so that a dossier takes no longer there; half of them sisters.
std::vector<const Vessel*> usual_ships(const Register& reg, const Vessel& own) {
  std::vector<const Vessel*> sisters, others;
  for (const Vessel& v : reg.vessels)
    if (v.id != own.id) (own.group && v.group == own.group ? sisters : others).push_back(&v);
  if (reg.vessels.size() > kMostUsualShips) {
    const auto draw = [](std::vector<const Vessel*>& from, std::size_t most) {
      std::sort(from.begin(), from.end(), [](const Vessel* a, const Vessel* b) {
        const std::uint64_t la = lot_of(a->code), lb = lot_of(b->code);
        return la != lb ? la < lb : a->code < b->code;
      });
      from.resize(std::min(from.size(), most));
    };
    draw(sisters, kMostUsualShips / 2);
    draw(others, kMostUsualShips - 1 - sisters.size());
  }
  sisters.insert(sisters.end(), others.begin(), others.end());
  sisters.push_back(&own);
  std::sort(sisters.begin(), sisters.end());  // all stand in one list
  return sisters;
}

std::vector<UsualShaft> usual_shafts(const VesselLog& log, const VesselDigest& d) {
  std::unordered_map<Uuid, Instant> recorded;
  for (const auto& g : log.greasings) recorded.emplace(g.id, g.recorded_at);
  std::vector<UsualShaft> out;
  for (const auto& [id, h] : d.histories) {
    UsualShaft& s = out.emplace_back();
    s.history = h;
    for (const GreasingInterval& g : h.intervals) s.recorded.push_back(recorded.at(g.id));
  }
  return out;
}

Instant end_of(std::string_view option, const std::string& text, const Zone& zone) {
  const Stamp s = get_moment(option, text, zone);
  constexpr std::chrono::hours kHalfDay{12};  // a day alone is kept as its noon
  return s.precision == Precision::day ? s.utc + kHalfDay - std::chrono::seconds{1} : s.utc;
}

/// `replay` answers the same for a whole fleet and learns anew what the fleet taught at every step, which takes a
/// review of the fleet a step; here it is one vessel a step, so that a dossier takes part of a second. What the program
/// would have said day by day, with what was recorded by each day: the present program's review with as_of = known =
/// that day's noon, as `review --as-of DAY --known DAY` gives it. What the fleet taught by then is learnt from the
/// greasings that had been recorded, their hours and doses taken as they are known today.
class ToldReplay {
 public:
  ToldReplay(const LogRepository& records, const History& h, const std::vector<UsualShaft>& usual, unsigned threads)
      : records_{&records}, history_{&h}, usual_{&usual}, threads_{threads} {
    for (const LubricatorDetail& l : h.dossier.lubricators) feeding_.push_back(l.lubricator);
  }

  void run(Dossier& d) {
    const BearingLife& life = d.lives[d.focus];
    const auto first = std::chrono::ceil<std::chrono::days>(life.from),
               last = std::chrono::floor<std::chrono::days>(life.to);
    if (last <= first) return;
    constexpr int kMostSteps = 60;
    const auto step = std::max<int>(30, static_cast<int>((last - first).count()) / kMostSteps);
    std::vector<std::chrono::sys_days> grid;
    for (auto day = first; day < last; day += std::chrono::days{step}) grid.push_back(day);
    grid.push_back(last);
    review_grid(grid);
    for (const auto day : grid) told_by(d.told, review_on(day), d.shaft, feeding_, noon(day));
    // A ship that sends in batches is silent at one look and not at the next: that is no matter to tell.
    std::erase_if(d.told, [&](const Told& t) {
      return t.kind == FindingKind::records_missing && t.first == t.last && t.last != noon(grid.back());
    });
    for (Told& t : d.told) {
      if (t.kind == FindingKind::records_missing) continue;  // of the log: the day matters less than the bearing's
      const auto is_told = [&](std::chrono::sys_days day, bool act) {
        std::vector<Told> alone;
        told_by(alone, review_on(day), d.shaft, feeding_, noon(day));
        return std::any_of(alone.begin(), alone.end(), [&](const Told& x) {
          return x.kind == t.kind && x.shaft == t.shaft && x.lubricator == t.lubricator && (!act || x.first_act);
        });
      };
      const auto bisect = [&](Instant seen, bool act) {
        auto high = std::chrono::floor<std::chrono::days>(seen);
        if (high == grid.front()) return seen;
        auto low = *(std::lower_bound(grid.begin(), grid.end(), high) - 1);
        while (high - low > std::chrono::days{1}) {
          const auto middle = low + (high - low) / 2;
          (is_told(middle, act) ? high : low) = middle;
        }
        return noon(high);
      };
      t.first = bisect(t.first, false);
      if (t.first_act) t.first_act = bisect(*t.first_act, true);
      std::vector<Told> then;
      told_by(then, review_on(std::chrono::floor<std::chrono::days>(t.first)), d.shaft, feeding_, t.first);
      for (const Told& x : then)
        if (x.kind == t.kind && x.shaft == t.shaft && x.lubricator == t.lubricator) {
          t.summary = x.summary;
          t.urgency = x.urgency;
        }
    }
    std::stable_sort(d.told.begin(), d.told.end(), [](const Told& a, const Told& b) { return a.first < b.first; });
    d.told_step_days = step;
  }

 private:
  static Instant noon(std::chrono::sys_days day) { return day + std::chrono::hours{12}; }

  // What is usual moves slowly: a quarter's beginning stands for the quarter.
  static Instant quarter_of(Instant t) {
    constexpr std::int64_t kQuarter_s = std::int64_t{91} * 86400;
    return from_unix(in_unix_s(t) / kQuarter_s * kQuarter_s);
  }

  [[nodiscard]] FleetPrior prior_at(Instant t) const {
    std::vector<ShaftHistory> then;
    then.reserve(usual_->size());
    for (const UsualShaft& s : *usual_) {
      ShaftHistory& h = then.emplace_back();
      const ShaftHistory& all = s.history;
      h = {all.vessel, all.shaft, all.key, all.group, all.cavity_cm3, all.is_automatic, all.first_is_full, {}};
      for (std::size_t i = 0; i < all.intervals.size(); ++i)
        if (all.intervals[i].at <= t && s.recorded[i] <= t) h.intervals.push_back(all.intervals[i]);
    }
    return fit_fleet_prior(then);
  }

  [[nodiscard]] VesselLog log_on(std::chrono::sys_days day) const {
    const Instant t = noon(day);
    return records_->load_vessel(history_->log.vessel.id, t, history_->known ? std::min(*history_->known, t) : t);
  }

  /// The days of the grid all at once; the file is read by one thread.
  void review_grid(const std::vector<std::chrono::sys_days>& grid) {
    std::vector<VesselLog> logs;
    std::vector<Instant> quarters;
    for (const auto day : grid) {
      logs.push_back(log_on(day));
      if (quarters.empty() || quarters.back() != quarter_of(noon(day))) quarters.push_back(quarter_of(noon(day)));
    }
    std::vector<FleetPrior> priors(quarters.size());
    in_parallel(quarters.size(), threads_, [&](std::size_t i) { priors[i] = prior_at(quarters[i]); });
    for (std::size_t i = 0; i < quarters.size(); ++i) priors_.emplace(quarters[i], std::move(priors[i]));
    std::vector<VesselReview> reviews(grid.size());
    in_parallel(grid.size(), threads_, [&](std::size_t i) {
      const Instant t = noon(grid[i]);
      reviews[i] = review_vessel(logs[i], digest(logs[i], t, /*with_detail=*/false), priors_.at(quarter_of(t)), t);
    });
    for (std::size_t i = 0; i < grid.size(); ++i) reviews_.emplace(grid[i], std::move(reviews[i]));
  }

  const VesselReview& review_on(std::chrono::sys_days day) {
    const auto it = reviews_.find(day);
    if (it != reviews_.end()) return it->second;
    const Instant t = noon(day), quarter = quarter_of(t);
    if (!priors_.contains(quarter)) priors_.emplace(quarter, prior_at(quarter));
    const VesselLog log = log_on(day);
    const VesselDigest d = digest(log, t, /*with_detail=*/false);
    return reviews_.emplace(day, review_vessel(log, d, priors_.at(quarter), t)).first->second;
  }

  const LogRepository* records_;
  const History* history_;
  const std::vector<UsualShaft>* usual_;
  unsigned threads_;
  std::vector<LubricatorId> feeding_;
  std::map<Instant, FleetPrior> priors_;
  std::map<std::chrono::sys_days, VesselReview> reviews_;
};

}  // namespace

History look_into(Database& db, Instant now, const HistoryRequest& request) {
  History out;
  const ReadTransaction view{db};
  out.reg = RegisterRepository{db}.load();
  const Vessel& vessel = get_vessel(out.reg, request.vessel);
  const ShaftId shaft = get_shaft(out.reg, vessel, request.shaft).id;
  const Zone zone{vessel.time_zone};
  out.as_of = request.until.empty() ? now : end_of("--until", request.until, zone);
  if (!request.known.empty()) out.known = end_of("--known", request.known, zone);

  const LogRepository records{db};
  const std::vector<const Vessel*> ships = usual_ships(out.reg, vessel);
  std::vector<VesselLog> logs;
  for (const Vessel* v : ships) logs.push_back(records.load_vessel(v->id, out.as_of, out.known));
  const unsigned threads = request.threads != 0 ? request.threads : std::max(1U, std::thread::hardware_concurrency());
  std::vector<std::vector<UsualShaft>> by_ship(logs.size());
  in_parallel(logs.size(), threads, [&](std::size_t i) {
    by_ship[i] = usual_shafts(logs[i], digest(logs[i], out.as_of, /*with_detail=*/false));
    if (logs[i].vessel.id != vessel.id) logs[i] = {};
  });
  for (VesselLog& log : logs)
    if (log.vessel.id == vessel.id) out.log = std::move(log);
  std::vector<UsualShaft> usual;
  for (std::vector<UsualShaft>& of : by_ship)
    usual.insert(usual.end(), std::make_move_iterator(of.begin()), std::make_move_iterator(of.end()));
  std::vector<ShaftHistory> histories, of_group;
  std::string group;
  for (const UsualShaft& s : usual) {
    histories.push_back(s.history);
    if (s.history.shaft == shaft) group = s.history.group;
  }
  out.prior = fit_fleet_prior(histories);
  for (const ShaftHistory& h : histories)
    if (!group.empty() && h.group == group) of_group.push_back(h);

  ListQuery query;
  query.vessel = vessel.id;
  query.in_force_only = false;
  query.known = out.known;
  out.entries = records.list(query);
  std::erase_if(out.entries,
                [&](const Entry& e) { return e.head.at.utc > out.as_of && !e.head.replaces && !e.head.withdraws; });

  out.remarks = FindingRepository{db}.list_of(vessel.id, out.as_of, out.known.value_or(kLatest));
  out.verifications = VerificationRepository{db}.list_of(vessel.id);
  std::erase_if(out.verifications, [&](const Verification& v) {
    return v.at.utc > out.known.value_or(kLatest) ||
           std::none_of(out.entries.begin(), out.entries.end(), [&](const Entry& e) { return e.head.id == v.record; });
  });
  std::vector<PutRight> put_right;
  for (RegisterRepository::Replaced& r : RegisterRepository{db}.list_replaced(vessel.id, shaft)) {
    if (out.known && r.at > *out.known) continue;
    std::replace(r.table.begin(), r.table.end(), '_', ' ');
    put_right.push_back({r.at, std::move(r.by), std::move(r.table), std::move(r.was)});
  }
  out.dossier =
      make_dossier({out.log, out.entries, out.prior, put_right, of_group, shaft, out.as_of, request.every_reading,
                    static_cast<int>(ships.size()), static_cast<int>(out.reg.vessels.size())});
  if (request.with_told) {
    ToldReplay{records, out, usual, threads}.run(out.dossier);
    answer_told(out.dossier, out.log);
  }
  return out;
}

}  // namespace shaftlog
