#include "web/pages/layout.hpp"
#include "web/pages/pages.hpp"

#include <algorithm>

namespace shaftlog::web {

namespace {

/// Only an address of ours: never another site. Browsers take a backslash for a slash, and leave out tabs and ends of
/// lines: "/<tab>/other" would lead there.
std::string safe_path(std::string_view then) {
  const auto is_plain = [](char c) { return c > ' ' && c < '\x7f' && c != '\\'; };
  const bool is_ours =
      then.starts_with('/') && !then.starts_with("//") && std::all_of(then.begin(), then.end(), is_plain);
  return is_ours ? std::string{then} : "/";
}

Response form(Site& site, const Request& q, std::string_view then, std::string_view fault, int status) {
  Html h;
  if (!fault.empty()) h.add("<p class=\"fault\" role=\"alert\">{}.</p>\n", html_escaped(fault));
  h.raw("<form method=\"post\" action=\"/sign-in\" class=\"entry\">\n").raw(token_field(site, q));
  h.add("<input type=\"hidden\" name=\"then\" value=\"{}\">\n", html_escaped(then));
  h.raw("<label>Name <input name=\"name\" autocomplete=\"username\" required autofocus></label>\n");
  h.raw(
      "<label>Passphrase <input name=\"passphrase\" type=\"password\" autocomplete=\"current-password\" "
      "required></label>\n");
  h.raw("<button class=\"go\">Come in</button>\n</form>\n");
  return page(framed(site, q, {"Sign in", {}, false, {}}, h.take()), status);
}

}  // namespace

void add_sign_in_pages(Router& router, Site& site) {
  router.add(Method::get, "/sign-in", Needs::nothing, [&site](const Request& q, const Places&) {
    if (q.who.role != Role::nobody) return see_other(safe_path(value_of(q.query, "then")));
    return form(site, q, safe_path(value_of(q.query, "then")), {}, 200);
  });
  router.add(Method::post, "/sign-in", Needs::nothing, [&site](const Request& q, const Places&) {
    if (site.door().is_open()) return see_other("/");
    const std::string then = safe_path(value_of(q.form, "then"));
    const Door::Entered entered =
        site.door().enter(std::string{value_of(q.form, "name")}, std::string{value_of(q.form, "passphrase")}, q.address,
                          std::chrono::steady_clock::now());
    if (entered.wait.count() > 0) {
      Response r = form(site, q, then,
                        fmt::format("too many wrong tries; the next one counts in {} s", entered.wait.count()), 429);
      r.headers.emplace_back("Retry-After", fmt::format("{}", entered.wait.count()));
      return r;
    }
    if (entered.session.empty()) return form(site, q, then, "no account has that name and passphrase", 403);
    Response r = see_other(then);
    r.headers.emplace_back("Set-Cookie",
                           fmt::format("shaftlog_session={}; Path=/; HttpOnly; SameSite=Strict", entered.session));
    return r;
  });
  router.add(Method::post, "/sign-out", Needs::look, [&site](const Request& q, const Places&) {
    site.door().leave(q.session);
    Response r = see_other("/sign-in");
    r.headers.emplace_back("Set-Cookie", "shaftlog_session=; Path=/; HttpOnly; SameSite=Strict; Max-Age=0");
    return r;
  });
}

}  // namespace shaftlog::web
