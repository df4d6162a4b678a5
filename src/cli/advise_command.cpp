#include "app/advise.hpp"
#include "app/look_up.hpp"
#include "app/maintenance.hpp"
#include "base/decimal.hpp"
#include "base/error.hpp"
#include "base/text.hpp"
#include "cli/guard.hpp"
#include "cli/program.hpp"
#include "cli/view_words.hpp"
#include "reports/advise_report.hpp"

#include <fmt/format.h>

namespace shaftlog {

namespace {

struct AdviseWords : ViewWords {
  std::optional<std::string> shaft, days, until, pack_kg, what;
  bool compare = false;
};

double get_number(std::string_view option, const std::string& text, double most) {
  const auto n = parse_typed_decimal(text);
  if (!n || n->mantissa <= 0 || n->value() > most)
    throw Error{Errc::usage, fmt::format("{}: \"{}\" is not a number above 0, up to {}", option, shown(text), most)};
  return n->value();
}

AdviseRequest request_of(const AdviseWords& words, Instant now) {
  constexpr double kMostDays = 3660;
  AdviseRequest r;
  r.view = words.request();
  r.shaft = words.shaft.value_or("");
  r.with_peers = words.compare;
  if (words.days && words.until) throw Error{Errc::usage, "either --days or --until"};
  if (words.days) r.order_days = get_number("--days", *words.days, kMostDays);
  if (words.until) {
    const Instant as_of = r.view.as_of.value_or(now);
    r.order_days = days_between(as_of, get_moment("--until", *words.until, Zone::utc()).utc);
    if (!(r.order_days > 0) || r.order_days > kMostDays)
      throw Error{Errc::usage,
                  fmt::format("--until: {} is not within ten years after {}", shown(*words.until), format_day(as_of))};
  }
  if (words.pack_kg && !(r.order_days > 0)) throw Error{Errc::usage, "--pack-kg goes with --days or --until"};
  if (words.what && !words.csv) throw Error{Errc::usage, "--what goes with --csv"};
  if (words.what && *words.what == "order" && !(r.order_days > 0))
    throw Error{Errc::usage, "--what order goes with --days or --until"};
  if (words.what && (*words.what == "peers" || *words.what == "alarms") && !words.compare)
    throw Error{Errc::usage, fmt::format("--what {} goes with --compare", *words.what)};
  return r;
}

}  // namespace

void add_advise_command(Command& root, const Surroundings& around) {
  Command& c = root.add("advise", "interval and dose for each shaft, grease a year, and grease to order");
  const auto words = std::make_shared<AdviseWords>();
  words->add_to(c);
  c.option("--shaft", "CODE", words->shaft, "only this shaft");
  c.option("--days", "N", words->days, "also the grease to order for so many days");
  c.option("--until", "DAY", words->until, "also the grease to order until then");
  c.option("--pack-kg", "KG", words->pack_kg, "what a pack holds, to order in packs");
  c.flag("--compare", words->compare,
         "also which shafts lose more or less than their sisters, and whose alarms come more often");
  c.option("--what", "LIST", words->what, "with --csv: shafts, order, peers or alarms; else shafts");
  c.more =
      "The longest interval, and the smallest dose, with which the cavity stays above its reserve with 95 % "
      "probability. Makers' instructions, class and flag decide; a standing cause comes before any setting.";
  c.run = [&around, words](Console& console) {
    const AdviseRequest request = request_of(*words, around.clock.now_s());
    std::optional<double> pack_kg;
    if (words->pack_kg) pack_kg = get_number("--pack-kg", *words->pack_kg, 1000);
    Database db = open_to_read(around.database());
    const Advice a = advise(db, around.clock.now_s(), request);
    const std::string scope =
        words->scope() + (words->shaft ? fmt::format(", shaft {}", *words->shaft) : std::string{});
    const AdviceView view{a.as_of,
                          a.reg,
                          a.shafts,
                          scope,
                          a.order,
                          request.order_days,
                          pack_kg,
                          a.peers,
                          a.peers_compared,
                          words->compare,
                          words->vessel.has_value(),
                          a.alarm_peers,
                          a.alarm_peers_compared};
    if (words->json) {
      console.out(advice_json(view));
    } else if (words->csv) {
      const std::string what = words->what.value_or("shafts");
      if (what == "shafts")
        console.out(advice_csv(view));
      else if (what == "order")
        console.out(order_csv(view));
      else if (what == "peers")
        console.out(peers_csv(view));
      else if (what == "alarms")
        console.out(alarm_peers_csv(view));
      else
        throw Error{Errc::usage, fmt::format("--what: \"{}\" is not shafts, order, peers or alarms", shown(what))};
    } else {
      console.out(advice_text(view, console.style()));
    }
    return kDone;
  };
}

}  // namespace shaftlog
