#include "storage/salvage/row_writer.hpp"

#include "storage/query.hpp"

#include <sqlite3.h>

#include <fmt/format.h>

namespace shaftlog::salvage {
namespace {

sqlite3_stmt* prepare(sqlite3* db, const std::string& sql) {
  sqlite3_stmt* statement = nullptr;
  const int rc = sqlite3_prepare_v3(db, sql.c_str(), -1, SQLITE_PREPARE_PERSISTENT, &statement, nullptr);
  if (rc != SQLITE_OK) throw_sqlite_error(db, rc);
  return statement;
}

/// The value must outlive the step.
int bind(sqlite3_stmt* statement, int i, const Value& value) {
  const char* bytes = value.bytes.empty() ? "" : reinterpret_cast<const char*>(value.bytes.data());
  switch (value.kind) {
    case Value::Kind::null:
      return sqlite3_bind_null(statement, i);
    case Value::Kind::integer:
      return sqlite3_bind_int64(statement, i, value.integer);
    case Value::Kind::real:
      return sqlite3_bind_double(statement, i, value.real);
    case Value::Kind::text:
      return sqlite3_bind_text64(statement, i, bytes, value.bytes.size(), SQLITE_STATIC, SQLITE_UTF8);
    case Value::Kind::blob:
      return sqlite3_bind_blob64(statement, i, bytes, value.bytes.size(), SQLITE_STATIC);
  }
  return SQLITE_MISUSE;
}

/// Points into the statement until its next step.
Value column_of(sqlite3_stmt* statement, int i) {
  Value value;
  const auto bytes = [&](const void* at) {
    return Bytes{static_cast<const std::uint8_t*>(at), static_cast<std::size_t>(sqlite3_column_bytes(statement, i))};
  };
  switch (sqlite3_column_type(statement, i)) {
    case SQLITE_INTEGER:
      value.kind = Value::Kind::integer;
      value.integer = sqlite3_column_int64(statement, i);
      break;
    case SQLITE_FLOAT:
      value.kind = Value::Kind::real;
      value.real = sqlite3_column_double(statement, i);
      break;
    case SQLITE_TEXT:
      value.kind = Value::Kind::text;
      value.bytes = bytes(sqlite3_column_text(statement, i));
      break;
    case SQLITE_BLOB:
      value.kind = Value::Kind::blob;
      value.bytes = bytes(sqlite3_column_blob(statement, i));
      break;
    default:
      break;
  }
  return value;
}

}  // namespace

RowWriter::RowWriter(sqlite3* db, const TableShape& table) : db_{db}, table_{&table} {
  std::string names, places;
  for (const Column& column : table.columns) {
    names += (names.empty() ? "" : ", ") + column.name;
    places += places.empty() ? "?" : ", ?";
  }
  insert_ = prepare(db, fmt::format("INSERT INTO {} ({}) VALUES ({})", table.name, names, places));
  find_ = prepare(db, fmt::format("SELECT {} FROM {} WHERE rowid = ?", names, table.name));
  Query reference{db, R"sql(
SELECT min("from"), min("table"), min(ifnull("to", '')) FROM pragma_foreign_key_list(:table)
GROUP BY id HAVING count(*) = 1 )sql"};
  reference.bind(table.name);
  while (reference.step()) {
    const int column = table.column(reference.text(0));
    if (column < 0 || table.columns[static_cast<std::size_t>(column)].not_null) continue;
    references_.push_back(
        {column, prepare(db, fmt::format("SELECT 1 FROM {} WHERE {} = ?", reference.text(1), reference.text(2)))});
  }
}

RowWriter::~RowWriter() {
  sqlite3_finalize(insert_);
  sqlite3_finalize(find_);
  for (const Reference& r : references_) sqlite3_finalize(r.find);
}

int RowWriter::insert(const std::vector<Value>& values) {
  sqlite3_reset(insert_);
  for (std::size_t i = 0; i < values.size(); ++i) {
    if (const int rc = bind(insert_, static_cast<int>(i) + 1, values[i]); rc != SQLITE_OK) throw_sqlite_error(db_, rc);
  }
  const int rc = sqlite3_step(insert_);
  const int extended = sqlite3_extended_errcode(db_);
  sqlite3_reset(insert_);
  if (rc == SQLITE_DONE) return SQLITE_OK;
  if ((rc & 0xff) != SQLITE_CONSTRAINT) throw_sqlite_error(db_, rc);
  return extended;
}

bool RowWriter::is_same(const Row& row) {
  sqlite3_reset(find_);
  sqlite3_bind_int64(find_, 1, row.key);
  if (sqlite3_step(find_) != SQLITE_ROW) return false;
  bool is_equal = true;
  for (std::size_t i = 0; i < row.values.size(); ++i) {
    is_equal = is_equal && column_of(find_, static_cast<int>(i)) == row.values[i];
  }
  sqlite3_reset(find_);
  return is_equal;
}

bool RowWriter::empty_lost_references(std::vector<Value>& values) {
  bool any = false;
  for (const Reference& r : references_) {
    Value& value = values[static_cast<std::size_t>(r.column)];
    if (value.kind == Value::Kind::null) continue;
    sqlite3_reset(r.find);
    bind(r.find, 1, value);
    const bool is_there = sqlite3_step(r.find) == SQLITE_ROW;
    sqlite3_reset(r.find);
    if (is_there) continue;
    value = {};
    ++emptied_[table_->columns[static_cast<std::size_t>(r.column)].name];
    any = true;
  }
  return any;
}

RowWriter::Put RowWriter::put(const Row& row) {
  int rc = insert(row.values);
  if (rc == SQLITE_CONSTRAINT_FOREIGNKEY) {
    std::vector<Value> values = row.values;
    const auto before = emptied_;
    if (!empty_lost_references(values)) return Put::no_parent;
    rc = insert(values);
    if (rc != SQLITE_OK) emptied_ = before;
  }
  switch (rc) {
    case SQLITE_OK:
      return Put::added;
    case SQLITE_CONSTRAINT_FOREIGNKEY:
      return Put::no_parent;
    case SQLITE_CONSTRAINT_PRIMARYKEY:
    case SQLITE_CONSTRAINT_ROWID:
    case SQLITE_CONSTRAINT_UNIQUE:
      return is_same(row) ? Put::same : Put::differs;
    default:
      return Put::refused;
  }
}

}  // namespace shaftlog::salvage
