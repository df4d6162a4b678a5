#include "analysis/washout.hpp"

#include "analysis/washout_filter.hpp"
#include "analysis/washout_spread.hpp"
#include "base/error.hpp"

#include <array>
#include <memory>
#include <utility>

#include <fmt/format.h>

namespace shaftlog {

namespace washout {

void require_plain(const ShaftHistory& history, const WashoutPrior& prior) {
  const auto check = [](double v, const char* what, std::size_t i) {
    if (!(v >= 0) || !std::isfinite(v))
      throw Error{Errc::bad_data,
                  fmt::format("greasing {}, {}: {} found, a finite number >= 0 expected", i + 1, what, v)};
  };
  for (std::size_t i = 0; i < history.intervals.size(); ++i) {
    const GreasingInterval& g = history.intervals[i];
    check(g.run_h, "running hours", i);
    check(g.run_sd_h, "sd of the running hours", i);
    check(g.delivered_cm3, "delivered", i);
    check(g.delivered_sd_cm3, "sd of delivered", i);
    if (g.taken_cm3) check(*g.taken_cm3, "amount taken", i);
  }
  if (history.cavity_cm3 && (!(*history.cavity_cm3 > 0) || !std::isfinite(*history.cavity_cm3)))
    throw Error{Errc::bad_data, fmt::format("cavity: {} found, a finite number > 0 expected", *history.cavity_cm3)};
  const bool is_prior_good = std::isfinite(prior.mean_log_w) && prior.sd_log_w > 0 && prior.fill_sd_cm3 > 0 &&
                             prior.relative_sd >= 0 && prior.duty_sd >= 0 && prior.season_sd >= 0 &&
                             std::isfinite(prior.sd_log_w + prior.fill_sd_cm3 + prior.relative_sd + prior.duty_sd);
  if (!is_prior_good) throw Error{Errc::bad_data, "prior: a spread is not a finite number above 0"};
}

ConstantFit fit_constant(std::span<const GreasingInterval> intervals, bool is_full, double capacity,
                         const WashoutPrior& prior, double prior_sd) {
  constexpr std::size_t kPoints = 44;
  const double low = prior.mean_log_w - std::max(3.0 * prior_sd, 3.0);
  double width = 2 * std::max(3.0 * prior_sd, 3.0) / (kPoints - 1);
  double from = low;
  ConstantFit fit;
  Lanes lanes;
  for (int round = 0; round < 2; ++round) {  // coarse over the prior, then fine about what was found
    std::array<double, kPoints> w{};
    std::vector<Cell> cells(kPoints);
    for (std::size_t i = 0; i < kPoints; ++i) {
      const double lw = from + width * static_cast<double>(i), z = (lw - prior.mean_log_w) / prior_sd;
      w[i] = std::exp(lw);
      cells[i] = start(is_full, capacity, prior);
      cells[i].p = width * (0.9 * normal_pdf(z) + 0.1 * normal_pdf(z / 3) / 3) / prior_sd;
    }
    fit = {};
    for (const GreasingInterval& g : intervals) {
      Reading r = reading_of(g, prior, capacity);
      lanes.clear();
      for (std::size_t i = 0; i < kPoints; ++i) lanes.push(cells[i], w[i]);
      lanes.predict(r);
      const auto ahead = lanes.expected_mean();
      double expected = 0, total = 0;
      for (std::size_t i = 0; i < kPoints; ++i) {
        expected += cells[i].p * std::clamp(ahead[i], 0.0, capacity);
        total += cells[i].p;
      }
      expected /= std::max(total, 1e-300);
      r.outlier_density = slip_density(r.amount, expected);
      r.is_blocked = is_path_suspect(g, expected, prior.fill_sd_cm3) || (g.starts_baseline && g.ended != Ended::packed);
      if (is_informative(g) && !r.is_blocked) ++fit.informative;
      lanes.pass(r);
      double after = 0;
      for (const double p : lanes.weights()) after += p;
      if (!(after > 0)) after = 1e-300;
      fit.log_likelihood += std::log(after / std::max(total, 1e-300));
      for (std::size_t i = 0; i < kPoints; ++i) {
        cells[i] = lanes.cell(i);
        cells[i].p /= after;
      }
    }
    double sum = 0, mean = 0, second = 0;
    for (std::size_t i = 0; i < kPoints; ++i) sum += cells[i].p;
    for (std::size_t i = 0; i < kPoints; ++i) mean += cells[i].p / sum * (from + width * static_cast<double>(i));
    for (std::size_t i = 0; i < kPoints; ++i) {
      const double off = from + width * static_cast<double>(i) - mean;
      second += cells[i].p / sum * off * off;
    }
    fit.mean_log_w = mean;
    fit.sd_log_w = std::sqrt(second + width * width / 12);
    const double half = 5 * fit.sd_log_w;
    from = mean - half;
    width = 2 * half / (kPoints - 1);
  }
  return fit;
}

namespace {

Instant time_at(const std::vector<std::pair<double, Instant>>& marks, double hours) {
  if (marks.empty()) return {};
  if (hours <= marks.front().first) return marks.front().second;
  for (std::size_t i = 1; i < marks.size(); ++i) {
    const auto& [h0, t0] = marks[i - 1];
    const auto& [h1, t1] = marks[i];
    if (hours <= h1 && h1 > h0)
      return t0 + std::chrono::seconds{
                      static_cast<std::int64_t>((hours - h0) / (h1 - h0) * static_cast<double>((t1 - t0).count()))};
  }
  return marks.back().second;
}

}  // namespace
}  // namespace washout

namespace {

constexpr double kOpensHigh = 0.95;  ///< P that a shaft is high from the start
constexpr double kGunSd =
    0.07;  ///< of ln(volume per stroke) of a calibrated gun: +-10 to 20 % at 2 sd (common practice)
constexpr double kStillWear = 0.02;    ///< P(it climbs) below which nothing is said of its slope
constexpr double kUnsettledSd = 0.25;  ///< of ln(rate) when a rise has just been told: it was told at its highest

/// With an error of the whole scale, `sd` of its logarithm, on top.
Estimate widened(const Estimate& e, double sd) {
  const double x = std::log(std::max(e.value, 1e-9)), reach = 1.645 * sd;
  const double down = std::hypot(x - std::log(std::max(e.low, 1e-9)), reach);
  return {e.value, std::exp(x - down), std::exp(x + std::hypot(std::log(std::max(e.high, 1e-9)) - x, reach))};
}

/// Amounts counted in strokes are as true as the gun's calibration: one scale for all of them, so no change shows.
bool is_counted_in_strokes(std::span<const GreasingInterval> all) {
  const std::size_t recent = std::min<std::size_t>(all.size(), 8);
  const auto counted = std::count_if(all.end() - static_cast<std::ptrdiff_t>(recent), all.end(),
                                     [](const GreasingInterval& g) { return g.by_strokes; });
  return 2 * static_cast<std::size_t>(counted) > recent;
}

/// Whether the records before the rise show a lower loss. While a dose covered the loss they only bound it, and a rate
/// below that bound tells of no change, however rare it is among its sisters.
bool is_shown_before(std::span<const GreasingInterval> earlier, double rate_low, double fill_sd) {
  return std::any_of(earlier.begin(), earlier.end(), [&](const GreasingInterval& g) {
    if (!washout::is_informative(g)) return false;
    const double noise = 1.7 * std::hypot(fill_sd, 0.1 * *g.taken_cm3);
    const bool is_covered = g.ended == Ended::pressure && g.delivered_cm3 > 0 && *g.taken_cm3 < noise;
    return !is_covered || (g.delivered_cm3 + noise) / g.run_h < rate_low;
  });
}

/// One baseline's filter with what it said greasing by greasing: whether a rise stands, and since when.
class Watch {
 public:
  /// \param begins place of its first interval in `all`
  Watch(std::span<const GreasingInterval> all, std::size_t begins, std::unique_ptr<washout::Segment> segment)
      : all_{all}, begins_{begins}, segment_{std::move(segment)}, marks_{{0.0, all[begins].from}} {}

