#pragma once

#include "match.hpp"

#include <optional>
#include <span>
#include <vector>

// The limit: a likelihood-ratio test that knows the usual rate, the size of the fault and every error's size, but not
// the moment; the moment is maximised over. It sees the records that were truly written (slips left out) beside the
// true running hours. Its threshold is set by simulation on healthy ships to a given rate of false findings.

namespace shaftlog::judge {

/// What one subject's records said, one value a stretch between two records, and what each fault would have added.
struct Series {
  std::vector<Instant> from, at;
  std::vector<Instant> known;    ///< when the last record that closes the stretch was in the log
  std::vector<double> residual;  ///< observed less what was to be expected without a fault
  std::vector<double> variance;
  std::vector<double> shared;  ///< covariance with the stretch before (errors that telescope: below 0)
  std::vector<double> usual;   ///< what a usual rate twice as high would have added, without a fault; empty: nothing
  double usual_sd = 0;         ///< relative spread of the usual rate; 0: known
  /// What a fault that begins with stretch k adds to stretch i, i >= k.
  std::function<double(std::size_t k, std::size_t i)> adds;
  [[nodiscard]] std::size_t size() const { return at.size(); }
};

/// The records that tell of `fault`, seen by one who knows all but its moment.
Series series_of(const world::MadeVessel& vessel, const world::Fault& fault);

/// A moment at which the test passes its threshold.
struct Signal {
  Instant at{};     ///< of the record that decides
  Instant known{};  ///< when all records it rests on, from the fault's supposed beginning on, were in the log
  friend bool operator==(const Signal&, const Signal&) = default;
};
/// Where the test passes `threshold`; after each it starts anew.
std::vector<Signal> signals(const Series& series, double threshold);
/// The same of a fault whose size is not known, nor, where `usual_sd` is above 0, the usual rate: `ways` are its series
/// at sizes of equal share, and the likelihood ratios are averaged over them, each at its best moment, the usual rate
/// integrated out.
std::vector<Signal> signals(std::span<const Series> ways, double threshold);

/// Log of how much likelier the records known by `until` are with the fault than without, its moment being any day
/// alike.
double log_evidence(Series series, Instant until);

/// Step or wear: what one would name who knows the usual rate, how sizes are spread (world::draw_size) and every error,
/// but neither the moment nor the size. No rule can be right more often, over many faults of both kinds alike, but for
/// the moment being taken at a greasing.
world::FaultKind likelier_kind(const world::MadeVessel& vessel, ShaftId shaft, Instant until);

/// Of the first kinds only: what a blocked path or a lubricator left off shows is no change of a rate.
constexpr std::size_t kLimitKinds = 7;
constexpr bool has_limit(world::FaultKind k) noexcept { return static_cast<std::size_t>(k) < kLimitKinds; }

/// Threshold a kind, at `false_per_100_years` of a healthy fleet. Where several kinds of fault answer to the same
/// findings, whoever looks for each of them shares the rate out among them.
struct Limits {
  double threshold[kLimitKinds] = {};
  double learner[kLimitKinds] = {};  ///< of one who must learn the usual rate and the size
};
Limits tune_limits(const std::vector<world::MadeVessel>& healthy, const double (&false_per_100_years)[kLimitKinds],
                   unsigned threads);

/// When the limit could know of the fault, from what was in the log by then; empty: not before its end: it is not
/// observable. \pre has_limit(fault.kind)
std::optional<Instant> limit_finds(const world::MadeVessel& vessel, const world::Fault& fault, const Limits& limits);
/// The same of one who knows how usual rates and sizes are spread and every error, but neither this rate nor this size.
std::optional<Instant> learner_finds(const world::MadeVessel& vessel, const world::Fault& fault, const Limits& limits);

/// Greasings of a shaft that filled it, each with all that was taken since the one before: for oracle and yardsticks.
struct FilledInterval {
  Instant from{}, at{};
  double taken_cm3 = 0, run_h = 0, delivered_cm3 = 0;
  double round_cm3 = 0;
  Instant known{};  ///< when its records were in the log
};
std::vector<FilledInterval> filled_intervals(const world::MadeVessel& vessel, ShaftId shaft);

/// Stretches between two contents of the reservoir that are known, with what was used between.
struct Balance {
  Instant from{}, at{};
  double used_cm3 = 0, due_cm3 = 0;
  double variance = 0;                  ///< of what was poured
  double error_from = 0, error_at = 0;  ///< variance of the content at either end
  bool joined = false;                  ///< its start is the reading at the end of the stretch before
  Instant known{};                      ///< when its records were in the log
};
std::vector<Balance> balances(const world::MadeVessel& vessel, LubricatorId lubricator);

}  // namespace shaftlog::judge
