#pragma once

#include "app/maintenance.hpp"
#include "app/review.hpp"
#include "base/time.hpp"
#include "web/door.hpp"
#include "web/kept_open.hpp"
#include "web/router.hpp"

#include <chrono>
#include <condition_variable>
#include <filesystem>
#include <functional>
#include <future>
#include <map>
#include <memory>
#include <mutex>
#include <string>
#include <thread>

namespace shaftlog::web {

/// What was made from one review and says the same to everybody, by name. A few are kept. For many threads: one makes
/// it, the others wait for that one.
class MadeOnce {
 public:
  using Text = std::shared_ptr<const std::string>;
  [[nodiscard]] Text get(const std::string& name, const std::function<std::string()>& make);

 private:
  std::mutex mutex_;
  std::map<std::string, std::shared_future<Text>> made_;
};

/// A review of the whole fleet; pages of one moment share it.
struct FleetView {
  std::shared_ptr<const FleetReview> review;
  std::shared_ptr<MadeOnce> made;  ///< from that review
  std::optional<Instant> kept_by;  ///< what was kept by then is in it; empty: the review is of an earlier moment
  bool is_stale = false;           ///< records came since, and are being worked in
};

/// What the pages share: the file, the clock, the door, and the newest review of the fleet. A page never waits long for
/// a review: it shows the last one, says so, and a new one is made beside it.
///
/// The fleet is reviewed as of the end of the present ten minutes: within them a new record leaves the other ships as
/// they were, and only its own is computed again.
class Site {
 public:
  Site(std::filesystem::path database, const Clock& clock, Door& door);
  ~Site();
  Site(const Site&) = delete;
  Site& operator=(const Site&) = delete;

  [[nodiscard]] KeptOpen::Lent open() { return readers_.lend(); }          ///< to read
  [[nodiscard]] KeptOpen::Lent open_to_keep() { return writers_.lend(); }  ///< to write
  /// To be held while something is kept: writers of this server wait for one another here, where each is woken, and not
  /// at the file, where each asks again and again. \throws Error{busy} after ten seconds
  [[nodiscard]] std::unique_lock<std::timed_mutex> turn_to_keep();
  [[nodiscard]] const Clock& clock() const noexcept { return clock_; }
  [[nodiscard]] Door& door() noexcept { return door_; }
  [[nodiscard]] std::string token(const Request& request) const { return door_.token(request.session); }

  /// The newest. Waits for the first review, and a moment for the next where records come one at a time.
  FleetView fleet();
  /// As of an earlier moment; a few are kept. \throws Error{busy} too many are asked for at once
  FleetView fleet_then(Instant as_of);
  /// To be called when something was kept: a new review is begun, at once where none was made just before.
  void kept();

 private:
  void work(const std::stop_token& stop);

  std::filesystem::path file_;
  const Clock& clock_;
  Door& door_;
  KeptOpen readers_, writers_;
  std::timed_mutex keeping_;
  std::mutex mutex_;
  std::condition_variable_any changed_;
  FleetView latest_;
  std::chrono::steady_clock::duration took_{};     ///< the last review
  std::chrono::steady_clock::time_point made_at_;  ///< when it was there
  std::string fault_;                              ///< why no review could be made
  bool is_wanted_ = true, is_behind_ = true;
  std::map<Instant, FleetView> then_;
  int at_work_ = 0;
  std::jthread worker_;  // last: ends first
};

}  // namespace shaftlog::web
