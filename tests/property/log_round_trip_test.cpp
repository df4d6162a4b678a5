// Laws of the log folder, on generated logs: what is exported imports to the same; the order of lines does not matter;
// a second import adds nothing.
#include "app/export.hpp"
#include "app/import.hpp"
#include "domain/amount.hpp"
#include "interchange/csv.hpp"
#include "storage/finding_repository.hpp"
#include "storage/log_repository.hpp"
#include "storage/verification_repository.hpp"
#include "support/log_text.hpp"

#include <algorithm>
#include <cstdlib>
#include <set>
#include <string>
#include <vector>

#include <catch2/catch.hpp>
#include <rapidcheck/catch.h>

using namespace shaftlog;
using test::read_folder;

namespace {

// Each case brings some forty files to the disk: thirty cases unless RC_PARAMS asks for more.
[[maybe_unused]] const int kCasesAreSet = [] {
  const char* given = std::getenv("RC_PARAMS");
  const std::string params = given != nullptr ? given : "";
  if (params.find("max_success") != std::string::npos) return 0;
  return ::setenv("RC_PARAMS", (params + " max_success=30").c_str(), /*overwrite=*/1);
}();

const FixedClock kClock{from_unix(1'790'000'000)};

/// Any text of the kind people paste: quotes, delimiters, line ends, other scripts.
std::string a_text() {
  static const std::vector<std::string> pieces{"a",
                                               "Z",
                                               "0",
                                               " ",
                                               ",",
                                               ";",
                                               "\"",
                                               "\n",
                                               "\r\n",
                                               "\r",
                                               "'",
                                               "\t",
                                               "=1",
                                               "\xC3\xA9",
                                               "\xE2\x98\x83",
                                               "\xF0\x9F\x9A\xA2",
                                               "\xD8\xB4",
                                               "\xEF\xBB\xBF",
                                               "\\"};
  std::string out;
  for (const std::size_t i :
       *rc::gen::container<std::vector<std::size_t>>(rc::gen::inRange<std::size_t>(0, pieces.size()))) {
    out += pieces[i];
  }
  return out;
}

std::int64_t between(std::int64_t least, std::int64_t most) { return *rc::gen::inRange<std::int64_t>(least, most + 1); }
bool maybe() { return between(0, 1) == 1; }

Stamp a_stamp() {
  Stamp s;
  s.offset = std::chrono::minutes{between(-18 * 60, 18 * 60)};
  s.precision = static_cast<Precision>(between(0, 2));
  const std::int64_t day = between(365, 47'000);
  std::int64_t local = day * 86'400;
  if (s.precision == Precision::day) local += 43'200;
  if (s.precision == Precision::minute) local += between(0, 1'439) * 60;
  if (s.precision == Precision::second) local += between(0, 86'399);
  s.utc = from_unix(local) - s.offset;
  return s;
}

Amount an_amount(Unit unit) {
  Decimal typed{between(0, 99'999), static_cast<int>(between(0, 4))};
  std::optional<std::int64_t> nano;
  switch (unit) {
    case Unit::cm3:
    case Unit::ml:
      nano = 1'000'000'000;
      break;
    case Unit::l:
      nano = 1'000'000'000'000;
      typed.mantissa %= 1000;
      break;
    default:
      if (maybe()) nano = between(1, 9'000'000'000);
      break;
  }
  return make_amount(typed, unit, nano);
}

Entry an_entry(const test::TempDb& db, const std::vector<Entry>& before) {
  Entry e = db.entry(static_cast<Kind>(between(0, 7)), 1);
  if (maybe() && e.shaft.is_set()) e.shaft = db.stbd;
  e.head.id = make_uuid_v7(std::chrono::system_clock::time_point{std::chrono::seconds{between(0, 2'000'000'000)}});
  e.head.at = a_stamp();
  e.head.recorded_at = a_stamp();
  e.head.by = a_text();
  e.head.remark = a_text();
  e.head.reason = a_text();
  e.head.source = maybe() ? "" : maybe() ? "hours.csv:" + std::to_string(between(0, 99)) : "x" + a_text();
  switch (e.kind) {
    case Kind::hours: {
      Hours d{HoursReading::from_base(between(0, 99'999'999) * 36), maybe(), std::nullopt};
      if (d.is_new_meter && maybe()) d.old_meter = HoursReading::from_base(between(0, 99'999'999) * 36);
      e.detail = d;
      break;
    }
    case Kind::cycles:
      e.detail = Cycles{between(0, 999'999'999'999), maybe()};
      break;
    case Kind::level:
      e.detail = LevelReading{Level::from_base(between(0, 10'000))};
      break;
    case Kind::refill: {
      Refill d;
      if (maybe()) d.amount = an_amount(maybe() ? Unit::pct : static_cast<Unit>(between(0, 6)));
      if (!d.amount || maybe()) {
        d.before = Level::from_base(between(0, 10'000));
        d.after = Level::from_base(between(0, 10'000));
      }
      if (maybe()) d.grease = db.grease;
      d.batch = a_text();
      e.detail = d;
      break;
    }
    case Kind::greasing: {
      Greasing d;
      d.ended = static_cast<Ended>(between(0, 4));
      if (d.ended != Ended::not_done) d.amount = an_amount(static_cast<Unit>(between(0, 7)));
      if (maybe()) d.gun = db.gun;
      if (maybe()) d.purge = static_cast<Purge>(between(0, 3));
      if (maybe()) d.grease = db.grease;
      e.detail = d;
      break;
    }
    case Kind::alarm: {
      Alarm d{static_cast<AlarmKind>(between(0, 6)), std::nullopt};
      if (maybe()) d.cleared = a_stamp();
      e.detail = d;
      break;
    }
    case Kind::work:
      e.detail = Work{static_cast<WorkKind>(between(0, 14))};
      if (!e.shaft.is_set() && !e.lubricator.is_set()) e.shaft = db.port;
      break;
    case Kind::inspection: {
      Inspection d;
      d.water_ppm = between(0, 1'000'000);
      if (maybe()) d.iron_ppm_milli = between(0, 1'000'000'000);
      if (maybe()) d.clearance_um = between(0, 1'000'000);
      e.detail = d;
      break;
    }
  }
  std::vector<Uuid> targets;
  for (const Entry& b : before) {
    if (b.kind == e.kind && !b.is_withdrawal()) targets.push_back(b.head.id);
  }
  if (!targets.empty() && maybe()) {
    const Uuid target = targets[static_cast<std::size_t>(between(0, static_cast<std::int64_t>(targets.size()) - 1))];
    if (maybe()) {
      e.head.replaces = target;
    } else {
      e.head.withdraws = target;
      e.detail = Withdrawal{};
    }
  }
  return e;
}

FindingRemark a_remark(const test::TempDb& db) {
  FindingRemark r;
  r.id = make_uuid_v7(std::chrono::system_clock::time_point{std::chrono::seconds{between(0, 2'000'000'000)}});
  r.finding = make_uuid_v8(std::to_string(between(0, 3)));
  r.kind = "seal_wear";
  r.vessel = db.vessel;
  if (maybe()) r.shaft = db.port;
  if (maybe()) r.lubricator = db.lubricator;
  r.did = static_cast<FindingAct>(between(0, 3));
  r.says = (r.did == FindingAct::taken ? "" : "x") + a_text();
  r.by = a_text();
  r.at = a_stamp();
  r.recorded_at = a_stamp();
  if (maybe()) {
    r.then = {"plan",       a_text(), from_unix(between(0, 2'000'000'000)),
              std::nullopt, "factor", between(-9'999, 9'999'999)};
    if (maybe()) r.then.began = from_unix(between(0, 2'000'000'000));
  }
  return r;
}

/// Of a record that is there, or of one that is not.
Verification a_verification(const test::TempDb& db, const std::vector<Entry>& entries) {
  Verification v;
  v.id = make_uuid_v7(std::chrono::system_clock::time_point{std::chrono::seconds{between(0, 2'000'000'000)}});
  v.record = make_uuid_v8(std::to_string(between(0, 3)));
  v.vessel = db.vessel;
  v.at = a_stamp();
  v.by = "x" + a_text();
  if (!entries.empty() && maybe()) {
    const Entry& of = entries[static_cast<std::size_t>(between(0, static_cast<std::int64_t>(entries.size()) - 1))];
    if (!of.is_withdrawal()) v.record = of.head.id;
  }
  return v;
}

void import(Database& db, const std::filesystem::path& folder, bool adds) {
  ImportOptions o;
  o.folder = folder;
  const auto r = import_folder(db, kClock, o);
  for (const Fault& f : r.faults) RC_FAIL(f.text());
  RC_ASSERT(r.is_kept);
  if (adds) return;
  for (const ImportedFile& f : r.files) RC_ASSERT(f.added == 0U);
}

/// All ids of the log.
std::set<Uuid> ids(Database& db) {
  std::set<Uuid> out;
  ListQuery q;
  q.in_force_only = false;
  for (const Entry& e : LogRepository{db}.list(q)) out.insert(e.head.id);
  return out;
}

}  // namespace

TEST_CASE("log folder: what was exported imports to the same log and exports to the same bytes", "[property][export]") {
  rc::prop("export of import of export is the export", [] {
    test::TempDb first;
    {
      WriteTransaction transaction{first.db};
      LogRepository log{first.db};
      std::vector<Entry> entries;
      const auto n = between(0, 30);
      for (std::int64_t i = 0; i < n; ++i) {
        entries.push_back(an_entry(first, entries));
        RC_ASSERT(log.add(entries.back()));
      }
      const auto remarks = between(0, 5);
      for (std::int64_t i = 0; i < remarks; ++i) RC_ASSERT(FindingRepository{first.db}.add(a_remark(first)));
      for (std::int64_t i = between(0, 5); i > 0; --i) {
        const Verification v = a_verification(first, entries);
        RC_ASSERT(VerificationRepository{first.db}.add(v));
      }
      Grease other;
      other.code = "G-2";
      other.density = Density::from_base(900);
      const RegisterRepository reg{first.db};
      reg.put(other, {from_unix(0), "", false});
      for (std::int64_t i = between(0, 2); i > 0; --i) {
        reg.put(GreaseEvidence{first.grease, other.id, static_cast<Evidence>(between(0, 2)), a_text()});
      }
      transaction.commit();
    }
    export_folder(first.db, first.dir / "a");
    auto second = Database::create(first.dir / "second.db");
    import(second, first.dir / "a", /*adds=*/true);
    export_folder(second, first.dir / "b");
    const auto a = read_folder(first.dir / "a"), b = read_folder(first.dir / "b");
    for (const auto& [name, text] : a) RC_ASSERT(text == b.at(name));
    import(second, first.dir / "a", /*adds=*/false);
    const auto first_remarks = FindingRepository{first.db}.list(), remarks = FindingRepository{second}.list();
    RC_ASSERT(remarks.size() == first_remarks.size());
    for (std::size_t i = 0; i < remarks.size(); ++i) {
      RC_ASSERT(remarks[i].id == first_remarks[i].id);
      RC_ASSERT(remarks[i].says == first_remarks[i].says);
      RC_ASSERT(remarks[i].then == first_remarks[i].then);
    }
    RC_ASSERT(VerificationRepository{second}.list() == VerificationRepository{first.db}.list());
    for (const std::string& fault : check(second).faults)
      RC_ASSERT(fault.find("name different kinds") != std::string::npos);
  });
}

TEST_CASE("log folder: the order of its lines does not matter, and a second import adds nothing",
          "[property][import]") {
  rc::prop("permuted lines give the same ids", [] {
    test::TempDir dir;
    test::write_register(dir / "log");
    const std::string header = "vessel,shaft,at,amount,unit,gun,ended,remark\n";
    std::vector<std::string> lines;
    const auto n = between(1, 20);
    for (std::int64_t i = 0; i < n; ++i) {
      std::string line;
      CsvWriter csv{line};
      for (const std::string& f :
           {std::string{"T-01"}, std::string{maybe() ? "port" : "stbd"}, "2026-02-0" + std::to_string(between(1, 3)),
            std::to_string(between(0, 2)), std::string{maybe() ? "strokes" : "cm3"}, std::string{"gun1"},
            std::string{"pressure"}, maybe() ? a_text() : std::string{}}) {
        csv.field(f);
      }
      csv.end_row();
      lines.push_back(line);
    }
    const auto text = [&] {
      std::string out = header;
      for (const std::string& l : lines) out += l;
      return out;
    };
    test::write_text(dir / "log" / "greasings.csv", text());
    auto first = Database::create(dir / "first.db");
    import(first, dir / "log", /*adds=*/true);
    const auto known = ids(first);
    RC_ASSERT(known.size() == lines.size());
    std::sort(lines.begin(), lines.end());
    std::rotate(lines.begin(), lines.begin() + between(0, n - 1), lines.end());
    test::write_text(dir / "log" / "greasings.csv", text());
    import(first, dir / "log", /*adds=*/false);
    auto second = Database::create(dir / "second.db");
    import(second, dir / "log", /*adds=*/true);
    RC_ASSERT(ids(second) == known);
  });
}
