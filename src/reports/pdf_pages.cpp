#include "reports/pdf_pages.hpp"

#include "reports/charts/palette.hpp"
#include "reports/charts/text_width.hpp"

#include <algorithm>
#include <cmath>
#include <memory>
#include <numeric>

#include <fmt/format.h>

namespace shaftlog {
namespace {

constexpr double kBody = 12, kSmall = 10.5, kTable = 9.8;  // 9, 7.9 and 7.4 points
constexpr double kLead = 1.38;                             // line height over size
constexpr double kWidth = kChartWidth;
constexpr double kTop = 57, kBottom = 62;  // 15 mm, and the foot

double line_of(double size) { return size * kLead; }

/// What cannot be cut: a line of text, a table row, a chart.
struct Piece {
  Drawing drawing;
  bool keeps_with_next = false;
  std::shared_ptr<const Drawing> table_head;  ///< drawn again when a page begins with this piece
  std::optional<PdfBookmark> bookmark;        ///< its page is told later
  bool begins_page = false;
};

class Setter {
 public:
  std::vector<Piece> pieces;

  void gap(double height) {
    if (pieces.empty()) return;
    add(Drawing{kWidth, height}, pieces.back().keeps_with_next);
  }

  void text(const std::string& words, const TextLook& look, double indent, bool keeps, double width = kWidth) {
    for (const std::string& line : broken_into_lines(cubic(words), width - indent, look.size, look.is_strong)) {
      Drawing d{kWidth, line_of(look.size)};
      d.text({indent, look.size}, line, look);
      add(std::move(d), keeps);
    }
  }

  void bullets(const std::vector<std::string>& items, double size, double indent, bool keeps) {
    for (const std::string& item : items) {
      bool is_first = true;
      for (const std::string& line : broken_into_lines(cubic(item), kWidth - indent - 14, size)) {
        Drawing d{kWidth, line_of(size)};
        if (is_first) d.mark({indent + 4, size - 3.6}, Shape::disc, 3.2, ink::kQuiet);
        d.text({indent + 14, size}, line, {size, ink::kText});
        add(std::move(d), keeps);
        is_first = false;
      }
    }
  }

  void operator()(const Heading& h) {
    const double size = h.level == 2 ? 16 : 13;
    gap(h.level == 2 ? 22 : 14);
    Drawing d{kWidth, size * 1.5 + (h.level == 2 ? 8 : 0)};
    if (h.level == 2) d.line({0, 0}, {kWidth, 0}, {ink::kText, 1.4, Dash::solid});
    d.text({0, size + (h.level == 2 ? 6 : 0)}, h.text, {size, ink::kText, Anchor::start, true});
    add(std::move(d), true);
    pieces.back().bookmark = PdfBookmark{h.text, 0, 0, h.level - 2};
  }
  void operator()(const Paragraph& p) {
    const double size = p.is_quiet ? kSmall : kBody;
    text(p.text, {size, p.is_quiet ? ink::kQuiet : ink::kText}, 0, p.leads_in);
    gap(8);
  }
  void operator()(const BulletList& l) {
    if (!l.title.empty()) text(l.title, {kBody, ink::kText}, 0, true);
    bullets(l.items, kSmall, 0, false);
    gap(8);
  }
  void operator()(const Cautions& c) {
    framed(c, 0);
    gap(10);
  }
  void operator()(const Facts& f) {
    double names = 60;
    for (const auto& [name, value] : f.rows) names = std::max(names, text_width(name, kSmall) + 18);
    for (const auto& [name, value] : f.rows) named(name, value, 0, names, false);
    gap(8);
  }
  void operator()(const FindingBlock& f) {
    const std::size_t from = pieces.size();
    Drawing title{kWidth, line_of(13)};
    title.mark({7, 8.5}, shape_of(f.urgency), 10, colour_of(f.urgency));
    const std::string word = urgency_word(f.urgency);
    title.text({18, 13}, word, {13, colour_of(f.urgency), Anchor::start, true});
    const double at = 18 + text_width(word, 13, true) + 9;
    const auto lines = broken_into_lines(cubic(f.title), kWidth - at, 13, true);
    title.text({at, 13}, lines.front(), {13, ink::kText, Anchor::start, true});
    add(std::move(title), true);
    for (std::size_t i = 1; i < lines.size(); ++i) text(lines[i], {13, ink::kText, Anchor::start, true}, at, true);
    gap(3);
    text(f.summary, {kBody, ink::kText}, 18, true);
    gap(3);
    for (const auto& [name, value] : f.lines) named(name, value, 18, 82, true);
    if (!f.checks.empty()) {
      gap(3);
      text("check", {kSmall, ink::kText, Anchor::start, true}, 18, true);
      bullets(f.checks, kSmall, 18, true);
    }
    if (!f.cautions.empty()) {
      gap(4);
      framed({"Before any of these checks", f.cautions}, 18);
    }
    // The bar at the left says how far it goes.
    for (std::size_t i = from; i < pieces.size(); ++i) {
      pieces[i].drawing.line({1, 0}, {1, pieces[i].drawing.height()}, {colour_of(f.urgency), 2, Dash::solid});
      pieces[i].keeps_with_next = i + 1 < pieces.size();
    }
    gap(16);
  }
  void operator()(const ChartBlock& c) {
    if (c.is_titled) text(c.chart.title, {kSmall, ink::kText, Anchor::start, true}, 0, true);
    if (!c.is_titled && !c.chart.story.empty()) text(c.chart.story, {kSmall, ink::kQuiet}, 0, true);
    gap(4);
    add(c.chart.drawing, false);
    gap(14);
  }
  void operator()(const ReportTable& t);
  void operator()(const BlankTable& t);
  void operator()(const NewPage&) { begins_page_ = true; }

