#include "reports/charts/pdf.hpp"

#include "base/error.hpp"
#include "base/sanitizer.hpp"
#include "reports/charts/palette.hpp"
#include "reports/charts/text_width.hpp"

#include <array>
#include <cairo-pdf.h>
#include <cairo.h>
#include <memory>
#include <numbers>

#include <fmt/format.h>

#if SHAFTLOG_SANITIZED
// fontconfig keeps its configuration until the program ends; the sanitizer is told so. Only in builds for it.
extern "C" const char* __lsan_default_suppressions();
extern "C" const char* __lsan_default_suppressions() { return "leak:libfontconfig"; }
extern "C" const char* __lsan_default_options();
extern "C" const char* __lsan_default_options() { return "print_suppressions=0"; }  // else it writes among our words
#endif

namespace shaftlog {
namespace {

constexpr double kPointsPerPx = 0.75;

struct SurfaceEnd {
  void operator()(cairo_surface_t* s) const { cairo_surface_destroy(s); }
};
struct ContextEnd {
  void operator()(cairo_t* c) const { cairo_destroy(c); }
};
using Surface = std::unique_ptr<cairo_surface_t, SurfaceEnd>;
using Context = std::unique_ptr<cairo_t, ContextEnd>;

cairo_status_t take(void* into, const unsigned char* data, unsigned length) {
  static_cast<std::string*>(into)->append(reinterpret_cast<const char*>(data), length);
  return CAIRO_STATUS_SUCCESS;
}

void require(cairo_status_t status) {
  if (status != CAIRO_STATUS_SUCCESS) {
    throw Error{Errc::io, fmt::format("the PDF cannot be made: {}", cairo_status_to_string(status))};
  }
}

// cairo refuses text that is no UTF-8, and draws nothing for control signs.
std::string clean(std::string_view text) {
  std::string out;
  for (std::size_t i = 0; i < text.size();) {
    const std::size_t at = i;
    const std::uint32_t code = next_code_point(text, i);
    if (code == 0xFFFD) {
      out += "\xEF\xBF\xBD";
    } else if (code >= 0x20 && code != 0x7F) {
      out += text.substr(at, i - at);
    }
  }
  return out;
}

void set_font(cairo_t* c, double size, bool is_strong) {
  cairo_select_font_face(c, "DejaVu Sans", CAIRO_FONT_SLANT_NORMAL,
                         is_strong ? CAIRO_FONT_WEIGHT_BOLD : CAIRO_FONT_WEIGHT_NORMAL);
  cairo_set_font_size(c, size);
}

class Painter {
 public:
  explicit Painter(cairo_t* c) : c_{c} {}

  void operator()(const LineItem& l) {
    path(l.points);
    stroke(l.stroke);
  }
  void operator()(const AreaItem& a) {
    path(a.points);
    cairo_close_path(c_);
    colour(a.fill);
    if (a.edge) {
      cairo_fill_preserve(c_);
      stroke(*a.edge);
    } else {
      cairo_fill(c_);
    }
  }
  void operator()(const MarkItem& m) {
    const double r = m.size / 2;
    if (m.shape == Shape::disc || m.shape == Shape::ring) {
      cairo_new_sub_path(c_);
      cairo_arc(c_, m.at.x, m.at.y, m.shape == Shape::disc ? r : r - 0.8, 0, 2 * std::numbers::pi);
      if (m.shape == Shape::disc) {
        colour(m.colour);
        cairo_fill(c_);
      } else {
        colour(ink::kPaper);
        cairo_fill_preserve(c_);
        stroke({m.colour, 1.6, Dash::solid});
      }
      return;
    }
    path(corners_of(m));
    cairo_close_path(c_);
    colour(m.colour);
    cairo_fill(c_);
  }
  void operator()(const TextItem& t) {
    set_font(c_, t.look.size, t.look.is_strong);
    colour(t.look.colour);
    const std::string text = clean(t.text);
    double x = t.at.x;
    if (t.look.anchor != Anchor::start) {
      cairo_text_extents_t extents;
      cairo_text_extents(c_, text.c_str(), &extents);
      x -= t.look.anchor == Anchor::middle ? extents.x_advance / 2 : extents.x_advance;
    }
    cairo_move_to(c_, x, t.at.y);
    cairo_show_text(c_, text.c_str());
    cairo_new_path(c_);
  }
  void operator()(const GroupBegin&) {}
  void operator()(const GroupEnd&) {}
  void operator()(const OnTimeBegin&) {}
  void operator()(const OnTimeEnd&) {}
  void operator()(const TimeGridBegin&) {}
  void operator()(const TimeGridEnd&) {}
  void operator()(const LabelBegin&) {}
  void operator()(const LabelEnd&) {}
  void operator()(const ClipBegin& b) {
    cairo_save(c_);
    cairo_rectangle(c_, b.box.x, b.box.y, b.box.width, b.box.height);
    cairo_clip(c_);
  }
  void operator()(const ClipEnd&) { cairo_restore(c_); }

