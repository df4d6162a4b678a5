#include "analysis/contradictions.hpp"
#include "base/decimal.hpp"
#include "domain/amount.hpp"

#include <algorithm>
#include <cmath>
#include <set>
#include <tuple>

#include <fmt/format.h>

namespace shaftlog {
namespace {

constexpr double kPriorSlip = 0.01;  // one amount in a hundred is a slip ...
constexpr double kKindsOfSlip = 8;   // ... shared over the kinds
constexpr double kPriorSwap = 0.004;
constexpr double kReports = 1.5;  // natural-log odds
constexpr std::size_t kRegular = 8;

struct Point {
  const Logged<Greasing>* record = nullptr;
  double taken = 0, expected = 0, sd = 0;  // [cm3]
  double run_h = 0;
  const WashoutStep* next = nullptr;
  std::optional<double> next_taken;
  double next_run_h = 0;
  std::optional<double> cavity;
};

/// Natural log of the heavy-tailed density of `y` [1/cm3]: Student's t with 4 degrees of freedom, whose density is
/// 3/8 (1 + t^2/4)^-2.5 (the general formula with its gamma functions worked out).
double log_law(double y, double expected, double sd) {
  const double t = (y - expected) / sd;
  return -0.98082925301172624 - 2.5 * std::log1p(0.25 * t * t) - std::log(sd);
}
double log_law(const Point& p, double y) { return log_law(y, p.expected, p.sd); }

/// A slip does not last. When there is a next greasing it must be back at what was usual: an amount that stays high or
/// low is a change of the bearing.
bool is_back(const Point& p, double factor) {
  if (p.next == nullptr || !p.next_taken || p.next->expected_cm3 <= 0 || *p.next_taken <= 0) return true;
  // Against the rate before the slip, not the prediction after it, which may have followed the slip part of the way.
  const double by_hours = p.run_h > 0 && p.next_run_h > 0 ? p.next_run_h / p.run_h : 1;
  const double off = std::log(*p.next_taken / std::max(p.expected * by_hours, 1.0));
  return std::abs(off) < 0.5 * std::abs(std::log(factor)) || off * std::log(factor) < 0;
}

std::map<Uuid, const Logged<Greasing>*> by_id(const VesselLog& log) {
  std::map<Uuid, const Logged<Greasing>*> out;
  for (const Logged<Greasing>& g : log.greasings) out[g.id] = &g;
  return out;
}

class Slips {
 public:
  Slips(const VesselLog& log, const std::map<ShaftId, ShaftHistory>& histories,
        const std::map<ShaftId, WashoutResult>& washouts, const std::map<ShaftId, WashoutPrior>& priors)
      : log_{log} {
    const auto records = by_id(log);
    for (const auto& [shaft, result] : washouts) {
      const auto history = histories.find(shaft);
      if (history == histories.end()) continue;
      const auto prior = priors.find(shaft);
      const double fill_sd = prior == priors.end() ? WashoutPrior{}.fill_sd_cm3 : prior->second.fill_sd_cm3;
      std::map<Uuid, const GreasingInterval*> intervals;
      for (const GreasingInterval& i : history->second.intervals) intervals[i.id] = &i;
      std::vector<Point> points;
      for (std::size_t k = 0; k < result.steps.size(); ++k) {
        const WashoutStep& s = result.steps[k];
        const auto interval = intervals.find(s.record);
        const auto record = records.find(s.record);
        if (interval == intervals.end() || record == records.end()) continue;
        const GreasingInterval& i = *interval->second;
        if (!i.taken_cm3 || i.ended != Ended::pressure) continue;
        Point p;
        p.record = record->second;
        p.taken = *i.taken_cm3;
        p.expected = s.expected_cm3;
        // 90 % interval of a normal law is 3.29 sd wide; "full" repeats no better than fill_sd at both ends.
        p.sd = std::max({(s.expected_high - s.expected_low) / 3.29, fill_sd, 0.05 * s.expected_cm3, 2.0});
        p.run_h = i.run_h;
        p.cavity = history->second.cavity_cm3;
        if (k + 1 < result.steps.size()) {
          p.next = &result.steps[k + 1];
          if (const auto n = intervals.find(p.next->record); n != intervals.end()) {
            p.next_taken = n->second->taken_cm3;
            p.next_run_h = n->second->run_h;
          }
        }
        points.push_back(p);
      }
      points_[shaft] = std::move(points);
    }
  }

