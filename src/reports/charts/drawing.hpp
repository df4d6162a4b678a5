#pragma once

#include "base/time.hpp"

#include <chrono>
#include <cstdint>
#include <optional>
#include <string>
#include <variant>
#include <vector>

namespace shaftlog {

// What a chart or a page looks like, told once: `svg.hpp` and `pdf.hpp` write it. A drawing is a plain value, so tests
// can look at it: what overlaps, what is too pale.

/// A place on the drawing [px of 1/96 inch], y downwards.
struct Place {
  double x = 0, y = 0;
};
struct Box {
  double x = 0, y = 0, width = 0, height = 0;
  [[nodiscard]] double right() const noexcept { return x + width; }
  [[nodiscard]] double bottom() const noexcept { return y + height; }
};

struct Colour {
  std::uint8_t red = 0, green = 0, blue = 0;
  friend bool operator==(const Colour&, const Colour&) = default;
};

enum class Dash : std::uint8_t { solid, dashed, dotted, dash_dot };
struct Stroke {
  Colour colour;
  double width = 1;
  Dash dash = Dash::solid;
};

/// Marks are told apart by shape; colour only doubles it.
enum class Shape : std::uint8_t { disc, ring, triangle_up, triangle_down, square, diamond, cross };
enum class Anchor : std::uint8_t { start, middle, end };

struct TextLook {
  double size = 10.5;
  Colour colour;
  Anchor anchor = Anchor::start;
  bool is_strong = false;
};

struct LineItem {
  std::vector<Place> points;
  Stroke stroke;
};
struct AreaItem {
  std::vector<Place> points;  ///< closed by itself
  Colour fill;
  std::optional<Stroke> edge;
};
struct MarkItem {
  Place at;
  Shape shape{};
  double size = 7;  ///< width over all
  Colour colour;
};
struct TextItem {
  Place at;  ///< on the base line
  std::string text;
  TextLook look;
};
/// Everything up to the matching end belongs together; the words are shown when a pointer rests on it, and read aloud.
struct GroupBegin {
  std::string title;
};
struct GroupEnd {};
/// Nothing outside the box is drawn, up to the matching end.
struct ClipBegin {
  Box box;
};
struct ClipEnd {};
/// Up to the matching end: what lies on the time axis and is spread out when a range of it is looked at.
struct OnTimeBegin {};
struct OnTimeEnd {};
/// Up to the matching end: lines at round moments from `y_top` to `y_bottom`, or, where these are one, their labels
/// below; for a range of the axis others are drawn in their place.
struct TimeGridBegin {
  double y_top = 0, y_bottom = 0;
};
struct TimeGridEnd {};
/// Within OnTime, up to the matching end: the label of what stands between two places; goes with it, keeps its size.
struct LabelBegin {
  double x_from = 0, x_to = 0;
};
struct LabelEnd {};
using DrawingItem = std::variant<LineItem, AreaItem, MarkItem, TextItem, GroupBegin, GroupEnd, ClipBegin, ClipEnd,
                                 OnTimeBegin, OnTimeEnd, TimeGridBegin, TimeGridEnd, LabelBegin, LabelEnd>;

/// Where time runs on a drawing: for a cross-hair and for ranges on screen.
struct TimeScale {
  double x_from = 0, x_to = 0;
  Instant from{}, to{};
  double y_top = 0, y_bottom = 0;
  std::chrono::minutes offset{};  ///< of the clock whose days are meant, at the end of the axis
};

class Drawing {
 public:
  Drawing() = default;
  Drawing(double width, double height) : width_{width}, height_{height} {}

  void line(Place a, Place b, const Stroke& stroke) { polyline({a, b}, stroke); }
  void polyline(std::vector<Place> points, const Stroke& stroke);
  void area(std::vector<Place> points, Colour fill, std::optional<Stroke> edge = std::nullopt);
  void box(const Box& box, Colour fill, std::optional<Stroke> edge = std::nullopt);
  void mark(Place at, Shape shape, double size, Colour colour);
  void text(Place at, std::string text, const TextLook& look);
  void begin_group(std::string title);
  void end_group();
  void begin_clip(const Box& box);
  void end_clip();
  void begin_on_time() { items_.emplace_back(OnTimeBegin{}); }
  void end_on_time() { items_.emplace_back(OnTimeEnd{}); }
  void begin_time_grid(double y_top, double y_bottom) { items_.emplace_back(TimeGridBegin{y_top, y_bottom}); }
  void end_time_grid() { items_.emplace_back(TimeGridEnd{}); }
  void begin_label(double x_from, double x_to) { items_.emplace_back(LabelBegin{x_from, x_to}); }
  void end_label() { items_.emplace_back(LabelEnd{}); }
  /// Puts another drawing's items here, its top left corner at `at`, groups and clips included.
  void include(const Drawing& other, Place at);

  void set_height(double height) noexcept { height_ = height; }
  [[nodiscard]] double width() const noexcept { return width_; }
  [[nodiscard]] double height() const noexcept { return height_; }
  [[nodiscard]] const std::vector<DrawingItem>& items() const noexcept { return items_; }

  std::optional<TimeScale> time_scale;

 private:
  double width_ = 0, height_ = 0;
  std::vector<DrawingItem> items_;
};

/// What a text covers: its width by text_width, from the tallest letter to the lowest.
Box box_of(const TextItem& text);
bool overlaps(const Box& a, const Box& b) noexcept;

/// The corners of a mark (a disc and a ring have none: empty), clockwise.
std::vector<Place> corners_of(const MarkItem& mark);

}  // namespace shaftlog
