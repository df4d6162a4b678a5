#pragma once

#include "domain/register.hpp"

#include <optional>
#include <string_view>

namespace shaftlog {

// Rows of the register by what a person typed. All throw Error{not_found} that names what is near, or what there is.

const Vessel& get_vessel(const Register& reg, std::string_view code);
const Shaft& get_shaft(const Register& reg, const Vessel& vessel, std::string_view code);
const Lubricator& get_lubricator(const Register& reg, const Vessel& vessel, std::string_view code);

/// The vessel's own clock; UTC where it is not registered. \throws Error{bad_data} this system does not know its zone
Zone zone_of(const Register& reg, VesselId vessel);

/// A moment as an option gives it, on the clock of `zone`. \throws Error{usage} that names the option
Stamp get_moment(std::string_view option, std::string_view text, const Zone& zone);

}  // namespace shaftlog
