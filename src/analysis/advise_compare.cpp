#include "analysis/advise.hpp"
#include "analysis/distributions.hpp"
#include "analysis/multiple_testing.hpp"
#include "analysis/shrinkage.hpp"

#include <algorithm>
#include <cmath>
#include <map>

namespace shaftlog {
namespace {

constexpr double kZ95 = 1.6448536269514722;
constexpr std::size_t kFewestOthers = 3;
constexpr double kMedianVariance = 1.5708;  ///< pi / 2: of a median, in variances of the mean, normal law
constexpr double kLeastSpread = 0.12;  ///< between sisters, of ln(washout): the least that the fleet's prior allows

Estimate of_log(double mean, double sd) {
  return {std::exp(mean), std::exp(mean - kZ95 * sd), std::exp(mean + kZ95 * sd)};
}

double median(std::vector<double> x) {
  std::sort(x.begin(), x.end());
  return 0.5 * (x[(x.size() - 1) / 2] + x[x.size() / 2]);
}

}  // namespace

std::optional<OwnLoss> own_loss(const ShaftDetail& detail) {
  const std::optional<Estimate>& w = detail.washout.washout_cm3_per_h;
  constexpr int kFewestMeasured = 3;
  if (!w || !(w->low > 0) || detail.history.group.empty() || detail.washout.exact < kFewestMeasured)
    return std::nullopt;
  // Where a rise stands, the estimate is not prior times likelihood of the present rate, so the prior cannot be divided
  // out of it: the stretch that stands is read by itself.
  const std::optional<OwnRate> alone = fit_alone(detail.history, detail.prior, detail.washout);
  const bool is_shifting = detail.washout.step || detail.washout.wear;
  double log_w = std::log(w->value), sd = (std::log(w->high) - std::log(w->low)) / (2 * kZ95);
  if (alone && alone->measured >= kFewestMeasured) {
    log_w = alone->log_w;
    sd = alone->sd;
  } else if (!is_shifting) {
    return std::nullopt;
  }
  sd = std::max(0.005, sd);
  constexpr double kLeastWeight = 0.25;  // of the records, in weights of what is known of any sister
  if (sd * sd * kLeastWeight > detail.prior.sd_log_w * detail.prior.sd_log_w) return std::nullopt;
  OwnLoss out;
  out.vessel = detail.history.vessel;
  out.shaft = detail.shaft;
  out.key = detail.history.key;
  out.group = detail.history.group;
  out.place = place_of(std::string_view{out.key}.substr(out.key.find('/') + 1));
  out.log_w = log_w;
  out.sd = sd;
  return out;
}

std::string place_of(std::string_view shaft_code) {
  return std::string{shaft_code.substr(0, shaft_code.find_first_of("_-.0123456789"))};
}

std::vector<PeerLoss> compare_losses(std::span<const OwnLoss> shafts, double q) {
  std::map<std::string, std::vector<const OwnLoss*>> whole, cells;
  for (const OwnLoss& s : shafts) {
    whole[s.group].push_back(&s);
    cells[s.group + ", " + s.place].push_back(&s);
  }
  // Those of a place that is too rare are compared with their whole group.
  std::erase_if(cells, [](const auto& cell) { return cell.second.size() < kFewestOthers + 1; });
  for (const auto& [name, members] : whole) {
    if (members.size() < kFewestOthers + 1) continue;
    for (const OwnLoss* s : members)
      if (!cells.contains(s->group + ", " + s->place)) cells[name].push_back(s);
  }

  struct Row {
    PeerLoss peer;
    const OwnLoss* own = nullptr;
    double off = 0;             // from the median of the others
    double var = 0, share = 0;  // of that: known variance, and share of the sisters' spread that the median brings in
  };
  std::vector<Row> rows;
  double dof = 0;
  for (auto& [name, tested] : cells) {
    const bool is_rest = whole.contains(name);
    std::vector<const OwnLoss*> members = is_rest ? whole.at(name) : tested;
    const auto by_key = [](const OwnLoss* a, const OwnLoss* b) { return a->key < b->key; };
    std::sort(members.begin(), members.end(), by_key);
    std::vector<double> y, v;
    for (const OwnLoss* s : members) {
      y.push_back(s->log_w);
      v.push_back(s->sd * s->sd);
    }
    const RandomEffects all = random_effects(y, v);
    dof += static_cast<double>(tested.size()) - 1;
    for (std::size_t i = 0; i < members.size(); ++i) {
      if (std::find(tested.begin(), tested.end(), members[i]) == tested.end()) continue;
      std::vector<double> others_y = y, others_v = v;
      others_y.erase(others_y.begin() + static_cast<std::ptrdiff_t>(i));
      others_v.erase(others_v.begin() + static_cast<std::ptrdiff_t>(i));
      const double middle = median(others_y), n = static_cast<double>(others_y.size());
      const double kept = all.tau2 / (all.tau2 + v[i]);
      Row& row = rows.emplace_back();
      row.own = members[i];
      row.off = y[i] - middle;
      row.share = kMedianVariance / n;
      row.var = v[i] + row.share * median(others_v);
      row.peer.vessel = members[i]->vessel;
      row.peer.shaft = members[i]->shaft;
      row.peer.group = name;
      row.peer.sisters = static_cast<int>(others_y.size());
      row.peer.own_cm3_per_h = of_log(y[i], members[i]->sd);
      row.peer.shrunk_cm3_per_h =
          of_log(all.shrunk[i], std::sqrt(kept * v[i] + (1 - kept) * (1 - kept) * all.se * all.se));
      row.peer.factor = std::exp(row.off);
    }
  }
  if (rows.empty()) return {};
  // By medians, here and above: the shafts that stand out must not widen the yardstick they are held to.
  std::vector<double> square, known, share;
  for (const Row& r : rows) {
    square.push_back(r.off * r.off);
    known.push_back(r.var);
    share.push_back(r.share);
  }
  constexpr double kMedianOfSquare = 0.4549;  // of chi-square with 1 degree of freedom
  constexpr double kEfficiency = 0.37;        // of a spread by medians against that of all values, normal law
  const double seen = (median(square) / kMedianOfSquare - median(known)) / (1 + median(share));
  const double least = kLeastSpread * kLeastSpread, between = std::max(least, seen);
  dof = std::max(1.0, seen > least ? kEfficiency * dof : dof);
  for (Row& r : rows)
    r.peer.p = std::min(1.0, 2 * t_tail(std::abs(r.off) / std::sqrt(r.var + (1 + r.share) * between), dof));

  std::vector<double> p;
  for (const Row& r : rows) p.push_back(r.peer.p);
  const std::vector<double> adjusted = adjust_p(p);
  for (std::size_t i = 0; i < rows.size(); ++i) {
    rows[i].peer.adjusted_p = adjusted[i];
    rows[i].peer.stands_out = adjusted[i] <= q;
  }
  std::sort(rows.begin(), rows.end(), [](const Row& a, const Row& b) {
    if (a.peer.adjusted_p != b.peer.adjusted_p) return a.peer.adjusted_p < b.peer.adjusted_p;
    if (a.peer.p != b.peer.p) return a.peer.p < b.peer.p;
    return a.own->key < b.own->key;
  });
  std::vector<PeerLoss> peers;
  for (const Row& r : rows) peers.push_back(r.peer);
  return peers;
}

}  // namespace shaftlog
