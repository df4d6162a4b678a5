#include "reports/html_page.hpp"

#include "base/embedded.hpp"
#include "reports/charts/palette.hpp"
#include "reports/charts/svg.hpp"

#include <algorithm>
#include <iterator>
#include <span>
#include <utility>

#include <fmt/format.h>

namespace shaftlog {

std::span<const EmbeddedFile> report_assets();  // assets/charts.js

namespace {

// Colours stand in for @name@; a test computes their contrasts.
constexpr std::string_view kStyle = R"css(
:root{color-scheme:light}
body{margin:0;background:@paper@;color:@text@;font:15px/1.45 "DejaVu Sans",Verdana,Arial,sans-serif}
main{max-width:60rem;margin:0 auto;padding:1.5rem 1rem 3rem}
h1{font-size:1.6rem;line-height:1.2;margin:0 0 .3rem}
h2{font-size:1.2rem;margin:2.2rem 0 .6rem;padding-top:.5rem;border-top:2px solid @text@}
h3{font-size:1rem;margin:1.4rem 0 .4rem}
p{margin:.4rem 0 .8rem;max-width:48rem}
.quiet,.subtitle,figcaption,summary{color:@quiet@;font-size:.87rem}
nav ul{list-style:none;margin:.8rem 0 0;padding:0;display:flex;flex-wrap:wrap;gap:.2rem 1.2rem;font-size:.87rem}
a{color:@main@}
.wide{overflow-x:auto}
table{border-collapse:collapse;font-size:.84rem;margin:.3rem 0 1rem;font-variant-numeric:tabular-nums}
caption{text-align:left;font-weight:bold;padding:.3rem 0}
th,td{text-align:left;vertical-align:top;padding:.25rem .7rem .25rem 0;border-bottom:1px solid @grid@}
thead th{border-bottom:1.5px solid @text@;vertical-align:bottom}
th.n,td.n{text-align:right}
.n+:not(.n){padding-left:.7rem}
dl{display:grid;grid-template-columns:max-content 1fr;gap:.15rem 1.2rem;margin:.6rem 0 1rem;font-size:.93rem}
dt{color:@quiet@}
dd{margin:0}
ul{margin:.2rem 0 .8rem;padding-left:1.2rem}
.finding{border-left:4px solid @axis@;padding:.1rem 0 .1rem .9rem;margin:0 0 1.4rem}
.finding.act{border-color:@warn@}
.finding.plan{border-left:4px double @other@}
.finding p,.finding li{font-size:.93rem}
.finding h3{margin:.1rem 0 .3rem}
.finding dl{font-size:.87rem}
.u{white-space:nowrap;font-weight:bold}
.u.act{color:@warn@}.u.plan{color:@other@}.u.watch{color:@main@}.u.note{color:@quiet@}
.u svg{width:.8em;height:.8em;vertical-align:-.05em;margin-right:.35em}
.cautions{border:1.5px solid @warn@;padding:.5rem .9rem;margin:.5rem 0 1rem;font-size:.87rem}
.cautions ul{margin-bottom:0}
.cautions li,.finding .cautions li{font-size:1em}
figure{margin:.6rem 0 1.2rem}
figure>svg{display:block;max-width:100%;height:auto}
figcaption{max-width:48rem;margin-bottom:.4rem}
figcaption b{color:@text@}
details{margin:.3rem 0}
.d{white-space:nowrap}
footer{margin-top:3rem;color:@quiet@;font-size:.84rem}
.crosshair{pointer-events:none}
.crosshair line{stroke:@text@;stroke-width:.8}
.crosshair .band{fill:@main@;fill-opacity:.15}
.crosshair rect{fill:@text@}
.crosshair text{fill:@paper@;font-size:10px;text-anchor:middle}
.ranged{cursor:crosshair;touch-action:pan-y;user-select:none}
.range-grid line{stroke:@grid@;stroke-width:.8}
.range-grid .strong{stroke:@axis@}
.range-grid text{fill:@quiet@;font-size:10px;text-anchor:middle}
.range{display:flex;flex-wrap:wrap;gap:.4rem .8rem;align-items:center;padding:.4rem 0;background:@paper@}
.range input,.range button{font:inherit;min-height:2.4rem;padding:.2rem .6rem}
.range p{margin:0}
.blank{width:100%;table-layout:fixed}
.blank th,.blank td{border:1px solid @axis@;padding:.15rem .3rem}
.blank td{height:1.7rem;color:@quiet@}
.blank small{display:block;font-weight:normal;color:@quiet@}
@media screen and (min-width:44rem){.range.on{position:sticky;top:0;z-index:1}}
@media print{
.range label,.range button,.range+.quiet{display:none}
.page{break-before:page}
.blank th,.blank td{padding:1mm}
.blank td{height:5.2mm}
@page{margin:15mm}
html{font-size:11.5px}
body{font-size:9pt;line-height:1.32}
main{max-width:none;padding:0}
p,figcaption{max-width:none}
p{margin:.25rem 0 .45rem}
nav,details{display:none}
a{color:inherit;text-decoration:none}
h2,h3,caption{break-after:avoid}
h2{margin-top:1.4rem}
.finding{margin-bottom:.9rem}
.finding dl,.cautions,ul{margin-top:.2rem;margin-bottom:.4rem}
.finding,.cautions,figure,tr,dl{break-inside:avoid}
thead{display:table-header-group}
.wide{overflow:visible}
table{font-size:7.5pt;width:100%}
th,td{padding-right:.45rem}
p,li{orphans:3;widows:3}
}
)css";

std::string coloured(std::string_view style) {
  const std::pair<std::string_view, Colour> names[] = {
      {"@paper@", ink::kPaper}, {"@text@", ink::kText}, {"@quiet@", ink::kQuiet}, {"@main@", ink::kMain},
      {"@grid@", ink::kGrid},   {"@axis@", ink::kAxis}, {"@warn@", ink::kWarn},   {"@other@", ink::kOther}};
  std::string out{style};
  for (const auto& [name, colour] : names) {
    for (std::size_t at = out.find(name); at != std::string::npos; at = out.find(name, at)) {
      out.replace(at, name.size(), hex(colour));
    }
  }
  return out;
}

std::string_view mark_path(Urgency u) {
  switch (u) {
    case Urgency::act:
      return "<path d=\"M5 0L10 9H0Z\" fill=\"currentColor\"/>";
    case Urgency::plan:
      return "<path d=\"M5 0L10 5L5 10L0 5Z\" fill=\"currentColor\"/>";
    case Urgency::watch:
      return "<circle cx=\"5\" cy=\"5\" r=\"3.8\" fill=\"none\" stroke=\"currentColor\" stroke-width=\"2.2\"/>";
    case Urgency::note:
      return "<path d=\"M1 1H9V9H1Z\" fill=\"currentColor\"/>";
  }
  return "";
}

std::string marked(Urgency u, std::string_view text) {
  return fmt::format("<span class=\"u {}\"><svg viewBox=\"0 0 10 10\" aria-hidden=\"true\">{}</svg>{}</span>",
                     name_of(u), mark_path(u), escaped(text));
}

// Markup of running text: days are kept whole, which browsers else break at their hyphens.
std::string flowing(std::string_view said) {
  const std::string text = cubic(std::string{said});
  const auto is_day = [&](std::size_t at) {
    constexpr std::string_view kForm = "0000-00-00";
    if (at + kForm.size() > text.size()) return false;
    for (std::size_t i = 0; i < kForm.size(); ++i) {
      const bool is_digit = text[at + i] >= '0' && text[at + i] <= '9';
      if (kForm[i] == '0' ? !is_digit : text[at + i] != '-') return false;
    }
    return true;
  };
  std::string out;
  std::size_t from = 0;
  for (std::size_t i = 0; i < text.size();) {
    if (text[i] == '\n') {
      out += escaped(std::string_view{text}.substr(from, i - from)) + "<br>";
      from = ++i;
      continue;
    }
    if (!is_day(i)) {
      ++i;
      continue;
    }
    out += escaped(std::string_view{text}.substr(from, i - from));
    out += "<span class=\"d\">";
    out.append(text, i, 10);
    out += "</span>";
    i += 10;
    from = i;
  }
  return out + escaped(std::string_view{text}.substr(from));
}

bool is_on_time(const ReportBlock& b) {
  const auto* chart = std::get_if<ChartBlock>(&b);
  return chart != nullptr && chart->chart.drawing.time_scale;
}

class PageWriter {
 public:
  /// \param range_form before the first chart on a time axis
  explicit PageWriter(std::string_view range_form = {}) : range_form_{range_form} {}

