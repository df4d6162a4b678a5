// kept_bench DATABASE N   reviews the fleet of a database, then keeps N greasings aboard its ships, each like the last
// of
//                         some shaft, and has the review brought up to date after each; prints processor time [ms] of
//                         that, how often the fleet taught something else, and whether the end is the review of
//                         everything
#include "app/kept_review.hpp"
#include "app/maintenance.hpp"
#include "base/error.hpp"
#include "base/uuid.hpp"
#include "storage/log_repository.hpp"

#include <algorithm>
#include <cstdio>
#include <cstdlib>
#include <ctime>
#include <exception>
#include <random>
#include <string>
#include <vector>

#include <fmt/format.h>

namespace {

using namespace shaftlog;

double processor_ms() { return 1000.0 * static_cast<double>(std::clock()) / CLOCKS_PER_SEC; }

std::string told(std::vector<double> ms) {
  if (ms.empty()) return "none";
  std::sort(ms.begin(), ms.end());
  return fmt::format("{} times, least {:.1f}, median {:.1f}, most {:.1f} ms", ms.size(), ms.front(), ms[ms.size() / 2],
                     ms.back());
}

Entry last_greasing(Database& db, const Vessel& vessel) {
  ListQuery query;
  query.vessel = vessel.id;
  query.kind = Kind::greasing;
  query.most = 4;
  const auto newest = LogRepository{db}.list(query);
  if (newest.empty()) throw Error{Errc::not_found, vessel.code + " was never greased"};
  return newest.front();
}

void measure(const char* file, int count) {
  Database db = open_to_write(file);
  KeptReview kept;
  ReviewRequest request;
  request.as_of = from_unix(1'800'000'000);
  double begun = processor_ms();
  const FleetReview first = kept.review(db, *request.as_of, 1);
  fmt::print("first review, {} ships, {} shafts: {:.0f} ms\n", first.reg.vessels.size(), first.reg.shafts.size(),
             processor_ms() - begun);
  std::mt19937 random{7};
  std::vector<double> alone, taught;
  for (int n = 0; n < count; ++n) {
    const auto at = std::uniform_int_distribution<std::size_t>{0, first.reg.vessels.size() - 1}(random);
    Entry e = last_greasing(db, first.reg.vessels[at]);
    e.head.id = make_uuid_v7(e.head.at.utc + std::chrono::seconds{n});
    e.head.at.utc += std::chrono::hours{24 * 20};
    e.head.recorded_at.utc = e.head.at.utc;
    e.head.replaces.reset();
    {
      WriteTransaction transaction{db};
      LogRepository{db}.add(e);
      transaction.commit();
    }
    begun = processor_ms();
    const FleetReview r = kept.review(db, *request.as_of, 1);
    (kept.work().has_learnt ? taught : alone).push_back(processor_ms() - begun);
    if (n + 1 < count) continue;
    const FleetReview whole = review(db, *request.as_of, request);
    const auto is_same_finding = [](const Finding& a, const Finding& b) {
      return a.id == b.id && a.summary == b.summary && a.urgency == b.urgency;
    };
    const bool is_same_end =
        std::equal(r.findings.begin(), r.findings.end(), whole.findings.begin(), whole.findings.end(), is_same_finding);
    if (!is_same_end) throw Error{Errc::bad_data, "the kept review is not that of everything"};
  }
  fmt::print("after a greasing: {}\n", told(alone));
  fmt::print("after one by which the fleet taught something else: {}\n", told(taught));
}

}  // namespace

int main(int argc, char** argv) {
  try {
    if (argc != 3) throw Error{Errc::usage, "expected: kept_bench DATABASE N"};
    measure(argv[1], std::atoi(argv[2]));
    return 0;
  } catch (const std::exception& e) {
    fmt::print(stderr, "{}\n", e.what());
    return 1;
  }
}
