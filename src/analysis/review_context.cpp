#include "analysis/review_context.hpp"

#include "analysis/causes.hpp"

#include <algorithm>
#include <cmath>
#include <stdexcept>

#include <fmt/format.h>

namespace shaftlog {
namespace {

template <class Row, class Id>
const Row& row_of(const std::vector<Row>& rows, Id id) {
  const auto it = std::find_if(rows.begin(), rows.end(), [&](const Row& r) { return r.id == id; });
  if (it == rows.end()) throw std::logic_error{"a record points to a register row that is not there"};
  return *it;
}

}  // namespace

const Shaft& ReviewContext::shaft(ShaftId id) const { return row_of(log.shafts, id); }
const Lubricator& ReviewContext::lubricator(LubricatorId id) const { return row_of(log.lubricators, id); }

const HoursCurve* ReviewContext::curve(ShaftId id) const {
  const auto it = digest.hours.find(id);
  return it == digest.hours.end() || it->second.curve.points().size() < 2 ? nullptr : &it->second.curve;
}

std::optional<FillThen> ReviewContext::fill_known(ShaftId id) const {
  if (const auto now = fills.find(id); now != fills.end() && now->second.fill_pct) return FillThen{as_of, now->second};
  if (const auto then = last_known.find(id); then != last_known.end() && then->second.fill.fill_pct) {
    return then->second;
  }
  return std::nullopt;
}

std::string days_text(const When& w, const Zone& zone) {
  const std::string low = format_day(w.low, zone), high = format_day(w.high, zone), day = format_day(w.estimate, zone);
  return low == high ? day : fmt::format("about {} ({} to {})", day, low, high);
}

std::string on_days_text(const When& w, const Zone& zone) {
  return (format_day(w.low, zone) == format_day(w.high, zone) ? "on " : "") + days_text(w, zone);
}

bool renews_baseline(WorkKind work) noexcept {
  return work == WorkKind::seal_replaced || work == WorkKind::bearing_replaced;
}

double reserve_pct(const Shaft& shaft, Instant at) {
  const ShaftSetting* s = setting_at(shaft.settings, at);
  return s != nullptr && s->reserve ? in_pct(*s->reserve) : 20.0;
}

std::string figure_text(double x) {
  if (!std::isfinite(x)) return "unknown";
  const double size = std::abs(x);
  if (size >= 99.95) return fmt::format("{:.0f}", x);
  if (size >= 9.995) return fmt::format("{:.1f}", x);
  if (size >= 0.0995) return fmt::format("{:.2f}", x);
  if (size < 0.0005) return "0";
  return fmt::format("{:.3f}", x);
}

std::string figure_text(const Estimate& e, std::string_view unit) {
  return fmt::format("{}{}{} ({} to {})", figure_text(e.value), unit.empty() || unit == "%" ? "" : " ", unit,
                     figure_text(e.low), figure_text(e.high));
}

Finding start_finding(const ReviewContext& c, FindingKind kind, ShaftId shaft, LubricatorId lubricator,
                      std::string_view anchor) {
  Finding f;
  f.vessel = c.log.vessel.id;
  f.shaft = shaft;
  f.lubricator = lubricator;
  f.kind = kind;
  // Register codes, not row numbers: the id is the same in every copy of the log. One matter keeps its id while it is
  // told apart better: a step from wear, a lubricator's shaft from its sisters.
  const bool is_washout = kind == FindingKind::abnormal_washout || kind == FindingKind::seal_wear;
  f.id = make_uuid_v8(fmt::format("finding\n{}\n{}\n{}\n{}\n{}", c.log.vessel.code,
                                  shaft.is_set() && !lubricator.is_set() ? c.shaft(shaft).code : "",
                                  lubricator.is_set() ? c.lubricator(lubricator).code : "",
                                  is_washout ? "washout" : name_of(kind), anchor));
  return f;
}

void add_figure(Finding& f, std::string name, const Estimate& e, std::string unit) {
  f.figures.push_back({std::move(name), e, std::move(unit)});
}
void add_figure(Finding& f, std::string name, double value, std::string unit) {
  add_figure(f, std::move(name), Estimate{value, value, value}, std::move(unit));
}
void add_strength(Finding& f, double ln_odds) {
  add_figure(f, "strength", std::clamp(ln_odds, -50.0, 500.0), "ln odds");
}

void explain(Finding& f, const std::vector<std::string>& present, const std::vector<std::string>& absent,
             std::size_t most) {
  constexpr std::size_t kMostChecks = 5;
  const auto add_once = [](std::vector<std::string>& to, const std::string& text) {
    if (std::find(to.begin(), to.end(), text) == to.end()) to.push_back(text);
  };
  f.present = present;
  f.absent = absent;
  std::size_t n = 0;
  for (const Cause& cause : ranked_causes(CauseQuery{f.kind, present, absent})) {
    if (n++ == most) break;
    add_once(f.likely_causes, cause.text);
    for (const std::string& check : cause.checks) {
      if (f.checks.size() < kMostChecks) add_once(f.checks, check);
    }
    for (const std::string& caution : cause.cautions) add_once(f.cautions, caution);
  }
}

bool has_finding(const std::vector<Finding>& found, FindingKind kind, ShaftId shaft, LubricatorId lubricator) {
  return std::any_of(found.begin(), found.end(), [&](const Finding& f) {
    return f.kind == kind && f.shaft == shaft && f.lubricator == lubricator;
  });
}

Finding* finding_that_explains(const ReviewContext& c, std::vector<Finding>& found, ShaftId shaft,
                               LubricatorId lubricator) {
  const auto first = [&found](const auto& explains) -> Finding* {
    const auto it = std::find_if(found.begin(), found.end(), explains);
    return it == found.end() ? nullptr : &*it;
  };
  if (lubricator.is_set()) {
    return first([&](const Finding& f) {
      return f.lubricator == lubricator && (f.kind == FindingKind::missed_cycles || f.kind == FindingKind::line_leak);
    });
  }
  if (!shaft.is_set()) return nullptr;
  Finding* own = first([&](const Finding& f) {
    return f.shaft == shaft && (f.kind == FindingKind::abnormal_washout || f.kind == FindingKind::seal_wear ||
                                f.kind == FindingKind::missed_cycles);
  });
  if (own != nullptr) return own;
  const std::vector<LubricatorId> feeding = c.digest.schedule->lubricators_of(shaft);
  return first([&](const Finding& f) {
    return f.kind == FindingKind::missed_cycles && !f.shaft.is_set() &&
           std::find(feeding.begin(), feeding.end(), f.lubricator) != feeding.end();
  });
}

}  // namespace shaftlog