  void all(const Report& report) {
    // Charts that share a range lie in one box, so that its fields stay beside them.
    bool is_linked = false;
    const auto link = [&](bool now) {
      if (now == is_linked) return;
      out += now ? "<div class=\"linked\">\n" : "</div>\n";
      is_linked = now;
      if (now) out += std::exchange(range_form_, {});
    };
    for (const ReportBlock& b : report.blocks) {
      link(is_on_time(b));
      std::visit(*this, b);
    }
    link(false);
  }

  void operator()(const Heading& h) { add("<h{0} id=\"{1}\">{2}</h{0}>\n", h.level, h.anchor, escaped(h.text)); }
  void operator()(const Paragraph& p) { add("<p{}>{}</p>\n", p.is_quiet ? " class=\"quiet\"" : "", flowing(p.text)); }
  void operator()(const BulletList& l) {
    if (!l.title.empty()) add("<p>{}</p>\n", escaped(l.title));
    list(l.items);
  }
  void operator()(const Cautions& c) {
    add("<div class=\"cautions\"><b>{}</b>\n", escaped(c.title));
    list(c.items);
    out += "</div>\n";
  }
  void operator()(const Facts& f) {
    out += "<dl>\n";
    for (const auto& [name, value] : f.rows) add("<dt>{}</dt><dd>{}</dd>\n", escaped(name), flowing(value));
    out += "</dl>\n";
  }
  void operator()(const ReportTable& t) {
    if (t.rows.empty()) {
      if (!t.caption.empty()) add("<p><b>{}</b></p>\n", escaped(cubic(t.caption)));
      add("<p>{}</p>\n", escaped(t.when_empty));
      return;
    }
    out += "<div class=\"wide\"><table>\n";
    if (!t.caption.empty()) add("<caption>{}</caption>\n", escaped(cubic(t.caption)));
    out += "<thead><tr>";
    for (const ReportTable::Column& c : t.columns) {
      add("<th scope=\"col\"{}>{}</th>", c.is_number ? " class=\"n\"" : "", escaped(cubic(c.head)));
    }
    out += "</tr></thead>\n<tbody>\n";
    for (const TableRow& row : t.rows) {
      out += "<tr>";
      for (std::size_t i = 0; i < row.cells.size(); ++i) {
        const TableCell& c = row.cells[i];
        out += i < t.columns.size() && t.columns[i].is_number ? "<td class=\"n\">" : "<td>";
        const std::string text = c.urgency ? marked(*c.urgency, c.text) : flowing(c.text);
        if (c.address.empty())
          out += text;
        else
          add("<a href=\"{}\">{}</a>", escaped(c.address), text);
        out += "</td>";
      }
      out += "</tr>\n";
    }
    out += "</tbody></table></div>\n";
  }
  void operator()(const FindingBlock& f) {
    add("<section class=\"finding {}\">\n<h3>{} {}</h3>\n<p>{}</p>\n<dl>\n", name_of(f.urgency),
        marked(f.urgency, urgency_word(f.urgency)), escaped(cubic(f.title)), flowing(f.summary));
    for (const auto& [name, value] : f.lines) add("<dt>{}</dt><dd>{}</dd>\n", escaped(name), flowing(value));
    out += "</dl>\n";
    if (!f.checks.empty()) {
      out += "<p><b>Check</b></p>\n";
      list(f.checks);
    }
    if (!f.cautions.empty()) (*this)(Cautions{"Before any of these checks", f.cautions});
    out += "</section>\n";
  }
  void operator()(const ChartBlock& c) {
    ++charts_;
    add("<figure>\n<figcaption>{}</figcaption>\n",
        c.is_titled ? "<b>" + escaped(c.chart.title) + "</b>" : flowing(c.chart.story));
    const std::string id = fmt::format("chart{}", charts_);
    out += svg_text(c.chart.drawing, {c.chart.title, c.chart.story, id, false});
    for (const auto& [title, table] : c.figures) {
      if (table.rows.empty()) continue;
      add("<details><summary>The figures: {}</summary>\n<div class=\"wide\"><table>\n<thead><tr>", escaped(title));
      for (const std::string& head : table.heads) add("<th scope=\"col\">{}</th>", escaped(cubic(head)));
      out += "</tr></thead>\n<tbody>\n";
      for (const auto& row : table.rows) {
        out += "<tr>";
        for (const std::string& text : row) add("<td>{}</td>", escaped(cubic(text)));
        out += "</tr>\n";
      }
      out += "</tbody></table></div></details>\n";
    }
    out += "</figure>\n";
  }

