#include "storage/salvage/recover.hpp"

#include "base/error.hpp"
#include "storage/migration.hpp"
#include "support/damaged_log.hpp"
#include "support/sparse.hpp"

#include <random>
#include <sqlite3.h>

#include <catch2/catch.hpp>
#include <fmt/format.h>

using namespace shaftlog;
using namespace shaftlog::test;
namespace fs = std::filesystem;

namespace {

/// Rows of `found` that are not, byte for byte, rows of `truth`.
std::vector<std::string> not_of(const AllRows& truth, const AllRows& found) {
  std::vector<std::string> out;
  for (const auto& [table, rows] : found) {
    for (const auto& [key, row] : rows) {
      const auto& there = truth.at(table);
      const auto it = there.find(key);
      if (it == there.end() || it->second != row)
        out.push_back(fmt::format("{} {}: {}", table, key, row.substr(0, 80)));
    }
  }
  return out;
}

struct Saved {
  RecoverResult told;
  AllRows rows;
};

/// Writes the bytes to a file, saves what can be saved, and holds what is true whatever the damage. Empty: nothing of a
/// log was there to be read.
std::optional<Saved> save(const TempDir& dir, const WholeLog& log, const std::string& bytes,
                          const std::optional<fs::path>& lender = {}) {
  const fs::path damaged = dir / "damaged.db", made = dir / "new.db";
  write_bytes(damaged, bytes);
  fs::remove(made);
  Saved saved;
  try {
    saved.told = recover(damaged, made, lender);
  } catch (const Error& e) {
    INFO(e.what());
    // A changed bit may say that the file is of a newer version: then it is not for this program to judge.
    CHECK((e.code() == Errc::damaged || e.code() == Errc::schema_too_new));
    CHECK(!fs::exists(made));
    return std::nullopt;
  }
  CHECK(read_bytes(damaged) == bytes);
  CHECK(std::distance(fs::directory_iterator{dir.path()}, fs::directory_iterator{}) == 2);  // nothing left beside them
  saved.rows = all_rows(made);
  const auto& entries = saved.rows.at("entry");
  const auto kept = static_cast<std::int64_t>(entries.size());
  const auto whole = static_cast<std::int64_t>(log.rows.at("entry").size());
  const auto lost = static_cast<std::int64_t>(saved.told.lost.size()) + saved.told.lost_unknown;
  CHECK(saved.told.records == kept);
  CHECK(saved.told.lost_unknown >= 0);
  CHECK(kept + lost <= whole);
  if (!saved.told.is_least) CHECK(kept + lost == whole);
  CHECK(saved.told.faults == std::vector<std::string>{});
  return saved;
}

}  // namespace

TEST_CASE("recover: of a whole file every row is saved and nothing is called lost", "[fault][recover]") {
  const WholeLog log{600};
  const TempDir dir;
  const auto saved = save(dir, log, log.bytes);
  REQUIRE(saved);
  CHECK(saved->told.is_whole());
  CHECK(saved->told.notes == std::vector<std::string>{});
  CHECK(saved->rows == log.rows);
}

