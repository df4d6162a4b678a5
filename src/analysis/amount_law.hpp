#pragma once

#include "analysis/washout.hpp"

#include <array>
#include <cstddef>
#include <map>
#include <optional>
#include <span>
#include <vector>

namespace shaftlog {

/// Greasings of one shaft from one full cavity to the next: what all of them took belongs to the hours between.
struct FullSpan {
  Uuid record;  ///< the greasing that left the cavity full
  Instant from{}, at{};
  double taken_cm3 = 0;
  double run_h = 0, run_sd_h = 0;
  double delivered_cm3 = 0, delivered_sd_cm3 = 0;
  std::size_t baseline = 0;         ///< how many seals and bearings were replaced before it
  bool is_single = true;            ///< one greasing alone: nothing was broken off before it
  std::size_t first = 0, last = 0;  ///< intervals of the history that it is made of
  bool is_path_suspect = false;
};
std::vector<FullSpan> full_spans(const ShaftHistory& history, const WashoutResult& washout);

/// How well an amount fits among those of its shaft, by hypotheses about the one amount. Natural logs of evidence;
/// what all hypotheses share is left out.
struct AmountEvidence {
  double plain = 0;                     ///< the rate before and after it holds for it too
  double change = 0;                    ///< the rate changed and stayed
  double cut_short = 0;                 ///< it, or the one before it, was broken off early: the next took the rest;
                                        ///< or doses did not arrive
  double odd = 0;                       ///< an amount that says nothing
  double expected_cm3 = 0, sd_cm3 = 0;  ///< from the amounts about it, its own left out
};

/// The amounts of one shaft under one rate that is not known, on a grid of ln(rate).
class AmountLaw {
 public:
  /// \param spans oldest first, of one shaft
  AmountLaw(std::vector<FullSpan> spans, const WashoutPrior& prior, std::optional<double> cavity_cm3);

  [[nodiscard]] const std::vector<FullSpan>& spans() const noexcept { return spans_; }
  /// \param after how many later spans are known
  [[nodiscard]] AmountEvidence weigh(std::size_t i, std::size_t after) const;
  /// As `plain` of weigh(), had each of `taken_cm3` been written.
  [[nodiscard]] std::vector<double> plain_if(std::size_t i, std::size_t after, std::span<const double> taken_cm3) const;
  [[nodiscard]] double fill_sd_cm3() const noexcept { return prior_.fill_sd_cm3; }
  struct Fit {
    double robust = 0;  ///< one amount in 30 says nothing
    double plain = 0;   ///< the scatter alone
  };
  /// Natural log of the density of the amount of a span, given what the spans about it say, those in `left_out` not.
  [[nodiscard]] Fit fit(const FullSpan& span, std::size_t about, std::span<const std::size_t> left_out) const;
  static constexpr std::size_t kAfter = 4;  ///< later spans that are looked at

 private:
  static constexpr std::size_t kGrid = 49;
  using Row = std::array<double, kGrid>;

  /// Of a span's amount, at each rate.
  struct Prediction {
    Row mean, var;
  };
  /// \param apart how many spans away it is seen from; \param owing what it has to make up for, at each rate
  [[nodiscard]] Prediction predict(const FullSpan& s, double apart, const Row& owing = {}) const;
  void add_carried(Row& both, const Prediction& short_of, double taken, const FullSpan& next) const;
  /// ln density of the amount of span `k`, robust, seen `apart` spans away: made once.
  [[nodiscard]] const Row& row_of(std::size_t k, std::size_t apart) const;
  [[nodiscard]] Row before(std::size_t i, std::size_t skip) const;

  std::vector<FullSpan> spans_;
  WashoutPrior prior_;
  std::optional<double> cavity_;
  Row rates_{}, prior_row_{};
  double step_ = 0;
  static constexpr std::size_t kFarthest = 15;
  struct Kept {
    Row row;
    bool is_made = false;
  };
  mutable std::vector<std::map<std::size_t, Kept>> rows_;  ///< of each span by its distance
};

}  // namespace shaftlog
