#include "reports/record_report.hpp"

#include <algorithm>

#include <fmt/format.h>

namespace shaftlog {

namespace {

/// Everything of a record that a correction may say otherwise.
std::vector<NamedValue> all_values(const Entry& e, const Names& names) {
  std::vector<NamedValue> values;
  const auto add = [&values](const char* name, std::string text) {
    if (!text.empty()) values.push_back({name, std::move(text), std::nullopt});
  };
  add("shaft", std::string{names.shaft(e.shaft)});
  add("lubricator", std::string{names.lubricator(e.lubricator)});
  add(e.kind == Kind::alarm ? "raised_at" : "at", format_stamp(e.head.at));
  for (NamedValue& v : values_of(e, names)) values.push_back(std::move(v));
  add("remark", e.head.remark);
  return values;
}

const NamedValue* find_value(const std::vector<NamedValue>& values, std::string_view name) {
  const auto found = std::find_if(values.begin(), values.end(), [name](const NamedValue& v) { return v.name == name; });
  return found == values.end() ? nullptr : &*found;
}

std::string state_of(const Entry& e, std::span<const Entry> family, std::optional<Uuid> in_force) {
  if (e.is_withdrawal()) return "a withdrawal";
  if (in_force == e.head.id) return "in force";
  for (const Entry& other : family)
    if (other.head.withdraws == e.head.id)
      return fmt::format("withdrawn by {} on {}: {}", other.head.by.empty() ? "somebody" : other.head.by,
                         format_both(other.head.recorded_at),
                         other.head.reason.empty() ? "no reason given" : other.head.reason);
  if (in_force) return "replaced; in force is " + format_uuid(*in_force);
  return "withdrawn";
}

}  // namespace

std::string changes_between(const Entry& older, const Entry& newer, const Names& names) {
  const std::vector<NamedValue> before = all_values(older, names);
  const std::vector<NamedValue> after = all_values(newer, names);
  std::string out;
  const auto add = [&out](std::string_view name, std::string_view from, std::string_view to) {
    out += fmt::format("{}{} {} -> {}", out.empty() ? "" : "; ", name, from, to);
  };
  for (const NamedValue& v : before) {
    const NamedValue* now = find_value(after, v.name);
    if (now == nullptr)
      add(v.name, v.text, "(none)");
    else if (now->text != v.text)
      add(v.name, v.text, now->text);
  }
  for (const NamedValue& v : after)
    if (find_value(before, v.name) == nullptr) add(v.name, "(none)", v.text);
  return out;
}

std::string record_text(const Entry& e, std::span<const Entry> family, std::optional<Uuid> in_force,
                        const VerifiedRecords& verified, const Names& names, const TextStyle& style) {
  std::string out =
      strong(fmt::format("{} of {}, {}", name_of(e.kind), names.vessel(e.vessel), names.subject(e.shaft, e.lubricator)),
             style) +
      '\n';
  TextTable table{{{""}, {""}}};
  table.add({"says", says(e, names)});
  table.add({e.kind == Kind::alarm ? "raised" : "happened", format_both(e.head.at)});
  table.add(
      {"recorded", fmt::format("{}{}", format_both(e.head.recorded_at), e.head.by.empty() ? "" : " by " + e.head.by)});
  if (!e.head.source.empty()) table.add({"came from", e.head.source});
  if (!e.head.remark.empty()) table.add({"remark", e.head.remark});
  if (!e.head.reason.empty()) table.add({"reason", e.head.reason});
  table.add({"state", state_of(e, family, in_force)});
  if (!e.is_withdrawal()) {
    const std::string by = verified_by(verified_in(verified, e.head.id));
    table.add({"verified", by.empty() ? "no" : "by " + by});
  }
  table.add({"id", format_uuid(e.head.id)});
  out += table.text(style, 2);
  if (family.size() < 2) return out;

  out += '\n' + strong("History, oldest first", style) + '\n';
  for (const Entry& one : family) {
    std::string line =
        fmt::format("{}{}: ", format_both(one.head.recorded_at), one.head.by.empty() ? "" : ", " + one.head.by);
    const auto older =
        std::find_if(family.begin(), family.end(), [&one](const Entry& o) { return one.head.replaces == o.head.id; });
    if (one.is_withdrawal()) {
      line += fmt::format("withdraws {}", one.head.withdraws ? format_uuid(*one.head.withdraws) : "?");
    } else if (older != family.end()) {
      const std::string changes = changes_between(*older, one, names);
      line += "corrects: " + (changes.empty() ? "nothing but who and when" : changes);
    } else {
      line += says(one, names);
    }
    if (!one.head.reason.empty()) line += "; because: " + one.head.reason;
    line += fmt::format(" [{}]{}", format_uuid(one.head.id), in_force == one.head.id ? " in force" : "");
    if (const std::string by = verified_by(verified_in(verified, one.head.id)); !by.empty())
      line += ", verified by " + by;
    out += "  - " + wrapped(line, style.width, 4, 4) + '\n';
  }
  return out;
}

std::string record_json(const Entry& e, std::span<const Entry> family, std::optional<Uuid> in_force,
                        const VerifiedRecords& verified, const Names& names) {
  JsonWriter json;
  json.begin_object();
  json.key("record");
  write_record(json, e, names, verified_in(verified, e.head.id));
  json.key("in_force");
  if (in_force)
    json.text(format_uuid(*in_force));
  else
    json.null();
  json.key("history").begin_list();
  for (const Entry& one : family) write_record(json, one, names, verified_in(verified, one.head.id));
  json.end_list();
  json.end_object();
  return json.take();
}

}  // namespace shaftlog
