#include "domain/register.hpp"

#include "domain/record.hpp"

#include <catch2/catch.hpp>

using namespace shaftlog;

TEST_CASE("register: words are the inverse of names", "[domain][register]") {
  for (const Kind k : kKinds) CHECK(parse_kind(name_of(k)) == k);
  CHECK(parse_unit("strokes") == Unit::strokes);
  CHECK(parse_ended("not_done") == Ended::not_done);
  CHECK(parse_work_kind("undocked") == WorkKind::undocked);
  CHECK(parse_thickener("calcium_sulfonate") == Thickener::calcium_sulfonate);
  CHECK_FALSE(parse_unit("litre").has_value());
  CHECK_FALSE(parse_unit("").has_value());
}

TEST_CASE("register: the setting that holds at a moment", "[domain][register]") {
  std::vector<ShaftSetting> settings(2);
  settings[1].from = Stamp{from_unix(1000), {}, Precision::second};
  CHECK(setting_at(settings, from_unix(999)) == &settings[0]);
  CHECK(setting_at(settings, from_unix(1000)) == &settings[1]);
  settings.erase(settings.begin());
  CHECK(setting_at(settings, from_unix(999)) == nullptr);
}
