#include "app/maintenance.hpp"
#include "app/plain.hpp"
#include "app/review.hpp"
#include "base/decimal.hpp"
#include "base/error.hpp"
#include "base/text.hpp"
#include "cli/guard.hpp"
#include "cli/program.hpp"
#include "cli/view_words.hpp"
#include "reports/due_report.hpp"
#include "reports/plain_report.hpp"
#include "reports/review_report.hpp"

#include <fmt/format.h>

namespace shaftlog {

namespace {

struct ReviewWords : ViewWords {
  bool all = false, plain = false;
  std::optional<std::string> what;
};

/// What plain methods say, instead of the findings.
void show_plainly(Console& console, const Surroundings& around, const ReviewWords& words) {
  const ReviewRequest request = words.request();
  if (words.what || words.all || words.exit_code)
    throw Error{Errc::usage, "--plain shows no findings: it takes no --what, --all or --exit-code"};
  Database db = open_to_read(around.database());
  const PlainReview review{db, around.clock.now_s(), request};
  const PlainFormat format = words.json ? PlainFormat::json : words.csv ? PlainFormat::csv : PlainFormat::text;
  PlainReport report{format, review.reg(), review.as_of(), words.scope(), console.style()};
  console.out(report.begin());
  review.each([&](std::span<const PlainSeries> series) { return report.part(series); },
              [&](const std::string& part) { console.out(report.join(part)); });
  console.out(report.end());
}

void add_review(Command& root, const Surroundings& around) {
  Command& c = root.add("review", "the ranked findings, and the state of each ship");
  const auto words = std::make_shared<ReviewWords>();
  words->add_to(c);
  c.flag("--all", words->all, "also the tables of shafts and lubricators, and every ship in order");
  c.option("--what", "LIST", words->what, "with --csv: findings, shafts or lubricators; else findings");
  c.flag("--exit-code", words->exit_code, "exit code 1 when a finding asks to act or to plan");
  c.flag("--plain", words->plain, "instead of findings what plain methods say: charts, trend and change tests");
  c.more =
      "Urgency: act, before the next greasing; plan, at the next port or docking; watch, the evidence is building; "
      "note, about the records. Intervals run from 5 to 95 %.";
  c.run = [&around, words](Console& console) {
    if (words->plain) {
      show_plainly(console, around, *words);
      return kDone;
    }
    const ReviewRequest request = words->request();
    if (words->what && !words->csv) throw Error{Errc::usage, "--what goes with --csv"};
    Database db = open_to_read(around.database());
    const FleetReview r = review(db, around.clock.now_s(), request);
    const ReviewView view{r.as_of,  program_version(), r.reg,         r.findings, r.vessels,
                          r.states, words->scope(),    request.known, r.outcomes};
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
    for (const Finding& f : r.findings) {
      const auto state = r.states.find(f.id);
      const bool is_closed = state != r.states.end() && state->second.status == FindingStatus::closed;
      is_pressing |= !is_closed && (f.urgency == Urgency::act || f.urgency == Urgency::plan);
    }
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
      const auto n = parse_typed_decimal(*words->days);
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
