#include "base/text.hpp"
#include "fuzz_input.hpp"
#include "web/http.hpp"
#include "web/router.hpp"

#include <algorithm>
#include <string>

using namespace shaftlog;
using namespace shaftlog::web;

namespace {

Router a_router() {
  Router r;
  const Handler nothing = [](const Request&, const Places&) { return Response{}; };
  for (const std::string_view p : {"/", "/a/*", "/ship/*", "/ship/*/shaft/*", "/ship/*/record/*", "/api/records/*"})
    r.add(Method::get, p, Needs::look, nothing);
  r.add(Method::post, "/ship/*/record/*", Needs::record, nothing);
  return r;
}

}  // namespace

// A path and a query, parted by the first '?', and a form: whatever is taken is text, leads nowhere else, and is the
// same when it is written and read again.
extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  static const Router router = a_router();
  const std::string_view text = as_text(data, size);
  const std::size_t mark = std::min(text.find('?'), text.size());
  if (const auto path = parse_path(text.substr(0, mark))) {
    must(path->front() == '/' && !find_bad_utf8(*path), "a path is text and begins with /");
    must(path->find('\\') == std::string::npos && (*path + '/').find("/../") == std::string::npos,
         "and leads nowhere else");
    must(unescaped(escaped_url(*path), false) == path, "escaped and unescaped it is the same");
    for (const Method method : {Method::get, Method::post})
      for (const std::string& place : router.find(method, *path).places)
        must(place.find('/') == std::string::npos && place != "..", "a place of a pattern is one part");
  }
  constexpr std::size_t kMost = 20;
  for (const std::string_view form : {text, text.substr(std::min(mark + 1, text.size()))}) {
    const auto fields = parse_form(form, kMost);
    if (!fields) continue;
    must(fields->size() <= kMost, "no more fields than are allowed");
    std::string again;
    for (const auto& [name, value] : *fields) {
      must(!find_bad_utf8(name) && !find_bad_utf8(value), "fields are text");
      again.append("&").append(escaped_url(name)).append("=").append(escaped_url(value));
      must(value_of(*fields, name).data() != nullptr, "a field is found by its name");
    }
    must(parse_form(again, kMost) == fields, "a form written again is the same");
  }
  return 0;
}