  std::vector<Suspect> run() {
    swapped();
    for (const auto& [shaft, points] : points_) {
      for (const Point& p : points) single(p);
      regular(points);
    }
    std::sort(out_.begin(), out_.end(), [](const Suspect& a, const Suspect& b) {
      return std::tie(a.at, a.record, a.kind) < std::tie(b.at, b.record, b.kind);
    });
    return std::move(out_);
  }

 private:
  struct Reading {
    double value = 0;  // what was meant [cm3]
    std::string says;
  };

  // What the typed figure may have meant.
  [[nodiscard]] std::vector<Reading> readings(const Point& p) const {
    std::vector<Reading> out{{p.taken / 10, "a factor of 10 too high"}, {p.taken * 10, "a factor of 10 too low"}};
    const Amount& amount = *p.record->what.amount;
    const auto typed = parse_decimal(amount.typed);
    if (!typed) return out;
    Conversion with;
    GreaseId grease = p.record->what.grease;
    for (const Shaft& s : log_.shafts) {
      if (s.id != p.record->shaft || grease.is_set()) continue;
      if (const ShaftSetting* set = setting_at(s.settings, p.record->at)) grease = set->grease;
    }
    for (const Grease& g : log_.greases) {
      if (g.id == grease && g.density.base() > 0) with.density = g.density;
    }
    const auto stroke_of = [&](const Gun& g) -> std::optional<Volume> {
      std::optional<Volume> held;
      for (const GunCalibration& c : g.calibrations) {
        if (!c.from || c.from->utc <= p.record->at) held = c.per_stroke;
      }
      return held;
    };
    for (const Gun& g : log_.guns) {
      if (p.record->what.gun.is_set() ? g.id == p.record->what.gun : log_.guns.size() == 1)
        with.per_stroke = stroke_of(g);
    }
    for (const Unit u : {Unit::cm3, Unit::l, Unit::g, Unit::kg, Unit::oz, Unit::lb, Unit::strokes}) {
      if (u == amount.unit || (u == Unit::cm3 && amount.unit == Unit::ml)) continue;
      const Amount meant = make_amount(*typed, u, with);
      if (meant.volume)
        out.push_back(
            {in_cm3(*meant.volume), fmt::format("written as {} but meant in {}", name_of(amount.unit), name_of(u))});
    }
    if (amount.unit == Unit::strokes) {
      for (const Gun& g : log_.guns) {
        if (g.id == p.record->what.gun) continue;
        const auto stroke = stroke_of(g);
        if (stroke) out.push_back({typed->value() * in_cm3(*stroke), fmt::format("pumped with gun {}", g.code)});
      }
    }
    return out;
  }

  void single(const Point& p) {
    if (p.taken <= 0 || is_told_.contains(p.record->id)) return;
    const double entered = log_law(p, p.taken);
    double best = -1e300;
    Reading what;
    for (Reading& r : readings(p)) {
      if (r.value <= 0) continue;
      if (p.cavity && r.value > *p.cavity && r.value > p.taken) continue;  // what was meant must be possible
      // A density in the entered figure: the stretch of the scale counts too.
      const double lr = log_law(p, r.value) + std::log(r.value / p.taken) - entered;
      if (lr > best) {
        best = lr;
        what = std::move(r);
      }
    }
    const double odds = best + std::log(kPriorSlip / kKindsOfSlip);
    if (odds < kReports || !is_back(p, p.taken / what.value)) return;
    // "Fits far better" must also mean that the slipped value fits.
    if (std::abs(what.value - p.expected) > 3 * p.sd) return;
    is_told_.insert(p.record->id);
    out_.push_back(
        {SuspectKind::amount_slip,
         p.record->id,
         {},
         p.record->at,
         p.record->at,
         fmt::format("{:.4g} cm3 where about {:.4g} cm3 were to be expected; {:.4g} cm3 would fit: probably {}",
                     p.taken, p.expected, what.value, what.says),
         std::min(odds, 40.0)});
  }

  void swapped() {
    // In the order of the shafts' codes: that of their row numbers depends on how the log was read.
    std::vector<const std::vector<Point>*> shafts;
    for (const Shaft& s : log_.shafts) {
      if (const auto it = points_.find(s.id); it != points_.end()) shafts.push_back(&it->second);
    }
    for (auto a = shafts.begin(); a != shafts.end(); ++a) {
      for (auto b = std::next(a); b != shafts.end(); ++b) {
        for (const Point& p : **a) {
          for (const Point& q : **b) {
            if (std::abs(hours_between(p.record->at, q.record->at)) < 24) pair(p, q);
          }
        }
      }
    }
  }

