#pragma once

#include "analysis/types.hpp"

#include <cstddef>
#include <cstdint>
#include <optional>
#include <vector>

namespace shaftlog {

/// A part of a normal mixture.
struct Normal {
  double weight, mean, sd;
};
/// \param parts weights sum to about 1
double mixture_cdf(const std::vector<Normal>& parts, double x);
/// Median with 5 and 95 %, none below `least`. \param parts at least one; weights need not sum to 1
/// \param faint parts with less of the weight are left out
Estimate mixture_summary(std::vector<Normal> parts, double least, double faint = 1e-9);

/// Where a ratio stands to 1.
enum class Regime : std::uint8_t { healthy, low, high };
constexpr std::size_t kRegimes = 3;

/// What happened at one moment of a balance, after a stretch of use. Amounts in cm3 (or full cycles).
struct BalanceEvent {
  Instant at{};
  double expected = 0;     ///< use since the moment before, at ratio 1
  double expected_sd = 0;  ///< of this stretch alone
  double moment_sd = 0;    ///< of what was expected up to this moment: shared by the stretches that meet here
  std::optional<double> before, after;  ///< readings of the content
  double rounding_sd = 0;               ///< of these readings, where they are noted coarsely
  bool refilled = false;
  std::optional<double> poured;  ///< empty with `refilled`: unknown
  double poured_sd = 0;
  Uuid record;
};

/// How likely a content jumps by something nobody wrote down.
struct Jumps {
  double offset_per_year = 0, offset_sd = 0;  ///< another way of reading, air
  double top_up_per_year = 0, top_up_mean = 0, top_up_sd = 0;
  double pour_chance = 0, pour_sd = 0;  ///< at a refill: an amount that is not what went in
};

/// One account of what happened: when the ratio last changed, and how exact readings are.
struct Hypothesis {
  double log_w = 0;
  std::size_t scale = 0;
  double v = 0, r = 1, vv = 0, vr = 0, rr = 0;
  Regime regime = Regime::healthy;
  Instant from{}, to{};  ///< within which the present departure from 1 began
};

/// Bank of two-state Kalman filters (content, ratio), one for each account of when the ratio last changed and how exact
/// readings are.
/// \source docs/methods/delivery.md
class RatioFilter {
 public:
  /// \param unit what one unit of the reading error's scales is worth; \param slip_sd sd of a slip of the pen
  /// \param shares of single devices: ratios of 1 less one of them are likelier than others
  RatioFilter(double unit, double slip_sd, const Jumps& jumps, const std::vector<double>& shares);

  void start(Instant at);
  void run(const BalanceEvent& e);
  /// \param noise_var beside the reading error: rounding; \param moment_sd of what was expected, at ratio 1
  void read(double value, double noise_var, double moment_sd, bool is_after_pour);
  void pour(std::optional<double> amount, double sd);

  /// One part for each of hypotheses(), in their order.
  [[nodiscard]] std::vector<Normal> ratios() const;
  [[nodiscard]] const std::vector<Hypothesis>& hypotheses() const { return hyps_; }
  /// Reading error, 1 sd [units].
  [[nodiscard]] double scale() const;
  /// From now on the most likely account without a departure is kept, whatever comes: what is odd is weighed against
  /// it.
  void hold_witness();
  /// Natural-log odds of all accounts of the regime against the witness; empty: none is held.
  [[nodiscard]] std::optional<double> log_odds_of(Regime regime) const;

 private:
  struct Part {
    Regime regime;
    double mean, sd, log_share;
  };
  struct Sums;
  void branch(const BalanceEvent& e, double years);
  static void stay(Hypothesis& h, const BalanceEvent& e);
  void see(Hypothesis& h, double value, double noise_var, double moment_var, bool is_after_pour) const;
  void prune();

  double unit_, slip_sd_;
  Jumps jumps_;
  std::vector<Part> parts_;
  Instant at_{};
  double years_ = 0;  // since the reading before
  std::vector<Hypothesis> hyps_;
  std::optional<Hypothesis> witness_;
};

}  // namespace shaftlog
