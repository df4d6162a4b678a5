#include "app/maintenance.hpp"
#include "app/report.hpp"
#include "base/error.hpp"
#include "base/text.hpp"
#include "cli/guard.hpp"
#include "cli/program.hpp"
#include "cli/view_words.hpp"
#include "reports/html_page.hpp"
#include "reports/log_sheets.hpp"
#include "reports/pdf_pages.hpp"

#include <fmt/format.h>

namespace shaftlog {

namespace {

struct SheetWords : ViewWords {
  std::optional<std::string> out, format, paper;
  bool overwrite = false;

  /// "html", "pdf" or "txt"
  [[nodiscard]] std::string get_format() const {
    if (!format) return out ? file_end(*out, {"html", "pdf", "txt"}) : "txt";
    if (*format == "html" || *format == "pdf" || *format == "txt") return *format;
    throw Error{Errc::usage, fmt::format("--format: \"{}\" is not html, pdf or txt", shown(*format))};
  }
  [[nodiscard]] Paper get_paper() const {
    if (!paper || *paper == "a4") return Paper::a4;
    if (*paper == "letter") return Paper::letter;
    throw Error{Errc::usage, fmt::format("--paper: \"{}\" is not a4 or letter", shown(*paper))};
  }
};

}  // namespace

void add_sheet_command(Command& root, const Surroundings& around) {
  Command& c = root.add("sheet", "blank log sheets to print for a ship: greasings, hours, refills, alarms");
  const auto words = std::make_shared<SheetWords>();
  c.argument("VESSEL", words->vessel, "the ship", true);
  c.option("--out", "FILE", words->out, "where to; else plain text goes to standard output");
  c.option("--format", "FORMAT", words->format, "html, pdf or txt; else by FILE's end");
  c.option("--paper", "PAPER", words->paper, "with pdf: a4 or letter; else a4");
  c.option("--as-of", "TIME", words->as_of, "what the next greasing should take as seen then; else now");
  c.option("--known", "TIME", words->known, "only what was recorded by then");
  c.flag("--overwrite", words->overwrite, "replace a file that is there already");
  c.option("--threads", "N", words->threads, "threads to compute with; else as many as the machine has");
  c.more =
      "The first page tells what is registered and how much the next greasing of each shaft should take. The columns "
      "are called as in `add` and in a log folder, so that a sheet is quickly typed in.";
  c.run = [&around, words](Console& console) {
    const std::string format = words->get_format();
    const Paper paper = words->get_paper();
    if (format == "pdf" && !words->out) throw Error{Errc::usage, "a PDF goes to a file: --out is missing"};
    Database db = open_to_read(around.database());
    const ReportData data = report_data(db, around.clock.now_s(), words->request());
    const FleetReview& r = data.review;
    const ReviewView view{
        r.as_of,   program_version(), r.reg,          r.findings,
        r.vessels, r.states,          words->scope(), words->known ? words->request().known : std::nullopt,
        r.outcomes};
    const Report sheets = log_sheets({view, r.logs, data.records});
    const std::string bytes = format == "pdf"   ? pdf_pages(sheets, paper)
                              : format == "txt" ? sheets_text(sheets)
                                                : html_page(sheets);
    if (!words->out) {
      console.out(bytes);
      return kDone;
    }
    write_report(*words->out, bytes, words->overwrite);
    console.out(fmt::format("{}\n", *words->out));
    return kDone;
  };
}

}  // namespace shaftlog
