#include "reports/charts/svg.hpp"
#include "reports/charts/text_width.hpp"
#include "support/charted_ship.hpp"

#include <algorithm>
#include <set>

#include <catch2/catch.hpp>

using namespace shaftlog;
using Catch::Matchers::Contains;
using shaftlog::test::ChartedShip;

namespace {

std::vector<TextItem> texts_of(const Drawing& d) {
  std::vector<TextItem> out;
  for (const DrawingItem& item : d.items()) {
    if (const auto* t = std::get_if<TextItem>(&item)) out.push_back(*t);
  }
  return out;
}

bool has_text(const Chart& c, const std::string& part) {
  const auto texts = texts_of(c.drawing);
  return std::any_of(texts.begin(), texts.end(),
                     [&](const TextItem& t) { return t.text.find(part) != std::string::npos; });
}

}  // namespace

TEST_CASE("charts: no text lies on another, and none leaves the picture", "[charts]") {
  const ChartedShip ship;
  for (const Chart& c : ship.charts()) {
    CAPTURE(c.title);
    const auto texts = texts_of(c.drawing);
    CHECK_FALSE(texts.empty());
    for (std::size_t i = 0; i < texts.size(); ++i) {
      const Box a = box_of(texts[i]);
      CAPTURE(texts[i].text);
      CHECK(a.x >= -0.5);
      CHECK(a.right() <= c.drawing.width() + 0.5);
      CHECK(a.y >= -0.5);
      CHECK(a.bottom() <= c.drawing.height() + 0.5);
      for (std::size_t k = i + 1; k < texts.size(); ++k) {
        CAPTURE(texts[k].text);
        CHECK_FALSE(overlaps(a, box_of(texts[k])));
      }
    }
  }
}

TEST_CASE("charts: each tells its story in words and its figures as a table", "[charts]") {
  const ChartedShip ship;
  for (const Chart& c : ship.charts()) {
    CAPTURE(c.title);
    CHECK_FALSE(c.title.empty());
    CHECK(c.story.size() > 10);
    CHECK(c.story.back() == '.');
    for (const auto& row : c.figures.rows) CHECK(row.size() == c.figures.heads.size());
    const std::string svg = svg_text(c.drawing, {c.title, c.story, "c", true});
    CHECK_THAT(svg, Contains("<desc id=\"c-d\">"));
    CHECK_THAT(svg, !Contains("nan") && !Contains("inf"));
  }
}

TEST_CASE("charts: the same records give the same bytes", "[charts]") {
  const auto one = ChartedShip{}.charts(), two = ChartedShip{}.charts();
  REQUIRE(one.size() == two.size());
  for (std::size_t i = 0; i < one.size(); ++i) {
    CHECK(svg_text(one[i].drawing, {one[i].title, one[i].story, "c", true}) ==
          svg_text(two[i].drawing, {two[i].title, two[i].story, "c", true}));
  }
}

TEST_CASE("charts: groups and clips are closed in the order in which they were opened", "[charts]") {
  for (const Chart& c : ChartedShip{}.charts()) {
    std::vector<char> open;
    bool is_nested = true;
    for (const DrawingItem& item : c.drawing.items()) {
      if (std::holds_alternative<GroupBegin>(item)) open.push_back('g');
      if (std::holds_alternative<ClipBegin>(item)) open.push_back('c');
      if (std::holds_alternative<OnTimeBegin>(item)) open.push_back('t');
      if (std::holds_alternative<TimeGridBegin>(item)) open.push_back('r');
      if (std::holds_alternative<LabelBegin>(item)) open.push_back('l');
      const char closes = std::holds_alternative<GroupEnd>(item)      ? 'g'
                          : std::holds_alternative<ClipEnd>(item)     ? 'c'
                          : std::holds_alternative<OnTimeEnd>(item)   ? 't'
                          : std::holds_alternative<TimeGridEnd>(item) ? 'r'
                          : std::holds_alternative<LabelEnd>(item)    ? 'l'
                                                                      : 0;
      if (closes == 0) continue;
      is_nested = is_nested && !open.empty() && open.back() == closes;
      if (!open.empty()) open.pop_back();
    }
    CAPTURE(c.title);
    CHECK(is_nested);
    CHECK(open.empty());
  }
}