 private:
  void add(Drawing d, bool keeps) {
    if (begins_page_ && d.items().empty()) return;  // no gap at the top of a page
    pieces.push_back({std::move(d), keeps, nullptr, std::nullopt, begins_page_});
    begins_page_ = false;
  }
  bool begins_page_ = false;

  void named(const std::string& name, const std::string& value, double indent, double names, bool keeps) {
    bool is_first = true;
    for (const std::string& line : broken_into_lines(cubic(value), kWidth - indent - names, kSmall)) {
      Drawing d{kWidth, line_of(kSmall)};
      if (is_first) d.text({indent, kSmall}, name, {kSmall, ink::kQuiet});
      d.text({indent + names, kSmall}, line, {kSmall, ink::kText});
      add(std::move(d), keeps);
      is_first = false;
    }
  }

  // The frame is drawn by the line, so that it goes over a page's end.
  void framed(const Cautions& c, double indent) {
    const std::size_t from = pieces.size();
    add(Drawing{kWidth, 5}, true);
    text(c.title, {kSmall, ink::kWarn, Anchor::start, true}, indent + 10, true);
    bullets(c.items, kSmall, indent + 10, true);
    add(Drawing{kWidth, 5}, false);
    const Stroke frame{ink::kWarn, 1.1, Dash::solid};
    for (std::size_t i = from; i < pieces.size(); ++i) {
      Drawing& d = pieces[i].drawing;
      for (const double x : {indent, kWidth - 1}) d.line({x, 0}, {x, d.height()}, frame);
      if (i == from) d.line({indent, 0.5}, {kWidth - 1, 0.5}, frame);
      if (i + 1 == pieces.size()) d.line({indent, d.height() - 0.5}, {kWidth - 1, d.height() - 0.5}, frame);
    }
  }
};

// Every column as wide as its widest cell where that fits; else the wide ones give way, never below their longest word.
constexpr double kAir = 7;
std::vector<double> column_widths(const ReportTable& t) {
  constexpr double kPad = 9;
  std::vector<double> natural, least;
  const auto longest_word = [](const std::string& text, bool is_strong) {
    double longest = 0;
    std::size_t at = 0;
    while (at < text.size()) {
      const std::size_t blank = std::min(text.find_first_of(" \n", at), text.size());
      longest = std::max(longest, text_width(std::string_view{text}.substr(at, blank - at), kTable, is_strong));
      at = blank + 1;
    }
    return longest;
  };
  for (std::size_t c = 0; c < t.columns.size(); ++c) {
    double wide = text_width(t.columns[c].head, kTable, true), word = longest_word(t.columns[c].head, true);
    for (const TableRow& row : t.rows) {
      const TableCell& cell = row.cells[c];
      const double mark = cell.urgency ? 12 : 0;
      wide = std::max(wide, text_width(cell.text, kTable, cell.urgency.has_value()) + mark);
      word = std::max(word, longest_word(cell.text, cell.urgency.has_value()) + mark);
    }
    // A figure stands at the right of its column: words in the next one need more air.
    const bool needs_air = c > 0 && t.columns[c - 1].is_number && !t.columns[c].is_number;
    natural.push_back(wide + kPad + (needs_air ? kAir : 0));
    least.push_back(std::min(word, 150.0) + kPad + (needs_air ? kAir : 0));
  }
  const double sum = std::accumulate(natural.begin(), natural.end(), 0.0);
  if (sum <= kWidth) return natural;
  const double sum_least = std::accumulate(least.begin(), least.end(), 0.0);
  std::vector<double> out = least;
  if (sum_least >= kWidth) {
    for (double& w : out) w *= kWidth / sum_least;
    return out;
  }
  // What is left goes first to the columns that need little: each takes at most what it lacks.
  double left = kWidth - sum_least;
  std::vector<std::size_t> open;
  for (std::size_t c = 0; c < out.size(); ++c) open.push_back(c);
  std::sort(open.begin(), open.end(), [&](std::size_t a, std::size_t b) {
    const double need_a = natural[a] - least[a], need_b = natural[b] - least[b];
    return need_a != need_b ? need_a < need_b : a < b;
  });
  for (std::size_t k = 0; k < open.size(); ++k) {
    const double share = left / static_cast<double>(open.size() - k);
    const double given = std::min(share, natural[open[k]] - least[open[k]]);
    out[open[k]] += given;
    left -= given;
  }
  return out;
}

void Setter::operator()(const ReportTable& as_said) {
  ReportTable t = as_said;
  for (ReportTable::Column& c : t.columns) c.head = cubic(std::move(c.head));
  for (TableRow& row : t.rows)
    for (TableCell& c : row.cells) c.text = cubic(std::move(c.text));
  if (!t.caption.empty()) {
    gap(6);
    text(t.caption, {kSmall, ink::kText, Anchor::start, true}, 0, true);
  }
  if (t.rows.empty()) {
    text(t.when_empty, {kBody, ink::kText}, 0, false);
    gap(8);
    return;
  }
  const std::vector<double> widths = column_widths(t);
  const auto air_before = [&](std::size_t c) {
    return c > 0 && t.columns[c - 1].is_number && !t.columns[c].is_number ? kAir : 0.0;
  };
  const auto row_of = [&](const std::vector<TableCell>& cells, bool is_head) {
    std::vector<std::vector<std::string>> lines;
    std::size_t most = 1;
    for (std::size_t c = 0; c < cells.size(); ++c) {
      const bool is_strong = is_head || cells[c].urgency;
      const double taken = 8 + (cells[c].urgency ? 12 : 0) + air_before(c);
      lines.push_back(broken_into_lines(cells[c].text, widths[c] - taken, kTable, is_strong));
      most = std::max(most, lines.back().size());
    }
    Drawing d{kWidth, static_cast<double>(most) * line_of(kTable) + 5};
    double x = 0;
    for (std::size_t c = 0; c < cells.size(); ++c) {
      const auto& urgency = cells[c].urgency;
      const double mark = (urgency ? 12 : 0) + air_before(c);
      if (urgency) d.mark({x + air_before(c) + 4.5, kTable - 2}, shape_of(*urgency), 7.5, colour_of(*urgency));
      for (std::size_t i = 0; i < lines[c].size(); ++i) {
        // Heads stand at the foot of their row, beside the figures.
        const std::size_t row = is_head ? most - lines[c].size() + i : i;
        const double y = kTable + 1.5 + static_cast<double>(row) * line_of(kTable);
        const TextLook look{kTable, urgency ? colour_of(*urgency) : ink::kText,
                            t.columns[c].is_number ? Anchor::end : Anchor::start, is_head || urgency.has_value()};
        d.text({t.columns[c].is_number ? x + widths[c] - 8 : x + mark, y}, lines[c][i], look);
      }
      x += widths[c];
    }
    d.line({0, d.height() - 0.5}, {kWidth, d.height() - 0.5}, {is_head ? ink::kText : ink::kGrid, is_head ? 1.2 : 0.8});
    return d;
  };
  std::vector<TableCell> heads;
  for (const ReportTable::Column& c : t.columns) heads.push_back({c.head, {}});
  const auto head = std::make_shared<const Drawing>(row_of(heads, true));
  add(*head, true);
  for (const TableRow& row : t.rows) {
    // A head with a single row at the foot of a page looks like the whole table.
    add(row_of(row.cells, false), &row == &t.rows.front() && t.rows.size() > 1);
    pieces.back().table_head = head;
  }
  gap(12);
}

// Lines 7.4 mm apart: what a hand writes in.
void Setter::operator()(const BlankTable& t) {
  constexpr double kRow = 28;
  text(t.caption, {kSmall, ink::kText, Anchor::start, true}, 0, true);
  gap(3);
  double sum = 0;
  for (const BlankTable::Column& c : t.columns) sum += c.share;
  std::vector<double> at{0.5};
  for (const BlankTable::Column& c : t.columns) at.push_back(at.back() + (kWidth - 1) * c.share / sum);
  const Stroke rule{ink::kAxis, 0.9, Dash::solid}, frame{ink::kText, 1.2, Dash::solid};
  const auto uprights = [&](Drawing& d) {
    for (std::size_t i = 0; i < at.size(); ++i)
      d.line({at[i], 0}, {at[i], d.height()}, i == 0 || i + 1 == at.size() ? frame : rule);
  };
  std::vector<std::vector<std::string>> hints;
  std::size_t most = 1;
  for (std::size_t c = 0; c < t.columns.size(); ++c) {
    hints.push_back(broken_into_lines(t.columns[c].hint, at[c + 1] - at[c] - 7, kTable - 1));
    most = std::max(most, hints.back().size());
  }
  Drawing head{kWidth, line_of(kSmall) + static_cast<double>(most) * line_of(kTable - 1) + 7};
  head.box({at.front(), 0, at.back() - at.front(), head.height()}, ink::kCalmBand);
  for (std::size_t c = 0; c < t.columns.size(); ++c) {
    head.text({at[c] + 4, kSmall + 3}, cubic(t.columns[c].head), {kSmall, ink::kText, Anchor::start, true});
    for (std::size_t i = 0; i < hints[c].size(); ++i) {
      head.text({at[c] + 4, 3 + line_of(kSmall) + kTable - 1 + static_cast<double>(i) * line_of(kTable - 1)},
                hints[c][i], {kTable - 1, ink::kQuiet});
    }
  }
  uprights(head);
  head.line({at.front(), 0.5}, {at.back(), 0.5}, frame);
  head.line({at.front(), head.height() - 0.5}, {at.back(), head.height() - 0.5}, frame);
  const auto shared = std::make_shared<const Drawing>(head);
  add(head, true);
  for (std::size_t r = 0; r < t.rows.size(); ++r) {
    Drawing d{kWidth, kRow};
    for (std::size_t c = 0; c < t.rows[r].size(); ++c) {
      d.text({at[c] + 4, kRow - 9}, t.rows[r][c], {kTable, ink::kText});
    }
    uprights(d);
    const bool is_last = r + 1 == t.rows.size();
    d.line({at.front(), kRow - 0.5}, {at.back(), kRow - 0.5}, is_last ? frame : rule);
    add(std::move(d), r == 0 && !is_last);
    pieces.back().table_head = shared;
  }
  gap(12);
}

}  // namespace

LaidOut lay_out(const Report& report, Paper paper) {
  const double width = paper == Paper::a4 ? 210 / 25.4 * 96 : 8.5 * 96;
  const double height = paper == Paper::a4 ? 297 / 25.4 * 96 : 11 * 96.0;
  const double left = (width - kWidth) / 2, room = height - kTop - kBottom;

  Setter s;
  s.text(report.title, {22, ink::kText, Anchor::start, true}, 0, true);
  s.gap(4);
  s.text(report.subtitle, {kSmall, ink::kQuiet}, 0, false);
  s.gap(10);
  for (const ReportBlock& b : report.blocks) std::visit(s, b);

  LaidOut out;
  double y = 0;
  const auto begin_page = [&] {
    out.pages.emplace_back(width, height);
    y = 0;
  };
  begin_page();
  const auto is_blank = [](const Piece& p) { return p.drawing.items().empty(); };
  for (std::size_t i = 0; i < s.pieces.size(); ++i) {
    const Piece& p = s.pieces[i];
    if (y == 0 && is_blank(p)) continue;  // no gap at the top of a page
    // What holds together goes over the page together, when it fits on one at all.
    double together = p.drawing.height();
    for (std::size_t k = i; s.pieces[k].keeps_with_next && k + 1 < s.pieces.size(); ++k) {
      together += s.pieces[k + 1].drawing.height();
    }
    const bool begins = i == 0 || !s.pieces[i - 1].keeps_with_next;
    const double needs = begins && together <= room ? together : p.drawing.height();
    if (y > 0 && (p.begins_page || (y + needs > room && !(is_blank(p) && !begins)))) {
      begin_page();
      if (is_blank(p)) continue;
      if (p.table_head) {
        out.pages.back().include(*p.table_head, {left, kTop});
        y += p.table_head->height();
      }
    }
    if (p.bookmark) {
      out.bookmarks.push_back(*p.bookmark);
      out.bookmarks.back().page = out.pages.size() - 1;
      out.bookmarks.back().y = kTop + y;
    }
    out.pages.back().include(p.drawing, {left, kTop + y});
    y += p.drawing.height();
  }
  for (std::size_t i = 0; i < out.pages.size(); ++i) {
    Drawing& page = out.pages[i];
    page.line({left, height - kBottom + 16}, {left + kWidth, height - kBottom + 16}, {ink::kAxis, 0.7, Dash::solid});
    page.text({left, height - kBottom + 30}, report.footer, {9.5, ink::kQuiet});
    page.text({left + kWidth, height - kBottom + 30}, fmt::format("page {} of {}", i + 1, out.pages.size()),
              {9.5, ink::kQuiet, Anchor::end});
  }
  return out;
}

std::string pdf_pages(const Report& report, Paper paper) {
  const LaidOut laid = lay_out(report, paper);
  return pdf_text(laid.pages, laid.bookmarks, {report.title, report.subtitle, report.as_of});
}

}  // namespace shaftlog
