#pragma once

#include "analysis/washout_lanes.hpp"

#include <array>
#include <cstdint>
#include <vector>

namespace shaftlog::washout {

constexpr double kPractical = 1.25;              ///< a smaller rise is not worth a word
constexpr double kOpens = 0.92, kCloses = 0.40;  ///< P(rise) at which one is told, and let go

/// ln(yes / no), finite.
double log_odds(double yes, double no);

/// The filter over one stretch of history with one baseline (docs/methods/washout.md, "The hypotheses"): the rate never
/// changed, and lies in one of some rows; or it stepped, and now lies in one of some bins; or it climbs with one of
/// some slopes, and now lies in one of the bins. Internal to analysis.
class Segment {
 public:
  /// \param mean, sd of ln(baseline) before any record of the stretch
  /// \param centre, scale of the grid's fine part, by a rough fit; they decide resolution, not weight
  /// \param first state of the cavity before the first interval
  Segment(const WashoutPrior& prior, double capacity, bool is_automatic, double mean, double sd, double centre,
          double scale, const Cell& first);

  WashoutStep read(const GreasingInterval& g);

  [[nodiscard]] Estimate rate() const;                ///< now [cm3/h]
  [[nodiscard]] Estimate log_baseline() const;        ///< ln of it
  [[nodiscard]] Cell state() const;                   ///< of the cavity
  [[nodiscard]] double cov_rate_duty() const;         ///< of ln(rate) and the slow duty
  [[nodiscard]] Cell fresh_state() const;             ///< the same, for a stretch to come
  [[nodiscard]] Estimate factor(bool is_wear) const;  ///< rate / baseline where the rise is of the kind
  [[nodiscard]] Estimate onset(bool is_wear) const;   ///< running hours of the stretch at which it began
  [[nodiscard]] Estimate slope() const;               ///< of wear, ln per 1000 h
  /// Odds that the baseline belongs to shafts that are high from the start, not to the group.
  [[nodiscard]] double log_odds_high() const;

  /// The errors of this shaft's greasings as its own records have shown them so far.
  [[nodiscard]] WashoutPrior errors() const;

  double p_step = 0, p_wear = 0, p_not = 1;
  double p_worn = 0;  ///< part of p_step whose rate had climbed before
  double hours = 0;
  int exact = 0, left = 0, right = 0;

 private:
  static constexpr std::array<double, 5> kDoublingH{1300, 2000, 3100, 4800, 7500};
  static constexpr std::size_t kRows = 26, kBins = 40, kSlopes = kDoublingH.size();

  /// Of a hypothesis with a shift: the probability that it is a rise worth a word.
  static double rise_of(const Cell& c);
  template <class F>
  void each_shift(F f) const {  // f(cell, is_wear, slope)
    for (const Cell& c : steps_)
      if (c.p > 0) f(c, false, std::size_t{0});
    for (std::size_t j = 0; j < kSlopes; ++j)
      for (const Cell& c : wears_[j])
        if (c.p > 0) f(c, true, j);
  }
  [[nodiscard]] bool is_row(const Cell* c) const noexcept { return c >= rows_.data() && c < rows_.data() + kRows; }
  [[nodiscard]] double density(double log_w) const;
  [[nodiscard]] std::size_t bin_of(double log_w) const noexcept;

  /// Where a jump from a baseline comes to; sums to 1.
  void share_out(double base, std::array<double, kBins>& to) const;
  void line_up(const Reading& r);
  void jump(double share, const Reading& r);
  void foresee(const GreasingInterval& g, const Reading& r, WashoutStep& step) const;
  void take_back();
  void learn_errors(const GreasingInterval& g, const Reading& r, bool is_exact);

  WashoutPrior prior_;
  double capacity_;
  bool is_automatic_;
  double mean_, sd_;
  double pairs_ = 0, products_ = 0;      ///< of neighbouring residuals: how many, their sum with the sign turned [cm6]
  double singles_ = 0, squares_ = 0;     ///< of residuals: what they tell of the duty, and how much it was
  double rate_now_ = 0;                  ///< before the greasing that is read [cm3/h]; 0: not known yet
  double last_loss_ = 0;                 ///< in the interval before that greasing [cm3]
  std::optional<double> last_residual_;  ///< of the greasing before, if it was exact [cm3]
  double centre_ = 0, bin_from_ = 0, bin_width_ = 0;
  std::array<double, kRows> log_w_{}, w_{}, width_{}, base_prior_{};
  std::array<double, kBins> bin_log_w_{}, bin_w_{}, bin_fall_{}, bin_rise_{};
  std::array<std::array<double, kBins>, kRows> jumps_{};  ///< share of a row's jumps that come to each bin
  std::array<Cell, kRows> rows_{};
  std::array<Cell, kBins> steps_{}, midway_{};
  std::array<double, kBins> midway_w_{};
  std::array<std::array<Cell, kBins>, kSlopes> wears_{};
  Lanes lanes_;
  std::vector<Cell*> routes_;  ///< where each lane belongs
  std::size_t first_row_ = 0;  ///< lane of the first row
};

}  // namespace shaftlog::washout
