#include "web/pages/layout.hpp"

#include "app/look_up.hpp"
#include "base/text.hpp"
#include "reports/json.hpp"

#include <algorithm>

namespace shaftlog::web {

std::string ship_path(std::string_view vessel) { return "/ship/" + escaped_url(vessel); }
std::string shaft_path(std::string_view vessel, std::string_view shaft) {
  return ship_path(vessel) + "/shaft/" + escaped_url(shaft);
}
std::string finding_path(const Uuid& id) { return "/finding/" + format_uuid(id); }
std::string record_path(const Uuid& id) { return "/record/" + format_uuid(id); }

std::string query_text(std::initializer_list<std::pair<std::string_view, std::string_view>> fields) {
  std::string out;
  for (const auto& [name, text] : fields) {
    if (text.empty()) continue;
    out += out.empty() ? '?' : '&';
    out += escaped_url(name) + "=" + escaped_url(text);
  }
  return out;
}

std::string link(std::string_view path, std::string_view text) {
  return fmt::format("<a href=\"{}\">{}</a>", html_escaped(path), html_escaped(text));
}

std::string token_field(Site& site, const Request& request) {
  return fmt::format("<input type=\"hidden\" name=\"form_token\" value=\"{}\">", site.token(request));
}

const Vessel& seen_vessel(const Register& reg, const Request& request, std::string_view code) {
  if (!may_see(request.who, code)) throw Error{Errc::not_found, "there is no such ship among those that are yours"};
  return get_vessel(reg, code);
}

std::optional<Instant> asked_moment(const Request& request) {
  const std::string_view text = value_of(request.query, "as_of");
  if (text.empty()) return std::nullopt;
  return get_moment("as_of", text, Zone::utc()).utc;
}

void require_parameters(const Request& request, std::span<const std::string_view> names) {
  for (const auto& [name, text] : request.query)
    if (std::find(names.begin(), names.end(), name) == names.end())
      throw Error{Errc::usage, fmt::format("{}: there is no such parameter; {}", shown(name),
                                           names.empty() ? std::string{"none is expected"}
                                                         : fmt::format("expected {}", fmt::join(names, ", ")))};
}

std::string day_tail(const Request& request) { return query_text({{"as_of", value_of(request.query, "as_of")}}); }

FleetView asked_fleet(Site& site, const Request& request) {
  const auto as_of = asked_moment(request);
  return as_of ? site.fleet_then(*as_of) : site.fleet();
}

std::string moment_text(Instant t) { return format_local({t, std::chrono::minutes{0}, Precision::minute}) + " UTC"; }

std::string framed(Site& site, const Request& request, const PageFrame& frame, std::string_view body) {
  Html out;
  out.raw("<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n");
  // The keys of a touch screen take room from the page: what stays at its foot stays in sight above them.
  out.raw(
      "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1, interactive-widget=resizes-content\">\n");
  out.add("<title>{}</title>\n", html_words(frame.title));
  out.raw("<link rel=\"stylesheet\" href=\"/a/style.css\">\n<link rel=\"icon\" href=\"data:,\">\n");
  out.raw("<script src=\"/a/entry.js\" defer></script>\n<script src=\"/a/chart.js\" defer></script>\n");
  // The account, so that what waits in the browser goes under the name of whoever typed it.
  out.add("</head>\n<body data-who=\"{}\">\n", html_escaped(request.who.name));
  out.raw(
      "<a class=\"skip\" href=\"#main\">To the page</a>\n<header class=\"bar\"><nav "
      "aria-label=\"Where you are\">");
  if (request.who.role != Role::nobody) {
    if (!is_aboard(request.who)) out.raw(link("/fleet", "Fleet"));
    for (const Crumb& c : frame.way) out.raw(" <span aria-hidden=\"true\">/</span> ").raw(link(c.path, c.text));
  }
  out.raw("</nav><span id=\"unsent\" role=\"status\" hidden></span>");
  if (!request.who.name.empty()) {
    out.raw("<form method=\"post\" action=\"/sign-out\">").raw(token_field(site, request));
    out.add("<button class=\"quiet\">{}: sign out</button></form>", html_escaped(request.who.name));
  }
  out.raw("</header>\n<main id=\"main\">\n");
  out.add("<h1>{}</h1>\n", html_words(frame.title));
  if (!frame.as_of.empty()) {
    out.add("<p class=\"subtitle\">As of {}.{}</p>\n", html_escaped(frame.as_of),
            frame.is_stale ? " <strong>Records came in since; they are being worked in.</strong>" : "");
  }
  out.raw(body);
  out.raw("</main>\n</body>\n</html>\n");
  return out.take();
}

int status_of(Errc code) noexcept {
  switch (code) {
    case Errc::usage:
      return 400;
    case Errc::not_found:
      return 404;
    case Errc::bad_data:
      return 422;
    case Errc::conflict:
      return 409;
    case Errc::busy:
      return 503;
    case Errc::damaged:
    case Errc::schema_too_new:
    case Errc::io:
      return 500;
  }
  return 500;
}

Response refusal(const Request& request, int status, std::string_view why) {
  if (request.wants_json) {
    JsonWriter out;
    out.begin_object();
    out.key("error").text(why);
    out.end_object();
    return json(out.take(), status);
  }
  Html out;
  out.raw(
      "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n<meta name=\"viewport\" "
      "content=\"width=device-width, initial-scale=1\">\n<title>Not done</title>\n<link rel=\"stylesheet\" "
      "href=\"/a/style.css\">\n<link rel=\"icon\" href=\"data:,\">\n</head>\n<body>\n<main id=\"main\">\n<h1>Not "
      "done</h1>\n<p role=\"alert\">");
  out.esc(why);
  out.raw(
      ".</p>\n<p>Nothing was changed. Go back in the browser, or <a href=\"/\">begin "
      "again</a>.</p>\n</main>\n</body>\n</html>\n");
  return page(out.take(), status);
}

}  // namespace shaftlog::web
