#include "app/maintenance.hpp"
#include "app/pack.hpp"
#include "base/error.hpp"
#include "base/text.hpp"
#include "cli/counted.hpp"
#include "cli/guard.hpp"
#include "cli/program.hpp"
#include "reports/json.hpp"

#include <iterator>

#include <fmt/format.h>

namespace shaftlog {

namespace {

struct PackWords {
  std::optional<std::string> file, to, name;
  bool all = false, own = false, is_unsigned = false, json = false;
};

void add_pack(Command& root, const Surroundings& around) {
  Command& c = root.add("pack", "write what another file of the fleet lacks into one small file, for mail or stick");
  const auto words = std::make_shared<PackWords>();
  c.argument("FILE", words->file, "the pack to make", true);
  c.option("--for", "NAME", words->to, "name or id of the file it is for: only what that one lacks by its last pack");
  c.flag("--all", words->all, "everything, for anyone: the first pack, or when one asks for it");
  c.flag("--own", words->own, "only what was first written in this file, not what came from others");
  c.option("--name", "NAME", words->name, "what others know this file by, such as the ship's name; kept from then on");
  c.flag("--unsigned", words->is_unsigned, "do not sign it, although this file has a key");
  c.flag("--json", words->json, "answer as JSON");
  c.more = "A pack that is lost does no harm: the next one holds it again, until the other side's pack says it has it.";
  c.run = [&around, words](Console& console) {
    if (words->all == words->to.has_value()) {
      throw Error{Errc::usage, "a pack is either for one file (--for NAME) or for anyone (--all)"};
    }
    if (words->to && words->to->empty()) throw Error{Errc::usage, "--for: is empty, expected a name or an id"};
    Database db = open_to_write(around.database());
    const PackResult r = pack(db, around.clock, *words->file,
                              {words->to.value_or(""), words->own, words->name.value_or(""), words->is_unsigned});
    if (words->json) {
      JsonWriter json;
      json.begin_object();
      json.key("file").text(*words->file);
      json.key("bytes").integer(static_cast<std::int64_t>(r.bytes));
      json.key("records").integer(r.records);
      json.key("register").boolean(r.has_register);
      json.key("signed_with").text_or_null(r.signer ? fingerprint(*r.signer) : "");
      json.key("strands").begin_list();
      for (const PackedStrand& s : r.strands) {
        json.begin_object();
        json.key("of").text(s.name);
        json.key("first").integer(s.first);
        json.key("last").integer(s.last);
        json.end_object();
      }
      json.end_list();
      json.end_object();
      console.out(json.take());
      return kDone;
    }
    for (const PackedStrand& s : r.strands) {
      console.out(fmt::format("{}: {} to {}\n", s.name, s.first, s.last));
    }
    console.out(fmt::format("packed {}{} into {}, {} bytes\n", counted(r.records, "record"),
                            r.has_register ? " and the register" : "", *words->file, r.bytes));
    if (r.signer) console.out(fmt::format("signed with {}\n", fingerprint(*r.signer)));
    return kDone;
  };
}

struct UnpackWords {
  std::optional<std::string> file, accept_key, by;
  bool dry_run = false, join = false, take_unsigned = false, json = false;
};

void add_unpack(Command& root, const Surroundings& around) {
  Command& c = root.add("unpack", "take in a pack: what is new is added, nothing is overwritten");
  const auto words = std::make_shared<UnpackWords>();
  c.argument("FILE", words->file, "the pack", true);
  c.flag("--dry-run", words->dry_run, "say what it would bring, keep nothing");
  c.flag("--join", words->join, "this file, which has records already, belongs to the pack's fleet");
  c.option("--accept-key", "FINGERPRINT", words->accept_key,
           "believe the key it is signed with, if it has the fingerprint that you were told by another way");
  c.flag("--unsigned", words->take_unsigned, "take it although it lacks a signature that is expected");
  c.option("--by", "WHO", words->by, "who accepts the key; else SHAFTLOG_BY or the login name");
  c.flag("--json", words->json, "answer as JSON");
  c.more =
      "A pack is taken in whole or not at all. Packs may come twice, late or in any order. Exit code 1 when something "
      "contradicts what is here: both are kept, and told.";
  c.run = [&around, words](Console& console) {
    Database db = open_to_write(around.database());
    if (words->accept_key && words->accept_key->empty()) {
      throw Error{Errc::usage, "--accept-key: is empty, expected a fingerprint"};
    }
    const UnpackResult r = unpack(db, *words->file,
                                  {words->dry_run, words->join, Surroundings::by(words->by), around.clock.now_s(),
                                   words->accept_key.value_or(""), words->take_unsigned});
    const int code = r.conflicts.empty() ? kDone : kFound;
    if (words->json) {
      JsonWriter json;
      json.begin_object();
      json.key("from").text(r.from);
      json.key("made_at").text(format_utc(r.made_at));
      json.key("signed_with").text_or_null(r.signer ? fingerprint(*r.signer) : "");
      json.key("key_accepted").boolean(r.is_key_accepted);
      json.key("key_renewed").boolean(r.is_key_renewed);
      json.key("kept").boolean(r.is_kept);
      json.key("added").integer(r.added);
      json.key("known").integer(r.known);
      json.key("verified").begin_list();
      for (const auto& [by, records] : r.verified) {
        json.begin_object();
        json.key("by").text(by);
        json.key("records").integer(std::ssize(records));
        json.end_object();
      }
      json.end_list();
      json.key("joined").boolean(r.has_joined);
      json.key("older_copy").boolean(r.is_older_copy);
      json.key("register_added").integer(r.registered.added);
      json.key("register_replaced").texts(r.registered.replaced);
      json.key("register_kept").texts(r.registered.kept);
      json.key("conflicts").texts(r.conflicts);
      json.end_object();
      console.out(json.take());
      return code;
    }
    console.out(fmt::format("pack of {}, made {}: {} added, {} known\n", r.from, format_utc(r.made_at),
                            counted(r.added, "record"), r.known));
    for (const auto& [by, records] : r.verified)
      console.out(fmt::format("{} verified by {}\n", counted(std::ssize(records), "record"), shown(by)));
    if (!r.signer) {
      console.out("not signed: nothing proves who made it\n");
    } else {
      console.out(fmt::format("signed by {} with {}{}\n", r.from, fingerprint(*r.signer),
                              r.is_key_accepted  ? ", a key that is trusted from now on"
                              : r.is_key_renewed ? ", a new key, signed with the one before"
                                                 : ""));
    }
    if (r.has_joined) console.out("this file belongs to the pack's fleet now\n");
    if (r.registered.added > 0) console.out(fmt::format("register: {} added\n", counted(r.registered.added, "row")));
    for (const std::string& what : r.registered.replaced)
      console.out(fmt::format("register: {} as the pack has it\n", what));
    for (const std::string& what : r.registered.kept) {
      console.out(fmt::format("register: {} stays as it is here; the pack has it otherwise\n", what));
    }
    for (const std::string& what : r.conflicts) console.out(what + '\n');
    if (r.is_older_copy) {
      console.out(
          "others have more of this file's own records: it is an older copy, and goes on in a strand of its own\n");
    }
    if (words->dry_run) console.out("a dry run: nothing was changed\n");
    return code;
  };
}

}  // namespace

void add_pack_commands(Command& root, const Surroundings& around) {
  add_pack(root, around);
  add_unpack(root, around);
}

}  // namespace shaftlog
