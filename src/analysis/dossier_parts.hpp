#pragma once

// What the parts of a dossier share. Inside analysis only.

#include "analysis/dossier.hpp"
#include "analysis/review_context.hpp"

#include <functional>
#include <map>
#include <memory>
#include <unordered_map>

namespace shaftlog::dossier {

constexpr auto kIntake = "grease taken";  ///< the channel of what goes in at back-pressure

/// The vessel as it stood at a moment, judged with everything known now about the time up to then.
struct StateAt {
  VesselLog log;  ///< without what happened later
  VesselDigest digest;
  VesselReview review;  ///< with detail
};

class Work {
 public:
  explicit Work(const DossierSources& in);
  const DossierSources& in;
  const VesselLog& log;
  const Shaft& shaft;
  Zone zone;
  std::vector<LubricatorId> feeding;
  /// The state at `t`; computed once a moment.
  const StateAt& at(Instant t);
  [[nodiscard]] const StateAt& now() { return at(in.as_of); }
  [[nodiscard]] const ShaftDetail& detail(Instant t) { return detail(t, shaft.id); }
  [[nodiscard]] const ShaftDetail& detail(Instant t, ShaftId id);
  [[nodiscard]] const LubricatorDetail* lubricator(Instant t, LubricatorId id);
  /// The rise of loss that a finding of the review at `t` speaks of. A rise that a finding of delivery explains is
  /// none: the loss of a shaft whose doses fail is then overrated. Null: none.
  [[nodiscard]] const WashoutShift* rise(Instant t, ShaftId id);
  [[nodiscard]] bool feeds(LubricatorId id) const;
  /// The change of grease that the review at `t` holds for the one cause of the rises of several shafts, `id` among
  /// them. Null: none.
  [[nodiscard]] const Finding* common_cause(Instant t, ShaftId id);
  /// About the shaft, a lubricator that feeds it, or the whole ship.
  [[nodiscard]] bool concerns(ShaftId s, LubricatorId l) const;
  [[nodiscard]] std::string day(Instant t) const { return format_day(t, zone); }
  [[nodiscard]] std::string days(const When& w) const { return days_text(w, zone); }
  [[nodiscard]] std::string on_days(const When& w) const { return on_days_text(w, zone); }
  [[nodiscard]] std::string person(std::uint32_t by) const;
  [[nodiscard]] const Lubricator* find_lubricator(LubricatorId id) const;
  [[nodiscard]] std::string grease(GreaseId id) const;
  [[nodiscard]] const Entry* entry(const Uuid& id) const;
  [[nodiscard]] std::string remark(const Uuid& id) const;  ///< as written; empty: none

 private:
  std::unordered_map<Uuid, const Entry*> entries_;
  std::map<Instant, std::unique_ptr<StateAt>> states_;
};

VesselLog cut(const VesselLog& log, Instant until);

/// Within it what was broken off and what finished it are one greasing.
constexpr auto kOneGreasing = std::chrono::days{3};
/// Manual greasings that were done, those of one occasion (broken off and finished within three days) as one.
struct Occasion {
  Instant from{}, at{};  ///< first and last greasing of it
  Uuid id;               ///< of the last
  std::vector<Uuid> records;
  Ended ended{};
  double taken_cm3 = 0;
  bool is_amount_known = true;
  std::uint32_t by = 0;
  GunId gun;
  std::optional<Purge> purge;
};
std::vector<Occasion> occasions(const VesselLog& log, ShaftId shaft, Instant from, Instant to);
/// Those of them that are greasings: a packing fills what work on the cavity had emptied.
std::vector<Occasion> greasings(std::vector<Occasion> done);
/// "; of 33 records, what was broken off and finished within 3 days taken as one"; empty where each record is one.
std::string merged_text(const std::vector<Occasion>& done);
double median_of(std::vector<double> x);
/// "20", "12.5": a per cent figure as it was registered.
std::string pct_text(double x);
/// "1 day", "3 days"; whole from 10 on.
std::string count_text(double n, std::string_view one, std::string_view many);

void add_timeline(Work& w, Dossier& d);
void add_lives(Work& w, Dossier& d);
void add_marks(Work& w, Dossier& d);
void add_comparison(Work& w, Dossier& d);
void add_lateness(Work& w, Dossier& d);
void add_causes(Work& w, Dossier& d);
void add_answer(Work& w, Dossier& d);
void add_caveats(Work& w, Dossier& d);

}  // namespace shaftlog::dossier
