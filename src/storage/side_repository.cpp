#include "storage/side_repository.hpp"

#include "base/error.hpp"
#include "base/text.hpp"
#include "storage/query.hpp"
#include "storage/side_sql.hpp"

#include <algorithm>
#include <array>

#include <fmt/format.h>

namespace shaftlog {
namespace {

constexpr std::array<std::string_view, 3> kSides{"both", "ship", "office"};

}  // namespace

std::string_view name_of(Side side) noexcept { return kSides[static_cast<std::size_t>(side)]; }

std::optional<Side> parse_side(std::string_view word) noexcept {
  const auto* it = std::find(kSides.begin(), kSides.end(), word);
  if (it == kSides.end()) return std::nullopt;
  return static_cast<Side>(it - kSides.begin());
}

Side SideRepository::side() const {
  Query row{*db_, side_sql::kSide};
  if (!row.step()) return Side::both;
  const auto side = parse_side(row.text(0));
  if (!side) throw Error{Errc::damaged, "the file is damaged: whose it is cannot be read"};
  return *side;
}

void SideRepository::say(Side side, Instant at, const std::string& by) const {
  Query{*db_, side_sql::kSay}.run(name_of(side), at, by);
}

std::string SideRepository::elsewhere(const Uuid& record) const {
  Query row{*db_, side_sql::kWrittenIn};
  if (!row.bind(record).step() || !row.is_null(0)) return {};
  return row.text(1).empty() ? format_uuid(row.uuid(2)) : shown(row.text(1));
}

void SideRepository::require_may_alter(const Uuid& record) const {
  if (side() != Side::office) return;
  const std::string file = elsewhere(record);
  if (file.empty()) return;
  throw Error{
      Errc::conflict,
      fmt::format("record {} was first written in the file of {}, and this is an office's file: ask there for the "
                  "correction; what is to be said here goes with a finding (finding note)",
                  format_uuid(record), file)};
}

}  // namespace shaftlog
