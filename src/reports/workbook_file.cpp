#include "reports/workbook_file.hpp"

#include "base/error.hpp"
#include "base/text.hpp"
#include "reports/charts/palette.hpp"

#include <algorithm>
#include <charconv>
#include <cmath>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <map>
#include <xlsxwriter.h>

#include <fmt/format.h>

namespace shaftlog {
namespace {

void must(lxw_error code, const std::string& doing) {
  if (code == LXW_NO_ERROR) return;
  throw Error{Errc::io, fmt::format("the workbook cannot be written ({}): {}", doing, lxw_strerror(code))};
}

template <class T>
T* must(T* made, const std::string& doing) {
  if (made == nullptr) throw Error{Errc::io, fmt::format("the workbook cannot be written ({})", doing)};
  return made;
}

lxw_color_t colour(Colour c) { return static_cast<lxw_color_t>((c.red << 16) | (c.green << 8) | c.blue); }

// The library writes whatever bytes it gets and so a file that no program opens: bytes that are no UTF-8 become U+FFFD,
// control signs that XML does not have a blank. A cell holds at most 32,767 characters.
std::string clean(std::string_view text) {
  std::string out;
  while (!text.empty()) {
    const auto bad = find_bad_utf8(text);
    for (const char c : text.substr(0, bad.value_or(text.size()))) {
      const auto byte = static_cast<unsigned char>(c);
      out += (byte < 0x20 && c != '\n' && c != '\t') || byte == 0x7F ? ' ' : c;
    }
    if (!bad) break;
    out += "\xEF\xBF\xBD";
    text.remove_prefix(*bad + 1);
  }
  constexpr std::size_t kMost = 32700;
  if (out.size() > kMost) {
    std::size_t end = kMost;
    while ((static_cast<unsigned char>(out[end]) & 0xC0U) == 0x80U) --end;
    out = out.substr(0, end) + " ... (cut)";
  }
  return out;
}

/// A folder of its own that goes when this goes: the library writes to files only.
class ScratchFolder {
 public:
  ScratchFolder() {
    std::error_code fault;
    std::string name = (std::filesystem::temp_directory_path(fault) / "shaftlog-XXXXXX").string();
    if (fault || ::mkdtemp(name.data()) == nullptr)
      throw Error{Errc::io, "no folder for temporary files can be made; TMPDIR names where"};
    path_ = name;
  }
  ~ScratchFolder() {
    std::error_code ignored;
    std::filesystem::remove_all(path_, ignored);
  }
  ScratchFolder(const ScratchFolder&) = delete;
  ScratchFolder& operator=(const ScratchFolder&) = delete;
  [[nodiscard]] const std::filesystem::path& path() const noexcept { return path_; }

 private:
  std::filesystem::path path_;
};

// Days since 1899-12-30, what spreadsheets count in.
double serial(Instant t) { return static_cast<double>(in_unix_s(t)) / 86400.0 + 25569.0; }

std::size_t longest_word(std::string_view text) {
  std::size_t longest = 0, at = 0;
  while (at <= text.size()) {
    const std::size_t end = std::min(text.find(' ', at), text.size());
    longest = std::max(longest, display_width(text.substr(at, end - at)));
    at = end + 1;
  }
  return longest;
}

/// Lines that a text takes in a column, broken between words.
std::size_t lines_of(std::string_view text, double wide) {
  std::size_t lines = 1, at = 0;
  double used = 0;
  while (at <= text.size()) {
    const std::size_t end = std::min(text.find(' ', at), text.size());
    const auto word = static_cast<double>(display_width(text.substr(at, end - at)));
    if (used > 0 && used + 1 + word > wide) {
      ++lines;
      used = word;
    } else {
      used += (used > 0 ? 1 : 0) + word;
    }
    at = end + 1;
  }
  return lines;
}

class Writer {
 public:
  Writer(const Workbook& book, const std::filesystem::path& folder)
      : book_{book}, file_{(folder / "out.xlsx").string()} {
    tmp_ = folder.string();
    lxw_workbook_options options{};
    options.tmpdir = tmp_.data();
    xlsx_ = must(workbook_new_opt(file_.c_str(), &options), "begin");
  }

