#include "interchange/field_reader.hpp"

#include "base/text.hpp"

#include <algorithm>

#include <fmt/format.h>

namespace shaftlog {
namespace {

constexpr std::size_t kMostCodesShown = 8;

template <class T>
std::vector<std::string_view> codes_of(const RegisterIndex::Codes<T>& map) {
  std::vector<std::string_view> out;
  out.reserve(map.size());
  for (const auto& [code, what] : map) out.push_back(code);
  std::sort(out.begin(), out.end());
  return out;
}

template <class T>
T find_on_board(const FieldReader& in, Column c, const RegisterIndex::OnBoard& vessel,
                const RegisterIndex::Codes<T>& codes, std::string_view what) {
  const std::string_view code = in.word(c);
  if (code.empty()) return nullptr;
  const auto it = codes.find(code);
  if (it != codes.end()) return it->second;
  in.refuse(c, fmt::format("\"{}\" is not a {} of vessel {}{}", shown(code), what, vessel.vessel->code,
                           expected_codes(code, codes_of(codes))));
  return nullptr;
}

}  // namespace

std::string_view trimmed(std::string_view text) noexcept {
  while (!text.empty() && (text.front() == ' ' || text.front() == '\t')) text.remove_prefix(1);
  while (!text.empty() && (text.back() == ' ' || text.back() == '\t')) text.remove_suffix(1);
  return text;
}

bool is_beyond_years(std::string_view time) noexcept {
  if (time.size() < 10 || time[4] != '-') return false;
  int year = 0;
  for (const char c : time.substr(0, 4)) {
    if (c < '0' || c > '9') return false;
    year = year * 10 + (c - '0');
  }
  return year < 1970 || year > 2099;
}

std::string suggestion(std::string_view word, const std::vector<std::string_view>& candidates) {
  const auto near = nearest_word(word, candidates.data(), candidates.size());
  return near ? fmt::format("; did you mean \"{}\"?", *near) : std::string{};
}

std::string expected_codes(std::string_view word, std::vector<std::string_view> codes) {
  if (codes.empty()) return "; none is registered";
  const std::string near = suggestion(word, codes);
  std::string out = codes.size() == 1 ? "; expected " : "; expected one of ";
  for (std::size_t i = 0; i < codes.size(); ++i) {
    if (i == kMostCodesShown) {
      out += fmt::format(" or {} more", codes.size() - i);
      break;
    }
    if (i > 0) out += ", ";
    out += shown(codes[i]);
  }
  return out + near;
}

void FieldReader::refuse(Column c, std::string says) const {
  faults_->push_back({{}, 0, std::string{name_of(c)}, std::string{(*fields_)[c]}, std::move(says)});
}

void FieldReader::refuse_missing(Column c, std::string_view expected) const {
  refuse(c, fmt::format("is missing; expected {}", expected));
}

void FieldReader::refuse_word(Column c, const std::string& words) const {
  std::vector<std::string_view> list;
  for (std::size_t at = 0; at < words.size();) {
    const std::size_t comma = std::min(words.find(", ", at), words.size());
    list.push_back(std::string_view{words}.substr(at, comma - at));
    at = comma + 2;
  }
  const std::string_view text = word(c);
  refuse(c, fmt::format("\"{}\" is not known; expected {}{}{}", shown(text), list.size() > 1 ? "one of " : "", words,
                        suggestion(text, list)));
}

constexpr std::size_t kMostDigits = 15;  // of parse_decimal()

std::optional<Decimal> FieldReader::decimal(Column c) const {
  const std::string_view text = word(c);
  if (text.empty()) return std::nullopt;
  const auto out = options_->is_typed ? parse_typed_decimal(text) : parse_decimal(text, options_->is_decimal_comma);
  if (!out) {
    if (options_->is_typed && may_part_thousands(text)) {
      std::string whole{text}, parted{text};
      whole.erase(whole.find(','), 1);
      parted[parted.find(',')] = '.';
      refuse(c, fmt::format("\"{}\" may be {} or {}; expected one of these, without a comma", text, whole, parted));
      return std::nullopt;
    }
    if (text.size() > kMostDigits && text.find_first_not_of("0123456789.,+-") == std::string_view::npos) {
      refuse(c, fmt::format("\"{}\" is too long a number; expected at most {} digits", shown(text), kMostDigits));
      return std::nullopt;
    }
    const bool would_be_with_comma =
        !options_->is_decimal_comma && !options_->is_typed && parse_decimal(text, true).has_value();
    refuse(c, fmt::format("\"{}\" is not a number{}", shown(text),
                          would_be_with_comma ? "; expected a decimal point (a comma only in files parted by \";\")"
                                              : "; expected plain digits such as 25 or 0.5"));
  }
  return out;
}

std::optional<std::int64_t> FieldReader::number(Column c, const NumberRule& rule) const {
  const auto d = decimal(c);
  if (!d) return std::nullopt;
  const auto n = d->scaled(rule.decimals);
  const bool is_exact = d->scale <= rule.decimals || (n && Decimal{*n, rule.decimals}.scaled(d->scale) == d->mantissa);
  if (!n || *n < rule.least || *n > rule.most) {
    refuse(c, fmt::format("{} is out of range; expected {} to {}", shown(word(c)),
                          format_scaled(rule.least, rule.decimals), format_scaled(rule.most, rule.decimals)));
    return std::nullopt;
  }
  if (!is_exact) {
    refuse(c, rule.decimals == 0
                  ? fmt::format("{} is not a whole number; expected one from {} to {}", shown(word(c)), rule.least,
                                rule.most)
                  : fmt::format("{} is told too finely; expected at most {} decimals", shown(word(c)), rule.decimals));
    return std::nullopt;
  }
  return n;
}

std::optional<std::int64_t> FieldReader::required_number(Column c, const NumberRule& rule) const {
  if (word(c).empty()) {
    refuse_missing(c, fmt::format("a number from {} to {}", format_scaled(rule.least, rule.decimals),
                                  format_scaled(rule.most, rule.decimals)));
    return std::nullopt;
  }
  return number(c, rule);
}

std::optional<Stamp> FieldReader::stamp(Column c, const Zone& zone) const {
  const std::string_view text = word(c);
  if (text.empty()) return std::nullopt;
  const auto out = parse_stamp(text, zone);
  if (out) return out;
  if (is_beyond_years(text)) {
    refuse(c, fmt::format("\"{}\" is out of range; expected a time from 1970-01-01 to 2099-12-31", shown(text)));
  } else {
    refuse(c, fmt::format("\"{}\" is not a time; expected one such as 2026-03-14, 2026-03-14T08:10 or "
                          "2026-03-14T08:10+02:00",
                          shown(text)));
  }
  return std::nullopt;
}

std::optional<Uuid> FieldReader::uuid(Column c) const {
  const std::string_view text = word(c);
  if (text.empty()) return std::nullopt;
  const auto out = parse_uuid(text);
  if (!out || out->is_nil()) {
    refuse(c, fmt::format("\"{}\" is not the id of a record; expected one such as "
                          "0190b5e2-7c1a-7f3e-8a11-2f6c1d0b9a77",
                          shown(text)));
    return std::nullopt;
  }
  return out;
}

std::string FieldReader::name(Column c) const {
  const std::string_view text = (*fields_)[c];
  // What has an id was kept before, perhaps when there was no limit: an export can always be imported.
  if (!options_->takes_any_name && word(Column::id).empty()) {
    if (std::string objection = objection_to_name(text); !objection.empty()) refuse(c, std::move(objection));
  }
  return std::string{text};
}

std::string FieldReader::new_code(Column c) const {
  const std::string_view text = word(c);
  if (text.empty()) {
    refuse_missing(c, "a short code");
    return {};
  }
  if (std::any_of(text.begin(), text.end(),
                  [](char ch) { return static_cast<unsigned char>(ch) < 0x20 || ch == 0x7F; })) {
    refuse(c, fmt::format("\"{}\" holds a control character; expected a short code", shown(text)));
    return {};
  }
  return std::string{trimmed(name(c))};
}

const RegisterIndex::OnBoard* read_vessel(const FieldReader& in, const RegisterIndex& index) {
  const std::string_view code = in.word(Column::vessel);
  if (code.empty()) {
    in.refuse_missing(Column::vessel, "the code of a vessel");
    return nullptr;
  }
  const auto* vessel = index.find_vessel(code);
  if (vessel == nullptr) {
    in.refuse(Column::vessel, fmt::format("\"{}\" is not a registered vessel{}", shown(code),
                                          expected_codes(code, index.vessel_codes())));
  }
  return vessel;
}

const Shaft* read_shaft(const FieldReader& in, const RegisterIndex::OnBoard& vessel) {
  return find_on_board(in, Column::shaft, vessel, vessel.shafts, "shaft");
}
const Lubricator* read_lubricator(const FieldReader& in, const RegisterIndex::OnBoard& vessel) {
  return find_on_board(in, Column::lubricator, vessel, vessel.lubricators, "lubricator");
}
const Gun* read_gun(const FieldReader& in, const RegisterIndex::OnBoard& vessel) {
  return find_on_board(in, Column::gun, vessel, vessel.guns, "gun");
}

const Grease* read_grease(const FieldReader& in, const RegisterIndex& index) {
  const std::string_view code = in.word(Column::grease);
  if (code.empty()) return nullptr;
  const Grease* grease = index.find_grease(code);
  if (grease == nullptr) {
    in.refuse(Column::grease, fmt::format("\"{}\" is not a registered grease{}", shown(code),
                                          expected_codes(code, index.grease_codes())));
  }
  return grease;
}

}  // namespace shaftlog
