#include "reports/log_sheets.hpp"

#include "analysis/causes.hpp"
#include "base/text.hpp"
#include "reports/report_parts.hpp"
#include "reports/table.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

namespace shaftlog {
namespace {

using Blank = BlankTable::Column;

const Blank kAt{"at", "date and time, ship's clock", 1.5};
const Blank kBy{"by", "who", 0.8};
const Blank kRemark{"remark", "", 1.8};

TableCell cell(std::string text) { return {std::move(text), {}}; }

std::string range(const Estimate& e, double unit = 1) {
  const long low = std::lround(e.low / unit), high = std::lround(e.high / unit);
  return low == high ? fmt::format("about {}", low) : fmt::format("{} to {}", low, high);
}

std::string caution(const char* key) {
  std::string text{caution_text(key)};
  if (!text.empty() && text[0] >= 'a' && text[0] <= 'z') text[0] = static_cast<char>(text[0] - 'a' + 'A');
  return text + ".";
}

Cautions cautions_of_greasing() {
  return {"Before you start",
          {caution("injection"), caution("over_pressure"), caution("moving_fin"), caution("enclosed_space"),
           caution("pollution")}};
}

/// Lines of a form, each with the next of `codes` printed in it; one that stands alone is printed in all.
std::vector<std::vector<std::string>> lines(std::size_t n, const std::vector<std::string>& codes) {
  std::vector<std::vector<std::string>> out(n);
  if (codes.empty()) return out;
  for (std::size_t i = 0; i < n; ++i) out[i] = {codes[i % codes.size()]};
  return out;
}

std::string typed_in(const char* kind, const char* file) {
  return fmt::format(
      "Typed in with `shaftlog add {}`, or as lines of {} in a log folder for `shaftlog import`, with the column "
      "vessel "
      "before. The columns are called as there.",
      kind, file);
}

}  // namespace

Report log_sheets(const ReportInput& in) {
  const Names names{in.view.reg};
  const VesselReview& v = in.view.vessels.front();
  const VesselLog& log = in.logs.front();
  const Zone& zone = names.zone(v.vessel);
  Report r = start_report(in, fmt::format("Log sheets: {}", log.vessel.code));
  std::vector<std::string> shafts, lubricators;
  for (const Shaft& s : log.shafts) shafts.push_back(s.code);
  for (const Lubricator& l : log.lubricators) lubricators.push_back(l.code);

  r.blocks.emplace_back(
      Facts{{{"vessel", fmt::format("{} (write {} where a vessel is asked for)", log.vessel.name, log.vessel.code)},
             {"clock", log.vessel.time_zone + "; write the time as the ship's clock shows it"}}});
  r.blocks.emplace_back(Heading{2, "Shafts, and what the next greasing should take", "shafts"});
  // Guns in use: their latest calibration.
  std::vector<std::pair<std::string, double>> guns;
  for (const Gun& g : log.guns) {
    const GunCalibration* c = setting_at(g.calibrations, in.view.as_of);
    if (c != nullptr && c->per_stroke.base() > 0) guns.emplace_back(g.code, in_cm3(c->per_stroke));
  }
  if (guns.size() > 2) guns.resize(2);
  ReportTable t;
  t.columns = {{"shaft", false}, {"position", false}, {"grease", false},
               {"every", false}, {"next due", false}, {typeset("should take cm3"), false}};
  for (const auto& [code, cubic] : guns) t.columns.push_back({"strokes of " + code, false});
  for (std::size_t i = 0; i < log.shafts.size(); ++i) {
    const ShaftSetting* s = setting_at(log.shafts[i].settings, in.view.as_of);
    const NextGreasing& n = v.shafts[i].next_greasing;
    std::string every;
    if (s != nullptr && s->interval) every = format_figure(in_h(*s->interval), 5) + " h";
    if (s != nullptr && s->interval_days)
      every += (every.empty() ? "" : " or ") + std::to_string(*s->interval_days) + " days";
    std::string due = n.due_at || n.due_in_h ? format_due(n, zone) : "not known";
    if (every.empty()) due = "none agreed";
    if (n.is_overdue) due = "OVERDUE";
    TableRow row{{cell(log.shafts[i].code), cell(s == nullptr ? "" : s->position),
                  cell(s == nullptr ? "" : std::string{names.grease(s->grease)}), cell(every.empty() ? "-" : every),
                  cell(due), cell(n.expected_cm3 ? range(*n.expected_cm3) : "not known")}};
    for (const auto& [code, cubic] : guns)
      row.cells.push_back(cell(n.expected_cm3 ? range(*n.expected_cm3, cubic) : "not known"));
    t.rows.push_back(std::move(row));
  }
  t.when_empty = "No shaft is registered.";
  r.blocks.emplace_back(std::move(t));
  r.blocks.emplace_back(Paragraph{
      "9 of 10 greasings lie in that range, if done at the day given. More than that: it loses more than it did, or "
      "got "
      "none by itself. Much less: the path may be blocked. Write down what went in, whatever it is, and tell the chief "
      "engineer.",
      true});
  if (!log.lubricators.empty()) {
    r.blocks.emplace_back(Heading{2, "Lubricators", "lubricators"});
    ReportTable l;
    l.columns = {{"lubricator", false},
                 {"grease", false},
                 {typeset("reservoir cm3"), true},
                 {"low mark %", true},
                 {"feeds, cm\xC2\xB3 a cycle", false}};
    for (const Lubricator& x : log.lubricators) {
      const LubricatorSetting* s = setting_at(x.settings, in.view.as_of);
      std::string feeds;
      for (const Shaft& shaft : log.shafts) {
        const Feed* held = nullptr;
        for (const Feed& f : log.feeds) {
          if (f.lubricator == x.id && f.shaft == shaft.id && (!f.from || f.from->utc <= in.view.as_of)) held = &f;
        }
        if (held == nullptr || held->dose.base() == 0) continue;
        feeds += fmt::format("{}{} {}", feeds.empty() ? "" : ", ", shaft.code, format_figure(in_cm3(held->dose), 3));
      }
      std::string low = "10";
      if (s != nullptr && s->low_level) low = format_figure(100 * in_cm3(*s->low_level) / in_cm3(s->reservoir), 2);
      l.rows.push_back({{cell(x.code), cell(s == nullptr ? "" : std::string{names.grease(s->grease)}),
                         cell(s == nullptr ? "-" : format_figure(in_cm3(s->reservoir), 5)), cell(low),
                         cell(feeds.empty() ? "none" : feeds)}});
    }
    r.blocks.emplace_back(std::move(l));
  }
  std::string hand = "Hand guns: ";
  for (const Gun& g : log.guns) {
    const GunCalibration* c = setting_at(g.calibrations, in.view.as_of);
    hand += fmt::format("{}{}, {}", &g == &log.guns.front() ? "" : "; ", g.code,
                        c == nullptr ? "not calibrated" : format_figure(in_cm3(c->per_stroke), 3) + " cm3 a stroke");
  }
  r.blocks.emplace_back(Paragraph{
      typeset(log.guns.empty() ? "No hand gun is registered: weigh what 20 strokes give before strokes are counted."
                               : hand + "."),
      false});
  r.blocks.emplace_back(cautions_of_greasing());

  r.blocks.emplace_back(NewPage{});
  r.blocks.emplace_back(Heading{2, "Greasing sheet", "greasings"});
  r.blocks.emplace_back(cautions_of_greasing());
  r.blocks.emplace_back(BlankTable{"vessel " + log.vessel.code + ": manual greasings",
                                   {{"shaft", "", 1.2},
                                    kAt,
                                    {"amount", "what went in", 0.8},
                                    {"unit", "cm3, g, strokes", 0.8},
                                    {"gun", "for strokes", 0.8},
                                    {"ended", "see below", 0.9},
                                    {"purge", "see below", 0.8},
                                    kBy,
                                    kRemark},
                                   lines(19, {})});
  r.blocks.emplace_back(
      BulletList{"",
                 {"ended: pressure (back-pressure came: full), limit (the agreed limit went in, no back-pressure), "
                  "stopped (broken "
                  "off), packed (an opened cavity was filled), not_done (no access, no grease; say why in the remark).",
                  "purge, what came out at the seal: none, clean, dark, water; left empty when nobody looked.",
                  typed_in("greasing", "greasings.csv")}});

  r.blocks.emplace_back(NewPage{});
  r.blocks.emplace_back(Heading{2, "Hours sheet", "hours"});
  const std::size_t hour_lines = shafts.empty() || shafts.size() > 24 ? 28 : 28 / shafts.size() * shafts.size();
  r.blocks.emplace_back(
      BlankTable{"vessel " + log.vessel.code + ": running hours, once a week and before each greasing",
                 {{"shaft", "", 1.2},
                  kAt,
                  {"meter_h", "what the meter shows", 1.1},
                  {"meter", "new, if replaced or reset", 0.9},
                  {"old_meter_h", "what the old one showed", 1.1},
                  kBy,
                  kRemark},
                 lines(hour_lines, shafts)});
  r.blocks.emplace_back(BulletList{"", {typed_in("hours", "hours.csv")}});

  if (!lubricators.empty()) {
    r.blocks.emplace_back(NewPage{});
    r.blocks.emplace_back(Heading{2, "Refill, level and cycle sheet", "refills"});
    r.blocks.emplace_back(
        Cautions{"Before you start", {caution("injection"), caution("mixing"), caution("pollution")}});
    r.blocks.emplace_back(BlankTable{"vessel " + log.vessel.code + ": refills",
                                     {{"lubricator", "", 1.1},
                                      {"at", "date and time", 1.4},
                                      {"amount", "poured", 0.8},
                                      {"unit", "cm3, kg, pct", 0.8},
                                      {"level_before_pct", "%", 1.75},
                                      {"level_after_pct", "%", 1.65},
                                      {"grease", "if another", 0.8},
                                      {"batch", "", 0.7},
                                      kBy,
                                      {"remark", "", 0.9}},
                                     lines(7, lubricators.size() == 1 ? lubricators : std::vector<std::string>{})});
    r.blocks.emplace_back(BulletList{"", {typed_in("refill", "refills.csv")}});
    r.blocks.emplace_back(BlankTable{"vessel " + log.vessel.code + ": levels, nothing added",
                                     {{"lubricator", "", 1}, kAt, {"level_pct", "%", 0.9}, kBy, kRemark},
                                     lines(6, lubricators)});
    r.blocks.emplace_back(BlankTable{"vessel " + log.vessel.code + ": cycle counters",
                                     {{"lubricator", "", 1},
                                      kAt,
                                      {"count", "what it shows", 0.9},
                                      {"counter", "new after a reset", 0.9},
                                      kBy,
                                      kRemark},
                                     lines(5, lubricators)});
    r.blocks.emplace_back(BulletList{"", {"The same with level and levels.csv, cycles and cycles.csv."}});
  }

  r.blocks.emplace_back(NewPage{});
  r.blocks.emplace_back(Heading{2, "Alarm, work and inspection sheet", "alarms"});
  r.blocks.emplace_back(BlankTable{"vessel " + log.vessel.code + ": alarms of the lubrication system",
                                   {{"lubricator", "", 1},
                                    {"shaft", "if of one", 1},
                                    {"raised_at", "date and time", 1.4},
                                    {"cleared_at", "empty while it stands", 1.4},
                                    {"alarm", "see below", 1.1},
                                    kBy,
                                    {"remark", "", 1.3}},
                                   lines(10, {})});
  r.blocks.emplace_back(BulletList{"", {"alarm: " + words_of_alarm_kind() + ".", typed_in("alarm", "alarms.csv")}});
  r.blocks.emplace_back(
      BlankTable{"vessel " + log.vessel.code + ": work",
                 {{"shaft", "", 1.1}, {"lubricator", "", 1}, kAt, {"work", "see below", 1.5}, kBy, kRemark},
                 lines(6, {})});
  r.blocks.emplace_back(BulletList{"", {"work: " + words_of_work_kind() + ". Into work.csv."}});
  r.blocks.emplace_back(BlankTable{"vessel " + log.vessel.code + ": inspections",
                                   {{"shaft", "", 1.1},
                                    kAt,
                                    {"water_pct", "%", 0.9},
                                    {"iron_ppm", "ppm", 0.9},
                                    {"clearance_mm", "mm", 1.1},
                                    kBy,
                                    kRemark},
                                   lines(4, {})});
  return r;
}

namespace {

class SheetText {
 public:
  std::string out;

