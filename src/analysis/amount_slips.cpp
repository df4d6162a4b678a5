#include "analysis/amount_law.hpp"
#include "analysis/contradictions.hpp"
#include "analysis/distributions.hpp"
#include "base/decimal.hpp"
#include "base/figure.hpp"
#include "domain/amount.hpp"

#include <algorithm>
#include <array>
#include <chrono>
#include <cmath>
#include <set>
#include <span>
#include <tuple>

#include <fmt/format.h>

namespace shaftlog {
namespace {

// Chances a greasing (judgements, no source).
constexpr double kTimesTen = 0.004;  // a nought or the point, each way
constexpr double kOtherUnit = 0.003,
                 kStrange = 0.0007;  // each other unit: one that this ship writes, and one it does not
constexpr double kOtherGun = 0.003;
constexpr double kDigits = 0.003;  // two digits exchanged, one lost or one typed twice, each
constexpr double kOdd = 0.015;     // an amount that none of these explains
constexpr double kSwap = 0.008;
constexpr double kMoved = 0.002, kMonthOff = 0.0005;  // each other date
constexpr double kReports = 1.5;                      // natural-log odds
constexpr double kReasonOdds = 1.5;
constexpr double kWorthAWord = 0.36;  // of ln(amount / expected)
constexpr std::size_t kRegular = 8;

struct Point {
  const Logged<Greasing>* record = nullptr;
  double taken = 0, sd = 0;  // [cm3]
  double run_h = 0;
};

/// What the typed figure may have meant.
struct Reading {
  double value = 0;  // [cm3]
  double chance = 0;
  std::string says;
  const GreasingInterval* of = nullptr;  // the greasing of a span
};

class Slips {
 public:
  Slips(const VesselLog& log, const std::map<ShaftId, ShaftHistory>& histories,
        const std::map<ShaftId, WashoutResult>& washouts, const std::map<ShaftId, WashoutPrior>& priors)
      : log_{log} {
    for (const Logged<Greasing>& g : log.greasings) {
      records_[g.id] = &g;
      if (g.what.amount) is_written_.insert(g.what.amount->unit);
    }
    for (const Shaft& shaft : log.shafts) {  // by code: row numbers depend on how the log was read
      const auto history = histories.find(shaft.id);
      const auto washout = washouts.find(shaft.id);
      if (history == histories.end() || washout == washouts.end()) continue;
      const auto prior = priors.find(shaft.id);
      laws_.emplace_back(full_spans(history->second, washout->second),
                         prior == priors.end() ? WashoutPrior{} : prior->second, history->second.cavity_cm3);
      histories_.push_back(&history->second);
      const std::vector<FullSpan>& spans = laws_.back().spans();
      usual_.emplace_back();
      for (std::size_t i = 0; i < spans.size(); ++i) usual_.back().push_back(usual_cm3(spans, i));
      points_.push_back(points_of(history->second, washout->second, laws_.back()));
    }
  }

  std::vector<Suspect> run() {
    std::vector<Suspect> dates;
    for (std::size_t k = 0; k < laws_.size(); ++k) {
      for (std::size_t i = 0; i < laws_[k].spans().size(); ++i) moved(k, i, dates);
    }
    // Of neighbours that may both be misdated the likelier one is.
    std::stable_sort(dates.begin(), dates.end(),
                     [](const Suspect& a, const Suspect& b) { return a.strength > b.strength; });
    for (Suspect& s : dates) {
      if (is_told_.contains(s.record)) continue;
      is_told_.insert(s.record);
      is_told_.insert(s.against.begin(), s.against.end());
      out_.push_back(std::move(s));
    }
    swapped();
    for (std::size_t k = 0; k < laws_.size(); ++k) {
      for (std::size_t i = 0; i < laws_[k].spans().size(); ++i) single(k, i);
      regular(points_[k]);
    }
    std::sort(out_.begin(), out_.end(), [](const Suspect& a, const Suspect& b) {
      return std::tie(a.at, a.record, a.kind) < std::tie(b.at, b.record, b.kind);
    });
    return std::move(out_);
  }

