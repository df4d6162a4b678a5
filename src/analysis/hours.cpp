#include "analysis/hours.hpp"

#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <optional>
#include <string>
#include <utility>

#include <fmt/format.h>

namespace shaftlog {
namespace {

// A reading noted from memory is about 1 h off; a ship's clock set back makes the same error (common practice, no
// source).
constexpr double kTolerance_h = 1.1;
// An unmarked meter change costs as much as 3.5 readings: the first of the new level and three that confirm it.
constexpr double kUnmarkedCost = 3.5;
constexpr double kRolloverCost = 0.25;
constexpr std::size_t kWindow = 64;
constexpr double kUsualScatter_h2_per_day = 36.0;  // used until the readings tell: 6 h over one day

enum class Link : std::uint8_t { none, plain, rollover, marked, marked_unknown, unmarked };

struct Reading {
  const Logged<Hours>* log = nullptr;
  double t_h = 0;
  double m_h = 0;
  double half_h = 0;
};

/// What neighbouring readings allow, in hours.
struct Reach {
  double least = 0, most = 0;
  [[nodiscard]] bool holds(double run) const { return run >= least && run <= most; }
};

Reach reach(double dt_h, double slack_h) {
  // Stamps that name a day only may have happened in the other order.
  return {std::min(0.0, dt_h - slack_h) - kTolerance_h, std::max(0.0, dt_h) + slack_h + kTolerance_h};
}

Reach reach(const Reading& a, const Reading& b) { return reach(b.t_h - a.t_h, a.half_h + b.half_h); }

Link link(const Reading& a, const Reading& b, std::optional<double> rollover_h) {
  const Reach r = reach(a, b);
  if (b.log->what.is_new_meter) {
    if (!b.log->what.old_meter) return Link::marked_unknown;
    return r.holds(in_h(*b.log->what.old_meter) - a.m_h) ? Link::marked : Link::marked_unknown;
  }
  if (r.holds(b.m_h - a.m_h)) return Link::plain;
  if (rollover_h && b.m_h < a.m_h && a.m_h < *rollover_h + kTolerance_h && r.holds(b.m_h + *rollover_h - a.m_h))
    return Link::rollover;
  return Link::none;
}

struct Kept {
  std::size_t index = 0;
  Link link = Link::none;  // to the kept reading before; none for the first
};

/// Chain with most readings kept, less the cost of its breaks. Ties keep the earlier reading.
std::vector<Kept> best_chain(const std::vector<Reading>& all, std::optional<double> rollover_h) {
  const std::size_t n = all.size();
  std::vector<Kept> chain;
  chain.reserve(n);
  for (std::size_t j = 0; j < n; ++j) {  // fast path: every neighbour agrees
    const Link l = j == 0 ? Link::none : link(all[j - 1], all[j], rollover_h);
    if (j > 0 && l == Link::none) break;
    chain.push_back({j, l});
  }
  if (chain.size() == n) return chain;

  struct Cell {
    double score = 1;
    std::ptrdiff_t before = -1;
    Link link = Link::none;
  };
  std::vector<Cell> cells(n);
  std::size_t best_before = 0;  // earliest cell with the highest score so far
  for (std::size_t j = 1; j < n; ++j) {
    Cell& c = cells[j];
    for (std::size_t i = j > kWindow ? j - kWindow : 0; i < j; ++i) {
      const Link l = link(all[i], all[j], rollover_h);
      if (l == Link::none) continue;
      const double score = cells[i].score + 1 - (l == Link::rollover ? kRolloverCost : 0.0);
      if (score > c.score + 1e-9) c = {score, static_cast<std::ptrdiff_t>(i), l};
    }
    const double jump = cells[best_before].score + 1 - kUnmarkedCost;
    if (jump > c.score + 1e-9) c = {jump, static_cast<std::ptrdiff_t>(best_before), Link::unmarked};
    if (c.score > cells[best_before].score + 1e-9) best_before = j;
  }
  chain.clear();
  for (auto at = static_cast<std::ptrdiff_t>(best_before); at >= 0; at = cells[static_cast<std::size_t>(at)].before)
    chain.push_back({static_cast<std::size_t>(at), cells[static_cast<std::size_t>(at)].link});
  std::reverse(chain.begin(), chain.end());
  return chain;
}

/// Readings that two exchanged digits of the whole hours would make of this one, in hours; neighbours first.
std::vector<double> swaps_of(HoursReading reading) {
  const std::string digits = std::to_string(reading.base() / 3600);
  const double rest = static_cast<double>(reading.base() % 3600) / 3600.0;
  std::vector<double> found;
  for (std::size_t apart = 1; apart < digits.size(); ++apart)
    for (std::size_t i = 0; i + apart < digits.size(); ++i) {
      if (digits[i] == digits[i + apart]) continue;
      std::string other = digits;
      std::swap(other[i], other[i + apart]);
      found.push_back(static_cast<double>(std::stoll(other)) + rest);
    }
  return found;
}

/// Readings with one digit more or less in the whole hours, in hours: left out or typed twice.
std::vector<double> other_lengths(HoursReading reading, std::size_t length) {
  const std::string digits = std::to_string(reading.base() / 3600);
  const double rest = static_cast<double>(reading.base() % 3600) / 3600.0;
  std::vector<double> found;
  const auto offer = [&](const std::string& other) {
    if (!other.empty()) found.push_back(static_cast<double>(std::stoll(other)) + rest);
  };
  for (std::size_t i = 0; i <= digits.size() && digits.size() + 1 == length; ++i)
    for (char c = i == 0 ? '1' : '0'; c <= '9'; ++c) offer(std::string{digits}.insert(i, 1, c));
  for (std::size_t i = 1; i < digits.size() && digits.size() == length + 1; ++i)
    if (digits[i] == digits[i - 1]) offer(std::string{digits}.erase(i, 1));
  return found;
}

/// The same wall-clock time on days that are commonly written instead: another year, day and month exchanged.
std::vector<Instant> other_days(Instant at) {
  using namespace std::chrono;
  const auto day = floor<days>(at);
  const year_month_day ymd{day};
  const auto rest = at - day;
  std::vector<Instant> found;
  const auto offer = [&](year_month_day other) {
    if (other.ok()) found.push_back(sys_days{other} + rest);
  };
  offer((ymd.year() + years{1}) / ymd.month() / ymd.day());
  offer((ymd.year() - years{1}) / ymd.month() / ymd.day());
  const unsigned d = static_cast<unsigned>(ymd.day()), m = static_cast<unsigned>(ymd.month());
  if (d <= 12 && d != m) offer(ymd.year() / month{d} / std::chrono::day{m});
  return found;
}

double to_h(Instant t) { return static_cast<double>(in_unix_s(t)) / 3600.0; }

/// How far `run` lies outside what `r` allows [h]; 0: it fits.
double beyond(const Reach& r, double run) { return std::max({0.0, r.least - run, run - r.most}); }

class Explainer {
 public:
  Explainer(const std::vector<Reading>& all, const std::vector<Kept>& chain, Instant as_of, double use_h_per_day)
      : all_{&all}, chain_{&chain}, as_of_{as_of}, use_{use_h_per_day} {}

