#include "reports/charts/plot.hpp"

#include "base/error.hpp"
#include "reports/charts/text_width.hpp"
#include "reports/charts/ticks.hpp"

#include <algorithm>
#include <array>
#include <cmath>

#include <fmt/format.h>

namespace shaftlog {
namespace {

constexpr double kLeft = 48, kRight = 132;  // room for numbers, and for labels beside the lines they belong to
constexpr double kTick = 10, kLabel = 10.5, kTitle = 12;
const Stroke kGridLine{ink::kGrid, 0.8, Dash::solid};
const Stroke kAxisLine{ink::kAxis, 0.8, Dash::solid};

}  // namespace

TimeAxis part_of(const TimeAxis& whole, const DayRange& days) {
  if (!days.from && !days.to) return whole;
  const auto text = [](std::chrono::local_days d) {
    return format_day(Instant{d.time_since_epoch()}, Zone::utc());  // the day as it is called
  };
  const auto begin_of = [&](std::chrono::local_days d) {
    return Instant{d.time_since_epoch()} - whole.zone.offset_of_local(std::chrono::local_seconds{d});
  };
  if (days.from && days.to && *days.from > *days.to)
    throw Error{Errc::usage, fmt::format("from {} to {}: the first day must not be after the last", text(*days.from),
                                         text(*days.to))};
  TimeAxis part = whole;
  part.is_part = true;
  if (days.from) part.from = std::max(whole.from, begin_of(*days.from));
  if (days.to) part.to = std::min(whole.to, begin_of(*days.to + std::chrono::days{1}));
  if (part.from >= part.to)
    throw Error{Errc::usage, fmt::format("{}{}: the charts run from {} to {}",
                                         days.from ? "from " + text(*days.from) : std::string{},
                                         days.to ? fmt::format("{}to {}", days.from ? " " : "", text(*days.to)) : "",
                                         format_day(whole.from, whole.zone), format_day(whole.to, whole.zone))};
  return part;
}

Plot::Plot(Drawing& on, const Box& area, double x_low, double x_high, double y_low, double y_high, bool is_log)
    : on_{&on}, area_{area}, x_low_{x_low}, x_high_{x_high}, y_low_{y_low}, y_high_{y_high}, is_log_{is_log} {}

Plot::Plot(Drawing& on, const Box& area, const TimeAxis& axis, double y_low, double y_high)
    : on_{&on},
      area_{area},
      axis_{axis},
      x_low_{static_cast<double>(in_unix_s(axis.from))},
      x_high_{static_cast<double>(in_unix_s(axis.to))},
      y_low_{y_low},
      y_high_{y_high},
      is_of_time_{true} {}

double Plot::x(double value) const { return area_.x + (value - x_low_) / (x_high_ - x_low_) * area_.width; }
double Plot::x(Instant t) const { return x(static_cast<double>(in_unix_s(t))); }

double Plot::y(double value) const {
  const double part = is_log_ ? std::log(std::max(value, 1e-12) / y_low_) / std::log(y_high_ / y_low_)
                              : (value - y_low_) / (y_high_ - y_low_);
  return area_.bottom() - part * area_.height;
}

void Plot::y_axis(int most) {
  NumberTicks ticks;
  if (is_log_) {
    ticks.at = log_ticks(y_low_, y_high_, most);
  } else {
    ticks = nice_ticks(y_low_, y_high_, most);
  }
  for (const double v : ticks.at) {
    on_->line({area_.x, y(v)}, {area_.right(), y(v)}, kGridLine);
    const int decimals = is_log_ ? std::max(0, -static_cast<int>(std::floor(std::log10(v) + 1e-9))) : ticks.decimals;
    on_->text({area_.x - 6, y(v) + 3.5}, tick_text(v, decimals), {kTick, ink::kQuiet, Anchor::end});
  }
}

void Plot::x_axis(std::string unit, int most) {
  const NumberTicks ticks = nice_ticks(x_low_, x_high_, most);
  for (const double v : ticks.at) {
    on_->line({x(v), area_.bottom()}, {x(v), area_.bottom() + 4}, kAxisLine);
    on_->text({x(v), area_.bottom() + 15}, tick_text(v, ticks.decimals), {kTick, ink::kQuiet, Anchor::middle});
  }
  on_->text({area_.right() + 14, area_.bottom() + 15}, std::move(unit), {kTick, ink::kQuiet, Anchor::start});
}

void Plot::frame() {
  on_->line({area_.x, area_.bottom()}, {area_.right(), area_.bottom()}, kAxisLine);
  on_->line({area_.x, area_.y}, {area_.x, area_.bottom()}, kAxisLine);
}

bool Plot::label(Place near, const std::string& text, Colour colour, bool is_strong) {
  const double width = text_width(text, kLabel, is_strong), height = kLabel;
  // Where a reader looks first: above, below, right, left; then a little farther off.
  for (const double away : {6.0, 18.0, 30.0}) {
    const std::array<Place, 8> tries{{{near.x - width / 2, near.y - away - 3},
                                      {near.x - width / 2, near.y + away + height},
                                      {near.x + away + 2, near.y + 3.5},
                                      {near.x - away - 2 - width, near.y + 3.5},
                                      {near.x + 4, near.y - away - 3},
                                      {near.x - 4 - width, near.y - away - 3},
                                      {near.x + 4, near.y + away + height},
                                      {near.x - 4 - width, near.y + away + height}}};
    for (const Place& at : tries) {
      const Box box{at.x - 2, at.y - 0.78 * height - 1.5, width + 4, height + 3};
      if (box.x < area_.x + 1 || box.right() > area_.right() - 1 || box.y < area_.y - 1 ||
          box.bottom() > area_.bottom())
        continue;
      if (std::any_of(taken_.begin(), taken_.end(), [&](const Box& t) { return overlaps(t, box); })) continue;
      if (is_of_time_) on_->begin_label(near.x, near.x);
      on_->box(box, ink::kPaper);
      if (away > 10) {  // so far off that it needs a line to what it means
        const Place to{std::clamp(near.x, box.x, box.right()), at.y > near.y ? box.y : box.bottom()};
        on_->line(near, to, {ink::kAxis, 0.7, Dash::solid});
      }
      on_->text(at, text, {kLabel, colour, Anchor::start, is_strong});
      if (is_of_time_) on_->end_label();
      taken_.push_back(box);
      return true;
    }
  }
  return false;
}

bool Plot::label(const std::vector<Place>& near, const std::string& text, Colour colour, bool is_strong) {
  return std::any_of(near.begin(), near.end(), [&](Place p) { return label(p, text, colour, is_strong); });
}

void Plot::notice(const std::string& text, double part) {
  // As the label of the whole axis it stays in sight whatever range is shown.
  const Place at{area_.x + area_.width / 2, area_.y + part * area_.height + 3.5};
  if (is_of_time_) on_->begin_label(area_.x, area_.right());
  const TextItem words{at, text, {kLabel, ink::kQuiet, Anchor::middle}};
  on_->text(words.at, words.text, words.look);
  if (is_of_time_) on_->end_label();
  taken_.push_back(box_of(words));
}

void Plot::keep_clear(const std::vector<Place>& line) {
  constexpr double kStep = 12;  // a sloping line is covered by small boxes
  for (std::size_t i = 1; i < line.size(); ++i) {
    const Place a = line[i - 1], b = line[i];
    const int parts = std::max(1, static_cast<int>(std::max(std::abs(b.x - a.x), std::abs(b.y - a.y)) / kStep));
    for (int k = 0; k < parts; ++k) {
      const double from = static_cast<double>(k) / parts, to = static_cast<double>(k + 1) / parts;
      const double x0 = a.x + from * (b.x - a.x), x1 = a.x + to * (b.x - a.x);
      const double y0 = a.y + from * (b.y - a.y), y1 = a.y + to * (b.y - a.y);
      taken_.push_back({std::min(x0, x1), std::min(y0, y1) - 1, std::abs(x1 - x0), std::abs(y1 - y0) + 2});
    }
  }
}

void Plot::right_label(double y_px, std::string text, Colour colour, bool is_strong) {
  right_.push_back({y_px, broken_into_lines(text, kRight - 12, kLabel, is_strong), colour, is_strong});
}

void Plot::finish() {
  constexpr double kLine = 13, kGap = 4;
  std::stable_sort(right_.begin(), right_.end(), [](const RightLabel& a, const RightLabel& b) { return a.y < b.y; });
  const auto height = [](const RightLabel& l) { return kLine * static_cast<double>(l.lines.size()); };
  // Each below the one before; then back up from the bottom where they ran out of the area.
  std::vector<double> top;
  double free = area_.y - 12;
  for (const RightLabel& l : right_) {
    top.push_back(std::max(free, std::clamp(l.y, area_.y, area_.bottom()) - height(l) / 2));
    free = top.back() + height(l) + kGap;
  }
  double floor = area_.bottom() + 10;
  for (std::size_t i = right_.size(); i-- > 0;) {
    top[i] = std::min(top[i], floor - height(right_[i]));
    floor = top[i] - kGap;
  }
  for (std::size_t i = 0; i < right_.size(); ++i) {
    const RightLabel& l = right_[i];
    const double to = std::clamp(l.y, area_.y, area_.bottom()), from = top[i] + kLine / 2 + 0.5;
    if (std::abs(from - to) > 4) {
      on_->polyline({{area_.right() + 1, to}, {area_.right() + 5, to}, {area_.right() + 8, from}},
                    {ink::kAxis, 0.8, Dash::solid});
    }
    for (std::size_t k = 0; k < l.lines.size(); ++k) {
      on_->text({area_.right() + 10, top[i] + kLine * static_cast<double>(k) + 10}, l.lines[k],
                {kLabel, l.colour, Anchor::start, l.is_strong});
    }
  }
  right_.clear();
}

double draw_key(Drawing& on, Place at, double width, const std::vector<KeyMark>& marks) {
  constexpr double kLine = 15;
  double x = at.x, y = at.y;
  for (const KeyMark& m : marks) {
    const double needs = 14 + text_width(m.text, kTick) + 16;
    if (x > at.x && x + needs - 16 > at.x + width) {
      x = at.x;
      y += kLine;
    }
    on.mark({x + 5, y - 3.5}, m.shape, 7.5, m.colour);
    on.text({x + 14, y}, m.text, {kTick, ink::kQuiet});
    x += needs;
  }
  return marks.empty() ? 0 : y - at.y + kLine;
}

void draw_band(Drawing& on, const std::vector<double>& x, const std::vector<double>& low,
               const std::vector<double>& high, Colour fill, Colour edge) {
  std::vector<Place> upper, lower;
  for (std::size_t i = 0; i < x.size(); ++i) {
    upper.push_back({x[i], high[i]});
    lower.push_back({x[i], low[i]});
  }
  std::vector<Place> ring = upper;
  ring.insert(ring.end(), lower.rbegin(), lower.rend());
  on.area(std::move(ring), fill);
  on.polyline(std::move(upper), {edge, 0.7, Dash::solid});
  on.polyline(std::move(lower), {edge, 0.7, Dash::solid});
}

void draw_onset(Plot& plot, double x_low, double x_estimate, double x_high) {
  const Box& a = plot.area();
  if (plot.axis().is_part && (x_high < a.x || x_low > a.right())) return;
  const double left = std::clamp(x_low, a.x, a.right()), right = std::clamp(x_high, a.x, a.right());
  const double middle = std::clamp(x_estimate, a.x, a.right());
  Drawing& on = plot.on();
  on.box({left, a.y, right - left, a.height}, ink::kWarnBand);
  for (const double x : {left, right}) {
    on.line({x, a.y}, {x, a.bottom()}, {ink::kWarnEdge, 0.7, Dash::solid});
  }
  if (plot.axis().is_part && (x_estimate < a.x || x_estimate > a.right())) return;
  on.line({middle, a.y}, {middle, a.bottom()}, {ink::kWarn, 1.2, Dash::dashed});
}

void label_onset(Plot& plot, double x_estimate, const std::string& text) {
  const Box& a = plot.area();
  if (plot.axis().is_part && (x_estimate < a.x || x_estimate > a.right())) return;
  const double x = std::clamp(x_estimate, a.x, a.right());
  plot.label({{x, a.y + 10},
              {x, a.bottom() - 10},
              {x, a.y + 0.25 * a.height},
              {x, a.y + 0.75 * a.height},
              {x, a.y + 0.5 * a.height}},
             text, ink::kWarn, true);
}

namespace {

void draw_panel(Drawing& on, const Panel& panel, const TimeAxis& axis, double top, const std::vector<TimeTick>& ticks) {
  on.text({0, top + 12}, panel.title, {kTitle, ink::kText, Anchor::start, true});
  on.text({text_width(panel.title, kTitle, true) + 8, top + 12}, panel.unit, {kLabel, ink::kQuiet});
  Plot plot{on, {kLeft, top + 22, kChartWidth - kLeft - kRight, panel.height}, axis, panel.y_low, panel.y_high};
  const Box& area = plot.area();
  on.begin_time_grid(area.y, area.bottom());
  for (const TimeTick& t : ticks) {
    const double x = plot.x(t.at);
    on.line({x, area.y}, {x, area.bottom()}, {t.is_year ? ink::kAxis : ink::kGrid, 0.8, Dash::solid});
  }
  on.end_time_grid();
  if (panel.has_y_axis) plot.y_axis(panel.height > 100 ? 6 : 4);
  if (panel.draw) {
    on.begin_on_time();
    if (axis.is_part) on.begin_clip({area.x, area.y - 8, area.width, area.height + 12});
    panel.draw(plot);
    if (axis.is_part) on.end_clip();
    on.end_on_time();
  }
  plot.frame();
  plot.finish();
}

void draw_time_labels(Drawing& on, const TimeAxis& axis, double bottom, const std::vector<TimeTick>& ticks) {
  const Plot plot{on, {kLeft, bottom - 1, kChartWidth - kLeft - kRight, 1}, axis, 0, 1};
  bool has_year = false;
  double last_right = -1e9;
  on.begin_time_grid(bottom, bottom);
  for (const TimeTick& t : ticks) {
    const double x = plot.x(t.at);
    on.line({x, bottom}, {x, bottom + 4}, kAxisLine);
    std::string label = t.label;
    // The year is said once, at the first tick, and then by the ticks that begin one.
    if (!has_year && !t.is_year) label += ' ' + format_day(t.at, axis.zone).substr(0, 4);
    const double half = text_width(label, kTick, t.is_year) / 2;
    if (x - half < last_right + 6) label = t.label;
    if (x - half < last_right + 4) continue;
    on.text({x, bottom + 15}, label, {kTick, t.is_year ? ink::kText : ink::kQuiet, Anchor::middle, t.is_year});
    last_right = x + half;
    has_year = true;
  }
  on.end_time_grid();
}

std::vector<TimeTick> ticks_of(const TimeAxis& axis) { return time_ticks(axis.from, axis.to, axis.zone, 10); }

TimeScale scale_of(const TimeAxis& axis, double top, double bottom) {
  return {kLeft, kChartWidth - kRight, axis.from, axis.to, top, bottom, axis.zone.offset_at(axis.to)};
}

}  // namespace

Chart chart_of(const Panel& panel, const TimeAxis& axis) {
  Chart c;
  c.title = panel.title;
  c.story = panel.story;
  c.figures = panel.figures;
  c.drawing = Drawing{kChartWidth, 0};
  const auto ticks = ticks_of(axis);
  draw_panel(c.drawing, panel, axis, 0, ticks);
  const double bottom = 22 + panel.height;
  draw_time_labels(c.drawing, axis, bottom, ticks);
  c.drawing.time_scale = scale_of(axis, 22, bottom);
  const double key = draw_key(c.drawing, {kLeft, bottom + 34}, kChartWidth - kLeft, panel.key);
  c.drawing.set_height(bottom + 22 + key);
  return c;
}

Chart stacked(const std::vector<Panel>& panels, const TimeAxis& axis, std::string title) {
  Chart c;
  c.title = std::move(title);
  c.drawing = Drawing{kChartWidth, 0};
  const auto ticks = ticks_of(axis);
  double top = 0;
  std::vector<KeyMark> key;
  for (const Panel& p : panels) {
    draw_panel(c.drawing, p, axis, top, ticks);
    top += 22 + p.height + 12;
    c.story += (c.story.empty() ? "" : "\n") + p.title + ": " + p.story;
    for (const KeyMark& k : p.key) {
      const bool is_known = std::any_of(key.begin(), key.end(), [&](const KeyMark& o) { return o.text == k.text; });
      if (!is_known) key.push_back(k);
    }
  }
  const double bottom = top - 12;
  draw_time_labels(c.drawing, axis, bottom, ticks);
  c.drawing.time_scale = scale_of(axis, 22, bottom);
  c.drawing.set_height(bottom + 22 + draw_key(c.drawing, {kLeft, bottom + 34}, kChartWidth - kLeft, key));
  return c;
}

std::string cubic(std::string text) {
  const auto is_of_word = [&](std::size_t i) {
    return i < text.size() && ((text[i] >= 'a' && text[i] <= 'z') || (text[i] >= 'A' && text[i] <= 'Z') ||
                               (text[i] >= '0' && text[i] <= '9') || text[i] == '_');
  };
  for (std::size_t at = text.find("cm3"); at != std::string::npos; at = text.find("cm3", at + 3)) {
    if ((at > 0 && is_of_word(at - 1)) || is_of_word(at + 3)) continue;
    text.replace(at, 3, "cm\xC2\xB3");
  }
  return text;
}

std::string typeset(std::string text) {
  text = cubic(std::move(text));
  const auto is_digit = [](char c) { return c >= '0' && c <= '9'; };
  for (std::size_t i = 0; i + 1 < text.size(); ++i) {
    const bool begins = i == 0 || text[i - 1] == ' ' || text[i - 1] == '(';
    if (text[i] == '-' && is_digit(text[i + 1]) && begins) text.replace(i, 1, "\xE2\x88\x92");
  }
  return text;
}

}  // namespace shaftlog
