// The panels about what surrounds a shaft: what feeds it, alarms, use and work.
#include "reports/charts/shaft_charts.hpp"
#include "reports/charts/text_width.hpp"
#include "reports/charts/ticks.hpp"
#include "reports/format.hpp"

#include <algorithm>
#include <array>
#include <cmath>

#include <fmt/format.h>

namespace shaftlog {
namespace {

std::string ratio_text(const Estimate& e) { return fmt::format("{:.2f} ({:.2f} to {:.2f})", e.value, e.low, e.high); }

/// Counted over called-for cycles between two readings of the counter.
struct CycleStretch {
  Instant from{}, at{};
  double counted = 0, called_for = 0;
  [[nodiscard]] double ratio() const { return counted / called_for; }
};

std::vector<CycleStretch> cycle_stretches(const LubricatorChartInput& in) {
  std::vector<CycleStretch> out;
  if (in.digest.schedule == nullptr) return out;
  std::optional<Instant> from;
  const Instant first = time_axis_of(in).from;
  // Shorter stretches than this say more about the reading's hour than about the system.
  const auto least = (in.as_of - first) / 36;
  for (const Logged<Cycles>& c : in.log.cycles) {
    if (c.lubricator != in.lubricator.id || c.at > in.as_of) continue;
    if (c.what.is_new_counter || !from) {
      from = c.at;
      continue;
    }
    if (c.at - *from < least) continue;
    const auto counted = in.digest.schedule->counted_cycles(in.lubricator.id, *from, c.at);
    const double called = in.digest.schedule->called_for_cycles(in.lubricator.id, *from, c.at);
    if (counted && called >= 20) out.push_back({*from, c.at, *counted, called});
    from = c.at;
  }
  return out;
}

Instant quarter_of(Instant t, const Zone& zone, int later) {
  const auto day = std::chrono::floor<std::chrono::days>(t + zone.offset_at(t));
  const std::chrono::year_month_day d{day};
  const int m =
      static_cast<int>(d.year()) * 12 + static_cast<int>((static_cast<unsigned>(d.month()) - 1) / 3 * 3) + 3 * later;
  const std::chrono::year_month_day begin{std::chrono::year{m / 12},
                                          std::chrono::month{static_cast<unsigned>(m % 12 + 1)}, std::chrono::day{1}};
  const std::chrono::local_seconds local{std::chrono::local_days{begin}};
  return Instant{local.time_since_epoch()} - zone.offset_of_local(local);
}

}  // namespace

TimeAxis time_axis_of(const LubricatorChartInput& in) {
  std::optional<Instant> first;
  const auto take = [&](Instant t) {
    if (!first || t < *first) first = t;
  };
  if (!in.detail.delivery.steps.empty()) take(in.detail.delivery.steps.front().from);
  for (const Logged<Cycles>& c : in.log.cycles) {
    if (c.lubricator == in.lubricator.id) take(c.at);
  }
  if (!in.detail.alarms.empty()) take(in.detail.alarms.front().raised);
  const Instant from = std::min(first.value_or(in.as_of), in.as_of - std::chrono::days{14});
  const auto air = (in.as_of - from) / 80;
  return {from - air, in.as_of + air, in.zone};
}

Panel delivery_panel(const LubricatorChartInput& in) {
  Panel p;
  p.title = "Automatic delivery";
  p.unit = "what left the reservoir / what the settings call for, 90 % band";
  p.height = 100;
  const DeliveryResult& d = in.detail.delivery;
  const std::vector<CycleStretch> cycles = cycle_stretches(in);
  p.figures.heads = {
      "from", "to", "called for cm3", "left the reservoir cm3", "ratio then", "cycles counted", "cycles called for"};
  double top = 1.25;
  for (const RatioStep& s : d.steps) {
    top = std::max(top, std::min(s.ratio.value().high, 3.0));
    p.figures.rows.push_back({format_day(s.from, in.zone), format_day(s.at, in.zone), format_figure(s.expected_cm3, 4),
                              format_figure(s.used_cm3, 4), format_estimate(s.ratio, 2), "-", "-"});
  }
  for (const CycleStretch& c : cycles) {
    top = std::max(top, std::min(c.ratio(), 3.0));
    p.figures.rows.push_back({format_day(c.from, in.zone), format_day(c.at, in.zone), "-", "-", "-",
                              format_figure(c.counted, 5), format_figure(c.called_for, 5)});
  }
  for (std::string& head : p.figures.heads) head = typeset(head);
  p.y_high = 1.08 * top;
  if (d.delivery_ratio) {
    p.story = fmt::format("{} of what the settings call for leaves the reservoir now", ratio_text(*d.delivery_ratio));
    const RatioShift* shift = d.low ? &*d.low : d.high ? &*d.high : nullptr;
    if (shift != nullptr) {
      p.story +=
          fmt::format(", since about {} ({} to {}): {} cm3 ({} to {}) {}", format_day(shift->began.estimate, in.zone),
                      format_day(shift->began.low, in.zone), format_day(shift->began.high, in.zone),
                      format_figure(shift->amount_cm3.value), format_figure(shift->amount_cm3.low),
                      format_figure(shift->amount_cm3.high), d.low ? "too little" : "too much");
    }
    p.story += '.';
  } else {
    p.story = "What left the reservoir cannot be told from the records.";
  }
  if (d.cycle_ratio) p.story += fmt::format(" Cycles counted over called for: {}.", ratio_text(*d.cycle_ratio));
  p.story = typeset(p.story);
  if (!cycles.empty()) p.key.push_back({Shape::diamond, ink::kOther, "cycles counted / called for"});

  p.draw = [in, cycles](Plot& plot) {
    Drawing& on = plot.on();
    const DeliveryResult& r = in.detail.delivery;
    const Box& a = plot.area();
    const Box margin{a.x, plot.y(1 + kRatioMargin), a.width, plot.y(1 - kRatioMargin) - plot.y(1 + kRatioMargin)};
    on.box(margin, ink::kCalmBand);
    for (const double y : {margin.y, margin.bottom()})
      on.line({a.x, y}, {a.right(), y}, {ink::kAxis, 0.7, Dash::dotted});
    plot.right_label(plot.y(1), "1 \xC2\xB1 10 %: in order", ink::kQuiet);
    on.begin_clip({a.x, a.y - 5, a.width, a.height + 5});
    const RatioShift* shift = r.low ? &*r.low : r.high ? &*r.high : nullptr;
    if (shift == nullptr) shift = r.cycles_low ? &*r.cycles_low : r.cycles_high ? &*r.cycles_high : nullptr;
    if (shift != nullptr) {
      draw_onset(plot, plot.x(shift->began.low), plot.x(shift->began.estimate), plot.x(shift->began.high));
    }
    std::vector<double> x, low, high;
    std::vector<Place> line;
    for (const RatioStep& s : r.steps) {
      x.push_back(plot.x(s.at));
      low.push_back(std::max(plot.y(s.ratio.value().low), a.y - 5));
      high.push_back(std::max(plot.y(s.ratio.value().high), a.y - 5));
      line.push_back({x.back(), std::max(plot.y(s.ratio.value().value), a.y - 5)});
    }
    if (line.size() == 1) {  // one balance alone: over its own stretch
      x.insert(x.begin(), plot.x(r.steps.front().from));
      low.push_back(low.back());
      high.push_back(high.back());
      line.insert(line.begin(), {x.front(), line.back().y});
    }
    if (x.size() > 1) draw_band(on, x, low, high, ink::kMainBand, ink::kMainEdge);
    on.line({a.x, plot.y(1)}, {a.right(), plot.y(1)}, {ink::kAxis, 0.8, Dash::solid});
    on.polyline(line, {ink::kMain, 1.8, Dash::solid});
    std::vector<Place> cycle_line;
    for (const CycleStretch& c : cycles) cycle_line.push_back({plot.x(c.at), std::max(plot.y(c.ratio()), a.y)});
    on.polyline(cycle_line, {ink::kOther, 1.1, Dash::dashed});
    for (std::size_t i = 0; i < cycles.size(); ++i) {
      on.begin_group(fmt::format("{} to {}: {} cycles counted, {} called for", format_day(cycles[i].from, in.zone),
                                 format_day(cycles[i].at, in.zone), format_figure(cycles[i].counted, 5),
                                 format_figure(cycles[i].called_for, 5)));
      on.mark(cycle_line[i], Shape::diamond, 6, ink::kOther);
      on.end_group();
    }
    on.end_clip();
    for (const Span& s : in.detail.standstills) {
      const double from = std::max(plot.x(s.from), a.x), to = std::min(plot.x(s.to), a.right());
      if (to <= a.x || from >= a.right()) continue;
      on.begin_group(
          fmt::format("known to stand still: {} to {}", format_day(s.from, in.zone), format_day(s.to, in.zone)));
      // Its edge keeps a short one in sight, and no wider than it is where the time is spread out.
      on.box({from, a.bottom() - 6, to - from, 4}, ink::kQuiet, Stroke{ink::kQuiet, 2});
      on.end_group();
    }
    const bool stood = std::any_of(in.detail.standstills.begin(), in.detail.standstills.end(),
                                   [&](const Span& s) { return plot.x(s.to) > a.x && plot.x(s.from) < a.right(); });
    if (stood) plot.right_label(a.bottom() - 4, "grey bar: stood still", ink::kQuiet);
    if (line.empty() && cycle_line.empty()) {
      plot.notice("no level, refill or counter reading tells", 0.75);
    }
    plot.keep_clear(line);
    plot.keep_clear(cycle_line);
    plot.keep_clear({{a.x, plot.y(1)}, {a.right(), plot.y(1)}});
    if (shift != nullptr) {
      label_onset(plot, plot.x(shift->began.estimate), "began about " + format_day(shift->began.estimate, in.zone));
    }
    const auto off = [](const Estimate& e) { return e.high < 1 - kRatioMargin || e.low > 1 + kRatioMargin; };
    if (r.delivery_ratio && !line.empty()) {
      plot.right_label(line.back().y, "from the reservoir " + ratio_text(*r.delivery_ratio),
                       off(*r.delivery_ratio) ? ink::kWarn : ink::kMain, true);
    }
    if (r.cycle_ratio && !cycle_line.empty()) {
      plot.right_label(cycle_line.back().y, "cycles " + ratio_text(*r.cycle_ratio),
                       off(*r.cycle_ratio) ? ink::kWarn : ink::kOther, true);
    }
  };
  return p;
}

Panel alarm_panel(const std::vector<AlarmEpisode>& alarms, const TimeAxis& axis) {
  Panel p;
  p.title = "Alarms";
  p.unit = "from raising to clearing";
  p.has_y_axis = false;
  p.figures.heads = {"raised", "alarm", "cleared", "times"};
  std::vector<AlarmKind> kinds;
  std::size_t standing = 0;
  for (const AlarmEpisode& e : alarms) {
    if (std::find(kinds.begin(), kinds.end(), e.alarm) == kinds.end()) kinds.push_back(e.alarm);
    if (!e.cleared) ++standing;
    p.figures.rows.push_back({format_day(e.raised, axis.zone), spoken(name_of(e.alarm)),
                              e.cleared ? format_day(*e.cleared, axis.zone) : "standing",
                              std::to_string(e.records.size())});
  }
  std::sort(kinds.begin(), kinds.end());
  p.height = std::max(1.0, static_cast<double>(kinds.size())) * 17 + 4;
  p.story =
      fmt::format("{} alarm{}{}.", alarms.empty() ? "No" : std::to_string(alarms.size()), alarms.size() == 1 ? "" : "s",
                  standing > 0 ? fmt::format(", {} still standing", standing) : "");
  p.draw = [alarms, kinds, axis](Plot& plot) {
    Drawing& on = plot.on();
    const Box& a = plot.area();
    for (std::size_t row = 0; row < kinds.size(); ++row) {
      const double y = a.y + 3 + 17 * static_cast<double>(row) + 7;
      on.line({a.x, y}, {a.right(), y}, {ink::kGrid, 0.8, Dash::solid});
      std::size_t n = 0;
      bool stands = false;
      for (const AlarmEpisode& e : alarms) {
        if (e.alarm != kinds[row]) continue;
        ++n;
        const double from = plot.x(e.raised);
        if (from > a.right()) continue;
        const double to = std::min(a.right(), e.cleared ? plot.x(*e.cleared) : a.right());
        if (plot.axis().is_part && to < a.x) continue;
        on.begin_group(fmt::format("{}: raised {}, {}", spoken(name_of(e.alarm)), format_day(e.raised, axis.zone),
                                   e.cleared ? "cleared " + format_day(*e.cleared, axis.zone) : "standing"));
        const Colour colour = e.cleared ? ink::kOther : ink::kWarn;
        const double left = std::max(from, a.x);
        on.box({left, y - 4, std::max(0.0, to - left), 8}, colour, Stroke{colour, 2});
        on.end_group();
        stands |= !e.cleared;
      }
      plot.right_label(y, fmt::format("{}: {}{}", spoken(name_of(kinds[row])), n, stands ? ", standing" : ""),
                       stands ? ink::kWarn : ink::kText, stands);
    }
    if (kinds.empty()) plot.notice("none recorded");
  };
  return p;
}

Panel alarm_rate_panel(const std::vector<AlarmEpisode>& alarms, const std::optional<AlarmRateResult>& rate,
                       const HoursCurve& hours, const TimeAxis& axis) {
  Panel p;
  p.title = "Alarm rate";
  p.unit = "alarms per 1000 running hours, by quarter";
  p.height = 60;
  p.figures.heads = {"quarter from", "alarms", "running h", "per 1000 h"};
  struct Quarter {
    Instant from{}, to{};
    std::size_t n = 0;
    double run_h = 0;
    [[nodiscard]] double per_1000h() const { return run_h > 0 ? 1000 * static_cast<double>(n) / run_h : 0; }
  };
  std::vector<Quarter> quarters;
  if (!hours.is_empty()) {
    Instant from = quarter_of(std::max(axis.from, hours.first()), axis.zone, 0);
    while (from < axis.to) {
      const Instant to = quarter_of(from, axis.zone, 1);
      Quarter q{std::max(from, hours.first()), std::min(to, axis.to), 0, 0};
      for (const AlarmEpisode& e : alarms) q.n += e.raised >= q.from && e.raised < q.to ? 1U : 0U;
      q.run_h = q.to > q.from ? hours.run_h(q.from, q.to) : 0;
      quarters.push_back(q);
      from = to;
    }
  }
  double top = rate ? rate->per_1000h.high : 0;
  for (const Quarter& q : quarters) {
    // In a few hours one alarm looks like a flood: such a quarter is told in the table, not drawn.
    if (q.run_h >= 50) top = std::max(top, q.per_1000h());
    p.figures.rows.push_back({format_day(q.from, axis.zone), std::to_string(q.n), format_figure(q.run_h, 4),
                              q.run_h >= 50 ? format_figure(q.per_1000h(), 2) : "-"});
  }
  p.y_high = top > 0 ? 1.15 * top : 1;
  p.story = rate ? fmt::format("{} alarms in {} running hours since the last work on it: {} per 1000 h.",
                               rate->episodes, format_figure(rate->run_h, 4), format_estimate(rate->per_1000h, 2))
                 : fmt::format("{} alarms of several subjects.", alarms.size());
  p.draw = [quarters, rate](Plot& plot) {
    Drawing& on = plot.on();
    const Box& a = plot.area();
    for (const Quarter& q : quarters) {
      if (q.run_h < 50 || q.n == 0) continue;
      const double left = std::max(a.x, plot.x(q.from)), right = std::min(a.right(), plot.x(q.to));
      if (right <= left) continue;
      on.begin_group(fmt::format("{} alarms in {} h", q.n, format_figure(q.run_h, 4)));
      on.box({left, plot.y(q.per_1000h()), right - left, a.bottom() - plot.y(q.per_1000h())}, ink::kMainEdge,
             Stroke{ink::kPaper, 1.5});
      on.end_group();
    }
    if (rate) {
      const double y = plot.y(rate->per_1000h.value);
      on.line({a.x, y}, {a.right(), y}, {ink::kText, 1.1, Dash::dashed});
      plot.right_label(y, "since last work " + format_estimate(rate->per_1000h, 2),
                       rate->rise ? ink::kWarn : ink::kText, rate->rise.has_value());
    }
  };
  return p;
}

Panel hours_panel(const ShaftChartInput& in) {
  Panel p;
  p.title = "Running";
  p.unit = "hours a day, by month";
  p.height = 46;
  p.y_high = 24;
  p.figures.heads = {"month from", "running h", "h a day"};
  const HoursCurve& hours = in.detail.hours;
  struct Month {
    Instant from{}, to{};
    double run_h = 0, per_day = 0;
  };
  std::vector<Month> months;
  if (!hours.is_empty() && hours.points().size() > 1) {
    const Instant end = std::min(in.as_of, hours.last());
    const auto begin = std::chrono::floor<std::chrono::days>(hours.first() + in.zone.offset_at(hours.first()));
    const std::chrono::year_month_day d{begin};
    int m = static_cast<int>(d.year()) * 12 + static_cast<int>(static_cast<unsigned>(d.month())) - 1;
    const auto begin_of = [&](int month) {
      const std::chrono::local_seconds local{
          std::chrono::local_days{std::chrono::year{month / 12} /
                                  std::chrono::month{static_cast<unsigned>(month % 12 + 1)} / std::chrono::day{1}}};
      return Instant{local.time_since_epoch()} - in.zone.offset_of_local(local);
    };
    for (; begin_of(m) < end; ++m) {
      const Instant from = std::max(begin_of(m), hours.first()), to = std::min(begin_of(m + 1), end);
      if (to <= from) continue;
      const double run = hours.run_h(from, to);
      months.push_back({from, to, run, run / std::max(0.04, days_between(from, to))});
      p.figures.rows.push_back(
          {format_day(from, in.zone), format_figure(run, 4), format_figure(months.back().per_day, 2)});
    }
    p.story = fmt::format("{} running hours since {}", format_figure(hours.hours_at(end), 5),
                          format_day(hours.first(), in.zone));
    p.story +=
        in.state.use_h_per_day ? fmt::format("; of late {} h a day.", format_figure(*in.state.use_h_per_day, 2)) : ".";
  } else {
    p.story = "The running hours are not known.";
  }
  p.draw = [in, months](Plot& plot) {
    Drawing& on = plot.on();
    const Box& a = plot.area();
    std::vector<Place> outline;
    for (const Month& m : months) {
      outline.push_back({plot.x(m.from), plot.y(m.per_day)});
      outline.push_back({plot.x(m.to), plot.y(m.per_day)});
    }
    if (outline.empty()) {
      plot.notice("not known");
      return;
    }
    std::vector<Place> filled = outline;
    filled.push_back({outline.back().x, a.bottom()});
    filled.push_back({outline.front().x, a.bottom()});
    on.area(std::move(filled), ink::kMainBand);
    on.polyline(outline, {ink::kMain, 1.1, Dash::solid});
    if (in.state.use_h_per_day) {
      plot.right_label(outline.back().y, fmt::format("of late {} h a day", format_figure(*in.state.use_h_per_day, 2)),
                       ink::kMain, true);
    }
    if (in.detail.hours.last() < in.as_of - std::chrono::days{30}) {
      plot.right_label(a.bottom() - 6, "last reading " + format_day(in.detail.hours.last(), in.zone), ink::kWarn);
    }
  };
  return p;
}

Panel events_panel(const ShaftChartInput& in) {
  Panel p;
  p.title = "Work and inspections";
  p.has_y_axis = false;
  p.figures.heads = {"time", "what", "on"};
  struct Event {
    Instant at{};
    std::string text;
    Colour colour;
    Shape shape{};
  };
  std::vector<Event> events;
  const auto is_feeding = [&](LubricatorId l) {
    return std::find(in.detail.lubricators.begin(), in.detail.lubricators.end(), l) != in.detail.lubricators.end();
  };
  for (const Logged<Work>& w : in.log.work) {
    const bool is_own = w.shaft == in.shaft.id;
    const bool is_of_lubricator = !w.shaft.is_set() && w.lubricator.is_set() && is_feeding(w.lubricator);
    const bool is_of_vessel = !w.shaft.is_set() && !w.lubricator.is_set();
    if (w.at > in.as_of || !(is_own || is_of_lubricator || is_of_vessel)) continue;
    const bool is_blow = w.what.work == WorkKind::contact;
    events.push_back({w.at, spoken(name_of(w.what.work)), is_blow ? ink::kWarn : ink::kText,
                      is_own             ? Shape::triangle_down
                      : is_of_lubricator ? Shape::square
                                         : Shape::diamond});
    p.figures.rows.push_back({format_day(w.at, in.zone), spoken(name_of(w.what.work)),
                              is_own             ? "shaft"
                              : is_of_lubricator ? "lubricator"
                                                 : "vessel"});
  }
  for (const Logged<Inspection>& i : in.log.inspections) {
    if (i.shaft != in.shaft.id || i.at > in.as_of) continue;
    std::string what;
    const auto add = [&](const std::string& text) { what += (what.empty() ? "" : ", ") + text; };
    if (i.what.water_ppm) add("water " + format_figure(static_cast<double>(*i.what.water_ppm) / 1e4, 2) + " %");
    if (i.what.iron_ppm_milli)
      add("iron " + format_figure(static_cast<double>(*i.what.iron_ppm_milli) / 1e3, 3) + " ppm");
    if (i.what.clearance_um)
      add("clearance " + format_figure(static_cast<double>(*i.what.clearance_um) / 1e3, 3) + " mm");
    events.push_back({i.at, what, ink::kMain, Shape::ring});
    p.figures.rows.push_back({format_day(i.at, in.zone), what, "inspection"});
  }
  std::stable_sort(events.begin(), events.end(), [](const Event& a, const Event& b) { return a.at < b.at; });
  std::stable_sort(p.figures.rows.begin(), p.figures.rows.end(),
                   [](const auto& a, const auto& b) { return a[0] < b[0]; });
  p.story = events.empty()
                ? "None recorded."
                : fmt::format("{} recorded, the last on {}.", events.size(), format_day(events.back().at, in.zone));
  if (!events.empty()) {
    p.key = {{Shape::triangle_down, ink::kText, "work on the shaft"},
             {Shape::square, ink::kText, "on the lubricator"},
             {Shape::diamond, ink::kText, "of the whole ship"},
             {Shape::ring, ink::kMain, "inspection"}};
    std::erase_if(p.key, [&](const KeyMark& k) {
      return std::none_of(events.begin(), events.end(), [&](const Event& e) { return e.shape == k.shape; });
    });
  }
  constexpr double kRow = 14;
  constexpr std::size_t kMostRows = 6;
  p.height = kRow * static_cast<double>(std::clamp<std::size_t>(events.size(), 1, kMostRows)) + 4;
  p.draw = [events](Plot& plot) {
    Drawing& on = plot.on();
    const Box& a = plot.area();
    std::vector<std::vector<Box>> rows(static_cast<std::size_t>(a.height / kRow));
    std::size_t untold = 0;
    for (const Event& e : events) {
      const double x = plot.x(e.at);
      if (x < a.x || x > a.right()) continue;
      const double width = 12 + text_width(e.text, 10);
      const bool is_left = x + width > a.right();
      bool is_told = false;
      for (std::size_t r = 0; r < rows.size() && !is_told; ++r) {
        const Box box{is_left ? x - width : x - 5, a.y + kRow * static_cast<double>(r), width + 5, kRow - 1};
        if (std::any_of(rows[r].begin(), rows[r].end(), [&](const Box& b) { return overlaps(b, box); })) continue;
        rows[r].push_back(box);
        on.mark({x, box.y + 8}, e.shape, 7, e.colour);
        on.begin_label(x, x);
        on.text({is_left ? x - 8 : x + 7, box.y + 11.5}, e.text,
                {10, e.colour, is_left ? Anchor::end : Anchor::start, e.colour == ink::kWarn});
        on.end_label();
        is_told = true;
      }
      if (!is_told) ++untold;
    }
    if (untold > 0) plot.right_label(a.bottom() - 6, fmt::format("and {} more in the table", untold), ink::kQuiet);
  };
  return p;
}

}  // namespace shaftlog