 private:
  std::vector<Point> points_of(const ShaftHistory& history, const WashoutResult& washout, const AmountLaw& law) const {
    std::vector<Point> out;
    for (std::size_t k = 0; k < washout.steps.size() && k < history.intervals.size(); ++k) {
      const GreasingInterval& i = history.intervals[k];
      const WashoutStep& s = washout.steps[k];
      const auto record = records_.find(i.id);
      if (record == records_.end() || !i.taken_cm3 || i.ended != Ended::pressure) continue;
      // A 90 % interval of a normal law is 3.29 sd wide.
      const double sd =
          std::max({(s.expected_high - s.expected_low) / 3.29, law.fill_sd_cm3(), 0.05 * s.expected_cm3, 2.0});
      out.push_back({record->second, *i.taken_cm3, sd, i.run_h});
    }
    return out;
  }

  [[nodiscard]] std::vector<Reading> readings(const Logged<Greasing>& record, double taken) const {
    std::vector<Reading> out{{taken / 10, kTimesTen, "a factor of 10 too high"},
                             {taken * 10, kTimesTen, "a factor of 10 too low"}};
    const Amount& amount = *record.what.amount;
    const auto typed = parse_decimal(amount.typed);
    if (!typed) return out;
    Conversion with;
    GreaseId grease = record.what.grease;
    for (const Shaft& s : log_.shafts) {
      if (s.id != record.shaft || grease.is_set()) continue;
      if (const ShaftSetting* set = setting_at(s.settings, record.at)) grease = set->grease;
    }
    for (const Grease& g : log_.greases) {
      if (g.id == grease && g.density.base() > 0) with.density = g.density;
    }
    const auto stroke_of = [&](const Gun& g) -> std::optional<Volume> {
      std::optional<Volume> held;
      for (const GunCalibration& c : g.calibrations) {
        if (!c.from || c.from->utc <= record.at) held = c.per_stroke;
      }
      return held;
    };
    for (const Gun& g : log_.guns) {
      if (record.what.gun.is_set() ? g.id == record.what.gun : log_.guns.size() == 1) with.per_stroke = stroke_of(g);
    }
    for (const Unit u : {Unit::cm3, Unit::l, Unit::g, Unit::kg, Unit::oz, Unit::lb, Unit::strokes}) {
      if (u == amount.unit || (u == Unit::cm3 && amount.unit == Unit::ml)) continue;
      const Amount meant = make_amount(*typed, u, with);
      const bool is_usual = is_written_.contains(u) || (u == Unit::cm3 && is_written_.contains(Unit::ml));
      if (meant.volume)
        out.push_back({in_cm3(*meant.volume), is_usual ? kOtherUnit : kStrange,
                       fmt::format("written as {} but meant in {}", name_of(amount.unit), name_of(u))});
    }
    if (amount.unit == Unit::strokes) {
      for (const Gun& g : log_.guns) {
        if (g.id == record.what.gun) continue;
        const auto stroke = stroke_of(g);
        if (stroke) {
          out.push_back({typed->value() * in_cm3(*stroke), kOtherGun, fmt::format("pumped with gun {}", g.code)});
        }
      }
    }
    digits(amount.typed, taken, out);
    return out;
  }

