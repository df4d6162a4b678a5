#pragma once

#include "reports/workbook.hpp"

#include <string>

namespace shaftlog {

/// The workbook as an Office Open XML file (ISO/IEC 29500): real numbers and dates, heading rows that stay in view,
/// filters, set up to print on A4. The same bytes for the same workbook. Text that begins like a formula stays text.
/// \pre names and rows are as workbook.hpp says
/// \throws Error{io} when there is no room for it in the folder of temporary files
std::string workbook_bytes(const Workbook& book);

}  // namespace shaftlog
