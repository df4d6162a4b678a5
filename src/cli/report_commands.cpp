#include "app/maintenance.hpp"
#include "app/report.hpp"
#include "base/error.hpp"
#include "base/text.hpp"
#include "cli/guard.hpp"
#include "cli/program.hpp"
#include "cli/view_words.hpp"
#include "reports/chart_files.hpp"
#include "reports/html_page.hpp"
#include "reports/pdf_pages.hpp"
#include "reports/report_content.hpp"
#include "reports/workbook_content.hpp"
#include "reports/workbook_file.hpp"

#include <fmt/format.h>

namespace shaftlog {

namespace {

enum class Format : std::uint8_t { html, pdf, svg, xlsx };

struct ReportWords : ViewWords {
  std::optional<std::string> out, format, paper, shaft;
  bool overwrite = false;

  void add_report_to(Command& c) {
    c.option("--as-of", "TIME", as_of, "only what had happened by then; a day is its noon in UTC; else now");
    c.option("--known", "TIME", known, "only what was recorded by then");
    c.option("--out", "FILE", out, "where to; else an HTML page goes to standard output");
    c.option("--format", "FORMAT", format,
             "html, pdf, xlsx: a workbook of sheets, or svg: each chart a file, in the folder --out; else by FILE's "
             "end");
    c.option("--paper", "PAPER", paper, "with pdf: a4 or letter; else a4");
    c.flag("--overwrite", overwrite, "replace a file that is there already");
    c.option("--threads", "N", threads, "threads to compute with; else as many as the machine has");
  }

  [[nodiscard]] Format get_format() const {
    if (!format) {
      if (!out) return Format::html;
      const std::string end = file_end(*out, {"html", "pdf", "xlsx"});
      if (end == "xlsx") return Format::xlsx;
      return end == "pdf" ? Format::pdf : Format::html;
    }
    if (*format == "html") return Format::html;
    if (*format == "pdf") return Format::pdf;
    if (*format == "svg") return Format::svg;
    if (*format == "xlsx") return Format::xlsx;
    throw Error{Errc::usage, fmt::format("--format: \"{}\" is not html, pdf, svg or xlsx", shown(*format))};
  }

  [[nodiscard]] Paper get_paper() const {
    if (!paper || *paper == "a4") return Paper::a4;
    if (*paper == "letter") return Paper::letter;
    throw Error{Errc::usage, fmt::format("--paper: \"{}\" is not a4 or letter", shown(*paper))};
  }
};

std::string_view missing_out(Format format) {
  if (format == Format::pdf) return "a PDF goes to a file: --out is missing";
  if (format == Format::xlsx) return "a workbook goes to a file: --out is missing";
  return "pictures go to a folder: --out is missing";
}

/// Whole, to the file that is named.
int write_out(Console& console, const ReportWords& words, const std::string& bytes) {
  write_report(*words.out, bytes, words.overwrite);
  console.out(fmt::format("{}\n", *words.out));
  return kDone;
}

int tell_report(Console& console, const Report& report, const ReportWords& words) {
  const Format format = words.get_format();
  if (format == Format::html && !words.out) {
    console.out(html_page(report));
    return kDone;
  }
  if (format == Format::svg) {
    make_report_folder(*words.out);
    for (const ChartFile& f : chart_files(report)) {
      write_report(std::filesystem::path{*words.out} / f.name, f.svg, words.overwrite);
      console.out(fmt::format("{}\n", (std::filesystem::path{*words.out} / f.name).string()));
    }
    return kDone;
  }
  return write_out(console, words, format == Format::pdf ? pdf_pages(report, words.get_paper()) : html_page(report));
}

/// Reviews, makes the report with `make`, and writes it.
template <class Make, class MakeBook>
int run_report(Console& console, const Surroundings& around, const ReportWords& words, const Make& make,
               const MakeBook& make_book) {
  // What is wrong with the words is told before the work.
  const Format format = words.get_format();
  if (format != Format::html && !words.out) throw Error{Errc::usage, std::string{missing_out(format)}};
  (void)words.get_paper();
  const ReviewRequest request = words.request();
  Database db = open_to_read(around.database());
  const ReportData data = report_data(db, around.clock.now_s(), request, words.shaft.value_or(""));
  const FleetReview& r = data.review;
  const ReviewView view{r.as_of,  program_version(), r.reg,         r.findings, r.vessels,
                        r.states, words.scope(),     request.known, r.outcomes};
  const ReportInput in{view, r.logs, data.records};
  if (format == Format::xlsx) return write_out(console, words, workbook_bytes(make_book(in, data)));
  return tell_report(console, make(in, data), words);
}

}  // namespace

void add_report_commands(Command& root, const Surroundings& around) {
  Command& report = root.add("report", "a page to print or to send on: fleet, vessel or shaft");
  report.more =
      "An HTML page needs no network and no other file, and prints on A4 and Letter. The same records, time and "
      "version "
      "give the same bytes.";

  Command& fleet = report.add("fleet", "what asks for attention, every ship, grease, planned and done");
  const auto fleet_words = std::make_shared<ReportWords>();
  fleet.option("--group", "NAME", fleet_words->group, "only this group of sister vessels");
  fleet_words->add_report_to(fleet);
  fleet.run = [&around, fleet_words](Console& console) {
    return run_report(
        console, around, *fleet_words, [](const ReportInput& in, const ReportData&) { return fleet_report(in); },
        [](const ReportInput& in, const ReportData&) { return fleet_workbook(in, false); });
  };

  Command& vessel = report.add("vessel", "one ship, its lubricators and shafts");
  const auto vessel_words = std::make_shared<ReportWords>();
  vessel.argument("VESSEL", vessel_words->vessel, "the ship", true);
  vessel_words->add_report_to(vessel);
  vessel.run = [&around, vessel_words](Console& console) {
    return run_report(
        console, around, *vessel_words, [](const ReportInput& in, const ReportData&) { return vessel_report(in); },
        [](const ReportInput& in, const ReportData&) { return fleet_workbook(in, true); });
  };

  Command& shaft = report.add("shaft", "one shaft: findings, charts on one time axis, records");
  const auto shaft_words = std::make_shared<ReportWords>();
  shaft.argument("VESSEL", shaft_words->vessel, "the ship", true);
  shaft.argument("SHAFT", shaft_words->shaft, "the shaft", true);
  shaft_words->add_report_to(shaft);
  shaft.run = [&around, shaft_words](Console& console) {
    return run_report(
        console, around, *shaft_words,
        [](const ReportInput& in, const ReportData& data) { return shaft_report(in, data.shaft, data.entries); },
        [](const ReportInput& in, const ReportData& data) { return shaft_workbook(in, data.shaft, data.entries); });
  };
}

}  // namespace shaftlog