  // Other figures that differ by one slip of the finger.
  static void digits(const std::string& typed, double taken, std::vector<Reading>& out) {
    const auto as_typed = parse_decimal(typed);
    if (!as_typed || as_typed->value() <= 0) return;
    const double per = taken / as_typed->value();
    const auto offer = [&](const std::string& other, double chance, const char* what) {
      const auto v = parse_decimal(other);
      if (v && other != typed)
        out.push_back({v->value() * per, chance, fmt::format("{} typed for {}{}", typed, other, what)});
    };
    const auto is_digit = [](char c) { return c >= '0' && c <= '9'; };
    const auto n = static_cast<double>(typed.size());
    for (std::size_t i = 0; i + 1 < typed.size(); ++i) {
      if (!is_digit(typed[i]) || !is_digit(typed[i + 1])) continue;
      std::string other = typed;
      if (typed[i] == typed[i + 1]) {
        offer(other.erase(i, 1), kDigits, ", a digit twice");
      } else {
        std::swap(other[i], other[i + 1]);
        offer(other, kDigits / std::max(1.0, n - 1), ", two digits exchanged");
      }
    }
    for (std::size_t i = 0; i <= typed.size() && typed.size() < 5; ++i) {
      for (char c = '0'; c <= '9'; ++c) {
        std::string other = typed;
        offer(other.insert(i, 1, c), kDigits / (10 * (n + 1)), ", a digit lost");
      }
    }
  }

  /// What the greasings about one would have it take, by the median of their rates [cm3]; empty: too few of them.
  static std::optional<double> usual_cm3(const std::vector<FullSpan>& spans, std::size_t i) {
    const FullSpan& s = spans[i];
    std::array<double, 8> rates{};
    std::size_t n = 0;
    for (std::size_t k = i > 4 ? i - 4 : 0; k < std::min(spans.size(), i + 5); ++k) {
      if (k != i && spans[k].baseline == s.baseline && spans[k].run_h > 0)
        rates[n++] = (spans[k].taken_cm3 + spans[k].delivered_cm3) / spans[k].run_h;
    }
    if (n < 2) return std::nullopt;
    std::nth_element(rates.begin(), rates.begin() + n / 2, rates.begin() + n);
    return std::max(0.0, rates[n / 2] * s.run_h - s.delivered_cm3);
  }

  /// Whether an amount leaves those about it far enough to be looked at: cheap.
  [[nodiscard]] bool is_worth_a_look(std::size_t shaft, std::size_t i) const {
    const std::optional<double>& expected = usual_[shaft][i];
    if (!expected) return true;
    const double taken = laws_[shaft].spans()[i].taken_cm3, off = std::abs(taken - *expected);
    return off > 2.5 * laws_[shaft].fill_sd_cm3() && off > 0.25 * std::min(taken, *expected);
  }

  struct Verdict {
    double odds = -1e300, ordinary = 0, slip = 0, odd = 0;
    AmountEvidence evidence;
    std::vector<Reading> readings;
    std::vector<double> scores;
  };
  [[nodiscard]] Verdict judge(std::size_t shaft, std::size_t i, std::size_t after) const {
    const AmountLaw& law = laws_[shaft];
    const FullSpan& s = law.spans()[i];
    Verdict v;
    v.evidence = law.weigh(i, after);
    v.ordinary = log_sum_exp(std::vector<double>{v.evidence.plain, v.evidence.change, v.evidence.cut_short});
    v.odd = v.evidence.odd + std::log(kOdd);
    std::vector<double> values;
    const std::optional<double>& cavity = histories_[shaft]->cavity_cm3;
    for (std::size_t k = s.first; k <= s.last; ++k) {
      const GreasingInterval& g = histories_[shaft]->intervals[k];
      if (!g.taken_cm3 || *g.taken_cm3 <= 0 || !records_.contains(g.id)) continue;
      for (Reading& r : readings(*records_.at(g.id), *g.taken_cm3)) {
        const double total = s.taken_cm3 - *g.taken_cm3 + r.value;
        if (r.value <= 0 || (cavity && total > 1.15 * *cavity)) continue;  // what was meant must be possible
        values.push_back(total);
        r.of = &g;
        v.readings.push_back(std::move(r));
      }
    }
    v.scores = law.plain_if(i, after, values);
    // A density in the entered figure: the stretch of the scale counts too.
    for (std::size_t k = 0; k < values.size(); ++k)
      v.scores[k] += std::log(v.readings[k].chance * v.readings[k].value / *v.readings[k].of->taken_cm3);
    v.slip = v.scores.empty() ? -1e300 : log_sum_exp(v.scores);
    v.odds = log_sum_exp(v.slip, v.odd) - v.ordinary;
    return v;
  }

