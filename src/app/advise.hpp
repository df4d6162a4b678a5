#pragma once

#include "analysis/advise.hpp"
#include "app/review.hpp"
#include "storage/database.hpp"

#include <optional>
#include <string>
#include <vector>

namespace shaftlog {

struct AdviseRequest {
  ReviewRequest view;
  std::string shaft;          ///< only this one; needs `view.vessel`
  double order_days = 0;      ///< grease to order for so many days from as_of; 0: none
  bool with_peers = false;    ///< also the comparison within the groups, and of alarms
  double peers_level = 0.05;  ///< false discovery rate
};

struct Advice {
  Instant as_of{};
  Register reg;
  std::vector<ShaftAdvice> shafts;  ///< by vessel and shaft code
  std::vector<OrderLine> order;
  std::vector<PeerLoss> peers;  ///< of the vessels asked for, compared with all of their group
  std::size_t peers_compared = 0;
  std::vector<PeerAlarms> alarm_peers;  ///< of the vessels asked for, compared with all of the fleet
  std::size_t alarm_peers_compared = 0;
};

/// \throws Error{not_found} for what is not registered; Error{usage} for a shaft without its vessel
Advice advise(Database& db, Instant now, const AdviseRequest& request);

}  // namespace shaftlog
