#include "reports/charts/svg.hpp"

#include "base/time.hpp"
#include "reports/charts/palette.hpp"
#include "reports/charts/text_width.hpp"

#include <cmath>
#include <iterator>

#include <fmt/format.h>

namespace shaftlog {
namespace {

// A tenth of a pixel is finer than any screen or printer shows a chart.
std::string px(double v) {
  const auto tenths = std::lround(v * 10);
  if (tenths % 10 == 0) return fmt::format("{}", tenths / 10);
  return fmt::format("{}{}.{}", tenths < 0 ? "-" : "", std::labs(tenths) / 10, std::labs(tenths) % 10);
}

// Along time a range may be drawn fifty times as wide.
std::string fine_px(double v) {
  std::string text = fmt::format("{:.2f}", v);
  while (text.back() == '0') text.pop_back();
  if (text.back() == '.') text.pop_back();
  return text == "-0" ? "0" : text;
}

std::string_view dashes(Dash d) {
  switch (d) {
    case Dash::solid:
      return "";
    case Dash::dashed:
      return "6 3.5";
    case Dash::dotted:
      return "1.5 2.5";
    case Dash::dash_dot:
      return "8 3 1.5 3";
  }
  return "";
}

class Writer {
 public:
  explicit Writer(std::string_view id) : id_{id} {}

  void operator()(const LineItem& l) {
    add("<path d=\"{}\" fill=\"none\"{}/>\n", path(l.points, false), stroke(l.stroke));
  }
  void operator()(const AreaItem& a) {
    add("<path d=\"{}\" fill=\"{}\"{}/>\n", path(a.points, true), hex(a.fill), a.edge ? stroke(*a.edge) : "");
  }
  void operator()(const MarkItem& m) {
    if (m.shape == Shape::disc) {
      add("<circle cx=\"{}\" cy=\"{}\" r=\"{}\" fill=\"{}\"/>\n", x_of(m), px(m.at.y), px(m.size / 2), hex(m.colour));
    } else if (m.shape == Shape::ring) {
      add("<circle cx=\"{}\" cy=\"{}\" r=\"{}\" fill=\"{}\" stroke=\"{}\" stroke-width=\"1.6\"/>\n", x_of(m),
          px(m.at.y), px(m.size / 2 - 0.8), hex(ink::kPaper), hex(m.colour));
    } else {
      add("<path{} d=\"{}\" fill=\"{}\"/>\n", is_on_time_ ? " class=\"m\"" : "", path(corners_of(m), true),
          hex(m.colour));
    }
  }
  void operator()(const TextItem& t) {
    std::string_view anchor;
    if (t.look.anchor == Anchor::middle) anchor = " text-anchor=\"middle\"";
    if (t.look.anchor == Anchor::end) anchor = " text-anchor=\"end\"";
    add("<text x=\"{}\" y=\"{}\" font-size=\"{}\" fill=\"{}\"{}{}>{}</text>\n", px(t.at.x), px(t.at.y), px(t.look.size),
        hex(t.look.colour), anchor, t.look.is_strong ? " font-weight=\"bold\"" : "", escaped(t.text));
  }
  void operator()(const GroupBegin& g) { add("<g><title>{}</title>\n", escaped(g.title)); }
  void operator()(const GroupEnd&) { out += "</g>\n"; }
  void operator()(const ClipBegin& c) {
    ++clips_;
    add("<clipPath id=\"{0}-c{1}\"><path d=\"M{2} {3}H{4}V{5}H{2}Z\"/></clipPath><g clip-path=\"url(#{0}-c{1})\">\n",
        id_, clips_, px(c.box.x), px(c.box.y), px(c.box.right()), px(c.box.bottom()));
  }
  void operator()(const ClipEnd&) { out += "</g>\n"; }
  void operator()(const OnTimeBegin&) {
    is_on_time_ = true;
    out += "<g class=\"on-time\">\n";
  }
  void operator()(const OnTimeEnd&) {
    is_on_time_ = false;
    out += "</g>\n";
  }
  void operator()(const TimeGridBegin& g) {
    add("<g class=\"time-grid\" data-y=\"{} {}\">\n", px(g.y_top), px(g.y_bottom));
  }
  void operator()(const TimeGridEnd&) { out += "</g>\n"; }
  void operator()(const LabelBegin& l) { add("<g data-x=\"{} {}\">\n", fine_px(l.x_from), fine_px(l.x_to)); }
  void operator()(const LabelEnd&) { out += "</g>\n"; }

