#include "web/site.hpp"

#include "base/error.hpp"

#include <utility>

namespace shaftlog::web {

namespace {

constexpr auto kLook = std::chrono::milliseconds{500};  // how often the file is looked at for what others wrote
constexpr auto kAge = std::chrono::minutes{10};         // what is due moves with the clock
constexpr auto kTurn = std::chrono::seconds{10};
constexpr auto kPatience = std::chrono::milliseconds{40};
constexpr std::size_t kMostThen = 6, kMostMade = 32;
constexpr int kMostAtWork = 2;
constexpr auto kLongestRest = std::chrono::seconds{30};

using Steady = std::chrono::steady_clock;

FleetView view_of(FleetReview made) {
  return {std::make_shared<const FleetReview>(std::move(made)), std::make_shared<MadeOnce>(), false};
}

}  // namespace

std::shared_ptr<const std::string> MadeOnce::get(const std::string& name, const std::function<std::string()>& make) {
  {
    const std::lock_guard lock{mutex_};
    if (const auto at = made_.find(name); at != made_.end()) return at->second;
  }
  auto made = std::make_shared<const std::string>(make());
  const std::lock_guard lock{mutex_};
  if (made_.size() >= kMostMade) made_.clear();
  return made_.try_emplace(name, std::move(made)).first->second;
}

Site::Site(std::filesystem::path database, const Clock& clock, Door& door)
    : file_{std::move(database)},
      clock_{clock},
      door_{door},
      readers_{file_, KeptOpen::For::reading},
      writers_{file_, KeptOpen::For::writing} {
  worker_ = std::jthread{[this](const std::stop_token& stop) { work(stop); }};
}

Site::~Site() {
  worker_.request_stop();
  changed_.notify_all();
}

std::unique_lock<std::timed_mutex> Site::turn_to_keep() {
  std::unique_lock turn{keeping_, kTurn};
  if (!turn) throw Error{Errc::busy, "others are writing into the log; try again in a moment"};
  return turn;
}

void Site::work(const std::stop_token& stop) {
  std::optional<Database> db;
  std::int64_t seen = -1;
  Steady::time_point rested{};
  while (!stop.stop_requested()) {
    std::shared_ptr<const FleetReview> before;
    {
      std::unique_lock lock{mutex_};
      changed_.wait_for(lock, stop, kLook, [this] { return is_wanted_; });
      // While records keep coming, half of the time at most goes into reviews.
      changed_.wait_until(lock, stop, rested, [] { return false; });
      before = latest_.review;
      is_wanted_ = false;
    }
    if (stop.stop_requested()) return;
    try {
      if (db && !is_as_opened(*db)) {
        db.reset();
        seen = -1;
      }
      if (!db) db.emplace(open_to_read(file_));
      const std::int64_t version = data_version(*db);
      const Instant now = clock_.now_s();
      const bool is_current = version == seen && before && now - before->as_of < kAge;
      {
        const std::lock_guard lock{mutex_};
        is_behind_ = !is_current || is_wanted_;
      }
      if (is_current) continue;
      seen = version;
      const auto begun = Steady::now();
      ReviewRequest request;
      if (before != nullptr) request.threads = 1;  // only the first is waited for; the others leave room for pages
      FleetView made = view_of(review(*db, now, request));
      const auto took = Steady::now() - begun;
      rested = Steady::now() + std::min<Steady::duration>(took, kLongestRest);
      const std::lock_guard lock{mutex_};
      latest_ = std::move(made);
      took_ = took;
      fault_.clear();
      then_.clear();
      is_behind_ = is_wanted_;
    } catch (const std::exception& e) {
      db.reset();
      seen = -1;
      const std::lock_guard lock{mutex_};
      fault_ = e.what();
    }
    changed_.notify_all();
  }
}

void Site::kept() {
  {
    const std::lock_guard lock{mutex_};
    is_wanted_ = is_behind_ = true;
  }
  changed_.notify_all();
}

FleetView Site::fleet() {
  std::unique_lock lock{mutex_};
  if (latest_.review && is_behind_ && took_ < kPatience)
    changed_.wait_for(lock, kPatience, [this] { return !is_behind_; });
  if (!latest_.review) {
    is_wanted_ = true;
    changed_.notify_all();
    changed_.wait_for(lock, std::chrono::seconds{60}, [this] { return latest_.review || !fault_.empty(); });
  }
  if (!latest_.review)
    throw Error{Errc::busy, fault_.empty() ? "the first review of the fleet is not ready yet" : fault_};
  FleetView view = latest_;
  view.is_stale = is_behind_;
  return view;
}

FleetView Site::fleet_then(Instant as_of) {
  {
    const std::lock_guard lock{mutex_};
    if (const auto at = then_.find(as_of); at != then_.end()) return at->second;
    if (at_work_ >= kMostAtWork) throw Error{Errc::busy, "other days are being looked at; try again in a moment"};
    ++at_work_;
  }
  FleetView made;
  const auto done = [this] {
    const std::lock_guard lock{mutex_};
    --at_work_;
  };
  try {
    auto file = open();
    Database& db = *file;
    ReviewRequest request;
    request.as_of = as_of;
    made = view_of(review(db, clock_.now_s(), request));
  } catch (...) {
    done();
    throw;
  }
  done();
  const std::lock_guard lock{mutex_};
  if (then_.size() >= kMostThen) then_.clear();
  then_[as_of] = made;
  return made;
}

}  // namespace shaftlog::web