  /// Reads the next interval.
  WashoutStep read() {
    const std::size_t i = begins_ + odds_.size();
    WashoutStep step = segment_->read(all_[i]);
    marks_.emplace_back(segment_->hours, all_[i].at);
    const double p = step.p_step + step.p_wear;
    odds_.push_back(washout::log_odds(p, segment_->p_not));
    if (!is_open_ && p >= washout::kOpens) {
      is_open_ = true;
      open_since_ = i;
    } else if (is_open_ && p < washout::kCloses) {
      is_open_ = false;
    }
    // What has once been called wear stays so when the rate jumps on top of it, or stands still after it.
    const double worn = is_open_ && is_wear_ && segment_->p_wear > kStillWear ? segment_->p_worn : 0;
    is_wear_ = segment_->p_wear + worn > segment_->p_step - worn;
    return step;
  }

  [[nodiscard]] const washout::Segment& segment() const { return *segment_; }
  [[nodiscard]] std::size_t begins() const { return begins_; }
  [[nodiscard]] bool is_open() const { return is_open_; }
  [[nodiscard]] bool is_wear() const { return is_wear_; }
  [[nodiscard]] Instant first_seen() const { return all_[open_since_].at; }

  /// Whether the loss is known to have stood still for some greasings before the rise that stands began.
  [[nodiscard]] bool stood_still_before() const {
    constexpr int kStill = 3;
    const Instant began = washout::time_at(marks_, segment_->onset(is_wear()).low);
    int n = 0;
    for (std::size_t i = begins_; i < all_.size() && all_[i].at <= began; ++i) n += washout::is_informative(all_[i]);
    return n >= kStill;
  }

