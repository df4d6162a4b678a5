#include "app/side.hpp"

#include "base/text.hpp"

namespace shaftlog {

Side side_of(Database& db) { return SideRepository{db}.side(); }

void say_side(Database& db, const Clock& clock, Side side, const std::string& by) {
  require_name("by", by);
  WriteTransaction transaction{db};
  SideRepository{db}.say(side, clock.now_s(), by);
  transaction.commit();
}

}  // namespace shaftlog
