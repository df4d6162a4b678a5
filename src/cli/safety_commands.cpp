#include "app/maintenance.hpp"
#include "base/error.hpp"
#include "cli/counted.hpp"
#include "cli/guard.hpp"
#include "cli/program.hpp"
#include "reports/json.hpp"

#include <charconv>
#include <map>

#include <fmt/format.h>

namespace shaftlog {
namespace {

/// "from 2026-03-14 to 2026-04-01"
std::string between(Instant first, Instant last) {
  return first == last ? fmt::format("of {}", format_utc(first))
                       : fmt::format("from {} to {}", format_utc(first), format_utc(last));
}

struct BackupWords {
  std::optional<std::string> to, keep;
};

void add_backup(Command& root, const Surroundings& around) {
  Command& c = root.add("backup", "copy the database while others may write, and check the copy");
  const auto words = std::make_shared<BackupWords>();
  c.argument("TO", words->to, "a new file, or a folder", true);
  c.option("--keep", "N", words->keep, "TO is a folder: of this database's dated copies in it keep the newest N");
  c.run = [&around, words](Console& console) {
    std::optional<std::int64_t> keep;
    if (words->keep) {
      std::int64_t n = 0;
      const char* end = words->keep->data() + words->keep->size();
      const auto [at, code] = std::from_chars(words->keep->data(), end, n);
      if (code != std::errc{} || at != end || n < 1 || n > 100'000) {
        throw Error{Errc::usage, fmt::format("--keep: \"{}\" is not a whole number from 1 to 100000", *words->keep)};
      }
      keep = n;
    }
    const BackupResult made = backup_database(around.database(), *words->to, around.clock, keep);
    console.out(fmt::format("copied to {}\n", made.copy.string()));
    for (const auto& older : made.removed) console.out(fmt::format("removed {}\n", older.string()));
    return kDone;
  };
}

struct RestoreWords {
  std::optional<std::string> from;
  bool is_dry_run = false;
};

void add_restore(Command& root, const Surroundings& around) {
  Command& c = root.add("restore", "put a backup in the place of the database, which is kept under another name");
  const auto words = std::make_shared<RestoreWords>();
  c.argument("BACKUP", words->from, "the backup", true);
  c.flag("--dry-run", words->is_dry_run, "only say what the backup lacks; change nothing");
  c.run = [&around, words](Console& console) {
    const std::filesystem::path file = around.database();
    const RestoreResult r = restore_database(*words->from, file, around.clock, words->is_dry_run);
    std::int64_t lacking = 0;
    for (const LackingRecords& l : r.lacking) {
      lacking += l.count;
      console.out(fmt::format("the backup lacks: {}, {}: {} {}\n", l.vessel, name_of(l.kind),
                              counted(l.count, "record"), between(l.first, l.last)));
    }
    if (r.lacking_remarks > 0)
      console.out(fmt::format("the backup lacks: {} on findings\n", counted(r.lacking_remarks, "remark")));
    if (r.lacking_verifications > 0)
      console.out(fmt::format("the backup lacks: {}\n", counted(r.lacking_verifications, "verification")));
    if (r.lacking_changes > 0)
      console.out(fmt::format("the backup lacks: {} of the register\n", counted(r.lacking_changes, "change")));
    if (!r.unreadable.empty()) {
      console.out(fmt::format("what the backup lacks cannot be told: {}\nfirst: shaftlog recover {} NEW --backup {}\n",
                              r.unreadable, file.string(), *words->from));
    } else if (r.is_present && lacking + r.lacking_remarks + r.lacking_verifications + r.lacking_changes == 0) {
      console.out("the backup lacks nothing\n");
    }
    if (words->is_dry_run) {
      console.out("nothing was changed\n");
      return kDone;
    }
    console.out(fmt::format("{} is now the backup, {}\n", file.string(), counted(r.records, "record")));
    if (!r.aside.empty()) console.out(fmt::format("as it was: {}\n", r.aside.string()));
    return kDone;
  };
}

std::string_view words_of(LostRecord::Why why) noexcept {
  switch (why) {
    case LostRecord::Why::row:
      return "cannot be read";
    case LostRecord::Why::content:
      return "content cannot be read";
    case LostRecord::Why::owner:
      return "vessel, shaft or lubricator is lost";
    case LostRecord::Why::changed:
      return "damaged";
  }
  return "";
}

struct LostGroup {
  std::int64_t count = 0;
  std::optional<Instant> first, last;
};
/// By vessel, kind and why; those of which nothing is known but the reason come first.
using LostGroups = std::map<std::tuple<std::string, std::string, LostRecord::Why>, LostGroup>;

LostGroups group_lost(const std::vector<LostRecord>& lost) {
  LostGroups groups;
  for (const LostRecord& l : lost) {
    LostGroup& group = groups[{l.vessel, l.kind ? std::string{name_of(*l.kind)} : "", l.why}];
    ++group.count;
    if (!l.at) continue;
    group.first = group.first ? std::min(*group.first, *l.at) : *l.at;
    group.last = group.last ? std::max(*group.last, *l.at) : *l.at;
  }
  return groups;
}

std::string recover_text(const RecoverResult& r, const std::string& damaged, const std::string& to) {
  std::string text;
  const auto line = [&](const std::string& words) { text += words + '\n'; };
  for (const std::string& note : r.notes) line(note);
  line(fmt::format("{}: {}, {} damaged", damaged, counted(r.pages, "page"), r.unreadable_pages));
  if (r.undecided_pages > 0)
    line(fmt::format("{}: {} with rows that could be of several tables, left out", damaged,
                     counted(r.undecided_pages, "page")));
  std::int64_t lost = r.lost_unknown;
  for (const auto& [key, group] : group_lost(r.lost)) {
    const auto& [vessel, kind, why] = key;
    lost += group.count;
    line(fmt::format("lost: {}, {}: {} {}: {}", vessel.empty() ? "vessel not known" : vessel,
                     kind.empty() ? "kind not known" : kind, counted(group.count, "record"),
                     group.first ? between(*group.first, *group.last) : "of a time not known", words_of(why)));
  }
  if (r.lost_unknown > 0)
    line(fmt::format("lost: {} of which only the missing number tells", counted(r.lost_unknown, "record")));
  for (const RecoveredTable& t : r.tables) {
    if (t.name == "entry") continue;
    if (t.lost > 0) line(fmt::format("lost: {} of {}", counted(t.lost, "row"), t.name));
    if (t.is_least) line(fmt::format("{}: later rows may be lost too", t.name));
  }
  if (r.is_least) line("newer records than the newest saved may be lost too; nothing is left to tell of them");
  for (const auto& [column, n] : r.emptied)
    line(fmt::format("not known any more: {} in {}", column, counted(n, "row")));
  for (const Uuid& id : r.dangling)
    line(fmt::format("kept, but what it corrects or withdraws is not there: {}", format_uuid(id)));
  for (const std::string& fault : r.faults) line(fmt::format("check of {}: {}", to, fault));
  line(fmt::format("saved to {}: {}{}, {}{} lost", to, counted(r.records, "record"),
                   r.from_backup > 0 ? fmt::format(" ({} from the backup)", r.from_backup) : "",
                   r.is_least ? "at least " : "", lost));
  return text;
}

std::string recover_json(const RecoverResult& r) {
  JsonWriter json;
  json.begin_object();
  json.key("pages").integer(r.pages);
  json.key("damaged_pages").integer(r.unreadable_pages);
  json.key("undecided_pages").integer(r.undecided_pages);
  json.key("records").integer(r.records);
  json.key("from_backup").integer(r.from_backup);
  json.key("lost_without_a_trace").integer(r.lost_unknown);
  json.key("newer_may_be_lost").boolean(r.is_least);
  json.key("lost").begin_list();
  for (const LostRecord& l : r.lost) {
    json.begin_object();
    json.key("id").text_or_null(l.id ? format_uuid(*l.id) : "");
    json.key("vessel").text_or_null(l.vessel);
    json.key("kind").text_or_null(l.kind ? name_of(*l.kind) : "");
    json.key("at").time(l.at);
    json.key("why").text(words_of(l.why));
    json.end_object();
  }
  json.end_list();
  json.key("tables").begin_list();
  for (const RecoveredTable& t : r.tables) {
    json.begin_object();
    json.key("table").text(t.name);
    json.key("kept").integer(t.kept);
    json.key("from_backup").integer(t.from_backup);
    json.key("lost").integer(t.lost);
    json.key("later_may_be_lost").boolean(t.is_least);
    json.end_object();
  }
  json.end_list();
  json.key("emptied").begin_object();
  for (const auto& [column, n] : r.emptied) json.key(column).integer(n);
  json.end_object();
  json.key("corrects_what_is_lost").ids(r.dangling);
  json.key("notes").texts(r.notes);
  json.key("faults").texts(r.faults);
  json.end_object();
  return json.take();
}

struct RecoverWords {
  std::optional<std::string> damaged, to, backup;
  bool json = false;
};

void add_recover(Command& root) {
  Command& c = root.add("recover", "save what can be read of a damaged database into a new one, and list what is lost");
  const auto words = std::make_shared<RecoverWords>();
  c.argument("DAMAGED", words->damaged, "the damaged file; it is only read", true);
  c.argument("NEW", words->to, "the file to make", true);
  c.option("--backup", "FILE", words->backup, "an earlier copy of the same file: it lends what the damage took");
  c.flag("--json", words->json, "answer as JSON, with every lost record");
  c.run = [words](Console& console) {
    std::optional<std::filesystem::path> backup;
    if (words->backup) backup = *words->backup;
    const RecoverResult r = recover_database(*words->damaged, *words->to, backup);
    console.out(words->json ? recover_json(r) : recover_text(r, *words->damaged, *words->to));
    return r.is_whole() ? kDone : kFound;
  };
}

}  // namespace

void add_safety_commands(Command& root, const Surroundings& around) {
  add_backup(root, around);
  add_restore(root, around);
  add_recover(root);
}

}  // namespace shaftlog