  ~Writer() {
    if (xlsx_ != nullptr) lxw_workbook_free(xlsx_);
  }
  Writer(const Writer&) = delete;
  Writer& operator=(const Writer&) = delete;

  std::string bytes() {
    properties();
    for (const Sheet& s : book_.sheets) {
      if (worksheets_.contains(s.name)) throw Error{Errc::io, fmt::format("two sheets are named {}", s.name)};
      worksheets_[s.name] = must(workbook_add_worksheet(xlsx_, s.name.c_str()), "sheet " + s.name);
    }
    for (const Sheet& s : book_.sheets) {
      sheet_ = worksheets_[s.name];
      set_up(s);
      if (!s.charts.empty()) {
        charts(s);
      } else {
        widths(s);
        cells(s);
      }
    }
    lxw_workbook* done = xlsx_;
    xlsx_ = nullptr;  // closing frees it, whatever comes of it
    must(workbook_close(done), "end");
    std::ifstream in{file_, std::ios::binary};
    if (!in) throw Error{Errc::io, "the workbook cannot be read back from the folder of temporary files"};
    return {std::istreambuf_iterator<char>{in}, std::istreambuf_iterator<char>{}};
  }

 private:
  void properties() {
    std::string title = clean(book_.title), comment = clean(book_.footer);
    lxw_doc_properties p{};
    p.title = title.data();
    p.comments = comment.data();
    p.created = in_unix_s(book_.as_of);  // else the clock's time, and other bytes each time
    must(workbook_set_properties(xlsx_, &p), "properties");
  }

  lxw_format* format(const std::string& number, bool is_bold, bool is_wrapped, bool is_head = false) {
    const std::string key = fmt::format("{}|{}{}{}", number, is_bold, is_wrapped, is_head);
    if (const auto it = formats_.find(key); it != formats_.end()) return it->second;
    lxw_format* f = must(workbook_add_format(xlsx_), "format");
    format_set_font_size(f, 10);
    format_set_align(f, LXW_ALIGN_VERTICAL_TOP);
    if (!number.empty()) format_set_num_format(f, number.c_str());
    if (is_bold) format_set_bold(f);
    if (is_wrapped) format_set_text_wrap(f);
    if (number.empty()) format_set_indent(f, is_head ? 0 : 1);
    if (is_head) {
      format_set_bg_color(f, colour(ink::kCalmBand));
      format_set_bottom(f, LXW_BORDER_THIN);
    }
    return formats_[key] = f;
  }

  // A date among words stands where they begin.
  lxw_format* moment() {
    if (moment_ != nullptr) return moment_;
    moment_ = must(workbook_add_format(xlsx_), "format");
    format_set_font_size(moment_, 10);
    format_set_num_format(moment_, "yyyy-mm-dd hh:mm");
    format_set_align(moment_, LXW_ALIGN_VERTICAL_TOP);
    format_set_align(moment_, LXW_ALIGN_LEFT);
    format_set_indent(moment_, 1);
    return moment_;
  }

  static std::string number_format(const SheetColumn& c) {
    switch (c.kind) {
      case SheetColumn::Kind::text:
        return "";
      case SheetColumn::Kind::time:
        return "yyyy-mm-dd hh:mm";
      case SheetColumn::Kind::number:
        return c.decimals == 0 ? "#,##0" : "#,##0." + std::string(static_cast<std::size_t>(c.decimals), '0');
    }
    return "";
  }

  void set_up(const Sheet& s) {
    constexpr std::uint8_t kA4 = 9;  // of ISO/IEC 29500-1, 18.3.1.63
    worksheet_set_paper(sheet_, kA4);
    worksheet_set_landscape(sheet_);
    worksheet_set_margins(sheet_, 0.4, 0.4, 0.7, 0.6);
    const auto escaped = [](const std::string& text) {
      std::string out;
      for (const char c : clean(text)) out += c == '&' ? "&&" : std::string(1, c);
      return out.size() > 110 ? std::string{} : out;  // the line may hold 255 characters in all
    };
    must(worksheet_set_header(sheet_, fmt::format("&L&B{}&R{}", escaped(book_.title), escaped(s.name)).c_str()),
         "header");
    must(worksheet_set_footer(sheet_, fmt::format("&L{}&Rpage &P of &N", escaped(book_.footer)).c_str()), "footer");
  }

