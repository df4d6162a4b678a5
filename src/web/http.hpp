#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace shaftlog::web {

/// Names and texts in the order in which they came.
using Fields = std::vector<std::pair<std::string, std::string>>;
/// The first of that name; empty when there is none.
std::string_view value_of(const Fields& fields, std::string_view name) noexcept;

enum class Method { get, post };

/// Who asks, as far as the door knows.
enum class Role {
  nobody,          ///< has not signed in
  anyone,          ///< at the machine itself, where no accounts are kept: may do everything
  reader,          ///< sees everything, changes nothing
  crew,            ///< sees one ship and keeps its log
  chief_engineer,  ///< the same, and verifies its records
  superintendent   ///< sees everything and sees to findings; a ship's own records are the ship's
};
struct Who {
  Role role = Role::nobody;
  std::string name;    ///< empty: anyone
  std::string vessel;  ///< code, of those aboard
};

struct Request {
  Method method = Method::get;
  std::string path;  ///< unescaped; begins with '/'
  Fields query, form;
  Fields headers;       ///< names in lower case
  std::string address;  ///< of the other side
  Who who;
  std::string session;  ///< what the cookie holds; empty: none
  bool wants_json = false;

  [[nodiscard]] std::string_view header(std::string_view name) const noexcept { return value_of(headers, name); }
};

struct Response {
  int status = 200;
  std::string type = "text/html; charset=utf-8";
  std::string body;
  Fields headers;
};

Response page(std::string html, int status = 200);
Response json(std::string text, int status = 200);
/// See Other: what follows a form that was kept.
Response see_other(std::string path);
/// A file to be saved under that name.
Response download(std::string bytes, std::string type, std::string_view name);

/// "%2F" and, in forms, "+"; empty when an escape is broken or the result is no UTF-8 text.
std::optional<std::string> unescaped(std::string_view text, bool is_form);
std::string escaped_url(std::string_view text);
/// application/x-www-form-urlencoded. Empty when it is broken or has more than `most` fields.
std::optional<Fields> parse_form(std::string_view text, std::size_t most = 400);
/// A path as it came: begins with '/', no escape is broken, no part is "." or "..", no NUL, no backslash.
std::optional<std::string> parse_path(std::string_view text);
/// The value of one cookie of a Cookie header; empty when it is not there.
std::string_view cookie_of(std::string_view header, std::string_view name) noexcept;
/// "localhost" of "localhost:8480", "::1" of "[::1]:8480"; empty when it is no host.
std::string_view host_of(std::string_view header) noexcept;
/// The address that the nearest proxy saw: of the last X-Forwarded-For the last one, for what stands before it is what
/// that proxy was told. Empty when that is no IPv4 or IPv6 address.
std::string forwarded_address(const Fields& headers);
/// Whether an Origin header names this server, as the browser called it.
bool is_origin_of(std::string_view origin, std::string_view host) noexcept;

}  // namespace shaftlog::web
