#include "app/look_up.hpp"
#include "app/maintenance.hpp"
#include "app/record.hpp"
#include "app/second_look.hpp"
#include "base/error.hpp"
#include "base/text.hpp"
#include "cli/guard.hpp"
#include "cli/program.hpp"
#include "reports/record_report.hpp"

#include <algorithm>
#include <map>

#include <fmt/format.h>

namespace shaftlog {

namespace {

/// "--level-before-pct"
std::string option_name(std::string_view field) {
  std::string name{field};
  std::replace(name.begin(), name.end(), '_', '-');
  return "--" + name;
}

/// Values by field, given as options or as words like amount=60.
struct EntryWords {
  std::map<std::string, std::optional<std::string>, std::less<>> options;
  std::vector<std::string> pairs;
  bool json = false;

  [[nodiscard]] NamedTexts texts() const {
    NamedTexts out;
    for (const auto& [name, text] : options)
      if (text) out.emplace_back(name, *text);
    for (const std::string& pair : pairs) {
      const std::size_t equals = pair.find('=');
      if (equals == std::string::npos)
        throw Error{Errc::usage, fmt::format("\"{}\" is no value; expected a word like amount=60", shown(pair))};
      std::string name = pair.substr(0, equals);
      std::replace(name.begin(), name.end(), '-', '_');
      for (const auto& [known, text] : out)
        if (known == name) throw Error{Errc::usage, fmt::format("{} is given twice", name)};
      out.emplace_back(std::move(name), pair.substr(equals + 1));
    }
    return out;
  }
};

bool is_given(const NamedTexts& texts, std::string_view name) {
  return std::any_of(texts.begin(), texts.end(), [name](const auto& t) { return t.first == name; });
}

void set(NamedTexts& texts, std::string_view name, std::string text) {
  for (auto& [known, value] : texts) {
    if (known != name) continue;
    value = std::move(text);
    return;
  }
  texts.emplace_back(name, std::move(text));
}

std::string text_of(const NamedTexts& texts, std::string_view name) {
  for (const auto& [known, value] : texts)
    if (known == name) return value;
  return "";
}

/// What is known before a value is typed.
struct Known {
  std::string last;      ///< "60 strokes of gun1 = 78 cm3, pressure", with its day
  std::string expected;  ///< "78 cm3; usual 70 to 95"
  std::vector<std::string> odd;
};

Known told(const SecondLook& look, Kind kind, const Register& reg) {
  const Names names{reg};
  Known known;
  known.odd = look.odd;
  if (look.expected) known.expected = format_expected(kind, *look.expected);
  if (look.last) known.last = fmt::format("{}, {}", says(*look.last, names), format_local(look.last->head.at));
  return known;
}

Known look_up(Database& db, const Register& reg, const Entry& draft, Instant now) {
  return told(second_look(db, draft, now), draft.kind, reg);
}

void sign(NamedTexts& texts) {
  const auto given = std::find_if(texts.begin(), texts.end(), [](const auto& t) { return t.first == "by"; });
  if (given == texts.end())
    texts.emplace_back("by", Surroundings::by());
  else
    given->second = Surroundings::by(given->second);
}

std::string codes_on_board(const Register& reg, const NamedTexts& texts, std::string_view field) {
  std::string out;
  const auto add = [&out](std::string_view code) { out += (out.empty() ? "" : ", ") + std::string{code}; };
  const auto vessel = std::find_if(reg.vessels.begin(), reg.vessels.end(),
                                   [&](const Vessel& v) { return v.code == text_of(texts, "vessel"); });
  constexpr std::size_t kMostVessels = 20;
  if (field == "vessel" && reg.vessels.size() <= kMostVessels)
    for (const Vessel& v : reg.vessels) add(v.code);
  if (vessel == reg.vessels.end()) return out;
  if (field == "shaft")
    for (const Shaft& s : reg.shafts)
      if (s.vessel == vessel->id) add(s.code);
  if (field == "lubricator")
    for (const Lubricator& l : reg.lubricators)
      if (l.vessel == vessel->id) add(l.code);
  if (field == "gun")
    for (const Gun& g : reg.guns)
      if (g.vessel == vessel->id) add(g.code);
  return out;
}

std::string without_blanks(std::string text) {
  text.erase(0, std::min(text.find_first_not_of(' '), text.size()));
  text.erase(text.find_last_not_of(' ') + 1);
  return text;
}

bool is_subject(const EntryField& f) { return f.name == "shaft" || f.name == "lubricator"; }

/// Work of a shaft or a lubricator that names neither.
bool lacks_subject(Kind kind, const NamedTexts& texts) {
  if (kind != Kind::work || !text_of(texts, "shaft").empty() || !text_of(texts, "lubricator").empty()) return false;
  const auto work = parse_work_kind(text_of(texts, "work"));
  return work && needs_subject(*work);
}

/// Asks a person for what is missing, until all of it is there.
class Questions {
 public:
  Questions(Console& console, Database& db, const Register& reg, Instant now, Kind kind, NamedTexts& texts)
      : console_{console}, db_{db}, reg_{reg}, now_{now}, kind_{kind}, texts_{texts} {}

