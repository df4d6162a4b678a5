#include "app/look_up.hpp"
#include "app/maintenance.hpp"
#include "app/replay.hpp"
#include "base/decimal.hpp"
#include "base/error.hpp"
#include "base/text.hpp"
#include "cli/guard.hpp"
#include "cli/program.hpp"
#include "cli/view_words.hpp"
#include "reports/replay_report.hpp"

#include <fmt/format.h>

namespace shaftlog {

namespace {

struct ReplayWords : ViewWords {
  std::optional<std::string> from, to, step, shaft, kind;
  bool steps = false, lives = false, whenever_recorded = false;
};

/// "7d", "2w", "12h"
std::chrono::seconds get_step(const std::string& text) {
  const auto n = parse_decimal(std::string_view{text}.substr(0, text.empty() ? 0 : text.size() - 1));
  const char unit = text.empty() ? ' ' : text.back();
  const std::int64_t h = unit == 'h' ? 1 : unit == 'd' ? 24 : unit == 'w' ? 168 : 0;
  if (!n || n->scale != 0 || n->mantissa < 1 || n->mantissa > 10000 || h == 0)
    throw Error{Errc::usage, fmt::format("--step: \"{}\" is not a length; expected days like 7d, weeks like 4w or "
                                         "hours like 12h",
                                         shown(text))};
  return std::chrono::hours{n->mantissa * h};
}

ReplayRequest request_of(const ReplayWords& words, Instant now) {
  const ReviewRequest view = words.request();
  ReplayRequest r;
  if (!words.from) throw Error{Errc::usage, "replay needs --from: the day of the first review"};
  r.from = get_moment("--from", *words.from, Zone::utc()).utc;
  r.to = words.to ? get_moment("--to", *words.to, Zone::utc()).utc : now;
  r.every = get_step(words.step.value_or("7d"));
  r.vessel = view.vessel;
  r.group = view.group;
  r.threads = view.threads;
  r.shaft = words.shaft.value_or("");
  r.whenever_recorded = words.whenever_recorded;
  if (words.kind) {
    r.kind = parse_finding_kind(*words.kind);
    if (!r.kind)
      throw Error{Errc::usage, fmt::format("--kind: \"{}\" is no kind of finding; expected one of {}",
                                           shown(*words.kind), words_of_finding_kind())};
  }
  if (words.lives && words.steps) throw Error{Errc::usage, "either --steps or --lives"};
  if (words.lives && !words.json) throw Error{Errc::usage, "--lives goes with --json; text and CSV tell lives anyway"};
  return r;
}

}  // namespace

void add_replay_command(Command& root, const Surroundings& around) {
  Command& c = root.add("replay", "what would have been found, and when");
  const auto words = std::make_shared<ReplayWords>();
  c.option("--from", "DAY", words->from, "the first review; a day is its noon in UTC");
  c.option("--to", "DAY", words->to, "no review later than this; else now");
  c.option("--step", "LENGTH", words->step,
           "from review to review: days like 7d, weeks like 4w, hours like 12h; else 7d");
  c.option("--shaft", "CODE", words->shaft, "only findings of this shaft and of the lubricators that feed it");
  c.option("--kind", "KIND", words->kind, "only findings of this kind");
  words->add_scope_to(c);
  c.flag("--steps", words->steps, "also what each review said; with --csv, instead of the lives");
  c.flag("--lives", words->lives, "with --json: one object with the life of each finding, instead of a line a review");
  c.flag("--whenever-recorded", words->whenever_recorded,
         "count a record from its own time on, however late it was written into this log");
  c.more =
      "Each review uses only records that had happened and were recorded by its moment, and what the fleet taught "
      "then: "
      "the same as review --as-of DAY --known DAY. The register is today's.";
  c.run = [&around, words](Console& console) {
    const ReplayRequest request = request_of(*words, around.clock.now_s());
    Database db = open_to_read(around.database());
    std::size_t told = 0;
    const auto progress = [&](std::size_t i, std::size_t n) {
      if (!console.shows_progress() || i * 20 / n <= told) return;
      told = i * 20 / n;
      console.err(fmt::format("{} of {} reviews\n", i, n));
    };
    const Replay r = replay(db, request, progress);
    const std::string scope =
        words->scope() + (words->shaft ? fmt::format(", shaft {}", *words->shaft) : std::string{});
    const ReplayView view{r.reg, r.steps, r.lives, scope, r.recorded_later, r.is_mostly_later()};
    if (words->json)
      console.out(words->lives ? replay_lives_json(view) : replay_steps_json(view));
    else if (words->csv)
      console.out(words->steps ? replay_steps_csv(view) : replay_lives_csv(view));
    else
      console.out(replay_text(view, console.style(), words->steps));
    if (r.is_mostly_later() && (words->json || words->csv))
      console.err(
          fmt::format("note: {} records of this time were recorded only after the last review; "
                      "--whenever-recorded counts them\n",
                      r.recorded_later));
    return kDone;
  };
}

}  // namespace shaftlog
