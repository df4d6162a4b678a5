#include "reports/due_report.hpp"
#include "reports/record_report.hpp"
#include "reports/review_report.hpp"
#include "support/run.hpp"
#include "support/sample_review.hpp"

#include <catch2/catch.hpp>

using namespace shaftlog;
using namespace shaftlog::test;

namespace {

ReviewView view_of(const SampleReview& s) { return {s.as_of, "1.2.3", s.reg, s.findings, s.vessels, {}, "fleet"}; }

}  // namespace

TEST_CASE("golden: the review as text, narrow and wide", "[golden][reports]") {
  const SampleReview s;
  CHECK(not_approved("reports/review_80.txt", review_text(view_of(s), {80, false}, false)) == "");
  CHECK(not_approved("reports/review_all_120.txt", review_text(view_of(s), {120, false}, true)) == "");
}

TEST_CASE("golden: the review for machines", "[golden][reports]") {
  const SampleReview s;
  CHECK(not_approved("reports/review.json", review_json(view_of(s))) == "");
  CHECK(not_approved("reports/findings.csv", findings_csv(view_of(s))) == "");
  CHECK(not_approved("reports/shafts.csv", shafts_csv(view_of(s))) == "");
  CHECK(not_approved("reports/lubricators.csv", lubricators_csv(view_of(s))) == "");
}

TEST_CASE("golden: what is due", "[golden][reports]") {
  const SampleReview s;
  const std::vector<DueItem> items = list_due(s.vessels, s.as_of, 30);
  CHECK(not_approved("reports/due.txt", due_text(items, s.reg, s.as_of, 30, {100, false})) == "");
  CHECK(not_approved("reports/due.json", due_json(items, s.reg, s.as_of, 30)) == "");
  CHECK(not_approved("reports/due.csv", due_csv(items, s.reg)) == "");
}

TEST_CASE("golden: a record with its history", "[golden][reports]") {
  TempDb t;
  const Register reg = RegisterRepository{t.db}.load();
  const Names names{reg};
  const Entry first = t.entry(Kind::greasing, 1, 3);
  Entry second = t.correction(first, 2, 4);
  std::get<Greasing>(second.detail).amount->typed = "66";
  std::get<Greasing>(second.detail).amount->volume = Volume::from_base(85'800);
  second.head.remark = "counted again";
  const Entry third = t.withdrawal(second, 3, 5);
  const std::vector<Entry> family{first, second, third};
  const VerifiedRecords verified{{first.head.id,
                                  {{nth_id(50), first.head.id, t.vessel, day(6), "C/E"},
                                   {nth_id(51), first.head.id, t.vessel, day(7), "relief C/E"}}}};
  CHECK(not_approved("reports/record.txt", record_text(second, family, first.head.id, verified, names, {100, false})) ==
        "");
  CHECK(not_approved("reports/record.json", record_json(second, family, first.head.id, verified, names)) == "");

  std::string lines = record_csv_head();
  TextTable table = record_table();
  for (const Kind kind : kKinds) {
    const Entry e = t.entry(kind, 10 + static_cast<std::uint64_t>(kind), 20);
    const auto of = kind == Kind::greasing ? verified_in(verified, first.head.id) : std::span<const Verification>{};
    lines += record_csv(e, names, of);
    add_record(table, e, names, of);
  }
  CHECK(not_approved("reports/records.csv", lines) == "");
  CHECK(not_approved("reports/records.txt", table.text({120, false})) == "");
}
