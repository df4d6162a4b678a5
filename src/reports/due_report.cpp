#include "reports/due_report.hpp"

#include "reports/csv_text.hpp"
#include "reports/format.hpp"
#include "reports/json.hpp"

#include <chrono>

#include <fmt/format.h>

namespace shaftlog {

namespace {

/// Days of the calendar, so that what is due on one day is one count away.
std::string days_to(Instant from, Instant to, const Zone& zone) {
  const auto day_of = [&zone](Instant t) {
    return std::chrono::floor<std::chrono::days>(t + stamp_at(t, zone).offset);
  };
  const auto n = (day_of(to) - day_of(from)).count();
  if (n <= 0) return "today";
  return n == 1 ? std::string{"in 1 day"} : fmt::format("in {} days", n);
}

std::string when_cell(const DueItem& i, const Zone& zone, Instant as_of) {
  if (i.is_overdue) {
    std::string by;
    if (i.overdue_h && *i.overdue_h > 0) by = format_figure(*i.overdue_h) + " h";
    if (i.overdue_days && *i.overdue_days > 0) by += (by.empty() ? "" : ", ") + format_days_past(*i.overdue_days);
    return by.empty() ? "OVERDUE" : "OVERDUE by " + by;
  }
  std::string out = i.due_at ? format_day(*i.due_at, zone) : "-";
  if (i.early && i.late)
    out = fmt::format("{} ({} to {})", out, format_day(*i.early, zone), format_day(*i.late, zone));
  else if (i.due_at)
    out += ", " + days_to(as_of, *i.due_at, zone);
  return out;
}

std::string_view job_word(const DueItem& i) {
  return i.is_to_set_going ? "set_going" : i.shaft.is_set() ? "greasing" : "refill";
}

std::string expected_cell(const DueItem& i) {
  if (i.is_to_set_going) return "-";
  if (!i.expected_cm3) return "not known yet";
  const Estimate& e = *i.expected_cm3;
  if (i.lubricator.is_set())
    return fmt::format("about {} cm3 {}", format_figure(e.value, 2), i.is_overdue ? "to full" : "then");
  return format_expected_cm3(e);
}

}  // namespace

std::string due_text(std::span<const DueItem> items, const Register& reg, Instant as_of, double within_days,
                     const TextStyle& style) {
  const Names names{reg};
  std::string out = strong(fmt::format("Due within {} days of {} UTC", format_figure(within_days),
                                       format_local({as_of, std::chrono::minutes{0}, Precision::minute})),
                           style) +
                    '\n';
  if (items.empty()) return out + "Nothing is due.\n";
  std::size_t at = 0;
  while (at < items.size()) {
    const VesselId vessel = items[at].vessel;
    const Zone& zone = names.zone(vessel);
    const Vessel* row = names.find(vessel);
    out += '\n' + strong(row == nullptr ? "?" : row->code, style);
    if (row != nullptr && row->name != row->code) out += ", " + row->name;
    out += '\n';
    TextTable table{{{"do"}, {"on"}, {"due"}, {"it should take"}, {"full now"}, {"last done or read"}}};
    for (; at < items.size() && items[at].vessel == vessel; ++at) {
      const DueItem& i = items[at];
      std::vector<std::string> row_cells{i.is_to_set_going  ? "set going"
                                         : i.shaft.is_set() ? "grease"
                                                            : "refill",
                                         names.subject(i.shaft, i.lubricator),
                                         when_cell(i, zone, as_of),
                                         expected_cell(i),
                                         i.fill_pct ? format_figure(i.fill_pct->value, 2) + " %" : "-",
                                         i.last ? format_day(*i.last, zone) : "never"};
      if (i.is_overdue)
        table.add(std::move(row_cells), Urgency::act);
      else
        table.add(std::move(row_cells));
    }
    out += table.text(style, 2);
  }
  out +=
      "\nA hand never comes before a grease nozzle. Isolate and lock what moves before work on it. Stop at the seal's "
      "pressure limit.\n";
  return out;
}

std::string due_json(std::span<const DueItem> items, const Register& reg, Instant as_of, double within_days) {
  const Names names{reg};
  JsonWriter json;
  json.begin_object();
  json.key("as_of").time(as_of);
  json.key("within_days").number(within_days);
  json.key("due").begin_list();
  for (const DueItem& i : items) {
    json.begin_object();
    json.key("vessel").text(names.vessel(i.vessel));
    json.key("shaft").text_or_null(names.shaft(i.shaft));
    json.key("lubricator").text_or_null(names.lubricator(i.lubricator));
    json.key("job").text(job_word(i));
    json.key("overdue").boolean(i.is_overdue);
    json.key("due_at").time(i.due_at);
    json.key("p10").time(i.early);
    json.key("p90").time(i.late);
    json.key("due_h").number(i.due_in_h);
    json.key("overdue_h").number(i.overdue_h);
    json.key("overdue_days").number(i.overdue_days);
    json.key("expected_cm3").estimate(i.expected_cm3);
    json.key(i.shaft.is_set() ? "cavity_fill_pct" : "level_pct").estimate(i.fill_pct);
    json.key("last").time(i.last);
    json.end_object();
  }
  json.end_list();
  json.end_object();
  return json.take();
}

std::string due_csv(std::span<const DueItem> items, const Register& reg) {
  const Names names{reg};
  const auto time = [](const std::optional<Instant>& t) { return t ? format_utc(*t) : std::string{}; };
  const auto number = [](const std::optional<double>& n) { return n ? format_figure(*n, 6) : std::string{}; };
  std::string out =
      csv_row({"vessel", "shaft", "lubricator", "job", "overdue", "due_at", "p10", "p90", "due_h", "overdue_h",
               "overdue_days", "expected_cm3", "expected_low", "expected_high", "fill_pct", "last"});
  for (const DueItem& i : items) {
    const auto part = [&i](double Estimate::*p) {
      return i.expected_cm3 ? format_figure((*i.expected_cm3).*p, 6) : std::string{};
    };
    out += csv_row({std::string{names.vessel(i.vessel)}, std::string{names.shaft(i.shaft)},
                    std::string{names.lubricator(i.lubricator)}, std::string{job_word(i)}, i.is_overdue ? "yes" : "no",
                    time(i.due_at), time(i.early), time(i.late), number(i.due_in_h), number(i.overdue_h),
                    number(i.overdue_days), part(&Estimate::value), part(&Estimate::low), part(&Estimate::high),
                    i.fill_pct ? format_figure(i.fill_pct->value, 6) : "", time(i.last)});
  }
  return out;
}

}  // namespace shaftlog
