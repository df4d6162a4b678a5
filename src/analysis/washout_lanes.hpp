#pragma once

#include "analysis/washout_cell.hpp"

#include <cstddef>
#include <span>
#include <vector>

namespace shaftlog::washout {

/// Many hypotheses side by side, so that one interval and one greasing pass over all of them at the machine's full
/// width. The arithmetic is that of predict() and pass() of a single cell; the bytes do not depend on that width.
/// Internal to analysis.
class Lanes {
 public:
  void clear() noexcept {
    size_ = 0;
    pushed_.clear();
  }
  [[nodiscard]] std::size_t size() const noexcept { return size_; }
  /// \param w rate of the hypothesis in the interval to come [cm3/h]
  void push(const Cell& cell, double w);
  /// Missing volume at the end of the interval, before the greasing: expected_mean() and expected_var().
  void predict(const Reading& reading);
  /// Weighs every hypothesis by the reading and moves it past the greasing; after predict() of the same interval.
  void pass(const Reading& reading);
  /// Of what was pushed as the i-th: weight, and mean and (co)variances of (m, d); the rest as it was pushed.
  [[nodiscard]] Cell cell(std::size_t i) const noexcept;
  [[nodiscard]] double weight(std::size_t i) const noexcept { return at(kP)[i]; }
  [[nodiscard]] std::span<const double> weights() const noexcept { return {at(kP), size_}; }
  [[nodiscard]] std::span<const double> expected_mean() const noexcept { return {at(kMean), size_}; }  ///< [cm3]
  [[nodiscard]] std::span<const double> expected_var() const noexcept { return {at(kVar), size_}; }    ///< [cm6]

 private:
  enum Column : std::size_t { kP, kM, kD, kVm, kCmd, kVd, kW, kMean, kVar, kCov, kColumns };
  void grow();
  [[nodiscard]] double* at(Column c) noexcept { return values_.data() + c * room_; }
  [[nodiscard]] const double* at(Column c) const noexcept { return values_.data() + c * room_; }

  std::size_t size_ = 0, room_ = 0;
  std::vector<double> values_;
  std::vector<Cell> pushed_;
  std::vector<std::size_t> outside_;  ///< lanes that are passed by themselves, and their columns
  std::vector<double> aside_;
};

}  // namespace shaftlog::washout
