#pragma once

#include "analysis/plain.hpp"
#include "app/review.hpp"
#include "storage/database.hpp"

#include <functional>
#include <span>
#include <string>
#include <vector>

namespace shaftlog {

/// What plain methods say of the vessels asked for, one after another: no more than a few are held at a time. One read
/// transaction from the beginning to the end of its life.
class PlainReview {
 public:
  /// \throws as review
  PlainReview(Database& db, Instant now, const ReviewRequest& request);
  [[nodiscard]] Instant as_of() const noexcept { return as_of_; }
  [[nodiscard]] const Register& reg() const noexcept { return reg_; }

  /// A vessel's shafts, then its lubricators, into text; called from any thread, several at a time.
  using Tell = std::function<std::string(std::span<const PlainSeries>)>;
  /// That text; in the order of the register's vessels, one at a time.
  using Put = std::function<void(const std::string&)>;
  void each(const Tell& tell, const Put& put) const;

 private:
  Database* db_;
  ReadTransaction view_;
  ReviewRequest request_;
  Instant as_of_{};
  Register reg_;
};

}  // namespace shaftlog
