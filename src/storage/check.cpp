#include "base/error.hpp"
#include "base/uuid.hpp"
#include "storage/chain.hpp"
#include "storage/database.hpp"
#include "storage/key_repository.hpp"
#include "storage/log_sql.hpp"
#include "storage/migration.hpp"
#include "storage/query.hpp"

#include <algorithm>
#include <unordered_map>

#include <fmt/format.h>

namespace shaftlog {
namespace {

/// So many faults of one sort are told one by one; then only their number.
constexpr std::size_t kMostTold = 20;

/// Runs one part of the check. A file too damaged to go on with is a finding, not a failure of the check.
template <class Part>
void run_part(CheckResult& result, const char* name, const Part& part) {
  try {
    part();
  } catch (const Error& e) {
    if (e.code() == Errc::busy) throw;
    result.faults.push_back(fmt::format("{} could not be checked: {}", name, e.what()));
  }
}

void tell(CheckResult& result, std::vector<std::string> faults, const char* more) {
  const std::size_t n = faults.size();
  if (n > kMostTold) faults.resize(kMostTold);
  std::move(faults.begin(), faults.end(), std::back_inserter(result.faults));
  if (n > kMostTold) result.faults.push_back(fmt::format("{} {}", n - kMostTold, more));
}

void check_integrity(Database& db, CheckResult& result) {
  Query row{db, "PRAGMA integrity_check(20)"};
  while (row.step()) {
    if (row.text(0) != "ok") result.faults.push_back(fmt::format("the file is damaged: {}", row.text(0)));
  }
}

void check_foreign_keys(Database& db, CheckResult& result) {
  std::vector<std::string> faults;
  Query row{db, "PRAGMA foreign_key_check"};
  while (row.step()) {
    faults.push_back(
        fmt::format("row {} of {} refers to a row of {} that is not there", row.integer(1), row.text(0), row.text(2)));
  }
  tell(result, std::move(faults), "more rows refer to rows that are not there");
}

/// Each statement answers (id of a record, what is wrong with it).
constexpr const char* kGunElsewhere = R"sql(
SELECT e.uuid, 'names a gun of another vessel' FROM greasing d JOIN gun g ON g.gun_id = d.gun_id
JOIN entry e ON e.entry_id = d.entry_id WHERE g.vessel_id <> e.vessel_id ORDER BY e.uuid )sql";
constexpr const char* kCorrectionOfAnotherKind = R"sql(
SELECT e.uuid, 'corrects a record of another kind' FROM entry e JOIN entry o ON o.uuid = e.replaces
WHERE e.replaces IS NOT NULL AND e.vessel_id = o.vessel_id AND e.kind <> o.kind ORDER BY e.uuid )sql";
constexpr const char* kCorrectionOfAWithdrawal = R"sql(
SELECT e.uuid, 'corrects a withdrawal' FROM entry e JOIN entry o ON o.uuid = e.replaces
WHERE e.replaces IS NOT NULL AND o.withdraws IS NOT NULL ORDER BY e.uuid )sql";
constexpr const char* kOfAnotherVessel = R"sql(
SELECT e.uuid, 'corrects or withdraws a record of another vessel and so has no effect on it'
FROM entry e JOIN entry o ON o.uuid = e.replaces
WHERE e.replaces IS NOT NULL AND e.vessel_id <> o.vessel_id
UNION ALL
SELECT e.uuid, 'corrects or withdraws a record of another vessel and so has no effect on it'
FROM entry e JOIN entry o ON o.uuid = e.withdraws
WHERE e.withdraws IS NOT NULL AND e.vessel_id <> o.vessel_id ORDER BY 1 )sql";
constexpr const char* kWithdrawalOfAnotherKind = R"sql(
SELECT e.uuid, 'withdraws a record of another kind' FROM entry e JOIN entry o ON o.uuid = e.withdraws
WHERE e.withdraws IS NOT NULL AND e.vessel_id = o.vessel_id AND e.kind <> o.kind ORDER BY e.uuid )sql";

void check_details(Database& db, CheckResult& result) {
  std::vector<std::string> faults;
  for (std::size_t kind = 0; kind < log_sql::kDetails.size(); ++kind) {
    const auto table = log_sql::kDetails[kind].name;
    Query missing{db, fmt::format("SELECT e.uuid FROM entry e LEFT JOIN {} d ON d.entry_id = e.entry_id WHERE e.kind = "
                                  ":kind AND e.withdraws IS NULL AND d.entry_id IS NULL ORDER BY e.entry_id",
                                  table)};
    missing.bind(static_cast<std::int64_t>(kind) + 1);
    while (missing.step()) {
      faults.push_back(fmt::format("record {} has no row in {}", format_uuid(missing.uuid(0)), table));
    }
    Query extra{db, fmt::format("SELECT e.uuid FROM {} d JOIN entry e ON e.entry_id = d.entry_id WHERE e.kind <> :kind "
                                "OR e.withdraws IS NOT NULL ORDER BY e.entry_id",
                                table)};
    extra.bind(static_cast<std::int64_t>(kind) + 1);
    while (extra.step()) {
      faults.push_back(
          fmt::format("record {} has a row in {}, which is not of its kind", format_uuid(extra.uuid(0)), table));
    }
  }
  tell(result, std::move(faults), "more records and details do not belong together");
}