  void operator()(const BlankTable& t) {
    double sum = 0;
    for (const BlankTable::Column& c : t.columns) sum += c.share;
    add("<div class=\"wide\"><table class=\"blank\">\n<caption>{}</caption>\n<thead><tr>", escaped(cubic(t.caption)));
    for (const BlankTable::Column& c : t.columns) {
      add("<th scope=\"col\" style=\"width:{:.1f}%\">{}<small>{}</small></th>", 100 * c.share / sum,
          escaped(cubic(c.head)), escaped(c.hint));
    }
    out += "</tr></thead>\n<tbody>\n";
    for (const auto& row : t.rows) {
      out += "<tr>";
      for (std::size_t i = 0; i < t.columns.size(); ++i) add("<td>{}</td>", i < row.size() ? escaped(row[i]) : "");
      out += "</tr>\n";
    }
    out += "</tbody></table></div>\n";
  }
  void operator()(const NewPage&) { out += "<div class=\"page\"></div>\n"; }

  std::string out;

 private:
  template <class... Values>
  void add(fmt::format_string<Values...> how, Values&&... values) {
    fmt::format_to(std::back_inserter(out), how, std::forward<Values>(values)...);
  }
  void list(const std::vector<std::string>& items) {
    out += "<ul>\n";
    for (const std::string& i : items) add("<li>{}</li>\n", flowing(i));
    out += "</ul>\n";
  }

