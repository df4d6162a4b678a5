#include "app/plain.hpp"

#include "analysis/parallel.hpp"
#include "app/asked.hpp"
#include "storage/log_repository.hpp"
#include "storage/register_repository.hpp"

#include <mutex>
#include <utility>

namespace shaftlog {

PlainReview::PlainReview(Database& db, Instant now, const ReviewRequest& request)
    : db_{&db}, view_{db}, request_{request}, as_of_{request.as_of.value_or(now)}, reg_{RegisterRepository{db}.load()} {
  require_known(reg_, request_);
}

void PlainReview::each(const Tell& tell, const Put& put) const {
  std::vector<VesselId> asked;
  for (const Vessel& v : reg_.vessels)
    if (is_asked(v, request_)) asked.push_back(v.id);
  const LogRepository log{*db_};
  std::mutex one_reads;
  const auto load = [&](VesselId vessel) {
    const std::lock_guard lock{one_reads};
    return log.load_vessel(vessel, as_of_, request_.known);
  };
  in_order(
      asked.size(), threads_of(request_),
      [&](std::size_t i) { return tell(list_plain_series(load(asked[i]), as_of_)); },
      [&](const std::string& text) { put(text); });
}

}  // namespace shaftlog
