#pragma once

#include "domain/vessel_log.hpp"

#include <cstdint>
#include <filesystem>
#include <optional>
#include <string_view>
#include <vector>

// Ships, crews and faults with known truth. What is common practice has no source; every figure that decides how hard
// a ship is to read (errors, scatter, habits) is drawn a vessel, so that nothing can be tuned to one constant.

namespace shaftlog::world {

struct WorldPlan {
  std::uint64_t seed = 1;  ///< below 1000: for tuning; 1000 and above: for judging
  int vessels = 24;
  double years = 6;
  double fault_share = 0.62;    ///< of the vessels; 0: a healthy fleet, nuisances and slips all the same
  double slips_per_year = 0.7;  ///< slips of the pen, a vessel, on the average
  unsigned threads = 1;
};

enum class FaultKind : std::uint8_t {
  step,          ///< washout jumps `size` times
  wear,          ///< washout doubles every `size` running hours
  not_cycling,   ///< the lubricator makes `size` of its cycles; a counter, where there is one, shows it
  low_delivery,  ///< every dose is `size` of what it should be; a counter counts on
  stuck_device,  ///< one metering device gives `size` of its dose
  line_leak,     ///< `size` times the grease leaves the reservoir
  alarm_rate,    ///< alarms come `size` times as often
  blocked_path,  ///< the gun meets pressure at `size` of the usual amount; on ships without another fault
  left_off       ///< set off, which is recorded, and not set going again; likewise
};
constexpr std::size_t kFaultKinds = 9;
std::string_view name_of(FaultKind k) noexcept;
constexpr bool is_of_loss(FaultKind k) noexcept { return k == FaultKind::step || k == FaultKind::wear; }
constexpr bool is_of_shaft(FaultKind k) noexcept { return is_of_loss(k) || k == FaultKind::blocked_path; }

class Dice;
/// A size as the world gives it to a fault of that kind.
double draw_size(FaultKind kind, Dice& dice);

struct Fault {
  FaultKind kind{};
  ShaftId shaft;            ///< of step, wear, stuck_device, blocked_path
  LubricatorId lubricator;  ///< of the others and of stuck_device
  Instant onset{};
  Instant end = kLatest;  ///< repaired then, and that is recorded; kLatest: never
  double size = 1;
};

enum class SlipKind : std::uint8_t {
  factor_ten,
  unit,
  swapped_shafts,
  hour_digits,
  wrong_year,
  wrong_date,
  duplicate,
  unmarked_meter,
  gun_changed  ///< strokes of another gun from then on, under the old gun's name
};
constexpr std::size_t kSlipKinds = 9;
std::string_view name_of(SlipKind k) noexcept;

struct Slip {
  SlipKind kind{};
  std::vector<Uuid> records;  ///< each of them is wrong
  Instant at{};               ///< where the first of them stands in the log
  Instant until = kLatest;    ///< of a lasting slip
  ShaftId shaft;
  LubricatorId lubricator;
  double factor = 1;  ///< recorded over true amount; 1 where no amount is touched
};

/// Cumulated figures and states at the start of each day, [0] being Truth::first; one more than there are days.
struct ShaftTruth {
  ShaftId shaft;
  bool is_fed = false, is_greased = false;  ///< by a lubricator; by hand as a routine
  double cavity_cm3 = 0, reserve_share = 0.2, start_missing_cm3 = 0;
  double fill_sd_cm3 = 0;           ///< of the fill at which back-pressure shows
  double scatter_sd = 0;            ///< of ln(rate) from interval to interval
  double idle_cm3_per_day = 0;      ///< loss of a day at rest, beside the washout
  double slow_sd = 0;               ///< of ln(rate) over weeks and months: sea, season
  double reading_sd = 0;            ///< of ln(recorded amount), rounding left out
  double bias = 1, later_bias = 1;  ///< recorded over true amount: the gun, and the one from Truth::second_gun on
  std::vector<double> hours;        ///< run [h]
  std::vector<double> rate;         ///< underlying washout [cm3/h], season and scatter left out
  std::vector<double> usual;        ///< the same with no fault [cm3/h]
  std::vector<double> missing;      ///< free volume of the cavity [cm3]; below 0: packed fuller than usual
  std::vector<double> starved_h;    ///< run below the reserve [h]
  std::vector<double> demand;       ///< loss were the cavity never empty, idle loss included [cm3]
  std::vector<double> lost;         ///< washed out [cm3]
  std::vector<double> pushed_out;   ///< past the seal by a dose into a full cavity [cm3]
  std::vector<double> removed;      ///< at work on the seal [cm3]
  std::vector<double> delivered;    ///< by the automatic system [cm3]
  std::vector<double> greased;      ///< by hand [cm3]
};

struct LubricatorTruth {
  LubricatorId lubricator;
  bool has_counter = false;
  double reservoir_cm3 = 0;
  double level_sd_pct = 0;  ///< of a level reading
  double level_round_pct = 1;
  double poured_sd = 0;                          ///< of ln(recorded amount) of a refill
  double alarms_per_1000h = 0, alarm_shape = 1;  ///< usual rate; shape of the gamma law of its weekly factor
  std::vector<double> scheduled;       ///< doses by the hours run and the settings, standstills counted in [cm3]
  std::vector<double> left;            ///< left the reservoir [cm3]
  std::vector<double> called, cycles;  ///< full cycles called for by the hours of the busiest shaft; made
  std::vector<double> due;             ///< scheduled less known standstills [cm3]
  std::vector<double> level;           ///< content [cm3]
};

struct Truth {
  Instant first{}, last{};  ///< of watching; whole days
  std::vector<ShaftTruth> shafts;
  std::vector<LubricatorTruth> lubricators;
  std::vector<Fault> faults;
  std::vector<Slip> slips;
  struct Quiet {
    Instant from{}, to{};
    ShaftId shaft;  ///< not set: the whole vessel
  };
  std::vector<Quiet> silences;  ///< nothing was recorded though things went on
  std::optional<Instant> grease_changed;
  double grease_factor = 1;           ///< common to all shafts from then on
  std::optional<Instant> second_gun;  ///< another gun, as registered, is used from then on

  [[nodiscard]] double bias_of(const ShaftTruth& s, Instant t) const {
    return second_gun && t >= *second_gun ? s.later_bias : s.bias;
  }
  [[nodiscard]] const ShaftTruth& of(ShaftId id) const;
  [[nodiscard]] const LubricatorTruth& of(LubricatorId id) const;
  /// Any of the daily series at `t`, linear between days; held at its ends.
  [[nodiscard]] double at(const std::vector<double>& series, Instant t) const;
};

struct MadeVessel {
  VesselLog log;  ///< all that was ever written; known_at() gives what was known
  Truth truth;
};

/// One vessel; depends on the plan's seed and `index` alone.
MadeVessel make_vessel(const WorldPlan& plan, int index);
/// All vessels in order; the same bytes whatever `plan.threads`.
std::vector<MadeVessel> make_world(const WorldPlan& plan);

/// The log as it was known at `t`: recorded by then. What says that it happened later is a FutureRecord.
VesselLog known_at(const VesselLog& log, Instant t);

/// Writes the log folder (docs/guide/import-and-export.md) and truth.csv beside it in `folder`: FOLDER/log,
/// FOLDER/truth.csv. \throws Error{io}
void write_world(const std::vector<MadeVessel>& fleet, const std::filesystem::path& folder);

}  // namespace shaftlog::world
