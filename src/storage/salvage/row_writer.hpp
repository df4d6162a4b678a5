#pragma once

#include "storage/salvage/page_map.hpp"

struct sqlite3_stmt;

namespace shaftlog::salvage {

/// Puts rows of one table into a database, held to all its rules.
class RowWriter {
 public:
  enum class Put : std::uint8_t {
    added,
    same,       ///< it is there already
    differs,    ///< another row stands under its key, or has its code or id
    no_parent,  ///< what it refers to is not there
    refused     ///< a check of the table says no: it cannot have been written like this
  };
  RowWriter(sqlite3* db, const TableShape& table);
  RowWriter(const RowWriter&) = delete;
  RowWriter& operator=(const RowWriter&) = delete;
  ~RowWriter();

  /// A reference that may be empty and leads nowhere is emptied. \throws Error{io} when the file cannot be written
  Put put(const Row& row);
  /// How often a column's reference was emptied, by column.
  [[nodiscard]] const std::map<std::string, std::int64_t>& emptied() const noexcept { return emptied_; }

 private:
  struct Reference {
    int column;
    sqlite3_stmt* find;
  };
  [[nodiscard]] int insert(const std::vector<Value>& values);
  [[nodiscard]] bool is_same(const Row& row);
  bool empty_lost_references(std::vector<Value>& values);

  sqlite3* db_;
  const TableShape* table_;
  sqlite3_stmt* insert_ = nullptr;
  sqlite3_stmt* find_ = nullptr;
  std::vector<Reference> references_;  // of one column that may be empty
  std::map<std::string, std::int64_t> emptied_;
};

}  // namespace shaftlog::salvage
