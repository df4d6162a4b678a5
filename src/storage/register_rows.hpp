#pragma once

#include "domain/register.hpp"
#include "storage/database.hpp"

#include <optional>

namespace shaftlog {

/// The register, of one vessel where given; greases are always all.
Register load_register(Database& db, std::optional<VesselId> vessel);

}  // namespace shaftlog
