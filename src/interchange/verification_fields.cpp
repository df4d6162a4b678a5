#include "interchange/field_reader.hpp"

#include <fmt/format.h>

namespace shaftlog {

std::optional<Verification> parse_verification(const Fields& fields, const RegisterIndex& index,
                                               const FieldOptions& options, std::vector<Fault>& faults) {
  const std::size_t before = faults.size();
  const FieldReader in{fields, options, faults};
  Verification v;
  const auto* vessel = read_vessel(in, index);
  const Zone zone = vessel == nullptr ? Zone::utc() : vessel->zone;
  if (vessel != nullptr) v.vessel = vessel->vessel->id;
  if (in.word(Column::record).empty()) in.refuse_missing(Column::record, "the id of a record");
  if (const auto id = in.uuid(Column::record)) v.record = *id;
  if (in.word(Column::at).empty()) in.refuse_missing(Column::at, "a time such as 2026-03-14T08:10");
  if (const auto at = in.stamp(Column::at, zone)) v.at = *at;
  v.by = in.name(Column::by);
  if (v.by.empty()) in.refuse_missing(Column::by, "the name of who verified the record");
  if (const auto id = in.uuid(Column::id)) v.id = *id;
  return faults.size() == before ? std::optional{std::move(v)} : std::nullopt;
}

void append_content(std::string& out, const Verification& v, const RegisterIndex& index) {
  const auto put = [&out](std::string_view text) { out += fmt::format("{}:{}", text.size(), text); };
  const Vessel* vessel = index.find(v.vessel);
  put("verification");
  put(vessel == nullptr ? std::string_view{} : std::string_view{vessel->code});
  put(format_uuid(v.record));
  put(format_utc(v.at.utc));
  put(std::to_string(static_cast<int>(v.at.precision)));
  put(v.by);
}

}  // namespace shaftlog