  void widths(const Sheet& s) {
    double total = 0;
    std::size_t head_lines = 1;
    wide_.clear();
    const auto columns = s.columns.size();
    for (std::size_t c = 0; c < columns; ++c) {
      const SheetColumn& column = s.columns[c];
      const bool is_words = column.kind == SheetColumn::Kind::text;
      auto wide = static_cast<double>(std::max<std::size_t>(longest_word(column.head) + 3, 9));  // room for the filter
      if (column.kind == SheetColumn::Kind::time) wide = std::max(wide, 17.0);
      if (is_words) {
        std::size_t longest = 0;
        for (const SheetRow& r : s.rows) {
          if (const auto* t = std::get_if<std::string>(&r.cells[c])) longest = std::max(longest, display_width(*t));
          if (const auto* l = std::get_if<SheetLink>(&r.cells[c])) longest = std::max(longest, l->sheet.size());
        }
        wide = std::max(wide, std::min(static_cast<double>(longest) + 2, s.is_listing ? 48.0 : kReading));
      }
      // Bold is wider, and the filter's button takes room.
      head_lines = std::max(head_lines, lines_of(column.head, wide - 3));
      must(worksheet_set_column(sheet_, static_cast<lxw_col_t>(c), static_cast<lxw_col_t>(c), wide, nullptr), "width");
      total += wide;
      wide_.push_back(wide);
    }
    // A line of print holds about 150 signs of 10 points; 190 are still well read.
    worksheet_fit_to_pages(sheet_, static_cast<std::uint16_t>(std::max(1.0, std::ceil(total / 190))), 0);
    if (!s.is_listing) return;
    must(worksheet_set_row(sheet_, 0, 4 + kLine * static_cast<double>(head_lines), nullptr), "heading row");
    worksheet_gridlines(sheet_, LXW_SHOW_ALL_GRIDLINES);
    worksheet_freeze_panes(sheet_, 1, static_cast<lxw_col_t>(s.keys));
    must(worksheet_repeat_rows(sheet_, 0, 0), "repeated row");
    if (s.keys > 0) must(worksheet_repeat_columns(sheet_, 0, static_cast<lxw_col_t>(s.keys - 1)), "repeated columns");
    must(worksheet_autofilter(sheet_, 0, 0, static_cast<lxw_row_t>(s.rows.size()), static_cast<lxw_col_t>(columns - 1)),
         "filter");
  }

  void cells(const Sheet& s) {
    lxw_row_t row = 0;
    if (s.is_listing) {
      for (std::size_t c = 0; c < s.columns.size(); ++c) {
        must(worksheet_write_string(sheet_, 0, static_cast<lxw_col_t>(c), clean(s.columns[c].head).c_str(),
                                    format("", true, true, true)),
             "heading");
      }
      row = 1;
    }
    for (const SheetRow& r : s.rows) {
      // Programs do not all make room for wrapped text by themselves.
      std::size_t lines = 1;
      for (std::size_t c = 0; c < r.cells.size(); ++c) {
        if (const auto* text = std::get_if<std::string>(&r.cells[c]))
          lines = std::max(lines, lines_of(*text, wide_[c] - 4));
      }
      constexpr double kHighest = 409;  // points, as far as spreadsheets go
      if (lines > 1 || !s.is_listing) {
        must(worksheet_set_row(sheet_, row, std::min(kHighest, 4 + kLine * static_cast<double>(lines)), nullptr),
             "row");
      }
      for (std::size_t c = 0; c < r.cells.size(); ++c) cell(s, r, row, c);
      ++row;
    }
  }

