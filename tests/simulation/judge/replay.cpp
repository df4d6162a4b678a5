#include "replay.hpp"

#include <algorithm>
#include <atomic>
#include <chrono>
#include <thread>

namespace shaftlog::judge {
namespace {

// Hour readings alone move forecasts, hardly a finding.
std::size_t records_of(const VesselLog& log) {
  return log.cycles.size() + log.levels.size() + log.refills.size() + log.greasings.size() + log.alarms.size() +
         log.work.size() + log.inspections.size() + 1000003 * log.future.size();
}

/// One vessel's way through the replay.
struct Watch {
  std::map<Uuid, std::size_t> known;  // place in tracks
  std::size_t records = 0;
  Instant reviewed{};
  VesselReview review;

  void note(VesselReplay& out, Instant before, Instant now) {
    for (Track& t : out.tracks) t.is_standing = t.is_standing && t.last_shown == before;
    for (const Finding& f : review.findings) {
      const auto [place, is_new] = known.emplace(f.id, out.tracks.size());
      if (is_new) {
        Track t;
        t.id = f.id;
        t.kind = f.kind;
        t.shaft = f.shaft;
        t.lubricator = f.lubricator;
        t.first_seen = f.first_seen;
        t.told = std::clamp(f.first_seen, before, now);
        t.shown = now;
        t.at_open = f;
        out.tracks.push_back(std::move(t));
      }
      Track& t = out.tracks[place->second];
      if (!is_new && t.last_shown != before) ++t.reopened;
      t.last_shown = now;
      t.is_standing = true;
      if (t.named.empty() || t.named.back().second != f.kind) t.named.emplace_back(now, f.kind);
      t.last = f;
    }
    for (Track& t : out.tracks) t.is_standing = t.last_shown == now;
  }
};

}  // namespace

void in_parallel(std::size_t n, unsigned threads, const std::function<void(std::size_t)>& work) {
  std::atomic<std::size_t> next{0};
  const auto run = [&] {
    for (std::size_t i = next++; i < n; i = next++) work(i);
  };
  std::vector<std::jthread> crew;
  for (unsigned t = 1; t < threads; ++t) crew.emplace_back(run);
  run();
}

Replay replay(const std::vector<world::MadeVessel>& fleet, const ReplayPlan& plan,
              const std::vector<Instant>& snapshot_at) {
  const auto started = std::chrono::steady_clock::now();
  Replay out;
  out.vessels.resize(fleet.size());
  if (fleet.empty()) return out;
  Instant first = kLatest, last{};
  for (const world::MadeVessel& m : fleet) first = std::min(first, m.truth.first), last = std::max(last, m.truth.last);
  const auto step = std::chrono::days{plan.step_days};
  std::vector<Instant> steps;
  for (Instant t = first + step; t < last; t += step) steps.push_back(t);
  steps.push_back(last);
  std::vector<Instant> wanted;  // the step at which each snapshot is taken
  for (const Instant t : snapshot_at) {
    const auto after = std::upper_bound(steps.begin(), steps.end(), t);
    if (after != steps.begin()) wanted.push_back(*(after - 1));
  }

  std::vector<Watch> watches(fleet.size());
  std::vector<VesselDigest> digests(fleet.size());
  FleetPrior prior;
  std::atomic<std::size_t> reviews{0};
  const auto a_learning = static_cast<std::size_t>(std::max(1, plan.learn_days / plan.step_days));
  for (std::size_t from = 0; from < steps.size(); from += a_learning) {
    const std::size_t to = std::min(from + a_learning, steps.size());
    in_parallel(fleet.size(), plan.threads, [&](std::size_t i) {
      digests[i] = fleet[i].truth.first < steps[from] ? digest(world::known_at(fleet[i].log, steps[from]), steps[from])
                                                      : VesselDigest{};
    });
    std::vector<ShaftHistory> histories;
    for (const VesselDigest& d : digests) {
      for (const auto& [id, h] : d.histories) histories.push_back(h);
    }
    prior = fit_fleet_prior(histories);
    in_parallel(fleet.size(), plan.threads, [&](std::size_t i) {
      Watch& w = watches[i];
      for (std::size_t k = from; k < to; ++k) {
        const Instant now = steps[k], before = k > 0 ? steps[k - 1] : first;
        if (now <= fleet[i].truth.first) continue;
        const VesselLog log = world::known_at(fleet[i].log, now);
        const std::size_t records = records_of(log);
        const bool is_wanted = std::find(wanted.begin(), wanted.end(), now) != wanted.end();
        // Nothing written but hours: little can change, and it is looked at every second step.
        const bool is_due = records != w.records || now - w.reviewed >= 2 * step || is_wanted || k + 1 == steps.size();
        if (is_due) {
          w.review = review_vessel(log, digest(log, now), prior, now);
          w.records = records;
          w.reviewed = now;
          ++reviews;
        }
        w.note(out.vessels[i], before, now);
        if (is_wanted) {
          out.vessels[i].snapshots.push_back({now, w.review.shafts, w.review.lubricators, w.review.findings});
        }
      }
    });
  }
  out.reviews = reviews;
  out.last_prior = prior;
  out.seconds = std::chrono::duration<double>(std::chrono::steady_clock::now() - started).count();
  return out;
}

}  // namespace shaftlog::judge