  [[nodiscard]] std::size_t known_after(std::size_t shaft, std::size_t i) const {
    return std::min(AmountLaw::kAfter, laws_[shaft].spans().size() - 1 - i);
  }

  void single(std::size_t shaft, std::size_t i) {
    const AmountLaw& law = laws_[shaft];
    const FullSpan& s = law.spans()[i];
    if (s.taken_cm3 <= 0 || is_told_.contains(s.record) || !is_worth_a_look(shaft, i)) return;
    const std::size_t known = known_after(shaft, i);
    const Verdict v = judge(shaft, i, known);
    if (v.odds < kReports) return;
    const double expected = v.evidence.expected_cm3;
    const double factor = std::log(std::max(s.taken_cm3, 1.0) / std::max(expected, 1.0));
    if (std::abs(factor) < kWorthAWord) return;
    // Next to nothing where much was due has an explanation of its own: the path is blocked.
    if ((s.is_path_suspect || !s.is_single) && v.slip < v.odd) return;
    std::size_t seen = 0;
    while (seen < known && judge(shaft, i, seen).odds < kReports) ++seen;
    std::vector<std::size_t> order(v.scores.size());
    for (std::size_t k = 0; k < order.size(); ++k) order[k] = k;
    std::stable_sort(order.begin(), order.end(), [&](auto a, auto b) { return v.scores[a] > v.scores[b]; });
    const GreasingInterval* wrong = s.is_single ? nullptr : v.readings[order[0]].of;
    const Uuid record = wrong != nullptr ? wrong->id : s.record;
    if (is_told_.contains(record)) return;
    is_told_.insert(record);
    std::string says =
        wrong == nullptr
            ? fmt::format("{} cm3 where about {} cm3 were to be expected", plain_figure(s.taken_cm3, 4),
                          plain_figure(expected, 2))
            : fmt::format(
                  "{} cm3, and with the greasings up to the next full cavity {} cm3 where about {} cm3 were to "
                  "be expected",
                  plain_figure(*wrong->taken_cm3, 4), plain_figure(s.taken_cm3, 4), plain_figure(expected, 2));
    if (!order.empty() && v.slip > v.odd) {
      const Reading& best = v.readings[order[0]];
      says += fmt::format(
          "; {} cm3 would fit: {} {}", plain_figure(best.value, 4),
          order.size() < 2 || v.scores[order[0]] - v.scores[order[1]] > kReasonOdds ? "probably" : "perhaps",
          best.says);
      if (order.size() > 1 && v.scores[order[0]] - v.scores[order[1]] < 2 * kReasonOdds)
        says += fmt::format(", or {} ({} cm3)", v.readings[order[1]].says, plain_figure(v.readings[order[1]].value, 4));
    } else {
      says += ", and no slip of unit, gun or digits explains it";
    }
    const Instant seen_at = law.spans()[i + seen].at;
    out_.push_back({SuspectKind::amount_slip,
                    record,
                    {},
                    wrong != nullptr ? wrong->at : s.at,
                    seen_at,
                    std::move(says),
                    std::min(v.odds, 40.0)});
  }

  void swapped() {
    for (std::size_t a = 0; a < laws_.size(); ++a) {
      for (std::size_t b = a + 1; b < laws_.size(); ++b) {
        const auto& of_a = laws_[a].spans();
        const auto& of_b = laws_[b].spans();
        std::size_t j = 0;
        for (std::size_t i = 0; i < of_a.size(); ++i) {
          while (j < of_b.size() && hours_between(of_b[j].at, of_a[i].at) >= 24) ++j;
          for (std::size_t k = j; k < of_b.size() && hours_between(of_a[i].at, of_b[k].at) < 24; ++k) pair(a, i, b, k);
        }
      }
    }
  }

