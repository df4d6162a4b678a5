#pragma once

#include "domain/verification.hpp"
#include "storage/query.hpp"
#include "storage/verification_sql.hpp"

namespace shaftlog {

/// A row of verification_sql's statements.
Verification read_verification(const Query& row);

}  // namespace shaftlog
