#include "support/run.hpp"

#include <map>

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

using namespace shaftlog::test;
using Catch::Matchers::Contains;
using nlohmann::json;

namespace {

std::map<std::string, std::string> files_of(const std::filesystem::path& folder) {
  std::map<std::string, std::string> out;
  for (const auto& entry : std::filesystem::recursive_directory_iterator{folder})
    if (entry.is_regular_file()) out[entry.path().lexically_relative(folder).string()] = read_text(entry.path());
  return out;
}

std::ptrdiff_t lines(const std::string& text) { return std::count(text.begin(), text.end(), '\n'); }

}  // namespace

TEST_CASE("evidence: the same folder byte for byte, and its sums hold for sha256sum", "[e2e][history]") {
  const Aboard a;
  a.ok({"demo"});
  const std::vector<std::string> call{"history", "quillmark", "fin_stbd", "--until", "2026-09-30", "--evidence"};
  const auto with = [&](const std::string& folder) {
    std::vector<std::string> args = call;
    args.push_back(folder);
    return args;
  };
  a.ok(with("one"));
  a.ok(with("two"), "", {"TZ=Pacific/Chatham", "LC_ALL=de_DE.UTF-8"});
  const auto one = files_of(a.dir / "one");
  CHECK(one == files_of(a.dir / "two"));
  CHECK(one.size() >= 30);
  const Ran sums = run_program_file("/usr/bin/sha256sum", {"-c", "--strict", "SHA256SUMS"}, a.dir / "one");
  INFO(sums.out << sums.err);
  CHECK(sums.code == 0);
  CHECK(lines(sums.out) == static_cast<std::ptrdiff_t>(one.size()) - 1);
  // A figure that is changed is found out.
  write_text(a.dir / "one/series/fill.csv", one.at("series/fill.csv") + "x");
  CHECK(run_program_file("/usr/bin/sha256sum", {"-c", "SHA256SUMS"}, a.dir / "one").code == 1);

  // Unaltered: what was corrected stands beside what replaced it.
  const std::string& greasings = one.at("records/greasings.csv");
  CHECK_THAT(greasings, Contains("quillmark,fin_stbd,2025-03-24T12:26-03:00,1500,cm3") &&
                            Contains("quillmark,fin_stbd,2025-03-24T12:26-03:00,150,cm3"));
  for (const char* name :
       {"README.txt", "formulas.txt", "dossier.txt", "dossier.json", "dossier.html", "series/hours.csv",
        "series/order.csv", "series/told.csv", "series/washout.csv", "records/shafts.csv"})
    CHECK(one.count(name) == 1);
  CHECK_THAT(one.at("README.txt"), Contains("sha256sum -c SHA256SUMS") && Contains("shaftlog 0."));
}

TEST_CASE("evidence: the records alone make the dossier anew", "[e2e][history]") {
  const Aboard a;
  a.ok({"demo"});
  a.ok({"history", "fenhollow", "rudder_stock", "--until", "2026-09-30", "--evidence", "out"});
  a.ok({"--db", "check.db", "init"});
  a.ok({"--db", "check.db", "import", "out/records"});
  const json before = json::parse(read_text(a.dir / "out/dossier.json"));
  const json after = json::parse(
      a.ok({"--db", "check.db", "history", "fenhollow", "rudder_stock", "--until", before.at("as_of"), "--json"}));
  CHECK(after.at("as_of") == before.at("as_of"));
  CHECK(after.at("timeline").size() == before.at("timeline").size());
  CHECK(after.at("changes").size() == before.at("changes").size());
  // Other ships teach what is usual; without them the total moves less than its own range.
  const auto total = [](const json& d, const char* which) {
    return d.at("bearings")[0].at("starved_h").at(which).get<double>();
  };
  CHECK(total(after, "best") > total(before, "least"));
  CHECK(total(after, "best") < total(before, "most"));
}

TEST_CASE("evidence: the records of a ship with lubricators can be read back, each table its own rows",
          "[e2e][history]") {
  const Aboard a;
  a.ok({"demo"});
  a.ok({"history", "tarnwick", "fin_aft_port", "--until", "2026-09-30", "--evidence", "out"});
  a.ok({"--db", "check.db", "init"});
  a.ok({"--db", "check.db", "import", "out/records"});
  a.ok({"export", "whole", "--vessel", "tarnwick"});
  const auto rows = [&](const std::string& folder, const std::string& name) {
    return read_text(a.dir / (folder + "/" + name));
  };
  for (const auto& entry : std::filesystem::directory_iterator{a.dir / "whole"}) {
    const std::string name = entry.path().filename().string();
    INFO(name);
    CHECK(lines(rows("out/records", name)) == lines(rows("whole", name)));
  }
}

TEST_CASE("evidence: a folder that holds something is left alone", "[e2e][history]") {
  const Aboard a;
  a.ok({"demo"});
  write_text(a.dir / "full/letter.txt", "keep me\n");
  const Ran ran = a({"history", "fenhollow", "rudder_stock", "--evidence", "full"});
  CHECK(ran.code == 3);
  CHECK(ran.err == "shaftlog: full: holds something already; expected an empty folder or a new one\n");
  CHECK(files_of(a.dir / "full").size() == 1);
}
