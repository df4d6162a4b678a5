#pragma once

#include "base/time.hpp"
#include "domain/finding_remark.hpp"
#include "domain/record.hpp"
#include "domain/register.hpp"
#include "domain/verification.hpp"
#include "interchange/register_index.hpp"
#include "interchange/tables.hpp"

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace shaftlog {

// From named texts to values, for a line of a file and for the arguments of a command alike: every fault of a line is
// told, each in one sentence that names the column, the value and what was expected.

/// One thing that is wrong or odd. From a command line there is no file; some faults concern no single column.
struct Fault {
  std::string file;        ///< "greasings.csv"; empty: not from a file
  std::uint64_t line = 0;  ///< from 1; 0: the file as a whole
  std::string column;
  std::string value;  ///< as found
  std::string says;   ///< with the value, what is wrong with it and what was expected

  /// "greasings.csv line 17, amount: \"25o\" is not a number", or "amount: ..." without a file.
  [[nodiscard]] std::string text() const;
};

struct FieldOptions {
  bool is_decimal_comma = false;  ///< also take "25,5"
  bool is_typed = false;          ///< the same of one who can be asked again: "1,234" is refused
  Instant now{};                  ///< when a record that does not say so was recorded
  std::string_view source;        ///< where a record that does not say so comes from
  bool takes_any_name = false;    ///< also one longer than kMostInName, as another file may have kept it
};

struct ParsedRecord {
  std::optional<Entry> entry;   ///< empty exactly when there are faults; its id is nil where none was given
  std::vector<Fault> faults;    ///< file and line are for the caller to add
  std::vector<Fault> warnings;  ///< kept all the same, but worth a look
};

/// One record of `kind`. A row with `withdraws` is a withdrawal and carries no values.
ParsedRecord parse_record(Kind kind, const Fields& fields, const RegisterIndex& index, const FieldOptions& options);

/// What makes the id of a record that came without one: its kind, vessel, subject, time and all values, `by` and
/// `remark` in one canonical text (trailing zeros dropped), not where it came from nor when it was recorded. The same
/// row gives the same text in every file and on every machine; frozen, for ids on disk come from it.
void append_content(std::string& out, const Entry& entry, const RegisterIndex& index);
/// Version 8 id from append_content's text and the number of equal rows before this one in its file.
Uuid content_id(std::string_view content, std::uint32_t occurrence);

// Rows of the register. Empty when there are faults, which are appended.
std::optional<Vessel> parse_vessel(const Fields& fields, const FieldOptions& options, std::vector<Fault>& faults,
                                   std::vector<Fault>& warnings);
std::optional<Grease> parse_grease(const Fields& fields, const FieldOptions& options, std::vector<Fault>& faults);
std::optional<GreaseEvidence> parse_grease_evidence(const Fields& fields, const RegisterIndex& index,
                                                    const FieldOptions& options, std::vector<Fault>& faults);

/// A remark on a finding; its id is made from its content where none is given.
std::optional<FindingRemark> parse_finding_remark(const Fields& fields, const RegisterIndex& index,
                                                  const FieldOptions& options, std::vector<Fault>& faults);
/// What makes the id of a remark that came without one, as append_content for a record.
void append_content(std::string& out, const FindingRemark& remark, const RegisterIndex& index);

/// A verification; its id is made from its content where none is given.
std::optional<Verification> parse_verification(const Fields& fields, const RegisterIndex& index,
                                               const FieldOptions& options, std::vector<Fault>& faults);
/// What makes the id of a verification that came without one.
void append_content(std::string& out, const Verification& verification, const RegisterIndex& index);

struct GunFields {
  VesselId vessel;
  std::string code;
  GunCalibration calibration;
};
std::optional<GunFields> parse_gun(const Fields& fields, const RegisterIndex& index, const FieldOptions& options,
                                   std::vector<Fault>& faults);
struct LubricatorFields {
  VesselId vessel;
  std::string code;
  LubricatorSetting setting;
};
std::optional<LubricatorFields> parse_lubricator(const Fields& fields, const RegisterIndex& index,
                                                 const FieldOptions& options, std::vector<Fault>& faults);
struct ShaftFields {
  VesselId vessel;
  std::string code;
  ShaftSetting setting;
};
std::optional<ShaftFields> parse_shaft(const Fields& fields, const RegisterIndex& index, const FieldOptions& options,
                                       std::vector<Fault>& faults);
std::optional<Feed> parse_feed(const Fields& fields, const RegisterIndex& index, const FieldOptions& options,
                               std::vector<Fault>& faults);

}  // namespace shaftlog
