#pragma once

#include "analysis/types.hpp"

#include <string>
#include <string_view>
#include <vector>

namespace shaftlog {

/// What is known about a finding when its causes are asked for. A symptom in neither list is not known.
struct CauseQuery {
  FindingKind kind{};
  std::vector<std::string> present;
  std::vector<std::string> absent;  ///< looked for and not there
};

struct Cause {
  std::string text;  ///< one sentence, lower case, no full stop
  double score = 0;  ///< natural-log weight; larger is likelier, comparable within one query only
  std::vector<std::string> checks;
  std::vector<std::string> cautions;
};

/// Causes of the kind, the likeliest first; ties stand as in the table. A cause whose required symptom is not present
/// is left out.
/// \source docs/methods/causes.md; the table is src/analysis/data/causes.csv
std::vector<Cause> ranked_causes(const CauseQuery& query);

// --- the table itself, for checks and documents ----------------------------------------------------------------------
struct Sign {
  std::string symptom;
  double weight = 0;  ///< added when present, taken away when absent
  bool is_required = false;
};
struct CauseRow {
  FindingKind kind{};
  double base = 0;
  std::vector<Sign> signs;
  std::string text;
  std::vector<std::string> checks;
  std::vector<std::string> caution_keys;
};
/// All rows in the order of the table. \throws Error{bad_data} naming file, line and column if the table is wrong.
const std::vector<CauseRow>& cause_table();
/// Text of a caution; empty for a key that is not in the table.
std::string_view caution_text(std::string_view key);

}  // namespace shaftlog
