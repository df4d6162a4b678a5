#pragma once

#include "domain/amount.hpp"
#include "ship.hpp"

#include <optional>
#include <vector>

namespace shaftlog::world {

/// One vessel living its days. voyage.cpp: grease and hours; crew.cpp: what is done and written.
class Voyage {
 public:
  Voyage(Ship ship, Dice& dice);
  MadeVessel run();

 private:
  static constexpr double kCommonSlow = 0.05;  // sd of ln(rate) that the shafts of a ship share
  struct ShaftState {
    double hours = 0, missing_cm3 = 0, base = 0;
    double scatter = 1, own_slow = 0;
    double today_h = 0, given = 0;
    double starved_h = 0, demand = 0, lost = 0, pushed_out = 0, removed = 0, delivered = 0, greased = 0;
    double offset_h = 0;  // of the meter
    double greased_at_h = 0;
    int greased_on = 0;
    double target_h = 0, target_days = 0;
    bool pack_tomorrow = false;
    std::optional<double> wear_from_h;
  };
  struct LubricatorState {
    double level_cm3 = 0, scheduled = 0, due = 0, left = 0, called = 0, cycles = 0;
    std::int64_t counter = 0;
    double alarm_luck = -1;
    int refill_on = -1;
    bool is_low = false, is_empty = false;
    std::optional<std::size_t> low_alarm, empty_alarm;  // standing, by place in the list
  };
  enum class What : std::uint8_t {
    hours,
    cycles,
    level,
    refill,
    greasing,
    docked,
    undocked,
    seal_work,
    pack,
    repair,
    off,
    on,
    meter_new
  };
  struct Event {
    int minute = 0;
    What what{};
    std::size_t subject = 0;
  };
  struct Written {
    Uuid id;
    Instant at{}, recorded_at{};
    Precision precision = Precision::minute;
    std::uint32_t by = 0;
  };

  [[nodiscard]] Instant moment(int minute) const;
  [[nodiscard]] bool in(const std::vector<Ship::Spell>& spells) const;
  [[nodiscard]] const Fault* fault_of(FaultKind kind, ShaftId shaft, Instant t) const;
  void keep_truth();
  [[nodiscard]] double usual_rate(std::size_t shaft) const;
  double fault_factor(std::size_t shaft, Instant t);
  [[nodiscard]] double nuisance(std::size_t shaft) const;
  void pass(double from, double to);
  void run_lubricator(std::size_t k, double part, Instant t);
  void live();

  void plan_day();
  void plan_greasings();
  void plan_greasing(std::size_t shaft, int day);
  void happen(const Event& e);
  [[nodiscard]] std::size_t hand() const;
  [[nodiscard]] const Person& person() const { return ship_.people[hand()]; }
  /// Empty: never written.
  std::optional<Written> write(int minute, bool is_work = false);
  template <class What_>
  void put(std::vector<Logged<What_>>& list, const std::optional<Written>& w, ShaftId shaft, LubricatorId lubricator,
           What_ what);
  void read_hours(std::size_t shaft, int minute);
  [[nodiscard]] Level read_level(std::size_t k);
  void refill(std::size_t k, int minute);
  void grease(std::size_t shaft, int minute, bool is_packed);
  void note_work(WorkKind work, ShaftId shaft, LubricatorId lubricator, int minute, bool always = true);
  void raise_alarms(std::size_t k);
  void watch_level(std::size_t k);
  [[nodiscard]] Amount amount_of(double cm3, Unit unit, double step, GreaseId grease, GunId gun = {}) const;

  Ship ship_;
  Dice& dice_;
  VesselLog log_;
  Truth truth_;
  std::vector<ShaftState> shafts_;
  std::vector<LubricatorState> lubricators_;
  std::vector<Event> events_;
  int day_ = 0;
  double common_slow_ = 0, anchor_ = 1;
  std::uint32_t counter_ = 0;
};

}  // namespace shaftlog::world