  void pair(const Point& p, const Point& q) {
    if (is_told_.contains(p.record->id) || is_told_.contains(q.record->id)) return;
    const double entered = log_law(p, p.taken) + log_law(q, q.taken);
    const double exchanged = log_law(p, q.taken) + log_law(q, p.taken);
    double lr = exchanged - entered;
    const char* which = "both fit exchanged";
    double p_meant = q.taken, q_meant = p.taken;
    const double sum = p.taken + q.taken;
    const double expected = p.expected + q.expected;
    if (std::min(p.taken, q.taken) < 2 && sum > 0 && expected > 0) {
      const double sd = std::hypot(p.sd, q.sd);
      const double together = log_law(sum, expected, sd) - std::log(sum);  // the split is spread over the whole
      if (together - entered > lr) {
        lr = together - entered;
        p_meant = sum * p.expected / expected;
        q_meant = sum - p_meant;
        which = "the sum is usual, one shaft holds both";
      }
    }
    const double odds = lr + std::log(kPriorSwap);
    if (odds < kReports) return;
    if (std::abs(p_meant - p.expected) > 3 * p.sd || std::abs(q_meant - q.expected) > 3 * q.sd) return;
    const auto factor = [](double taken, double meant) { return std::max(taken, 1.0) / std::max(meant, 1.0); };
    if (!is_back(p, factor(p.taken, p_meant)) || !is_back(q, factor(q.taken, q_meant))) return;
    is_told_.insert(p.record->id);
    is_told_.insert(q.record->id);
    const Instant seen = std::max(p.record->at, q.record->at);
    const std::string says = fmt::format(
        "{:.4g} and {:.4g} cm3 on two shafts the same day, where about {:.4g} and {:.4g} cm3 were to be expected: {}",
        p.taken, q.taken, p.expected, q.expected, which);
    out_.push_back(
        {SuspectKind::swapped_shafts, p.record->id, {q.record->id}, p.record->at, seen, says, std::min(odds, 40.0)});
  }

  // The same round number again and again, though the hours between differ.
  void regular(const std::vector<Point>& points) {
    for (std::size_t i = 0; i < points.size();) {
      std::size_t j = i + 1;
      while (j < points.size() && points[j].taken == points[i].taken) ++j;
      if (j - i >= kRegular) {
        const auto n = static_cast<double>(j - i);
        double mean = 0, square = 0, noise = 0;
        for (std::size_t k = i; k < j; ++k) mean += points[k].run_h / n;
        for (std::size_t k = i; k < j; ++k) square += (points[k].run_h - mean) * (points[k].run_h - mean) / (n - 1);
        for (std::size_t k = i; k < j; ++k) noise += points[k].sd / n;
        // Scatter to be expected: of the hours, in the same proportion, and half of the scatter of single amounts.
        const double sd = std::hypot(mean > 0 ? points[i].taken * std::sqrt(square) / mean : 0, 0.5 * noise);
        const double y = points[i].taken;
        const auto is_multiple = [&](double m) { return std::abs(std::remainder(y, m)) < 1e-6; };
        const double step = is_multiple(50) ? 50 : is_multiple(10) ? 10 : is_multiple(5) ? 5 : 0;
        const double odds = step > 0 && sd > 0 ? (n - 1) * std::log(2.5 * sd / step) - std::log(20.0) : 0;
        if (y > 0 && odds > kReports) {
          Suspect s{SuspectKind::too_regular,
                    points[j - 1].record->id,
                    {},
                    points[j - 1].record->at,
                    points[i + kRegular - 1].record->at,
                    fmt::format(
                        "{} greasings in a row with exactly {:.4g} cm3 though the hours between them vary by {:.2g} %: "
                        "too regular to carry information",
                        j - i, y, mean > 0 ? 100 * std::sqrt(square) / mean : 0.0),
                    std::min(odds, 40.0)};
          for (std::size_t k = i; k + 1 < j; ++k) s.against.push_back(points[k].record->id);
          out_.push_back(std::move(s));
        }
      }
      i = j;
    }
  }

  const VesselLog& log_;
  std::map<ShaftId, std::vector<Point>> points_;
  std::set<Uuid> is_told_;
  std::vector<Suspect> out_;
};

}  // namespace

std::vector<Suspect> find_amount_slips(const VesselLog& log, const std::map<ShaftId, ShaftHistory>& histories,
                                       const std::map<ShaftId, WashoutResult>& washouts,
                                       const std::map<ShaftId, WashoutPrior>& priors) {
  return Slips{log, histories, washouts, priors}.run();
}

}  // namespace shaftlog
