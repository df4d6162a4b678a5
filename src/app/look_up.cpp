#include "app/look_up.hpp"

#include "base/error.hpp"
#include "base/text.hpp"
#include "interchange/field_reader.hpp"

#include <algorithm>
#include <string>
#include <vector>

#include <fmt/format.h>

namespace shaftlog {

namespace {

[[noreturn]] void refuse(std::string_view thing, std::string_view code, const std::vector<std::string_view>& known,
                         const std::string& where) {
  std::string hint;
  if (const auto near = nearest_word(code, known.data(), known.size())) {
    hint = fmt::format(", did you mean {}?", *near);
  } else if (known.empty()) {
    hint = fmt::format("; no {} is registered{}", thing, where);
  } else {
    constexpr std::size_t kMost = 12;
    std::string names;
    for (std::size_t i = 0; i < known.size() && i < kMost; ++i) names += (i == 0 ? "" : ", ") + std::string{known[i]};
    hint = fmt::format("; there {} {}{}", known.size() == 1 ? "is" : "are", names,
                       known.size() > kMost ? fmt::format(" and {} more", known.size() - kMost) : "");
  }
  throw Error{Errc::not_found, fmt::format("no {} \"{}\"{}{}", thing, shown(code), where, hint)};
}

template <class Row>
const Row& get_on_board(std::string_view thing, const std::vector<Row>& rows, const Vessel& vessel,
                        std::string_view code) {
  std::vector<std::string_view> known;
  for (const Row& row : rows) {
    if (row.vessel != vessel.id) continue;
    if (row.code == code) return row;
    known.push_back(row.code);
  }
  refuse(thing, code, known, " on " + vessel.code);
}

}  // namespace

const Vessel& get_vessel(const Register& reg, std::string_view code) {
  std::vector<std::string_view> known;
  for (const Vessel& v : reg.vessels) {
    if (v.code == code) return v;
    known.push_back(v.code);
  }
  refuse("vessel", code, known, "");
}

const Shaft& get_shaft(const Register& reg, const Vessel& vessel, std::string_view code) {
  return get_on_board("shaft", reg.shafts, vessel, code);
}

const Lubricator& get_lubricator(const Register& reg, const Vessel& vessel, std::string_view code) {
  return get_on_board("lubricator", reg.lubricators, vessel, code);
}

Zone zone_of(const Register& reg, VesselId vessel) {
  const auto at =
      std::find_if(reg.vessels.begin(), reg.vessels.end(), [vessel](const Vessel& v) { return v.id == vessel; });
  return at == reg.vessels.end() ? Zone::utc() : Zone{at->time_zone};
}

Stamp get_moment(std::string_view option, std::string_view text, const Zone& zone) {
  if (const auto stamp = parse_stamp(text, zone)) return *stamp;
  if (is_beyond_years(text))
    throw Error{Errc::usage, fmt::format("{}: \"{}\" is out of range; expected a time from 1970-01-01 to 2099-12-31",
                                         option, shown(text))};
  throw Error{Errc::usage,
              fmt::format("{}: \"{}\" is not a time; expected 2026-03-14 or 2026-03-14T08:10, with Z or an "
                          "offset like +02:00 where another clock is meant",
                          option, shown(text))};
}

}  // namespace shaftlog
