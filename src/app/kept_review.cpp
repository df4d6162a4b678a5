#include "app/kept_review.hpp"

#include "analysis/parallel.hpp"
#include "storage/finding_repository.hpp"
#include "storage/log_repository.hpp"
#include "storage/register_repository.hpp"

#include <algorithm>
#include <thread>

namespace shaftlog {
namespace {

/// A vessel that is computed again.
struct Task {
  std::size_t at = 0;
  VesselLog log;
  VesselDigest digest;
  std::vector<FindingRemark> remarks;
};

std::vector<WashoutPrior> priors_of(const std::vector<ShaftHistory>& histories, const FleetPrior& prior) {
  std::vector<WashoutPrior> out;
  out.reserve(histories.size());
  for (const ShaftHistory& h : histories) out.push_back(prior.of(h.group));
  return out;
}

bool are_same(const std::vector<WashoutPrior>& a, const std::vector<WashoutPrior>& b) {
  return std::equal(a.begin(), a.end(), b.begin(), b.end(),
                    [](const WashoutPrior& x, const WashoutPrior& y) { return is_same(x, y); });
}

}  // namespace

void KeptReview::forget() {
  is_whole_ = false;
  held_.clear();
  learner_ = std::make_unique<PriorLearner>();
}

FleetReview KeptReview::review(Database& db, Instant as_of, unsigned threads) {
  try {
    return made(db, as_of, threads != 0 ? threads : std::max(1U, std::thread::hardware_concurrency()));
  } catch (...) {
    forget();
    throw;
  }
}

FleetReview KeptReview::made(Database& db, Instant as_of, unsigned threads) {
  const ReadTransaction view{db};
  const FileMark mark = mark_of(db);
  const bool is_all = !is_whole_ || as_of != as_of_ || mark.reg != mark_.reg;
  is_whole_ = false;
  std::vector<VesselId> touched;
  if (is_all) {
    reg_ = RegisterRepository{db}.load();
    held_.assign(reg_.vessels.size(), {});
    for (std::size_t i = 0; i < held_.size(); ++i) held_[i].vessel = reg_.vessels[i];
  } else {
    touched = vessels_touched_since(db, mark_);
  }

  const LogRepository log{db};
  const FindingRepository findings{db};
  std::vector<Task> tasks;
  const auto add_task = [&](std::size_t i) {
    Task& t = tasks.emplace_back();
    t.at = i;
    t.log = log.load_vessel(held_[i].vessel.id, as_of, std::nullopt);
    t.remarks = findings.list_of(held_[i].vessel.id, as_of);
  };
  for (std::size_t i = 0; i < held_.size(); ++i)
    if (is_all || std::binary_search(touched.begin(), touched.end(), held_[i].vessel.id)) add_task(i);
  work_ = {tasks.size(), 0, false};
  const auto digest_from = [&](std::size_t first) {
    in_parallel(tasks.size() - first, threads, [&](std::size_t n) {
      Task& t = tasks[first + n];
      t.digest = digest(t.log, as_of, /*with_detail=*/false);
    });
  };
  digest_from(0);
  for (const Task& t : tasks) {
    Held& h = held_[t.at];
    h.histories.clear();
    for (const auto& [id, history] : t.digest.histories) h.histories.push_back(history);
    h.serial = ++serial_;
  }

  std::vector<LearntFrom> from;
  for (const Held& h : held_)
    for (const ShaftHistory& s : h.histories) from.push_back({&s, s.shaft.value, h.serial});
  FleetReview out;
  out.as_of = as_of;
  out.prior = learner_->learn(from);

  std::vector<bool> is_task(held_.size(), false);
  for (const Task& t : tasks) is_task[t.at] = true;
  const std::size_t first_taught = tasks.size();
  for (std::size_t i = 0; i < held_.size(); ++i) {
    const bool is_taught =
        held_[i].part != nullptr && !are_same(held_[i].priors, priors_of(held_[i].histories, out.prior));
    work_.has_learnt |= is_taught && !is_task[i];
    if (is_taught && !is_task[i]) add_task(i);
  }
  digest_from(first_taught);
  work_.reviewed = tasks.size();
  in_parallel(tasks.size(), threads, [&](std::size_t n) {
    Task& t = tasks[n];
    Held& h = held_[t.at];
    h.priors = priors_of(h.histories, out.prior);
    h.part = std::make_shared<const VesselPart>(
        part_of(review_vessel(t.log, t.digest, out.prior, as_of), t.log, t.remarks, as_of, /*judge_gone=*/false));
    t.log = {};
    t.digest = {};
  });

  out.reg = reg_;
  out.vessels.reserve(held_.size());
  for (const Held& h : held_) join(out, *h.part);
  out.findings = ranked_findings(out.vessels);
  as_of_ = as_of;
  mark_ = mark;
  is_whole_ = true;
  return out;
}

}  // namespace shaftlog