  /// \return false when the input ended
  bool ask_all() {
    if (reg_.vessels.size() == 1 && !is_given(texts_, "vessel")) set(texts_, "vessel", reg_.vessels.front().code);
    const bool is_of_either = kind_ == Kind::work || kind_ == Kind::alarm;
    bool has_subject = false;
    for (const EntryField& f : fields_of(kind_)) {
      if (is_of_either && is_subject(f)) {
        if (!has_subject && !ask_subject()) return false;
        has_subject = true;
      } else if (is_worth_asking(f) && ask(f, what_of(f), f.is_required) == Answer::ended) {
        return false;
      }
    }
    return true;
  }

 private:
  enum class Answer : std::uint8_t { ended, none, taken };

  [[nodiscard]] bool is_not_done() const { return text_of(texts_, "ended") == "not_done"; }
  [[nodiscard]] std::string what_of(const EntryField& f) const {
    if (f.name == "remark") return "why it was not done";
    const std::string codes = codes_on_board(reg_, texts_, f.name);
    return codes.empty() ? std::string{f.what} : codes;
  }
  [[nodiscard]] bool is_missing(std::string_view field) const {
    const Draft so_far = draft_record(reg_, now_, kind_, texts_);
    return std::find(so_far.missing.begin(), so_far.missing.end(), field) != so_far.missing.end();
  }

  /// Settles a gun that goes without saying.
  bool is_worth_asking(const EntryField& f) {
    if (is_given(texts_, f.name)) return false;
    if (f.name == "remark") return is_not_done();
    if (!f.is_asked) return false;
    if ((f.is_required || f.name == "unit") && !is_missing(f.name)) return false;  // goes without saying
    if (f.name == "purge" && is_not_done()) return false;
    if (f.name != "gun") return true;
    if (text_of(texts_, "unit") != "strokes" && !text_of(texts_, "amount").ends_with("strokes")) return false;
    const std::string codes = codes_on_board(reg_, texts_, "gun");
    if (codes.find(',') != std::string::npos) return true;
    if (!codes.empty()) set(texts_, "gun", codes);
    return false;
  }

  void tell_what_is_known(const EntryField& f) {
    if (has_looked_ || f.name == "vessel" || is_subject(f)) return;
    has_looked_ = true;
    const auto look = look_ahead(db_, reg_, now_, kind_, texts_);
    if (!look) return;
    const Known known = told(*look, kind_, reg_);
    if (!known.last.empty()) console_.err(fmt::format("last: {}\n", known.last));
    if (!known.expected.empty()) console_.err(fmt::format("expected: {}\n", known.expected));
  }

