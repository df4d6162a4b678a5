#include "base/error.hpp"
#include "base/text.hpp"
#include "interchange/field_reader.hpp"

#include <array>
#include <chrono>

#include <fmt/format.h>

namespace shaftlog {
namespace {

constexpr std::array<std::string_view, 9> kNlgi{"000", "00", "0", "1", "2", "3", "4", "5", "6"};

std::string words_of_thickener() {
  std::string out;
  for (int i = 1; i <= static_cast<int>(Thickener::other); ++i) {
    if (i > 1) out += ", ";
    out += name_of(static_cast<Thickener>(i));
  }
  return out;
}

std::optional<Volume> volume(const FieldReader& in, Column c, const NumberRule& rule) {
  const auto n = in.number(c, rule);
  return n ? std::optional{Volume::from_base(*n)} : std::nullopt;
}

std::optional<GreaseId> required_grease(const FieldReader& in, const RegisterIndex& index) {
  if (in.word(Column::grease).empty()) in.refuse_missing(Column::grease, "the code of a grease");
  const Grease* g = read_grease(in, index);
  return g == nullptr ? std::nullopt : std::optional{g->id};
}

}  // namespace

std::optional<Vessel> parse_vessel(const Fields& fields, const FieldOptions& options, std::vector<Fault>& faults,
                                   std::vector<Fault>& warnings) {
  const std::size_t before = faults.size();
  const FieldReader in{fields, options, faults};
  Vessel v;
  v.code = in.new_code(Column::vessel);
  v.name = in.name(Column::name);
  if (in.word(Column::name).empty()) in.refuse_missing(Column::name, "the vessel's name");
  if (const std::string_view imo = in.word(Column::imo); !imo.empty()) {
    v.imo = imo_digits(imo);
    switch (check_imo(imo)) {
      case ImoCheck::plain:
        break;
      case ImoCheck::not_seven_digits:
        in.refuse(Column::imo, fmt::format("\"{}\" is not an IMO number; expected seven digits", shown(imo)));
        break;
      case ImoCheck::wrong_check_digit:
        in.refuse(Column::imo, fmt::format("\"{}\" is not an IMO number: its check digit does not fit", shown(imo)));
        break;
      case ImoCheck::suspicious:
        warnings.push_back({{},
                            0,
                            "imo",
                            std::string{imo},
                            fmt::format("\"{}\" looks like a filler, though its check digit fits", shown(imo))});
        break;
    }
  }
  v.time_zone = std::string{in.word(Column::time_zone)};
  if (v.time_zone.empty()) {
    in.refuse_missing(Column::time_zone, "a name such as Europe/Lisbon or UTC");
  } else {
    try {
      const Zone zone{v.time_zone};
    } catch (const Error& e) {
      in.refuse(Column::time_zone, e.what());
    }
  }
  if (!fields[Column::group].empty()) v.group = in.name(Column::group);
  return faults.size() == before ? std::optional{std::move(v)} : std::nullopt;
}

std::optional<Grease> parse_grease(const Fields& fields, const FieldOptions& options, std::vector<Fault>& faults) {
  const std::size_t before = faults.size();
  const FieldReader in{fields, options, faults};
  Grease g;
  g.code = in.new_code(Column::grease);
  if (const auto t = in.choice(Column::thickener, parse_thickener, words_of_thickener())) g.thickener = *t;
  const auto parse_nlgi = [](std::string_view word) -> std::optional<std::string_view> {
    for (const std::string_view n : kNlgi) {
      if (n == word) return n;
    }
    return std::nullopt;
  };
  if (const auto n = in.choice(Column::nlgi, parse_nlgi, "000, 00, 0, 1, 2, 3, 4, 5, 6")) g.nlgi = *n;
  if (const auto n = in.required_number(Column::density_g_cm3, {3, 100, 5'000})) g.density = Density::from_base(*n);
  const auto parse_yes = [](std::string_view word) -> std::optional<bool> {
    if (word == "yes") return true;
    if (word == "no") return false;
    return std::nullopt;
  };
  g.sea_safe = in.choice(Column::sea_safe, parse_yes, "yes, no");
  return faults.size() == before ? std::optional{std::move(g)} : std::nullopt;
}

std::optional<GreaseEvidence> parse_grease_evidence(const Fields& fields, const RegisterIndex& index,
                                                    const FieldOptions& options, std::vector<Fault>& faults) {
  const std::size_t before = faults.size();
  const FieldReader in{fields, options, faults};
  GreaseEvidence row;
  const auto grease = required_grease(in, index);
  const std::string_view other = in.word(Column::other_grease);
  if (other.empty()) {
    in.refuse_missing(Column::other_grease, "the code of a grease");
  } else if (const Grease* g = index.find_grease(other)) {
    row.other = g->id;
    if (grease && g->id == *grease) in.refuse(Column::other_grease, "is the same grease; expected another one");
  } else {
    in.refuse(Column::other_grease, fmt::format("\"{}\" is not a registered grease{}", shown(other),
                                                expected_codes(other, index.grease_codes())));
  }
  constexpr const char* kWords = "test_report, supplier_statement, none";
  const auto evidence = in.choice(Column::evidence, parse_evidence, kWords);
  if (in.word(Column::evidence).empty()) in.refuse_missing(Column::evidence, std::string{"one of "} + kWords);
  row.reference = std::string{fields[Column::reference]};
  if (faults.size() != before) return std::nullopt;
  row.grease = *grease;
  row.evidence = *evidence;
  return row;
}

std::optional<GunFields> parse_gun(const Fields& fields, const RegisterIndex& index, const FieldOptions& options,
                                   std::vector<Fault>& faults) {
  const std::size_t before = faults.size();
  const FieldReader in{fields, options, faults};
  GunFields row;
  const auto* vessel = read_vessel(in, index);
  row.code = in.new_code(Column::gun);
  if (const auto n = in.required_number(Column::cm3_per_stroke, {3, 1, 1'000'000})) {
    row.calibration.per_stroke = Volume::from_base(*n);
  }
  row.calibration.from = in.stamp(Column::calibrated_on, vessel == nullptr ? Zone::utc() : vessel->zone);
  if (row.calibration.from && row.calibration.from->precision == Precision::day) {
    row.calibration.from->utc -= std::chrono::hours{12};  // it holds from that day on, the morning included
  }
  if (faults.size() != before) return std::nullopt;
  row.vessel = vessel->vessel->id;
  return row;
}

std::optional<LubricatorFields> parse_lubricator(const Fields& fields, const RegisterIndex& index,
                                                 const FieldOptions& options, std::vector<Fault>& faults) {
  const std::size_t before = faults.size();
  const FieldReader in{fields, options, faults};
  LubricatorFields row;
  const auto* vessel = read_vessel(in, index);
  row.code = in.new_code(Column::lubricator);
  if (const auto n = in.required_number(Column::reservoir_cm3, kVolumeAboveZeroRule)) {
    row.setting.reservoir = Volume::from_base(*n);
  }
  row.setting.low_level = volume(in, Column::low_level_cm3, kVolumeRule);
  const auto grease = required_grease(in, index);
  row.setting.from = in.stamp(Column::from, vessel == nullptr ? Zone::utc() : vessel->zone);
  if (faults.size() != before) return std::nullopt;
  if (row.setting.low_level && *row.setting.low_level > row.setting.reservoir) {
    in.refuse(Column::low_level_cm3,
              fmt::format("{} is more than the reservoir holds; expected at most {}",
                          shown(in.word(Column::low_level_cm3)), format_scaled(row.setting.reservoir.base(), 3)));
    return std::nullopt;
  }
  row.setting.grease = *grease;
  row.vessel = vessel->vessel->id;
  return row;
}

std::optional<ShaftFields> parse_shaft(const Fields& fields, const RegisterIndex& index, const FieldOptions& options,
                                       std::vector<Fault>& faults) {
  const std::size_t before = faults.size();
  const FieldReader in{fields, options, faults};
  ShaftFields row;
  const auto* vessel = read_vessel(in, index);
  row.code = in.new_code(Column::shaft);
  row.setting.position = std::string{fields[Column::position]};
  row.setting.cavity = volume(in, Column::cavity_cm3, kVolumeAboveZeroRule);
  if (const auto n = in.number(Column::interval_h, {2, 1, kHoursRule.most})) {
    row.setting.interval = RunTime::from_base(*n * 36);
  }
  if (const auto n = in.number(Column::interval_days, {0, 1, 36'500})) row.setting.interval_days = static_cast<int>(*n);
  if (const auto n = in.number(Column::reserve_pct, kLevelRule)) row.setting.reserve = Level::from_base(*n);
  if (const auto n = in.number(Column::meter_rollover_h, {2, 1, 100'000'000})) {
    row.setting.meter_rollover = HoursReading::from_base(*n * 36);
  }
  const auto grease = required_grease(in, index);
  row.setting.from = in.stamp(Column::from, vessel == nullptr ? Zone::utc() : vessel->zone);
  row.setting.water_limit_ppm = in.number(Column::water_limit_pct, {4, 1, 1'000'000});
  row.setting.iron_limit_ppm_milli = in.number(Column::iron_limit_ppm, {3, 1, 1'000'000'000});
  row.setting.clearance_limit_um = in.number(Column::clearance_limit_mm, {3, 1, 1'000'000});
  if (faults.size() != before) return std::nullopt;
  row.setting.grease = *grease;
  row.vessel = vessel->vessel->id;
  return row;
}

std::optional<Feed> parse_feed(const Fields& fields, const RegisterIndex& index, const FieldOptions& options,
                               std::vector<Fault>& faults) {
  const std::size_t before = faults.size();
  const FieldReader in{fields, options, faults};
  Feed feed;
  const auto* vessel = read_vessel(in, index);
  if (in.word(Column::lubricator).empty()) in.refuse_missing(Column::lubricator, "the code of a lubricator");
  if (in.word(Column::shaft).empty()) in.refuse_missing(Column::shaft, "the code of a shaft");
  if (vessel != nullptr) {
    if (const Lubricator* l = read_lubricator(in, *vessel)) feed.lubricator = l->id;
    if (const Shaft* s = read_shaft(in, *vessel)) feed.shaft = s->id;
  }
  // Left empty: from the beginning.
  feed.from = in.stamp(Column::from, vessel == nullptr ? Zone::utc() : vessel->zone);
  if (const auto n = in.required_number(Column::dose_cm3, {3, 0, 999'999'999})) feed.dose = Volume::from_base(*n);
  // Four decimals of a minute tell every second apart, so that 20 s can be written at all.
  if (const auto n = in.required_number(Column::cycle_min, {4, 1, 100'000'000})) {
    feed.cycle_s = (*n * 60 + 5'000) / 10'000;
    if (feed.cycle_s == 0) {
      in.refuse(Column::cycle_min, fmt::format("{} is less than a second", shown(in.word(Column::cycle_min))));
    }
  }
  return faults.size() == before ? std::optional{feed} : std::nullopt;
}

}  // namespace shaftlog
