#include "reports/dossier_report.hpp"
#include "reports/record_report.hpp"

#include <algorithm>

#include <fmt/format.h>

namespace shaftlog {

DossierWords::DossierWords(const DossierView& view) : view_{&view}, names_{view.reg} {
  for (const Entry& e : view.entries) by_id_[e.head.id] = &e;
  for (const Verification& v : view.verifications) verified_[v.record].push_back(v);
}

std::string DossierWords::moment(Instant t, Precision p) const { return format_local(stamp_at(t, zone(), p)); }

std::string DossierWords::range(const When& w) const {
  if (day(w.low) == day(w.high)) return day(w.estimate);
  return fmt::format("{} to {}", day(w.low), day(w.high));
}

const Entry* DossierWords::find(const Uuid& id) const {
  const auto it = by_id_.find(id);
  return it == by_id_.end() ? nullptr : it->second;
}

std::string DossierWords::digits(const Uuid& id) const {
  return format_uuid(id).substr(0, 8) + (verified_.contains(id) ? " (verified)" : "");
}

std::string DossierWords::record(const Uuid& id) const {
  const Entry* e = find(id);
  if (e == nullptr) return digits(id);
  return fmt::format("{} {} {}", day(e->head.at.utc), name_of(e->kind), digits(id));
}

std::string DossierWords::records(std::span<const Uuid> ids, std::size_t most) const {
  std::string out;
  for (std::size_t i = 0; i < ids.size() && i < most; ++i) out += (i == 0 ? "" : ", ") + digits(ids[i]);
  if (ids.size() > most) out += fmt::format(" +{}", ids.size() - most);
  return out;
}

std::string DossierWords::says(const TimelineItem& item) const {
  if (item.kind == TimelineKind::record) {
    const Entry* e = item.records.empty() ? nullptr : find(item.records.front());
    std::string out = e == nullptr ? "" : shaftlog::says(*e, names_);
    if (!item.text.empty()) out += "; " + item.text;
    if (e != nullptr && !e->head.remark.empty()) out += fmt::format("; remark: \"{}\"", e->head.remark);
    return out;
  }
  if (!item.records.empty() && (item.kind == TimelineKind::correction || item.kind == TimelineKind::withdrawal)) {
    const Entry* older = item.records.empty() ? nullptr : find(item.records.front());
    const Entry* newer = item.records.size() < 2 ? nullptr : find(item.records.back());
    if (newer == nullptr) return "";
    std::string out;
    if (older == nullptr) {
      out = fmt::format("about the record {}, which is not in the file", format_uuid(item.records.front()));
    } else if (item.kind == TimelineKind::correction) {
      const std::string changes = changes_between(*older, *newer, names_);
      out = fmt::format("{} of {}: {}", name_of(older->kind), moment(older->head.at.utc, older->head.at.precision),
                        changes.empty() ? "nothing but who and when" : changes);
    } else {
      out = fmt::format("{} of {} does not count any more: {}", name_of(older->kind),
                        moment(older->head.at.utc, older->head.at.precision), shaftlog::says(*older, names_));
    }
    out += fmt::format("; because: {}", newer->head.reason.empty() ? "no reason given" : newer->head.reason);
    if (older != nullptr && !older->head.by.empty() && older->head.by != newer->head.by)
      out += fmt::format("; first written by {}", older->head.by);
    return out;
  }
  return item.text;
}

/// The record that a line is of, the newer one of a correction.
const Entry* DossierWords::entry_of(const TimelineItem& item) const {
  const bool is_of_record = item.kind == TimelineKind::record || item.kind == TimelineKind::correction ||
                            item.kind == TimelineKind::withdrawal;
  return is_of_record && !item.records.empty() ? find(item.records.back()) : nullptr;
}

std::string DossierWords::by(const TimelineItem& item) const {
  const Entry* e = entry_of(item);
  return e == nullptr ? "" : e->head.by;
}

std::string DossierWords::verified_by(const TimelineItem& item) const {
  const Entry* e = entry_of(item);
  std::string out;
  if (e == nullptr) return out;
  for (const Verification& v : verified_in(verified_, e->head.id)) out += (out.empty() ? "" : "; ") + v.by;
  return out;
}

std::string DossierWords::what(const TimelineItem& item) const {
  std::string out{name_of(item.kind)};
  if (item.kind == TimelineKind::record) {
    const Entry* e = item.records.empty() ? nullptr : find(item.records.front());
    if (e != nullptr) out = name_of(e->kind);
  }
  if (item.kind == TimelineKind::counts) out = "cycles";
  if (!item.shaft.is_set() && item.lubricator.is_set())
    out += fmt::format(", {}", names_.lubricator(item.lubricator));
  else if (!item.shaft.is_set())
    out += ", the ship";
  return out;
}

std::string DossierWords::title() const {
  return fmt::format("{}, {}", names_.vessel(view_->dossier.vessel), names_.shaft(view_->dossier.shaft));
}

std::string DossierWords::as_of() const {
  std::string out = format_both(view_->dossier.as_of, zone());
  if (view_->known) out += fmt::format(", from what was recorded by {}", format_both(*view_->known, zone()));
  return out;
}

std::string DossierWords::clock() const {
  return fmt::format(
      "days and times by the ship's clock as registered now, {}; list and show give each record on the "
      "clock it was written by",
      view_->log.vessel.time_zone);
}

std::string DossierWords::life(const BearingLife& l) const {
  return fmt::format("{} {} to {}{}", l.is_first ? "from the first record," : "put in", day(l.from),
                     l.is_standing ? "the end of the view, " : "taken out, ", day(l.to));
}

std::vector<std::string> phase_notes(std::span<const Phase> phases) {
  std::vector<std::string> out;
  for (const Phase& p : phases) {
    if (p.records > p.greasings)
      out.push_back(
          fmt::format("{}: {} greasings are {} records; what was broken off and finished within 3 days is one.", p.name,
                      p.greasings, p.records));
    if (p.packings > 0)
      out.push_back(fmt::format(
          "{}: {} cm3 packed after work on the cavity {} neither in the greasings nor in their sum.", p.name,
          format_figure(p.packed_cm3), p.packings == 1 ? "is" : fmt::format("in {} packings are", p.packings)));
  }
  return out;
}

std::vector<std::pair<std::string, std::string>> dossier_methods() {
  return {{"what is in a dossier, order of changes, hours by bearing", "docs/methods/dossier.md"},
          {"cavity fill and hours below the reserve", "docs/methods/fill.md"},
          {"loss of a cavity, steps and wear", "docs/methods/washout.md, docs/methods/wear.md"},
          {"what sister shafts say", "docs/methods/fleet-prior.md"},
          {"running hours", "docs/methods/running-hours.md"},
          {"doses called for and delivered", "docs/methods/schedule.md, docs/methods/delivery.md"},
          {"alarms", "docs/methods/alarms.md"},
          {"records that contradict, silences", "docs/methods/contradictions.md, docs/methods/silences.md"},
          {"causes and symptoms", "docs/methods/causes.md"},
          {"change of a level", "docs/methods/change-points.md"}};
}

std::vector<std::string> dossier_cautions(const Dossier& d) {
  std::vector<std::string> out;
  for (const CauseMatrix& m : d.causes)
    for (const std::string& c : m.cautions)
      if (!c.empty() && std::find(out.begin(), out.end(), c) == out.end()) out.push_back(c);
  return out;
}

}  // namespace shaftlog
