#include "analysis/due.hpp"

#include <algorithm>
#include <tuple>

namespace shaftlog {
namespace {

/// That bearings get nothing since the lubricator was recorded off.
const Finding* off_finding(const VesselReview& v, LubricatorId lubricator) {
  const auto it = std::find_if(v.findings.begin(), v.findings.end(), [&](const Finding& f) {
    return f.lubricator == lubricator && f.began && f.urgency <= Urgency::plan &&
           std::find(f.present.begin(), f.present.end(), "recorded_off") != f.present.end();
  });
  return it == v.findings.end() ? nullptr : &*it;
}

}  // namespace

std::vector<DueItem> list_due(std::span<const VesselReview> reviews, Instant as_of, double within_days) {
  const auto is_near = [&](const std::optional<Instant>& t) { return t && days_between(as_of, *t) <= within_days; };
  std::vector<DueItem> all;
  for (const VesselReview& v : reviews) {
    std::vector<DueItem> items;
    for (const ShaftState& s : v.shafts) {
      const NextGreasing& n = s.next_greasing;
      if (!n.is_overdue && !is_near(n.due_at)) continue;
      DueItem item;
      item.vessel = s.vessel;
      item.shaft = s.shaft;
      item.is_overdue = n.is_overdue;
      item.due_at = n.due_at;
      item.due_in_h = n.due_in_h;
      item.overdue_h = n.overdue_h;
      item.overdue_days = n.overdue_days;
      item.expected_cm3 = n.expected_cm3;
      item.fill_pct = s.cavity_fill_pct;
      item.last = s.last_greasing;
      items.push_back(item);
    }
    for (const LubricatorState& l : v.lubricators) {
      if (const Finding* off = off_finding(v, l.lubricator); off != nullptr) {
        DueItem item;
        item.vessel = l.vessel;
        item.lubricator = l.lubricator;
        item.is_to_set_going = item.is_overdue = true;
        item.due_at = off->began->estimate;
        item.overdue_days = days_between(*item.due_at, as_of);
        item.fill_pct = l.level_pct;
        item.last = l.last_level;
        items.push_back(item);
      }
      const NextRefill& n = l.next_refill;
      if (n.stands_since && n.p50 && *n.p50 > as_of) continue;  // nothing is used
      if (!is_near(n.p10) && !is_near(n.p50)) continue;  // the early day decides: a low mark met at sea helps nobody
      DueItem item;
      item.vessel = l.vessel;
      item.lubricator = l.lubricator;
      item.is_overdue = n.p50 && *n.p50 <= as_of;
      item.due_at = n.p50;
      item.early = n.p10;
      item.late = n.p90;
      item.expected_cm3 = n.amount_cm3;
      item.fill_pct = l.level_pct;
      item.last = l.last_level;
      items.push_back(item);
    }
    std::stable_sort(items.begin(), items.end(), [](const DueItem& a, const DueItem& b) {
      const auto key = [](const DueItem& i) {
        return std::tuple{!i.is_overdue, i.due_at.value_or(kEarliest), !i.shaft.is_set()};
      };
      return key(a) < key(b);
    });
    all.insert(all.end(), items.begin(), items.end());
  }
  return all;
}

}  // namespace shaftlog
