#include "analysis/review_context.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

namespace shaftlog {
namespace {

struct Change {
  Instant at{};
  GreaseId from, to;
  std::vector<ShaftId> shafts;
  std::vector<LubricatorId> lubricators;
  std::vector<Uuid> records;
};

const Grease* grease_of(const ReviewContext& c, GreaseId id) {
  const auto it = std::find_if(c.log.greases.begin(), c.log.greases.end(), [&](const Grease& g) { return g.id == id; });
  return it == c.log.greases.end() ? nullptr : &*it;
}

std::string describe(const Grease* g) {
  if (g == nullptr) return "an unknown grease";
  std::string thickener{name_of(g->thickener)};
  std::replace(thickener.begin(), thickener.end(), '_', ' ');
  return fmt::format("{} ({})", g->code, thickener.empty() ? "thickener unknown" : thickener);
}

// What is on record about the pair, either way round. Never a judgement: a chart of thickeners proves nothing.
std::string evidence_text(const ReviewContext& c, const Change& change) {
  std::string out;
  for (const GreaseEvidence& e : c.log.grease_evidence) {
    const bool is_of_pair =
        (e.grease == change.from && e.other == change.to) || (e.grease == change.to && e.other == change.from);
    if (!is_of_pair) continue;
    std::string word{name_of(e.evidence)};
    std::replace(word.begin(), word.end(), '_', ' ');
    if (e.evidence == Evidence::none) word = "none, by what was asked";
    out += (out.empty() ? "" : "; ") + word + (e.reference.empty() ? "" : " (" + e.reference + ")");
  }
  return out.empty() ? "none on record" : out;
}

// The same family of thickener known on both sides says nothing of additives, but is no cause for a finding by itself.
bool is_worth_telling(const Grease* a, const Grease* b) {
  return a == nullptr || b == nullptr || a->thickener == Thickener::unknown || b->thickener == Thickener::unknown ||
         a->thickener == Thickener::other || a->thickener != b->thickener;
}

void add_change(std::vector<Change>& changes, Instant at, GreaseId from, GreaseId to, ShaftId shaft,
                LubricatorId lubricator, const Uuid* record) {
  constexpr auto kSameChange = std::chrono::days{21};  // a ship changes over shaft by shaft
  auto it = std::find_if(changes.begin(), changes.end(), [&](const Change& x) {
    return x.from == from && x.to == to && at >= x.at - kSameChange && at <= x.at + kSameChange;
  });
  if (it == changes.end()) {
    changes.push_back({at, from, to, {}, {}, {}});
    it = changes.end() - 1;
  }
  it->at = std::min(it->at, at);
  if (shaft.is_set() && std::find(it->shafts.begin(), it->shafts.end(), shaft) == it->shafts.end()) {
    it->shafts.push_back(shaft);
  }
  if (lubricator.is_set() &&
      std::find(it->lubricators.begin(), it->lubricators.end(), lubricator) == it->lubricators.end()) {
    it->lubricators.push_back(lubricator);
  }
  if (record != nullptr && it->records.size() < 8) it->records.push_back(*record);
}

template <class Thing>
void changes_of_register(std::vector<Change>& changes, const Thing& thing, ShaftId shaft, LubricatorId lubricator,
                         Instant as_of) {
  for (std::size_t i = 1; i < thing.settings.size(); ++i) {
    const auto& now = thing.settings[i];
    if (!now.from || now.from->utc > as_of || now.grease == thing.settings[i - 1].grease) continue;
    add_change(changes, now.from->utc, thing.settings[i - 1].grease, now.grease, shaft, lubricator, nullptr);
  }
}

std::vector<Change> changes_of(const ReviewContext& c) {
  std::vector<Change> changes;
  for (const Shaft& s : c.log.shafts) changes_of_register(changes, s, s.id, {}, c.as_of);
  for (const Lubricator& l : c.log.lubricators) changes_of_register(changes, l, {}, l.id, c.as_of);
  // A grease that was used although another one is registered; each subject tells its first use only.
  std::set<std::pair<ShaftId, GreaseId>> told_shafts;
  for (const Logged<Greasing>& g : c.log.greasings) {
    const ShaftSetting* set = setting_at(c.shaft(g.shaft).settings, g.at);
    if (!g.what.grease.is_set() || set == nullptr || g.what.grease == set->grease) continue;
    if (told_shafts.insert({g.shaft, g.what.grease}).second) {
      add_change(changes, g.at, set->grease, g.what.grease, g.shaft, {}, &g.id);
    }
  }
  std::set<std::pair<LubricatorId, GreaseId>> told_lubricators;
  for (const Logged<Refill>& r : c.log.refills) {
    const LubricatorSetting* set = setting_at(c.lubricator(r.lubricator).settings, r.at);
    if (!r.what.grease.is_set() || set == nullptr || r.what.grease == set->grease) continue;
    if (told_lubricators.insert({r.lubricator, r.what.grease}).second) {
      add_change(changes, r.at, set->grease, r.what.grease, {}, r.lubricator, &r.id);
    }
  }
  std::sort(changes.begin(), changes.end(), [](const Change& a, const Change& b) { return a.at < b.at; });
  return changes;
}

bool was_purged(const ReviewContext& c, const Change& change) {
  for (const Logged<Work>& w : c.log.work) {
    if (w.what.work != WorkKind::purged || w.at < change.at - std::chrono::days{14} ||
        w.at > change.at + std::chrono::days{30}) {
      continue;
    }
    if (!w.shaft.is_set() || change.shafts.empty() ||
        std::find(change.shafts.begin(), change.shafts.end(), w.shaft) != change.shafts.end()) {
      return true;
    }
  }
  return false;
}

const WashoutShift* rise_near(const ReviewContext& c, ShaftId shaft, Instant at) {
  const auto it = c.washouts.find(shaft);
  if (it == c.washouts.end()) return nullptr;
  const WashoutShift* r = it->second.step ? &*it->second.step : it->second.wear ? &*it->second.wear : nullptr;
  constexpr auto kSlack = std::chrono::days{30};
  return r != nullptr && r->began.low <= at + kSlack && r->began.high >= at - kSlack ? r : nullptr;
}

// Loss over the running hours of the intervals before and after, as plain sums: for people to check by hand.
std::optional<double> plain_ratio(const ReviewContext& c, ShaftId shaft, Instant at) {
  double cm3[2] = {0, 0}, h[2] = {0, 0};
  for (const GreasingInterval& i : c.digest.histories.at(shaft).intervals) {
    if (!i.taken_cm3) continue;
    const std::size_t after = i.from >= at - std::chrono::days{1} ? 1 : 0;
    if (after == 0 && i.at > at + std::chrono::days{1}) continue;  // straddles the change
    cm3[after] += *i.taken_cm3 + i.delivered_cm3;
    h[after] += i.run_h;
  }
  if (h[0] <= 0 || h[1] <= 0 || cm3[0] <= 0) return std::nullopt;
  return cm3[1] / h[1] / (cm3[0] / h[0]);
}

// Those greased with it by hand, and those that a reservoir filled with it feeds.
std::vector<ShaftId> shafts_of(const ReviewContext& c, const Change& change) {
  std::vector<ShaftId> out = change.shafts;
  for (const Shaft& s : c.log.shafts) {
    const std::vector<LubricatorId> feeding = c.digest.schedule->lubricators_of(s.id);
    const bool is_fed = std::any_of(feeding.begin(), feeding.end(), [&](LubricatorId l) {
      return std::find(change.lubricators.begin(), change.lubricators.end(), l) != change.lubricators.end();
    });
    if (is_fed && std::find(out.begin(), out.end(), s.id) == out.end()) out.push_back(s.id);
  }
  return out;
}

}  // namespace

void find_grease_changes(const ReviewContext& c, std::vector<Finding>& found, std::set<ShaftId>& explained) {
  for (const Change& change : changes_of(c)) {
    const Grease* a = grease_of(c, change.from);
    const Grease* b = grease_of(c, change.to);
    const bool purged = was_purged(c, change);
    int rising = 0;
    double strength = 2;
    Instant first_seen = change.at;
    Finding f = start_finding(
        c, FindingKind::grease_mixed, change.shafts.size() == 1 ? change.shafts[0] : ShaftId{},
        change.shafts.empty() && change.lubricators.size() == 1 ? change.lubricators[0] : LubricatorId{},
        fmt::format("{} {} {}", format_day(change.at), a == nullptr ? "" : a->code, b == nullptr ? "" : b->code));
    f.evidence = change.records;
    f.shafts = shafts_of(c, change);
    std::vector<double> ratios;
    for (const ShaftId shaft : change.shafts) {
      const WashoutShift* rise = rise_near(c, shaft, change.at);
      const auto ratio = plain_ratio(c, shaft, change.at);
      if (ratio) ratios.push_back(*ratio);
      if (rise == nullptr) continue;
      ++rising;
      strength += rise->strength;
      first_seen = std::max(first_seen, rise->first_seen);
      f.evidence.insert(
          f.evidence.end(), rise->evidence.begin(),
          rise->evidence.begin() + static_cast<std::ptrdiff_t>(std::min<std::size_t>(2, rise->evidence.size())));
    }
    // One common cause: most of the shafts that got the other grease stepped together.
    const std::size_t n = change.shafts.size();
    double mean_log = 0;
    for (const double r : ratios) mean_log += std::log(std::max(r, 1e-3)) / static_cast<double>(ratios.size());
    const bool together = n >= 2 && ratios.size() == n &&
                          std::all_of(ratios.begin(), ratios.end(), [](double r) { return r > 1.25; }) &&
                          mean_log > 0.4;
    const bool is_common = rising > 0 && (static_cast<std::size_t>(rising) * 2 >= n || together);
    if (is_common || together) explained.insert(change.shafts.begin(), change.shafts.end());
    if (!is_common && !together && (purged || !is_worth_telling(a, b))) continue;
    // Where the change alone is worth telling, what the shafts show later makes it more pressing, not newer.
    f.first_seen = !purged && is_worth_telling(a, b) ? change.at : first_seen;
    f.began = When{change.at, change.at, change.at};
    f.summary = fmt::format("the grease was changed from {} to {} on {}, {}", describe(a), describe(b),
                            c.day(change.at), purged ? "with a purge recorded" : "with no purge recorded");
    f.summary += "; evidence of compatibility: " + evidence_text(c, change);
    if (is_common || together) {
      const auto [low, high] = std::minmax_element(ratios.begin(), ratios.end());
      const double factor = std::exp(mean_log);
      if (!ratios.empty()) add_figure(f, "factor", Estimate{factor, *low, *high}, "1");
      f.summary +=
          fmt::format("; {} shaft{} lose{} {} times as much since: one common cause, not {} seal failure{}", n,
                      n == 1 ? "" : "s", n == 1 ? "s" : "",
                      ratios.empty() ? std::string{"an unknown number of"} : figure_text(factor), n, n == 1 ? "" : "s");
      f.urgency = Urgency::plan;
    } else {
      f.urgency = c.as_of - change.at > std::chrono::days{365} ? Urgency::note : Urgency::watch;
    }
    add_strength(f, strength);
    explain(
        f,
        {is_common || together ? "all_shafts" : "one_shaft", purged ? "purged" : "not_purged", "after_grease_change"},
        {});
    found.push_back(std::move(f));
  }
}

}  // namespace shaftlog