TEST_CASE("washout chart: the wear that was put in is shown, with when it began and the baseline", "[charts]") {
  const ChartedShip ship;
  REQUIRE(ship.review.shaft_details[0].washout.wear);
  const Panel p = washout_panel(ship.shaft(0));
  const Chart c = chart_of(p, time_axis_of(ship.shaft(0)));
  CHECK(has_text(c, "began about"));
  CHECK(has_text(c, "baseline 0.2"));
  CHECK_THAT(c.story, Contains("climbs") && Contains("since about"));
  // Each way of ending has its mark, told in the key; so has the one that was not done.
  CHECK(p.key.size() == 4);
  CHECK(has_text(c, "limit reached: took at least this"));
  CHECK(has_text(c, "not done"));
  CHECK(c.figures.rows.size() == 25);  // 24 by the month and the one not done
}

TEST_CASE("washout chart: a rise that the review lays to another cause is not marked as a change", "[charts]") {
  const ChartedShip ship;
  const std::vector<Finding> none;
  ShaftChartInput in = ship.shaft(0);
  in.findings = &none;
  const Chart c = chart_of(washout_panel(in), time_axis_of(in));
  CHECK_FALSE(has_text(c, "began about"));
  CHECK_THAT(c.story, Contains("another cause"));
  in.findings = &ship.review.findings;
  CHECK(has_text(chart_of(washout_panel(in), time_axis_of(in)), "began about"));
}

TEST_CASE("washout chart: what a broken-off greasing left open is counted with the next one", "[charts]") {
  const ChartedShip ship;
  const Panel p = washout_panel(ship.shaft(0));
  const auto row = std::find_if(p.figures.rows.begin(), p.figures.rows.end(),
                                [](const auto& r) { return r[0] == "2025-04-25"; });  // day 480, stopped
  REQUIRE(row != p.figures.rows.end());
  CHECK((*row)[2] == "stopped");
  CHECK_THAT((*row)[4], Contains("at least"));
  CHECK_THAT((*(row + 1))[4], !Contains("least"));
}

TEST_CASE("fill chart: says the reserve, how full now, and where nothing is known", "[charts]") {
  const ChartedShip ship;
  const Chart port = chart_of(fill_panel(ship.shaft(0)), time_axis_of(ship.shaft(0)));
  CHECK(has_text(port, "reserve 20 %"));
  CHECK(has_text(port, "now "));
  const Chart rudder = chart_of(fill_panel(ship.shaft(2)), time_axis_of(ship.shaft(2)));
  CHECK(has_text(rudder, "not known"));
  CHECK(rudder.figures.rows.empty());
}

TEST_CASE("delivery chart: the low ratio and the cycles that still come are told apart", "[charts]") {
  const ChartedShip ship;
  REQUIRE(ship.review.lubricator_details[0].delivery.low);
  const Panel p = delivery_panel(ship.lubricator());
  const Chart c = chart_of(p, time_axis_of(ship.lubricator()));
  CHECK(has_text(c, "from the reservoir"));
  CHECK(has_text(c, "cycles 1"));
  CHECK(has_text(c, "began about"));
  CHECK_THAT(c.story, Contains("too little"));
}

TEST_CASE("alarm chart: one row a kind, a standing one is said to stand", "[charts]") {
  const ChartedShip ship;
  const LubricatorChartInput pump = ship.lubricator();
  const Chart c = chart_of(alarm_panel(pump.detail.alarms, time_axis_of(pump)), time_axis_of(pump));
  CHECK(has_text(c, "cycle fault: 1,"));
  CHECK(has_text(c, "standing"));
  CHECK(has_text(c, "no pressure:"));
  CHECK_THAT(c.story, Contains("still standing"));
}

TEST_CASE("grease chart: what was taken and what the baseline lets expect part when the seal wears", "[charts]") {
  const Chart c = grease_against_hours(ChartedShip{}.shaft(0));
  CHECK(has_text(c, "taken "));
  CHECK(has_text(c, "expected at the"));
  REQUIRE(c.figures.rows.size() == 25);
  CHECK(c.figures.rows.front()[3] == "0");  // the first greasing counts for nothing before it
}

TEST_CASE("stack: all panels share one time axis, the years stand once", "[charts]") {
  const ChartedShip ship;
  const ShaftChartInput in = ship.shaft(1);
  const Chart c = stacked(shaft_panels(in, ship.feeding(1)), time_axis_of(in), "fin_stbd");
  std::multiset<std::string> texts;
  for (const TextItem& t : texts_of(c.drawing)) texts.insert(t.text);
  for (const char* title : {"Washout", "Cavity", "Automatic delivery", "Alarms", "Alarm rate", "Running"}) {
    CAPTURE(title);
    CHECK(texts.count(title) == 1);
  }
  CHECK(texts.count("2025") == 1);
  REQUIRE(c.drawing.time_scale);
  CHECK(c.drawing.time_scale->to > ship.as_of);
}

