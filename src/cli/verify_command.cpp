#include "app/maintenance.hpp"
#include "app/verify.hpp"
#include "cli/counted.hpp"
#include "cli/guard.hpp"
#include "cli/program.hpp"
#include "reports/record_report.hpp"

#include <iterator>

#include <fmt/format.h>

namespace shaftlog {
namespace {

struct VerifyWords {
  std::vector<std::string> records;
  std::optional<std::string> vessel, until, by;
  bool json = false;
};

std::string line_of(const Entry& e, const Names& names) {
  return fmt::format("{} {} {}, {}: {}", name_of(e.kind), names.vessel(e.vessel), names.subject(e.shaft, e.lubricator),
                     format_both(e.head.at), says(e, names));
}

std::int64_t left_out_of(const VerificationPlan& plan) {
  std::int64_t n = 0;
  for (const DoubtfulRecord& d : plan.doubtful) n += d.is_named ? 0 : 1;
  return n;
}

std::string answer_json(const VerificationPlan& plan, const std::vector<Verification>& kept, const std::string& by) {
  JsonWriter json;
  json.begin_object();
  json.key("by").text(by);
  json.key("verified").begin_list();
  for (const Verification& v : kept) json.text(format_uuid(v.record));
  json.end_list();
  json.key("were_verified").integer(plan.were_verified);
  json.key("doubtful").begin_list();
  for (const DoubtfulRecord& d : plan.doubtful) {
    json.begin_object();
    json.key("record").text(format_uuid(d.entry.head.id));
    json.key("why").text(d.why);
    json.key("left_out").boolean(!d.is_named);
    json.end_object();
  }
  json.end_list();
  json.end_object();
  return json.take();
}

}  // namespace

void add_verify_command(Command& root, const Surroundings& around) {
  Command& c = root.add("verify", "say that the chief engineer has looked at records and found them right");
  const auto words = std::make_shared<VerifyWords>();
  c.arguments("RECORD", words->records, "the record's id, or its first 4 or more digits");
  c.option("--vessel", "CODE", words->vessel,
           "also all records of this vessel that nobody has verified yet, but for the doubtful ones");
  c.option("--until", "TIME", words->until, "of the vessel only what happened before this moment, or up to this day");
  c.option("--by", "WHO", words->by, "who has looked at them; else SHAFTLOG_BY or the login name");
  c.flag("--json", words->json, "answer as JSON");
  c.more =
      "A doubtful record, one that contradicts others by the review, is shown first, and is left out unless it is "
      "named. Exit code 1 when any was left out. A correction is another record and not verified yet. On a terminal it "
      "asks before it keeps a whole vessel's.";
  c.run = [&around, words](Console& console) {
    Database db = open_to_write(around.database());
    VerifyRequest request{words->records, words->vessel.value_or(""), words->until.value_or(""),
                          Surroundings::by(words->by)};
    const VerificationPlan plan = plan_verification(db, around.clock.now_s(), request);
    const Names names{plan.reg};
    const std::int64_t left_out = left_out_of(plan);
    const int code = left_out == 0 ? kDone : kFound;
    if (!words->json) {
      for (const DoubtfulRecord& d : plan.doubtful)
        console.out(fmt::format("{}: {}\n  {}\n  {}\n", d.is_named ? "doubtful" : "doubtful, left out",
                                format_uuid(d.entry.head.id), line_of(d.entry, names), d.why));
      if (words->records.empty() && !plan.records.empty() && console.can_ask()) {
        const auto answer =
            console.ask(fmt::format("verify {} of {} as {}? yes or no: ", counted(std::ssize(plan.records), "record"),
                                    request.vessel, request.by));
        if (!answer || (*answer != "yes" && *answer != "y")) {
          console.out("nothing was kept\n");
          return kDone;
        }
      }
    }
    const auto kept = keep_verifications(db, around.clock, plan.reg, plan.records, request.by);
    if (words->json) {
      console.out(answer_json(plan, kept, request.by));
      return code;
    }
    if (!words->records.empty() && request.vessel.empty())
      for (const Entry& e : plan.records) console.out(fmt::format("{}\n", line_of(e, names)));
    if (plan.were_verified > 0)
      console.out(fmt::format("verified by {} before: {}\n", request.by, counted(plan.were_verified, "record")));
    console.out(fmt::format("verified by {}: {}\n", request.by, counted(std::ssize(kept), "record")));
    if (left_out > 0)
      console.out(
          fmt::format("left out as doubtful: {}; look at each, then correct it, or name it: shaftlog verify ID\n",
                      counted(left_out, "record")));
    return code;
  };
}

}  // namespace shaftlog
