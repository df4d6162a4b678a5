#include "analysis/rate_rise.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <vector>

namespace shaftlog {
namespace {

// Rates before and factors lie on one scale of logarithms, so that a rate after is on it as well.
constexpr std::size_t kRates = 36, kDown = 3, kMild = 5, kFactors = 18;
constexpr double kStep = 0.182321556793955;  // ln 1.2: factors 0.58 to 1.44 are no rise; 1.73 ... 15.4 are
constexpr double kLowest_per_h = 0.08e-3;    // to 47 per 1000 h before, 720 after
// Gamma law of the rate before: shape and hours; 2 bursts per 1000 h on the mean (judgement, no source).
constexpr double kShape = 1.5, kHours = 650.0;
// Chance of a lasting rise per running hour.
constexpr double kHazard_per_h = 1.0 / 2000.0;
// ... of a mild one that is no rise worth a word: season, trade.
constexpr double kMild_per_h = 1.0 / 10000.0;
// ... and of the end of either, while it lasts.
constexpr double kReturn_per_h = 1.0 / 50000.0;
constexpr double kLearn_h = 300.0;  // a rate that was not watched for so long is no rate to compare with
constexpr double kOpens = 0.955, kCloses = 0.50;
// Bursts come less evenly than by chance alone: what is known of it before this subject's own gaps tell.
constexpr double kUsualDispersion = 1.0, kImaginaryGaps = 100.0;
constexpr double kMostDispersion = 3.0;

/// Variance of the share of a gap in the sum of two neighbours, for gamma gaps whose square of variation is
/// `dispersion`.
double share_variance(double dispersion) { return 1 / (4 * (2 / dispersion + 1)); }

/// Dispersion of gaps from the shares of neighbours: a trend or a step moves neighbours alike and hardly enters.
class Dispersion {
 public:
  void add(double gap_h) {
    if (before_h_ > 0 && gap_h > 0) {
      const double share = gap_h / (gap_h + before_h_) - 0.5;
      sum_ += share * share;
      ++weight_;
    }
    before_h_ = gap_h;
  }
  [[nodiscard]] double value() const {
    const double variance = std::min(sum_ / weight_, 0.2);
    return std::clamp(1 / ((1 / (4 * variance) - 1) / 2), 1.0, kMostDispersion);
  }

 private:
  double sum_ = kImaginaryGaps * share_variance(kUsualDispersion), weight_ = kImaginaryGaps, before_h_ = 0;
};

struct Burst {
  double begins_h = 0, ends_h = 0;
  std::size_t opener = 0;
};

std::vector<Burst> bursts_of(std::span<const double> events) {
  std::vector<Burst> out;
  for (std::size_t i = 0; i < events.size(); ++i) {
    if (out.empty() || events[i] - out.back().ends_h > kBurst_h) out.push_back({events[i], events[i], i});
    out.back().ends_h = events[i];
  }
  return out;
}

/// Probability of each rate before and each factor since some earlier moment, carried from event to event.
class Watch {
 public:
  Watch() {
    double sum = 0;
    for (std::size_t i = 0; i < kRates; ++i) {
      const double rate = rate_at(i);
      same_[i] = std::pow(rate, kShape) * std::exp(-rate * kHours);  // times the width, which is rate x step
      sum += same_[i];
    }
    for (double& p : same_) p /= sum;
    double total = 0;
    for (std::size_t j = kMild; j < kFactors; ++j) total += factor_weight(j);
    for (std::size_t j = 0; j < kFactors; ++j)
      hazard_[j] = j < kMild ? kMild_per_h / kMild : kHazard_per_h * factor_weight(j) / total;
    for (const double h : hazard_) hazard_sum_ += h;
  }

  static double rate_at(std::size_t i) { return kLowest_per_h * std::exp(kStep * static_cast<double>(i)); }
  static double log_factor(std::size_t j) {
    const double steps = static_cast<double>(j) - static_cast<double>(kDown);
    return kStep * (j < kDown ? steps : steps + 1);
  }
  static double factor_weight(std::size_t j) { return std::exp(-0.35 * log_factor(j)); }

