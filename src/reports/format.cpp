#include "reports/format.hpp"

#include "analysis/forecast.hpp"
#include "base/error.hpp"
#include "base/figure.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

namespace shaftlog {

std::string format_figure(double value, int digits) { return plain_figure(value, digits); }

std::string format_estimate(const Estimate& e, int digits) {
  return fmt::format("{} ({} to {})", format_figure(e.value, digits), format_figure(e.low, digits),
                     format_figure(e.high, digits));
}

std::string format_estimate(const std::optional<Estimate>& e, int digits) {
  return e ? format_estimate(*e, digits) : "-";
}

std::string format_days_past(double days) {
  if (!(days >= 1)) return "under a day";
  return days < 2 ? std::string{"1 day"} : fmt::format("{} days", format_figure(std::floor(days), 9));
}

std::string format_due(const NextGreasing& n, const Zone& zone) {
  if (n.is_overdue) {
    if (n.overdue_h && *n.overdue_h > 0) return fmt::format("overdue by {} h", format_figure(*n.overdue_h));
    if (n.overdue_days && *n.overdue_days > 0) return "overdue by " + format_days_past(*n.overdue_days);
    return "overdue";
  }
  if (n.due_at) return format_day(*n.due_at, zone);
  return n.due_in_h ? fmt::format("in {} running h", format_figure(*n.due_in_h)) : "-";
}

std::string format_expected_cm3(const Estimate& e) {
  return fmt::format("{} cm3; usual {} to {}", std::lround(e.value), std::lround(e.low), std::lround(e.high));
}

std::string spoken(std::string_view word) {
  std::string text{word};
  std::replace(text.begin(), text.end(), '_', ' ');
  return text;
}

Names::Names(const Register& reg) {
  for (const Vessel& v : reg.vessels) {
    vessels_.emplace(v.id.value, &v);
    try {
      zones_.emplace(v.id.value, Zone{v.time_zone});
    } catch (const Error&) {  // a file from a system with newer zones is still worth reading, in UTC
      zones_.emplace(v.id.value, Zone::utc());
    }
  }
  for (const Shaft& s : reg.shafts) shafts_.emplace(s.id.value, &s);
  for (const Lubricator& l : reg.lubricators) lubricators_.emplace(l.id.value, &l);
  for (const Grease& g : reg.greases) greases_.emplace(g.id.value, &g);
  for (const Gun& g : reg.guns) guns_.emplace(g.id.value, &g);
}

namespace {

template <class T, class Key>
const T* look_up(const std::unordered_map<std::int64_t, const T*>& rows, Key id) {
  const auto found = rows.find(id.value);
  return found == rows.end() ? nullptr : found->second;
}

template <class T>
std::string_view code_of(const T* row) {
  return row == nullptr ? std::string_view{} : std::string_view{row->code};
}

}  // namespace

const Vessel* Names::find(VesselId id) const { return look_up(vessels_, id); }
const Shaft* Names::find(ShaftId id) const { return look_up(shafts_, id); }
const Lubricator* Names::find(LubricatorId id) const { return look_up(lubricators_, id); }
std::string_view Names::vessel(VesselId id) const { return code_of(find(id)); }
std::string_view Names::shaft(ShaftId id) const { return code_of(find(id)); }
std::string_view Names::lubricator(LubricatorId id) const { return code_of(find(id)); }
std::string_view Names::grease(GreaseId id) const { return code_of(look_up(greases_, id)); }
std::string_view Names::gun(GunId id) const { return code_of(look_up(guns_, id)); }

std::string Names::subject(ShaftId shaft_id, LubricatorId lubricator_id) const {
  const std::string_view s = shaft(shaft_id);
  const std::string_view l = lubricator(lubricator_id);
  if (!s.empty() && !l.empty()) return fmt::format("{} to {}", l, s);
  if (!s.empty()) return std::string{s};
  return l.empty() ? "the vessel" : std::string{l};
}

const Zone& Names::zone(VesselId id) const {
  static const Zone kUtc = Zone::utc();
  const auto found = zones_.find(id.value);
  return found == zones_.end() ? kUtc : found->second;
}

std::string format_both(const Stamp& s) {
  const std::string local = format_local(s);
  if (s.offset == std::chrono::minutes{0}) return s.precision == Precision::day ? local : local + " UTC";
  if (s.precision == Precision::day) return local;
  const std::string utc = format_local({s.utc, std::chrono::minutes{0}, s.precision});
  const bool same_day = utc.compare(0, 10, local, 0, 10) == 0;
  return fmt::format("{} ({} UTC)", local, same_day ? utc.substr(11) : utc);
}

std::string format_offset(const Stamp& s) {
  const auto minutes = s.offset.count();
  if (minutes == 0) return "UTC";
  const auto size = minutes < 0 ? -minutes : minutes;
  return fmt::format("UTC{}{:02}:{:02}", minutes < 0 ? '-' : '+', size / 60, size % 60);
}

std::string format_both(Instant t, const Zone& zone) { return format_both(stamp_at(t, zone, Precision::minute)); }

}  // namespace shaftlog
