#include "app/keys.hpp"
#include "app/maintenance.hpp"
#include "base/error.hpp"
#include "base/text.hpp"
#include "cli/guard.hpp"
#include "cli/program.hpp"
#include "reports/json.hpp"

#include <fmt/format.h>

namespace shaftlog {
namespace {

std::string_view told(const Signer& s) noexcept {
  switch (s.decision) {
    case Decision::own:
      return "this file's key";
    case Decision::compared:
      return "trusted, its fingerprint was compared";
    case Decision::followed:
      return "trusted, signed with the key before";
    case Decision::replaced:
      return "replaced by another";
    case Decision::distrusted:
      return "not trusted";
  }
  return "";
}

/// "3f2a-…  office: trusted, its fingerprint was compared, 2026-03-14T08:10:00Z by 2/E"
std::string line_of(const Signer& s) {
  return fmt::format("{}  {}{}, {}{}\n", fingerprint(s.key), s.own ? "" : shown(s.name) + ": ", told(s),
                     format_utc(s.decided), s.by.empty() ? "" : " by " + shown(s.by));
}

struct KeyWords {
  std::optional<std::string> key, of, by;
  bool is_lost = false, json = false;
};

void add_by(Command& c, KeyWords& words) {
  c.option("--by", "WHO", words.by, "who does it; else SHAFTLOG_BY or the login name");
}

std::string by_of(const KeyWords& words) { return Surroundings::by(words.by); }

void tell_own(Console& console, const OwnKey& k) {
  const char* const how = k.how == OwnKey::How::made       ? "made a key"
                          : k.how == OwnKey::How::taken_up ? "took up the key that was there"
                                                           : "renewed the key";
  console.out(
      fmt::format("{}: {}\nthe secret part, for this file alone: {}\n", how, fingerprint(k.key), k.file.string()));
  if (k.how == OwnKey::How::renewed) {
    console.out("the next pack tells others; those who trust the key before will trust this one\n");
  } else {
    console.out("tell others this fingerprint by another way than a pack, such as the telephone\n");
  }
}

void add_make(Command& key, const Surroundings& around) {
  Command& c = key.add("make", "make the key with which this file signs its packs");
  const auto words = std::make_shared<KeyWords>();
  add_by(c, *words);
  c.flag("--lost", words->is_lost, "the secret part of the present key is lost for good: make another");
  c.run = [&around, words](Console& console) {
    Database db = open_to_write(around.database());
    tell_own(console, make_key(db, around.clock, by_of(*words), words->is_lost));
    return kDone;
  };
}

void add_renew(Command& key, const Surroundings& around) {
  Command& c = key.add("renew", "put another key in the place of this file's key, which signs it");
  const auto words = std::make_shared<KeyWords>();
  add_by(c, *words);
  c.run = [&around, words](Console& console) {
    Database db = open_to_write(around.database());
    tell_own(console, renew_key(db, around.clock, by_of(*words)));
    return kDone;
  };
}

void add_show(Command& key, const Surroundings& around) {
  Command& c = key.add("show", "the fingerprint of this file's key, to be read to others, and the whole public key");
  const auto words = std::make_shared<KeyWords>();
  c.flag("--json", words->json, "answer as JSON");
  c.run = [&around, words](Console& console) {
    Database db = open_to_read(around.database());
    const Signer own = get_own_key(db);
    if (words->json) {
      JsonWriter json;
      json.begin_object();
      json.key("fingerprint").text(fingerprint(own.key));
      json.key("public_key").text(hex(own.key));
      json.key("since").text(format_utc(own.decided));
      json.end_object();
      console.out(json.take());
    } else {
      console.out(fmt::format("fingerprint {}\npublic key  {}\n", fingerprint(own.key), hex(own.key)));
    }
    return kDone;
  };
}

void add_list(Command& key, const Surroundings& around) {
  Command& c = key.add("list", "all keys this file has met, whose they are, and whether they are trusted");
  const auto words = std::make_shared<KeyWords>();
  c.flag("--json", words->json, "answer as JSON");
  c.run = [&around, words](Console& console) {
    Database db = open_to_read(around.database());
    const std::vector<Signer> keys = list_keys(db);
    if (words->json) {
      JsonWriter json;
      json.begin_list();
      for (const Signer& s : keys) {
        json.begin_object();
        json.key("fingerprint").text(fingerprint(s.key));
        json.key("public_key").text(hex(s.key));
        json.key("of").text_or_null(s.own ? "" : s.name);
        json.key("own").boolean(s.own.has_value());
        json.key("trusted").boolean(s.is_trusted());
        json.key("decision").text(word_of(s.decision));
        json.key("at").text(format_utc(s.decided));
        json.key("by").text_or_null(s.by);
        json.end_object();
      }
      json.end_list();
      console.out(json.take());
      return kDone;
    }
    for (const Signer& s : keys) console.out(line_of(s));
    if (keys.empty()) console.out("no keys: packs are neither signed nor is a signature asked for\n");
    return kDone;
  };
}

void add_trust(Command& key, const Surroundings& around) {
  Command& c = key.add("trust", "believe a key, after its fingerprint was compared by another way than a pack");
  const auto words = std::make_shared<KeyWords>();
  c.argument("KEY", words->key, "the fingerprint of a key that \"key list\" shows, or a whole public key", true);
  c.option("--of", "NAME", words->of, "name or id of the file that signs with it");
  add_by(c, *words);
  c.run = [&around, words](Console& console) {
    Database db = open_to_write(around.database());
    console.out(line_of(trust_key(db, around.clock, *words->key, words->of.value_or(""), by_of(*words))));
    return kDone;
  };
}

void add_distrust(Command& key, const Surroundings& around) {
  Command& c =
      key.add("distrust", "take in nothing that is signed with a key from now on, such as one that was stolen");
  const auto words = std::make_shared<KeyWords>();
  c.argument("FINGERPRINT", words->key, "as \"key list\" shows it", true);
  add_by(c, *words);
  c.run = [&around, words](Console& console) {
    Database db = open_to_write(around.database());
    console.out(line_of(distrust_key(db, around.clock, *words->key, by_of(*words))));
    return kDone;
  };
}

}  // namespace

void add_key_commands(Command& root, const Surroundings& around) {
  Command& c = root.add("key", "the key that signs this file's packs, and the keys of others");
  add_make(c, around);
  add_show(c, around);
  add_list(c, around);
  add_trust(c, around);
  add_distrust(c, around);
  add_renew(c, around);
}

}  // namespace shaftlog
