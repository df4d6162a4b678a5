#pragma once

#include "analysis/plain.hpp"
#include "app/review.hpp"
#include "storage/database.hpp"

#include <vector>

namespace shaftlog {

struct PlainView {
  Instant as_of{};
  Register reg;
  std::vector<PlainSeries> series;  ///< by vessel: its shafts, then its lubricators
};

/// What plain methods say of the vessels asked for. \throws as review
PlainView review_plainly(Database& db, Instant now, const ReviewRequest& request);

}  // namespace shaftlog
