#include "reports/chart_files.hpp"

#include "base/text.hpp"
#include "reports/charts/svg.hpp"

#include <fmt/format.h>

namespace shaftlog {
namespace {

// Letters, digits and single hyphens: a name that every file system takes.
std::string file_word(const std::string& title) {
  std::string out;
  for (const char low : lower_case(title)) {
    const bool is_plain = (low >= 'a' && low <= 'z') || (low >= '0' && low <= '9');
    if (is_plain) {
      out += low;
    } else if (!out.empty() && out.back() != '-') {
      out += '-';
    }
    if (out.size() >= 40) break;
  }
  while (!out.empty() && out.back() == '-') out.pop_back();
  return out;
}

}  // namespace

std::vector<ChartFile> chart_files(const Report& report) {
  std::vector<ChartFile> out;
  for (const ReportBlock& b : report.blocks) {
    const auto* c = std::get_if<ChartBlock>(&b);
    if (c == nullptr) continue;
    out.push_back({fmt::format("{:02}-{}.svg", out.size() + 1, file_word(c->chart.title)),
                   svg_text(c->chart.drawing, {c->chart.title, c->chart.story, "chart", true})});
  }
  return out;
}

}  // namespace shaftlog
