#include "analysis/washout_lanes.hpp"

namespace shaftlog::washout {
namespace {

constexpr double kPhi0 = 0.3989422804014327;
struct Columns {
  double *p, *m, *d, *vm, *cmd, *vd;
  const double *w, *mean, *var, *cov;
};

SHAFTLOG_WIDE void predict_all(std::size_t n, const Reading& r, const Columns& c, double* mean, double* var,
                               double* cov) {
  const double run = r.run_h, k = r.season_decay, k2 = k * k, season = (1 - k2) * r.season_var;
  const double duty = r.duty_var, run_var = r.run_var, given = r.delivered, given_var = r.delivered_var;
  double *const d = c.d, *const vd = c.vd, *const cmd = c.cmd;
  const double *const w = c.w, *const m = c.m, *const vm = c.vm;
  SHAFTLOG_IVDEP
  for (std::size_t i = 0; i < n; ++i) {
    const double loss = w[i] * run, di = k * d[i], vdi = k2 * vd[i] + season, cm = k * cmd[i];
    mean[i] = m[i] + loss * (1 + di) - given;
    const double v = vm[i] + 2 * loss * cm + loss * loss * (vdi + duty) + w[i] * w[i] * run_var + given_var;
    var[i] = v < 1e-6 ? 1e-6 : v;
    cov[i] = cm + loss * vdi;
    d[i] = di;
    vd[i] = vdi;
  }
}

/// Greasing that ended with back-pressure and an amount. d and vd are those of predict_all.
template <bool kAnyOutside, bool kFed>
SHAFTLOG_INLINE void pass_over(std::size_t n, const Reading& r, const Columns& c) {
  const double y = r.amount, keep = 1 - r.outlier_share, fill = r.fill_var, rel2 = r.relative_sd * r.relative_sd;
  const double slip = r.outlier_share * r.outlier_density, capacity = r.capacity;
  double *const p = c.p, *const m = c.m, *const d = c.d, *const vm = c.vm, *const cmd = c.cmd, *const vd = c.vd;
  const double *const mean = c.mean, *const var = c.var, *const cov = c.cov;
  SHAFTLOG_IVDEP
  for (std::size_t i = 0; i < n; ++i) {
    const double a = mean[i], v = var[i], cv = cov[i], ad = d[i], avd = vd[i];
    const double low_held = a > 0 ? a : 0.0, held = low_held < capacity ? low_held : capacity;
    const double s2 = fill + rel2 * held * held + kRoundingVariance;
    const double gain = 1 / (v + s2), nu = y - a, fill_gain = fill * gain, cov_gain = cv * gain;
    double q = keep * kPhi0 * std::sqrt(gain) * inline_exp(-0.5 * nu * nu * gain);
    double qm = -fill_gain * nu, qvm = fill - fill * fill_gain, qd = ad + cov_gain * nu, qvd = avd - cv * cov_gain;
    double qc = fill * cov_gain;
    if constexpr (kAnyOutside) {
      // Where the loss met an end, the volume is exactly there: three parts, mixed by their moments.
      double at = 0, at_var = 0, low_var = v;
      if constexpr (kFed) {
        const Floor floor = floor_of(m[i], vm[i], fill);
        const double moved = v - vm[i];
        at = floor.mean;
        at_var = floor.var;
        low_var = (moved > 1e-6 ? moved : 1e-6) + floor.above_var;
      }
      const double b = capacity - a, far = 16 * v, up = a - at;
      const bool in = (up > 0) & (b > 0) & (up * up > far) & (b * b > far);
      const double low = -up / std::sqrt(low_var), high = -b / std::sqrt(v);
      const double x = a + v * gain * nu, tau = std::sqrt(v * s2 * gain);
      const double part = normal_cdf((capacity - x) / tau) - normal_cdf((at - x) / tau);
      const double q1 = ((low > kSure) | (high > kSure)) ? 0.0 : q * (part > 0 ? part : 0.0);
      const double scale = keep * kPhi0 / std::sqrt(s2), off = y - capacity, at_end = fill / s2;
      const double s0 = s2 + at_var, below = y - at, at_floor = fill / s0;
      const double scale0 = keep * kPhi0 / std::sqrt(s0);
      const double q0 = low < -kSure ? 0.0 : scale0 * normal_cdf(low) * inline_exp(-0.5 * below * below / s0);
      const double q2 = high < -kSure ? 0.0 : scale * normal_cdf(high) * inline_exp(-0.5 * off * off / s2);
      const double sum = q1 + q0 + q2, share = sum > 1e-280 ? 1 / sum : 0.0;
      const double b1 = sum > 1e-280 ? q1 * share : 1.0, b0 = q0 * share, b2 = q2 * share, be = b0 + b2;
      const double m0 = -at_floor * below, m2 = -at_end * off, ve0 = fill - fill * at_floor, ve2 = fill - fill * at_end;
      const double mm = b1 * qm + b0 * m0 + b2 * m2, md = b1 * qd + be * ad;
      const double e1 = qm - mm, e0 = m0 - mm, e2 = m2 - mm, f1 = qd - md, f0 = ad - md;
      const double mvm = b1 * (qvm + e1 * e1) + b0 * (ve0 + e0 * e0) + b2 * (ve2 + e2 * e2);
      const double mc = b1 * (qc + e1 * f1) + b0 * e0 * f0 + b2 * e2 * f0;
      const double mvd = b1 * (qvd + f1 * f1) + be * (avd + f0 * f0);
      q = in ? q : sum;
      qm = in ? qm : mm;
      qvm = in ? qvm : mvm;
      qd = in ? qd : md;
      qc = in ? qc : mc;
      qvd = in ? qvd : mvd;
    }
    const bool mixes = slip > 1e-4 * q;  // full to the usual error, nothing learnt about the duty
    const double total = mixes ? q + slip : q, b = mixes ? slip / total : 0.0, e = 1 - b, be = b * e;
    const double dm = -qm, dd = ad - qd;
    vm[i] = e * qvm + b * fill + be * dm * dm;
    cmd[i] = e * qc + be * dm * dd;
    vd[i] = e * qvd + b * avd + be * dd * dd;
    m[i] = e * qm;
    d[i] = qd + b * dd;
    p[i] *= total;
  }
}

SHAFTLOG_WIDE void pass_inside(std::size_t n, const Reading& r, const Columns& c) { pass_over<false, false>(n, r, c); }
SHAFTLOG_WIDE void pass_by_hand(std::size_t n, const Reading& r, const Columns& c) { pass_over<true, false>(n, r, c); }
SHAFTLOG_WIDE void pass_fed(std::size_t n, const Reading& r, const Columns& c) { pass_over<true, true>(n, r, c); }
void pass_bounded(std::size_t n, const Reading& r, const Columns& c) {
  r.delivered > 0 ? pass_fed(n, r, c) : pass_by_hand(n, r, c);
}

/// clip_moments() without a branch.
SHAFTLOG_INLINE void clip_beside(double& mean, double& var, double capacity) noexcept {
  const double sd = std::sqrt(var), a = -mean / sd, far = (capacity - mean) / sd, b = far < 40.0 ? far : 40.0;
  const double below = normal_cdf(a), above = normal_cdf(-b), rest = 1 - below - above, in = rest > 0 ? rest : 0.0;
  const double pa = normal_pdf(a), pb = normal_pdf(b);
  const double top = above > 0 ? above * capacity : 0, top2 = above > 0 ? above * capacity * capacity : 0;
  const double first = in * mean + sd * (pa - pb) + top;
  const double second = in * (mean * mean + var) + sd * mean * (pa - pb) + var * (a * pa - b * pb) + top2;
  const double low_held = first > 0 ? first : 0.0, held = low_held < capacity ? low_held : capacity;
  const double square = second - first * first, spread = square > 1e-6 ? square : 1e-6;
  const bool is_inside = (mean > 5 * sd) & (mean < capacity - 5 * sd);
  mean = is_inside ? mean : held;
  var = is_inside ? var : spread;
}

/// A fed shaft that took nothing, as leave_ahead().
SHAFTLOG_WIDE void pass_nothing_fed(std::size_t n, const Reading& r, const Columns& c) {
  const double fill = r.fill_var, s2 = fill + kRoundingVariance, keep = 1 - r.outlier_share;
  const double odd = r.outlier_share * 0.05, capacity = r.capacity;
  double *const p = c.p, *const m = c.m, *const d = c.d, *const vm = c.vm, *const cmd = c.cmd, *const vd = c.vd;
  const double *const ahead = c.mean, *const ahead_var = c.var, *const cov = c.cov;
  SHAFTLOG_IVDEP
  for (std::size_t i = 0; i < n; ++i) {
    const double a = ahead[i], v = ahead_var[i];
    const Floor floor = floor_of(m[i], vm[i], fill);
    const double above_floor = a - floor.mean, moved = v - vm[i];
    const double above_var = (moved > 1e-6 ? moved : 1e-6) + floor.above_var;
    const double t_var = s2 + floor.var, t_sd = std::sqrt(t_var), t = -floor.mean / t_sd;
    const double shown = normal_cdf(t), ratio = normal_pdf(t) / shown, kept = 1 - ratio * (ratio + t);
    const double margin = -floor.mean + t_sd * ratio, margin_var = t_var * kept;
    const double floor_mean = floor.mean - floor.var / t_sd * ratio;
    const double floor_var = floor.var - floor.var * floor.var / t_var * (1 - kept);
    const double v_var = above_var + margin_var, v_sd = std::sqrt(v_var), z = (margin - above_floor) / v_sd;
    const double below = normal_cdf(z), share = below > 1e-12 ? below : 1e-12;
    const double hazard = z > -6.5 ? normal_pdf(z) / share : -z - 1 / z;
    const double k = above_var / v_sd, beta = cov[i] / v, less = hazard * (hazard + z);
    double mean = above_floor - k * hazard, var = above_var - k * k * (less < 1.0 ? less : 1.0);
    const double moved_vd = vd[i] - beta * beta * (above_var - var);
    p[i] *= keep * shown * share + odd;
    d[i] += beta * (mean - above_floor);
    vd[i] = moved_vd > 0 ? moved_vd : 0.0;
    clip_beside(mean, var, capacity - floor_mean);
    const double all = floor_var + var;
    m[i] = floor_mean + mean;
    vm[i] = all > 1e-6 ? all : 1e-6;
    cmd[i] = beta * var;
  }
}

/// A greasing that was broken off, as leave_ahead().
SHAFTLOG_WIDE void pass_limit(std::size_t n, const Reading& r, const Columns& c) {
  const double capacity = r.capacity, y = r.amount < capacity ? r.amount : capacity;
  const double error_var = r.relative_sd * r.relative_sd * y * y + kRoundingVariance;
  const double keep = 1 - r.outlier_share, odd = r.outlier_share * 0.3;
  double *const p = c.p, *const m = c.m, *const d = c.d, *const vm = c.vm, *const cmd = c.cmd, *const vd = c.vd;
  const double *const ahead = c.mean, *const ahead_var = c.var, *const cov = c.cov;
  SHAFTLOG_IVDEP
  for (std::size_t i = 0; i < n; ++i) {
    const double a = ahead[i], v = ahead_var[i], s = std::sqrt(v + error_var), top = a < capacity ? a : capacity;
    const double z = (top - y) / s, below = normal_cdf(z), share = below > 1e-300 ? below : 1e-300;
    const double hazard = z > -6.5 ? normal_pdf(z) / share : -z - 1 / z, rho2 = v / (s * s);
    const double less = 1 - rho2 * hazard * (hazard + z), cut = less > 0.02 ? less : 0.02;
    double mean = z < 6 ? top + v / s * hazard : top, var = z < 6 ? v * cut : v;
    const double beta = cov[i] / v, moved_vd = vd[i] - beta * beta * (v - var);
    p[i] *= keep * share + odd;
    d[i] += beta * (mean - a);
    vd[i] = moved_vd > 0 ? moved_vd : 0.0;
    clip_beside(mean, var, capacity);
    const double left = mean - y, all = var + error_var;
    m[i] = left > 0 ? left : 0.0;
    vm[i] = all > 1e-6 ? all : 1e-6;
    cmd[i] = beta * var;
  }
}

/// Of which lanes the loss may have met an end of the cavity.
void list_outside(std::size_t n, const Reading& r, const Columns& c, std::vector<std::size_t>& out) {
  out.clear();
  for (std::size_t i = 0; i < n; ++i) {
    const double a = c.mean[i], b = r.capacity - a, far = 16 * c.var[i];
    if (!((a > 0) & (b > 0) & (a * a > far) & (b * b > far))) out.push_back(i);
  }
}

}  // namespace

void Lanes::grow() {
  const std::size_t room = room_ == 0 ? 256 : 2 * room_;
  std::vector<double> values(kColumns * room);
  for (std::size_t c = 0; c < kColumns; ++c)
    for (std::size_t i = 0; i < size_; ++i) values[c * room + i] = values_[c * room_ + i];
  values_.swap(values);
  room_ = room;
}

void Lanes::push(const Cell& cell, double w) {
  if (size_ == room_) grow();
  const std::size_t i = size_++;
  at(kP)[i] = cell.p;
  at(kM)[i] = cell.m;
  at(kD)[i] = cell.d;
  at(kVm)[i] = cell.vm;
  at(kCmd)[i] = cell.cmd;
  at(kVd)[i] = cell.vd;
  at(kW)[i] = w;
  pushed_.push_back(cell);
}

Cell Lanes::cell(std::size_t i) const noexcept {
  Cell c = pushed_[i];
  c.p = at(kP)[i];
  c.m = at(kM)[i];
  c.d = at(kD)[i];
  c.vm = at(kVm)[i];
  c.cmd = at(kCmd)[i];
  c.vd = at(kVd)[i];
  return c;
}

void Lanes::predict(const Reading& reading) {
  if (size_ == 0) return;
  const Columns c{at(kP), at(kM), at(kD), at(kVm), at(kCmd), at(kVd), at(kW), at(kMean), at(kVar), at(kCov)};
  predict_all(size_, reading, c, at(kMean), at(kVar), at(kCov));
}

void Lanes::pass(const Reading& r) {
  if (size_ == 0) return;
  const Columns c{at(kP), at(kM), at(kD), at(kVm), at(kCmd), at(kVd), at(kW), at(kMean), at(kVar), at(kCov)};
  if (took_nothing(r) && r.delivered > 0) return pass_nothing_fed(size_, r, c);
  if ((r.ended == Ended::limit || r.ended == Ended::stopped) && r.is_known && !r.is_blocked)
    return pass_limit(size_, r, c);
  if (r.ended == Ended::pressure && r.is_known && !r.is_blocked && !took_nothing(r)) {
    list_outside(size_, r, c, outside_);
    if (outside_.empty()) return pass_inside(size_, r, c);
    if (3 * outside_.size() > 2 * size_) return pass_bounded(size_, r, c);
    // The few by themselves: what meets an end costs several times as much.
    const std::size_t few = outside_.size();
    aside_.resize(kColumns * few);
    const auto aside = [&](Column k) { return aside_.data() + k * few; };
    for (std::size_t k = 0; k < kColumns; ++k)
      for (std::size_t n = 0; n < few; ++n) aside_[k * few + n] = values_[k * room_ + outside_[n]];
    pass_bounded(few, r,
                 {aside(kP), aside(kM), aside(kD), aside(kVm), aside(kCmd), aside(kVd), aside(kW), aside(kMean),
                  aside(kVar), aside(kCov)});
    pass_inside(size_, r, c);
    for (const Column k : {kP, kM, kD, kVm, kCmd, kVd})
      for (std::size_t n = 0; n < few; ++n) at(k)[outside_[n]] = aside(k)[n];
    return;
  }
  for (std::size_t i = 0; i < size_; ++i) {  // the rarer endings, one by one
    Cell x = cell(i);
    leave_ahead(x, {at(kMean)[i], at(kVar)[i], at(kCov)[i], x.d, x.vd}, r);
    at(kP)[i] = x.p;
    at(kM)[i] = x.m;
    at(kD)[i] = x.d;
    at(kVm)[i] = x.vm;
    at(kCmd)[i] = x.cmd;
    at(kVd)[i] = x.vd;
  }
}

}  // namespace shaftlog::washout
