#include "app/look_up.hpp"
#include "app/maintenance.hpp"
#include "app/review.hpp"
#include "base/decimal.hpp"
#include "base/error.hpp"
#include "base/text.hpp"
#include "cli/guard.hpp"
#include "cli/program.hpp"
#include "reports/due_report.hpp"
#include "reports/review_report.hpp"

#include <fmt/format.h>

namespace shaftlog {

namespace {

/// The view that review and due share.
struct ViewWords {
  std::optional<std::string> as_of, known, vessel, group, threads;
  bool json = false, csv = false, exit_code = false;

  void add_to(Command& c) {
    c.option("--as-of", "TIME", as_of, "only what had happened by then; a day is its noon in UTC; else now");
    c.option("--known", "TIME", known, "only what was recorded by then");
    c.option("--vessel", "CODE", vessel, "only this vessel");
    c.option("--group", "NAME", group, "only this group of sister vessels");
    c.option("--threads", "N", threads, "threads to compute with; else as many as the machine has");
    c.flag("--json", json, "answer as JSON");
    c.flag("--csv", csv, "answer as CSV");
  }

  [[nodiscard]] ReviewRequest request() const {
    ReviewRequest r;
    if (as_of) r.as_of = get_moment("--as-of", *as_of, Zone::utc()).utc;
    if (known) r.known = get_moment("--known", *known, Zone::utc()).utc;
    r.vessel = vessel.value_or("");
    r.group = group.value_or("");
    if (threads) {
      const auto n = parse_decimal(*threads);
      if (!n || n->scale != 0 || n->mantissa < 1 || n->mantissa > 1024)
        throw Error{Errc::usage, fmt::format("--threads: \"{}\" is not a number from 1 to 1024", shown(*threads))};
      r.threads = static_cast<unsigned>(n->mantissa);
    }
    if (json && csv) throw Error{Errc::usage, "either --json or --csv"};
    return r;
  }

  [[nodiscard]] std::string scope() const {
    if (vessel) return "vessel " + *vessel;
    if (group) return "group " + *group;
    return "fleet";
  }
};

struct ReviewWords : ViewWords {
  bool all = false;
  std::optional<std::string> what;
};

void add_review(Command& root, const Surroundings& around) {
  Command& c = root.add("review", "the ranked findings, and the state of each ship");
  const auto words = std::make_shared<ReviewWords>();
  words->add_to(c);
  c.flag("--all", words->all, "also the tables of shafts and lubricators, and every ship in order");
  c.option("--what", "LIST", words->what, "with --csv: findings, shafts or lubricators; else findings");
  c.flag("--exit-code", words->exit_code, "exit code 1 when a finding asks to act or to plan");
  c.more =
      "Urgency: act, before the next greasing; plan, at the next port or docking; watch, the evidence is building; "
      "note, about the records. Intervals run from 5 to 95 %.";
  c.run = [&around, words](Console& console) {
    const ReviewRequest request = words->request();
    if (words->what && !words->csv) throw Error{Errc::usage, "--what goes with --csv"};
    Database db = open_to_read(around.database());
    const FleetReview r = review(db, around.clock.now_s(), request);
    const ReviewView view{r.as_of, program_version(), r.reg, r.findings, r.vessels, {}, words->scope(), request.known};
    if (words->json) {
      console.out(review_json(view));
    } else if (words->csv) {
      const std::string what = words->what.value_or("findings");
      if (what == "findings")
        console.out(findings_csv(view));
      else if (what == "shafts")
        console.out(shafts_csv(view));
      else if (what == "lubricators")
        console.out(lubricators_csv(view));
      else
        throw Error{Errc::usage, fmt::format("--what: \"{}\" is not findings, shafts or lubricators", shown(what))};
    } else {
      console.out(review_text(view, console.style(), words->all));
    }
    bool is_pressing = false;
    for (const Finding& f : r.findings) is_pressing |= f.urgency == Urgency::act || f.urgency == Urgency::plan;
    return words->exit_code && is_pressing ? kFound : kDone;
  };
}

struct DueWords : ViewWords {
  std::optional<std::string> days;
};

void add_due(Command& root, const Surroundings& around) {
  Command& c = root.add("due", "what is due or to be expected, and how much grease it should take");
  const auto words = std::make_shared<DueWords>();
  words->add_to(c);
  c.option("--days", "N", words->days, "how far ahead; else 30");
  c.flag("--exit-code", words->exit_code, "exit code 1 when something is overdue");
  c.run = [&around, words](Console& console) {
    const ReviewRequest request = words->request();
    double days = 30;
    if (words->days) {
      const auto n = parse_decimal(*words->days);
      if (!n || n->mantissa < 0 || n->value() > 3660)
        throw Error{Errc::usage, fmt::format("--days: \"{}\" is not a number from 0 to 3660", shown(*words->days))};
      days = n->value();
    }
    Database db = open_to_read(around.database());
    const FleetReview r = review(db, around.clock.now_s(), request);
    const std::vector<DueItem> items = list_due(r.vessels, r.as_of, days);
    if (words->json)
      console.out(due_json(items, r.reg, r.as_of, days));
    else if (words->csv)
      console.out(due_csv(items, r.reg));
    else
      console.out(due_text(items, r.reg, r.as_of, days, console.style()));
    bool is_overdue = false;
    for (const DueItem& i : items) is_overdue |= i.is_overdue;
    return words->exit_code && is_overdue ? kFound : kDone;
  };
}

}  // namespace

void add_review_commands(Command& root, const Surroundings& around) {
  add_review(root, around);
  add_due(root, around);
}

}  // namespace shaftlog
