#include "app/history.hpp"
#include "app/maintenance.hpp"
#include "base/error.hpp"
#include "base/text.hpp"
#include "cli/guard.hpp"
#include "cli/program.hpp"
#include "cli/view_words.hpp"
#include "reports/dossier_report.hpp"

#include <fmt/format.h>

namespace shaftlog {

namespace {

struct HistoryWords {
  std::optional<std::string> vessel, shaft, until, known, out, evidence;
  bool json = false, csv = false, all = false;
};

}  // namespace

void add_history_commands(Command& root, const Surroundings& around) {
  Command& c =
      root.add("history", "the dossier of one shaft: what is known, what changed first, hours below the reserve");
  const auto words = std::make_shared<HistoryWords>();
  c.argument("VESSEL", words->vessel, "the ship's code", true);
  c.argument("SHAFT", words->shaft, "the shaft's code", true);
  c.option("--until", "TIME", words->until,
           "only what had happened by then, on the ship's clock; a day is meant whole; else now");
  c.option("--known", "TIME", words->known, "only what was recorded by then; a day is meant whole");
  c.flag("--all", words->all, "a line for every reading of meters, counters and levels");
  c.flag("--json", words->json, "answer as JSON");
  c.flag("--csv", words->csv, "answer the timeline as CSV");
  c.option("--out", "FILE", words->out, "write it as a page of its own, .html or .pdf");
  c.option("--evidence", "FOLDER", words->evidence,
           "write an evidence folder: the dossier, every series, the unaltered records, formulas, SHA-256 sums");
  c.more =
      "The bearing in question is the last one that was taken out; where none was, the one in place. Ranges run from 5 "
      "to 95 %. "
      "The program computes from what was written; it does not say who or what is to blame.";
  c.run = [&around, words](Console& console) {
    if (words->json && words->csv) throw Error{Errc::usage, "either --json or --csv"};
    const bool is_pdf = words->out && file_end(*words->out, {"html", "pdf"}) == "pdf";
    HistoryRequest request;
    request.vessel = *words->vessel;
    request.shaft = *words->shaft;
    request.until = words->until.value_or("");
    request.known = words->known.value_or("");
    request.every_reading = words->all;
    request.with_told = !words->csv || words->evidence || words->out;
    Database db = open_to_read(around.database());
    const History h = look_into(db, around.clock.now_s(), request);
    const DossierView view{h.dossier, h.reg, h.log, h.entries, h.known, program_version(), {}, h.verifications};
    bool is_written = false;
    if (words->evidence) {
      std::vector<EvidenceFile> files;
      for (auto& [name, text] : dossier_evidence(view)) files.push_back({name, std::move(text)});
      const std::vector<std::string> names = write_evidence(h, std::move(files), *words->evidence);
      console.err(fmt::format("wrote {} files to {}\n", names.size(), *words->evidence));
      is_written = true;
    }
    if (words->out) {
      write_whole(*words->out, is_pdf ? dossier_pdf(view) : dossier_html(view));
      console.err(fmt::format("wrote {}\n", *words->out));
      is_written = true;
    }
    if (words->json)
      console.out(dossier_json(view));
    else if (words->csv)
      console.out(timeline_csv(view));
    else if (!is_written)
      console.out(dossier_text(view, console.style()));
    return kDone;
  };
}

}  // namespace shaftlog