  Answer ask(const EntryField& f, const std::string& what, bool is_needed) {
    tell_what_is_known(f);
    for (;;) {
      const auto answer = console_.ask(fmt::format("{} ({}): ", f.name, what));
      if (!answer) return Answer::ended;
      const std::string word = without_blanks(*answer);
      if (word.empty() && !is_needed) return Answer::none;
      if (word.empty()) continue;
      NamedTexts tried = texts_;
      set(tried, f.name, word);
      const Draft draft = draft_record(reg_, now_, kind_, tried);
      const auto fault = std::find_if(draft.faults.begin(), draft.faults.end(),
                                      [&f](const FieldFault& x) { return x.field == f.name; });
      if (fault != draft.faults.end() && !(f.name == "work" && lacks_subject(kind_, tried))) {
        console_.err(fault->text + '\n');
        continue;
      }
      texts_ = std::move(tried);
      return Answer::taken;
    }
  }

  [[nodiscard]] bool is_of_lubricator_first() const {
    if (kind_ == Kind::alarm) return true;
    switch (parse_work_kind(text_of(texts_, "work")).value_or(WorkKind::other)) {
      case WorkKind::pump_repaired:
      case WorkKind::controller_changed:
      case WorkKind::lubricator_off:
      case WorkKind::lubricator_on:
        return true;
      default:
        return false;
    }
  }

  /// The shaft or the lubricator of what may be about either; of the whole ship where that is allowed.
  bool ask_subject() {
    if (!text_of(texts_, "shaft").empty() || !text_of(texts_, "lubricator").empty()) return true;
    const auto work = parse_work_kind(text_of(texts_, "work"));
    if (work == WorkKind::docked || work == WorkKind::undocked) return true;
    if (kind_ == Kind::alarm && !is_missing("lubricator")) return true;  // the only one goes without saying
    if (work == WorkKind::seal_replaced || work == WorkKind::bearing_replaced) {
      const std::span<const EntryField> all = fields_of(kind_);
      const auto shaft = std::find_if(all.begin(), all.end(), [](const EntryField& f) { return f.name == "shaft"; });
      return ask(*shaft, what_of(*shaft), true) != Answer::ended;
    }
    std::vector<const EntryField*> fields;
    for (const EntryField& f : fields_of(kind_))
      if (is_subject(f) && !codes_on_board(reg_, texts_, f.name).empty()) fields.push_back(&f);
    std::sort(fields.begin(), fields.end(), [](const auto* a, const auto* b) { return a->name > b->name; });
    if (is_of_lubricator_first()) std::reverse(fields.begin(), fields.end());
    while (!fields.empty()) {
      for (const EntryField* f : fields) {
        const Answer answer = ask(*f, what_of(*f) + "; empty where it is not about one", false);
        if (answer != Answer::none) return answer == Answer::taken;
      }
      if (kind_ == Kind::work && !lacks_subject(kind_, texts_)) return true;
      console_.err(fmt::format("{}: expected a shaft or a lubricator\n",
                               kind_ == Kind::work ? text_of(texts_, "work") : std::string{name_of(kind_)}));
    }
    return true;
  }

