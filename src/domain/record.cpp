#include "domain/record.hpp"

#include <span>

namespace shaftlog {
namespace {

constexpr std::array<std::string_view, 8> kKindWords{"hours",    "cycles", "level", "refill",
                                                     "greasing", "alarm",  "work",  "inspection"};
constexpr std::array<std::string_view, 9> kUnitWords{"cm3", "ml", "l", "g", "kg", "oz", "lb", "strokes", "pct"};
constexpr std::array<std::string_view, 5> kEndedWords{"pressure", "limit", "stopped", "packed", "not_done"};
constexpr std::array<std::string_view, 4> kPurgeWords{"none", "clean", "dark", "water"};
constexpr std::array<std::string_view, 7> kAlarmWords{"low_level",   "empty",       "no_pressure", "high_pressure",
                                                      "cycle_fault", "power_fault", "other"};
constexpr std::array<std::string_view, 15> kWorkWords{"seal_replaced",
                                                      "bearing_replaced",
                                                      "metering_replaced",
                                                      "setting_corrected",
                                                      "line_repaired",
                                                      "pump_repaired",
                                                      "bled",
                                                      "controller_changed",
                                                      "lubricator_off",
                                                      "lubricator_on",
                                                      "purged",
                                                      "contact",
                                                      "docked",
                                                      "undocked",
                                                      "other"};

template <class Enum>
std::optional<Enum> find_word(std::span<const std::string_view> words, std::string_view word) noexcept {
  for (std::size_t i = 0; i < words.size(); ++i) {
    if (words[i] == word) return static_cast<Enum>(i);
  }
  return std::nullopt;
}

std::string joined(std::span<const std::string_view> words) {
  std::string out;
  for (const std::string_view w : words) {
    if (!out.empty()) out += ", ";
    out += w;
  }
  return out;
}

template <class Enum>
std::string_view word_of(std::span<const std::string_view> words, Enum e) noexcept {
  return words[static_cast<std::size_t>(e)];
}

}  // namespace

std::string_view name_of(Kind k) noexcept { return word_of(kKindWords, k); }
std::string_view name_of(Unit u) noexcept { return word_of(kUnitWords, u); }
std::string_view name_of(Ended e) noexcept { return word_of(kEndedWords, e); }
std::string_view name_of(Purge p) noexcept { return word_of(kPurgeWords, p); }
std::string_view name_of(AlarmKind a) noexcept { return word_of(kAlarmWords, a); }
std::string_view name_of(WorkKind w) noexcept { return word_of(kWorkWords, w); }
std::optional<Kind> parse_kind(std::string_view word) noexcept { return find_word<Kind>(kKindWords, word); }
std::optional<Unit> parse_unit(std::string_view word) noexcept { return find_word<Unit>(kUnitWords, word); }
std::optional<Ended> parse_ended(std::string_view word) noexcept { return find_word<Ended>(kEndedWords, word); }
std::optional<Purge> parse_purge(std::string_view word) noexcept { return find_word<Purge>(kPurgeWords, word); }
std::optional<AlarmKind> parse_alarm_kind(std::string_view word) noexcept {
  return find_word<AlarmKind>(kAlarmWords, word);
}
std::optional<WorkKind> parse_work_kind(std::string_view word) noexcept {
  return find_word<WorkKind>(kWorkWords, word);
}
bool needs_subject(WorkKind work) noexcept {
  return work != WorkKind::docked && work != WorkKind::undocked && work != WorkKind::other;
}
std::string words_of_unit() { return joined(kUnitWords); }
std::string words_of_ended() { return joined(kEndedWords); }
std::string words_of_purge() { return joined(kPurgeWords); }
std::string words_of_alarm_kind() { return joined(kAlarmWords); }
std::string words_of_work_kind() { return joined(kWorkWords); }

}  // namespace shaftlog
