#include "base/text.hpp"
#include "interchange/field_reader.hpp"

#include <fmt/format.h>

namespace shaftlog {
namespace {

constexpr const char* kActWords = "taken, noted, closed, reopened";
constexpr NumberRule kValueRule{6, -999'999'999'999'999, 999'999'999'999'999};

void put(std::string& out, std::string_view text) { out += fmt::format("{}:{}", text.size(), text); }
void put(std::string& out, const std::optional<Instant>& t) { put(out, t ? format_utc(*t) : std::string{}); }

template <class Row>
std::string_view code_of(const Row* row) noexcept {
  return row == nullptr ? std::string_view{} : std::string_view{row->code};
}

}  // namespace

std::optional<FindingRemark> parse_finding_remark(const Fields& fields, const RegisterIndex& index,
                                                  const FieldOptions& options, std::vector<Fault>& faults) {
  const std::size_t before = faults.size();
  const FieldReader in{fields, options, faults};
  const auto text = [&](Column c) { return std::string{fields[c]}; };
  FindingRemark r;
  const auto* vessel = read_vessel(in, index);
  const Zone zone = vessel == nullptr ? Zone::utc() : vessel->zone;
  if (vessel != nullptr) {
    r.vessel = vessel->vessel->id;
    if (const Shaft* s = read_shaft(in, *vessel)) r.shaft = s->id;
    if (const Lubricator* l = read_lubricator(in, *vessel)) r.lubricator = l->id;
  }
  if (in.word(Column::finding).empty()) in.refuse_missing(Column::finding, "the id of a finding");
  if (const auto id = in.uuid(Column::finding)) r.finding = *id;
  r.kind = std::string{in.word(Column::kind)};
  if (r.kind.empty()) in.refuse_missing(Column::kind, "the kind of the finding, such as missed_cycles");
  const auto did = in.choice(Column::did, parse_finding_act, kActWords);
  if (did) r.did = *did;
  if (in.word(Column::did).empty()) in.refuse_missing(Column::did, std::string{"one of "} + kActWords);
  if (in.word(Column::at).empty()) in.refuse_missing(Column::at, "a time such as 2026-03-14T08:10");
  if (const auto at = in.stamp(Column::at, zone)) r.at = *at;
  r.says = text(Column::says);
  if (r.says.empty() && did && *did != FindingAct::taken) {
    in.refuse_missing(Column::says, fmt::format("words: a finding that was {} needs them", name_of(*did)));
  }
  r.by = in.name(Column::by);
  r.then.urgency = std::string{in.word(Column::was_urgency)};
  r.then.summary = text(Column::was_summary);
  if (const auto s = in.stamp(Column::was_first_seen, zone)) r.then.first_seen = s->utc;
  if (const auto s = in.stamp(Column::was_began, zone)) r.then.began = s->utc;
  r.then.measure = std::string{in.word(Column::was_measure)};
  r.then.value_ppm = in.number(Column::was_value, kValueRule);
  if (r.then.measure.empty() && r.then.value_ppm) in.refuse(Column::was_value, "goes only with was_measure");
  if (!r.then.measure.empty() && in.word(Column::was_value).empty()) {
    in.refuse_missing(Column::was_value, "the figure that was_measure names");
  }
  if (const auto id = in.uuid(Column::id)) r.id = *id;
  const auto recorded = in.stamp(Column::recorded_at, zone);
  r.recorded_at = recorded ? *recorded : stamp_at(options.now, zone);
  return faults.size() == before ? std::optional{std::move(r)} : std::nullopt;
}

void append_content(std::string& out, const FindingRemark& r, const RegisterIndex& index) {
  put(out, "finding remark");
  put(out, code_of(index.find(r.vessel)));
  put(out, code_of(index.find(r.shaft)));
  put(out, code_of(index.find(r.lubricator)));
  put(out, format_uuid(r.finding));
  put(out, r.kind);
  put(out, name_of(r.did));
  put(out, r.says);
  put(out, format_utc(r.at.utc));
  put(out, std::to_string(static_cast<int>(r.at.precision)));
  put(out, r.by);
  put(out, r.then.urgency);
  put(out, r.then.summary);
  put(out, r.then.first_seen);
  put(out, r.then.began);
  put(out, r.then.measure);
  put(out, r.then.value_ppm ? std::to_string(*r.then.value_ppm) : std::string{});
}

}  // namespace shaftlog
