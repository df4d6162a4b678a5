#include "base/error.hpp"
#include "storage/log_repository.hpp"
#include "storage/log_rows.hpp"
#include "storage/log_statements.hpp"
#include "storage/register_rows.hpp"

#include <algorithm>
#include <map>

#include <fmt/format.h>

namespace shaftlog {
namespace {

/// Sorts records that share a moment by id; the moments themselves come in order.
template <class What>
void order_ties(std::vector<Logged<What>>& rows) {
  for (auto first = rows.begin(); first != rows.end();) {
    auto last = first + 1;
    while (last != rows.end() && last->at == first->at) ++last;
    if (last - first > 1) std::sort(first, last, [](const auto& a, const auto& b) { return a.id < b.id; });
    first = last;
  }
}

class Loader {
 public:
  Loader(Database& db, VesselId vessel, Instant as_of, std::optional<Instant> known)
      : db_{&db}, vessel_{vessel}, as_of_{as_of}, known_{known.value_or(kLatest)} {
    left_out_ = find_not_in_force(db, vessel, known_);
  }

  template <class What>
  void load(Kind kind, std::vector<Logged<What>>& out) {
    Query row{*db_, log_sql::load_kind(index_of(kind))};
    row.bind(vessel_, code_of(kind));
    while (row.step()) {
      const Instant recorded_at = from_unix(row.integer(3));
      if (recorded_at > known_) continue;
      const Uuid id = row.uuid(0);
      if (!left_out_.empty() && left_out_.contains(id)) continue;
      const Instant at = from_unix(row.integer(1));
      if (at > as_of_) {
        if (recorded_at <= as_of_) {
          log.future.push_back({id, kind, at, recorded_at, row.key<ShaftId>(4), row.key<LubricatorId>(5)});
        }
        continue;
      }
      Logged<What>& r = out.emplace_back();
      r.id = id;
      r.at = at;
      r.precision = static_cast<Precision>(row.integer(2));
      r.recorded_at = recorded_at;
      r.shaft = row.key<ShaftId>(4);
      r.lubricator = row.key<LubricatorId>(5);
      r.by = static_cast<std::uint32_t>(row.integer(6));  // the row's key for now; see number_names
      r.origin = static_cast<std::uint32_t>(row.integer(7));
      r.has_remark = row.integer(8) != 0;
      read_detail(row, log_sql::kDetailAfterLoad, r.what);
      note(people_, r.by);
      note(origins_, r.origin);
    }
    order_ties(out);
  }

  /// Turns keys of this file into places in the sorted lists of names: the same records give the same numbers in any
  /// file, whatever was imported first.
  void number_names() {
    const auto people = place(people_, log_sql::kPersonName, log.people);
    const auto origins = place(origins_, log_sql::kSourceName, log.origins);
    const auto renumber = [&](auto& rows) {
      for (auto& r : rows) {
        r.by = people[r.by];
        r.origin = origins[r.origin];
      }
    };
    renumber(log.hours);
    renumber(log.cycles);
    renumber(log.levels);
    renumber(log.refills);
    renumber(log.greasings);
    renumber(log.alarms);
    renumber(log.work);
    renumber(log.inspections);
  }

  VesselLog log;

 private:
  static void note(std::vector<bool>& used, std::uint32_t key) {
    if (key >= used.size()) used.resize(key + 1);
    used[key] = true;
  }

  std::vector<std::uint32_t> place(const std::vector<bool>& used, const char* sql, std::vector<std::string>& names) {
    std::map<std::string, std::size_t> keys;
    Query name{*db_, sql};
    for (std::size_t key = 1; key < used.size(); ++key) {
      if (!used[key] || !name.bind(static_cast<std::int64_t>(key)).step()) continue;
      keys.emplace(name.text(0), key);
      name.reset();
    }
    std::vector<std::uint32_t> places(std::max<std::size_t>(used.size(), 1), 0);
    for (const auto& [text, key] : keys) {
      places[key] = static_cast<std::uint32_t>(names.size());
      names.push_back(text);
    }
    return places;
  }

  Database* db_;
  VesselId vessel_;
  Instant as_of_;
  Instant known_;
  std::unordered_set<Uuid> left_out_;
  std::vector<bool> people_, origins_;
};

}  // namespace

VesselLog LogRepository::load_vessel(VesselId vessel, Instant as_of, std::optional<Instant> known) const {
  Loader loader{*db_, vessel, as_of, known};
  VesselLog& log = loader.log;
  Register reg = load_register(*db_, vessel);
  if (reg.vessels.empty()) {
    throw Error{Errc::not_found, fmt::format("{}: has no vessel with key {}", db_->path().string(), vessel.value)};
  }
  log.vessel = std::move(reg.vessels.front());
  log.greases = std::move(reg.greases);
  log.grease_evidence = std::move(reg.grease_evidence);
  log.guns = std::move(reg.guns);
  log.lubricators = std::move(reg.lubricators);
  log.shafts = std::move(reg.shafts);
  log.feeds = std::move(reg.feeds);

  loader.load(Kind::hours, log.hours);
  loader.load(Kind::cycles, log.cycles);
  loader.load(Kind::level, log.levels);
  loader.load(Kind::refill, log.refills);
  loader.load(Kind::greasing, log.greasings);
  loader.load(Kind::alarm, log.alarms);
  loader.load(Kind::work, log.work);
  loader.load(Kind::inspection, log.inspections);
  loader.number_names();
  std::sort(log.future.begin(), log.future.end(),
            [](const FutureRecord& a, const FutureRecord& b) { return a.at != b.at ? a.at < b.at : a.id < b.id; });
  return std::move(loader.log);
}

}  // namespace shaftlog
