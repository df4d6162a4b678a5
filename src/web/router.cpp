#include "web/router.hpp"

#include <algorithm>

namespace shaftlog::web {

namespace {

std::vector<std::string> parts_of(std::string_view path) {
  std::vector<std::string> out;
  path.remove_prefix(std::min<std::size_t>(1, path.size()));
  while (!path.empty()) {
    const std::size_t end = std::min(path.find('/'), path.size());
    out.emplace_back(path.substr(0, end));
    path.remove_prefix(std::min(end + 1, path.size()));
  }
  return out;
}

}  // namespace

bool may(const Who& who, Needs needs) noexcept {
  switch (who.role) {
    case Role::nobody:
      return needs == Needs::nothing;
    case Role::anyone:
      return true;
    case Role::reader:
      return needs == Needs::nothing || needs == Needs::look;
    case Role::crew:
      return needs != Needs::see_to && needs != Needs::verify;
    case Role::chief_engineer:
      return needs != Needs::see_to;
    case Role::superintendent:
      return needs != Needs::record && needs != Needs::verify;
  }
  return false;
}

bool is_aboard(const Who& who) noexcept { return who.role == Role::crew || who.role == Role::chief_engineer; }

bool may_see(const Who& who, std::string_view vessel) noexcept {
  return who.role != Role::nobody && (!is_aboard(who) || who.vessel == vessel);
}

void Router::add(Method method, std::string_view pattern, Needs needs, Handler handler) {
  routes_.push_back({method, parts_of(pattern), needs, std::move(handler)});
}

Router::Match Router::find(Method method, std::string_view path) const {
  const std::vector<std::string> parts = parts_of(path);
  Match match;
  for (const Route& r : routes_) {
    if (r.parts.size() != parts.size()) continue;
    Places places;
    bool fits = true;
    for (std::size_t i = 0; fits && i < parts.size(); ++i) {
      if (r.parts[i] == "*")
        places.push_back(parts[i]);
      else
        fits = r.parts[i] == parts[i];
    }
    if (!fits) continue;
    if (r.method != method) {
      match.has_other_method = true;
      continue;
    }
    match.handler = &r.handler;
    match.needs = r.needs;
    match.places = std::move(places);
    return match;
  }
  return match;
}

}  // namespace shaftlog::web
