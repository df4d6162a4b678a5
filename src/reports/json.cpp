#include "reports/json.hpp"

#include "base/text.hpp"

#include <cmath>

#include <fmt/format.h>

namespace shaftlog {

void JsonWriter::new_line() {
  if (is_compact_) return;
  out_ += '\n';
  out_.append(has_items_.size() * 2, ' ');
}

void JsonWriter::before_value() {
  if (after_key_) {
    after_key_ = false;
    return;
  }
  if (has_items_.empty()) return;
  if (has_items_.back()) out_ += ',';
  has_items_.back() = true;
  new_line();
}

JsonWriter& JsonWriter::begin_object() {
  before_value();
  out_ += '{';
  has_items_.push_back(false);
  return *this;
}

JsonWriter& JsonWriter::end_object() {
  const bool had = has_items_.back();
  has_items_.pop_back();
  if (had) new_line();
  out_ += '}';
  return *this;
}

JsonWriter& JsonWriter::begin_list() {
  before_value();
  out_ += '[';
  has_items_.push_back(false);
  return *this;
}

JsonWriter& JsonWriter::end_list() {
  const bool had = has_items_.back();
  has_items_.pop_back();
  if (had) new_line();
  out_ += ']';
  return *this;
}

JsonWriter& JsonWriter::key(std::string_view name) {
  text(name);
  out_ += is_compact_ ? ":" : ": ";
  after_key_ = true;
  return *this;
}

JsonWriter& JsonWriter::text(std::string_view value) {
  before_value();
  out_ += '"';
  while (!value.empty()) {
    const auto bad = find_bad_utf8(value);
    for (const char c : value.substr(0, bad.value_or(value.size()))) {
      switch (c) {
        case '"':
          out_ += "\\\"";
          break;
        case '\\':
          out_ += "\\\\";
          break;
        case '\n':
          out_ += "\\n";
          break;
        case '\r':
          out_ += "\\r";
          break;
        case '\t':
          out_ += "\\t";
          break;
        default:
          if (static_cast<unsigned char>(c) < 0x20)
            out_ += fmt::format("\\u{:04x}", static_cast<unsigned>(static_cast<unsigned char>(c)));
          else
            out_ += c;
      }
    }
    if (!bad) break;
    out_ += value[*bad] == '\0' ? "\\u0000" : "\\ufffd";
    value.remove_prefix(*bad + 1);
  }
  out_ += '"';
  return *this;
}

JsonWriter& JsonWriter::texts(std::span<const std::string> values) {
  begin_list();
  for (const std::string& v : values) text(v);
  return end_list();
}

JsonWriter& JsonWriter::ids(std::span<const Uuid> values) {
  begin_list();
  for (const Uuid& v : values) text(format_uuid(v));
  return end_list();
}

JsonWriter& JsonWriter::number(double value, int digits) {
  if (!std::isfinite(value)) return null();
  before_value();
  const std::string shown = fmt::format("{:.{}g}", value, digits);
  out_ += shown == "-0" ? "0" : shown;
  return *this;
}

JsonWriter& JsonWriter::number(const std::optional<double>& value, int digits) {
  return value ? number(*value, digits) : null();
}

JsonWriter& JsonWriter::integer(std::int64_t value) {
  before_value();
  out_ += std::to_string(value);
  return *this;
}

JsonWriter& JsonWriter::boolean(bool value) {
  before_value();
  out_ += value ? "true" : "false";
  return *this;
}

JsonWriter& JsonWriter::null() {
  before_value();
  out_ += "null";
  return *this;
}

JsonWriter& JsonWriter::estimate(const std::optional<Estimate>& e) {
  if (!e) return null();
  begin_object();
  key("value").number(e->value);
  key("low").number(e->low);
  key("high").number(e->high);
  return end_object();
}

std::string JsonWriter::take() { return std::move(out_) + '\n'; }

}  // namespace shaftlog
