#include "interchange/register_index.hpp"

#include "base/error.hpp"

#include <algorithm>

namespace shaftlog {
namespace {

template <class Map, class Key>
auto value_or_null(const Map& map, const Key& key) -> typename Map::mapped_type {
  const auto it = map.find(key);
  return it == map.end() ? nullptr : it->second;
}

}  // namespace

RegisterIndex::RegisterIndex(Register reg) : register_{std::move(reg)} {
  for (const Grease& g : register_.greases) {
    greases_.emplace(g.code, &g);
    grease_by_id_.emplace(g.id.value, &g);
  }
  for (const Vessel& v : register_.vessels) {
    OnBoard here;
    here.vessel = &v;
    try {
      here.zone = Zone{v.time_zone};
    } catch (const Error& e) {
      throw e.within("vessel " + v.code);
    }
    vessels_.emplace(v.code, std::move(here));
    vessel_by_id_.emplace(v.id.value, &v);
  }
  const auto place = [this](VesselId id) -> OnBoard* {
    const Vessel* v = find(id);
    return v == nullptr ? nullptr : &vessels_.find(v->code)->second;
  };
  for (const Gun& g : register_.guns) {
    if (OnBoard* here = place(g.vessel)) here->guns.emplace(g.code, &g);
    gun_by_id_.emplace(g.id.value, &g);
  }
  for (const Lubricator& l : register_.lubricators) {
    if (OnBoard* here = place(l.vessel)) here->lubricators.emplace(l.code, &l);
    lubricator_by_id_.emplace(l.id.value, &l);
  }
  for (const Shaft& s : register_.shafts) {
    if (OnBoard* here = place(s.vessel)) here->shafts.emplace(s.code, &s);
    shaft_by_id_.emplace(s.id.value, &s);
  }
}

const RegisterIndex::OnBoard* RegisterIndex::find_vessel(std::string_view code) const {
  const auto it = vessels_.find(code);
  return it == vessels_.end() ? nullptr : &it->second;
}

const Grease* RegisterIndex::find_grease(std::string_view code) const { return value_or_null(greases_, code); }

const Vessel* RegisterIndex::find(VesselId id) const { return value_or_null(vessel_by_id_, id.value); }
const Grease* RegisterIndex::find(GreaseId id) const { return value_or_null(grease_by_id_, id.value); }
const Gun* RegisterIndex::find(GunId id) const { return value_or_null(gun_by_id_, id.value); }
const Lubricator* RegisterIndex::find(LubricatorId id) const { return value_or_null(lubricator_by_id_, id.value); }
const Shaft* RegisterIndex::find(ShaftId id) const { return value_or_null(shaft_by_id_, id.value); }

std::vector<std::string_view> RegisterIndex::vessel_codes() const {
  std::vector<std::string_view> out;
  for (const Vessel& v : register_.vessels) out.push_back(v.code);
  std::sort(out.begin(), out.end());
  return out;
}

std::vector<std::string_view> RegisterIndex::grease_codes() const {
  std::vector<std::string_view> out;
  for (const Grease& g : register_.greases) out.push_back(g.code);
  std::sort(out.begin(), out.end());
  return out;
}

}  // namespace shaftlog
