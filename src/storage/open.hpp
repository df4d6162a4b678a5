#pragma once

#include "storage/database.hpp"

#include <filesystem>
#include <memory>

struct sqlite3;

namespace shaftlog {

// Parts of opening that upgrade and check share with Database.

/// What every connection of ours is set to.
void configure_connection(sqlite3* db);
/// Opens a file that is one of ours, of whatever version.
std::unique_ptr<SQLite::Database> open_checked(const std::filesystem::path& path, Database::Mode mode);
/// \throws Error{schema_too_new}, Error{damaged}
int read_version(sqlite3* db, const std::filesystem::path& path, int newest);
/// \throws Error{schema_too_new}, Error{damaged}, Error{conflict} for an older schema
void require_version(sqlite3* db, const std::filesystem::path& path, int newest);
/// Makes an empty file and sets up the connection; `shown`: the name errors speak of.
std::unique_ptr<SQLite::Database> open_new(const std::filesystem::path& path, const std::filesystem::path& shown);
/// Copies the database into a new file, checks the copy, and only then gives it its name.
void copy_to(sqlite3* from, const std::filesystem::path& to);

}  // namespace shaftlog
