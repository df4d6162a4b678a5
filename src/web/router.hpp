#pragma once

#include "web/http.hpp"

#include <functional>
#include <string>
#include <string_view>
#include <vector>

namespace shaftlog::web {

/// What a route asks of whoever comes.
enum class Needs {
  nothing,  ///< the door itself: style, sign-in
  look,     ///< sees pages
  record,   ///< keeps a ship's log: crew
  verify,   ///< says that records are right: chief engineers
  see_to    ///< says something about findings: superintendents
};
bool may(const Who& who, Needs needs) noexcept;
/// Whether they are of one ship and see no other.
bool is_aboard(const Who& who) noexcept;
/// Whether pages and records of that ship are for them.
bool may_see(const Who& who, std::string_view vessel) noexcept;

/// What stood in the places of a pattern, in order.
using Places = std::vector<std::string>;
using Handler = std::function<Response(const Request&, const Places&)>;

/// Pages by method and pattern: "/ship/*/shaft/*" takes any one part for each star.
class Router {
 public:
  void add(Method method, std::string_view pattern, Needs needs, Handler handler);

  struct Match {
    const Handler* handler = nullptr;  ///< null: there is no such page
    Needs needs = Needs::look;
    Places places;
    bool has_other_method = false;
  };
  [[nodiscard]] Match find(Method method, std::string_view path) const;

 private:
  struct Route {
    Method method;
    std::vector<std::string> parts;
    Needs needs;
    Handler handler;
  };
  std::vector<Route> routes_;
};

}  // namespace shaftlog::web
