#include "web/site.hpp"

#include "app/kept_review.hpp"
#include "base/error.hpp"

#include <algorithm>
#include <malloc.h>
#include <utility>

namespace shaftlog::web {

namespace {

constexpr auto kLook = std::chrono::milliseconds{500};   // how often the file is looked at for what others wrote
constexpr std::int64_t kPeriod_s = 600;                  // what is due moves with the clock
constexpr auto kPause = std::chrono::milliseconds{250};  // between two reviews, while records keep coming
constexpr auto kStream = std::chrono::seconds{1};        // records that follow one another sooner keep coming
constexpr auto kTurn = std::chrono::seconds{10};
constexpr auto kPatience = std::chrono::milliseconds{40};
constexpr std::size_t kMostThen = 6, kMostMade = 32;
constexpr std::size_t kMany = 20;  // ships reviewed at once
constexpr int kCache_mib = 16;
constexpr int kMostAtWork = 2;
constexpr auto kLongestRest = std::chrono::seconds{30};

using Steady = std::chrono::steady_clock;

FleetView view_of(FleetReview made, std::optional<Instant> kept_by) {
  return {std::make_shared<const FleetReview>(std::move(made)), std::make_shared<MadeOnce>(), kept_by, false};
}

/// What a review of many ships needed for a moment.
void give_back_memory() {
#ifdef __GLIBC__
  ::malloc_trim(0);
#endif
}

Instant end_of_period(Instant now) { return from_unix((in_unix_s(now) / kPeriod_s + 1) * kPeriod_s); }

}  // namespace

MadeOnce::Text MadeOnce::get(const std::string& name, const std::function<std::string()>& make) {
  std::promise<Text> mine;
  std::shared_future<Text> text;
  bool is_mine = false;
  {
    const std::lock_guard lock{mutex_};
    if (made_.size() >= kMostMade && !made_.contains(name)) made_.clear();
    const auto [at, is_new] = made_.try_emplace(name);
    if (is_new) at->second = mine.get_future().share();
    text = at->second;
    is_mine = is_new;
  }
  if (!is_mine) return text.get();
  try {
    mine.set_value(std::make_shared<const std::string>(make()));
  } catch (...) {
    mine.set_exception(std::current_exception());  // those who wait are told the same; the next one tries again
    const std::lock_guard lock{mutex_};
    made_.erase(name);
  }
  return text.get();
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
  KeptReview kept;
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
      if (db && !is_as_opened(*db)) db.reset();
      if (!db) {
        kept.forget();
        seen = -1;
        db.emplace(open_to_read(file_));
        db->use_cache_mib(kCache_mib);
      }
      const std::int64_t version = data_version(*db);
      const Instant now = clock_.now_s(), as_of = end_of_period(now);
      const bool is_current = version == seen && before && before->as_of == as_of;
      {
        const std::lock_guard lock{mutex_};
        is_behind_ = !is_current || is_wanted_;
      }
      if (is_current) continue;
      seen = version;
      const auto begun = Steady::now();
      // Only the first is waited for; the others leave room for pages.
      FleetView made = view_of(kept.review(*db, as_of, before == nullptr ? 0 : 1), now);
      if (kept.work().reviewed > kMany) give_back_memory();
      const auto done = Steady::now();
      const auto took = done - begun;
      rested = done + std::clamp<Steady::duration>(took, kPause, kLongestRest);
      const std::lock_guard lock{mutex_};
      latest_ = std::move(made);
      took_ = took;
      made_at_ = done;
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
  if (latest_.review && is_behind_ && took_ < kPatience && Steady::now() - made_at_ > kStream)
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
    made = view_of(review(db, clock_.now_s(), request), std::nullopt);
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