  /// The rise that stands; empty: none does, or no record before it shows a lower loss.
  [[nodiscard]] std::optional<WashoutShift> shift(double rate_low, double fill_sd) const {
    if (!is_open_) return std::nullopt;
    const Estimate began = segment_->onset(is_wear());
    const std::size_t upto = begins_ + odds_.size();
    WashoutShift out;
    out.began = {washout::time_at(marks_, began.value), washout::time_at(marks_, began.low),
                 washout::time_at(marks_, began.high)};
    std::size_t after = begins_;  // first greasing after the rise began
    while (after < upto && all_[after].at <= out.began.high) ++after;
    if (!is_shown_before(all_.subspan(begins_, after - begins_), rate_low, fill_sd)) return std::nullopt;
    out.factor = segment_->factor(is_wear());
    out.first_seen = first_seen();
    out.strength = odds_.back();
    if (is_wear()) {
      const Estimate per_1000h = segment_->slope();
      out.slope_pct_per_1000h = {100 * std::expm1(per_1000h.value), 100 * std::expm1(per_1000h.low),
                                 100 * std::expm1(per_1000h.high)};
    }
    std::vector<std::pair<double, std::size_t>> gains;  // by how much each greasing moved the odds
    for (std::size_t i = begins_; i < upto; ++i) {
      const double now = odds_[i - begins_];
      const double before = i > begins_ ? odds_[i - begins_ - 1] : washout::log_odds(1e-3, 1);
      if (all_[i].at >= out.began.low && now > before) gains.emplace_back(before - now, i);
    }
    std::sort(gains.begin(), gains.end());
    for (const auto& [gain, i] : gains)
      if (out.evidence.size() < 8) out.evidence.push_back(all_[i].id);
    const Uuid opened = all_[open_since_].id;
    if (std::find(out.evidence.begin(), out.evidence.end(), opened) == out.evidence.end())
      out.evidence.push_back(opened);
    return out;
  }

