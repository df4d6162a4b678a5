#include "analysis/dossier_finder.hpp"

namespace shaftlog::dossier {

void Finder::work() {
  for (const auto& r : w_.log.work) {
    if (!w_.concerns(r.shaft, r.lubricator) || r.at < life_.from || r.at >= life_.to) continue;
    std::string what{name_of(r.what.work)};
    std::replace(what.begin(), what.end(), '_', ' ');
    const auto half = std::chrono::seconds{static_cast<std::int64_t>(half_width_h(r.precision) * 3600)};
    // A blow and a switch change what happens to the bearing; other work answers to what happened.
    const bool is_change = r.what.work == WorkKind::contact || r.what.work == WorkKind::lubricator_off;
    Mark m{is_change ? what : "work",
           is_change ? MarkRole::change : MarkRole::event,
           {r.at, r.at - half, r.at + half},
           Spread::even,
           "recorded as " + what,
           {},
           0,
           {r.id},
           0};
    if (!r.shaft.is_set() && !r.lubricator.is_set()) m.text += " (the ship)";
    if (const std::string said = w_.remark(r.id); !said.empty())
      m.text += fmt::format(", with the remark \"{}\"", said);
    d_.marks.push_back(std::move(m));
  }
}

// What stands or is silent at the end of the view.
void Finder::at_the_end() {
  for (const Finding& f : w_.at(life_.to).review.findings) {
    const bool is_ours = f.shaft == w_.shaft.id || (!f.shaft.is_set() && w_.feeds(f.lubricator));
    if (f.kind != FindingKind::alarm_standing || !is_ours || !f.began || f.began->estimate < life_.from) continue;
    mark({"standing alarm", MarkRole::change, *f.began, Spread::even, f.summary, {}, 0, f.evidence, 0}, "stands");
  }
  int gaps = 0;
  for (const TimelineItem& t : d_.timeline) {
    if (t.kind != TimelineKind::gap || t.from < life_.from || t.from >= life_.to) continue;
    ++gaps;
    if (t.shaft.is_set() || t.lubricator.is_set() || t.to < w_.in.as_of) continue;
    mark({"records",
          MarkRole::change,
          {t.from, t.from, t.from},
          Spread::even,
          "the records stop: " + t.text,
          {},
          0,
          t.records,
          0},
         "stop");
  }
  looked("records", gaps == 0 ? LookedAt::Result::unchanged : LookedAt::Result::changed,
         gaps == 0 ? "no gap longer than is the habit of this ship"
                   : fmt::format("{} longer than is the habit of this ship: see the timeline",
                                 count_text(gaps, "gap", "gaps")));
}

void Finder::fill() {
  if (!life_.first_below) {
    if (!life_.starved_h)
      looked("fill", LookedAt::Result::unknown, "the fill cannot be reconstructed: see the caveats");
    else
      looked("fill", LookedAt::Result::unchanged, "the median stayed above the reserve");
    return;
  }
  Mark m{"fill", MarkRole::consequence, *life_.first_below, Spread::normal, "", {}, 0, {}, 0};
  m.text = fmt::format("the fill fell below the reserve of {} % for the first time", pct_text(life_.reserve_pct));
  for (const IntervalAccount& a : life_.intervals)
    if (a.from <= m.when.estimate && a.to >= m.when.estimate && !a.record.is_nil()) m.records.push_back(a.record);
  mark(std::move(m), "fell below the reserve");
}

}  // namespace shaftlog::dossier
