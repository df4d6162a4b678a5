#include "app/demo.hpp"
#include "app/export.hpp"
#include "app/import.hpp"
#include "app/maintenance.hpp"
#include "base/error.hpp"
#include "cli/guard.hpp"
#include "cli/program.hpp"
#include "reports/csv_text.hpp"
#include "reports/json.hpp"

#include <fmt/format.h>

namespace shaftlog {

namespace {

/// One line that is written over; only on a terminal.
class ProgressLine {
 public:
  explicit ProgressLine(Console& console) : console_{&console} {}
  ProgressLine(const ProgressLine&) = delete;
  ProgressLine& operator=(const ProgressLine&) = delete;
  ~ProgressLine() {
    if (is_shown_) console_->err("\r\x1b[K");
  }
  [[nodiscard]] std::function<void(const ImportProgress&)> take() {
    if (!console_->shows_progress()) return {};
    return [this](const ImportProgress& p) {
      is_shown_ = true;
      const std::uint64_t pct = p.bytes_total == 0 ? 100 : p.bytes_done * 100 / p.bytes_total;
      console_->err(fmt::format("\r\x1b[K{:>3} %  {}  {} rows", pct, p.file, p.rows));
    };
  }

 private:
  Console* console_;
  bool is_shown_ = false;
};

std::string counts_text(const ImportResult& r, const TextStyle& style) {
  TextTable table{{{"file"},
                   {"rows", Align::right},
                   {"added", Align::right},
                   {"known", Align::right},
                   {"replaced", Align::right},
                   {"refused", Align::right}}};
  for (const ImportedFile& f : r.files)
    table.add({f.name, std::to_string(f.rows), std::to_string(f.added), std::to_string(f.known),
               std::to_string(f.replaced), std::to_string(f.refused)});
  return table.text(style);
}

std::string import_json(const ImportResult& r) {
  JsonWriter json;
  json.begin_object();
  json.key("kept").boolean(r.is_kept);
  json.key("files").begin_list();
  for (const ImportedFile& f : r.files) {
    json.begin_object();
    json.key("file").text(f.name);
    json.key("rows").integer(static_cast<std::int64_t>(f.rows));
    json.key("added").integer(static_cast<std::int64_t>(f.added));
    json.key("known").integer(static_cast<std::int64_t>(f.known));
    json.key("replaced").integer(static_cast<std::int64_t>(f.replaced));
    json.key("refused").integer(static_cast<std::int64_t>(f.refused));
    json.end_object();
  }
  json.end_list();
  const auto write_faults = [&json](std::string_view key, const std::vector<Fault>& faults, std::uint64_t count) {
    json.key(fmt::format("{}_count", key)).integer(static_cast<std::int64_t>(count));
    json.key(fmt::format("{}s", key)).begin_list();
    for (const Fault& f : faults) {
      json.begin_object();
      json.key("file").text_or_null(f.file);
      json.key("line");
      if (f.line == 0)
        json.null();
      else
        json.integer(static_cast<std::int64_t>(f.line));
      json.key("column").text_or_null(f.column);
      json.key("value").text(f.value);
      json.key("text").text(f.text());
      json.end_object();
    }
    json.end_list();
  };
  write_faults("fault", r.faults, r.fault_count);
  write_faults("warning", r.warnings, r.warning_count);
  json.key("register_changes").texts(r.register_changes);
  json.key("rejects").begin_list();
  for (const std::filesystem::path& p : r.rejects) json.text(p.string());
  json.end_list();
  json.end_object();
  return json.take();
}

std::string left_out(std::uint64_t count, std::size_t listed, std::string_view what) {
  return count > listed ? fmt::format("and {} more {}\n", count - listed, what) : "";
}

int tell_import(Console& console, const ImportResult& r, bool dry_run, bool as_json) {
  if (as_json) {
    console.out(import_json(r));
    return r.fault_count == 0 ? kDone : kBadData;
  }
  std::string faults;
  for (const Fault& f : r.faults) faults += f.text() + '\n';
  faults += left_out(r.fault_count, r.faults.size(), "faults");
  for (const Fault& f : r.warnings) faults += "odd: " + f.text() + '\n';
  faults += left_out(r.warning_count, r.warnings.size(), "odd lines");
  console.out(counts_text(r, console.style()));
  for (const std::string& c : r.register_changes) console.out("replaced: " + c + '\n');
  for (const std::filesystem::path& p : r.rejects) console.out(fmt::format("refused lines: {}\n", p.string()));
  if (dry_run)
    console.out(r.fault_count == 0 ? "a dry run: nothing was changed\n"
                                   : "a dry run: nothing was changed, and nothing would be kept as it is\n");
  else if (!r.is_kept)
    console.out("nothing was kept, because lines are bad; --keep-good keeps the good ones\n");
  if (!faults.empty()) console.err(faults);
  return r.fault_count == 0 ? kDone : kBadData;
}

struct ImportWords {
  std::vector<std::string> from;
  bool dry_run = false, keep_good = false, update_register = false, json = false;
  std::optional<std::string> rejects, by, most_faults;
};

void add_import(Command& root, const Surroundings& around) {
  Command& c = root.add("import", "read a log folder, or single files of one, into the database");
  const auto words = std::make_shared<ImportWords>();
  c.arguments("FROM", words->from, "a folder with vessels.csv, shafts.csv, hours.csv ..., or such files");
  c.flag("--dry-run", words->dry_run, "say what would happen, keep nothing");
  c.flag("--keep-good", words->keep_good, "keep the good lines and write the bad ones to the rejects folder");
  c.option("--rejects", "FOLDER", words->rejects, "where --keep-good writes the bad lines; else FROM-rejects");
  c.flag("--update-register", words->update_register, "let a row of the register replace one that says something else");
  c.option("--by", "WHO", words->by, "who changes the register");
  c.flag("--json", words->json, "answer as JSON");
  c.more =
      "Every file's times are the ship's own local time unless they say otherwise. Importing a file twice adds "
      "nothing. When a line is bad nothing of the whole import is kept, and the exit code is 3.";
  c.run = [&around, words](Console& console) {
    if (words->from.empty()) throw Error{Errc::usage, "import needs a log folder, or files of one"};
    ImportOptions options;
    std::error_code ignored;
    const std::filesystem::path first = words->from.front();
    if (words->from.size() == 1 && (std::filesystem::is_directory(first, ignored) || first.extension() != ".csv"))
      options.folder = first;
    else
      options.files.assign(words->from.begin(), words->from.end());
    options.dry_run = words->dry_run;
    options.keep_good = words->keep_good;
    options.update_register = words->update_register;
    options.by = Surroundings::by(words->by);
    if (words->rejects && !words->keep_good) throw Error{Errc::usage, "--rejects goes with --keep-good"};
    if (words->keep_good) {
      std::filesystem::path plain = first;
      if (!plain.has_filename()) plain = plain.parent_path();  // "log/"
      options.rejects_folder =
          words->rejects ? std::filesystem::path{*words->rejects} : std::filesystem::path{plain.string() + "-rejects"};
    }
    Database db = open_to_write(around.database());
    ImportResult result;
    {
      ProgressLine line{console};
      options.progress = line.take();
      result = import_folder(db, around.clock, options);
    }
    return tell_import(console, result, words->dry_run, words->json);
  };
}

struct ExportWords {
  std::optional<std::string> folder;
  std::vector<std::string> vessels;
  bool overwrite = false, json = false, csv = false;
};

void add_export(Command& root, const Surroundings& around) {
  Command& c = root.add("export", "write the register and the whole log as a log folder");
  const auto words = std::make_shared<ExportWords>();
  c.argument("FOLDER", words->folder, "where to; made when it is not there", true);
  c.options_of("--vessel", "CODE", words->vessels, "only this vessel; may be given several times");
  c.flag("--overwrite", words->overwrite, "write into a folder that holds something already");
  c.flag("--json", words->json, "answer as JSON");
  c.flag("--csv", words->csv, "answer as CSV");
  c.run = [&around, words](Console& console) {
    Database db = open_to_read(around.database());
    const ExportResult r = export_folder(db, *words->folder, {words->vessels, words->overwrite});
    if (words->json) {
      JsonWriter json;
      json.begin_object().key("files").begin_list();
      for (const ExportedFile& f : r.files) {
        json.begin_object();
        json.key("file").text(f.name);
        json.key("rows").integer(static_cast<std::int64_t>(f.rows));
        json.end_object();
      }
      json.end_list().end_object();
      console.out(json.take());
    } else if (words->csv) {
      console.out(csv_row({"file", "rows"}));
      for (const ExportedFile& f : r.files) console.out(csv_row({f.name, std::to_string(f.rows)}));
    } else {
      TextTable table{{{"file"}, {"rows", Align::right}}};
      for (const ExportedFile& f : r.files) table.add({f.name, std::to_string(f.rows)});
      console.out(table.text(console.style()));
    }
    return kDone;
  };
}

struct DemoWords {
  std::optional<std::string> folder;
};

void add_demo(Command& root, const Surroundings& around) {
  Command& c = root.add("demo", "make a database with a fleet of invented ships in it, each with a story");
  const auto words = std::make_shared<DemoWords>();
  c.option("--folder", "FOLDER", words->folder, "write the fleet's log folder instead, to look at or to change");
  c.run = [&around, words](Console& console) {
    if (words->folder) {
      write_demo_folder(*words->folder);
      console.out(fmt::format("the demo fleet's log folder: {}\n", *words->folder));
      return kDone;
    }
    ImportResult r;
    {
      ProgressLine line{console};
      r = load_demo(around.database(), around.clock, line.take());
    }
    std::uint64_t rows = 0;
    for (const ImportedFile& f : r.files) rows += f.added;
    console.out(fmt::format("made {}: a fleet of invented ships, {} rows\nnext: shaftlog --db {} review --as-of {}\n",
                            around.database().string(), rows, around.database().string(), kDemoDay));
    return kDone;
  };
}

}  // namespace

void add_exchange_commands(Command& root, const Surroundings& around) {
  add_import(root, around);
  add_export(root, around);
  add_demo(root, around);
}

}  // namespace shaftlog