  void operator()(const Heading& h) {
    out += fmt::format("\n{}\n{}\n", h.text, std::string(display_width(h.text), '='));
  }
  void operator()(const Paragraph& p) { out += wrapped(p.text, kColumns) + '\n'; }
  void operator()(const BulletList& l) { bullets(l.items); }
  void operator()(const Cautions& c) {
    out += "!! " + c.title + '\n';
    bullets(c.items);
  }
  void operator()(const Facts& f) {
    for (const auto& [name, value] : f.rows) out += fmt::format("{:<10}{}\n", name, wrapped(value, kColumns, 10, 10));
  }
  void operator()(const ReportTable& t) {
    if (t.rows.empty()) {
      out += t.when_empty + '\n';
      return;
    }
    std::vector<TextTable::Head> heads;
    for (const auto& c : t.columns) heads.push_back({c.head, c.is_number ? Align::right : Align::left});
    TextTable table{std::move(heads)};
    for (const TableRow& row : t.rows) {
      std::vector<std::string> cells;
      for (const TableCell& c : row.cells) cells.push_back(c.text);
      table.add(std::move(cells));
    }
    out += table.text({kColumns, false});
  }
  void operator()(const BlankTable& t) {
    double sum = 0;
    for (const auto& c : t.columns) sum += c.share;
    std::vector<std::size_t> wide;
    for (const auto& c : t.columns)
      wide.push_back(std::max(c.head.size() + 1, static_cast<std::size_t>((kColumns - 12) * c.share / sum)));
    std::string rule = "+";
    for (const std::size_t w : wide) rule += std::string(w, '-') + '+';
    const auto row = [&](const std::vector<std::string>& cells) {
      std::string line = "|";
      for (std::size_t c = 0; c < wide.size(); ++c) {
        std::string text = c < cells.size() ? cells[c] : "";
        if (display_width(text) < wide[c]) text += std::string(wide[c] - display_width(text), ' ');
        line += text + '|';
      }
      return line + '\n';
    };
    out += '\n' + t.caption + '\n' + rule + '\n';
    std::vector<std::string> heads;
    for (const auto& c : t.columns) heads.push_back(c.head);
    out += row(heads) + rule + '\n';
    for (const auto& cells : t.rows) out += row(cells) + rule + '\n';
  }
  void operator()(const NewPage&) { out += '\f'; }
  void operator()(const FindingBlock&) {}  // sheets have none
  void operator()(const ChartBlock&) {}

 private:
  static constexpr int kColumns = 100;
  void bullets(const std::vector<std::string>& items) {
    for (const std::string& i : items) out += "- " + wrapped(i, kColumns, 2, 2) + '\n';
  }
};

}  // namespace

std::string sheets_text(const Report& sheets) {
  SheetText text;
  text.out = fmt::format("{}\n{}\n", sheets.title, wrapped(sheets.subtitle, 100));
  for (const ReportBlock& b : sheets.blocks) std::visit(text, b);
  return std::move(text.out);
}

}  // namespace shaftlog
