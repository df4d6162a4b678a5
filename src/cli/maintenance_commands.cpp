#include "app/keys.hpp"
#include "app/maintenance.hpp"
#include "base/text.hpp"
#include "cli/counted.hpp"
#include "cli/guard.hpp"
#include "cli/program.hpp"
#include "reports/json.hpp"

#include <fmt/format.h>

namespace shaftlog {

namespace {

void add_init(Command& root, const Surroundings& around) {
  Command& c = root.add("init", "make a new, empty database file");
  c.run = [&around](Console& console) {
    const std::filesystem::path file = around.database();
    make_database(file);
    console.out(fmt::format("made {}\nnext: shaftlog import FOLDER, with vessels.csv, greases.csv, shafts.csv in it\n",
                            file.string()));
    return kDone;
  };
}

void add_upgrade(Command& root, const Surroundings& around) {
  Command& c =
      root.add("upgrade", "bring a database of an earlier version up to date; a backup is made beside it first");
  c.run = [&around](Console& console) {
    const UpgradeResult r = upgrade_database(around.database(), around.clock);
    if (r.from == r.to)
      console.out(fmt::format("{} is up to date (schema {})\n", around.database().string(), r.to));
    else
      console.out(fmt::format("{} brought from schema {} to {}; as it was: {}\n", around.database().string(), r.from,
                              r.to, r.backup.string()));
    return kDone;
  };
}

struct CheckWords {
  bool sign = false, json = false;
};

void add_check(Command& root, const Surroundings& around) {
  Command& c =
      root.add("check", "verify the file, its schema, the log and what was signed; exit code 1 when there are faults");
  const auto words = std::make_shared<CheckWords>();
  c.flag("--sign", words->sign, "when all is well, sign with this file's key how its records stand now");
  c.flag("--json", words->json, "answer as JSON");
  c.run = [&around, words](Console& console) {
    const FileCheck r = check_database(around.database(), around.clock);
    const std::int64_t later = r.later.records + r.later.remarks;
    std::optional<std::int64_t> signed_now;
    if (words->sign && r.faults.empty()) {
      Database db = open_to_write(around.database());
      signed_now = sign_database(db, around.clock);
    }
    if (words->json) {
      JsonWriter json;
      json.begin_object();
      json.key("schema").integer(r.schema);
      json.key("vessels").integer(r.vessels);
      json.key("records").integer(r.records);
      json.key("finding_remarks").integer(r.finding_remarks);
      json.key("verifications").integer(r.verifications);
      json.key("checkpoints").integer(r.checkpoints);
      json.key("faults").texts(r.faults);
      json.key("left_by_killed_programs").begin_list();
      for (const auto& left : r.left) json.text(left.string());
      json.end_list();
      json.key("recorded_later").integer(later);
      json.key("newest_recorded_later").time(later > 0 ? std::optional{r.later.newest} : std::nullopt);
      json.end_object();
      console.out(json.take());
    } else {
      for (const std::string& f : r.faults) console.out(f + '\n');
      for (const auto& left : r.left) {
        console.out(fmt::format("note: {} was left by a program that was killed; nothing reads it, remove it\n",
                                shown(left.string(), 200)));
      }
      if (later > 0) {
        console.out(
            fmt::format("note: {} recorded later than now, the last {}: this clock is behind, or another was "
                        "ahead; what is dated later than now counts from then on\n",
                        counted(later, "record"), format_utc(r.later.newest)));
      }
      const std::string state =
          r.faults.empty() ? "all is well" : counted(static_cast<std::int64_t>(r.faults.size()), "fault");
      const std::string remarks =
          r.finding_remarks == 0 ? "" : ", " + counted(r.finding_remarks, "remark") + " on findings";
      const std::string verified = r.verifications == 0 ? "" : ", " + counted(r.verifications, "verification");
      const std::string checkpoints = r.checkpoints == 0 ? "" : ", " + counted(r.checkpoints, "checkpoint");
      console.out(fmt::format("{}: {}, {}, {}{}{}{}, schema {}\n", around.database().string(), state,
                              counted(r.vessels, "vessel"), counted(r.records, "record"), remarks, verified,
                              checkpoints, r.schema));
      if (signed_now) {
        console.out(*signed_now > 0 ? "signed how the records stand now\n" : "nothing new to sign\n");
      } else if (words->sign) {
        console.out("nothing was signed\n");
      }
    }
    return r.faults.empty() ? kDone : kFound;
  };
}

}  // namespace

void add_maintenance_commands(Command& root, const Surroundings& around) {
  add_init(root, around);
  add_upgrade(root, around);
  add_check(root, around);
}

}  // namespace shaftlog
