#pragma once

#include "analysis/advise.hpp"
#include "domain/register.hpp"
#include "reports/report_document.hpp"
#include "reports/table.hpp"

#include <optional>
#include <span>
#include <string>
#include <string_view>

namespace shaftlog {

/// Advice as the reports see it. Holds references only, but for its scope.
struct AdviceView {
  Instant as_of{};
  const Register& reg;
  std::span<const ShaftAdvice> shafts;
  std::string scope;  ///< "fleet", "vessel T-01"
  std::span<const OrderLine> order;
  double order_days = 0;          ///< 0: not asked for
  std::optional<double> pack_kg;  ///< what a pack holds; empty: not told
  std::span<const PeerLoss> peers;
  std::size_t peers_compared = 0;
  bool with_peers = false;
  bool with_all = true;  ///< tell every shaft, also where nothing is to be changed
  std::span<const PeerAlarms> alarm_peers = {};
  std::size_t alarm_peers_compared = 0;
};

std::string advice_text(const AdviceView& view, const TextStyle& style);
/// The same as blocks, for a page that is served.
Report advice_blocks(const AdviceView& view);
std::string advice_json(const AdviceView& view);
/// One row a shaft.
std::string advice_csv(const AdviceView& view);
/// One row a vessel and grease.
std::string order_csv(const AdviceView& view);
/// One row a shaft that was compared.
std::string peers_csv(const AdviceView& view);
/// One row a lubricator whose alarms were compared.
std::string alarm_peers_csv(const AdviceView& view);

}  // namespace shaftlog
