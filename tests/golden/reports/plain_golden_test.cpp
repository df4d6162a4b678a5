#include "reports/plain_report.hpp"
#include "support/run.hpp"
#include "support/sample_review.hpp"

#include <catch2/catch.hpp>

using namespace shaftlog;
using namespace shaftlog::test;

TEST_CASE("golden: what plain methods say, as text, for machines and as a table", "[golden][reports]") {
  const SampleReview s;
  PlainSeries rising;
  rising.vessel = VesselId{1};
  rising.shaft = ShaftId{1};
  rising.unit = "cm3/h";
  rising.left_out = 2;
  std::vector<double> hours;
  for (int i = 0; i < 12; ++i) {
    rising.values.push_back(0.25 + 0.01 * (i % 3) + (i < 8 ? 0.0 : 0.5));
    rising.at.push_back(day(10 * i).utc);
    rising.records.push_back(nth_id(static_cast<std::uint64_t>(i + 1)));
    hours.push_back(150.0 * i);
  }
  rising.signals = plain_signals(rising.values, hours, false);
  PlainSeries few;
  few.vessel = VesselId{1};
  few.lubricator = LubricatorId{1};
  few.figure = PlainFigure::delivery_ratio;
  few.unit = std::string{"1"};
  few.values = {0.97};
  few.at = {day(30).utc};
  few.records = {nth_id(99)};
  few.signals = plain_signals(few.values, {}, true);
  PlainSeries alarms;
  alarms.vessel = VesselId{1};
  alarms.lubricator = LubricatorId{1};
  alarms.figure = PlainFigure::between_alarms;
  alarms.unit = "h";
  alarms.left_out = 1;
  const std::vector<double> at_h{400, 700, 820, 900, 940, 960, 980, 990};
  for (std::size_t i = 0; i < at_h.size(); ++i) {
    alarms.values.push_back(at_h[i] - (i == 0 ? 0.0 : at_h[i - 1]));
    alarms.at.push_back(day(static_cast<int>(at_h[i] / 10)).utc);
    alarms.records.push_back(nth_id(200 + i));
  }
  alarms.signals = alarm_signals(at_h, 1000);
  const std::vector<PlainSeries> series{rising, few, alarms};
  const auto told = [&](PlainFormat format) {
    PlainReport report{format, s.reg, s.as_of, "fleet", {100, false}};
    std::string out = report.begin();
    for (const PlainSeries& one : series) out += report.join(report.part({&one, 1}));
    return out + report.end();
  };
  CHECK(not_approved("reports/plain.txt", told(PlainFormat::text)) == "");
  CHECK(not_approved("reports/plain.json", told(PlainFormat::json)) == "");
  CHECK(not_approved("reports/plain.csv", told(PlainFormat::csv)) == "");
}
