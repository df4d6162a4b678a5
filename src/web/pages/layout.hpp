#pragma once

#include "base/error.hpp"
#include "base/time.hpp"
#include "domain/register.hpp"
#include "reports/html_page.hpp"
#include "web/site.hpp"

#include <initializer_list>
#include <span>
#include <string>
#include <string_view>
#include <utility>

#include <fmt/format.h>

namespace shaftlog::web {

/// HTML in the making. What is not known to be markup goes through esc().
class Html {
 public:
  Html& raw(std::string_view markup) {
    text_ += markup;
    return *this;
  }
  /// Words for people: "cm3" as cm³.
  Html& esc(std::string_view text) {
    text_ += html_words(text);
    return *this;
  }
  template <class... Values>
  Html& add(fmt::format_string<Values...> how, Values&&... values) {
    fmt::format_to(std::back_inserter(text_), how, std::forward<Values>(values)...);
    return *this;
  }
  [[nodiscard]] std::string take() { return std::move(text_); }

 private:
  std::string text_;
};

/// A step of the way from the fleet to this page.
struct Crumb {
  std::string text, path;
};

struct PageFrame {
  std::string title;
  std::vector<Crumb> way;  ///< without the page itself
  bool is_stale = false;   ///< of a review that records have overtaken
  std::string as_of;       ///< "2026-10-01 12:00 UTC"; empty: not of a moment
};
/// A whole page: head, way, the notice of records not sent yet, `body`, cautions' place.
std::string framed(Site& site, const Request& request, const PageFrame& frame, std::string_view body);

/// An error as a page or as JSON, whichever was asked for. Used for every refusal.
Response refusal(const Request& request, int status, std::string_view why);
int status_of(Errc code) noexcept;

std::string ship_path(std::string_view vessel);
std::string shaft_path(std::string_view vessel, std::string_view shaft);
std::string finding_path(const Uuid& id);
std::string record_path(const Uuid& id);
/// "?a=b&c=d", escaped; nothing for empty texts.
std::string query_text(std::initializer_list<std::pair<std::string_view, std::string_view>> fields);
/// <a href="path">text</a>
std::string link(std::string_view path, std::string_view text);
/// The hidden field that every form carries.
std::string token_field(Site& site, const Request& request);
/// \throws Error{not_found} also where the ship is not for them: whether it is there is not told
const Vessel& seen_vessel(const Register& reg, const Request& request, std::string_view code);
/// "as_of" of the address: empty, or a moment in UTC. \throws Error{usage}
std::optional<Instant> asked_moment(const Request& request);
/// \throws Error{usage} the address has a parameter that is none of those: one that is misspelt must not be taken for
/// none
void require_parameters(const Request& request, std::span<const std::string_view> names);
/// "?as_of=..." of the address, for links that stay with that day; nothing when the page is of now.
std::string day_tail(const Request& request);
/// The newest review, or that of the moment asked for.
FleetView asked_fleet(Site& site, const Request& request);
std::string moment_text(Instant t);

}  // namespace shaftlog::web
