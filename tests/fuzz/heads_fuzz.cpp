#include "fuzz_input.hpp"
#include "web/http.hpp"

#include <algorithm>
#include <string>

using namespace shaftlog::web;

// Two headers, parted by a line end, each read as everything that a header may be.
extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const std::string_view text = as_text(data, size);
  const std::size_t end = std::min(text.find('\n'), text.size());
  const std::string first{text.substr(0, end)}, second{text.substr(std::min(end + 1, text.size()))};

  const std::string_view cookie = cookie_of(first, "shaftlog_session");
  must(cookie.find(';') == std::string_view::npos, "a cookie ends at its end");
  must(cookie.empty() || first.find("shaftlog_session=" + std::string{cookie}) != std::string::npos, "and was sent");
  must(cookie_of("shaftlog_session=ours; " + first, "shaftlog_session") == "ours", "the first of a name counts");

  const std::string_view host = host_of(first);
  must(host.size() <= first.size() && first.find(host) != std::string::npos, "a host is part of its header");
  must(first.starts_with('[') || host.find(':') == std::string_view::npos, "a port is no part of a host");

  const std::string address = forwarded_address({{"x-forwarded-for", first}});
  must(address.size() < 46 && first.ends_with(address), "an address is the last that is told");
  must(address.find_first_not_of("0123456789abcdefABCDEF:.") == std::string::npos, "and one by its letters");
  must(forwarded_address({{"x-forwarded-for", second}, {"x-forwarded-for", first}}) == address,
       "the nearest proxy is believed");
  must(forwarded_address({{"x-forwarded-for", second + ", 192.0.2.7"}}) == "192.0.2.7", "whatever it was told itself");

  must(!is_origin_of(first, second) || (first.ends_with(second) && first.starts_with("http")),
       "an origin names its host");
  must(second.empty() || is_origin_of("https://" + second, second), "ours is ours");
  return 0;
}
