#pragma once

#include "analysis/due.hpp"
#include "domain/register.hpp"
#include "reports/table.hpp"

#include <span>
#include <string>

namespace shaftlog {

/// What is due, by vessel. \param items as list_due gives them
std::string due_text(std::span<const DueItem> items, const Register& reg, Instant as_of, double within_days,
                     const TextStyle& style);
std::string due_json(std::span<const DueItem> items, const Register& reg, Instant as_of, double within_days);
std::string due_csv(std::span<const DueItem> items, const Register& reg);

}  // namespace shaftlog
