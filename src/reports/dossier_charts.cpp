#include "reports/dossier_charts.hpp"

#include "reports/charts/shaft_charts.hpp"

#include <algorithm>

#include <fmt/format.h>

namespace shaftlog {
namespace {

// What changed, a row a mark in the order of the list: its range, and the likely moment within it.
Panel changes_panel(const Dossier& d, const DossierWords& words) {
  struct Row {
    When when;
    std::string text;
    Shape shape{};
    Colour colour;
  };
  std::vector<Row> rows;
  Panel p;
  p.title = "What changed, in order";
  p.has_y_axis = false;
  p.figures.heads = {"between", "about", "role", "what"};
  for (const Mark& m : d.marks) {
    const Shape shape = m.role == MarkRole::change  ? Shape::diamond
                        : m.role == MarkRole::event ? Shape::square
                                                    : Shape::triangle_down;
    rows.push_back({m.when, m.role == MarkRole::event ? m.text : m.channel, shape,
                    m.role == MarkRole::change ? ink::kWarn : ink::kText});
    p.figures.rows.push_back(
        {words.range(m.when), words.day(m.when.estimate), std::string{name_of(m.role)}, m.channel + ": " + m.text});
  }
  p.story = rows.empty() ? "Nothing found." : "";
  for (const Mark& m : d.marks)
    if (m.role != MarkRole::event)
      p.story += fmt::format("{}{}: {}", p.story.empty() ? "" : "; ", m.channel, words.range(m.when));
  if (!p.story.empty() && !p.story.ends_with('.')) p.story += '.';
  p.key = {{Shape::diamond, ink::kWarn, "change"},
           {Shape::triangle_down, ink::kText, "what it led to, or showed"},
           {Shape::square, ink::kText, "work"}};
  constexpr double kRow = 17;
  const auto n = static_cast<double>(std::max<std::size_t>(rows.size(), 1));
  p.height = kRow * n + 4;
  p.y_high = n;
  p.draw = [rows, n](Plot& plot) {
    const Box& area = plot.area();
    for (std::size_t i = 0; i < rows.size(); ++i) {
      const Row& r = rows[i];
      const double y = plot.y(n - static_cast<double>(i) - 0.5);
      const double left = plot.x(r.when.low), right = plot.x(r.when.high), middle = plot.x(r.when.estimate);
      if (right < area.x || left > area.right()) continue;
      plot.on().begin_group(typeset(r.text));
      if (right > left) {
        plot.on().line({left, y}, {right, y}, Stroke{r.colour, 2.5});
        for (const double x : {left, right}) plot.on().line({x, y - 4}, {x, y + 4}, Stroke{r.colour, 1.5});
      }
      plot.on().mark({middle, y}, r.shape, 8, r.colour);
      plot.on().end_group();
      // Beside the bar, on the side where there is room; on the bar where there is none.
      const double from = std::max(left, area.x), to = std::min(right, area.right());
      TextItem label{{to + 8, y + 3.5}, typeset(r.text), {10.5, r.colour}};
      const double width = box_of(label).width;
      const bool is_right = to < area.right() - 150 || to + 8 + width < area.right();
      if (!is_right && from - 8 - width > area.x) {
        label.at.x = from - 8;
        label.look.anchor = Anchor::end;
      }
      const bool is_on_bar = !is_right && label.look.anchor == Anchor::start;
      if (is_on_bar) label.at.x = std::max(area.x + 4, area.right() - 8 - width);
      plot.on().begin_label(left, right);
      if (is_on_bar) plot.on().box(box_of(label), ink::kPaper);
      plot.on().text(label.at, label.text, label.look);
      plot.on().end_label();
    }
  };
  return p;
}

}  // namespace

std::vector<ChartBlock> dossier_charts(const DossierView& view, const DossierWords& words) {
  const Dossier& d = view.dossier;
  const VesselLog& log = view.log;
  const auto shaft =
      std::find_if(log.shafts.begin(), log.shafts.end(), [&](const Shaft& s) { return s.id == d.shaft; });
  if (shaft == log.shafts.end()) return {};
  ShaftDetail shown = d.detail;
  shown.fill.points.clear();  // each bearing's fill as it is told at the end of its own life
  for (const BearingLife& l : d.lives) shown.fill.points.insert(shown.fill.points.end(), l.fill.begin(), l.fill.end());
  const ShaftChartInput in{log, *shaft, d.state, shown, d.as_of, words.zone()};
  std::vector<LubricatorChartInput> feeding;
  for (const LubricatorDetail& l : d.lubricators)
    for (const Lubricator& row : log.lubricators)
      if (row.id == l.lubricator) feeding.push_back({log, row, l, d.digest, d.as_of, words.zone()});

  std::vector<Panel> panels = shaft_panels(in, feeding);
  for (Panel& p : panels) {
    // What the charts say of now is of the bearing in place; the dossier is about all of them.
    if (p.title != "Cavity" || d.lives.size() < 2) continue;
    p.story = "Each bearing's fill as its own records tell it.";
    for (const BearingLife& l : d.lives)
      if (l.starved_h)
        p.story +=
            fmt::format(" {} to {}: {:.0f} running hours below the reserve ({:.0f} to {:.0f}).", words.day(l.from),
                        words.day(l.to), l.starved_h->best, l.starved_h->least, l.starved_h->most);
  }
  if (!d.marks.empty()) panels.insert(panels.begin(), changes_panel(d, words));
  // As many panels on one sheet as a page holds.
  constexpr double kMostHeight = 820, kAround = 34;
  std::vector<ChartBlock> out;
  const TimeAxis axis = part_of(time_axis_of(in), view.shown);
  for (std::size_t from = 0; from < panels.size();) {
    std::size_t to = from;
    for (double height = 60; to < panels.size() && (to == from || height + panels[to].height + kAround <= kMostHeight);
         ++to)
      height += panels[to].height + kAround;
    ChartBlock block;
    block.chart =
        stacked({panels.begin() + static_cast<std::ptrdiff_t>(from), panels.begin() + static_cast<std::ptrdiff_t>(to)},
                axis, fmt::format("All that is known of {} over time", words.title()));
    for (; from < to; ++from)
      if (!panels[from].figures.rows.empty()) block.figures.emplace_back(panels[from].title, panels[from].figures);
    out.push_back(std::move(block));
  }
  ChartBlock sum;
  sum.chart = grease_against_hours(in);
  if (!sum.chart.figures.rows.empty()) sum.figures.emplace_back(sum.chart.title, sum.chart.figures);
  out.push_back(std::move(sum));
  return out;
}

}  // namespace shaftlog
