#include "analysis/change_point.hpp"
#include "reference/reference.hpp"

#include <catch2/catch.hpp>

using namespace shaftlog;
using namespace shaftlog::reference;

namespace {
double as_number(std::size_t i) { return static_cast<double>(i); }
}  // namespace

TEST_CASE("reference: change points", "[analysis][reference]") {
  Answers a{"06_changepoint.csv"};
  {
    const Data d{"nile.csv"};
    const auto y = d.numbers("flow"), year = d.numbers("year");
    const LevelShift s = find_level_shift(y);
    const Into put{a, "level_shift", "nile.csv"};
    put("last_index_before_break", as_number(s.at));
    put("last_year_before_break", year.at(s.at - 1));
    put("mean_before", s.mean_before);
    put("mean_after", s.mean_after);
    put("rss_no_break", s.rss_none);
    put("rss_one_break", s.rss);
    put("ci95_low_index", as_number(s.low));
    put("ci95_high_index", as_number(s.high));
    put("ci95_low_year", year.at(s.low - 1));
    put("ci95_high_year", year.at(s.high - 1));
    put("sup_F", s.sup_f);
  }
  a.compare();
}