  // A greasing dated a year or a month off, or day and month exchanged: two intervals are then too short for what they
  // took and one too long, and all three fit when it is put where it belongs.
  void moved(std::size_t shaft, std::size_t i, std::vector<Suspect>& found) const {
    const std::vector<FullSpan>& spans = laws_[shaft].spans();
    const FullSpan& s = spans[i];
    const bool has_next = i + 1 < spans.size() && spans[i + 1].from == s.at && spans[i + 1].baseline == s.baseline;
    if (!s.is_single || spans.size() < 6 || (!has_next && i + 1 < spans.size())) return;
    if (!is_worth_a_look(shaft, i) && !(has_next && is_worth_a_look(shaft, i + 1))) return;
    // At a wrong place the hours before it are too few; too little taken has other reasons.
    constexpr double kTooMuch = 1.15;
    if (usual_[shaft][i] && s.taken_cm3 < *usual_[shaft][i]) return;
    double best = -1e300;
    Instant meant{};
    std::size_t place = 0;
    for (const auto& [t, chance] : other_dates(s.at)) {
      std::size_t j = 0;
      while (j < spans.size() && spans[j].at < t) ++j;
      if (j == spans.size() || j == i || (has_next && j == i + 1) || spans[j].from >= t) continue;
      const FullSpan& host = spans[j];
      if (!host.is_single || host.baseline != s.baseline) continue;
      if (s.delivered_cm3 + host.delivered_cm3 > 0) continue;  // where doses are to cover the loss, hours tell little
      const std::vector<std::size_t> touched =
          has_next ? std::vector<std::size_t>{i, i + 1, j} : std::vector<std::size_t>{i, j};
      // Against one amount that says nothing, and against the scatter alone.
      double odds = std::log(chance);
      double plain = odds;
      const auto weigh = [&](const FullSpan& x, std::size_t about, double sign) {
        const AmountLaw::Fit fit = laws_[shaft].fit(x, about, touched);
        odds += sign * fit.robust;
        plain += sign * fit.plain;
      };
      weigh(s, i, -1);
      weigh(host, j, -1);
      if (has_next) {
        FullSpan whole = spans[i + 1];
        weigh(whole, i + 1, -1);
        whole.from = s.from;
        whole.run_h += s.run_h;
        whole.run_sd_h = std::hypot(whole.run_sd_h, s.run_sd_h);
        whole.delivered_cm3 += s.delivered_cm3;
        weigh(whole, i, 1);
      }
      const double part = hours_between(host.from, t) / hours_between(host.from, host.at);
      FullSpan first = host, second = host;
      first.taken_cm3 = s.taken_cm3;
      for (FullSpan* x : {&first, &second}) {
        const double share = x == &first ? part : 1 - part;
        x->run_h *= share;
        x->delivered_cm3 *= share;
        x->run_sd_h = std::hypot(share * x->run_sd_h, 0.35 * host.run_h * std::sqrt(part * (1 - part)));
      }
      weigh(first, j, 1);
      weigh(second, j, 1);
      if (odds <= 0 || plain <= best) continue;
      best = plain;
      meant = t;
      place = j;
    }
    if (best < 2 * kReports) return;
    if (s.taken_cm3 < kTooMuch * laws_[shaft].weigh(i, known_after(shaft, i)).expected_cm3) return;
    Suspect out{SuspectKind::date_slip,          s.record, {spans[place].record}, s.at,
                std::max(s.at, spans[place].at), {},       std::min(best, 40.0)};
    if (has_next) {
      out.against.push_back(spans[i + 1].record);
      out.seen_at = std::max(out.seen_at, spans[i + 1].at);
    }
    out.says = fmt::format(
        "dated {}, where {} cm3 are too much for the hours before it and nothing is left of them for "
        "the next; the amounts fit if it was on {}: is the date wrong?",
        format_day(s.at), plain_figure(s.taken_cm3, 4), format_day(meant));
    found.push_back(std::move(out));
  }