  void cell(const Sheet& s, const SheetRow& r, lxw_row_t row, std::size_t c) {
    const auto col = static_cast<lxw_col_t>(c);
    const std::string where = fmt::format("{}, row {}, column {}", s.name, row + 1, c + 1);
    const SheetCell& what = r.cells[c];
    if (const auto* text = std::get_if<std::string>(&what)) {
      if (text->empty()) return;
      const bool is_bold = s.is_listing ? r.urgency && *r.urgency <= Urgency::plan && c == 0 : c == 0;
      must(worksheet_write_string(sheet_, row, col, clean(*text).c_str(), format("", is_bold, true)), where);
    } else if (const auto* number = std::get_if<double>(&what)) {
      if (!std::isfinite(*number)) return;  // written, it would damage the file
      must(worksheet_write_number(sheet_, row, col, *number, format(number_format(s.columns[c]), false, false)), where);
    } else if (const auto* t = std::get_if<Instant>(&what)) {
      must(worksheet_write_number(sheet_, row, col, serial(*t),
                                  s.is_listing ? format("yyyy-mm-dd hh:mm", false, false) : moment()),
           where);
    } else if (const auto* link = std::get_if<SheetLink>(&what)) {
      must(worksheet_write_url(sheet_, row, col, fmt::format("internal:'{}'!A1", link->sheet).c_str(), nullptr), where);
      must(worksheet_write_string(sheet_, row, col, link->sheet.c_str(), format("", true, false)), where);
    }
  }

  const Sheet& sheet_named(const std::string& name) const {
    return *std::find_if(book_.sheets.begin(), book_.sheets.end(), [&](const Sheet& s) { return s.name == name; });
  }

  static lxw_col_t column_of(const Sheet& s, const std::string& head) {
    const auto it =
        std::find_if(s.columns.begin(), s.columns.end(), [&](const SheetColumn& c) { return c.head == head; });
    if (it == s.columns.end()) throw Error{Errc::io, fmt::format("sheet {} has no column \"{}\"", s.name, head)};
    return static_cast<lxw_col_t>(it - s.columns.begin());
  }

  void charts(const Sheet& s) {
    // Two to a page: a row is 15 points high, a page has room for 500.
    constexpr lxw_row_t kApart = 16;
    worksheet_gridlines(sheet_, LXW_HIDE_ALL_GRIDLINES);
    worksheet_fit_to_pages(sheet_, 1, 0);
    lxw_row_t row = 0;
    std::vector<lxw_row_t> breaks;
    for (const SheetChart& c : s.charts) {
      lxw_chart_options options{};
      options.x_scale = 1.95;
      options.y_scale = 1.05;
      must(worksheet_insert_chart_opt(sheet_, row, 0, chart(c), &options), "chart " + c.title);
      row += kApart;
      if (row % (2 * kApart) == 0) breaks.push_back(row);
    }
    if (!breaks.empty()) {
      breaks.push_back(0);
      must(worksheet_set_h_pagebreaks(sheet_, breaks.data()), "page breaks");
    }
  }