  /// `hours` without an event, then one if `is_event`.
  void pass(double hours, bool is_event, double dispersion, bool may_change) {
    std::array<double, kRates + kFactors + 1> none{}, rate{};
    for (std::size_t i = 0; i < none.size(); ++i) {
      rate[i] = rate_at(i) * std::exp(-kStep * kDown);
      none[i] = std::exp(-rate[i] * hours / dispersion);
    }
    const double up = is_event ? std::exp(kStep / dispersion) : 1;  // of the event's likelihood from rate to rate
    const double stays = std::exp(-kReturn_per_h * hours);
    const double down = 1 / (up * up * up);
    static_assert(kDown == 3);
    double sum = 0, per_rate = 1;
    for (std::size_t i = 0; i < kRates; ++i, per_rate *= up) {
      double back = 0;
      for (double& cell : raised_[i]) {
        back += cell * (1 - stays);
        cell *= stays;
      }
      double per_cell = per_rate * down;
      const double stay = none[i + kDown];
      for (std::size_t j = 0; j < kFactors; ++j, per_cell *= up) {
        if (j == kDown) per_cell *= up;  // the factor 1 is no change
        const std::size_t k = i + j + (j < kDown ? 0 : 1);
        double begun = 0;
        if (may_change) begun = same_[i] * hazard_[j] * (stay - none[k]) * dispersion / (rate[k] - rate[i + kDown]);
        double& cell = raised_[i][j];
        cell = (cell * none[k] + begun) * per_cell;
        sum += cell;
      }
      if (may_change) same_[i] *= std::exp(-hazard_sum_ * hours);
      same_[i] = (same_[i] + back) * stay * per_rate;
      sum += same_[i];
    }
    const double share = 1 / std::max(sum, 1e-300);
    p_ = 0;
    for (std::size_t i = 0; i < kRates; ++i) {
      same_[i] *= share;
      for (std::size_t j = 0; j < kFactors; ++j) {
        raised_[i][j] *= share;
        if (j >= kMild) p_ += raised_[i][j];
      }
    }
  }

  [[nodiscard]] double p_raised() const { return p_; }