  static std::vector<std::pair<Instant, double>> other_dates(Instant at) {
    using namespace std::chrono;
    const auto day = floor<days>(at);
    const year_month_day ymd{day};
    std::vector<std::pair<Instant, double>> out;
    const auto offer = [&](year_month_day other, double chance) {
      if (other.ok() && other != ymd) out.emplace_back(sys_days{other} + (at - day), chance);
    };
    offer((ymd.year() + years{1}) / ymd.month() / ymd.day(), kMoved);
    offer((ymd.year() - years{1}) / ymd.month() / ymd.day(), kMoved);
    for (const int m : {1, -1}) offer((year_month{ymd.year(), ymd.month()} + months{m}) / ymd.day(), kMonthOff);
    const auto d = static_cast<unsigned>(ymd.day()), m = static_cast<unsigned>(ymd.month());
    if (d <= 12) offer(ymd.year() / month{d} / std::chrono::day{m}, kMoved);
    return out;
  }

  struct PairVerdict {
    double odds = -1e300;
    const char* which = "both fit exchanged";
    double p_expected = 0, q_expected = 0;
  };
  [[nodiscard]] PairVerdict judge_pair(std::size_t a, std::size_t i, std::size_t b, std::size_t k,
                                       std::size_t after) const {
    const FullSpan& p = laws_[a].spans()[i];
    const FullSpan& q = laws_[b].spans()[k];
    const std::size_t after_p = std::min(after, known_after(a, i)), after_q = std::min(after, known_after(b, k));
    const AmountEvidence of_p = laws_[a].weigh(i, after_p), of_q = laws_[b].weigh(k, after_q);
    PairVerdict v;
    v.p_expected = of_p.expected_cm3;
    v.q_expected = of_q.expected_cm3;
    const auto entered = [&](const AmountEvidence& e) {
      return log_sum_exp(std::vector<double>{e.plain, e.change, e.cut_short, e.odd + std::log(kOdd)});
    };
    const std::vector<double> p_as{q.taken_cm3}, q_as{p.taken_cm3};
    double exchanged = laws_[a].plain_if(i, after_p, p_as)[0] + laws_[b].plain_if(k, after_q, q_as)[0];
    const double sum = p.taken_cm3 + q.taken_cm3, expected = v.p_expected + v.q_expected;
    if (std::min(p.taken_cm3, q.taken_cm3) < 2 && sum > 0 && expected > 0) {
      const std::vector<double> p_part{sum * v.p_expected / expected}, q_part{sum * v.q_expected / expected};
      const double together =
          laws_[a].plain_if(i, after_p, p_part)[0] + laws_[b].plain_if(k, after_q, q_part)[0] +
          std::log(std::hypot(of_p.sd_cm3, of_q.sd_cm3) / sum);  // the split is spread over the whole
      if (together > exchanged) {
        exchanged = together;
        v.which = "the sum is usual, one shaft holds both";
      }
    }
    v.odds = exchanged + std::log(kSwap) - entered(of_p) - entered(of_q);
    return v;
  }

