#pragma once

#include "domain/finding_remark.hpp"
#include "storage/finding_sql.hpp"
#include "storage/query.hpp"

namespace shaftlog {

/// A row of finding_sql's statements.
FindingRemark read_finding_remark(const Query& row);

}  // namespace shaftlog
