#include "app/report.hpp"

#include "app/look_up.hpp"
#include "base/error.hpp"
#include "base/text.hpp"
#include "interchange/new_file.hpp"
#include "storage/log_repository.hpp"

#include <algorithm>

#include <fmt/format.h>

namespace shaftlog {
namespace {

// FNV-1a, 64 bits (public domain; offset basis and prime as its authors publish them): tells two sets of records apart,
// proves nothing.
class Fingerprint {
 public:
  void add(const Uuid& id) {
    for (const std::uint8_t b : id.bytes) {
      hash_ ^= b;
      hash_ *= 1099511628211ULL;
    }
  }
  void add(std::string_view text) {
    for (const char c : text) {
      hash_ ^= static_cast<std::uint8_t>(c);
      hash_ *= 1099511628211ULL;
    }
  }
  template <class What>
  void add(const std::vector<Logged<What>>& records) {
    for (const Logged<What>& r : records) add(r.id);
    count_ += records.size();
  }
  [[nodiscard]] std::string text() const { return fmt::format("{} records, fingerprint {:016x}", count_, hash_); }

 private:
  std::uint64_t hash_ = 14695981039346656037ULL;
  std::size_t count_ = 0;
};

}  // namespace

ReportData report_data(Database& db, Instant now, ReviewRequest request, const std::string& shaft) {
  request.with_detail = true;
  ReportData out;
  out.review = review(db, now, request);
  Fingerprint print;
  for (const VesselLog& log : out.review.logs) {
    print.add(log.hours);
    print.add(log.cycles);
    print.add(log.levels);
    print.add(log.refills);
    print.add(log.greasings);
    print.add(log.alarms);
    print.add(log.work);
    print.add(log.inspections);
  }
  for (const auto& [id, state] : out.review.states) {  // what people say about findings is on the page too
    print.add(id);
    print.add(format_stamp(state.since) + state.by + state.says);
  }
  out.records = print.text();
  if (shaft.empty()) return out;

  const Vessel& vessel = get_vessel(out.review.reg, request.vessel);
  out.shaft = get_shaft(out.review.reg, vessel, shaft).id;
  const VesselReview& v = out.review.vessels.front();
  ListQuery query;
  query.vessel = vessel.id;
  query.until = out.review.as_of + std::chrono::seconds{1};  // that moment included
  query.known = request.known;
  query.in_force_only = true;
  const ReadTransaction view{db};
  const LogRepository log{db};
  query.shaft = out.shaft;
  out.entries = log.list(query);
  query.shaft = {};
  for (const ShaftDetail& d : v.shaft_details) {
    if (d.shaft != out.shaft) continue;
    for (const LubricatorId l : d.lubricators) {
      query.lubricator = l;
      for (Entry& e : log.list(query)) {
        if (!e.shaft.is_set()) out.entries.push_back(std::move(e));
      }
    }
  }
  std::stable_sort(out.entries.begin(), out.entries.end(), [](const Entry& a, const Entry& b) {
    return a.head.at.utc != b.head.at.utc ? a.head.at.utc < b.head.at.utc : a.head.id < b.head.id;
  });
  return out;
}

void write_report(const std::filesystem::path& file, std::string_view bytes, bool overwrite) {
  std::error_code ignored;
  if (!overwrite && std::filesystem::exists(file, ignored)) {
    throw Error{Errc::conflict, fmt::format("{} is there already; --overwrite replaces it", shown(file.string()))};
  }
  NewFile out{file};
  out.write(bytes);
  out.sync();
  out.keep();
}

void make_report_folder(const std::filesystem::path& folder) {
  std::error_code fault;
  std::filesystem::create_directories(folder, fault);
  if (fault) throw Error{Errc::io, fmt::format("{}: cannot be made: {}", shown(folder.string()), fault.message())};
}

}  // namespace shaftlog