  std::string out;

 private:
  template <class... Values>
  void add(fmt::format_string<Values...> how, Values&&... values) {
    fmt::format_to(std::back_inserter(out), how, std::forward<Values>(values)...);
  }

  [[nodiscard]] std::string path(const std::vector<Place>& points, bool is_closed) const {
    std::string d;
    std::string before;
    for (const Place& p : points) {
      const std::string at = (is_on_time_ ? fine_px(p.x) : px(p.x)) + ' ' + px(p.y);
      if (at == before) continue;
      d += d.empty() ? 'M' : 'L';
      d += at;
      before = at;
    }
    if (is_closed) d += 'Z';
    return d;
  }

  static std::string stroke(const Stroke& s) {
    std::string text = fmt::format(" stroke=\"{}\" stroke-width=\"{}\"", hex(s.colour), px(s.width));
    if (s.dash != Dash::solid) text += fmt::format(" stroke-dasharray=\"{}\"", dashes(s.dash));
    if (s.dash == Dash::solid && s.width >= 1.2) text += " stroke-linejoin=\"round\"";
    return text;
  }

  [[nodiscard]] std::string x_of(const MarkItem& m) const { return is_on_time_ ? fine_px(m.at.x) : px(m.at.x); }

  std::string_view id_;
  int clips_ = 0;
  bool is_on_time_ = false;
};

}  // namespace

std::string escaped(std::string_view text) {
  std::string out;
  out.reserve(text.size() + 8);
  for (std::size_t i = 0; i < text.size();) {
    const std::size_t at = i;
    const std::uint32_t code = next_code_point(text, i);
    switch (code) {
      case '&':
        out += "&amp;";
        break;
      case '<':
        out += "&lt;";
        break;
      case '>':
        out += "&gt;";
        break;
      case '"':
        out += "&quot;";
        break;
      case '\'':
        out += "&#39;";
        break;
      case 0xFFFD:
        out += "\xEF\xBF\xBD";
        break;
      default:
        // XML has no place for control signs and for the last two code points of the first plane.
        if ((code < 0x20 && code != '\n') || (code >= 0x7F && code < 0xA0) || code == 0xFFFE || code == 0xFFFF) break;
        out += text.substr(at, i - at);
    }
  }
  return out;
}

std::string svg_text(const Drawing& d, const SvgOptions& o) {
  Writer w{o.id};
  w.out.reserve(4096 + d.items().size() * 80);
  w.out += "<svg";
  if (o.is_file) w.out += " xmlns=\"http://www.w3.org/2000/svg\"";
  w.out += fmt::format(" viewBox=\"0 0 {0} {1}\" width=\"{0}\" height=\"{1}\"", px(d.width()), px(d.height()));
  w.out += fmt::format(" role=\"img\" aria-labelledby=\"{0}-t{1}\"", o.id,
                       o.description.empty() ? "" : fmt::format(" {}-d", o.id));
  w.out += " font-family=\"'DejaVu Sans', Verdana, Arial, sans-serif\"";
  if (d.time_scale) {
    const TimeScale& t = *d.time_scale;
    w.out += fmt::format(" data-time=\"{} {} {} {} {} {} {}\"", px(t.x_from), px(t.x_to), in_unix_s(t.from),
                         in_unix_s(t.to), px(t.y_top), px(t.y_bottom), 60 * t.offset.count());
  }
  w.out += fmt::format(">\n<title id=\"{}-t\">{}</title>\n", o.id, escaped(o.title));
  if (!o.description.empty()) w.out += fmt::format("<desc id=\"{}-d\">{}</desc>\n", o.id, escaped(o.description));
  for (const DrawingItem& item : d.items()) std::visit(w, item);
  w.out += "</svg>\n";
  return std::move(w.out);
}

}  // namespace shaftlog
