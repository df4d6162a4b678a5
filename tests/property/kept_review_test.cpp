// The law of the kept review: whatever came into the file, it answers what a review of everything answers.
#include "app/kept_review.hpp"

#include "app/demo.hpp"
#include "app/finding.hpp"
#include "app/look_up.hpp"
#include "app/maintenance.hpp"
#include "app/record.hpp"
#include "base/error.hpp"
#include "reports/review_report.hpp"
#include "storage/log_repository.hpp"
#include "storage/query.hpp"
#include "storage/register_repository.hpp"
#include "support/temp_db.hpp"

#include <array>
#include <random>
#include <string>
#include <variant>

#include <catch2/catch.hpp>

using namespace shaftlog;
using namespace shaftlog::test;

namespace {

const Instant kBegin = get_moment("as of", std::string{kDemoDay} + "T12:00", Zone::utc()).utc;

std::string text_of(const FleetReview& r) {
  std::string out = review_json(
      {r.as_of, program_version(), r.reg, r.findings, r.vessels, r.states, "fleet", std::nullopt, r.outcomes});
  for (const auto& [id, remarks] : r.remarks)
    for (const FindingRemark& remark : remarks) out += format_uuid(id) + " " + format_uuid(remark.id) + "\n";
  return out;
}

bool is_same_prior(const FleetPrior& a, const FleetPrior& b) {
  return is_same(a.fleet, b.fleet) &&
         std::equal(a.groups.begin(), a.groups.end(), b.groups.begin(), b.groups.end(),
                    [](const auto& x, const auto& y) { return x.first == y.first && is_same(x.second, y.second); });
}

/// The demo fleet, and somebody who does this and that to its log.
class Log {
 public:
  explicit Log(unsigned seed) : random_{seed}, db_{make(dir_ / "d.db")} {}

  Database& db() { return db_; }
  Instant as_of() const { return as_of_; }
  void pass(std::chrono::seconds time) { as_of_ += time; }

  void add_record() {
    Entry e = any_record();
    e.head.id = nth_id(++ids_);
    e.head.at.utc += std::chrono::hours{below(60 * 24)};  // now and then a time to come
    e.head.recorded_at = e.head.at;
    e.head.replaces.reset();
    add(e);
  }
  void correct_record() {
    Entry e = any_record();
    e.head.replaces = e.head.id;
    e.head.id = nth_id(++ids_);
    e.head.recorded_at.utc += std::chrono::hours{1 + below(24)};
    if (auto* g = std::get_if<Greasing>(&e.detail); g != nullptr && g->amount)
      g->amount->volume = cm3(static_cast<std::int64_t>(below(400)));
    else
      e.head.at.utc -= std::chrono::hours{below(48)};
    add(e);
  }
  void withdraw_record() {
    const FixedClock clock{as_of_};
    shaftlog::withdraw_record(db_, clock, format_uuid(any_record().head.id), "tester", "entered twice");
  }
  void change_register() {
    const RegisterRepository repository{db_};
    const Register reg = repository.load();
    const RegisterRepository::Change change{as_of_, "tester", true};
    const Shaft& shaft = reg.shafts[below(reg.shafts.size())];
    ShaftSetting setting = shaft.settings.front();
    setting.cavity = cm3(200 + static_cast<std::int64_t>(below(400)));
    const bool is_new = below(2) == 0;
    WriteTransaction transaction{db_};
    repository.put_shaft(shaft.vessel, is_new ? "added" + std::to_string(++ids_) : shaft.code, setting, change);
    transaction.commit();
  }
  void remark(const FleetReview& r) {
    if (r.findings.empty()) return;
    const FixedClock clock{as_of_};
    const FindingAct did =
        std::array{FindingAct::closed, FindingAct::taken, FindingAct::noted, FindingAct::reopened}[below(4)];
    try {
      keep_remark(db_, clock, {format_uuid(r.findings[below(r.findings.size())].id), did, "seen to", "tester", {}});
    } catch (const Error& e) {  // closed already, or not closed
      if (e.code() != Errc::conflict) throw;
    }
  }
  std::size_t below(std::size_t n) { return std::uniform_int_distribution<std::size_t>{0, n - 1}(random_); }