TEST_CASE("range: charts of a range have its days at their ends, and marks and labels of nothing outside", "[charts]") {
  const ChartedShip ship;
  const ShaftChartInput in = ship.shaft(0);
  const TimeAxis whole = time_axis_of(in), part = part_of(whole, ChartedShip::spring_days());
  CHECK(format_local(stamp_at(part.from, ship.zone)) == "2025-03-01 00:00");
  CHECK(format_local(stamp_at(part.to, ship.zone)) == "2025-07-01 00:00");
  const auto marks = [](const Chart& c) {
    std::size_t inside = 0, all = 0;
    for (const DrawingItem& item : c.drawing.items()) {
      const auto* m = std::get_if<MarkItem>(&item);
      if (m == nullptr || m->at.y > 170) continue;  // of the key
      ++all;
      inside += m->at.x >= c.drawing.time_scale->x_from && m->at.x <= c.drawing.time_scale->x_to ? 1U : 0U;
    }
    return std::pair{inside, all};
  };
  const Panel p = washout_panel(in);
  const auto [inside, all] = marks(chart_of(p, part));
  const auto [every, total] = marks(chart_of(p, whole));
  CHECK(every == total);
  CHECK(inside >= 3);  // one by the month
  CHECK(inside <= 5);
  // What lies outside is drawn, and cut off.
  CHECK(all == total);
  const std::string svg = svg_text(chart_of(p, part).drawing, {"t", "s", "c", true});
  CHECK_THAT(svg, Contains("class=\"on-time\">\n<clipPath"));
  // It began before: a dashed line at the edge would say that it began there.
  CHECK(has_text(chart_of(p, whole), "began about") != has_text(chart_of(p, part), "began about"));
}

TEST_CASE("range: an end that is not given, or lies outside, is that of the axis", "[charts]") {
  using namespace std::chrono;
  const TimeAxis whole{parse_stamp("2025-01-01", Zone::utc())->utc, parse_stamp("2026-01-01", Zone::utc())->utc};
  CHECK_FALSE(part_of(whole, {}).is_part);
  CHECK(part_of(whole, {std::nullopt, local_days{year{2025} / 6 / 30}}).from == whole.from);
  CHECK(part_of(whole, {local_days{year{2025} / 6 / 30}, std::nullopt}).to == whole.to);
  const TimeAxis wide = part_of(whole, {local_days{year{2020} / 1 / 1}, local_days{year{2030} / 1 / 1}});
  CHECK(wide.from == whole.from);
  CHECK(wide.to == whole.to);
  const TimeAxis day = part_of(whole, {local_days{year{2025} / 6 / 30}, local_days{year{2025} / 6 / 30}});
  CHECK(day.to - day.from == days{1});
}

TEST_CASE("range: days in the wrong order or without a chart are refused with what there is", "[charts]") {
  using namespace std::chrono;
  const TimeAxis whole{parse_stamp("2025-01-01", Zone::utc())->utc, parse_stamp("2026-01-01", Zone::utc())->utc};
  CHECK_THROWS_WITH(part_of(whole, {local_days{year{2025} / 6 / 30}, local_days{year{2025} / 3 / 1}}),
                    "from 2025-06-30 to 2025-03-01: the first day must not be after the last");
  CHECK_THROWS_WITH(part_of(whole, {std::nullopt, local_days{year{2024} / 12 / 31}}),
                    "to 2024-12-31: the charts run from 2025-01-01 to 2026-01-01");
  CHECK_THROWS_WITH(part_of(whole, {local_days{year{2026} / 1 / 2}, std::nullopt}),
                    "from 2026-01-02: the charts run from 2025-01-01 to 2026-01-01");
}

TEST_CASE("range: what a page needs to show one stands in the drawing", "[charts]") {
  const ChartedShip ship;
  const ShaftChartInput in = ship.shaft(1);
  const Chart c = stacked(shaft_panels(in, ship.feeding(1)), time_axis_of(in), "fin_stbd");
  const std::string svg = svg_text(c.drawing, {c.title, c.story, "chart1", false});
  CHECK_THAT(svg, Contains("data-time=\"48 548 "));
  CHECK_THAT(svg, Contains("<g class=\"on-time\">") && Contains("<g class=\"time-grid\" data-y=\"22 162\">"));
  CHECK_THAT(svg, Contains("<g data-x=\""));
  CHECK_THAT(svg, Contains("<path class=\"m\" d=\"M"));
  // Nothing but labels is drawn only so wide because it would else not be seen.
  const Chart alarms = chart_of(alarm_panel(ship.lubricator().detail.alarms, time_axis_of(in)), time_axis_of(in));
  for (const DrawingItem& item : alarms.drawing.items()) {
    const auto* bar = std::get_if<AreaItem>(&item);
    if (bar != nullptr) CHECK(bar->edge);
  }
}

