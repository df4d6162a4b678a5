#include "analysis/period.hpp"

#include <algorithm>
#include <cmath>
#include <map>
#include <utility>

namespace shaftlog {
namespace {

const ShaftDetail* detail_of(const VesselReview& review, ShaftId id) {
  for (const ShaftDetail& d : review.shaft_details) {
    if (d.shaft == id) return &d;
  }
  return nullptr;
}

// The longer of hours and days over what was agreed; empty where nothing was.
std::optional<double> share_of_interval(const ShaftSetting* s, double run_h, double days) {
  if (s == nullptr) return std::nullopt;
  std::optional<double> share;
  if (s->interval && in_h(*s->interval) > 0) share = run_h / in_h(*s->interval);
  if (s->interval_days && *s->interval_days > 0) {
    const double by_days = days / *s->interval_days;
    share = share ? std::max(*share, by_days) : by_days;
  }
  return share;
}

// How full the cavity was at `t` [cm3], and its standard deviation; empty before the first point.
struct Content {
  double cm3 = 0, sd = 0;
};
std::optional<Content> content_at(const ShaftDetail& d, Instant t) {
  const std::vector<FillPoint>& points = d.fill.points;
  if (!d.history.cavity_cm3 || points.empty() || t < points.front().at) return std::nullopt;
  // The last point at or before t: after a greasing that is the full cavity.
  const auto after =
      std::upper_bound(points.begin(), points.end(), t, [](Instant at, const FillPoint& p) { return at < p.at; });
  const FillPoint& a = *std::prev(after);
  const auto content = [&](const FillPoint& p) {
    return Content{p.fill_pct.value / 100 * *d.history.cavity_cm3,
                   (p.fill_pct.high - p.fill_pct.low) / 100 * *d.history.cavity_cm3 / 3.29};
  };
  if (after == points.end() || after->is_greasing || after->at == a.at) return content(a);
  const double part = static_cast<double>((t - a.at).count()) / static_cast<double>((after->at - a.at).count());
  const Content before = content(a), next = content(*after);
  return Content{before.cm3 + part * (next.cm3 - before.cm3), before.sd + part * (next.sd - before.sd)};
}

GreaseId grease_of(const Lubricator& l, Instant t) {
  const LubricatorSetting* s = setting_at(l.settings, t);
  return s != nullptr ? s->grease : GreaseId{};
}

}  // namespace

std::vector<GreasingTally> tally_greasings(const VesselLog& log, const VesselReview& review, Instant from, Instant to) {
  std::vector<GreasingTally> out;
  for (const Shaft& shaft : log.shafts) {
    GreasingTally t;
    t.shaft = shaft.id;
    const ShaftSetting* now = setting_at(shaft.settings, to);
    t.is_planned = now != nullptr && (now->interval || now->interval_days);
    for (const Logged<Greasing>& g : log.greasings) {
      if (g.shaft != shaft.id || g.at <= from || g.at > to) continue;
      ++(g.what.ended == Ended::not_done ? t.not_done : t.done);
    }
    if (const ShaftDetail* d = detail_of(review, shaft.id); d != nullptr) {
      const auto is_doubted = [&](const Uuid& id) {
        return std::any_of(review.suspects.begin(), review.suspects.end(),
                           [&](const Suspect& s) { return s.record == id; });
      };
      Uuid before;
      for (const GreasingInterval& i : d->history.intervals) {
        const Uuid began = std::exchange(before, i.id);
        if (i.at <= from || i.at > to) continue;
        const auto share = share_of_interval(setting_at(shaft.settings, i.at), i.run_h, days_between(i.from, i.at));
        if (!share) continue;
        if (*share > kLateBeyond) {
          ++t.late;
          t.in_doubt += is_doubted(i.id) || is_doubted(began) ? 1 : 0;
        }
        t.worst_interval_share = std::max(t.worst_interval_share.value_or(0), *share);
      }
    }
    out.push_back(t);
  }
  return out;
}

std::vector<GreaseUse> grease_used(const VesselLog& log, const VesselReview& review, Instant from, Instant to) {
  std::map<GreaseId, GreaseUse> by_grease;
  std::map<GreaseId, double> variance;
  const auto use_of = [&](GreaseId id) -> GreaseUse& {
    by_grease[id].grease = id;
    return by_grease[id];
  };

  for (const Logged<Refill>& r : log.refills) {
    if (r.at <= from || r.at > to) continue;
    const auto l = std::find_if(log.lubricators.begin(), log.lubricators.end(),
                                [&](const Lubricator& x) { return x.id == r.lubricator; });
    const LubricatorSetting* s = l != log.lubricators.end() ? setting_at(l->settings, r.at) : nullptr;
    GreaseUse& use = use_of(r.what.grease.is_set() ? r.what.grease : s != nullptr ? s->grease : GreaseId{});
    if (r.what.amount && r.what.amount->volume) {
      use.poured_cm3 += in_cm3(*r.what.amount->volume);
    } else if (r.what.before && r.what.after && s != nullptr) {
      use.poured_cm3 += (in_pct(*r.what.after) - in_pct(*r.what.before)) / 100 * in_cm3(s->reservoir);
    } else {
      ++use.unmeasured;
    }
  }

  for (const Shaft& shaft : log.shafts) {
    const ShaftDetail* d = detail_of(review, shaft.id);
    std::map<GreaseId, double> into;
    double put_in = 0, var = 0;
    for (const Logged<Greasing>& g : log.greasings) {
      if (g.shaft != shaft.id || g.at <= from || g.at > to || g.what.ended == Ended::not_done) continue;
      const ShaftSetting* s = setting_at(shaft.settings, g.at);
      const GreaseId id = g.what.grease.is_set() ? g.what.grease : s != nullptr ? s->grease : GreaseId{};
      GreaseUse& use = use_of(id);
      if (!g.what.amount || !g.what.amount->volume) {
        ++use.unmeasured;
        continue;
      }
      const double y = in_cm3(*g.what.amount->volume);
      use.by_hand_cm3 += y;
      into[id] += y;
      put_in += y;
      if (d != nullptr) var += std::pow(d->prior.relative_sd * y, 2);
    }
    if (d != nullptr && review.digest != nullptr) {
      for (const LubricatorId l_id : d->lubricators) {
        const auto l = std::find_if(log.lubricators.begin(), log.lubricators.end(),
                                    [&](const Lubricator& x) { return x.id == l_id; });
        if (l == log.lubricators.end()) continue;
        // By the grease that the reservoir was registered with at each time. A shaft has one lubricator as a rule; with
        // two, delivered_cm3 is of both, and is counted once, under the first.
        if (l_id != d->lubricators.front()) continue;
        std::vector<Instant> cuts{from};
        for (const LubricatorSetting& s : l->settings) {
          if (s.from && s.from->utc > from && s.from->utc < to) cuts.push_back(s.from->utc);
        }
        cuts.push_back(to);
        for (std::size_t i = 1; i < cuts.size(); ++i) {
          const double dose = delivered_cm3(*review.digest, shaft.id, cuts[i - 1], cuts[i]);
          if (dose <= 0) continue;
          const GreaseId id = grease_of(*l, cuts[i - 1]);
          use_of(id).by_doses_cm3 += dose;
          into[id] += dose;
          put_in += dose;
          var += std::pow(0.04 * dose, 2);  // as the digest takes for delivered grease
        }
      }
    }
    if (put_in <= 0) continue;
    double change = 0;
    bool is_known = false;
    if (d != nullptr) {
      const auto first = content_at(*d, from), last = content_at(*d, to);
      is_known = first && last && d->fill.fill_pct;
      if (is_known) {
        change = last->cm3 - first->cm3;
        var += first->sd * first->sd + last->sd * last->sd;
      }
    }
    for (const auto& [id, cm3] : into) {
      GreaseUse& use = use_of(id);
      use.past_seals_cm3.value += std::max(0.0, cm3 - change * cm3 / put_in);
      variance[id] += var * cm3 / put_in;
      if (!is_known) ++use.unknown_fill;
    }
  }

  for (const LubricatorDetail& l : review.lubricator_details) {
    if (!l.delivery.high || l.delivery.high->began.estimate >= to) continue;
    const RatioShift& high = *l.delivery.high;
    const double span = std::max(1.0, days_between(high.began.estimate, to));
    const double part = std::min(1.0, days_between(std::max(from, high.began.estimate), to) / span);
    const auto found = std::find_if(log.lubricators.begin(), log.lubricators.end(),
                                    [&](const Lubricator& x) { return x.id == l.lubricator; });
    if (found != log.lubricators.end()) use_of(grease_of(*found, to)).beyond_doses_cm3 += part * high.amount_cm3.value;
  }

  std::vector<GreaseUse> out;
  for (auto& [id, use] : by_grease) {
    const double half = 1.645 * std::sqrt(variance[id]);
    use.past_seals_cm3.low = std::max(0.0, use.past_seals_cm3.value - half);
    use.past_seals_cm3.high = use.past_seals_cm3.value + half;
    out.push_back(use);
  }
  const auto code_of = [&](GreaseId id) {
    const auto g = std::find_if(log.greases.begin(), log.greases.end(), [&](const Grease& x) { return x.id == id; });
    return g != log.greases.end() ? g->code : std::string{};
  };
  std::sort(out.begin(), out.end(), [&](const GreaseUse& a, const GreaseUse& b) {
    const double used_a = a.poured_cm3 + a.by_hand_cm3, used_b = b.poured_cm3 + b.by_hand_cm3;
    return used_a != used_b ? used_a > used_b : code_of(a.grease) < code_of(b.grease);
  });
  return out;
}

}  // namespace shaftlog
