#pragma once

#include "analysis/plain.hpp"
#include "domain/register.hpp"
#include "reports/table.hpp"

#include <optional>
#include <span>
#include <string>

namespace shaftlog {

/// What plain methods say, a table a ship. \param scope "fleet", "vessel T-01"
std::string plain_text(std::span<const PlainSeries> series, const Register& reg, Instant as_of, std::string_view scope,
                       const TextStyle& style);
std::string plain_json(std::span<const PlainSeries> series, const Register& reg, Instant as_of);
/// One row a series and method.
std::string plain_csv(std::span<const PlainSeries> series, const Register& reg);

}  // namespace shaftlog