void check_links(Database& db, CheckResult& result) {
  std::vector<std::string> faults;
  for (const char* sql : {kGunElsewhere, kCorrectionOfAnotherKind, kCorrectionOfAWithdrawal, kOfAnotherVessel,
                          kWithdrawalOfAnotherKind}) {
    Query row{db, sql};
    while (row.step()) faults.push_back(fmt::format("record {} {}", format_uuid(row.uuid(0)), row.text(1)));
  }
  tell(result, std::move(faults), "more records disagree with those they refer to");
}

/// A finding's id is made from its vessel, subject and kind: its remarks cannot differ in them.
void check_findings(Database& db, CheckResult& result) {
  std::vector<std::string> faults;
  Query row{db, R"sql(
SELECT finding FROM finding_remark GROUP BY finding
HAVING min(vessel_id) <> max(vessel_id) OR min(kind) <> max(kind) OR
       min(ifnull(shaft_id, 0)) <> max(ifnull(shaft_id, 0)) OR
       min(ifnull(lubricator_id, 0)) <> max(ifnull(lubricator_id, 0)) ORDER BY finding )sql"};
  while (row.step()) {
    faults.push_back(fmt::format("remarks on finding {} name different kinds or subjects", format_uuid(row.uuid(0))));
  }
  tell(result, std::move(faults), "more findings have remarks that disagree");
}

/// A record that is not here may come by a pack yet.
void check_verifications(Database& db, CheckResult& result) {
  std::vector<std::string> faults;
  Query row{db, R"sql(
SELECT w.uuid, e.uuid, e.vessel_id <> w.vessel_id FROM verification w JOIN entry e ON e.uuid = w.record
WHERE e.vessel_id <> w.vessel_id OR e.withdraws IS NOT NULL ORDER BY w.uuid )sql"};
  while (row.step()) {
    faults.push_back(fmt::format("verification {} is of record {}, {}", format_uuid(row.uuid(0)),
                                 format_uuid(row.uuid(1)),
                                 row.integer(2) != 0 ? "which is of another vessel" : "which is a withdrawal"));
  }
  tell(result, std::move(faults), "more verifications do not fit their records");
}

void check_circles(Database& db, CheckResult& result) {
  std::unordered_map<Uuid, Uuid> corrects;
  Query row{db, "SELECT uuid, replaces FROM entry WHERE replaces IS NOT NULL ORDER BY uuid"};
  std::vector<Uuid> order;
  while (row.step()) {
    order.push_back(row.uuid(0));
    corrects.emplace(row.uuid(0), row.uuid(1));
  }
  std::vector<std::string> faults;
  std::unordered_map<Uuid, std::size_t> seen_in;  // by which walk a record was reached first
  for (std::size_t walk = 0; walk < order.size(); ++walk) {
    Uuid at = order[walk];
    for (;;) {
      const auto [it, is_new] = seen_in.emplace(at, walk);
      if (!is_new) {
        if (it->second == walk) {
          faults.push_back(fmt::format("record {} corrects itself by way of others", format_uuid(at)));
        }
        break;
      }
      const auto next = corrects.find(at);
      if (next == corrects.end()) break;
      at = next->second;
    }
  }
  tell(result, std::move(faults), "more circles of corrections");
}

}  // namespace

CheckResult check(Database& db) {
  CheckResult result;
  run_part(result, "the file", [&] { check_integrity(db, result); });
  run_part(result, "the schema", [&] {
    result.schema = static_cast<int>(single_integer(handle_of(db), "PRAGMA user_version"));
    auto differences = schema_differences(handle_of(db), released_plan());
    std::move(differences.begin(), differences.end(), std::back_inserter(result.faults));
  });
  run_part(result, "references", [&] { check_foreign_keys(db, result); });
  run_part(result, "details", [&] { check_details(db, result); });
  run_part(result, "corrections and withdrawals", [&] {
    check_links(db, result);
    check_circles(db, result);
  });
  run_part(result, "remarks on findings", [&] { check_findings(db, result); });
  run_part(result, "verifications", [&] { check_verifications(db, result); });
  run_part(result, "the audit chain", [&] { check_chain(db, result); });
  run_part(result, "what was signed", [&] { check_checkpoints(db, result); });
  run_part(result, "the number of records", [&] {
    result.records = single_integer(handle_of(db), "SELECT count(*) FROM entry");
    result.vessels = single_integer(handle_of(db), "SELECT count(*) FROM vessel");
    result.finding_remarks = single_integer(handle_of(db), "SELECT count(*) FROM finding_remark");
    result.verifications = single_integer(handle_of(db), "SELECT count(*) FROM verification");
  });
  return result;
}

}  // namespace shaftlog