 private:
  std::array<double, kRates> same_{};
  std::array<double, kFactors> hazard_{};
  double hazard_sum_ = 0;
  std::array<std::array<double, kFactors>, kRates> raised_{};
  double p_ = 0;
};

/// Quantile of weights that each lie evenly over a stretch.
struct Stretch {
  double low = 0, high = 0, weight = 0;
};
double quantile(const std::vector<Stretch>& sorted, double level) {
  double total = 0, sum = 0;
  for (const Stretch& s : sorted) total += s.weight;
  for (const Stretch& s : sorted) {
    if (s.weight > 0 && sum + s.weight >= level * total)
      return s.low + (s.high - s.low) * (level * total - sum) / s.weight;
    sum += s.weight;
  }
  return sorted.back().high;
}

/// Factor and beginning, given that there was a rise: the rate before is integrated out by the gamma law.
void describe(const std::vector<Burst>& bursts, const std::vector<double>& live_h, double live_from_learn_h,
              double live_end_h, double dispersion, const std::vector<double>& edges_h, RateRise& out) {
  const auto n = static_cast<double>(bursts.size());
  struct Piece {
    double a = 0, b = 0, a_h = 0, b_h = 0;  // live hours, and on the scale of the events
    double after = 0;                       // bursts after it
  };
  std::vector<Piece> pieces;
  for (std::size_t k = 0; k <= bursts.size(); ++k) {
    const double from = k == 0 ? 0 : live_h[k - 1], to = k == bursts.size() ? live_end_h : live_h[k];
    const double a = std::max(from, live_from_learn_h);
    if (to <= a) continue;
    const double edge_from = edges_h[2 * k], edge_to = edges_h[2 * k + 1];
    constexpr int kPieces = 4;
    for (int i = 0; i < kPieces; ++i) {
      const double x = a + (to - a) * i / kPieces, y = a + (to - a) * (i + 1) / kPieces;
      const double per = (edge_to - edge_from) / (to - from);
      pieces.push_back({x, y, edge_from + per * (x - from), edge_from + per * (y - from), n - static_cast<double>(k)});
    }
  }
  std::vector<double> logs(pieces.size() * kFactors);
  double most = -1e300;
  for (std::size_t p = 0; p < pieces.size(); ++p) {
    const double middle = 0.5 * (pieces[p].a + pieces[p].b);
    for (std::size_t j = kMild; j < kFactors; ++j) {
      const double factor = std::exp(Watch::log_factor(j));
      const double hours = (middle + factor * (live_end_h - middle)) / dispersion;
      double& l = logs[p * kFactors + j];
      l = std::log((pieces[p].b - pieces[p].a) * Watch::factor_weight(j)) +
          pieces[p].after / dispersion * Watch::log_factor(j) - (kShape + n / dispersion) * std::log(kHours + hours);
      most = std::max(most, l);
    }
  }
  std::vector<Stretch> places, factors(kFactors);
  for (std::size_t j = 0; j < kFactors; ++j) {
    factors[j].low = Watch::log_factor(j) - 0.5 * kStep;
    factors[j].high = Watch::log_factor(j) + 0.5 * kStep;
  }
  for (std::size_t p = 0; p < pieces.size(); ++p) {
    Stretch place{pieces[p].a_h, pieces[p].b_h, 0};
    for (std::size_t j = kMild; j < kFactors; ++j) {
      const double weight = std::exp(logs[p * kFactors + j] - most);
      place.weight += weight;
      factors[j].weight += weight;
    }
    places.push_back(place);
  }
  out.factor = {std::exp(quantile(factors, 0.5)), std::exp(quantile(factors, 0.05)), std::exp(quantile(factors, 0.95))};
  out.began_h = {quantile(places, 0.5), quantile(places, 0.05), quantile(places, 0.95)};
}

}  // namespace

RateWatch watch_rate(std::span<const double> events, double from_h, double to_h) {
  RateWatch out;
  const std::vector<Burst> bursts = bursts_of(events);
  if (bursts.size() < 3) return out;
  Watch watch;
  Dispersion dispersion;
  std::vector<double> live_h, edges_h;  // hours in which a burst could have begun; where they lie
  double live = 0, learn_live = 0, from = from_h;
  bool is_open = false;
  const auto pass = [&](double until_h, bool is_event) {
    const double begins = std::min(from, until_h);
    const double learning = std::clamp(from_h + kLearn_h - begins, 0.0, until_h - begins);
    edges_h.push_back(begins);
    edges_h.push_back(until_h);
    const double phi = dispersion.value();
    if (learning > 0) watch.pass(learning, false, phi, false);
    watch.pass(until_h - begins - learning, is_event, phi, true);
    learn_live += learning;
    live += until_h - begins;
  };
  for (std::size_t k = 0; k < bursts.size(); ++k) {
    pass(bursts[k].begins_h, true);
    live_h.push_back(live);
    if (k > 0) dispersion.add(live_h[k] - live_h[k - 1]);
    from = bursts[k].ends_h + kBurst_h;
    if (watch.p_raised() < kCloses) is_open = false;
    if (is_open || watch.p_raised() < kOpens) continue;
    is_open = true;
    out.opened.push_back(bursts[k].opener);
  }
  pass(std::max(to_h, bursts.back().ends_h), false);
  if (!is_open || watch.p_raised() < kCloses) return out;
  RateRise rise;
  rise.seen_at = out.opened.back();
  const double p = std::clamp(watch.p_raised(), 1e-12, 1 - 1e-12);
  rise.strength = std::log(p / (1 - p));
  describe(bursts, live_h, learn_live, live, dispersion.value(), edges_h, rise);
  out.standing = rise;
  return out;
}

}  // namespace shaftlog
