#include "cli/view_words.hpp"

#include "app/look_up.hpp"
#include "base/decimal.hpp"
#include "base/error.hpp"
#include "base/text.hpp"

#include <algorithm>

#include <fmt/format.h>

namespace shaftlog {

std::string file_end(std::string_view file, std::initializer_list<std::string_view> ends) {
  const std::size_t point = file.find_last_of("./");
  std::string end = point == std::string_view::npos || file[point] != '.' ? "" : lower_case(file.substr(point + 1));
  if (std::find(ends.begin(), ends.end(), end) != ends.end()) return end;
  std::string known;
  for (const std::string_view e : ends) known += fmt::format("{}.{}", known.empty() ? "" : ", ", e);
  throw Error{Errc::usage, fmt::format("--out: \"{}\" ends in none of {}", shown(file), known)};
}

void ViewWords::add_to(Command& c) {
  c.option("--as-of", "TIME", as_of, "only what had happened by then; a day is its noon in UTC; else now");
  c.option("--known", "TIME", known, "only what was recorded by then");
  add_scope_to(c);
}

void ViewWords::add_scope_to(Command& c) {
  c.option("--vessel", "CODE", vessel, "only this vessel");
  c.option("--group", "NAME", group, "only this group of sister vessels");
  c.option("--threads", "N", threads, "threads to compute with; else as many as the machine has");
  c.flag("--json", json, "answer as JSON");
  c.flag("--csv", csv, "answer as CSV");
}

ReviewRequest ViewWords::request() const {
  ReviewRequest r;
  if (as_of) r.as_of = get_moment("--as-of", *as_of, Zone::utc()).utc;
  if (known) r.known = get_moment("--known", *known, Zone::utc()).utc;
  r.vessel = vessel.value_or("");
  r.group = group.value_or("");
  if (threads) {
    const auto n = parse_decimal(*threads);
    if (!n || n->scale != 0 || n->mantissa < 1 || n->mantissa > 1024)
      throw Error{Errc::usage, fmt::format("--threads: \"{}\" is not a number from 1 to 1024", shown(*threads))};
    r.threads = static_cast<unsigned>(n->mantissa);
  }
  if (json && csv) throw Error{Errc::usage, "either --json or --csv"};
  return r;
}

std::string ViewWords::scope() const {
  if (vessel) return "vessel " + *vessel;
  if (group) return "group " + *group;
  return "fleet";
}

}  // namespace shaftlog