  /// Why the reading at `index`, between the kept ones, was left out.
  [[nodiscard]] Suspect explain(std::size_t index) const {
    const Reading& x = (*all_)[index];
    const auto after = std::lower_bound(chain_->begin(), chain_->end(), index,
                                        [](const Kept& k, std::size_t i) { return k.index < i; });
    const Reading* before = after == chain_->begin() ? nullptr : &(*all_)[std::prev(after)->index];
    const Reading* next = after == chain_->end() ? nullptr : &(*all_)[after->index];
    Suspect s;
    s.record = x.log->id;
    s.at = x.log->at;
    s.seen_at = s.at;
    const double out_before = before ? beyond(reach(*before, x), x.m_h - before->m_h) : 0;
    const double out_next = next ? beyond(reach(x, *next), next->m_h - x.m_h) : 0;
    const Reading* other = out_before > 0 || next == nullptr ? before : next;
    // What agrees with the reading before is believed until two later ones agree with each other and not with it.
    if (out_before <= 0 && next != nullptr) {
      const auto second = std::next(after) == chain_->end() ? after : std::next(after);
      s.seen_at = (*all_)[second->index].log->at;
    }
    if (before != nullptr && (out_before > 0 || next == nullptr)) s.against.push_back(before->log->id);
    if (next != nullptr && (out_next > 0 || s.against.empty())) s.against.push_back(next->log->id);
    s.strength = 3.0 + std::log1p(std::max(out_before, out_next)) + (before && next ? 2.0 : 0.0);
    if (other == nullptr) {
      s.kind = SuspectKind::hours_backwards;
      return s;
    }
    const bool is_later = other == before;
    const double run = is_later ? x.m_h - other->m_h : other->m_h - x.m_h;
    const double dt = std::abs(x.t_h - other->t_h);
    const bool backwards = run < 0;
    s.kind = backwards ? SuspectKind::hours_backwards : SuspectKind::hours_impossible;
    s.says = backwards ? fmt::format("the meter shows {:.1f} h {} it showed {:.1f} h, and no new meter is noted", x.m_h,
                                     is_later ? "after" : "before", other->m_h)
                       : fmt::format("{:.1f} h of running in {:.1f} h of time, from {:.1f} h to {:.1f} h", run, dt,
                                     is_later ? other->m_h : x.m_h, is_later ? x.m_h : other->m_h);

    double best = std::numeric_limits<double>::infinity();
    for (const double m : swaps_of(x.log->what.reading)) {
      const auto off = misfit(x, x.t_h, m);
      if (off && *off < best) {
        best = *off;
        s.kind = SuspectKind::digits_swapped;
        digits_ = fmt::format("; {:.1f} h would fit: are two digits exchanged?", m);
      }
    }
    const std::size_t length = std::to_string(other->log->what.reading.base() / 3600).size();
    for (const double m : other_lengths(x.log->what.reading, length)) {
      const auto off = misfit(x, x.t_h, m);
      if (off && *off < best) {
        best = *off;
        s.kind = SuspectKind::digit_lost;
        digits_ = fmt::format("; {:.1f} h would fit: is a digit {}?", m, m > x.m_h ? "left out" : "typed twice");
      }
    }
    for (const Instant t : other_days(x.log->at)) {
      if (t > as_of_) continue;
      const auto off = misfit(x, to_h(t), x.m_h);
      // Digits are exchanged more easily than years: a day must fit clearly better.
      if (off && *off + 24.0 < best) {
        best = *off;
        s.kind = SuspectKind::date_slip;
        digits_ = fmt::format("; it would fit on {}: is the date wrong?", format_day(t));
      }
    }
    if (std::isfinite(best)) s.says += digits_;
    return s;
  }