  void pair(std::size_t a, std::size_t i, std::size_t b, std::size_t k) {
    const FullSpan& p = laws_[a].spans()[i];
    const FullSpan& q = laws_[b].spans()[k];
    if (is_told_.contains(p.record) || is_told_.contains(q.record) || !p.is_single || !q.is_single) return;
    if (!is_worth_a_look(a, i) && !is_worth_a_look(b, k)) return;
    const std::size_t known = std::max(known_after(a, i), known_after(b, k));
    const PairVerdict v = judge_pair(a, i, b, k, known);
    if (v.odds < kReports) return;
    std::size_t seen = 0;
    while (seen < known && judge_pair(a, i, b, k, seen).odds < kReports) ++seen;
    is_told_.insert(p.record);
    is_told_.insert(q.record);
    const auto time_of = [&](std::size_t shaft, std::size_t at) {
      return laws_[shaft].spans()[at + std::min(seen, known_after(shaft, at))].at;
    };
    const std::string says =
        fmt::format("{} and {} cm3 on two shafts the same day, where about {} and {} cm3 were to be expected: {}",
                    plain_figure(p.taken_cm3, 4), plain_figure(q.taken_cm3, 4), plain_figure(v.p_expected, 2),
                    plain_figure(v.q_expected, 2), v.which);
    out_.push_back({SuspectKind::swapped_shafts,
                    p.record,
                    {q.record},
                    p.at,
                    std::max(time_of(a, i), time_of(b, k)),
                    says,
                    std::min(v.odds, 40.0)});
  }

  // The same round number again and again, though the hours between differ.
  void regular(const std::vector<Point>& points) {
    for (std::size_t i = 0; i < points.size();) {
      std::size_t j = i + 1;
      while (j < points.size() && points[j].taken == points[i].taken) ++j;
      if (j - i >= kRegular) {
        const auto n = static_cast<double>(j - i);
        double mean = 0, square = 0, noise = 0;
        for (std::size_t k = i; k < j; ++k) mean += points[k].run_h / n;
        for (std::size_t k = i; k < j; ++k) square += (points[k].run_h - mean) * (points[k].run_h - mean) / (n - 1);
        for (std::size_t k = i; k < j; ++k) noise += points[k].sd / n;
        // Scatter to be expected: of the hours, in the same proportion, and half of the scatter of single amounts.
        const double sd = std::hypot(mean > 0 ? points[i].taken * std::sqrt(square) / mean : 0, 0.5 * noise);
        const double y = points[i].taken;
        const auto is_multiple = [&](double m) { return std::abs(std::remainder(y, m)) < 1e-6; };
        const double step = is_multiple(50) ? 50 : is_multiple(10) ? 10 : is_multiple(5) ? 5 : 0;
        const double odds = step > 0 && sd > 0 ? (n - 1) * std::log(2.5 * sd / step) - std::log(20.0) : 0;
        if (y > 0 && odds > kReports) {
          Suspect s{
              SuspectKind::too_regular,
              points[j - 1].record->id,
              {},
              points[j - 1].record->at,
              points[i + kRegular - 1].record->at,
              fmt::format("{} greasings in a row with exactly {} cm3 though the hours between them vary by {} %: "
                          "too regular to carry information",
                          j - i, plain_figure(y, 4), plain_figure(mean > 0 ? 100 * std::sqrt(square) / mean : 0.0, 2)),
              std::min(odds, 40.0)};
          for (std::size_t k = i; k + 1 < j; ++k) s.against.push_back(points[k].record->id);
          out_.push_back(std::move(s));
        }
      }
      i = j;
    }
  }

  const VesselLog& log_;
  std::map<Uuid, const Logged<Greasing>*> records_;
  std::set<Unit> is_written_;
  std::vector<AmountLaw> laws_;  // in the order of the shafts' codes
  std::vector<const ShaftHistory*> histories_;
  std::vector<std::vector<std::optional<double>>> usual_;  // of each span of each shaft [cm3]
  std::vector<std::vector<Point>> points_;
  std::set<Uuid> is_told_;
  std::vector<Suspect> out_;
};

}  // namespace

std::vector<Suspect> find_amount_slips(const VesselLog& log, const std::map<ShaftId, ShaftHistory>& histories,
                                       const std::map<ShaftId, WashoutResult>& washouts,
                                       const std::map<ShaftId, WashoutPrior>& priors) {
  return Slips{log, histories, washouts, priors}.run();
}

}  // namespace shaftlog