  lxw_chart* chart(const SheetChart& c) {
    std::uint8_t kind = LXW_CHART_SCATTER_STRAIGHT;
    if (c.kind == SheetChart::Kind::columns) kind = LXW_CHART_COLUMN;
    if (c.kind == SheetChart::Kind::stacked_columns) kind = LXW_CHART_COLUMN_STACKED;
    lxw_chart* out = must(workbook_add_chart(xlsx_, kind), "chart " + c.title);
    double x_least = INFINITY, x_most = -INFINITY;
    for (const SheetChart::Series& y : c.series) {
      const Sheet& from = sheet_named(y.sheet);
      const lxw_col_t cx = column_of(from, y.x), cy = column_of(from, y.y);
      const auto last = static_cast<lxw_row_t>(std::max<std::size_t>(from.rows.size(), 1));
      lxw_chart_series* series = must(chart_add_series(out, nullptr, nullptr), "series " + y.name);
      chart_series_set_categories(series, y.sheet.c_str(), 1, cx, last, cx);
      chart_series_set_values(series, y.sheet.c_str(), 1, cy, last, cy);
      chart_series_set_name(series, y.name.c_str());
      dress(series, y.look, c.kind);
      for (const SheetRow& r : from.rows) {
        if (const auto* t = std::get_if<Instant>(&r.cells[cx])) {
          x_least = std::min(x_least, serial(*t));
          x_most = std::max(x_most, serial(*t));
        }
      }
    }
    lxw_chart_font title{};
    title.size = 12;
    title.bold = LXW_TRUE;
    chart_title_set_name(out, c.title.c_str());
    chart_title_set_name_font(out, &title);
    chart_axis_set_name(out->x_axis, c.x_title.c_str());
    chart_axis_set_name(out->y_axis, c.y_title.c_str());
    lxw_chart_line grid{};
    grid.color = colour(ink::kGrid);
    chart_axis_major_gridlines_set_visible(out->y_axis, LXW_TRUE);
    chart_axis_major_gridlines_set_line(out->y_axis, &grid);
    if (c.x_is_time && x_least < x_most) {
      chart_axis_set_num_format(out->x_axis, "yyyy-mm-dd");
      chart_axis_set_min(out->x_axis, std::floor(x_least));
      chart_axis_set_max(out->x_axis, std::ceil(x_most));
    }
    if (c.y_least) chart_axis_set_min(out->y_axis, *c.y_least);
    if (c.y_most) chart_axis_set_max(out->y_axis, *c.y_most);
    chart_legend_set_position(out, LXW_CHART_LEGEND_BOTTOM);
    chart_show_blanks_as(out, LXW_CHART_BLANKS_AS_GAP);
    return out;
  }

  static void dress(lxw_chart_series* series, SheetChart::Look look, SheetChart::Kind kind) {
    using Look = SheetChart::Look;
    const auto ink_of = [look] {
      switch (look) {
        case Look::main:
        case Look::marks:
          return ink::kMain;
        case Look::edge:
          return ink::kMainEdge;
        case Look::base:
          return ink::kQuiet;
        case Look::limit:
          return ink::kWarn;
        case Look::other:
          return ink::kOther;
      }
      return ink::kMain;
    };
    const lxw_color_t c = colour(ink_of());
    if (kind != SheetChart::Kind::lines) {
      lxw_chart_fill fill{};
      fill.color = c;
      chart_series_set_fill(series, &fill);
      return;
    }
    lxw_chart_line line{};
    line.color = c;
    line.width = look == Look::main ? 2.0F : 1.0F;
    if (look == Look::base) line.dash_type = LXW_CHART_LINE_DASH_DASH;
    if (look == Look::limit) line.dash_type = LXW_CHART_LINE_DASH_DASH_DOT;
    if (look == Look::marks) {
      line.none = LXW_TRUE;
      chart_series_set_marker_type(series, LXW_CHART_MARKER_CIRCLE);
      chart_series_set_marker_size(series, 6);
      lxw_chart_fill fill{};
      fill.color = c;
      chart_series_set_marker_fill(series, &fill);
    }
    chart_series_set_line(series, &line);
  }

  static constexpr double kLine = 13;     // of 10 points [points]
  static constexpr double kReading = 95;  // width of a column that is read from top to bottom

  const Workbook& book_;
  std::string file_, tmp_;
  lxw_workbook* xlsx_ = nullptr;
  lxw_worksheet* sheet_ = nullptr;
  lxw_format* moment_ = nullptr;
  std::vector<double> wide_;  // of the columns of the sheet at hand
  std::map<std::string, lxw_worksheet*> worksheets_;
  std::map<std::string, lxw_format*> formats_;
};

}  // namespace

std::optional<double> told_value(double value, int digits) {
  if (!std::isfinite(value)) return std::nullopt;
  const std::string text = fmt::format("{:.{}g}", value, digits);
  double out = 0;
  std::from_chars(text.data(), text.data() + text.size(), out);
  return out == 0 ? 0.0 : out;  // no -0
}

std::string workbook_bytes(const Workbook& book) {
  const ScratchFolder folder;
  return Writer{book, folder.path()}.bytes();
}

}  // namespace shaftlog
