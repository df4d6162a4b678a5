#include "analysis/delivery_blame.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <limits>

namespace shaftlog {
namespace {

constexpr double kSure = 0.90;      // probability from which one shaft is named
constexpr double kAllServed = 0.4;  // prior of a matter of all shafts: pump, setting, air
constexpr double kDoseSd = 0.03;    // of the doses that are delivered, against their setting
constexpr double kFill_cm3 = 30;    // two readings of "full" by back-pressure (common practice, no source)
constexpr double kLossPart = 0.6;   // usual loss of a shaft, as a part of its dose, and how far that varies
constexpr double kLossPartSd = 0.25;

double square(double x) { return x * x; }

/// What one device may still deliver, and how likely that is.
struct Device {
  double ratio, share;
};
constexpr std::array<Device, 6> kDevice{
    {{0.0, 0.70}, {0.1, 0.06}, {0.25, 0.06}, {0.4, 0.06}, {0.55, 0.06}, {0.7, 0.06}}};

/// Log-likelihood of the use since the ratio fell, with `expected` for each step cumulated: the first and each later
/// reading have the same error, and the doses are a little off their setting.
/// \param used, expected cumulated at the end of each step [cm3]
double log_fit(const std::vector<double>& used, const std::vector<double>& expected, const std::vector<double>& doubt,
               double level_sd) {
  // State: error of the first reading, relative error of the doses.
  double b = 0, g = 0, bb = square(level_sd), bg = 0, gg = square(kDoseSd), sum = 0;
  for (std::size_t i = 0; i < used.size(); ++i) {
    const double u = expected[i], e = used[i] - u - b - g * u;
    const double cb = bb + u * bg, cg = bg + u * gg;
    const double s = cb + u * cg + square(level_sd) + square(doubt[i]);
    // Student-like: a slip of the pen in one level must not decide.
    sum += -0.5 * std::log(s) - 2.5 * std::log1p(e * e / s / 4);
    const double kb = cb / s, kg = cg / s;
    b += kb * e, g += kg * e;
    bb -= kb * cb, bg -= kb * cg, gg -= kg * cg;
  }
  return sum;
}

/// What a shaft took by hand since the ratio fell, against what it used to take.
struct Taken {
  ShaftId shaft;
  double excess_cm3 = 0, sd_cm3 = 0;  // over its own habit
  double missing_cm3 = 0;             // of its doses in that time, had its device delivered nothing
  std::vector<Uuid> records;
  /// \param part of the dose that does not arrive
  [[nodiscard]] double log_fit(double part) const {
    if (records.empty()) return 0;
    // What does not arrive is missed only as far as the bearing loses it.
    const double mean = missing_cm3 * std::max(0.0, kLossPart - (1 - part));
    const double sd = std::hypot(sd_cm3, part > 0 ? kLossPartSd * missing_cm3 * std::min(1.0, part + 0.2) : 0.0);
    const double z = (excess_cm3 - mean) / sd;
    return -std::log(sd) - 2.5 * std::log1p(z * z / 4);
  }
};

Taken taken_by(const VesselLog& log, const HoursCurve* curve, const Schedule& schedule, LubricatorId lubricator,
               ShaftId shaft, Instant since) {
  Taken t;
  t.shaft = shaft;
  if (curve == nullptr || curve->is_empty()) return t;
  double before_cm3 = 0, before_h = 0, after_cm3 = 0, after_h = 0;
  std::optional<Instant> last, until;
  for (const Logged<Greasing>& g : log.greasings) {
    if (g.shaft != shaft || g.what.ended == Ended::not_done) continue;
    if (last && g.what.amount && g.what.amount->volume && g.what.ended != Ended::packed) {
      const double cm3 = in_cm3(*g.what.amount->volume);
      if (g.at > since) {
        after_cm3 += cm3;
        after_h += curve->run_h(*last, g.at);
        until = g.at;
        t.records.push_back(g.id);
      } else if (g.at > since - std::chrono::days{730}) {
        before_cm3 += cm3;
        before_h += curve->run_h(*last, g.at);
      }
    }
    last = g.at;
  }
  if (!until) return t;
  const double dose = schedule.called_for_cm3(lubricator, shaft, since, *until);
  const double run = std::max(1.0, curve->run_h(since, *until));
  const double usual = before_h > 0 ? before_cm3 / before_h * after_h : 0.1 * dose;
  const double usual_sd =
      before_h > 0 ? 0.3 * usual + before_cm3 / std::max(before_h, run) * 0.1 * after_h : 0.15 * dose;
  t.excess_cm3 = after_cm3 - usual;
  t.sd_cm3 = std::hypot(std::hypot(kFill_cm3, usual_sd), 0.08 * after_cm3);
  t.missing_cm3 = dose;
  return t;
}

/// Whether what still leaves can be what the others are called for while one device delivers nothing: more than that
/// may be missing by the interval of the ratio alone.
/// \param all, of expected since the ratio fell, cumulated, of all devices and of each [cm3]
bool may_be_one_share(const Estimate& ratio, const std::vector<double>& all,
                      const std::vector<std::vector<double>>& of) {
  if (all.empty() || all.back() <= 0) return false;
  return std::any_of(of.begin(), of.end(), [&](const std::vector<double>& one) {
    return ratio.high + kRatioMargin / 2 >= 1 - one.back() / all.back();
  });
}

}  // namespace

DeliveryBlame blame_device(const VesselLog& log, const std::map<ShaftId, HoursResult>& hours, const Schedule& schedule,
                           LubricatorId lubricator, const DeliveryResult& delivery, Instant as_of) {
  DeliveryBlame out;
  if (!delivery.low) return out;
  const RatioShift& low = *delivery.low;
  const Instant since = low.began.estimate;
  const std::vector<ShaftId> fed = schedule.shafts_fed(lubricator, as_of);
  if (fed.empty()) return out;

  // Use since the first reading after the fall, cumulated; one long stretch across it where there is no other.
  std::vector<double> used, all, doubt;
  std::vector<std::vector<double>> of(fed.size());
  std::optional<Instant> first;
  double sum = 0;
  for (const RatioStep& s : delivery.steps) {
    const bool is_mostly_since = days_between(s.from, since) < 0.25 * days_between(s.from, s.at);
    if (s.at <= since || (!is_mostly_since && &s != &delivery.steps.back())) continue;
    if (!first) first = s.from;
    sum += s.used_cm3;
    used.push_back(sum);
    all.push_back(schedule.expected_cm3(lubricator, *first, s.at));
    doubt.push_back(schedule.expected_moment_sd_cm3(lubricator, s.at));
    for (std::size_t k = 0; k < fed.size(); ++k)
      of[k].push_back(schedule.expected_cm3(lubricator, fed[k], *first, s.at));
  }
  const LubricatorSetting* setting = nullptr;
  for (const Lubricator& l : log.lubricators)
    if (l.id == lubricator) setting = setting_at(l.settings, as_of);
  if (setting == nullptr) return out;
  const double level_sd = delivery.level_sd_pct / 100 * in_cm3(setting->reservoir);

  std::vector<Taken> taken;
  for (const ShaftId shaft : fed) {
    const auto curve = hours.find(shaft);
    taken.push_back(
        taken_by(log, curve == hours.end() ? nullptr : &curve->second.curve, schedule, lubricator, shaft, since));
  }
  double served = 0;  // every greasing as it used to be
  for (const Taken& t : taken) served += t.log_fit(0);

  struct Account {
    std::size_t shaft;  // fed.size(): all of them
    double device_ratio, log_p;
  };
  std::vector<Account> accounts;
  std::vector<double> expected(all.size());
  for (std::size_t k = 0; k < fed.size() && fed.size() > 1; ++k)
    for (const Device& d : kDevice) {
      for (std::size_t i = 0; i < all.size(); ++i) expected[i] = all[i] - (1 - d.ratio) * of[k][i];
      accounts.push_back({k, d.ratio,
                          std::log((1 - kAllServed) / static_cast<double>(fed.size()) * d.share) +
                              log_fit(used, expected, doubt, level_sd) + served - taken[k].log_fit(0) +
                              taken[k].log_fit(1 - d.ratio)});
    }
  constexpr int kRatios = 19;  // 0, 0.05, .. 0.9; a full stop is likelier than any other
  for (int n = 0; n < kRatios; ++n) {
    const double r = 0.05 * n;
    for (std::size_t i = 0; i < all.size(); ++i) expected[i] = r * all[i];
    double by_hand = 0;
    for (const Taken& t : taken) by_hand += t.log_fit(1 - r);
    const double share = n == 0 ? 0.3 : 0.7 / (kRatios - 1);
    accounts.push_back(
        {fed.size(), r, std::log(kAllServed * share) + log_fit(used, expected, doubt, level_sd) + by_hand});
  }

  double most = -std::numeric_limits<double>::infinity();
  for (const Account& a : accounts) most = std::max(most, a.log_p);
  std::vector<double> weight(fed.size() + 1, 0.0), device(fed.size() + 1, 0.0);
  double total = 0;
  for (const Account& a : accounts) {
    const double w = std::exp(a.log_p - most);
    weight[a.shaft] += w;
    device[a.shaft] += w * a.device_ratio;
    total += w;
  }
  out.fits_one_share = fed.size() > 1 && weight.back() < 0.5 * total && may_be_one_share(low.ratio, all, of);
  const auto best = static_cast<std::size_t>(std::max_element(weight.begin(), weight.end() - 1) - weight.begin());
  double next = 0;
  for (std::size_t k = 0; k < weight.size(); ++k)
    if (k != best) next = std::max(next, weight[k]);
  out.strength = std::log(std::max(1e-30, weight[best]) / std::max(1e-30, next));
  if (weight[best] < kSure * total || !may_be_one_share(low.ratio, all, {of[best]})) return out;
  out.shaft = fed[best];
  out.device_ratio = device[best] / weight[best];
  out.evidence = taken[best].records;
  return out;
}

}  // namespace shaftlog