  Console& console_;
  Database& db_;
  const Register& reg_;
  Instant now_;
  Kind kind_;
  NamedTexts& texts_;
  bool has_looked_ = false;
};

[[noreturn]] void refuse_missing(std::string_view path, Kind kind, const std::vector<std::string>& missing) {
  std::vector<std::string> names;
  for (const std::string& option : missing) {
    std::string& name = names.emplace_back(option_name(option));
    if (kind == Kind::refill && option == "amount")
      name = "--amount with its unit (or --level-before-pct and --level-after-pct)";
    if (kind == Kind::inspection && option == "water_pct") name = "--water-pct, --iron-ppm or --clearance-mm";
  }
  throw Error{Errc::usage, fmt::format("{} needs {} too", path, listed(names))};
}

std::string entry_json(const Entry& e, const Names& names, const Known& known, const std::string& changes) {
  JsonWriter json;
  json.begin_object();
  json.key("record");
  write_record(json, e, names);
  json.key("expected").text_or_null(known.expected);
  json.key("odd").texts(known.odd);
  if (!changes.empty()) json.key("changed").text(changes);
  json.end_object();
  return json.take();
}

/// Keeps a sound draft, after a question where it is odd and somebody can answer.
int keep(Console& console, Database& db, const Surroundings& around, const Register& reg, const Draft& draft,
         bool as_json, const std::string& changes) {
  const Names names{reg};
  Entry entry = *draft.entry;
  Known known = look_up(db, reg, entry, around.clock.now_s());
  known.odd.insert(known.odd.begin(), draft.odd.begin(), draft.odd.end());
  for (const std::string& o : known.odd) console.err(fmt::format("odd: {}\n", o));
  if (!known.odd.empty() && console.can_ask()) {
    const auto answer = console.ask("keep it all the same? yes, no, or a remark to keep with it: ");
    const std::string word = answer ? lower_case(*answer) : "no";
    if (word == "no" || word == "n") {
      console.out("nothing was kept\n");
      return kDone;
    }
    if (!answer->empty() && word != "yes" && word != "y")
      entry.head.remark += (entry.head.remark.empty() ? "" : "; ") + *answer;
  }
  entry = keep_record(db, around.clock, std::move(entry));
  if (as_json) {
    console.out(entry_json(entry, names, known, changes));
    return kDone;
  }
  console.out(fmt::format("kept: {} {} {}, {}: {}\n", name_of(entry.kind), names.vessel(entry.vessel),
                          names.subject(entry.shaft, entry.lubricator), format_both(entry.head.at),
                          says(entry, names)));
  if (!changes.empty()) console.out(fmt::format("changed: {}\n", changes));
  if (!known.expected.empty()) console.out(fmt::format("expected: {}\n", known.expected));
  console.out(fmt::format("id: {}\n", format_uuid(entry.head.id)));
  return kDone;
}

void add_kind(Command& add, const Surroundings& around, Kind kind, std::string what) {
  Command& c = add.add(std::string{name_of(kind)}, std::move(what));
  const auto words = std::make_shared<EntryWords>();
  for (const EntryField& f : fields_of(kind))
    c.option(option_name(f.name), std::string{f.value}, words->options[std::string{f.name}], std::string{f.what});
  if (kind == Kind::alarm) c.option("--at", "TIME", words->options["at"], "the same as --raised-at");
  c.arguments("VALUE", words->pairs, "the same as words: amount=60 unit=strokes");
  c.flag("--json", words->json, "answer as JSON");
  c.run = [&around, words, kind](Console& console) {
    NamedTexts texts = words->texts();
    sign(texts);
    Database db = open_to_write(around.database());
    const Register reg = load_register_of(db, text_of(texts, "vessel"));
    const Instant now = around.clock.now_s();
    Draft draft = draft_record(reg, now, kind, texts);
    if (!draft.missing.empty() || (lacks_subject(kind, texts) && console.can_ask())) {
      if (!console.can_ask()) refuse_missing(fmt::format("add {}", name_of(kind)), kind, draft.missing);
      if (!Questions{console, db, reg, now, kind, texts}.ask_all()) {
        console.err("\n");
        throw Error{Errc::usage, "the input ended; nothing was kept"};
      }
      draft = draft_record(reg, now, kind, texts);
      if (!draft.missing.empty()) refuse_missing(fmt::format("add {}", name_of(kind)), kind, draft.missing);
    }
    require_sound(draft, "\n");
    return keep(console, db, around, reg, draft, words->json, "");
  };
}

void add_add(Command& root, const Surroundings& around) {
  Command& c = root.add("add", "record one thing; on a terminal it asks for what is missing");
  add_kind(c, around, Kind::hours, "an hour meter's reading");
  add_kind(c, around, Kind::refill, "grease poured into a reservoir");
  add_kind(c, around, Kind::greasing, "a manual greasing");
  add_kind(c, around, Kind::level, "a reservoir's level, nothing added");
  add_kind(c, around, Kind::cycles, "a cycle counter's reading");
  add_kind(c, around, Kind::alarm, "an alarm of the lubrication system; once it clears: correct ID --cleared-at TIME");
  add_kind(c, around, Kind::work, "work that changes what to expect");
  add_kind(c, around, Kind::inspection, "a measurement or a sample");
}

struct CorrectWords : EntryWords {
  std::optional<std::string> id, reason;
};

std::string reason_for(Console& console, const std::optional<std::string>& given, std::string_view command) {
  if (given && !given->empty()) return *given;
  if (console.can_ask())
    if (const auto answer = console.ask("reason: "); answer && !answer->empty()) return *answer;
  throw Error{Errc::usage,
              fmt::format("{} needs --reason: why it is done; the record as it was stays readable", command)};
}

void add_correct(Command& root, const Surroundings& around) {
  Command& c = root.add("correct", "say a record again as it should be; the one before stays readable");
  const auto words = std::make_shared<CorrectWords>();
  c.argument("ID", words->id, "the record's id, or its first 4 or more digits", true);
  for (const Kind kind : kKinds) {
    for (const EntryField& f : fields_of(kind)) {
      const std::string name{f.name};
      if (name == "vessel" || words->options.contains(name)) continue;
      // A correction takes nothing for granted: "else now" would be wrong here.
      const bool is_time = name == "at" || name == "raised_at";
      c.option(option_name(name), std::string{f.value}, words->options[name],
               is_time ? "when it happened, on the ship's clock" : std::string{f.what});
    }
  }
  c.arguments("VALUE", words->pairs, "the same as words: amount=60 unit=strokes");
  c.option("--reason", "TEXT", words->reason, "why; needed");
  c.flag("--json", words->json, "answer as JSON");
  c.run = [&around, words](Console& console) {
    NamedTexts texts = words->texts();
    if (texts.empty() || (texts.size() == 1 && texts.front().first == "by"))
      throw Error{Errc::usage, "correct needs what is to be said otherwise, for instance --amount 65"};
    sign(texts);
    Database db = open_to_write(around.database());
    const Register reg = load_register(db);
    const Entry of = get_standing_record(db, *words->id);
    Draft draft = draft_correction(reg, around.clock.now_s(), of, texts);
    if (!draft.missing.empty()) refuse_missing("correct", of.kind, draft.missing);
    require_sound(draft, "\n");
    const std::string changes = changes_between(of, *draft.entry, Names{reg});
    if (changes.empty()) throw Error{Errc::usage, "the record says all that already; nothing was changed"};
    draft.entry->head.reason = reason_for(console, words->reason, "correct");
    return keep(console, db, around, reg, draft, words->json, changes);
  };
}

struct WithdrawWords {
  std::optional<std::string> id, reason, by;
  bool json = false;
};

void add_withdraw(Command& root, const Surroundings& around) {
  Command& c = root.add("withdraw", "cancel a record; it stays readable and does not count any more");
  const auto words = std::make_shared<WithdrawWords>();
  c.argument("ID", words->id, "the record's id, or its first 4 or more digits", true);
  c.option("--reason", "TEXT", words->reason, "why; needed");
  c.option("--by", "WHO", words->by, "who records; else SHAFTLOG_BY or the login name");
  c.flag("--json", words->json, "answer as JSON");
  c.run = [&around, words](Console& console) {
    Database db = open_to_write(around.database());
    const Register reg = load_register(db);
    const Names names{reg};
    const std::string reason = reason_for(console, words->reason, "withdraw");
    const Withdrawn w = withdraw_record(db, around.clock, *words->id, Surroundings::by(words->by), reason);
    if (words->json) {
      console.out(entry_json(w.withdrawal, names, {}, ""));
      return kDone;
    }
    console.out(fmt::format("withdrawn: {} {} {}, {}\n", name_of(w.withdrawal.kind), names.vessel(w.withdrawal.vessel),
                            names.subject(w.withdrawal.shaft, w.withdrawal.lubricator),
                            format_both(w.withdrawal.head.at)));
    if (w.in_force)
      console.out(fmt::format("in force again: {} ({}); withdraw that too if it never happened\n",
                              says(*w.in_force, names), format_uuid(w.in_force->head.id)));
    console.out(fmt::format("id: {}\n", format_uuid(w.withdrawal.head.id)));
    return kDone;
  };
}

}  // namespace

void add_entry_commands(Command& root, const Surroundings& around) {
  add_add(root, around);
  add_correct(root, around);
  add_withdraw(root, around);
}

}  // namespace shaftlog
