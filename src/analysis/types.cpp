#include "analysis/types.hpp"

#include <array>

namespace shaftlog {

std::string_view name_of(Urgency u) noexcept {
  constexpr std::array<std::string_view, 4> kWords{"act", "plan", "watch", "note"};
  return kWords[static_cast<std::size_t>(u)];
}

namespace {

constexpr std::array<std::string_view, 15> kFindingKinds{
    "abnormal_washout", "seal_wear",  "less_grease_taken", "missed_cycles",    "line_leak",
    "starved",          "alarm_rate", "alarm_standing",    "greasing_overdue", "refill_due",
    "water_ingress",    "wear_sign",  "grease_mixed",      "record_suspect",   "records_missing"};

}  // namespace

std::string_view name_of(FindingKind k) noexcept { return kFindingKinds[static_cast<std::size_t>(k)]; }

std::optional<FindingKind> parse_finding_kind(std::string_view word) noexcept {
  for (std::size_t i = 0; i < kFindingKinds.size(); ++i) {
    if (kFindingKinds[i] == word) return static_cast<FindingKind>(i);
  }
  return std::nullopt;
}

std::string_view name_of(SuspectKind k) noexcept {
  constexpr std::array<std::string_view, 14> kWords{"hours_backwards",
                                                    "hours_impossible",
                                                    "digits_swapped",
                                                    "digit_lost",
                                                    "date_slip",
                                                    "unmarked_meter_change",
                                                    "amount_beyond_capacity",
                                                    "amount_slip",
                                                    "swapped_shafts",
                                                    "duplicate",
                                                    "level_contradiction",
                                                    "future_date",
                                                    "too_regular",
                                                    "cleared_before_raised"};
  return kWords[static_cast<std::size_t>(k)];
}

}  // namespace shaftlog
