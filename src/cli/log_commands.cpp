#include "app/list.hpp"
#include "app/maintenance.hpp"
#include "base/decimal.hpp"
#include "base/error.hpp"
#include "base/text.hpp"
#include "cli/guard.hpp"
#include "cli/program.hpp"
#include "reports/record_report.hpp"

#include <fmt/format.h>

namespace shaftlog {

namespace {

using Verified = std::span<const Verification>;

constexpr std::int64_t kTextNewest = 100;  // a screen is not a place for a whole log

struct ListWords {
  std::optional<std::string> kind, vessel, shaft, lubricator, from, until, known, newest;
  bool unverified = false, all_versions = false, json = false, csv = false;
};

std::int64_t newest_of(const ListWords& words) {
  if (!words.newest) return words.json || words.csv ? 0 : kTextNewest;
  const auto n = parse_decimal(*words.newest);
  if (!n || n->scale != 0 || n->mantissa < 0)
    throw Error{Errc::usage, fmt::format("--newest: \"{}\" is not a whole number from 0", shown(*words.newest))};
  return n->mantissa;
}

ListRequest request_of(const ListWords& words) {
  ListRequest r;
  if (words.kind) {
    r.kind = parse_kind(*words.kind);
    if (!r.kind) {
      std::string kinds;
      for (const Kind k : kKinds) kinds += (kinds.empty() ? "" : ", ") + std::string{name_of(k)};
      throw Error{Errc::usage, fmt::format("--kind: \"{}\" is not one of {}", shown(*words.kind), kinds)};
    }
  }
  r.vessel = words.vessel.value_or("");
  r.shaft = words.shaft.value_or("");
  r.lubricator = words.lubricator.value_or("");
  r.from = words.from.value_or("");
  r.until = words.until.value_or("");
  r.known = words.known.value_or("");
  r.unverified = words.unverified;
  r.with_replaced = words.all_versions;
  r.most = newest_of(words);
  return r;
}

void add_list(Command& root, const Surroundings& around) {
  Command& c = root.add("list", "look at many records");
  const auto words = std::make_shared<ListWords>();
  c.option("--kind", "KIND", words->kind, "hours, cycles, level, refill, greasing, alarm, work or inspection");
  c.option("--vessel", "CODE", words->vessel, "only this vessel");
  c.option("--shaft", "CODE", words->shaft, "only this shaft of the vessel");
  c.option("--lubricator", "CODE", words->lubricator, "only this lubricator of the vessel");
  c.option("--from", "TIME", words->from, "from this moment or day on, on the vessel's clock");
  c.option("--until", "TIME", words->until, "before this moment, or up to the end of this day");
  c.option("--known", "TIME", words->known, "only what was recorded by then");
  c.flag("--unverified", words->unverified, "only what nobody has verified yet");
  c.flag("--all-versions", words->all_versions, "also what was corrected or withdrawn, and the withdrawals");
  c.option("--newest", "N", words->newest, "only the newest N; 0 for all; else 100 as text, all as JSON or CSV");
  c.flag("--json", words->json, "answer as JSON");
  c.flag("--csv", words->csv, "answer as CSV");
  c.run = [&around, words](Console& console) {
    if (words->json && words->csv) throw Error{Errc::usage, "either --json or --csv"};
    const ListRequest request = request_of(*words);
    Database db = open_to_read(around.database());
    Register reg;
    std::optional<Names> names;
    const auto begin = [&](const Register& r) {
      reg = r;
      names.emplace(reg);
    };
    if (words->csv) {
      console.out(record_csv_head());
      list_records(db, request, begin, [&](const Entry& e, Verified by) { console.out(record_csv(e, *names, by)); });
    } else if (words->json) {
      JsonWriter json;
      json.begin_object().key("records").begin_list();
      list_records(db, request, begin, [&](const Entry& e, Verified by) { write_record(json, e, *names, by); });
      json.end_list().end_object();
      console.out(json.take());
    } else {
      TextTable table = record_table();
      std::int64_t count = 0;
      list_records(db, request, begin, [&](const Entry& e, Verified by) {
        add_record(table, e, *names, by);
        ++count;
      });
      console.out(table.is_empty() ? "no record\n" : table.text(console.style()));
      if (!words->newest && count == kTextNewest)
        console.out(fmt::format("the newest {}; --newest 0 lists all\n", kTextNewest));
    }
    return kDone;
  };
}

struct ShowWords {
  std::optional<std::string> id;
  bool json = false;
};

void add_show(Command& root, const Surroundings& around) {
  Command& c = root.add("show", "look at one record with its history");
  const auto words = std::make_shared<ShowWords>();
  c.argument("ID", words->id, "the record's id, or its first 4 or more digits", true);
  c.flag("--json", words->json, "answer as JSON");
  c.run = [&around, words](Console& console) {
    Database db = open_to_read(around.database());
    const RecordFamily f = get_record(db, *words->id);
    const Names names{f.reg};
    console.out(words->json ? record_json(f.record, f.family, f.in_force, f.verified, names)
                            : record_text(f.record, f.family, f.in_force, f.verified, names, console.style()));
    return kDone;
  };
}

}  // namespace

void add_log_commands(Command& root, const Surroundings& around) {
  add_list(root, around);
  add_show(root, around);
}

}  // namespace shaftlog
