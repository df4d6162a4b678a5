#pragma once

#include "app/maintenance.hpp"

#include <filesystem>
#include <mutex>
#include <optional>
#include <vector>

namespace shaftlog::web {

/// Connections to one file that stay open from request to request: opening one costs a quarter of what an entry costs.
/// Each is lent to one request at a time. For many threads.
class KeptOpen {
 public:
  enum class For { reading, writing };
  KeptOpen(std::filesystem::path file, For what);

  /// Goes back when it ends, unless a fault is under way: who knows in what state that left the connection.
  class Lent {
   public:
    Lent(KeptOpen& owner, Database db);
    Lent(const Lent&) = delete;
    Lent& operator=(const Lent&) = delete;
    ~Lent();
    [[nodiscard]] Database& operator*() noexcept { return *db_; }

   private:
    KeptOpen& owner_;
    std::optional<Database> db_;
    int faults_;
  };
  /// One that is free and still of the file at that path, else a new one. \throws Error as open_to_read, open_to_write
  [[nodiscard]] Lent lend();

 private:
  std::filesystem::path file_;
  For for_;
  std::mutex mutex_;
  std::vector<Database> free_;  ///< used last, lent first
};

}  // namespace shaftlog::web
