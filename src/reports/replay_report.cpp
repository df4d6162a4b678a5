#include "reports/replay_report.hpp"

#include "reports/csv_text.hpp"
#include "reports/format.hpp"
#include "reports/json.hpp"
#include "reports/report_document.hpp"
#include "reports/review_report.hpp"

#include <algorithm>

#include <fmt/format.h>

namespace shaftlog {

namespace {

std::string count_of(std::size_t n, std::string_view one, std::string_view many) {
  return fmt::format("{} {}", n, n == 1 ? one : many);
}

Urgency worst_of(const FindingLife& life) {
  Urgency worst = Urgency::note;
  for (const LifeStretch& s : life.stretches) worst = std::min(worst, s.urgency);
  return worst;
}

/// The first step that no longer showed it; empty: it stands.
std::optional<Instant> gone_at(const FindingLife& life, std::span<const ReplayStep> steps) {
  if (life.is_standing) return std::nullopt;
  return steps[life.last_shown() + 1].at;
}

/// "watch, PLAN 2026-02-04, gone 2026-03-04, ...": what it was at first and from each change on.
std::string course_of(const FindingLife& life, const ReplayView& view, const Names& names) {
  std::string out;
  const auto add = [&](const std::string& what, Instant at) {
    out += (out.empty() ? "" : ", ") + what + ' ' + format_day(at);
  };
  for (std::size_t i = 0; i < life.stretches.size(); ++i) {
    const LifeStretch& s = life.stretches[i];
    std::string what = urgency_word(s.urgency);
    if (i > 0) {
      const LifeStretch& before = life.stretches[i - 1];
      if (before.last + 1 < s.first) add("gone", view.steps[before.last + 1].at);
      if (before.kind != s.kind) what += " as " + spoken(name_of(s.kind));
      if (before.shaft != s.shaft)
        what +=
            s.shaft.is_set() ? fmt::format(" of {}", names.shaft(s.shaft)) : std::string{" of no shaft in particular"};
    }
    if (i == 0)
      out = what;  // its day is that of the first showing
    else
      add(what, view.steps[s.first].at);
  }
  if (const auto gone = gone_at(life, view.steps)) add("gone", *gone);
  return out;
}

std::string of_what(const FindingLife& life, const Names& names) {
  return fmt::format("{}, {}: {}", names.vessel(life.vessel), names.subject(life.shaft, life.lubricator),
                     spoken(name_of(life.kind)));
}

}  // namespace

std::string replay_text(const ReplayView& view, const TextStyle& style, bool with_steps) {
  const Names names{view.reg};
  std::string out = strong(fmt::format("What would have been found, and when: {}", view.scope), style);
  out += fmt::format("\n{} from {} to {}, each from what had happened and was recorded by then\n",
                     count_of(view.steps.size(), "review", "reviews"), format_day(view.steps.front().at),
                     format_day(view.steps.back().at));
  if (view.are_many) {
    const std::string later = fmt::format(
        "{} of this time were written into this log only after {}: no step knows them. A log that was brought in "
        "without its times of recording is replayed with --whenever-recorded.",
        count_of(view.recorded_later, "record", "records"), format_day(view.steps.back().at));
    out += wrapped(later, style.width) + '\n';
  }
  if (view.lives.empty()) return out + "Nothing would have been found.\n";
  TextTable table{{{"worst"}, {"first shown"}, {"evidence"}, {"finding"}, {"from then on"}}};
  for (const FindingLife& life : view.lives) {
    const Zone& zone = names.zone(life.vessel);
    table.add({urgency_word(worst_of(life)), format_day(view.steps[life.shown()].at), format_day(life.first_seen, zone),
               of_what(life, names), course_of(life, view, names)},
              worst_of(life));
  }
  out += '\n' + table.text(style, 2);
  out += wrapped(
             "\nevidence: the record at which it first sufficed; the step after it can show it. gone: the first step "
             "that no longer shows it.",
             style.width) +
         '\n';
  if (!with_steps) return out;
  for (const ReplayStep& s : view.steps) {
    out += '\n' + strong(format_day(s.at), style);
    if (s.findings.empty()) {
      out += "  nothing found\n";
      continue;
    }
    TextTable at{{{""}, {""}, {""}, {""}}};
    for (const Finding& f : s.findings)
      at.add(
          {urgency_word(f.urgency), fmt::format("{}, {}", names.vessel(f.vessel), names.subject(f.shaft, f.lubricator)),
           spoken(name_of(f.kind)), f.summary},
          f.urgency);
    out += '\n' + at.text(style, 2);
  }
  return out;
}

std::string replay_steps_json(const ReplayView& view) {
  const Names names{view.reg};
  std::string out;
  for (const ReplayStep& s : view.steps) {
    JsonWriter json{/*is_compact=*/true};
    json.begin_object();
    json.key("as_of").time(s.at);
    json.key("findings").begin_list();
    for (const Finding& f : s.findings) write_finding(json, f, names, {});
    json.end_list();
    json.end_object();
    out += json.take();
  }
  return out;
}

std::string replay_lives_json(const ReplayView& view) {
  const Names names{view.reg};
  JsonWriter json;
  json.begin_object();
  json.key("from").time(view.steps.front().at);
  json.key("to").time(view.steps.back().at);
  json.key("steps").integer(static_cast<std::int64_t>(view.steps.size()));
  json.key("recorded_later").integer(static_cast<std::int64_t>(view.recorded_later));
  json.key("lives").begin_list();
  for (const FindingLife& life : view.lives) {
    json.begin_object();
    json.key("ids").ids(life.ids);
    json.key("vessel").text_or_null(names.vessel(life.vessel));
    json.key("shaft").text_or_null(names.shaft(life.shaft));
    json.key("lubricator").text_or_null(names.lubricator(life.lubricator));
    json.key("kind").text(name_of(life.kind));
    json.key("first_seen").time(life.first_seen);
    json.key("first_shown").time(view.steps[life.shown()].at);
    json.key("last_shown").time(view.steps[life.last_shown()].at);
    json.key("gone").time(gone_at(life, view.steps));
    json.key("summary").text(life.summary);
    json.key("course").begin_list();
    for (const LifeStretch& s : life.stretches) {
      json.begin_object();
      json.key("from").time(view.steps[s.first].at);
      json.key("to").time(view.steps[s.last].at);
      json.key("steps").integer(static_cast<std::int64_t>(s.last - s.first + 1));
      json.key("urgency").text(name_of(s.urgency));
      json.key("kind").text(name_of(s.kind));
      json.key("shaft").text_or_null(names.shaft(s.shaft));
      json.end_object();
    }
    json.end_list();
    json.end_object();
  }
  json.end_list();
  json.end_object();
  return json.take();
}

std::string replay_lives_csv(const ReplayView& view) {
  const Names names{view.reg};
  std::string out = csv_row({"id", "vessel", "shaft", "lubricator", "kind", "urgency", "from", "to", "steps",
                             "first_seen", "first_shown", "gone", "summary"});
  for (const FindingLife& life : view.lives) {
    const auto gone = gone_at(life, view.steps);
    for (const LifeStretch& s : life.stretches)
      out +=
          csv_row({format_uuid(life.ids.front()), std::string{names.vessel(life.vessel)},
                   std::string{names.shaft(s.shaft)}, std::string{names.lubricator(life.lubricator)},
                   std::string{name_of(s.kind)}, std::string{name_of(s.urgency)}, format_utc(view.steps[s.first].at),
                   format_utc(view.steps[s.last].at), std::to_string(s.last - s.first + 1), format_utc(life.first_seen),
                   format_utc(view.steps[life.shown()].at), gone ? format_utc(*gone) : "", life.summary});
  }
  return out;
}

std::string replay_steps_csv(const ReplayView& view) {
  const Names names{view.reg};
  std::string out =
      csv_row({"as_of", "id", "vessel", "shaft", "lubricator", "kind", "urgency", "first_seen", "summary"});
  for (const ReplayStep& s : view.steps)
    for (const Finding& f : s.findings)
      out +=
          csv_row({format_utc(s.at), format_uuid(f.id), std::string{names.vessel(f.vessel)},
                   std::string{names.shaft(f.shaft)}, std::string{names.lubricator(f.lubricator)},
                   std::string{name_of(f.kind)}, std::string{name_of(f.urgency)}, format_utc(f.first_seen), f.summary});
  return out;
}

}  // namespace shaftlog
