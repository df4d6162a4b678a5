#include "analysis/least_squares.hpp"

#include "base/error.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include <Eigen/QR>
#include <fmt/format.h>

namespace shaftlog {

namespace {

constexpr double kNan = std::numeric_limits<double>::quiet_NaN();
constexpr double kInf = std::numeric_limits<double>::infinity();
using Matrix = Eigen::MatrixXd;
using Vector = Eigen::VectorXd;

Eigen::Index ix(std::size_t i) { return static_cast<Eigen::Index>(i); }

void need_finite(const char* name, std::span<const double> v) {
  for (std::size_t i = 0; i < v.size(); ++i)
    if (!std::isfinite(v[i]))
      throw Error{Errc::bad_data, fmt::format("{}, row {}: {} is not finite", name, i + 1, v[i])};
}
void need_length(const char* name, std::size_t found, std::size_t wanted) {
  if (found != wanted)
    throw Error{Errc::bad_data, fmt::format("{}: {} values found, {} expected", name, found, wanted)};
}

// QR of a matrix with columns scaled to length 1, refusing collinear ones.
struct Solved {
  Vector b;
  Matrix unscaled;  // (A'A)^-1
  Matrix q;         // thin
};
Solved solve(Matrix a, const Vector& y, bool intercept) {
  const Eigen::Index p = a.cols();
  Vector scale(p);
  for (Eigen::Index j = 0; j < p; ++j) {
    scale(j) = a.col(j).norm();
    if (scale(j) > 0) a.col(j) /= scale(j);
  }
  const Eigen::HouseholderQR<Matrix> qr{a};
  const Matrix r = qr.matrixQR().topRows(p).triangularView<Eigen::Upper>();
  for (Eigen::Index j = 0; j < p; ++j)
    if (!(std::abs(r(j, j)) > 1e-12)) {
      const Eigen::Index name = intercept ? j : j + 1;
      throw Error{Errc::bad_data,
                  name == 0 ? std::string{"the intercept carries nothing"}
                            : fmt::format("column {} is a combination of those before it; its effect cannot be told "
                                          "apart",
                                          name)};
    }
  Solved s;
  s.q = qr.householderQ() * Matrix::Identity(a.rows(), p);
  const auto upper = r.triangularView<Eigen::Upper>();
  s.b = upper.solve(s.q.transpose() * y);
  s.b += upper.solve(s.q.transpose() * (y - a * s.b));  // one refinement for the last digits
  const Matrix inverse = upper.solve(Matrix::Identity(p, p));
  s.unscaled = inverse * inverse.transpose();
  for (Eigen::Index j = 0; j < p; ++j) {
    s.b(j) /= scale(j);
    s.unscaled.row(j) /= scale(j);
    s.unscaled.col(j) /= scale(j);
  }
  return s;
}

Matrix design(std::size_t n, std::span<const std::vector<double>> columns, bool intercept) {
  Matrix x(ix(n), ix(columns.size() + (intercept ? 1 : 0)));
  Eigen::Index at = 0;
  if (intercept) x.col(at++).setOnes();
  for (std::size_t j = 0; j < columns.size(); ++j) {
    const std::string name = fmt::format("column {}", j + 1);
    need_length(name.c_str(), columns[j].size(), n);
    need_finite(name.c_str(), columns[j]);
    x.col(at++) = Eigen::Map<const Vector>(columns[j].data(), ix(n));
  }
  if (x.cols() == 0) throw Error{Errc::bad_data, "model: no column and no intercept, at least 1 coefficient expected"};
  if (x.rows() < x.cols())
    throw Error{Errc::bad_data, fmt::format("records: {} found, at least {} expected", n, x.cols())};
  return x;
}

std::vector<double> list(const Vector& v) { return {v.data(), v.data() + v.size()}; }

}  // namespace

LinearFit fit_linear(std::span<const double> y, std::span<const std::vector<double>> columns, bool intercept,
                     std::span<const double> weights) {
  const std::size_t n = y.size();
  need_finite("y", y);
  const Matrix x = design(n, columns, intercept);
  Vector root = Vector::Ones(ix(n));
  if (!weights.empty()) {
    need_length("weights", weights.size(), n);
    for (std::size_t i = 0; i < n; ++i) {
      if (!(weights[i] > 0) || weights[i] == kInf)
        throw Error{Errc::bad_data, fmt::format("weight, row {}: {} is not a number above 0", i + 1, weights[i])};
      root(ix(i)) = std::sqrt(weights[i]);
    }
  }
  const Vector yy = Eigen::Map<const Vector>(y.data(), ix(n));
  const Vector wy = root.cwiseProduct(yy);
  const Solved s = solve(root.asDiagonal() * x, wy, intercept);
  const auto p = static_cast<double>(x.cols()), nn = static_cast<double>(n);
  LinearFit f;
  f.intercept = intercept;
  f.coefficients = list(s.b);
  f.unscaled.resize(static_cast<std::size_t>(s.unscaled.size()));
  Eigen::Map<Matrix>(f.unscaled.data(), x.cols(), x.cols()) = s.unscaled;  // symmetric: order does not matter
  const Vector e = yy - x * s.b, we = root.cwiseProduct(e);
  f.residuals = list(e);
  f.leverages = list(s.q.rowwise().squaredNorm());
  f.dof = nn - p;
  f.rss = we.squaredNorm();
  f.ms_residual = f.dof > 0 ? f.rss / f.dof : kNan;
  f.residual_sd = std::sqrt(f.ms_residual);
  for (Eigen::Index j = 0; j < x.cols(); ++j) f.standard_errors.push_back(f.residual_sd * std::sqrt(s.unscaled(j, j)));
  // The sum of squares of the fit itself: a difference of two totals would lose digits.
  const double w_sum = root.squaredNorm(), mean = intercept ? root.cwiseAbs2().dot(yy) / w_sum : 0.0;
  const double total = root.cwiseProduct((yy.array() - mean).matrix()).squaredNorm();
  const double explained = root.cwiseProduct(((x * s.b).array() - mean).matrix()).squaredNorm();
  const double p_model = p - (intercept ? 1 : 0);
  f.r_squared = total > 0 ? 1 - f.rss / total : kNan;
  f.ms_regression = p_model > 0 ? explained / p_model : kNan;
  f.f_statistic = f.ms_regression / f.ms_residual;
  f.f_p = f.f_statistic >= 0 && f.dof > 0 ? f_tail(f.f_statistic, p_model, f.dof) : kNan;
  for (std::size_t i = 0; i < n; ++i) {
    const double h = f.leverages[i], r = we(ix(i));
    const bool free = h < 1 - 1e-12 && f.dof > 1;
    const double others = free ? (f.rss - r * r / (1 - h)) / (f.dof - 1) : kNan;
    f.studentised.push_back(others > 0 ? r / std::sqrt(others * (1 - h)) : kNan);
    f.cook_distances.push_back(free ? r * r * h / (p * f.ms_residual * (1 - h) * (1 - h)) : kNan);
  }
  double change = 0;
  for (Eigen::Index i = 1; i < e.size(); ++i) change += (e(i) - e(i - 1)) * (e(i) - e(i - 1));
  f.durbin_watson = change / e.squaredNorm();
  f.log_likelihood = -0.5 * nn * (std::log(2 * 3.14159265358979323846 * f.rss / nn) + 1) + root.array().log().sum();
  return f;
}

LinearFit fit_line(std::span<const double> x, std::span<const double> y, std::span<const double> weights) {
  const std::vector<std::vector<double>> columns{{x.begin(), x.end()}};
  return fit_linear(y, columns, true, weights);
}

Interval coefficient_limits(const LinearFit& fit, std::size_t i, double confidence) {
  if (!(confidence > 0 && confidence < 1))
    throw Error{Errc::bad_data, fmt::format("confidence: {} is not between 0 and 1", confidence)};
  if (i >= fit.coefficients.size())
    throw Error{Errc::bad_data, fmt::format("coefficient: {} found, below {} expected", i, fit.coefficients.size())};
  if (!(fit.dof > 0)) return {-kInf, kInf};
  const double t = t_quantile(0.5 * (1 + confidence), fit.dof) * fit.standard_errors[i];
  return {fit.coefficients[i] - t, fit.coefficients[i] + t};
}

CurveFit fit_curve(const Curve& curve, std::span<const double> x, std::span<const double> y,
                   std::span<const double> start, int max_steps) {
  need_length("x", x.size(), y.size());
  need_finite("x", x);
  need_finite("y", y);
  need_finite("start", start);
  const std::size_t n = y.size(), p = start.size();
  if (p == 0 || n < p) throw Error{Errc::bad_data, fmt::format("records: {} found, at least {} expected", n, p)};
  Matrix jacobian(ix(n), ix(p));
  Vector residual(ix(n));
  std::vector<double> gradient(p);
  // \return the sum of squares, not a number when the curve leaves the finite numbers
  const auto evaluate = [&](const Vector& b, Matrix* j, Vector& e) {
    double rss = 0;
    for (std::size_t i = 0; i < n; ++i) {
      e(ix(i)) = y[i] - curve(x[i], {b.data(), p}, gradient);
      rss += e(ix(i)) * e(ix(i));
      if (j)
        for (std::size_t k = 0; k < p; ++k) (*j)(ix(i), ix(k)) = gradient[k];
    }
    return rss;
  };
  Vector b = Eigen::Map<const Vector>(start.data(), ix(p));
  CurveFit f;
  f.dof = static_cast<double>(n) - static_cast<double>(p);
  double rss = evaluate(b, &jacobian, residual), damping = 1e-3;
  double offset = kInf;
  bool flat = true;
  for (f.steps = 0; f.steps < max_steps; ++f.steps) {
    if (!std::isfinite(rss) || !jacobian.allFinite()) break;
    Vector scale = jacobian.colwise().norm();
    // A parameter whose relative change moves the curve by nothing, or only as another one does, is not determined.
    const double size = Eigen::Map<const Vector>(y.data(), ix(n)).norm();
    flat = false;
    for (std::size_t k = 0; k < p; ++k)
      if (!(scale(ix(k)) * std::max(std::abs(b(ix(k))), 1e-300) > 1e-9 * size)) flat = true;
    for (Eigen::Index k = 0; k < scale.size(); ++k)
      if (!(scale(k) > 0)) scale(k) = 1;
    const Matrix scaled = jacobian * scale.cwiseInverse().asDiagonal();
    const Eigen::HouseholderQR<Matrix> qr{scaled};
    for (Eigen::Index k = 0; k < ix(p); ++k)
      if (!(std::abs(qr.matrixQR()(k, k)) > 1e-8)) flat = true;
    const Matrix q = qr.householderQ() * Matrix::Identity(ix(n), ix(p));
    const double inside = (q.transpose() * residual).norm();
    offset = f.dof > 0 ? inside / std::sqrt(static_cast<double>(p)) / (std::sqrt(rss / f.dof) + 1e-14 * size) : inside;
    if (!flat && offset < 1e-9) break;
    bool improved = false;
    while (damping < 1e20) {
      Matrix stacked(ix(n + p), ix(p));
      stacked << scaled, std::sqrt(damping) * Matrix::Identity(ix(p), ix(p));
      Vector right = Vector::Zero(ix(n + p));
      right.head(ix(n)) = residual;
      const Vector step = stacked.householderQr().solve(right).cwiseQuotient(scale);
      const Vector next = b + step;
      Vector e(ix(n));
      const double there = evaluate(next, nullptr, e);
      if (std::isfinite(there) && there <= rss && next != b) {
        improved = there < rss || damping > 0;
        const bool settled = there == rss;
        b = next;
        rss = evaluate(b, &jacobian, residual);
        damping = std::max(damping / 10, 1e-18);
        if (settled) improved = f.steps < max_steps - 1 && offset > 1e-9 && !flat;
        break;
      }
      damping = std::max(damping * 10, 1e-12);
    }
    if (!improved) break;
  }
  f.parameters = list(b);
  f.rss = rss;
  f.residual_sd = f.dof > 0 ? std::sqrt(rss / f.dof) : kNan;
  // At the limit of double precision the offset stalls a little above its goal; 1e-6 still fixes seven digits.
  f.converged = std::isfinite(rss) && !flat && offset < 1e-6;
  f.standard_errors.assign(p, kInf);
  if (f.converged) {
    const Solved s = solve(jacobian, residual, false);
    for (std::size_t k = 0; k < p; ++k) f.standard_errors[k] = f.residual_sd * std::sqrt(s.unscaled(ix(k), ix(k)));
  }
  return f;
}

CurveFit fit_exponential_approach(std::span<const double> x, std::span<const double> y) {
  need_length("x", x.size(), y.size());
  for (std::size_t i = 0; i < x.size(); ++i)
    if (!(x[i] > 0) || x[i] == kInf)
      throw Error{Errc::bad_data, fmt::format("x, row {}: {} is not a number above 0", i + 1, x[i])};
  if (x.size() < 3) throw Error{Errc::bad_data, fmt::format("records: {} found, at least 3 expected", x.size())};
  need_finite("y", y);
  const auto [least, most] = std::minmax_element(x.begin(), x.end());
  double best_rss = kInf, best_rate = 0, best_top = 0;
  const double low = std::log(1e-3 / *most), high = std::log(1e3 / *least);
  const int cells = std::max(100, static_cast<int>((high - low) * 12));
  for (int g = 0; g <= cells; ++g) {
    const double rate = std::exp(low + (high - low) * g / cells);
    double gy = 0, gg = 0, yy = 0;
    for (std::size_t i = 0; i < x.size(); ++i) {
      const double v = -std::expm1(-rate * x[i]);
      gy += v * y[i];
      gg += v * v;
      yy += y[i] * y[i];
    }
    const double rss = yy - gy * gy / gg;
    if (rss < best_rss) {
      best_rss = rss;
      best_rate = rate;
      best_top = gy / gg;
    }
  }
  const std::vector<double> start{best_top, best_rate};
  CurveFit f = fit_curve(
      [](double at, std::span<const double> b, std::span<double> gradient) {
        gradient[0] = -std::expm1(-b[1] * at);
        gradient[1] = b[0] * at * std::exp(-b[1] * at);
        return b[0] * gradient[0];
      },
      x, y, start);
  // An optimum at the edge of the grid is a straight line or a plateau in disguise.
  if (f.converged && !(f.parameters[1] > std::exp(low) && f.parameters[1] < std::exp(high))) f.converged = false;
  return f;
}

CountFit fit_counts(std::span<const double> counts, std::span<const double> exposures,
                    std::span<const std::vector<double>> columns) {
  const std::size_t n = counts.size();
  need_length("exposures", exposures.size(), n);
  need_finite("counts", counts);
  double total = 0, watched = 0;
  for (std::size_t i = 0; i < n; ++i) {
    if (!(counts[i] >= 0))
      throw Error{Errc::bad_data, fmt::format("count, row {}: {} is not 0 or more", i + 1, counts[i])};
    if (!(exposures[i] > 0) || exposures[i] == kInf)
      throw Error{Errc::bad_data, fmt::format("exposure, row {}: {} is not a number above 0", i + 1, exposures[i])};
    total += counts[i];
    watched += exposures[i];
  }
  if (total == 0) throw Error{Errc::bad_data, "counts: all are 0, so no rate can be fitted"};
  const Matrix x = design(n, columns, true);
  Vector eta(ix(n));
  for (std::size_t i = 0; i < n; ++i) eta(ix(i)) = std::log((counts[i] + total / watched * exposures[i]) / 2 + 1e-300);
  CountFit f;
  f.dof = static_cast<double>(n) - static_cast<double>(x.cols());
  Vector b = Vector::Constant(x.cols(), kNan);
  Matrix unscaled;
  for (int step = 0; step < 200 && !f.converged; ++step) {
    Vector root(ix(n)), work(ix(n));
    for (Eigen::Index i = 0; i < ix(n); ++i) {
      const double mean = std::exp(eta(i));
      root(i) = std::sqrt(mean);
      work(i) = eta(i) - std::log(exposures[static_cast<std::size_t>(i)]) +
                (counts[static_cast<std::size_t>(i)] - mean) / mean;
    }
    const Solved s = solve(root.asDiagonal() * x, root.cwiseProduct(work), true);
    f.converged = step > 0 && (s.b - b).cwiseAbs().maxCoeff() < 1e-12 * std::max(1.0, s.b.cwiseAbs().maxCoeff());
    b = s.b;
    unscaled = s.unscaled;
    eta = x * b;
    for (std::size_t i = 0; i < n; ++i) eta(ix(i)) += std::log(exposures[i]);
  }
  f.coefficients = list(b);
  for (Eigen::Index j = 0; j < x.cols(); ++j) f.standard_errors.push_back(std::sqrt(unscaled(j, j)));
  for (std::size_t i = 0; i < n; ++i) {
    const double mean = std::exp(eta(ix(i))), c = counts[i];
    f.deviance += 2 * ((c > 0 ? c * std::log(c / mean) : 0.0) - (c - mean));
    f.pearson_chi2 += (c - mean) * (c - mean) / mean;
  }
  f.dispersion = f.dof > 0 ? f.pearson_chi2 / f.dof : kNan;
  return f;
}

}  // namespace shaftlog