TEST_CASE("recover: what is still in the journal is saved too", "[fault][recover]") {
  const WholeLog log{300};
  const TempDir dir, copy;
  fs::copy_file(log.file(), dir / "x.db");
  AllRows truth;
  {
    Database db = Database::open(dir / "x.db", Database::Mode::read_write);
    execute(handle_of(db), "PRAGMA wal_autocheckpoint = 0");
    for (std::uint64_t n = 0; n < 20; ++n) {
      WriteTransaction transaction{db};
      const TempDb t;
      LogRepository{db}.add(t.entry(Kind::greasing, 500'000 + n, 310));
      transaction.commit();
    }
    for (const char* name : {"x.db", "x.db-wal"}) fs::copy_file(dir / name, copy / name);
    truth = all_rows(dir / "x.db");
  }
  const RecoverResult told = recover(copy / "x.db", copy / "new.db", {});
  CHECK(told.is_whole());
  CHECK(all_rows(copy / "new.db") == truth);

  // One byte of a frame in the middle: the rest of the journal still counts, and it is said.
  std::string wal = read_bytes(copy / "x.db-wal");
  const std::size_t frames = (wal.size() - 32) / (4096 + 24);
  REQUIRE(frames > 20);
  wal[32 + (frames / 2) * (4096 + 24) + 24 + 3000] ^= 0x10;
  write_bytes(copy / "x.db-wal", wal);
  const RecoverResult hurt = recover(copy / "x.db", copy / "hurt.db", {});
  CHECK(hurt.notes.size() == 1);
  CHECK(not_of(truth, all_rows(copy / "hurt.db")) == std::vector<std::string>{});
  CHECK(hurt.records + hurt.lost_unknown + static_cast<std::int64_t>(hurt.lost.size()) ==
        static_cast<std::int64_t>(truth.at("entry").size()));

  // The journal's end torn off in the middle of a frame.
  wal[32 + (frames / 2) * (4096 + 24) + 24 + 3000] ^= 0x10;
  wal.resize(wal.size() - 100);
  write_bytes(copy / "x.db-wal", wal);
  const RecoverResult torn = recover(copy / "x.db", copy / "torn.db", {});
  CHECK(torn.records + 1 >= static_cast<std::int64_t>(truth.at("entry").size()));
  CHECK(not_of(truth, all_rows(copy / "torn.db")) == std::vector<std::string>{});
}

TEST_CASE("recover: a file cut at every page and in every page gives back what is before the cut", "[fault][recover]") {
  const WholeLog log{250};
  const TempDir dir;
  std::size_t saved_some = 0, best = 0;
  for (std::size_t page = 0; page < log.pages(); page += kSparse) {
    for (const std::size_t more : {std::size_t{0}, std::size_t{2048}}) {
      if (page % 2 != 0 && more != 0) continue;
      INFO("cut after " << page << " pages and " << more << " bytes of " << log.pages());
      const auto saved = save(dir, log, log.bytes.substr(0, page * 4096 + more));
      if (!saved) continue;
      CHECK(not_of(log.rows, saved->rows) == std::vector<std::string>{});
      if (saved->told.is_whole()) {
        CHECK(saved->rows == log.rows);
        CHECK(page + 3 > log.pages());  // no more than the last pages, if they are of an index, cost nothing
      }
      ++saved_some;
      best = std::max(best, saved->rows.at("entry").size());
    }
  }
  CHECK(saved_some * kSparse > log.pages() / 2);
  CHECK(best > log.rows.at("entry").size() / 2);
}

TEST_CASE("recover: each page in turn made of noughts, of noise or of another page costs no more than its rows",
          "[fault][recover]") {
  const WholeLog log{250};
  const TempDir dir;
  std::mt19937_64 random{7};
  for (std::size_t page = 0; page < log.pages(); page += kSparse) {
    // A small table's page is tried in every way, of the others each in one.
    for (int way = 0; way < 3; ++way) {
      if (page > 30 && static_cast<int>(page % 3) != way) continue;
      INFO("page " << page + 1 << ", way " << way);
      std::string bytes = log.bytes;
      for (std::size_t i = 0; i < 4096; ++i) {
        const std::size_t other = (page + 7) % log.pages();
        bytes[page * 4096 + i] = way == 0 ? '\0' : way == 1 ? static_cast<char>(random()) : log.bytes[other * 4096 + i];
      }
      const auto saved = save(dir, log, bytes);
      REQUIRE(saved);
      CHECK(not_of(log.rows, saved->rows) == std::vector<std::string>{});
      if (saved->told.is_whole()) CHECK(saved->rows == log.rows);
      // One page of 4096 bytes holds fewer than 300 rows of the smallest table; a page of an index costs none.
      CHECK(saved->rows.at("entry").size() + 300 > log.rows.at("entry").size());
    }
  }
}

TEST_CASE("recover: one bit changed anywhere alters at most the one row it is in", "[fault][recover]") {
  const WholeLog log{150};
  const TempDir dir;
  std::mt19937_64 random{3};
  std::size_t altered = 0, trials = 0;
  for (std::size_t at = 0; at < log.bytes.size(); at += kSparse * (at < 100 ? 3 : 2503)) {
    std::string bytes = log.bytes;
    bytes[at] = static_cast<char>(bytes[at] ^ (1 << random() % 8));
    INFO("byte " << at);
    const auto saved = save(dir, log, bytes);
    ++trials;
    if (!saved) {
      CHECK(at < 100);  // the header says that it is another program's, or a newer version's
      continue;
    }
    const auto wrong = not_of(log.rows, saved->rows);
    INFO((wrong.empty() ? "" : wrong.front()));
    CHECK(wrong.size() <= 1);
    altered += !wrong.empty();
  }
  // What stands in a row, a remark's letter or a reading's digit, nothing in the file tells of but the row itself.
  CHECK(altered < trials / 2);
  WARN(altered << " of " << trials << " single bits altered a row unseen");
}

TEST_CASE("recover: a backup lends what the damage took", "[fault][recover]") {
  const WholeLog log{250};
  const TempDir dir;
  std::mt19937_64 random{5};
  for (int round = 0; round < 12; ++round) {
    std::string bytes = log.bytes;
    for (int i = 0; i < 6; ++i) {
      const std::size_t page = 1 + random() % (log.pages() - 1);
      for (std::size_t k = 0; k < 4096; ++k) bytes[page * 4096 + k] = static_cast<char>(random());
    }
    INFO("round " << round);
    const auto saved = save(dir, log, bytes, log.file());
    REQUIRE(saved);
    CHECK(saved->rows == log.rows);
    CHECK(saved->told.lost.empty());
    CHECK(saved->told.lost_unknown == 0);
    const auto alone = save(dir, log, bytes);
    REQUIRE(alone);
    // Records whose vessel's row alone was lost are in the file itself.
    CHECK(saved->told.from_backup <= saved->told.records - alone->told.records);
  }
}

TEST_CASE("recover: a backup lends nothing that the file has itself", "[fault][recover]") {
  const WholeLog log{100};
  const TempDir dir;
  const RecoverResult told = recover(log.file(), dir / "new.db", log.file());
  CHECK(told.from_backup == 0);
  for (const RecoveredTable& t : told.tables) CHECK(t.from_backup == 0);
  CHECK(all_rows(dir / "new.db") == log.rows);
}

TEST_CASE("recover: a backup of another log is refused", "[fault][recover]") {
  const WholeLog log{100};
  const TempDir dir;
  TempDb other;
  {
    WriteTransaction transaction{other.db};
    for (std::uint64_t n = 0; n < 50; ++n) LogRepository{other.db}.add(other.entry(Kind::hours, 900'000 + n, 5));
    transaction.commit();
  }
  try {
    recover(log.file(), dir / "new.db", other.file);
    FAIL("nothing was refused");
  } catch (const Error& e) {
    CHECK(e.code() == Errc::conflict);
    CHECK(std::string{e.what()}.find("is not a backup of") != std::string::npos);
  }
  CHECK(!fs::exists(dir / "new.db"));
}

TEST_CASE("recover: a file of every earlier schema is saved and brought up to the present one", "[fault][recover]") {
  for (int version = 1; version < schema_version(); ++version) {
    const TempDir dir;
    {
      SQLite::Database old{(dir / "old.db").string(), SQLite::OPEN_READWRITE | SQLite::OPEN_CREATE};
      old.exec(read_bytes(fs::path{SHAFTLOG_SOURCE_DIR} / fmt::format("tests/migration/v{:04}.sql", version)));
    }
    INFO("version " << version);
    const AllRows before = all_rows(dir / "old.db");
    const RecoverResult told = recover(dir / "old.db", dir / "new.db", {});
    CHECK(told.is_whole());
    CHECK(all_rows(dir / "new.db").at("entry").size() == before.at("entry").size());
    Database db = Database::open(dir / "new.db", Database::Mode::read_only);
    CHECK(check(db).faults == std::vector<std::string>{});
  }
}

TEST_CASE("recover: what is not a log, or not one to be read, is refused in a sentence", "[fault][recover]") {
  const WholeLog log{20};
  const TempDir dir;
  const auto refusal = [&](const std::string& bytes) -> std::pair<Errc, std::string> {
    write_bytes(dir / "x.db", bytes);
    try {
      recover(dir / "x.db", dir / "new.db", {});
    } catch (const Error& e) {
      return {e.code(), e.what()};
    }
    return {Errc::usage, "not refused"};
  };
  const std::string file = (dir / "x.db").string();
  CHECK(refusal("") == std::pair{Errc::damaged, file + ": is empty, not a Shaftlog database"});
  CHECK(refusal(std::string(50'000, 'x')).first == Errc::damaged);
  std::string newer = log.bytes;
  newer[63] = 99;  // user_version
  CHECK(refusal(newer).first == Errc::schema_too_new);
  std::string foreign = log.bytes;
  foreign[71] = static_cast<char>(foreign[71] ^ 1);  // application_id
  CHECK(refusal(foreign).second == file + ": is an SQLite file of another program, not a Shaftlog database");
  CHECK(!fs::exists(dir / "new.db"));
  write_bytes(dir / "new.db", "mine");
  CHECK(refusal(log.bytes).first == Errc::conflict);
  CHECK(read_bytes(dir / "new.db") == "mine");
  CHECK_THROWS_AS(recover(dir / "none.db", dir / "other.db", {}), Error);
}
