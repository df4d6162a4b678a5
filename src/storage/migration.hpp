#pragma once

#include "base/embedded.hpp"
#include "storage/database.hpp"

#include <filesystem>
#include <span>
#include <string>
#include <vector>

struct sqlite3;

namespace shaftlog {

std::span<const EmbeddedFile> schema_files();     ///< of a fresh file, in order
std::span<const EmbeddedFile> migration_files();  ///< n-th: from version n - 1 to n

/// The steps and where they lead. Tests give their own.
struct SchemaPlan {
  std::span<const EmbeddedFile> schema;
  std::span<const EmbeddedFile> migrations;
  [[nodiscard]] int version() const noexcept { return static_cast<int>(migrations.size()); }
};
SchemaPlan released_plan();

/// Writes application id, version and tables into an empty database. The caller holds a transaction.
void write_fresh_schema(sqlite3* db, const SchemaPlan& plan);

/// The same for the schema of an earlier version.
void write_schema_of(sqlite3* db, const SchemaPlan& plan, int version);
/// The steps from version `from` to the newest, if any, in one transaction of their own or not at all. What has no
/// place in a strand is given one.
void migrate(sqlite3* db, const std::filesystem::path& path, const SchemaPlan& plan, int from);

/// Objects of the schema, each one line with comments and spacing left out, sorted. Equal lists: equal schemas.
std::vector<std::string> describe_schema(sqlite3* db);
/// How the schema differs from that of a fresh file, a sentence each; empty when it does not.
std::vector<std::string> schema_differences(sqlite3* db, const SchemaPlan& plan);

/// As upgrade(), with other steps.
UpgradeResult upgrade_by(const std::filesystem::path& path, Instant now, const SchemaPlan& plan);

}  // namespace shaftlog
