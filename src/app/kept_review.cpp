#include "app/kept_review.hpp"

#include "analysis/parallel.hpp"
#include "analysis/vessel_reader.hpp"
#include "storage/finding_repository.hpp"
#include "storage/log_repository.hpp"
#include "storage/register_repository.hpp"

#include <algorithm>
#include <atomic>
#include <thread>

namespace shaftlog {
namespace {

/// Records beyond which a log is read a second time instead of held meanwhile: some 40 MB.
constexpr std::size_t kMostHeld = 100'000;

/// A vessel that is computed again, and what was read of it as long as there is room.
struct Task {
  std::size_t at = 0;
  std::unique_ptr<ReadVessel> read;
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
  VesselReader reader{[&](std::size_t i) { return log.load_vessel(held_[i].vessel.id, as_of, std::nullopt); }, as_of};
  std::vector<Task> tasks;
  for (std::size_t i = 0; i < held_.size(); ++i)
    if (is_all || std::binary_search(touched.begin(), touched.end(), held_[i].vessel.id)) tasks.push_back({i, nullptr});
  work_ = {tasks.size(), 0, false};
  std::atomic<std::size_t> records{0};
  in_parallel(tasks.size(), threads, [&](std::size_t n) {
    Held& h = held_[tasks[n].at];
    std::unique_ptr<ReadVessel> v = reader.read(tasks[n].at, /*with_detail=*/false);
    h.histories.clear();
    for (const auto& [id, history] : v->digest.histories) h.histories.push_back(history);
    if (records < kMostHeld) {
      records += count_records(v->log);
      tasks[n].read = std::move(v);
    }
  });
  for (const Task& t : tasks) held_[t.at].serial = ++serial_;

  std::vector<LearntFrom> from;
  for (const Held& h : held_)
    for (const ShaftHistory& s : h.histories) from.push_back({&s, s.shaft.value, h.serial});
  FleetReview out;
  out.as_of = as_of;
  out.prior = learner_->learn(from);

  std::vector<bool> is_task(held_.size(), false);
  for (const Task& t : tasks) is_task[t.at] = true;
  for (std::size_t i = 0; i < held_.size(); ++i) {
    if (is_task[i] || held_[i].part == nullptr) continue;
    if (are_same(held_[i].priors, priors_of(held_[i].histories, out.prior))) continue;
    work_.has_learnt = true;
    tasks.push_back({i, nullptr});
  }
  work_.reviewed = tasks.size();
  in_parallel(tasks.size(), threads, [&](std::size_t n) {
    const std::size_t i = tasks[n].at;
    Held& h = held_[i];
    const std::unique_ptr<ReadVessel> v =
        tasks[n].read ? std::move(tasks[n].read) : reader.read(i, /*with_detail=*/false);
    const auto remarks = reader.alone([&] { return findings.list_of(h.vessel.id, as_of); });
    h.priors = priors_of(h.histories, out.prior);
    h.part = std::make_shared<const VesselPart>(
        part_of(review_vessel(v->log, v->digest, out.prior, as_of), v->log, remarks, as_of, /*judge_gone=*/false));
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
