#include "ship.hpp"

#include <algorithm>

namespace shaftlog::world {
namespace {

// How the gear of a trade is used. Common practice, no source.
struct Use {
  double hours_low, hours_high;    // on a day at sea
  double sails_low, sails_high;    // share of the days outside blocks
  double season_low, season_high;  // amplitude of the year
  double week_low, week_high;      // sd of ln(use of a week)
  double out_days, in_days;        // blocks of patrol or campaign; 0: none
};
constexpr Use kUse[] = {
    {11, 18, 0.93, 1.0, 0.05, 0.35, 0.05, 0.20, 0, 0},   // ferry
    {9, 18, 0.60, 0.90, 0.00, 0.20, 0.15, 0.40, 0, 0},   // short_sea
    {10, 20, 0.75, 0.97, 0.10, 0.50, 0.10, 0.30, 0, 0},  // cruise
    {8, 18, 0.80, 1.0, 0.00, 0.20, 0.20, 0.50, 24, 16},  // patrol
    {8, 20, 0.85, 1.0, 0.10, 0.50, 0.15, 0.40, 35, 14},  // research
    {4, 12, 0.40, 0.80, 0.50, 0.95, 0.30, 0.70, 0, 0},   // yacht
    {6, 22, 0.55, 0.95, 0.00, 0.30, 0.25, 0.60, 0, 0},   // workboat
};

}  // namespace

std::vector<double> make_hours(Trade trade, int days, const std::vector<Ship::Spell>& dockings,
                               const std::vector<Ship::Spell>& idle, double peak_day, Dice& dice) {
  const Use& use = kUse[static_cast<std::size_t>(trade)];
  const double hours = dice.between(use.hours_low, use.hours_high), sails = dice.between(use.sails_low, use.sails_high);
  const double season = dice.between(use.season_low, use.season_high), week = dice.between(use.week_low, use.week_high);
  std::vector<double> out(static_cast<std::size_t>(days), 0.0);
  double factor = 1;
  bool is_out = true;
  double block = use.out_days > 0 ? dice.exponential(use.out_days) : 1e9;
  for (int d = 0; d < days; ++d) {
    if (d % 7 == 0) factor = std::exp(week * dice.normal() - week * week / 2);
    if ((block -= 1) < 0) {
      is_out = !is_out;
      block = 3 + dice.exponential(is_out ? use.out_days : use.in_days);
    }
    const double wave = 1 + season * std::cos(2 * std::numbers::pi * (d - peak_day) / 365.25);
    const double luck = dice.between(0.6, 1.4);
    const bool goes = dice.chance(std::min(1.0, sails * std::min(1.0, wave + 0.2))) && is_out;
    const auto in = [d](const Ship::Spell& s) { return d >= s.from && d < s.to; };
    if (!goes || std::any_of(dockings.begin(), dockings.end(), in) || std::any_of(idle.begin(), idle.end(), in)) {
      if (dice.chance(0.05) && std::none_of(dockings.begin(), dockings.end(), in)) {
        out[static_cast<std::size_t>(d)] = dice.between(0.2, 1.5);  // tests alongside
      }
      continue;
    }
    out[static_cast<std::size_t>(d)] = std::clamp(hours * factor * wave * luck, 0.0, 23.0);
  }
  return out;
}

}  // namespace shaftlog::world