 private:
  void colour(Colour k) { cairo_set_source_rgb(c_, k.red / 255.0, k.green / 255.0, k.blue / 255.0); }

  void path(const std::vector<Place>& points) {
    cairo_new_path(c_);
    for (const Place& p : points) cairo_line_to(c_, p.x, p.y);
  }

  void stroke(const Stroke& s) {
    static constexpr std::array<double, 2> kDashed{6, 3.5}, kDotted{1.5, 2.5};
    static constexpr std::array<double, 4> kDashDot{8, 3, 1.5, 3};
    switch (s.dash) {
      case Dash::solid:
        cairo_set_dash(c_, nullptr, 0, 0);
        break;
      case Dash::dashed:
        cairo_set_dash(c_, kDashed.data(), 2, 0);
        break;
      case Dash::dotted:
        cairo_set_dash(c_, kDotted.data(), 2, 0);
        break;
      case Dash::dash_dot:
        cairo_set_dash(c_, kDashDot.data(), 4, 0);
        break;
    }
    cairo_set_line_join(c_, CAIRO_LINE_JOIN_ROUND);
    cairo_set_line_width(c_, s.width);
    colour(s.colour);
    cairo_stroke(c_);
  }

  cairo_t* c_;
};

}  // namespace

std::string pdf_text(const std::vector<Drawing>& pages, const std::vector<PdfBookmark>& bookmarks,
                     const PdfMeta& meta) {
  std::string out;
  const double width = pages.empty() ? 794 : pages.front().width();
  const double height = pages.empty() ? 1123 : pages.front().height();
  const Surface surface{cairo_pdf_surface_create_for_stream(take, &out, width * kPointsPerPx, height * kPointsPerPx)};
  require(cairo_surface_status(surface.get()));
  cairo_surface_t* s = surface.get();
  cairo_pdf_surface_set_metadata(s, CAIRO_PDF_METADATA_TITLE, clean(meta.title).c_str());
  cairo_pdf_surface_set_metadata(s, CAIRO_PDF_METADATA_SUBJECT, clean(meta.subject).c_str());
  cairo_pdf_surface_set_metadata(s, CAIRO_PDF_METADATA_CREATE_DATE, format_utc(meta.made).c_str());
  {
    const Context context{cairo_create(s)};
    std::vector<int> parents{CAIRO_PDF_OUTLINE_ROOT};
    std::size_t next = 0;
    for (std::size_t page = 0; page < pages.size(); ++page) {
      cairo_pdf_surface_set_size(s, pages[page].width() * kPointsPerPx, pages[page].height() * kPointsPerPx);
      cairo_save(context.get());
      cairo_scale(context.get(), kPointsPerPx, kPointsPerPx);
      for (; next < bookmarks.size() && bookmarks[next].page == page; ++next) {
        const PdfBookmark& b = bookmarks[next];
        const auto level = static_cast<std::size_t>(b.level);
        parents.resize(std::min(level + 1, parents.size()));
        const std::string where = fmt::format("page={} pos=[{} {}]", page + 1, 0, std::lround(b.y * kPointsPerPx));
        parents.push_back(cairo_pdf_surface_add_outline(
            s, parents.back(), clean(b.text).c_str(), where.c_str(),
            b.level == 0 ? CAIRO_PDF_OUTLINE_FLAG_OPEN : static_cast<cairo_pdf_outline_flags_t>(0)));
      }
      Painter painter{context.get()};
      for (const DrawingItem& item : pages[page].items()) std::visit(painter, item);
      cairo_restore(context.get());
      cairo_show_page(context.get());
    }
    require(cairo_status(context.get()));
  }
  cairo_surface_finish(s);
  require(cairo_surface_status(s));
  return out;
}

double pdf_text_width(std::string_view text, double size, bool is_strong) {
  const Surface surface{cairo_pdf_surface_create_for_stream(nullptr, nullptr, 10, 10)};
  const Context context{cairo_create(surface.get())};
  set_font(context.get(), size, is_strong);
  cairo_text_extents_t extents;
  cairo_text_extents(context.get(), clean(text).c_str(), &extents);
  return extents.x_advance;
}

}  // namespace shaftlog