  std::string_view range_form_;
  int charts_ = 0;
};

}  // namespace

std::string html_contents(const Report& report) {
  std::string out = "<nav aria-label=\"Contents\"><ul>\n";
  for (const ReportBlock& b : report.blocks) {
    if (const auto* h = std::get_if<Heading>(&b); h != nullptr && h->level == 2) {
      out += fmt::format("<li><a href=\"#{}\">{}</a></li>\n", h->anchor, escaped(h->text));
    }
  }
  return out + "</ul></nav>\n";
}

std::string html_blocks(const Report& report, std::string_view range_form) {
  PageWriter w{range_form};
  w.all(report);
  return std::move(w.out);
}

std::string html_style() { return coloured(kStyle); }
std::string_view html_script() { return report_assets().front().text; }
std::string html_urgency(Urgency u) { return marked(u, urgency_word(u)); }
std::string html_escaped(std::string_view text) { return escaped(text); }
std::string html_words(std::string_view text) { return escaped(cubic(std::string{text})); }

std::string html_page(const Report& report) {
  PageWriter w;
  w.out.reserve(1 << 20);
  w.out += "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n";
  // Nothing may be fetched or sent, whatever stands in a remark.
  w.out +=
      "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'; "
      "script-src "
      "'unsafe-inline'; base-uri 'none'; form-action 'none'\">\n";
  w.out += "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n";
  w.out += fmt::format("<title>{}</title>\n<style>{}</style>\n</head>\n<body>\n<main>\n", escaped(report.footer),
                       html_style());
  w.out += fmt::format("<h1>{}</h1>\n<p class=\"subtitle\">{}</p>\n", escaped(report.title), escaped(report.subtitle));
  w.out += html_contents(report);
  w.all(report);
  w.out += fmt::format("<footer>{}</footer>\n</main>\n<script>{}</script>\n</body>\n</html>\n", escaped(report.footer),
                       html_script());
  return std::move(w.out);
}

}  // namespace shaftlog
