#include "reports/charts/fleet_charts.hpp"

#include "analysis/advise.hpp"
#include "reports/charts/text_width.hpp"
#include "reports/charts/ticks.hpp"
#include "reports/format.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <map>

#include <fmt/format.h>

namespace shaftlog {
namespace {

constexpr double k90 = 1.6449, k99 = 2.5758;  // two-sided normal quantiles

/// One shaft on the funnel.
struct Spot {
  const FleetShaft* shaft = nullptr;
  double log_w = 0;
  double ratio = 1;  ///< washout over the median of its sisters
  double sd = 0;     ///< of ln(washout) as known now
  bool is_outside = false;
};

double median_of(std::vector<double> v) {
  const auto middle = v.begin() + static_cast<std::ptrdiff_t>(v.size() / 2);
  std::nth_element(v.begin(), middle, v.end());
  if (v.size() % 2 == 1) return *middle;
  return (*middle + *std::max_element(v.begin(), middle)) / 2;
}

// From near to far: the same place on ships of one class, greased alike; the place on all ships; the class; all that
// are greased alike. The nearest with enough shafts is the one to compare with.
std::array<std::string, 4> circles_of(const FleetShaft& s) {
  const std::string& group = s.detail.history.group;
  const std::string alike = s.detail.history.is_automatic ? "automatic" : "manual", place = place_of(s.shaft);
  return {group + "|" + place, "|" + alike + "|" + place, group + "|", "|" + alike};
}

std::vector<Spot> spots_of(std::span<const FleetShaft> shafts, double& spread) {
  constexpr std::size_t kFewest = 3;
  std::vector<Spot> out;
  std::map<std::string, std::vector<double>> circles;
  for (const FleetShaft& s : shafts) {
    const auto& w = s.state.washout_cm3_per_h;
    if (!w || !(w->low > 0) || !(w->high > w->low) || s.detail.washout.exact == 0) continue;
    Spot p;
    p.shaft = &s;
    p.log_w = std::log(w->value);
    p.sd = std::clamp(std::log(w->high / w->low) / (2 * k90), 0.02, 2.0);
    out.push_back(p);
    for (const std::string& circle : circles_of(s)) circles[circle].push_back(p.log_w);
  }
  std::vector<double> away;
  for (Spot& p : out) {
    const auto near = circles_of(*p.shaft);
    const auto enough =
        std::find_if(near.begin(), near.end(), [&](const auto& c) { return circles[c].size() >= kFewest; });
    const double centre = median_of(circles[enough == near.end() ? near.back() : *enough]);
    p.ratio = std::exp(p.log_w - centre);
    away.push_back(std::abs(p.log_w - centre));
  }
  // The median distance, so that the few that stand out do not widen the limits that they are judged by.
  spread = away.empty() ? 0 : std::max(0.1, 1.4826 * median_of(away));
  for (Spot& p : out) p.is_outside = std::abs(std::log(p.ratio)) > k99 * std::hypot(spread, p.sd);
  return out;
}

std::string name_of_shaft(const FleetShaft& s) { return s.vessel + ", " + s.shaft; }

double half_percent(double sd) { return 100 * (std::exp(k90 * sd) - 1); }

}  // namespace

Chart washout_funnel(std::span<const FleetShaft> shafts) {
  Chart c;
  c.title = "Washout of every shaft beside its sisters";
  c.figures.heads = {"shaft", typeset("washout cm3/h"), "over its sisters' median", "known to within %", "limits"};
  double spread = 0;
  std::vector<Spot> spots = spots_of(shafts, spread);
  constexpr double kTop = 28, kHeight = 250;
  c.drawing = Drawing{kChartWidth, kTop + kHeight + 62};
  c.drawing.text({0, 12}, c.title, {12, ink::kText, Anchor::start, true});
  c.drawing.text({text_width(c.title, 12, true) + 8, 12}, "times the median of its sisters, log scale",
                 {10.5, ink::kQuiet});
  if (spots.size() < 2) {
    c.drawing.text({48, 60}, "fewer than two shafts whose washout is known: nothing to compare", {10.5, ink::kQuiet});
    c.drawing.set_height(80);
    c.story = "Fewer than two shafts have a known washout: nothing to compare.";
    return c;
  }
  double sd_low = 1, sd_high = 0, top = 2, bottom = 0.5;
  for (const Spot& p : spots) {
    sd_low = std::min(sd_low, p.sd);
    sd_high = std::max(sd_high, p.sd);
    top = std::max(top, p.ratio * 1.25);
    bottom = std::min(bottom, p.ratio / 1.25);
  }
  top = std::max(top, std::exp(k99 * spread) * 1.05);
  bottom = std::min(bottom, std::exp(-k99 * spread) / 1.05);
  // To the right the better known: the axis is -ln(sd).
  const double x_low = -std::log(sd_high * 1.12), x_high = -std::log(sd_low / 1.12);
  Plot plot{c.drawing, {48, kTop, kChartWidth - 48 - 132, kHeight}, x_low, x_high, bottom, top, /*is_log=*/true};
  plot.y_axis(9);
  const Box& a = plot.area();

  const auto limits = [&](double z) {
    std::array<std::vector<double>, 3> curve;  // x, lower, upper
    constexpr int kSteps = 120;
    for (int i = 0; i <= kSteps; ++i) {
      const double x = x_low + (x_high - x_low) * i / kSteps;
      const double sd = std::exp(-x);
      const double half = z * std::hypot(spread, sd);
      curve[0].push_back(plot.x(x));
      curve[1].push_back(plot.y(std::exp(-half)));
      curve[2].push_back(plot.y(std::exp(half)));
    }
    return curve;
  };
  const auto inner = limits(k90), outer = limits(k99);
  c.drawing.begin_clip(a);
  draw_band(c.drawing, inner[0], inner[1], inner[2], ink::kCalmBand, ink::kAxis);
  for (const std::size_t side : {1U, 2U}) {
    std::vector<Place> line;
    for (std::size_t i = 0; i < outer[0].size(); ++i) line.push_back({outer[0][i], outer[side][i]});
    c.drawing.polyline(line, {ink::kWarn, 1.0, Dash::dash_dot});
    plot.keep_clear(line);
  }
  c.drawing.end_clip();
  c.drawing.line({a.x, plot.y(1)}, {a.right(), plot.y(1)}, {ink::kText, 1.0, Dash::dashed});
  for (const double percent : {2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0}) {
    const double x = -std::log(std::log(1 + percent / 100) / k90);
    if (x < x_low || x > x_high) continue;
    c.drawing.line({plot.x(x), a.bottom()}, {plot.x(x), a.bottom() + 4}, {ink::kAxis, 0.8, Dash::solid});
    c.drawing.text({plot.x(x), a.bottom() + 15}, "\xC2\xB1 " + tick_text(percent, 0) + " %",
                   {10, ink::kQuiet, Anchor::middle});
  }
  c.drawing.text({a.right(), a.bottom() + 30}, "how well its washout is known (90 %) \xE2\x86\x92",
                 {10, ink::kQuiet, Anchor::end});
  plot.frame();

  std::stable_sort(spots.begin(), spots.end(), [](const Spot& p, const Spot& q) { return p.ratio > q.ratio; });
  std::size_t above = 0, below = 0;
  for (const Spot& p : spots) {
    const Place at{plot.x(-std::log(p.sd)), plot.y(p.ratio)};
    c.drawing.begin_group(
        fmt::format("{}: {} times its sisters' median", name_of_shaft(*p.shaft), format_figure(p.ratio, 2)));
    if (p.is_outside) {
      const bool is_high = p.ratio > 1;
      c.drawing.mark(at, is_high ? Shape::triangle_up : Shape::triangle_down, 8.5, is_high ? ink::kWarn : ink::kMain);
      ++(is_high ? above : below);
    } else {
      c.drawing.mark(at, Shape::ring, 6.5, ink::kMain);
    }
    c.drawing.end_group();
    plot.keep_clear({at.x - 5, at.y - 5, 10, 10});
    c.figures.rows.push_back({name_of_shaft(*p.shaft), format_estimate(p.shaft->state.washout_cm3_per_h, 2),
                              format_figure(p.ratio, 2), format_figure(half_percent(p.sd), 2),
                              !p.is_outside ? "inside"
                              : p.ratio > 1 ? "above 99 %"
                                            : "below 99 %"});
  }
  constexpr std::size_t kMostNames = 12;
  std::size_t named = 0;
  for (const Spot& p : spots) {
    if (!p.is_outside || named == kMostNames) continue;
    ++named;
    plot.label({plot.x(-std::log(p.sd)), plot.y(p.ratio)}, name_of_shaft(*p.shaft),
               p.ratio > 1 ? ink::kWarn : ink::kMain);
  }
  plot.right_label(plot.y(1), "median of the sisters", ink::kText);
  plot.right_label(inner[2].back(), "90 % of sisters", ink::kQuiet);
  plot.right_label(outer[2].back(), "99 % of sisters", ink::kWarn);
  plot.finish();
  draw_key(c.drawing, {48, a.bottom() + 48}, kChartWidth - 48,
           {{Shape::ring, ink::kMain, "within its sisters"},
            {Shape::triangle_up, ink::kWarn, "loses more than 99 % of sisters"},
            {Shape::triangle_down, ink::kMain, "loses less"}});
  c.story = fmt::format("{} shafts with a measured washout: {} above what 99 % of sisters lose, {} below", spots.size(),
                        above, below);
  c.story += above > 0 ? fmt::format("; the highest is {} with {} times the median of its sisters.",
                                     name_of_shaft(*spots.front().shaft), format_figure(spots.front().ratio, 2))
                       : ".";
  return c;
}

namespace {

constexpr double kCellWidth = 164, kCellHeight = 70, kCellGap = 8;

// The washout over its baseline on a log scale that all pictures share.
constexpr double kLeastRatio = 0.4, kMostRatio = 5;

// A baseline that greasings have bounded but never measured makes a factor of nothing.
bool tells_baseline(const WashoutResult& w) {
  constexpr double kKnown = 2;  // upper over lower limit
  if (!w.baseline_cm3_per_h || w.baseline_cm3_per_h->low <= 0) return false;
  return w.step || w.wear || w.high || w.baseline_cm3_per_h->high <= kKnown * w.baseline_cm3_per_h->low;
}

void draw_spark(Drawing& on, const FleetShaft& s, const TimeAxis& axis, const Box& box) {
  const double span = static_cast<double>((axis.to - axis.from).count());
  const auto x = [&](Instant t) { return box.x + static_cast<double>((t - axis.from).count()) / span * box.width; };
  const double upper = 0.58 * box.height, gap = 3;
  const Box rate{box.x, box.y, box.width, upper}, fill{box.x, box.y + upper + gap, box.width, box.height - upper - gap};
  const auto y_of = [&](double ratio) {
    const double part =
        std::log(std::clamp(ratio, kLeastRatio, kMostRatio) / kLeastRatio) / std::log(kMostRatio / kLeastRatio);
    return rate.bottom() - part * rate.height;
  };
  on.begin_clip(box);
  on.line({rate.x, y_of(1)}, {rate.right(), y_of(1)}, {ink::kAxis, 0.7, Dash::dotted});
  const WashoutResult& w = s.detail.washout;
  if (tells_baseline(w)) {
    std::vector<double> xs, low, high;
    std::vector<Place> line;
    for (const WashoutStep& step : w.steps) {
      const double base = w.baseline_cm3_per_h->value;
      xs.push_back(x(step.at));
      low.push_back(y_of(step.washout_cm3_per_h.low / base));
      high.push_back(y_of(step.washout_cm3_per_h.high / base));
      line.push_back({xs.back(), y_of(step.washout_cm3_per_h.value / base)});
    }
    if (xs.size() > 1) draw_band(on, xs, low, high, ink::kMainBand, ink::kMainBand);
    on.polyline(line, {ink::kMain, 1.4, Dash::solid});
  }
  std::vector<Place> level;
  std::vector<FillPoint> known = s.detail.fill.points;
  if (!s.state.cavity_fill_pct) {  // what nothing vouches for any more ends at the last greasing
    while (!known.empty() && !known.back().is_greasing) known.pop_back();
  }
  for (const FillPoint& f : known) {
    level.push_back({x(f.at), fill.bottom() - std::clamp(f.fill_pct.value, 0.0, 100.0) / 100 * fill.height});
  }
  if (level.size() > 1) {
    std::vector<Place> filled = level;
    filled.push_back({level.back().x, fill.bottom()});
    filled.push_back({level.front().x, fill.bottom()});
    on.area(std::move(filled), ink::kMainBand);
    on.polyline(level, {ink::kMainEdge, 0.8, Dash::solid});
    const double reserve = fill.bottom() - s.detail.reserve_pct / 100 * fill.height;
    on.line({fill.x, reserve}, {fill.right(), reserve}, {ink::kWarn, 0.7, Dash::dashed});
  }
  on.end_clip();
  on.line({box.x, box.bottom()}, {box.right(), box.bottom()}, {ink::kAxis, 0.8, Dash::solid});
}

}  // namespace

Chart small_multiples(std::span<const FleetShaft> shafts, const TimeAxis& axis, std::string title) {
  constexpr std::size_t kInRow = 4;
  Chart c;
  c.title = std::move(title);
  c.figures.heads = {"shaft", typeset("washout cm3/h"), typeset("baseline cm3/h"), "fill %"};
  const std::size_t rows = (shafts.size() + kInRow - 1) / kInRow;
  c.drawing = Drawing{kChartWidth, static_cast<double>(rows) * (kCellHeight + kCellGap)};
  std::size_t pressing = 0;
  for (std::size_t i = 0; i < shafts.size(); ++i) {
    const FleetShaft& s = shafts[i];
    const double left = static_cast<double>(i % kInRow) * (kCellWidth + kCellGap);
    const double top = static_cast<double>(i / kInRow) * (kCellHeight + kCellGap);
    double name_at = left;
    if (s.urgency && (*s.urgency == Urgency::act || *s.urgency == Urgency::plan)) {
      c.drawing.mark({left + 5, top + 8}, shape_of(*s.urgency), 8, colour_of(*s.urgency));
      name_at += 14;
      ++pressing;
    }
    const auto& w = s.state.washout_cm3_per_h;
    const auto& f = s.state.cavity_fill_pct;
    // The name is cut rather than run into the figures.
    std::string name = s.shaft;
    const std::string figures = (w ? format_figure(w->value, 2) : std::string{"-"}) + typeset(" cm3/h");
    const double room = kCellWidth - (name_at - left) - text_width(figures, 9.5) - 8;
    if (text_width(name, 10, true) > room) {
      while (!name.empty() && text_width(name + "\xE2\x80\xA6", 10, true) > room) {
        do name.pop_back();
        while (!name.empty() && (static_cast<unsigned char>(name.back()) & 0xC0u) == 0x80u);
      }
      name += "\xE2\x80\xA6";
    }
    c.drawing.begin_group(name_of_shaft(s) + ": " + figures + ", fill " +
                          (f ? format_estimate(*f, 2) + " %" : "not known"));
    c.drawing.text({name_at, top + 11}, name, {10, ink::kText, Anchor::start, true});
    c.drawing.text({left + kCellWidth, top + 11}, figures, {9.5, ink::kQuiet, Anchor::end});
    draw_spark(c.drawing, s, axis, {left, top + 16, kCellWidth - 34, kCellHeight - 18});
    c.drawing.text({left + kCellWidth, top + kCellHeight - 6}, f ? format_figure(f->value, 2) + " %" : "? %",
                   {9.5, f && f->value < s.detail.reserve_pct ? ink::kWarn : ink::kQuiet, Anchor::end});
    const auto& base = s.detail.washout.baseline_cm3_per_h;
    if (w && tells_baseline(s.detail.washout)) {
      const double ratio = w->value / base->value;
      const bool is_changed = s.urgency && (s.detail.washout.step || s.detail.washout.wear);
      c.drawing.text({left + kCellWidth, top + 34}, "\xC3\x97 " + format_figure(ratio, 2),
                     {9.5, is_changed ? ink::kWarn : ink::kQuiet, Anchor::end, is_changed});
    }
    c.drawing.end_group();
    c.figures.rows.push_back(
        {name_of_shaft(s), format_estimate(w, 2), format_estimate(base, 2), format_estimate(f, 2)});
  }
  c.story = fmt::format(
      "{} shaft{}, {} with a finding that asks to act or to plan. Above: washout over its own baseline, "
      "the dotted line at 1; below: how full the cavity was, the reserve dashed.",
      shafts.size(), shafts.size() == 1 ? "" : "s", pressing);
  return c;
}

}  // namespace shaftlog
