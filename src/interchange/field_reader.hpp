#pragma once

#include "base/decimal.hpp"
#include "interchange/fields.hpp"

#include <string>
#include <string_view>
#include <vector>

namespace shaftlog {

/// Leading and trailing blanks off: codes, words, numbers and times; never texts.
std::string_view trimmed(std::string_view text) noexcept;

/// Whether a time is of a year that no record can be of: before 1970 or after 2099.
bool is_beyond_years(std::string_view time) noexcept;

/// A number's range and how finely it is taken.
struct NumberRule {
  int decimals = 0;        ///< at most so many
  std::int64_t least = 0;  ///< in units of 10^-decimals
  std::int64_t most = 0;
};

/// Reads the values of one row and notes everything that is wrong with them.
class FieldReader {
 public:
  FieldReader(const Fields& fields, const FieldOptions& options, std::vector<Fault>& faults) noexcept
      : fields_{&fields}, options_{&options}, faults_{&faults} {}

  [[nodiscard]] std::string_view word(Column c) const noexcept { return trimmed((*fields_)[c]); }
  [[nodiscard]] bool is_given(Column c) const noexcept { return fields_->is_given(c); }
  [[nodiscard]] const FieldOptions& options() const noexcept { return *options_; }
  void refuse(Column c, std::string says) const;
  void refuse_missing(Column c, std::string_view expected) const;

  /// Empty when the value is empty or refused.
  [[nodiscard]] std::optional<Decimal> decimal(Column c) const;
  /// In units of 10^-rule.decimals; empty when the value is empty or refused.
  [[nodiscard]] std::optional<std::int64_t> number(Column c, const NumberRule& rule) const;
  [[nodiscard]] std::optional<std::int64_t> required_number(Column c, const NumberRule& rule) const;
  [[nodiscard]] std::optional<Stamp> stamp(Column c, const Zone& zone) const;
  [[nodiscard]] std::optional<Uuid> uuid(Column c) const;
  /// A word of a fixed list, given as "a, b, c".
  template <class Parse>
  [[nodiscard]] auto choice(Column c, Parse parse, const std::string& words) const -> decltype(parse("")) {
    const std::string_view text = word(c);
    if (text.empty()) return {};
    const auto out = parse(text);
    if (!out) refuse_word(c, words);
    return out;
  }
  void refuse_word(Column c, const std::string& words) const;
  /// The name of somebody or something as it was written; refused where it is too long for one and new.
  [[nodiscard]] std::string name(Column c) const;
  /// A code for the register: not empty, no control characters, no longer than a name. \return empty when refused
  [[nodiscard]] std::string new_code(Column c) const;

 private:
  const Fields* fields_;
  const FieldOptions* options_;
  std::vector<Fault>* faults_;
};

/// `did you mean "x"?` with a leading "; ", or nothing.
std::string suggestion(std::string_view word, const std::vector<std::string_view>& candidates);
/// "; expected one of a, b, c; did you mean ..." for a code that is not registered.
std::string expected_codes(std::string_view word, std::vector<std::string_view> codes);

/// The vessel of a row, or a fault.
const RegisterIndex::OnBoard* read_vessel(const FieldReader& in, const RegisterIndex& index);
/// A shaft, lubricator or gun of that vessel; null when the value is empty or refused.
const Shaft* read_shaft(const FieldReader& in, const RegisterIndex::OnBoard& vessel);
const Lubricator* read_lubricator(const FieldReader& in, const RegisterIndex::OnBoard& vessel);
const Gun* read_gun(const FieldReader& in, const RegisterIndex::OnBoard& vessel);
const Grease* read_grease(const FieldReader& in, const RegisterIndex& index);

constexpr NumberRule kHoursRule{2, 0, 99'999'999};      // 0.01 h = 36 s
constexpr NumberRule kLevelRule{2, 0, 10'000};          // 0..100 %
constexpr NumberRule kVolumeRule{3, 0, 9'999'999'999};  // mm3, below 1e7 cm3
constexpr NumberRule kVolumeAboveZeroRule{3, 1, 9'999'999'999};

}  // namespace shaftlog
