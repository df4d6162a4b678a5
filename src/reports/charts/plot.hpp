#pragma once

#include "analysis/types.hpp"
#include "reports/charts/drawing.hpp"
#include "reports/charts/palette.hpp"

#include <chrono>
#include <functional>
#include <optional>
#include <string>
#include <vector>

namespace shaftlog {

/// The figures behind a chart, for those who cannot see it or want to count again.
struct FigureTable {
  std::vector<std::string> heads;  ///< with units
  std::vector<std::vector<std::string>> rows;
};

/// A finished picture with its text alternative.
struct Chart {
  Drawing drawing;
  std::string title;
  std::string story;  ///< what it shows, in a sentence or two, with the figures
  FigureTable figures;
};

/// Width of every chart [px]: 180 mm in print, what A4 and Letter have room for.
constexpr double kChartWidth = 680;

/// Calendar time that all panels of a stack share.
struct TimeAxis {
  Instant from{}, to{};
  Zone zone = Zone::utc();
  bool is_part = false;  ///< there is more before or after: what lies outside is cut off
};

/// Days of the ship's clock that charts are to show, both included; empty: from the beginning, to the end.
struct DayRange {
  std::optional<std::chrono::local_days> from, to;
};
/// The part of an axis that is asked for. \throws Error{usage} the days are in the wrong order, or the axis has none
TimeAxis part_of(const TimeAxis& whole, const DayRange& days);

/// The area where data is drawn, with its scales. Labels keep out of each other's way: what finds no room is left out,
/// the figures are in the table.
class Plot {
 public:
  Plot(Drawing& on, const Box& area, double x_low, double x_high, double y_low, double y_high, bool is_log = false);
  Plot(Drawing& on, const Box& area, const TimeAxis& axis, double y_low, double y_high);

  [[nodiscard]] double x(double value) const;
  [[nodiscard]] double x(Instant t) const;
  [[nodiscard]] double y(double value) const;  ///< not cut off at the edges
  [[nodiscard]] double y_low() const noexcept { return y_low_; }
  [[nodiscard]] double y_high() const noexcept { return y_high_; }
  [[nodiscard]] const Box& area() const noexcept { return area_; }
  [[nodiscard]] const TimeAxis& axis() const noexcept { return axis_; }
  Drawing& on() noexcept { return *on_; }

  /// Grid lines and numbers at the left. \param most as many at most
  void y_axis(int most = 5);
  void x_axis(std::string unit, int most = 8);
  void frame();

  /// A label near a place, on a ground of paper: above, below, or to the side, wherever it lies on no other label.
  /// \return false when there was no room
  bool label(Place near, const std::string& text, Colour colour, bool is_strong = false);
  /// The same at the first of several places that has room.
  bool label(const std::vector<Place>& near, const std::string& text, Colour colour, bool is_strong = false);
  /// Words in place of data, which stay where they are: at `part` of the height from the top.
  void notice(const std::string& text, double part = 0.5);
  /// Keeps labels away from a box.
  void keep_clear(const Box& box) { taken_.push_back(box); }
  /// Keeps labels off a line.
  void keep_clear(const std::vector<Place>& line);
  /// A label in the margin at the right, level with `y_px`; finish() moves them apart.
  void right_label(double y_px, std::string text, Colour colour, bool is_strong = false);
  /// Draws what right_label collected. Call once, last.
  void finish();

 private:
  struct RightLabel {
    double y = 0;
    std::vector<std::string> lines;
    Colour colour;
    bool is_strong = false;
  };
  Drawing* on_;
  Box area_;
  TimeAxis axis_;
  double x_low_ = 0, x_high_ = 1, y_low_ = 0, y_high_ = 1;
  bool is_log_ = false, is_of_time_ = false;
  std::vector<Box> taken_;
  std::vector<RightLabel> right_;
};

/// A mark of a key: the shape, and what it says.
struct KeyMark {
  Shape shape{};
  Colour colour;
  std::string text;
};
/// One chart of a stack on a common time axis.
struct Panel {
  std::string title;
  std::string unit;  ///< beside the title
  std::string story;
  double height = 120;  ///< of the plot area [px]
  double y_low = 0, y_high = 1;
  bool has_y_axis = true;
  std::function<void(Plot&)> draw;
  FigureTable figures;
  std::vector<KeyMark> key;  ///< a line below says what the marks mean
};

/// One panel with its time axis.
Chart chart_of(const Panel& panel, const TimeAxis& axis);
/// Panels below each other on one time axis. The story is a line a panel. The figures of each stay with the panel; the
/// chart's table is empty.
Chart stacked(const std::vector<Panel>& panels, const TimeAxis& axis, std::string title);

/// A line of marks with words, broken where the width ends. \return height used
double draw_key(Drawing& on, Place at, double width, const std::vector<KeyMark>& marks);

/// A band between `low` and `high` with thin edges: three lists of one length, in px.
void draw_band(Drawing& on, const std::vector<double>& x, const std::vector<double>& low,
               const std::vector<double>& high, Colour fill, Colour edge);
/// An upright strip where something began (90 %), its most likely moment dashed.
void draw_onset(Plot& plot, double x_low, double x_estimate, double x_high);
/// Its words, in the strip's upper or lower part: after everything that must stay readable was kept clear.
void label_onset(Plot& plot, double x_estimate, const std::string& text);

/// "cm3" as cm³ where it stands alone: not in "cm3_per_unit".
std::string cubic(std::string text);
/// The same, and a hyphen before a figure as a minus sign: what is printed rather than typed.
std::string typeset(std::string text);

}  // namespace shaftlog
