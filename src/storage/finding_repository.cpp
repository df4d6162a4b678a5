#include "storage/finding_repository.hpp"

#include "base/error.hpp"
#include "base/text.hpp"
#include "storage/chain.hpp"
#include "storage/finding_rows.hpp"
#include "storage/query.hpp"

#include <fmt/format.h>

namespace shaftlog {
namespace {

[[noreturn]] void refuse(const FindingRemark& r, const std::string& what) {
  throw Error{Errc::bad_data, fmt::format("remark {}: {}", format_uuid(r.id), what)};
}

/// What the table would refuse, in words; the rest is for its constraints.
void require_keepable(const FindingRemark& r) {
  for (const auto& [name, text] :
       std::initializer_list<std::pair<const char*, const std::string*>>{{"kind", &r.kind},
                                                                         {"says", &r.says},
                                                                         {"by", &r.by},
                                                                         {"was_urgency", &r.then.urgency},
                                                                         {"was_summary", &r.then.summary},
                                                                         {"was_measure", &r.then.measure}}) {
    if (const auto at = find_bad_utf8(*text)) refuse(r, fmt::format("{}: byte {} is not UTF-8", name, *at + 1));
  }
  if (r.finding.is_nil()) refuse(r, "it names no finding");
  if (r.kind.empty()) refuse(r, "it names no kind of finding");
  if (!r.vessel.is_set()) refuse(r, "it names no vessel");
  if (r.did != FindingAct::taken && r.says.empty()) refuse(r, fmt::format("a finding {} needs words", name_of(r.did)));
  if (r.then.measure.empty() == r.then.value_ppm.has_value()) refuse(r, "a measure goes with its value");
}

}  // namespace

FindingRemark read_finding_remark(const Query& row) {
  FindingRemark r;
  r.id = row.uuid(0);
  r.finding = row.uuid(1);
  r.kind = row.text(2);
  r.vessel = row.key<VesselId>(3);
  r.shaft = row.key<ShaftId>(4);
  r.lubricator = row.key<LubricatorId>(5);
  const auto did = parse_finding_act(row.text(6));
  if (!did) {
    throw Error{Errc::damaged,
                fmt::format("the log is damaged: \"{}\" is nothing one does about a finding", shown(row.text(6)))};
  }
  r.did = *did;
  r.says = row.text(7);
  r.at = row.stamp(8);
  r.recorded_at = row.stamp(11);
  r.by = row.text(14);
  r.then.urgency = row.text(15);
  r.then.summary = row.text(16);
  if (const auto s = row.maybe_integer(17)) r.then.first_seen = from_unix(*s);
  if (const auto s = row.maybe_integer(18)) r.then.began = from_unix(*s);
  r.then.measure = row.text(19);
  r.then.value_ppm = row.maybe_integer(20);
  return r;
}

bool FindingRepository::add(const FindingRemark& r) const { return add(r, nullptr); }
bool FindingRepository::add(const FindingRemark& r, const LinkPlace& place) const { return add(r, &place); }

bool FindingRepository::add(const FindingRemark& r, const LinkPlace* place) const {
  require_keepable(r);
  Savepoint whole{*db_};  // the name and the remark
  if (!r.by.empty()) Query{*db_, finding_sql::kAddPerson}.run(r.by);
  Query add{*db_, finding_sql::kAdd};
  try {
    add.run(r.id, r.finding, r.kind, r.vessel, r.shaft, r.lubricator, name_of(r.did), said(r.says), r.at.utc,
            std::int64_t{r.at.offset.count()}, static_cast<int>(r.at.precision), r.recorded_at.utc,
            std::int64_t{r.recorded_at.offset.count()}, static_cast<int>(r.recorded_at.precision), said(r.by),
            said(r.then.urgency), said(r.then.summary), r.then.first_seen, r.then.began, said(r.then.measure),
            r.then.value_ppm);
  } catch (const Error& e) {
    if (e.code() == Errc::conflict) throw e.within("remark " + format_uuid(r.id));
    throw;
  }
  const bool is_new = add.changes() != 0;
  if (place != nullptr) {
    Query key{*db_, finding_sql::kKey};
    key.bind(r.id).step();
    db_->chain().put(*place, {LinkTarget::Sort::remark, key.integer(0)});
  } else if (is_new) {
    db_->chain().append(add.last_id(), r);
  }
  if (is_new || place != nullptr) whole.keep();
  return is_new;
}

std::optional<FindingRemark> FindingRepository::find(const Uuid& id) const {
  Query row{*db_, finding_sql::find()};
  if (!row.bind(id).step()) return std::nullopt;
  return read_finding_remark(row);
}

std::vector<FindingRemark> FindingRepository::list_of(VesselId vessel, Instant as_of, Instant known) const {
  std::vector<FindingRemark> out;
  Query row{*db_, finding_sql::list_of_vessel()};
  row.bind(vessel, as_of, known);
  while (row.step()) out.push_back(read_finding_remark(row));
  return out;
}

std::vector<FindingRemark> FindingRepository::list(Instant as_of, Instant known) const {
  std::vector<FindingRemark> out;
  Query vessels{*db_, finding_sql::kVessels};
  while (vessels.step()) {
    auto of = list_of(vessels.key<VesselId>(0), as_of, known);
    out.insert(out.end(), std::make_move_iterator(of.begin()), std::make_move_iterator(of.end()));
  }
  return out;
}

}  // namespace shaftlog
