#include "reports/charts/shaft_charts.hpp"

#include "reports/charts/text_width.hpp"
#include "reports/format.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

namespace shaftlog {
namespace {

const Stroke kMainLine{ink::kMain, 1.8, Dash::solid};
const Stroke kBaseLine{ink::kText, 1.1, Dash::dashed};

std::string estimate_text(const Estimate& e, std::string_view unit, int digits = 2) {
  return typeset(fmt::format("{}{}{} ({} to {})", format_figure(e.value, digits), unit.empty() ? "" : " ", unit,
                             format_figure(e.low, digits), format_figure(e.high, digits)));
}

void take_earliest(std::optional<Instant>& first, Instant t) {
  if (!first || t < *first) first = t;
}

// A little air at both ends, so that the first and the last mark stand free.
TimeAxis axis_from(std::optional<Instant> first, Instant as_of, const Zone& zone) {
  const Instant from = std::min(first.value_or(as_of), as_of - std::chrono::days{14});
  const auto air = std::chrono::seconds{static_cast<std::int64_t>(0.012 * static_cast<double>((as_of - from).count()))};
  return {from - air, as_of + air, zone};
}

/// A greasing of the shaft with what its interval tells, in the order of time.
struct GreasingPoint {
  const Logged<Greasing>* record = nullptr;
  const GreasingInterval* interval = nullptr;  ///< null: the first, or one that was left out of the sums
  std::optional<double> taken_cm3;
};

std::vector<GreasingPoint> greasings_of(const ShaftChartInput& in) {
  std::vector<GreasingPoint> out;
  for (const Logged<Greasing>& g : in.log.greasings) {
    if (g.shaft != in.shaft.id || g.at > in.as_of) continue;
    GreasingPoint p;
    p.record = &g;
    if (g.what.amount && g.what.amount->volume) p.taken_cm3 = in_cm3(*g.what.amount->volume);
    for (const GreasingInterval& i : in.detail.history.intervals) {
      if (i.id == g.id) p.interval = &i;
    }
    out.push_back(p);
  }
  return out;
}

std::vector<KeyMark> key_of(const std::vector<GreasingPoint>& points) {
  std::vector<KeyMark> key;
  for (const Ended e : {Ended::pressure, Ended::limit, Ended::stopped, Ended::packed, Ended::not_done}) {
    const bool is_used =
        std::any_of(points.begin(), points.end(), [&](const GreasingPoint& p) { return p.record->what.ended == e; });
    if (is_used) key.push_back(mark_of(e));
  }
  return key;
}

std::string greasing_words(const ShaftChartInput& in, const GreasingPoint& p) {
  std::string text = format_day(p.record->at, in.zone) + ": ";
  text += p.taken_cm3 ? format_figure(*p.taken_cm3) + " cm3, " : "";
  text += spoken(name_of(p.record->what.ended));
  if (p.interval != nullptr && p.interval->is_doubtful) text += ", doubtful";
  return typeset(text);
}

void draw_mark(Drawing& on, Place at, const GreasingPoint& p, const ShaftChartInput& in, double size = 7.5) {
  const KeyMark mark = mark_of(p.record->what.ended);
  on.begin_group(greasing_words(in, p));
  on.mark(at, mark.shape, size, mark.colour);
  on.end_group();
}

const WashoutShift* shift_of(const ShaftChartInput& in) {
  if (in.findings != nullptr) {
    const bool is_found = std::any_of(in.findings->begin(), in.findings->end(), [&](const Finding& f) {
      return f.shaft == in.shaft.id && (f.kind == FindingKind::abnormal_washout || f.kind == FindingKind::seal_wear);
    });
    if (!is_found) return nullptr;
  }
  const WashoutResult& w = in.detail.washout;
  if (w.step) return &*w.step;
  return w.wear ? &*w.wear : nullptr;
}

/// Of the grease taken at back-pressure.
const Finding* fall_of(const ShaftChartInput& in) {
  if (in.findings == nullptr) return nullptr;
  const auto it = std::find_if(in.findings->begin(), in.findings->end(), [&](const Finding& f) {
    return f.kind == FindingKind::less_grease_taken && f.is_about(in.shaft.id);
  });
  return it == in.findings->end() ? nullptr : &*it;
}

std::string shift_text(const WashoutResult& w) {
  if (w.step) return estimate_text(w.step->factor, "") + " times the baseline";
  if (w.wear) return "climbs " + estimate_text(w.wear->slope_pct_per_1000h, "%") + " a 1000 h";
  return "";
}

std::string washout_story(const ShaftChartInput& in) {
  const WashoutResult& w = in.detail.washout;
  if (!w.washout_cm3_per_h || w.steps.empty()) return "the records do not tell yet what the cavity loses.";
  if (const Finding* f = fall_of(in); f != nullptr && f->began)
    return fmt::format(
        "Since about {} ({} to {}) it takes a fraction of the grease it took. What it loses is known only if the "
        "grease reaches the bearing.",
        format_day(f->began->estimate, in.zone), format_day(f->began->low, in.zone),
        format_day(f->began->high, in.zone));
  std::string text = "The cavity loses " + estimate_text(*w.washout_cm3_per_h, "cm3/h");
  if (w.is_upper_bound) text += " at most, since the dose covered the loss throughout";
  if (w.is_lower_bound) text += " at least, since it was found empty each time";
  if (const WashoutShift* s = shift_of(in); s != nullptr) {
    text += fmt::format("; it {}{}, since about {} ({} to {})", w.step ? "is " : "", shift_text(w),
                        format_day(s->began.estimate, in.zone), format_day(s->began.low, in.zone),
                        format_day(s->began.high, in.zone));
  } else if (w.high) {
    text += "; high from the start, " + estimate_text(w.high->factor, "") + " times its sisters'";
  } else {
    text += w.step || w.wear ? "; it rose, which the review lays to another cause than the seal"
                             : "; no lasting change is found";
  }
  return typeset(text + fmt::format(". {} greasings measured it, {} only bound it.", w.exact, w.censored));
}

}  // namespace

KeyMark mark_of(Ended ended) {
  switch (ended) {
    case Ended::pressure:
      return {Shape::disc, ink::kMain, "back-pressure reached: full"};
    case Ended::limit:
      return {Shape::triangle_up, ink::kWarn, "limit reached: took at least this"};
    case Ended::stopped:
      return {Shape::ring, ink::kMain, "stopped before full"};
    case Ended::packed:
      return {Shape::square, ink::kText, "packed after work"};
    case Ended::not_done:
      return {Shape::cross, ink::kWarn, "not done"};
  }
  return {};
}

TimeAxis time_axis_of(const ShaftChartInput& in) {
  std::optional<Instant> first;
  if (!in.detail.hours.is_empty()) take_earliest(first, in.detail.hours.first());
  for (const Logged<Greasing>& g : in.log.greasings) {
    if (g.shaft == in.shaft.id) take_earliest(first, g.at);
  }
  return axis_from(first, in.as_of, in.zone);
}

Panel washout_panel(const ShaftChartInput& in) {
  Panel p;
  p.title = "Washout";
  p.unit = typeset("cm3 lost per running hour, 90 % band");
  p.height = 140;
  p.story = washout_story(in);
  p.figures.heads = {"greasing",
                     typeset("taken cm3"),
                     "ended",
                     "running h",
                     typeset("since last full cm3/h"),
                     typeset("known then cm3/h"),
                     typeset("expected cm3")};
  const std::vector<GreasingPoint> points = greasings_of(in);
  const std::vector<WashoutStep>& steps = in.detail.washout.steps;

  /// What one interval alone says [cm3/h].
  struct Single {
    GreasingPoint point;
    double rate = 0;
    bool is_most = false;  ///< the doses covered the loss: it is at most this
  };
  std::vector<Single> singles;
  bool has_most = false;
  double top = 0;
  for (const WashoutStep& s : steps) top = std::max(top, s.washout_cm3_per_h.high);
  const double most = 2.5 * (top > 0 ? top : 1);
  // Counted from the last full cavity: what a broken-off greasing left open goes with the next one.
  struct Since {
    double run_h = 0, taken = 0, delivered = 0;
  } since;
  constexpr double kLeastRun = 24;  // fewer hours say nothing: the mark for "full" is not that exact
  for (const GreasingPoint& g : points) {
    std::string single = "-", known = "-", expected = "-";
    if (g.interval != nullptr && g.taken_cm3 && g.record->what.ended != Ended::packed) {
      since.run_h += g.interval->run_h;
      since.taken += *g.taken_cm3;
      since.delivered += g.interval->delivered_cm3;
      const bool is_least = g.record->what.ended == Ended::limit || g.record->what.ended == Ended::stopped;
      if (since.run_h >= kLeastRun) {
        const double rate = (since.taken + since.delivered) / since.run_h;
        const bool is_most = since.delivered > 0 && since.taken < 1.645 * in.detail.prior.fill_sd_cm3;
        singles.push_back({g, rate, is_most});
        has_most |= is_most;
        top = std::max(top, std::min(rate, most));
        single = (is_most ? "at most " : is_least ? "at least " : "") + format_figure(rate, 2);
      }
    }
    const Ended ended = g.record->what.ended;
    if (ended == Ended::pressure || ended == Ended::packed) since = {};
    for (const WashoutStep& s : steps) {
      if (s.record != g.record->id) continue;
      known = format_estimate(s.washout_cm3_per_h, 2);
      expected = format_estimate(Estimate{s.expected_cm3, s.expected_low, s.expected_high}, 2);
    }
    p.figures.rows.push_back({format_day(g.record->at, in.zone), g.taken_cm3 ? format_figure(*g.taken_cm3) : "-",
                              spoken(name_of(g.record->what.ended)),
                              g.interval != nullptr ? format_figure(g.interval->run_h, 4) : "-", single, known,
                              expected});
  }
  p.y_high = top > 0 ? 1.12 * top : 1;
  p.key = key_of(points);
  if (has_most) p.key.push_back({Shape::triangle_down, ink::kQuiet, "dose covered the loss: at most this"});

  p.draw = [in, singles, steps](Plot& plot) {
    Drawing& on = plot.on();
    const WashoutResult& w = in.detail.washout;
    if (steps.empty()) {
      plot.notice("no greasing after a first one with running hours between: nothing can be told yet");
      return;
    }
    on.begin_clip({plot.area().x, plot.area().y - 6, plot.area().width, plot.area().height + 6});
    if (const WashoutShift* s = shift_of(in); s != nullptr) {
      draw_onset(plot, plot.x(s->began.low), plot.x(s->began.estimate), plot.x(s->began.high));
    }
    std::vector<double> x, low, high;
    std::vector<Place> line;
    for (const WashoutStep& s : steps) {
      x.push_back(plot.x(s.at));
      low.push_back(plot.y(s.washout_cm3_per_h.low));
      high.push_back(plot.y(s.washout_cm3_per_h.high));
      line.push_back({x.back(), plot.y(s.washout_cm3_per_h.value)});
    }
    // What is known after the last greasing holds until now.
    x.push_back(plot.x(in.as_of));
    low.push_back(low.back());
    high.push_back(high.back());
    line.push_back({x.back(), line.back().y});
    draw_band(on, x, low, high, ink::kMainBand, ink::kMainEdge);
    if (w.baseline_cm3_per_h) {
      const double y = plot.y(w.baseline_cm3_per_h->value);
      on.line({plot.area().x, y}, {plot.area().right(), y}, kBaseLine);
    }
    on.polyline(line, kMainLine);
    on.end_clip();
    for (const Single& s : singles) {
      const double px = plot.x(s.point.record->at), py = std::max(plot.y(s.rate), plot.area().y + 4);
      if (s.is_most) {
        on.begin_group(greasing_words(in, s.point));
        on.mark({px, py}, Shape::triangle_down, 6, ink::kQuiet);
        on.end_group();
      } else {
        draw_mark(on, {px, py}, s.point, in);
      }
      plot.keep_clear(Box{px - 5, py - 5, 10, 10});
      if (plot.y(s.rate) < plot.area().y - 1)
        plot.label({px, py}, format_figure(s.rate, 2) + " \xE2\x86\x91", ink::kText);
    }
    plot.keep_clear(line);
    if (const WashoutShift* s = shift_of(in); s != nullptr) {
      label_onset(plot, plot.x(s->began.estimate), "began about " + format_day(s->began.estimate, in.zone));
    }
    if (w.washout_cm3_per_h) {
      const bool is_changed = shift_of(in) != nullptr;
      std::string text = "now " + estimate_text(*w.washout_cm3_per_h, "");
      if (is_changed) text += ", " + shift_text(w);
      plot.right_label(plot.y(w.washout_cm3_per_h->value), text, is_changed ? ink::kWarn : ink::kMain, true);
    }
    if (w.baseline_cm3_per_h) {
      plot.right_label(plot.y(w.baseline_cm3_per_h->value), "baseline " + format_figure(w.baseline_cm3_per_h->value, 2),
                       ink::kText);
    }
  };
  return p;
}

Panel fill_panel(const ShaftChartInput& in) {
  Panel p;
  p.title = "Cavity";
  p.unit = "how full [%], 90 % band";
  p.height = 115;
  p.y_high = 104;
  const FillResult& f = in.detail.fill;
  if (f.fill_pct) {
    p.story = fmt::format("The cavity is {} % full ({} to {}) now", format_figure(f.fill_pct->value, 2),
                          format_figure(f.fill_pct->low, 2), format_figure(f.fill_pct->high, 2));
    if (f.starved_h && f.starved_h->most >= 1) {
      p.story += fmt::format(
          "; since the first record or the last new bearing the shaft has run {} h ({} to {}) below the reserve of {} "
          "%",
          format_figure(f.starved_h->best, 2), format_figure(f.starved_h->least, 2),
          format_figure(f.starved_h->most, 2), format_figure(in.detail.reserve_pct, 3));
    } else {
      p.story +=
          fmt::format("; no running below the reserve of {} % is seen since the first record or the last new bearing",
                      format_figure(in.detail.reserve_pct, 3));
    }
    if (f.hours_to_reserve) {
      p.story += fmt::format("; the reserve is met after {} running hours ({} to {}) from now",
                             format_figure(f.hours_to_reserve->value, 2), format_figure(f.hours_to_reserve->low, 2),
                             format_figure(f.hours_to_reserve->high, 2));
    }
    p.story += '.';
  } else {
    p.story = in.detail.history.cavity_cm3
                  ? "How full the cavity is now is not known."
                  : "The capacity of the cavity is not registered: how full it is cannot be told.";
  }
  p.figures.heads = {"time", "fill %", "5 %", "95 %", ""};
  // Where nothing vouches for the doses any more, the curve ends at the last greasing.
  std::vector<FillPoint> shown = f.points;
  if (!f.fill_pct) {
    while (!shown.empty() && !shown.back().is_greasing) shown.pop_back();
  }
  for (const FillPoint& x : shown) {
    p.figures.rows.push_back({format_day(x.at, in.zone), format_figure(x.fill_pct.value, 3),
                              format_figure(x.fill_pct.low, 3), format_figure(x.fill_pct.high, 3),
                              x.is_greasing ? "after the greasing" : ""});
  }
  const std::vector<GreasingPoint> points = greasings_of(in);
  p.key = key_of(points);
  p.draw = [in, shown, points](Plot& plot) {
    Drawing& on = plot.on();
    const double reserve = in.detail.reserve_pct;
    const double y_reserve = plot.y(reserve);
    on.box({plot.area().x, y_reserve, plot.area().width, plot.area().bottom() - y_reserve}, ink::kWarnBand);
    if (shown.empty()) {
      on.line({plot.area().x, y_reserve}, {plot.area().right(), y_reserve}, {ink::kWarn, 1.1, Dash::dash_dot});
      plot.right_label(y_reserve, fmt::format("reserve {} %", format_figure(reserve)), ink::kWarn);
      plot.notice(in.detail.history.cavity_cm3 ? "not known" : "cavity capacity not registered: not known");
      return;
    }
    std::vector<double> x, low, high;
    std::vector<Place> line;
    for (const FillPoint& f_point : shown) {
      x.push_back(plot.x(f_point.at));
      low.push_back(plot.y(f_point.fill_pct.low));
      high.push_back(plot.y(f_point.fill_pct.high));
      line.push_back({x.back(), plot.y(f_point.fill_pct.value)});
    }
    draw_band(on, x, low, high, ink::kMainBand, ink::kMainEdge);
    on.line({plot.area().x, y_reserve}, {plot.area().right(), y_reserve}, {ink::kWarn, 1.1, Dash::dash_dot});
    on.polyline(line, {ink::kMain, 1.5, Dash::solid});
    for (const GreasingPoint& g : points) draw_mark(on, {plot.x(g.record->at), plot.y(100) - 2}, g, in, 6.5);
    plot.right_label(y_reserve, fmt::format("reserve {} %", format_figure(reserve)), ink::kWarn);
    const auto& now = in.detail.fill.fill_pct;
    if (now) {
      const bool is_low = now->value < reserve;
      plot.right_label(plot.y(now->value), "now " + estimate_text(*now, "%"), is_low ? ink::kWarn : ink::kMain, true);
    } else {
      plot.right_label(plot.y(60), "now: not known", ink::kWarn, true);
    }
  };
  return p;
}

std::vector<GreaseSum> grease_sums(const ShaftChartInput& in) {
  std::vector<GreaseSum> out;
  const HoursCurve& hours = in.detail.hours;
  if (hours.is_empty()) return out;
  const std::optional<Estimate>& baseline = in.detail.washout.baseline_cm3_per_h;
  double total = 0;
  Estimate expected{};
  for (const GreasingPoint& g : greasings_of(in)) {
    const bool counts = g.interval != nullptr && g.record->what.ended != Ended::packed;
    if (counts && g.taken_cm3) total += *g.taken_cm3;
    if (counts && baseline) {
      const auto loss = [&](double rate) {
        return std::max(0.0, rate * g.interval->run_h - g.interval->delivered_cm3);
      };
      expected.value += loss(baseline->value);
      expected.low += loss(baseline->low);
      expected.high += loss(baseline->high);
    }
    out.push_back({g.record, hours.hours_at(g.record->at), g.taken_cm3, total, {}});
    if (baseline) out.back().expected_cm3 = expected;
  }
  return out;
}

Chart grease_against_hours(const ShaftChartInput& in) {
  Chart c;
  c.title = "Grease by hand against running hours";
  c.drawing = Drawing{kChartWidth, 0};
  c.figures.heads = {"greasing", "running h", typeset("taken cm3"), typeset("taken in all cm3"),
                     typeset("expected at the baseline, in all cm3")};
  const HoursCurve& hours = in.detail.hours;
  const WashoutResult& w = in.detail.washout;
  const std::vector<GreasingPoint> points = greasings_of(in);

  struct Sum {
    GreasingPoint point;
    double h = 0, taken = 0;
    std::optional<Estimate> expected;
  };
  std::vector<Sum> sums;
  double taken = 0;
  Estimate expected{};
  const bool is_known = w.baseline_cm3_per_h.has_value();
  for (const GreaseSum& g : grease_sums(in)) {
    const auto point =
        std::find_if(points.begin(), points.end(), [&](const GreasingPoint& p) { return p.record == g.record; });
    sums.push_back({*point, g.running_h, g.total_cm3, g.expected_cm3});
    taken = g.total_cm3;
    if (g.expected_cm3) expected = *g.expected_cm3;
    c.figures.rows.push_back({format_day(g.record->at, in.zone), format_figure(g.running_h, 5),
                              g.taken_cm3 ? format_figure(*g.taken_cm3) : "-", format_figure(g.total_cm3, 5),
                              is_known ? format_estimate(expected, 4) : "-"});
  }
  constexpr double kTop = 40, kHeight = 190;
  c.drawing.text({0, 12}, c.title, {12, ink::kText, Anchor::start, true});
  c.drawing.text({text_width(c.title, 12, true) + 8, 12}, typeset("added up, cm3"), {10.5, ink::kQuiet});
  const double to_h = hours.is_empty() ? 1 : std::max(1.0, hours.hours_at(in.as_of));
  const double from_h = sums.empty() ? 0 : std::min(0.0, sums.front().h);
  double top = 1;
  for (const Sum& s : sums) top = std::max({top, s.taken, s.expected ? s.expected->high : 0.0});
  Plot plot{c.drawing,
            {48, kTop, kChartWidth - 48 - 132, kHeight},
            from_h - 0.015 * (to_h - from_h),
            to_h + 0.015 * (to_h - from_h),
            0,
            1.08 * top};
  plot.y_axis(6);
  plot.frame();
  plot.x_axis("running hours", 7);
  if (sums.size() < 2) {
    plot.notice("fewer than two greasings with running hours");
    c.story = "Fewer than two greasings with running hours are recorded: nothing to compare yet.";
  } else {
    if (const WashoutShift* s = shift_of(in); s != nullptr) {
      draw_onset(plot, plot.x(hours.hours_at(s->began.low)), plot.x(hours.hours_at(s->began.estimate)),
                 plot.x(hours.hours_at(s->began.high)));
    }
    std::vector<double> x, low, high;
    std::vector<Place> line, base;
    for (const Sum& s : sums) {
      line.push_back({plot.x(s.h), plot.y(s.taken)});
      if (!s.expected) continue;
      x.push_back(plot.x(s.h));
      low.push_back(plot.y(s.expected->low));
      high.push_back(plot.y(s.expected->high));
      base.push_back({x.back(), plot.y(s.expected->value)});
    }
    if (x.size() > 1) draw_band(c.drawing, x, low, high, ink::kCalmBand, ink::kAxis);
    c.drawing.polyline(base, kBaseLine);
    c.drawing.polyline(line, {ink::kMain, 1.4, Dash::solid});
    for (const Sum& s : sums) {
      draw_mark(c.drawing, {plot.x(s.h), plot.y(s.taken)}, s.point, in);
      plot.keep_clear(Box{plot.x(s.h) - 5, plot.y(s.taken) - 5, 10, 10});
    }
    // Beginnings of years above the hours, so that the eye finds its way between the two scales.
    for (int year = 1970; year < 2100; ++year) {
      const Instant at{std::chrono::sys_days{std::chrono::year{year} / 1 / 1}};
      if (at <= hours.first() || at >= in.as_of) continue;
      const double px = plot.x(hours.hours_at(at));
      c.drawing.line({px, kTop - 4}, {px, kTop + 4}, {ink::kAxis, 0.8, Dash::solid});
      c.drawing.text({px, kTop - 8}, std::to_string(year), {10, ink::kQuiet, Anchor::middle});
    }
    plot.keep_clear(line);
    plot.keep_clear(base);
    if (const WashoutShift* s = shift_of(in); s != nullptr) {
      label_onset(plot, plot.x(hours.hours_at(s->began.estimate)),
                  "began about " + format_day(s->began.estimate, in.zone));
    }
    plot.right_label(line.back().y, typeset(fmt::format("taken {} cm3", format_figure(taken, 3))), ink::kMain, true);
    c.story = fmt::format("{} greasings took {} cm3 over {} running hours", sums.size() - 1, format_figure(taken, 3),
                          format_figure(sums.back().h - sums.front().h, 3));
    if (is_known) {
      plot.right_label(base.back().y,
                       typeset(fmt::format("expected at the baseline {} cm3", format_figure(expected.value, 3))),
                       ink::kText);
      c.story +=
          fmt::format("; at the baseline of {} cm3/h, less what the automatic system gave, {} were to be expected",
                      format_figure(w.baseline_cm3_per_h->value, 2), format_estimate(expected, 3));
    }
    c.story = typeset(c.story + '.');
  }
  plot.finish();
  const double key = draw_key(c.drawing, {48, kTop + kHeight + 36}, kChartWidth - 48, key_of(points));
  c.drawing.set_height(kTop + kHeight + 24 + key);
  return c;
}

std::vector<Panel> shaft_panels(const ShaftChartInput& in, const std::vector<LubricatorChartInput>& feeding) {
  std::vector<Panel> out{washout_panel(in), fill_panel(in)};
  std::vector<AlarmEpisode> alarms = in.detail.alarms;
  const TimeAxis axis = time_axis_of(in);
  for (const LubricatorChartInput& l : feeding) {
    out.push_back(delivery_panel(l));
    if (feeding.size() > 1) out.back().title += " by " + l.lubricator.code;
    alarms.insert(alarms.end(), l.detail.alarms.begin(), l.detail.alarms.end());
  }
  std::stable_sort(alarms.begin(), alarms.end(),
                   [](const AlarmEpisode& a, const AlarmEpisode& b) { return a.raised < b.raised; });
  if (!alarms.empty()) {
    // The rate is told where all alarms are of one subject: rates of two subjects do not add up.
    std::optional<AlarmRateResult> rate;
    if (in.detail.alarms.empty() && feeding.size() == 1) rate = feeding.front().detail.alarm_rate;
    if (in.detail.alarms.size() == alarms.size()) rate = in.detail.alarm_rate;
    out.push_back(alarm_panel(alarms, axis));
    if (alarms.size() > 2 && !in.detail.hours.is_empty()) {
      out.push_back(alarm_rate_panel(alarms, rate, in.detail.hours, axis));
    }
  }
  out.push_back(hours_panel(in));
  Panel events = events_panel(in);
  if (!events.figures.rows.empty()) out.push_back(std::move(events));
  return out;
}

}  // namespace shaftlog
