#include "domain/content.hpp"

#include "base/error.hpp"

#include <catch2/catch.hpp>

using namespace shaftlog;

namespace {

Uuid an_id(std::uint8_t n) {
  Uuid id;
  id.bytes.fill(n);
  return id;
}

Entry an_entry(Kind kind, Detail detail) {
  Entry e;
  e.kind = kind;
  e.head.id = an_id(1);
  e.head.at = {from_unix(1'767'225'600), std::chrono::minutes{-210}, Precision::day};
  e.head.recorded_at = {from_unix(1'767'229'000), std::chrono::minutes{60}, Precision::second};
  e.head.by = "2/E";
  e.head.source = "greasings.csv:17";
  e.head.remark = "caf\xC3\xA9";
  e.detail = std::move(detail);
  return e;
}

std::vector<std::string> samples() {
  const Codes<std::string_view> codes{"T-01", "port", "", "", ""};
  std::vector<Entry> entries{
      an_entry(Kind::hours, Hours{HoursReading::from_base(36), true, HoursReading::from_base(INT64_MAX)}),
      an_entry(Kind::cycles, Cycles{0, false}),
      an_entry(Kind::level, LevelReading{Level::from_base(10'000)}),
      an_entry(Kind::refill, Refill{Amount{"2.50", Unit::kg, std::nullopt, 1'086'956'522}, std::nullopt,
                                    Level::from_base(0), GreaseId{}, "B"}),
      an_entry(Kind::greasing, Greasing{Amount{"0", Unit::strokes, Volume::from_base(0), std::nullopt}, GunId{},
                                        Ended::stopped, Purge::water, GreaseId{}}),
      an_entry(Kind::alarm, Alarm{AlarmKind::empty, Stamp{kLatest, std::chrono::minutes{0}, Precision::minute}}),
      an_entry(Kind::work, Work{WorkKind::contact}),
      an_entry(Kind::inspection, Inspection{1, std::nullopt, 2}),
      an_entry(Kind::hours, Withdrawal{})};
  entries[1].head.replaces = an_id(9);
  entries.back().head.withdraws = an_id(8);
  entries.back().head.reason = "twice";
  std::vector<std::string> out;
  for (const Entry& e : entries) append_whole(out.emplace_back(), e, codes);
  FindingRemark r;
  r.id = an_id(3);
  r.finding = an_id(4);
  r.kind = "seal_wear";
  r.says = "grease on order";
  r.at = r.recorded_at = {from_unix(0), std::chrono::minutes{1080}, Precision::second};
  r.then = {"plan", "s", kEarliest, std::nullopt, "factor", -1};
  append_whole(out.emplace_back(), r, codes);
  append_whole(
      out.emplace_back(),
      Verification{
          an_id(5), an_id(1), {}, {from_unix(1'767'229'000), std::chrono::minutes{60}, Precision::second}, "C/E"},
      codes);
  return out;
}

}  // namespace

TEST_CASE("content: what is written is read to the same and nothing else is taken", "[domain][content]") {
  for (const std::string& bytes : samples()) {
    const Whole whole = parse_whole(bytes);
    CHECK(whole.codes.vessel == "T-01");
    std::string again;
    const auto& c = whole.codes;
    std::visit(
        [&](const auto& what) {
          append_whole(again, what, {c.vessel, c.shaft, c.lubricator, c.gun, c.grease});
        },
        whole.what);
    CHECK(again == bytes);
    CHECK_THROWS_AS(parse_whole(bytes + '\0'), Error);
    for (std::size_t n = 0; n < bytes.size(); ++n) CHECK_THROWS_AS(parse_whole(bytes.substr(0, n)), Error);
  }
}

TEST_CASE("content: a verification is known by its first two bytes, and nothing else is one", "[domain][content]") {
  const auto all = samples();
  for (std::size_t i = 0; i < all.size(); ++i) CHECK(is_verification(all[i]) == (i + 1 == all.size()));
  CHECK_FALSE(is_verification(""));
  CHECK_FALSE(is_verification("\x01"));
}

TEST_CASE("content: any one byte altered is refused or is another record", "[domain][content]") {
  int refused = 0;
  for (const std::string& bytes : samples()) {
    for (std::size_t i = 0; i < bytes.size(); ++i) {
      for (const int bit : {0, 3, 7}) {
        std::string altered = bytes;
        altered[i] = static_cast<char>(altered[i] ^ (1 << bit));
        try {
          const Whole whole = parse_whole(altered);
          std::string again;
          const auto& c = whole.codes;
          std::visit(
              [&](const auto& what) {
                append_whole(again, what, {c.vessel, c.shaft, c.lubricator, c.gun, c.grease});
              },
              whole.what);
          CHECK(again == altered);
        } catch (const Error& e) {
          CHECK(e.code() == Errc::bad_data);
          ++refused;
        }
      }
    }
  }
  CHECK(refused > 100);
}

TEST_CASE("content: a number told in more bytes than it needs is refused", "[domain][content]") {
  std::string bytes = samples()[2];
  REQUIRE(bytes.back() == '\x01');  // 10 000 is 0xA0 0x9C 0x01
  bytes.back() = '\x81';
  bytes.push_back('\0');
  CHECK_THROWS_WITH(parse_whole(bytes), "not written as this program writes it");
}

TEST_CASE("content: a later format is refused by number", "[domain][content]") {
  std::string bytes = samples()[0];
  bytes[0] = 2;
  CHECK_THROWS_WITH(parse_whole(bytes), Catch::Contains("format 2, this version knows 1"));
}