 private:
  /// Distance [h] of a reading `m` at `t` from where use would put it among the kept ones; empty: it does not fit.
  [[nodiscard]] std::optional<double> misfit(const Reading& x, double t_h, double m_h) const {
    Reading moved = x;
    moved.t_h = t_h;
    moved.m_h = m_h;
    const auto after = std::lower_bound(chain_->begin(), chain_->end(), t_h,
                                        [this](const Kept& k, double t) { return (*all_)[k.index].t_h < t; });
    const Reading* before = after == chain_->begin() ? nullptr : &(*all_)[std::prev(after)->index];
    const Reading* next = after == chain_->end() ? nullptr : &(*all_)[after->index];
    if (before && beyond(reach(*before, moved), m_h - before->m_h) > 0) return std::nullopt;
    if (next && beyond(reach(moved, *next), next->m_h - m_h) > 0) return std::nullopt;
    double expected = 0;
    if (before && next) {
      const double dt = next->t_h - before->t_h;
      const double part = dt > 0 ? (t_h - before->t_h) / dt : 0.5;
      expected = before->m_h + part * (next->m_h - before->m_h);
    } else if (before) {
      expected = before->m_h + use_ * (t_h - before->t_h) / 24.0;
    } else if (next) {
      expected = next->m_h - use_ * (next->t_h - t_h) / 24.0;
    }
    return std::abs(m_h - expected);
  }