 private:
  std::span<const GreasingInterval> all_;
  std::size_t begins_;
  std::unique_ptr<washout::Segment> segment_;
  std::vector<std::pair<double, Instant>> marks_;
  std::vector<double> odds_;
  std::size_t open_since_ = 0;
  bool is_open_ = false;
  bool is_wear_ = false;
};

/// A rise that stood when a new baseline began, and whether the loss is as high after it.
struct Renewed {
  static constexpr int kMeasured = 3;  ///< greasings after the work that must have measured the loss

  bool is_wear = false;
  std::size_t interval = 0;  ///< place of the one with the work
  Estimate log_baseline;     ///< before the rise
  double log_limit = 0;      ///< ln(rate) above which the loss is nearer to the risen one than to that baseline
  WashoutShift shift;
  bool is_open = false;
  double strength = 0;

  /// Looks at the loss after one more greasing.
  void look(const washout::Segment& now, const Estimate& rate) {
    if (now.exact < kMeasured || rate.low <= 0) return;
    const double sd = std::hypot(std::log(rate.high / rate.low), log_baseline.high - log_baseline.low) / 3.29;
    const double p = washout::normal_cdf((std::log(rate.value) - log_limit) / std::max(sd, 1e-6));
    is_open = p >= (is_open ? washout::kCloses : washout::kOpens);
    strength = washout::log_odds(p, 1 - p);
    shift.factor = washout::exp_of({std::log(rate.value) - log_baseline.value,
                                    std::log(rate.value) - log_baseline.value - 1.645 * sd,
                                    std::log(rate.value) - log_baseline.value + 1.645 * sd});
  }
};

/// What a new baseline after interval `i` makes of the rise that stands, or of one that outlasted the work before.
void renew(std::optional<Renewed>& renewed, const Watch& before, std::size_t i, double fill_sd) {
  const Estimate rate = before.segment().rate();
  if (auto shift = before.shift(rate.low, fill_sd)) {
    const Estimate base = before.segment().log_baseline();
    const double risen = std::max(std::log(washout::kPractical), 0.5 * (std::log(rate.value) - base.value));
    renewed = Renewed{before.is_wear(), i, base, base.value + risen, *std::move(shift), false, 0};
  } else if (renewed && !renewed->is_open && before.segment().exact >= Renewed::kMeasured) {
    renewed.reset();
  }
  if (!renewed) return;
  renewed->interval = i;
  renewed->is_open = false;
}

}  // namespace

WashoutResult fit_washout(const ShaftHistory& history, const WashoutPrior& prior) {
  using namespace washout;
  require_plain(history, prior);
  WashoutResult result;
  const std::span all{history.intervals};
  if (all.empty()) return result;
  const double capacity = history.cavity_cm3.value_or(kNoCapacity);
  // The first watches the stretch since the last new baseline; the next ones what comes on top of a rise that stands.
  std::vector<Watch> watches;
  const auto begin = [&](std::size_t i, double mean, double sd, bool is_full, const Cell& first) {
    std::size_t upto = i;
    int seen = 0;
    while (upto < all.size() && seen < 10 && (upto == i || !all[upto - 1].starts_baseline)) {
      if (is_informative(all[upto])) ++seen;
      ++upto;
    }
    WashoutPrior own = prior;
    own.mean_log_w = mean;
    const ConstantFit rough = fit_constant(all.subspan(i, upto - i), is_full, capacity, own, sd);
    watches.emplace_back(all, i,
                         std::make_unique<Segment>(prior, capacity, history.is_automatic, mean, sd, rough.mean_log_w,
                                                   std::clamp(rough.sd_log_w, 0.03, 0.6), first));
  };
  int total_exact = 0, total_left = 0, total_right = 0;
  std::optional<Renewed> renewed;
  std::size_t high_since = all.size();  // stands since; all.size(): it does not
  const double log_opens = std::log(kOpensHigh / (1 - kOpensHigh));
  const auto count = [&](const Segment& s) {
    total_exact += s.exact;
    total_left += s.left;
    total_right += s.right;
  };
  for (std::size_t i = 0; i < all.size(); ++i) {
    if (i == 0) {
      begin(i, prior.mean_log_w, prior.sd_log_w, history.first_is_full, start(history.first_is_full, capacity, prior));
    } else if (all[i - 1].starts_baseline) {
      // The old baseline is worth something for the new seal or bearing, but not much more than a sister shaft.
      const Segment& before = watches.front().segment();
      const Estimate old = before.log_baseline();
      const Cell first = before.fresh_state();
      count(before);
      renew(renewed, watches.front(), i - 1, prior.fill_sd_cm3);
      watches.clear();
      begin(i, old.value, std::hypot((old.high - old.low) / 3.29, 0.35), true, first);
    }
    WashoutStep step = watches.front().read();
    for (std::size_t k = 1; k < watches.size(); ++k) watches[k].read();
    if (renewed) renewed->look(watches.front().segment(), step.washout_cm3_per_h);
    // One that no longer stands carries none on top of it.
    const auto closed = std::find_if(watches.begin(), watches.end(), [](const Watch& w) { return !w.is_open(); });
    if (closed != watches.end()) watches.erase(closed + 1, watches.end());
    if (watches.back().is_open() && i + 1 < all.size() && !all[i].starts_baseline) {
      const Segment& below = watches.back().segment();
      const Estimate rate = below.rate();
      if (rate.value > 0 && rate.low > 0) {
        const double sd = std::hypot(std::log(rate.high / rate.low) / 3.29, kUnsettledSd);
        begin(i + 1, std::log(rate.value), sd, true, below.fresh_state());
      }
    }
    const Segment& now = watches.front().segment();
    if (watches.front().begins() > 0 || prior.shafts < 4 || now.exact + now.right < 3 ||
        step.washout_cm3_per_h.value < 1.3 * std::exp(prior.mean_log_w)) {
      high_since = all.size();
    } else {
      const double high = now.log_odds_high();
      if (high < 0) high_since = all.size();
      if (high_since == all.size() && high >= log_opens) high_since = i;
    }
    result.steps.push_back(step);
  }
  const Segment& now = watches.front().segment();
  result.steps.back().slow_duty_cov = now.cov_rate_duty();
  count(now);
  result.fill_sd_cm3 = now.errors().fill_sd_cm3;
  result.duty_sd = now.errors().duty_sd;
  result.exact = total_exact;
  result.censored = total_left + total_right;
  if (result.exact + result.censored == 0) return result;
  result.washout_cm3_per_h = result.steps.back().washout_cm3_per_h;
  result.baseline_cm3_per_h = exp_of(now.log_baseline());
  const bool is_counted = is_counted_in_strokes(all);
  if (is_counted) {
    for (std::optional<Estimate>* e : {&result.washout_cm3_per_h, &result.baseline_cm3_per_h})
      *e = widened(**e, kGunSd);
  }
  result.is_upper_bound = total_exact == 0 && total_right == 0 && total_left > 0;
  result.is_lower_bound = total_exact == 0 && total_left == 0 && total_right > 0;
  if (auto shift = watches.front().shift(result.washout_cm3_per_h->low, prior.fill_sd_cm3)) {
    const bool is_wear = watches.front().is_wear();
    if (is_wear) result.trend_pct_per_1000h = shift->slope_pct_per_1000h;
    (is_wear ? result.wear : result.step) = std::move(shift);
    for (std::size_t k = 1; k < watches.size(); ++k) {
      const Watch& w = watches[k];
      // What climbs on, or was not yet seen whole when it was told, is the same matter.
      if (w.is_open() && !w.stood_still_before()) break;
      auto more = w.shift(w.segment().rate().low, prior.fill_sd_cm3);
      if (!more) break;
      Estimate base = exp_of(w.segment().log_baseline());
      if (is_counted) base = widened(base, kGunSd);
      result.further.push_back({w.is_wear(), base, watches[k - 1].first_seen(), *std::move(more)});
    }
  }
  if (renewed && renewed->is_open) {
    Estimate base = exp_of(renewed->log_baseline);
    if (is_counted) base = widened(base, kGunSd);
    const GreasingInterval& work = all[renewed->interval];
    WashoutShift& shift = renewed->shift;
    shift.strength = renewed->strength;
    shift.evidence.clear();
    for (std::size_t i = all.size(); i-- > renewed->interval + 1;)
      if (is_informative(all[i]) && shift.evidence.size() < 8) shift.evidence.push_back(all[i].id);
    result.not_back = WashoutNotBack{renewed->is_wear, work.from, work.at, base, std::move(shift)};
  }
  if (high_since < all.size()) {
    WashoutShift high;
    const Estimate base = now.log_baseline();
    high.factor = exp_of({base.value - prior.mean_log_w, base.low - prior.mean_log_w, base.high - prior.mean_log_w});
    high.began = {all.front().from, all.front().from, all.front().at};
    high.strength = now.log_odds_high();
    const std::size_t seen = high_since;
    high.first_seen = all[seen].at;
    high.evidence.push_back(all[seen].id);
    for (std::size_t i = 0; i < seen && high.evidence.size() < 8; ++i)
      if (is_informative(all[i])) high.evidence.push_back(all[i].id);
    result.high = std::move(high);
  }
  return result;
}

std::optional<OwnRate> fit_alone(const ShaftHistory& history, const WashoutPrior& prior, const WashoutResult& result) {
  using namespace washout;
  require_plain(history, prior);
  const std::span all{history.intervals};
  const bool climbs = result.wear || std::any_of(result.further.begin(), result.further.end(),
                                                 [](const WashoutRise& r) { return r.is_wear; });
  if (climbs) return std::nullopt;
  std::size_t begin = 0;
  for (std::size_t i = 0; i < all.size(); ++i)
    if (all[i].starts_baseline) begin = i + 1;
  if (result.step) {
    const When& began = result.further.empty() ? result.step->began : result.further.back().shift.began;
    while (begin < all.size() && all[begin].from < began.estimate) ++begin;
  }
  if (begin >= all.size()) return std::nullopt;
  const std::span stretch = all.subspan(begin);
  const bool is_full = begin == 0 ? history.first_is_full
                                  : all[begin - 1].ended == Ended::pressure || all[begin - 1].ended == Ended::packed;
  WashoutPrior own = prior;  // the errors of this shaft's greasings as its own records showed them
  if (result.fill_sd_cm3 > 0) own.fill_sd_cm3 = result.fill_sd_cm3;
  if (result.duty_sd > 0) own.duty_sd = result.duty_sd;
  const double capacity = history.cavity_cm3.value_or(kNoCapacity);
  // Wide enough to weigh nothing beside three measured intervals, and narrow enough for the grid.
  constexpr double kFlat = 2;
  const ConstantFit fit = fit_constant(stretch, is_full, capacity, own, kFlat);
  OwnRate out{fit.mean_log_w, fit.sd_log_w, 0};
  for (const GreasingInterval& g : stretch) {
    if (!is_informative(g) || g.ended != Ended::pressure) continue;
    const double noise = 1.7 * std::hypot(own.fill_sd_cm3, own.relative_sd * *g.taken_cm3);
    const bool is_bound = *g.taken_cm3 > capacity - noise || (g.delivered_cm3 > 0 && *g.taken_cm3 < noise);
    out.measured += is_bound ? 0 : 1;
  }
  if (is_counted_in_strokes(all)) out.sd = std::hypot(out.sd, kGunSd);
  return out;
}

}  // namespace shaftlog
