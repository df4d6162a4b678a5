#include "web/http.hpp"

#include "base/text.hpp"

#include <algorithm>
#include <arpa/inet.h>
#include <array>

#include <fmt/format.h>

namespace shaftlog::web {

namespace {

int digit(char c) noexcept {
  if (c >= '0' && c <= '9') return c - '0';
  if (c >= 'a' && c <= 'f') return c - 'a' + 10;
  if (c >= 'A' && c <= 'F') return c - 'A' + 10;
  return -1;
}

bool is_plain(char c) noexcept {
  return (c >= '0' && c <= '9') || (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || c == '-' || c == '_' ||
         c == '.' || c == '~';
}

}  // namespace

std::string_view value_of(const Fields& fields, std::string_view name) noexcept {
  for (const auto& [known, text] : fields)
    if (known == name) return text;
  return {};
}

Response page(std::string html, int status) { return {status, "text/html; charset=utf-8", std::move(html), {}}; }
Response json(std::string text, int status) { return {status, "application/json", std::move(text), {}}; }

Response see_other(std::string path) { return {303, "text/plain", "", {{"Location", std::move(path)}}}; }

Response download(std::string bytes, std::string type, std::string_view name) {
  return {200,
          std::move(type),
          std::move(bytes),
          {{"Content-Disposition", fmt::format("attachment; filename=\"{}\"", name)}}};
}

std::optional<std::string> unescaped(std::string_view text, bool is_form) {
  std::string out;
  out.reserve(text.size());
  for (std::size_t i = 0; i < text.size(); ++i) {
    if (text[i] == '+' && is_form) {
      out += ' ';
    } else if (text[i] == '%') {
      if (i + 2 >= text.size()) return std::nullopt;
      const int high = digit(text[i + 1]), low = digit(text[i + 2]);
      if (high < 0 || low < 0) return std::nullopt;
      out += static_cast<char>(high * 16 + low);
      i += 2;
    } else {
      out += text[i];
    }
  }
  if (find_bad_utf8(out)) return std::nullopt;
  return out;
}

std::string escaped_url(std::string_view text) {
  std::string out;
  for (const char c : text) {
    if (is_plain(c))
      out += c;
    else
      out += fmt::format("%{:02X}", static_cast<unsigned char>(c));
  }
  return out;
}

std::optional<Fields> parse_form(std::string_view text, std::size_t most) {
  Fields out;
  while (!text.empty()) {
    const std::size_t end = std::min(text.find('&'), text.size());
    const std::string_view pair = text.substr(0, end);
    text.remove_prefix(std::min(end + 1, text.size()));
    if (pair.empty()) continue;
    const std::size_t equals = std::min(pair.find('='), pair.size());
    auto name = unescaped(pair.substr(0, equals), true);
    auto value = unescaped(pair.substr(std::min(equals + 1, pair.size())), true);
    if (!name || !value || out.size() == most) return std::nullopt;
    out.emplace_back(std::move(*name), std::move(*value));
  }
  return out;
}

std::optional<std::string> parse_path(std::string_view text) {
  auto path = unescaped(text, false);
  if (!path || path->empty() || path->front() != '/') return std::nullopt;
  if (path->find('\\') != std::string::npos) return std::nullopt;
  for (std::size_t at = 0; at < path->size();) {
    const std::size_t end = std::min(path->find('/', at + 1), path->size());
    const std::string_view part = std::string_view{*path}.substr(at + 1, end - at - 1);
    if (part == "." || part == "..") return std::nullopt;
    at = end;
  }
  return path;
}

std::string_view cookie_of(std::string_view header, std::string_view name) noexcept {
  while (!header.empty()) {
    const std::size_t end = std::min(header.find(';'), header.size());
    std::string_view pair = header.substr(0, end);
    header.remove_prefix(std::min(end + 1, header.size()));
    pair.remove_prefix(std::min(pair.find_first_not_of(' '), pair.size()));
    if (pair.size() > name.size() && pair.starts_with(name) && pair[name.size()] == '=')
      return pair.substr(name.size() + 1);
  }
  return {};
}

std::string_view host_of(std::string_view header) noexcept {
  if (header.starts_with('[')) {
    const std::size_t end = header.find(']');
    if (end == std::string_view::npos) return {};
    const std::string_view rest = header.substr(end + 1);
    if (!rest.empty() && rest.front() != ':') return {};
    return header.substr(1, end - 1);
  }
  return header.substr(0, header.find(':'));
}

std::string forwarded_address(const Fields& headers) {
  std::string_view said;
  for (const auto& [name, text] : headers)
    if (name == "x-forwarded-for") said = text;
  said.remove_prefix(said.find_last_of(", \t") + 1);  // npos + 1 is 0
  std::string address{said};
  std::array<unsigned char, sizeof(::in6_addr)> bytes{};
  const bool is_one =
      address.find('\0') == std::string::npos && (::inet_pton(AF_INET, address.c_str(), bytes.data()) == 1 ||
                                                  ::inet_pton(AF_INET6, address.c_str(), bytes.data()) == 1);
  return is_one ? address : std::string{};
}

bool is_origin_of(std::string_view origin, std::string_view host) noexcept {
  for (const std::string_view scheme : {"http://", "https://"})
    if (origin.starts_with(scheme)) return !host.empty() && origin.substr(scheme.size()) == host;
  return false;
}

}  // namespace shaftlog::web