  const std::vector<Reading>* all_;
  const std::vector<Kept>* chain_;
  Instant as_of_;
  double use_;
  mutable std::string digits_;
};

/// Use [h per h] of the known runs within `days` of the run that ends at point `k`; empty: none known.
std::optional<double> use_around(const std::vector<HoursCurve::Point>& p, std::size_t k, double days) {
  double run = 0, time = 0;
  const double lo = to_h(p[k - 1].at) - days * 24, hi = to_h(p[k].at) + days * 24;
  for (std::size_t i = k - 1; i > 0 && to_h(p[i].at) > lo; --i)
    if (!p[i].is_estimated) run += p[i].hours, time += hours_between(p[i - 1].at, p[i].at);
  for (std::size_t i = k + 1; i < p.size() && to_h(p[i - 1].at) < hi; ++i)
    if (!p[i].is_estimated) run += p[i].hours, time += hours_between(p[i - 1].at, p[i].at);
  if (time <= 0) return std::nullopt;
  return std::min(1.0, run / time);
}

}  // namespace

HoursResult build_hours(std::span<const Logged<Hours>> readings, std::optional<double> rollover_h, Instant as_of) {
  HoursResult result;
  std::vector<Reading> all;
  for (const Logged<Hours>& r : readings)
    if (r.at <= as_of) all.push_back({&r, to_h(r.at), in_h(r.what.reading), half_width_h(r.precision)});
  if (all.empty()) return result;

  const std::vector<Kept> chain = best_chain(all, rollover_h);

  // First the runs, so that gaps can be estimated from use around them; then the sums.
  std::vector<HoursCurve::Point> points;
  std::vector<double> known_run(chain.size(), 0.0);
  for (std::size_t k = 0; k < chain.size(); ++k) {
    const Reading& x = all[chain[k].index];
    HoursCurve::Point p;
    p.at = x.log->at;
    p.half_width_h = x.half_h;
    if (k > 0) {
      const Reading& before = all[chain[k - 1].index];
      switch (chain[k].link) {
        case Link::none:
        case Link::plain:
          known_run[k] = x.m_h - before.m_h;
          break;
        case Link::rollover:
          known_run[k] = x.m_h + *rollover_h - before.m_h;
          break;
        case Link::marked:
          known_run[k] = in_h(*x.log->what.old_meter) - before.m_h;
          break;
        case Link::marked_unknown:
        case Link::unmarked:
          p.is_estimated = true;
          break;
      }
    }
    p.hours = std::clamp(known_run[k], 0.0, k > 0 ? hours_between(points.back().at, p.at) : 0.0);
    points.push_back(p);
  }
  for (std::size_t k = 1; k < points.size(); ++k) {
    if (!points[k].is_estimated) continue;
    const double time = hours_between(points[k - 1].at, points[k].at);
    const auto use = use_around(points, k, 90);
    points[k].hours = time * use.value_or(0.5);
    const double widest = time / std::sqrt(12.0);
    points[k].sd_h =
        use ? std::min(widest, std::sqrt(kUsualScatter_h2_per_day * time / 24) + 0.15 * points[k].hours) : widest;
  }
  // Sums follow the meter itself, not the clamped runs, so that small errors of single stamps do not add up.
  double meter_sum = 0;
  double shown = 0;
  for (std::size_t k = 1; k < points.size(); ++k) {
    const double time = hours_between(points[k - 1].at, points[k].at);
    meter_sum += points[k].is_estimated ? points[k].hours : known_run[k];
    shown = std::clamp(meter_sum, shown, shown + time);
    points[k].hours = shown;
  }
  points.front().hours = 0;
  result.meter_now_h = all[chain.back().index].m_h;
  result.total_h = all[chain.front().index].m_h + points.back().hours;
  result.curve = HoursCurve{std::move(points)};

  const Explainer explainer{all, chain, as_of, result.curve.use_h_per_day()};
  // Readings at the end that agree with each other on a new level are one matter, though too few to be believed.
  const std::size_t kept_last = chain.back().index;
  std::size_t new_level = all.size();
  if (kept_last + 2 < all.size() && all[kept_last + 1].m_h < all[kept_last].m_h) {
    new_level = kept_last + 1;
    for (std::size_t i = new_level + 1; i < all.size(); ++i)
      if (link(all[i - 1], all[i], rollover_h) != Link::plain) new_level = all.size();
  }
  if (new_level < all.size()) {
    Suspect s;
    s.kind = SuspectKind::unmarked_meter_change;
    s.record = all[new_level].log->id;
    s.against = {all[kept_last].log->id};
    for (std::size_t i = new_level + 1; i < all.size(); ++i) s.against.push_back(all[i].log->id);
    s.at = s.seen_at = all[new_level].log->at;
    s.says = fmt::format(
        "the meter went from {:.1f} h to {:.1f} h and {} readings since continue from there: was it replaced?",
        all[kept_last].m_h, all[new_level].m_h, all.size() - new_level - 1);
    s.strength = 2.0 + static_cast<double>(all.size() - new_level);
    result.suspects.push_back(std::move(s));
  }
  std::size_t k = 0;
  for (std::size_t i = 0; i < new_level; ++i) {
    if (k < chain.size() && chain[k].index == i) {
      const Reading& x = all[i];
      if (chain[k].link == Link::unmarked) {
        Suspect s;
        s.kind = SuspectKind::unmarked_meter_change;
        s.record = x.log->id;
        s.against = {all[chain[k - 1].index].log->id};
        s.at = x.log->at;
        s.seen_at = s.at;  // it stood out at once; what it was is known since
        s.says = fmt::format(
            "the meter went from {:.1f} h to {:.1f} h and later readings continue from there: was it replaced?",
            all[chain[k - 1].index].m_h, x.m_h);
        s.strength = 2.0 + static_cast<double>(std::min<std::size_t>(chain.size() - k, 8));
        result.suspects.push_back(std::move(s));
      } else if (chain[k].link == Link::marked_unknown && x.log->what.old_meter) {
        Suspect s;
        const double run = in_h(*x.log->what.old_meter) - all[chain[k - 1].index].m_h;
        s.kind = run < 0 ? SuspectKind::hours_backwards : SuspectKind::hours_impossible;
        s.record = x.log->id;
        s.against = {all[chain[k - 1].index].log->id};
        s.at = s.seen_at = x.log->at;
        s.says = fmt::format(
            "the old meter is said to have shown {:.1f} h when it was replaced, {:.1f} h after a reading "
            "of {:.1f} h",
            in_h(*x.log->what.old_meter), x.t_h - all[chain[k - 1].index].t_h, all[chain[k - 1].index].m_h);
        s.strength = 3.0 + std::log1p(std::abs(run));
        result.suspects.push_back(std::move(s));
      }
      ++k;
      continue;
    }
    result.suspects.push_back(explainer.explain(i));
  }
  return result;
}

}  // namespace shaftlog
