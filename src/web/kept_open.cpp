#include "web/kept_open.hpp"

#include <exception>
#include <utility>

namespace shaftlog::web {

namespace {

constexpr std::size_t kMostFree = 8;
constexpr int kCache_mib = 4;  // of each: what one ship's page reads

}  // namespace

KeptOpen::KeptOpen(std::filesystem::path file, For what) : file_{std::move(file)}, for_{what} {
  free_.reserve(kMostFree);  // giving back must not fail
}

KeptOpen::Lent::Lent(KeptOpen& owner, Database db)
    : owner_{owner}, db_{std::move(db)}, faults_{std::uncaught_exceptions()} {}

KeptOpen::Lent::~Lent() {
  if (std::uncaught_exceptions() > faults_) return;
  const std::lock_guard lock{owner_.mutex_};
  if (owner_.free_.size() < kMostFree) owner_.free_.push_back(std::move(*db_));
}

KeptOpen::Lent KeptOpen::lend() {
  std::optional<Database> db;
  {
    const std::lock_guard lock{mutex_};
    if (!free_.empty()) {
      db.emplace(std::move(free_.back()));
      free_.pop_back();
    }
  }
  if (db && is_writable(*db) && is_as_opened(*db)) return {*this, std::move(*db)};
  db.reset();
  Database fresh = for_ == For::writing ? open_to_write(file_) : open_to_read(file_);
  fresh.use_cache_mib(kCache_mib);
  return {*this, std::move(fresh)};
}

}  // namespace shaftlog::web
