#pragma once

#include "domain/register.hpp"

/// A ship with one of each.
inline shaftlog::Register a_register() {
  using namespace shaftlog;
  Register r;
  r.vessels.push_back({VesselId{1}, "T-01", "Test One", {}, "Europe/Lisbon", {}});
  r.greases.push_back({GreaseId{1}, "G-1", Thickener::lithium_complex, "2", Density::from_base(920), false});
  r.guns.push_back({GunId{1}, VesselId{1}, "gun1", {{std::nullopt, Volume::from_base(1300)}}});
  r.lubricators.push_back(
      {LubricatorId{1}, VesselId{1}, "lub1", {{std::nullopt, cm3(5000), std::nullopt, GreaseId{1}}}});
  ShaftSetting setting;
  setting.grease = GreaseId{1};
  r.shafts.push_back({ShaftId{1}, VesselId{1}, "port", {setting}});
  return r;
}
