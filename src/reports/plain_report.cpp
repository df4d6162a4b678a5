#include "reports/plain_report.hpp"

#include "base/uuid.hpp"
#include "reports/csv_text.hpp"
#include "reports/format.hpp"
#include "reports/json.hpp"

#include <algorithm>

#include <fmt/format.h>

namespace shaftlog {

namespace {

/// Why no method can be applied; empty: one can.
std::string_view all_untold(const PlainSeries& s) {
  const bool is_told =
      std::any_of(s.signals.begin(), s.signals.end(), [](const PlainSignal& m) { return m.untold.empty(); });
  return is_told || s.signals.empty() ? std::string_view{} : s.signals.front().untold;
}

std::string says_of(const PlainSeries& s, const PlainSignal& m, const Zone& zone) {
  if (!m.untold.empty()) return "-  " + m.untold;
  if (!m.signals) return "no signal";
  if (s.figure == PlainFigure::between_alarms) return m.is_up ? "SIGNAL more often" : "SIGNAL less often";
  std::string out = m.is_up ? "SIGNAL up" : "SIGNAL down";
  if (m.since)
    out += fmt::format(" since {}, record {}", format_day(s.at[*m.since], zone),
                       format_uuid(s.records[*m.since]).substr(0, 8));
  return out;
}

std::string statistic_of(const PlainSignal& m) {
  if (!m.untold.empty()) return "";
  const std::string value = m.statistic_is == "p" && m.statistic < 0.0001 ? "below 0.0001" : format_figure(m.statistic);
  std::string out = fmt::format("{} {}, limit {}", m.statistic_is, value, format_figure(m.limit));
  if (m.slope_pct_per_1000h) {
    const Estimate& e = *m.slope_pct_per_1000h;
    out += fmt::format("; slope {} % per 1000 h", format_estimate(e, 2));
  }
  if (m.next) out += fmt::format("; next {}", format_estimate(*m.next, 2));
  if (m.shape) out += fmt::format("; shape {}", format_estimate(*m.shape, 2));
  return out;
}

std::string text_head(Instant as_of, std::string_view scope, const TextStyle& style) {
  std::string out = strong(fmt::format("What plain methods say of the {} as of {} UTC", scope,
                                       format_local({as_of, std::chrono::minutes{0}, Precision::minute})),
                           style) +
                    '\n';
  out +=
      wrapped(
          "A check beside the review, which makes no findings of it. Each interval counts at its face value: a cavity "
          "that was found empty looks as if it had lost no more than it holds. Charts take mean and sigma from the "
          "first six values. Every alarm counts, though they come in bursts. Many methods on many shafts signal by "
          "chance, too.",
          style.width) +
      '\n';
  return out;
}

std::string text_part(std::span<const PlainSeries> series, const Names& names, const TextStyle& style) {
  std::string out;
  for (const PlainSeries& s : series) {
    const Zone& zone = names.zone(s.vessel);
    out += '\n' + strong(fmt::format("{}, {}: {}", names.vessel(s.vessel), names.subject(s.shaft, s.lubricator),
                                     spoken(name_of(s.figure))),
                         style);
    out += fmt::format(", {} {}", s.values.size(), s.values.size() == 1 ? "value" : "values");
    if (!s.values.empty())
      out += fmt::format(", the last {}{}", format_figure(s.values.back()), s.unit == "1" ? "" : " " + s.unit);
    if (s.left_out > 0) out += fmt::format("; {} left out", s.left_out);
    out += '\n';
    if (const std::string_view why = all_untold(s); !why.empty()) {
      out += fmt::format("  {}\n", why);
      continue;
    }
    TextTable table{{{"method"}, {"says"}, {"statistic"}}};
    for (const PlainSignal& m : s.signals) table.add({spoken(name_of(m.method)), says_of(s, m, zone), statistic_of(m)});
    out += table.text(style, 2);
  }
  return out;
}

constexpr std::string_view kJsonEnd = "]\n}\n", kJsonEndBehindParts = "\n  ]\n}\n";

std::string json_whole(std::span<const PlainSeries> series, const Names& names, Instant as_of) {
  JsonWriter json;
  json.begin_object();
  json.key("as_of").time(as_of);
  json.key("series").begin_list();
  for (const PlainSeries& s : series) {
    json.begin_object();
    json.key("vessel").text(names.vessel(s.vessel));
    json.key("shaft").text_or_null(names.shaft(s.shaft));
    json.key("lubricator").text_or_null(names.lubricator(s.lubricator));
    json.key("figure").text(name_of(s.figure));
    json.key("unit").text(s.unit);
    json.key("left_out").integer(s.left_out);
    json.key("values").begin_list();
    for (std::size_t i = 0; i < s.values.size(); ++i) {
      json.begin_object();
      json.key("at").time(s.at[i]);
      json.key("record").text(format_uuid(s.records[i]));
      json.key("value").number(s.values[i]);
      json.end_object();
    }
    json.end_list();
    json.key("methods").begin_list();
    for (const PlainSignal& m : s.signals) {
      json.begin_object();
      json.key("method").text(name_of(m.method));
      json.key("untold").text_or_null(m.untold);
      if (m.untold.empty()) {
        json.key("signals").boolean(m.signals);
        json.key("direction");
        if (m.signals)
          json.text(m.is_up ? "up" : "down");
        else
          json.null();
        json.key("since");
        if (m.since)
          json.time(s.at[*m.since]);
        else
          json.null();
        json.key("record").text_or_null(m.since ? format_uuid(s.records[*m.since]) : "");
        json.key("statistic").number(m.statistic);
        json.key("statistic_is").text(m.statistic_is);
        json.key("limit").number(m.limit);
        json.key("slope_pct_per_1000h").estimate(m.slope_pct_per_1000h);
        json.key("next").estimate(m.next);
        json.key("shape").estimate(m.shape);
      }
      json.end_object();
    }
    json.end_list();
    json.end_object();
  }
  json.end_list();
  json.end_object();
  return json.take();
}

std::string json_head(const Names& names, Instant as_of) {
  std::string out = json_whole({}, names, as_of);
  out.resize(out.size() - kJsonEnd.size());
  return out;
}

/// The items of the list, of a whole text without its head and its end.
std::string json_part(std::span<const PlainSeries> series, const Names& names, Instant as_of) {
  if (series.empty()) return {};
  std::string out = json_whole(series, names, as_of);
  out.resize(out.size() - kJsonEndBehindParts.size());
  return out.erase(0, json_head(names, as_of).size());
}

std::string csv_part(std::span<const PlainSeries> series, const Names& names) {
  std::string out;
  for (const PlainSeries& s : series) {
    for (const PlainSignal& m : s.signals) {
      const bool is_told = m.untold.empty();
      out += csv_row(
          {std::string{names.vessel(s.vessel)}, std::string{names.shaft(s.shaft)},
           std::string{names.lubricator(s.lubricator)}, std::string{name_of(s.figure)}, std::to_string(s.values.size()),
           std::to_string(s.left_out), std::string{name_of(m.method)},
           !is_told    ? ""
           : m.signals ? "yes"
                       : "no",
           !m.signals ? ""
           : m.is_up  ? "up"
                      : "down",
           m.since ? format_utc(s.at[*m.since]) : "", m.since ? format_uuid(s.records[*m.since]) : "",
           is_told ? format_figure(m.statistic, 6) : "", m.statistic_is, is_told ? format_figure(m.limit, 6) : "",
           m.slope_pct_per_1000h ? format_figure(m.slope_pct_per_1000h->value, 6) : "",
           m.next ? format_figure(m.next->value, 6) : "", m.shape ? format_figure(m.shape->value, 6) : "", m.untold});
    }
  }
  return out;
}

}  // namespace

PlainReport::PlainReport(PlainFormat format, const Register& reg, Instant as_of, std::string_view scope,
                         const TextStyle& style)
    : format_{format}, names_{reg}, as_of_{as_of}, scope_{scope}, style_{style} {}

std::string PlainReport::begin() const {
  switch (format_) {
    case PlainFormat::text:
      return text_head(as_of_, scope_, style_);
    case PlainFormat::csv:
      return csv_row({"vessel", "shaft", "lubricator", "figure", "values", "left_out", "method", "signals", "direction",
                      "since", "record", "statistic", "statistic_is", "limit", "slope_pct_per_1000h", "next", "shape",
                      "untold"});
    case PlainFormat::json:
      return json_head(names_, as_of_);
  }
  return {};
}

std::string PlainReport::part(std::span<const PlainSeries> series) const {
  switch (format_) {
    case PlainFormat::text:
      return text_part(series, names_, style_);
    case PlainFormat::csv:
      return csv_part(series, names_);
    case PlainFormat::json:
      return json_part(series, names_, as_of_);
  }
  return {};
}

std::string PlainReport::join(const std::string& part) {
  if (part.empty()) return {};
  const bool is_first = !has_parts_;
  has_parts_ = true;
  return format_ == PlainFormat::json && !is_first ? ',' + part : part;
}

std::string PlainReport::end() const {
  if (format_ != PlainFormat::json) return {};
  return std::string{has_parts_ ? kJsonEndBehindParts : kJsonEnd};
}

}  // namespace shaftlog