 private:
  static Database make(const std::filesystem::path& file) {
    load_demo(file, FixedClock{kBegin}, {});
    return open_to_write(file);
  }
  Entry any_record() {
    const Register reg = RegisterRepository{db_}.load();
    ListQuery query;
    query.vessel = reg.vessels[below(reg.vessels.size())].id;
    query.most = 400;
    const std::vector<Entry> newest = LogRepository{db_}.list(query);
    REQUIRE_FALSE(newest.empty());
    return newest[below(newest.size())];
  }
  void add(const Entry& e) {
    WriteTransaction transaction{db_};
    REQUIRE(LogRepository{db_}.add(e));
    transaction.commit();
  }

  TempDir dir_;
  std::mt19937 random_;
  std::uint64_t ids_ = 0;
  Instant as_of_ = kBegin;
  Database db_;
};

}  // namespace

TEST_CASE("kept review: whatever came, it answers what a review of everything answers", "[app][kept_review]") {
  Log log{11};
  KeptReview kept;
  int taught = 0, alone = 0;
  for (int step = 0; step < 36; ++step) {
    const FleetReview r = kept.review(log.db(), log.as_of());
    ReviewRequest request;
    request.as_of = log.as_of();
    const FleetReview whole = review(log.db(), log.as_of(), request);
    INFO("step " << step);
    REQUIRE(text_of(r) == text_of(whole));
    REQUIRE(is_same_prior(r.prior, whole.prior));
    if (kept.work().has_learnt) ++taught;
    if (kept.work().reviewed == 1) ++alone;
    switch (step % 9) {
      case 0:
      case 3:
      case 6:
        log.add_record();
        break;
      case 1:
      case 7:
        log.correct_record();
        break;
      case 2:
        log.withdraw_record();
        break;
      case 4:
        log.remark(r);
        break;
      case 5:
        for (int n = 0; n < 40; ++n) log.add_record();
        break;
      default:
        if (log.below(2) == 0)
          log.change_register();
        else
          log.pass(std::chrono::hours{10});
    }
  }
  CHECK(alone > 4);   // otherwise it does not show that the others were taken over
  CHECK(taught > 0);  // nor what happens when the fleet teaches something else
}

TEST_CASE("kept review: nothing new, nothing computed; one record, one vessel", "[app][kept_review]") {
  Log log{12};
  KeptReview kept;
  static_cast<void>(kept.review(log.db(), log.as_of()));
  CHECK(kept.work().reviewed == kept.work().touched);
  CHECK(kept.work().reviewed > 5);
  static_cast<void>(kept.review(log.db(), log.as_of()));
  CHECK(kept.work().reviewed == 0);
  log.add_record();
  static_cast<void>(kept.review(log.db(), log.as_of()));
  CHECK(kept.work().touched == 1);
  log.change_register();
  static_cast<void>(kept.review(log.db(), log.as_of()));
  CHECK(kept.work().touched > 5);
  static_cast<void>(kept.review(log.db(), log.as_of() + std::chrono::seconds{1}));
  CHECK(kept.work().touched > 5);
}

TEST_CASE("kept review: after a fault everything is computed anew", "[app][kept_review]") {
  Log log{13};
  KeptReview kept;
  static_cast<void>(kept.review(log.db(), log.as_of()));
  {
    const TempDir empty;
    Database other = make_database(empty / "other.db");
    execute(handle_of(other), "DROP TABLE feed");
    CHECK_THROWS_AS(kept.review(other, log.as_of()), Error);
  }
  static_cast<void>(kept.review(log.db(), log.as_of()));
  CHECK(kept.work().reviewed > 5);
}
