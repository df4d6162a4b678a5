#include "domain/register.hpp"

#include <array>

namespace shaftlog {
namespace {

constexpr std::array<std::string_view, 12> kThickeners{"",
                                                       "lithium",
                                                       "lithium_complex",
                                                       "calcium",
                                                       "calcium_complex",
                                                       "calcium_sulfonate",
                                                       "aluminium_complex",
                                                       "polyurea",
                                                       "clay",
                                                       "sodium",
                                                       "barium",
                                                       "other"};
constexpr std::array<std::string_view, 3> kEvidence{"test_report", "supplier_statement", "none"};

}  // namespace

std::string_view name_of(Evidence e) noexcept { return kEvidence[static_cast<std::size_t>(e)]; }

std::optional<Evidence> parse_evidence(std::string_view word) noexcept {
  for (std::size_t i = 0; i < kEvidence.size(); ++i) {
    if (kEvidence[i] == word) return static_cast<Evidence>(i);
  }
  return std::nullopt;
}

std::string_view name_of(Thickener t) noexcept { return kThickeners[static_cast<std::size_t>(t)]; }

std::optional<Thickener> parse_thickener(std::string_view word) noexcept {
  for (std::size_t i = 0; i < kThickeners.size(); ++i) {
    if (kThickeners[i] == word) return static_cast<Thickener>(i);
  }
  return std::nullopt;
}

std::optional<std::string> imo_digits(std::string_view text) {
  if (text.size() >= 3 && (text[0] == 'I' || text[0] == 'i') && (text[1] == 'M' || text[1] == 'm') &&
      (text[2] == 'O' || text[2] == 'o')) {
    text.remove_prefix(3);
    while (!text.empty() && text.front() == ' ') text.remove_prefix(1);
  }
  if (text.size() != 7) return std::nullopt;
  for (const char c : text) {
    if (c < '0' || c > '9') return std::nullopt;
  }
  return std::string{text};
}

ImoCheck check_imo(std::string_view text) noexcept {
  const auto digits = imo_digits(text);
  if (!digits) return ImoCheck::not_seven_digits;
  int sum = 0;
  for (int i = 0; i < 6; ++i) sum += ((*digits)[static_cast<std::size_t>(i)] - '0') * (7 - i);
  if (sum % 10 != (*digits)[6] - '0') return ImoCheck::wrong_check_digit;
  if (*digits == "1234567" || *digits == "0000000") return ImoCheck::suspicious;
  return ImoCheck::plain;
}

}  // namespace shaftlog
