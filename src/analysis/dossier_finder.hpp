#pragma once

// Looks at every channel of one bearing's life and says what changed. Inside analysis only.

#include "analysis/dossier_parts.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

namespace shaftlog::dossier {

constexpr std::size_t kFewestBefore = 5;  ///< records before a change, so that there is a habit to leave

class Finder {
 public:
  Finder(Work& w, Dossier& d) : w_{w}, d_{d}, life_{d.lives[d.focus]} {}

  void find() {
    greasing_habit();
    how_greasings_ended();
    intake();
    washout();
    delivery();
    alarms();
    use();
    people_and_guns();
    settings();
    grease();
    inspections();
    other_shafts();
    common_cause();
    work();
    at_the_end();
    fill();
  }

 private:
  void looked(std::string channel, LookedAt::Result r, std::string text) {
    d_.looked_at.push_back({std::move(channel), r, std::move(text)});
  }
  void mark(Mark m, std::string_view found) {
    looked(m.channel, LookedAt::Result::changed, std::string{found});
    d_.marks.push_back(std::move(m));
  }

  void greasing_habit();
  void how_greasings_ended();
  void intake();
  void washout();
  void delivery();
  void alarms();
  void use();
  void people_and_guns();
  void settings();
  void grease();
  void inspections();
  void other_shafts();
  void common_cause();
  void work();
  void at_the_end();
  void fill();
  void add_shift(std::string channel, const RatioShift& s, std::string text);
  /// Ends of the life and moments of work that may have ended a change in it.
  [[nodiscard]] std::vector<Instant> checkpoints() const;

  Work& w_;
  Dossier& d_;
  const BearingLife& life_;
};

}  // namespace shaftlog::dossier
