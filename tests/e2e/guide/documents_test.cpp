// Links lead somewhere, method pages say what a reader needs to check a figure, and source keys are in references.bib.
#include "support/run.hpp"

#include <algorithm>
#include <regex>

#include <catch2/catch.hpp>

using namespace shaftlog::test;

namespace {

const std::filesystem::path kDocs = std::filesystem::path{SHAFTLOG_SOURCE_DIR} / "docs";

std::vector<std::filesystem::path> pages_under(const std::filesystem::path& folder) {
  std::vector<std::filesystem::path> out;
  for (const auto& entry : std::filesystem::recursive_directory_iterator{folder})
    if (entry.path().extension() == ".md") out.push_back(entry.path());
  std::sort(out.begin(), out.end());
  return out;
}

std::vector<std::string> all_of(const std::string& text, const char* pattern) {
  const std::regex re{pattern};
  std::vector<std::string> out;
  for (std::sregex_iterator it{text.begin(), text.end(), re}, end; it != end; ++it) out.push_back((*it)[1].str());
  return out;
}

}  // namespace

TEST_CASE("documents: every link between pages leads to a file", "[guide]") {
  std::size_t seen = 0;
  for (const std::filesystem::path& page : pages_under(kDocs)) {
    for (std::string link : all_of(read_text(page), R"(\]\(([^)\s]+)\))")) {
      if (link.starts_with("http") || link.starts_with("#")) continue;
      link = link.substr(0, link.find('#'));
      INFO(page.filename().string() << ": " << link);
      CHECK(std::filesystem::exists(page.parent_path() / link));
      ++seen;
    }
  }
  CHECK(seen > 50);
}

TEST_CASE("documents: every method page states question, assumptions, formula, unit, failure, source and test",
          "[guide]") {
  const std::string index = read_text(kDocs / "methods/README.md");
  const std::string bib = read_text(kDocs / "methods/references.bib");
  // Pages about the washout and the schedule name these parts by other words.
  static const std::vector<std::pair<std::string, std::string>> kParts{
      {"question", "[Qq]uestion"},  {"assumptions", "Assum|Model"},
      {"formula", "Formula|Model"}, {"units", "[Uu]nits?[:.*]|cm3/h"},
      {"failure", "[Ff]ail"},       {"source", "Source|no source"},
      {"test", "[Tt]est"}};
  for (const std::filesystem::path& page : pages_under(kDocs / "methods")) {
    const std::string text = read_text(page);
    const std::string name = page.filename().string();
    INFO(name);
    for (const std::string& key : all_of(text, R"(\[([a-z]+(?:_[a-z0-9]+)*_?\d{4}|nist[a-z0-9_]*|mil_hdbk_189)\])")) {
      INFO(key);
      CHECK(bib.find('{' + key + ',') != std::string::npos);
    }
    if (name == "README.md") continue;
    CHECK(index.find('(' + name + ')') != std::string::npos);
    for (const auto& [part, pattern] : kParts) {
      INFO(part);
      CHECK(std::regex_search(text, std::regex{pattern}));
    }
  }
}
