#include "reports/workbook_content.hpp"

#include "reports/workbook_parts.hpp"

#include <algorithm>

#include <fmt/format.h>

namespace shaftlog {
namespace {

Workbook start_workbook(const ReportInput& in, const std::string& title) {
  const Report r = start_report(in, title);
  return {r.title, r.footer, in.view.as_of, {}};
}

// Made last, shown first: what the workbook rests on, what each sheet holds, how to read it.
void add_about(Workbook& book, const ReportInput& in) {
  Sheet s;
  s.name = "About";
  s.is_listing = false;
  s.keys = 0;
  s.columns = {{"item"}, {"value"}};
  const auto say = [&s](const std::string& item, SheetCell value) { s.rows.push_back({{item, std::move(value)}, {}}); };
  say(book.title, std::monostate{});
  say("as of (UTC)", in.view.as_of);
  if (in.view.known) say("recorded by (UTC)", *in.view.known);
  say("from", in.records);
  say("made by", fmt::format("Shaftlog {}", in.view.version));
  s.rows.push_back({{std::monostate{}, std::monostate{}}, {}});
  for (const Sheet& x : book.sheets) {
    const std::string rows =
        x.is_listing ? fmt::format("{} row{}. ", x.rows.size(), x.rows.size() == 1 ? "" : "s") : std::string{};
    s.rows.push_back({{SheetLink{x.name}, typeset(rows + x.what)}, {}});
  }
  s.rows.push_back({{std::monostate{}, std::monostate{}}, {}});
  say("empty cell", std::string{"Not known, or does not apply. It is never 0; a 0 is a measured or reckoned 0."});
  say("5 %, 95 %", std::string{"Bounds of a 90 % interval: in 1 of 10 cases the truth lies outside."});
  say("times", std::string{"Real dates, in UTC unless the heading says the ship's clock."});
  say("figures", std::string{"6 significant digits, the same as in `shaftlog review --json`; a cell may show fewer."});
  say("the same again",
      std::string{"The same records, time and version give this file again, byte for byte, until somebody saves it."});
  say("what decides", std::string{"Findings advise checks. Makers' instructions, class, flag, local rules and licensed "
                                  "practice decide. Shaftlog is not an approved planned-maintenance scheme."});
  book.sheets.insert(book.sheets.begin(), std::move(s));
}

bool has_any(const Sheet& s, const std::string& head) {
  const auto c = static_cast<std::size_t>(
      std::find_if(s.columns.begin(), s.columns.end(), [&](const SheetColumn& x) { return x.head == head; }) -
      s.columns.begin());
  return std::any_of(s.rows.begin(), s.rows.end(),
                     [c](const SheetRow& r) { return std::holds_alternative<double>(r.cells[c]); });
}

// Charts of what can be seen at a glance; a chart with nothing in it is left out.
void add_fleet_charts(Workbook& book, bool is_vessel) {
  Sheet s;
  s.name = "Charts";
  s.what = "Charts over the other sheets; they follow when figures there are changed.";
  s.is_listing = false;
  s.keys = 0;
  using Kind = SheetChart::Kind;
  using Look = SheetChart::Look;
  const auto find = [&book](const char* name) -> const Sheet& {
    return *std::find_if(book.sheets.begin(), book.sheets.end(), [&](const Sheet& x) { return x.name == name; });
  };
  if (!is_vessel && !find("Ships").rows.empty()) {
    SheetChart c;
    c.kind = Kind::stacked_columns;
    c.title = "Findings by ship";
    c.x_title = "ship";
    c.y_title = "findings";
    c.y_least = 0;
    c.series = {{"act", "Ships", "ship", "act", Look::limit},
                {"plan", "Ships", "ship", "plan", Look::other},
                {"watch", "Ships", "ship", "watch", Look::main},
                {"note", "Ships", "ship", "note", Look::edge}};
    s.charts.push_back(std::move(c));
  }
  if (!find("Grease by grade").rows.empty()) {
    SheetChart c;
    c.kind = Kind::columns;
    c.title = "Grease used, and past the seals, in the 12 months";
    c.x_title = "grease";
    c.y_title = "kg";
    c.y_least = 0;
    c.series = {{"used", "Grease by grade", "grease", "used kg", Look::main},
                {"past the seals", "Grease by grade", "grease", "past the seals kg", Look::limit}};
    s.charts.push_back(std::move(c));
  }
  const Sheet& shafts = find("Shafts");
  constexpr std::size_t kMostShafts = 24;  // more names than that cannot be read below columns
  if (is_vessel && shafts.rows.size() <= kMostShafts) {
    if (has_any(shafts, "cavity fill %")) {
      SheetChart c;
      c.kind = Kind::columns;
      c.title = "How full each cavity is now";
      c.x_title = "shaft";
      c.y_title = "% of the cavity";
      c.y_least = 0;
      c.y_most = 100;
      c.series = {{"fill", "Shafts", "shaft", "cavity fill %", Look::main},
                  {"reserve", "Shafts", "shaft", "reserve %", Look::limit}};
      s.charts.push_back(std::move(c));
    }
    const std::string washout = typeset("washout cm3/h");
    if (has_any(shafts, washout)) {
      SheetChart c;
      c.kind = Kind::columns;
      c.title = "What each cavity loses";
      c.x_title = "shaft";
      c.y_title = typeset("cm3 a running hour");
      c.y_least = 0;
      c.series = {{"now", "Shafts", "shaft", washout, Look::main},
                  {"baseline", "Shafts", "shaft", typeset("baseline cm3/h"), Look::base}};
      s.charts.push_back(std::move(c));
    }
  }
  if (!s.charts.empty()) book.sheets.push_back(std::move(s));
}

}  // namespace

Workbook fleet_workbook(const ReportInput& in, bool is_vessel) {
  std::string title = in.view.scope == "fleet" ? "Fleet report" : "Report of the " + in.view.scope;
  if (is_vessel) title = "Vessel report: " + in.logs.front().vessel.code;
  Workbook book = start_workbook(in, title);
  const std::vector<Finding> findings{in.view.findings.begin(), in.view.findings.end()};
  book.sheets.push_back(findings_sheet(in, findings));
  book.sheets.push_back(figures_sheet(in, findings));
  book.sheets.push_back(ships_sheet(in));
  book.sheets.push_back(shafts_sheet(in));
  book.sheets.push_back(lubricators_sheet(in));
  book.sheets.push_back(due_sheet(in));
  book.sheets.push_back(greasings_sheet(in));
  book.sheets.push_back(grease_sheet(in));
  book.sheets.push_back(grades_sheet(in));
  book.sheets.push_back(audit_sheet(in));
  book.sheets.push_back(nonconformities_sheet(in));
  add_fleet_charts(book, is_vessel);
  add_about(book, in);
  return book;
}

Workbook shaft_workbook(const ReportInput& in, ShaftId shaft, std::span<const Entry> records) {
  const VesselLog& log = in.logs.front();
  const VesselReview& v = in.view.vessels.front();
  std::size_t i = 0;
  while (log.shafts[i].id != shaft) ++i;
  const ShaftDetail& detail = v.shaft_details[i];
  Workbook book = start_workbook(in, fmt::format("Shaft report: {}, {}", log.vessel.code, log.shafts[i].code));
  const std::vector<Finding> findings = findings_of_shaft(v, detail);
  book.sheets.push_back(findings_sheet(in, findings));
  book.sheets.push_back(figures_sheet(in, findings));
  book.sheets.push_back(shafts_sheet(in, shaft));
  if (!detail.lubricators.empty()) book.sheets.push_back(lubricators_sheet(in, &detail));
  book.sheets.push_back(greasings_sheet(in, shaft));
  add_shaft_sheets(book, in, i, records);
  add_about(book, in);
  return book;
}

}  // namespace shaftlog