TEST_CASE("funnel: with fewer than two known shafts there is nothing to compare, and it says so", "[charts]") {
  const ChartedShip ship;
  const std::vector<FleetShaft> all = ship.fleet();
  CHECK_THAT(washout_funnel({all.data(), 1}).story, Contains("nothing to compare"));
  CHECK_THAT(washout_funnel({}).story, Contains("nothing to compare"));
}

TEST_CASE("funnel: the shaft that was made to lose far more than its sisters is named, and it alone", "[charts]") {
  const ChartedShip ship;
  std::vector<ShaftState> states(9, ship.review.shafts[0]);
  for (std::size_t i = 0; i < states.size(); ++i) {
    const double w = i == 4 ? 0.9 : 0.25 * (1 + 0.02 * static_cast<double>(i));
    states[i].washout_cm3_per_h = Estimate{w, w / 1.1, w * 1.1};
  }
  std::vector<FleetShaft> shafts;
  for (std::size_t i = 0; i < states.size(); ++i) {
    shafts.push_back({"T-01", "shaft" + std::to_string(i), states[i], ship.review.shaft_details[0], {}});
  }
  const Chart c = washout_funnel(shafts);
  CHECK(has_text(c, "T-01, shaft4"));
  CHECK_FALSE(has_text(c, "T-01, shaft3"));
  CHECK_THAT(c.story, Contains("1 above") && Contains("0 below"));
}

TEST_CASE("funnel: a rudder stock stands beside rudder stocks, though the fins of its class lose more", "[charts]") {
  const ChartedShip ship;
  std::vector<ShaftState> states(10, ship.review.shafts[0]);
  std::vector<FleetShaft> shafts;
  for (std::size_t i = 0; i < states.size(); ++i) {
    const double w = (i < 6 ? 0.9 : 0.15) * (1 + 0.02 * static_cast<double>(i));
    states[i].washout_cm3_per_h = Estimate{w, w / 1.1, w * 1.1};
    shafts.push_back(
        {"T-0" + std::to_string(i), i < 6 ? "fin_port" : "rudder_stock", states[i], ship.review.shaft_details[0], {}});
  }
  const Chart c = washout_funnel(shafts);
  for (const auto& row : c.figures.rows) CHECK(row.back() == "inside");
  CHECK_THAT(c.story, !Contains("below 99"));
}

TEST_CASE("small multiples: a baseline that was bounded and never measured makes no factor", "[charts]") {
  const ChartedShip ship;
  const TimeAxis axis = time_axis_of(ship.shaft(0));
  const auto tells_factor = [&](const Estimate& baseline) {
    ShaftState state = ship.review.shafts[0];
    state.washout_cm3_per_h = Estimate{0.6, 0.5, 0.7};
    ShaftDetail detail = ship.review.shaft_details[0];
    detail.washout.step.reset();
    detail.washout.wear.reset();
    detail.washout.high.reset();
    detail.washout.baseline_cm3_per_h = baseline;
    const std::vector<FleetShaft> one{{"T-01", "fin_port", state, detail, {}}};
    return has_text(small_multiples(one, axis, "T-01"), "\xC3\x97 2");
  };
  CHECK(tells_factor({0.3, 0.28, 0.32}));
  CHECK_FALSE(tells_factor({0.3, 0.05, 0.7}));
}

TEST_CASE("small multiples: a picture a shaft, the urgent one marked, the unknown one said", "[charts]") {
  const ChartedShip ship;
  const Chart c = small_multiples(ship.fleet(), time_axis_of(ship.shaft(0)), "T-01");
  CHECK(has_text(c, "fin_port"));
  CHECK(has_text(c, "? %"));
  CHECK(c.figures.rows.size() == 3);
  CHECK(c.figures.rows[2][1] == "-");
  std::size_t diamonds = 0;
  for (const DrawingItem& item : c.drawing.items()) {
    if (const auto* m = std::get_if<MarkItem>(&item)) diamonds += m->shape == shape_of(Urgency::plan) ? 1U : 0U;
  }
  CHECK(diamonds == 1);
}
