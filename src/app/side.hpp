#pragma once

#include "base/time.hpp"
#include "storage/database.hpp"
#include "storage/side_repository.hpp"

#include <string>

namespace shaftlog {

/// Whose file this is.
Side side_of(Database& db);
/// Kept with who and when; what was said before stays readable.
void say_side(Database& db, const Clock& clock, Side side, const std::string& by);

}  // namespace shaftlog
