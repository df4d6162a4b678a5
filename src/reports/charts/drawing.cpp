#include "reports/charts/drawing.hpp"

#include "reports/charts/text_width.hpp"

#include <utility>

namespace shaftlog {

void Drawing::polyline(std::vector<Place> points, const Stroke& stroke) {
  if (points.size() > 1) items_.emplace_back(LineItem{std::move(points), stroke});
}

void Drawing::area(std::vector<Place> points, Colour fill, std::optional<Stroke> edge) {
  if (points.size() > 2) items_.emplace_back(AreaItem{std::move(points), fill, edge});
}

void Drawing::box(const Box& b, Colour fill, std::optional<Stroke> edge) {
  area({{b.x, b.y}, {b.right(), b.y}, {b.right(), b.bottom()}, {b.x, b.bottom()}}, fill, edge);
}

void Drawing::mark(Place at, Shape shape, double size, Colour colour) {
  items_.emplace_back(MarkItem{at, shape, size, colour});
}

void Drawing::text(Place at, std::string text, const TextLook& look) {
  if (!text.empty()) items_.emplace_back(TextItem{at, std::move(text), look});
}

void Drawing::begin_group(std::string title) { items_.emplace_back(GroupBegin{std::move(title)}); }
void Drawing::end_group() { items_.emplace_back(GroupEnd{}); }
void Drawing::begin_clip(const Box& b) { items_.emplace_back(ClipBegin{b}); }
void Drawing::end_clip() { items_.emplace_back(ClipEnd{}); }

namespace {

void move(std::vector<Place>& points, Place by) {
  for (Place& p : points) p = {p.x + by.x, p.y + by.y};
}

}  // namespace

void Drawing::include(const Drawing& other, Place by) {
  items_.reserve(items_.size() + other.items_.size());
  for (DrawingItem item : other.items_) {
    if (auto* line = std::get_if<LineItem>(&item)) move(line->points, by);
    if (auto* area = std::get_if<AreaItem>(&item)) move(area->points, by);
    if (auto* mark = std::get_if<MarkItem>(&item)) mark->at = {mark->at.x + by.x, mark->at.y + by.y};
    if (auto* text = std::get_if<TextItem>(&item)) text->at = {text->at.x + by.x, text->at.y + by.y};
    if (auto* clip = std::get_if<ClipBegin>(&item)) {
      clip->box.x += by.x;
      clip->box.y += by.y;
    }
    if (auto* grid = std::get_if<TimeGridBegin>(&item)) {
      grid->y_top += by.y;
      grid->y_bottom += by.y;
    }
    if (auto* label = std::get_if<LabelBegin>(&item)) {
      label->x_from += by.x;
      label->x_to += by.x;
    }
    items_.push_back(std::move(item));
  }
}

Box box_of(const TextItem& t) {
  const double width = text_width(t.text, t.look.size, t.look.is_strong);
  double x = t.at.x;
  if (t.look.anchor == Anchor::middle) x -= width / 2;
  if (t.look.anchor == Anchor::end) x -= width;
  return {x, t.at.y - 0.78 * t.look.size, width, t.look.size};
}

bool overlaps(const Box& a, const Box& b) noexcept {
  return a.x < b.right() && b.x < a.right() && a.y < b.bottom() && b.y < a.bottom();
}

std::vector<Place> corners_of(const MarkItem& m) {
  const double r = m.size / 2;
  const auto [x, y] = m.at;
  switch (m.shape) {
    case Shape::disc:
    case Shape::ring:
      return {};
    case Shape::triangle_up:
      return {{x, y - 1.1 * r}, {x + 1.1 * r, y + 0.8 * r}, {x - 1.1 * r, y + 0.8 * r}};
    case Shape::triangle_down:
      return {{x - 1.1 * r, y - 0.8 * r}, {x + 1.1 * r, y - 0.8 * r}, {x, y + 1.1 * r}};
    case Shape::square:
      return {{x - 0.85 * r, y - 0.85 * r},
              {x + 0.85 * r, y - 0.85 * r},
              {x + 0.85 * r, y + 0.85 * r},
              {x - 0.85 * r, y + 0.85 * r}};
    case Shape::diamond:
      return {{x, y - 1.15 * r}, {x + 1.15 * r, y}, {x, y + 1.15 * r}, {x - 1.15 * r, y}};
    case Shape::cross: {
      const double a = 0.95 * r, b = 0.34 * r;  // two bars over each other
      return {{x - a, y - a + b}, {x - a + b, y - a}, {x, y - b}, {x + a - b, y - a}, {x + a, y - a + b}, {x + b, y},
              {x + a, y + a - b}, {x + a - b, y + a}, {x, y + b}, {x - a + b, y + a}, {x - a, y + a - b}, {x - b, y}};
    }
  }
  return {};
}

}  // namespace shaftlog
