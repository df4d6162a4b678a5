#include "app/finding.hpp"
#include "app/look_up.hpp"
#include "app/maintenance.hpp"
#include "base/error.hpp"
#include "cli/guard.hpp"
#include "cli/program.hpp"
#include "reports/finding_report.hpp"

#include <fmt/format.h>

namespace shaftlog {

namespace {

/// Of which day, and from what was known when.
struct LookWords {
  std::optional<std::string> id, as_of, known, vessel;
  bool open = false, closed = false, all = false, json = false, csv = false;

  [[nodiscard]] ReviewRequest request() const {
    ReviewRequest r;
    if (as_of) r.as_of = get_moment("--as-of", *as_of, Zone::utc()).utc;
    if (known) r.known = get_moment("--known", *known, Zone::utc()).utc;
    r.vessel = vessel.value_or("");
    r.judge_gone = true;
    return r;
  }
};

void add_view(Command& c, LookWords& words) {
  c.option("--as-of", "TIME", words.as_of, "only what had happened by then; a day is its noon in UTC; else now");
  c.option("--known", "TIME", words.known, "only what was recorded by then");
  c.flag("--json", words.json, "answer as JSON");
}

void add_show(Command& finding, const Surroundings& around) {
  Command& c =
      finding.add("show", "one finding in full: figures, causes, checks, records, what was done, what came of it");
  const auto words = std::make_shared<LookWords>();
  c.argument("ID", words->id, "the finding's id, or its first 4 or more digits", true);
  add_view(c, *words);
  c.run = [&around, words](Console& console) {
    Database db = open_to_read(around.database());
    const FindingBook book = list_findings(db, around.clock.now_s(), words->request());
    const FindingCase& one = get_finding(book, *words->id);
    const std::vector<Entry> evidence = evidence_of(db, one);
    const VerifiedRecords verified = verified_among(db, evidence);
    const Names names{book.reg};
    console.out(words->json ? finding_case_json(one, evidence, verified, book.as_of, names)
                            : finding_case_text(one, evidence, verified, book.as_of, names, console.style()));
    return kDone;
  };
}

void add_list(Command& finding, const Surroundings& around) {
  Command& c = finding.add("list", "all findings and where they stand");
  const auto words = std::make_shared<LookWords>();
  add_view(c, *words);
  c.flag("--csv", words->csv, "answer as CSV");
  c.option("--vessel", "CODE", words->vessel, "only this vessel");
  c.flag("--open", words->open, "only those that are not closed; so too when nothing is said");
  c.flag("--closed", words->closed, "only those that are closed, and what came of it");
  c.flag("--all", words->all, "all of them");
  c.run = [&around, words](Console& console) {
    if (words->json && words->csv) throw Error{Errc::usage, "either --json or --csv"};
    if (int{words->open} + int{words->closed} + int{words->all} > 1)
      throw Error{Errc::usage, "one of --open, --closed and --all"};
    Database db = open_to_read(around.database());
    const FindingBook book = list_findings(db, around.clock.now_s(), words->request());
    std::vector<const FindingCase*> shown;
    for (const FindingCase& one : book.cases) {
      const bool is_closed = one.state.status == FindingStatus::closed;
      if (words->all || is_closed == words->closed) shown.push_back(&one);
    }
    const Names names{book.reg};
    console.out(words->json  ? finding_list_json(shown, book.as_of, names)
                : words->csv ? finding_list_csv(shown, names)
                             : finding_list_text(shown, book.as_of, names, console.style()));
    return kDone;
  };
}

struct ActWords {
  std::optional<std::string> id, text, by, at;
  bool json = false;
};

/// \param needs option (or argument) that carries the words, with what is to be said; empty: none
void add_act(Command& finding, const Surroundings& around, FindingAct did, const char* name, std::string what,
             const char* needs, std::string needs_what) {
  Command& c = finding.add(name, std::move(what));
  const auto words = std::make_shared<ActWords>();
  const std::string option = needs;
  c.argument("ID", words->id, "the finding's id, or its first 4 or more digits", true);
  if (option == "TEXT") c.argument("TEXT", words->text, needs_what, true);
  if (option.starts_with("--")) c.option(option, "TEXT", words->text, needs_what + "; needed");
  c.option("--by", "WHO", words->by, "who does it; else SHAFTLOG_BY or the login name");
  c.option("--at", "TIME", words->at, "when it was done, on the ship's clock; else now");
  c.flag("--json", words->json, "answer as JSON");
  c.run = [&around, words, did, option, needs_what, path = std::string{name}](Console& console) {
    if (!option.empty() && words->text.value_or("").empty())
      throw Error{Errc::usage, fmt::format("finding {} needs {}: {}", path, option, needs_what)};
    Database db = open_to_write(around.database());
    const KeptRemark kept =
        keep_remark(db, around.clock,
                    {*words->id, did, words->text.value_or(""), Surroundings::by(words->by), words->at.value_or("")});
    const Names names{kept.reg};
    console.out(words->json ? remark_json(kept.remark, kept.state, names) : remark_text(kept.remark, names));
    return kDone;
  };
}

}  // namespace

void add_finding_commands(Command& root, const Surroundings& around) {
  Command& c = root.add("finding", "look at one finding, take it in hand, note, close and reopen it");
  add_show(c, around);
  add_list(c, around);
  add_act(c, around, FindingAct::taken, "take", "say who sees to a finding", "", "");
  add_act(c, around, FindingAct::noted, "note", "keep a note with a finding", "TEXT", "the note");
  add_act(c, around, FindingAct::closed, "close",
          "say that something was done; whether the numbers came back is shown from then on", "--action",
          "what was done");
  add_act(c, around, FindingAct::reopened, "reopen", "open a finding that was closed", "--reason", "why");
}

}  // namespace shaftlog
