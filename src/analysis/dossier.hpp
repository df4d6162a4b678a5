#pragma once

#include "analysis/alarms.hpp"
#include "analysis/causes.hpp"
#include "analysis/review.hpp"

#include <optional>
#include <span>
#include <string>
#include <vector>

namespace shaftlog {

// The dossier of one shaft: everything that is known of it, for somebody who will be asked how he knows.
// Method, assumptions and limits: docs/methods/dossier.md.

// --- the timeline ----------------------------------------------------------------------------------------------------
enum class TimelineKind : std::uint8_t {
  record,      ///< one record; what it says is the record's own
  hours,       ///< a stretch of meter readings
  counts,      ///< a stretch of cycle counter readings
  levels,      ///< a stretch of level readings
  alarm,       ///< an episode
  setting,     ///< the register says otherwise from here on
  correction,  ///< placed at the moment at which the log was changed
  withdrawal,  ///< likewise
  gap          ///< nothing written for longer than is this ship's habit
};
std::string_view name_of(TimelineKind k) noexcept;

struct TimelineItem {
  TimelineKind kind{};
  Instant from{}, to{};  ///< equal for a moment
  Precision precision = Precision::minute;
  std::string text;                 ///< one phrase; empty for `record`
  std::vector<Uuid> records;        ///< behind it; of a correction the old one first
  std::optional<double> late_days;  ///< written so long after it happened; only where that is over kLate_days
  ShaftId shaft;
  LubricatorId lubricator;  ///< neither set: of the whole vessel
};
/// An entry made later than this after the event is worth a word [d]; common practice, no source.
constexpr double kLate_days = 3.0;

// --- bearings and the hours below their reserve
// ------------------------------------------------------------------------
/// One greasing interval with the sum that anybody can do by hand: even loss over the hours run.
struct IntervalAccount {
  Uuid record;  ///< the greasing that closes it; nil: open at the end of the bearing's life
  Instant from{}, to{};
  double run_h = 0, delivered_cm3 = 0;
  double missing_before_cm3 = 0;  ///< free volume at its start, as carried by the washout filter
  std::optional<double> taken_cm3;
  std::optional<Ended> ended;
  double least_w = 0;               ///< lowest even loss that the amount allows [cm3/h]
  double usual_w = 0;               ///< loss measured in the interval, else the shaft's usual one [cm3/h]
  double least_h = 0, usual_h = 0;  ///< hours below the reserve at those rates [h]
  bool is_bound = false;            ///< the amount only bounds the loss (limit, broken off, emptied, not told)
};

/// What the total becomes when one assumption is another.
struct Sensitivity {
  std::string what;  ///< "reserve 10 % instead of 20 %"
  std::optional<StarvedHours> starved_h;
};

/// From one replacement of the bearing (or the first record) to the next (or the end of the view).
struct BearingLife {
  Instant from{}, to{};
  bool is_first = false;                       ///< begins with the first record: the bearing may be older
  bool is_standing = false;                    ///< still in place at the end of the view
  std::optional<Uuid> began_with, ended_with;  ///< the work records
  std::vector<Instant> seals;                  ///< seal_replaced within it: a new baseline, the same bearing
  std::optional<double> run_h;                 ///< by the hour meter, and what is assumed beyond its last reading
  double assumed_h = 0;                        ///< of which after the last reading, at the recent use
  std::optional<Instant> last_reading;         ///< of the meter, in this life; empty: none
  double judged_h = 0;                         ///< of run_h between greasings or after the last: a fill can be told
  double after_last_h = 0;                     ///< of judged_h after the last greasing, what is assumed included
  std::optional<double> cavity_cm3;
  double reserve_pct = 0;
  std::optional<Estimate> baseline_cm3_per_h, washout_cm3_per_h;  ///< at the end of the life
  int exact = 0, censored = 0;                                    ///< intervals of this bearing
  std::optional<StarvedHours> starved_h;        ///< of this bearing, over all its baselines; empty: cannot be told
  std::optional<StarvedHours> since_last_seal;  ///< only where `seals` is not empty
  std::optional<When> first_below;              ///< fill first below the reserve; empty: the median never was
  std::vector<FillPoint> fill;
  std::vector<IntervalAccount> intervals;
  std::vector<Sensitivity> sensitivities;
};

// --- what changed, and in which order -------------------------------------------------------------------------------
enum class MarkRole : std::uint8_t {
  change,      ///< of practice, duty, grease, settings or behaviour
  event,       ///< work and contacts
  consequence  ///< what the fill or a greasing showed later
};
std::string_view name_of(MarkRole r) noexcept;
/// What a moment that is known only as a range looks like within it.
enum class Spread : std::uint8_t {
  even,   ///< anywhere between two records: `low` and `high` are hard limits
  normal  ///< estimated: 5 to 95 %, a normal law on either side of the median
};

struct Mark {
  std::string channel;  ///< "greasing interval", "washout", "delivery ratio", ...
  MarkRole role{};
  When when;
  Spread spread = Spread::even;
  std::string text;                ///< one sentence with the figures
  std::optional<Estimate> factor;  ///< after over before
  double strength = 0;             ///< natural-log odds where computed; 0: a plain record
  std::vector<Uuid> records;       ///< decisive first
  double p_first = 0;              ///< probability that no other change came before it; changes only
};
/// A channel that was looked at, changed or not: silence would be read as "not looked at".
struct LookedAt {
  enum class Result : std::uint8_t { changed, unchanged, unknown };
  std::string channel;
  Result result{};
  std::string text;
};
std::string_view name_of(LookedAt::Result r) noexcept;
/// Probability that marks[a] came before marks[b], from their two ranges alone.
struct OrderPair {
  std::size_t a = 0, b = 0;
  double p = 0;
  bool overlap = false;
};
/// P(a before b) when both are independent within their ranges; 1/2 for equal ones.
double p_before(const Mark& a, const Mark& b);
/// Sorts `marks` by estimate, fills p_first of the changes; \return all pairs of changes and consequences, a before b
/// in the order of the list.
std::vector<OrderPair> put_in_order(std::vector<Mark>& marks);

// --- comparison ------------------------------------------------------------------------------------------------------
/// The shaft over one stretch of its own past.
struct Phase {
  std::string name;
  Instant from{}, to{};
  std::optional<double> run_h;          ///< by the meter, and what is assumed beyond its last reading
  double assumed_h = 0;                 ///< of which after that reading, at the recent use
  std::optional<double> use_h_per_day;  ///< while the meter was read; empty: it was not
  int greasings = 0, with_pressure = 0;
  int records = 0;  ///< of those greasings: what was broken off and finished within three days is one
  double taken_cm3 = 0;
  int packings = 0;  ///< after work on the cavity: no greasings
  double packed_cm3 = 0;
  std::optional<double> usual_gap_days, longest_gap_days;  ///< between greasings that begin in it
  std::optional<double> usual_gap_h, longest_gap_h;
  int alarms = 0;
};
enum class PeerKind : std::uint8_t { itself, twin, same_ship, sister };
std::string_view name_of(PeerKind k) noexcept;
struct Peer {
  PeerKind kind{};
  std::string key;                                   ///< "vessel/shaft"
  std::optional<Estimate> washout_cm3_per_h;         ///< drawn towards the group by what its own records leave open
  std::optional<Estimate> ratio;                     ///< this shaft's usual loss over the peer's; empty for itself
  std::optional<double> usual_gap_h, longest_gap_h;  ///< between its greasings, same time as the shaft's focus
  int intervals = 0;
};

// --- what was known, and what would have been said ------------------------------------------------------------------
struct Lateness {
  int records = 0, late = 0;  ///< of the shaft and what serves it; late: over kLate_days
  double median_days = 0, p90_days = 0, longest_days = 0;
  int before_the_end = 0;          ///< of the records, those about the time before the focus ended
  int after_the_end = 0;           ///< recorded after the focus ended, about the time before
  std::vector<Uuid> late_records;  ///< longest first, at most 20
  int corrected = 0, withdrawn = 0;
};
/// A finding as the tool would have shown it day by day with what was recorded by then. Made by the app: see told_by.
struct Told {
  FindingKind kind{};
  ShaftId shaft;
  LubricatorId lubricator;
  Instant first{};    ///< the first day on which it would have been shown
  Instant last{};     ///< the last one looked at on which it was
  Urgency urgency{};  ///< on the first day
  std::optional<Instant> first_act;
  std::string summary;  ///< on the first day
};

// --- causes ----------------------------------------------------------------------------------------------------------
enum class Seen : std::uint8_t { present, absent, unknown };
std::string_view name_of(Seen s) noexcept;
struct Symptom {
  std::string word;  ///< of the cause table
  Seen seen = Seen::unknown;
  std::string why;  ///< what it rests on; for unknown: what is missing
};
struct CompetingCause {
  std::string text;
  double score = 0;                                   ///< natural-log weight, comparable within one finding only
  std::vector<std::string> present, absent, unknown;  ///< its own symptoms
  bool lacks_required = false;  ///< a symptom without which it does not stand is not known to be there
  std::vector<std::string> checks;
};
struct CauseMatrix {
  FindingKind kind{};
  std::string about;  ///< the finding's sentence
  std::vector<Symptom> symptoms;
  std::vector<CompetingCause> causes;  ///< likeliest first
  std::vector<std::string> reasoning;  ///< arithmetic that bears on the causes, with its figures
  std::vector<std::string> deciding;   ///< observations that would tell the leading ones apart, most telling first
  std::vector<std::string> cautions;
};

// --- the whole -------------------------------------------------------------------------------------------------------
struct Dossier {
  VesselId vessel;
  ShaftId shaft;
  Instant as_of{};
  std::vector<TimelineItem> timeline;
  std::vector<BearingLife> lives;  // oldest first; never empty
  std::size_t focus = 0;           ///< the last bearing that was taken out, else the one in place
  std::vector<Mark> marks;         ///< of the focus, in order
  std::vector<OrderPair> order;
  std::vector<LookedAt> looked_at;
  std::vector<Phase> phases;
  std::vector<Peer> peers;  ///< itself first
  Lateness lateness;
  std::vector<Told> told;                ///< filled by the app
  std::optional<double> told_step_days;  ///< grid of `told`; empty: not computed
  std::vector<CauseMatrix> causes;
  std::vector<Suspect> suspects;     ///< records of the shaft, or what serves it, that contradict others
  std::vector<std::string> answer;   ///< the short answer, sentence by sentence
  std::vector<std::string> caveats;  ///< what the records cannot tell, and what was assumed
  ShaftState state;
  VesselDigest digest;
  ShaftDetail detail;                         ///< at as_of
  std::vector<LubricatorDetail> lubricators;  ///< that feed it
};

/// A row of the register that was put right after it had been entered.
struct PutRight {
  Instant at{};
  std::string by;   ///< empty: not said
  std::string row;  ///< "shaft setting"
  std::string was;  ///< as the file kept it
};

/// What a dossier is made from.
struct DossierSources {
  const VesselLog& log;                 ///< in force
  std::span<const Entry> entries;       ///< every version of every record of the vessel, sorted by (at, id)
  const FleetPrior& prior;              ///< of the ships it was learnt from
  std::span<const PutRight> put_right;  ///< rows of the register that bear on the shaft
  std::span<const ShaftHistory> group;  ///< histories of all their shafts that share the shaft's group
  ShaftId shaft;
  Instant as_of{};
  bool every_reading = false;  ///< a line a reading instead of a stretch
  int usual_ships = 0;         ///< ships that the prior was learnt from, drawn by lot where they are fewer than
  int ships = 0;               ///< those of the file
};
/// \throws Error{not_found} if the vessel has no such shaft
Dossier make_dossier(const DossierSources& sources);

/// The findings of `review` that are about the shaft, a lubricator that feeds it, or the whole ship, put to `told`:
/// call with rising `day`. \param feeding lubricators of the shaft
void told_by(std::vector<Told>& told, const VesselReview& review, ShaftId shaft,
             const std::vector<LubricatorId>& feeding, Instant day);
/// False of a log that was brought in without its times of writing: nothing of it was known on any day looked at.
bool is_told_known(const Dossier& dossier);
/// The sentence that says so. \param zone of the ship
std::string untold_text(const Dossier& dossier, const Zone& zone);
/// Adds what `told` says to the answer, or that it cannot be told: `told` is then emptied. Call once, when `told` is
/// whole.
void answer_told(Dossier& dossier, const VesselLog& log);

}  // namespace shaftlog
