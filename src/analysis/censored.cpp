#include "analysis/censored.hpp"

#include "analysis/distributions.hpp"
#include "base/error.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include <Eigen/LU>
#include <fmt/format.h>

namespace shaftlog {

namespace {

constexpr double kInf = std::numeric_limits<double>::infinity();
using Matrix = Eigen::MatrixXd;
using Vector = Eigen::VectorXd;

Eigen::Index ix(std::size_t i) { return static_cast<Eigen::Index>(i); }

// log-likelihood of one value in units of the scale, with first and second derivatives by its standardised ends a, b.
struct Term {
  double l = 0, da = 0, db = 0, daa = 0, dab = 0, dbb = 0;
};

// Density and its log-derivative -f'/f at z; log of lower and upper tails.
struct Law {
  double (*log_pdf)(double);
  double (*slope)(double);      // d log f
  double (*curvature)(double);  // d2 log f
  double (*log_between)(double, double);
};
double extreme_log_between(double a, double b) {
  // P(a < Z <= b) = exp(-e^a) - exp(-e^b)
  if (b == kInf) return -std::exp(a);
  const double eb = std::exp(b);
  if (a == -kInf) return std::log(-std::expm1(-eb));
  const double ea = std::exp(a);
  return -ea + std::log(-std::expm1(ea - eb));
}
constexpr Law kNormal{[](double z) { return -0.5 * z * z - 0.91893853320467274178; }, [](double z) { return -z; },
                      [](double) { return -1.0; }, [](double a, double b) { return normal_log_between(a, b); }};
constexpr Law kExtreme{[](double z) { return z - std::exp(z); }, [](double z) { return 1 - std::exp(z); },
                       [](double z) { return -std::exp(z); }, extreme_log_between};

Term term(const Law& law, double a, double b, bool exact) {
  Term t;
  if (exact) {
    t.l = law.log_pdf(a);
    t.da = law.slope(a);
    t.daa = law.curvature(a);
    return t;
  }
  t.l = law.log_between(a, b);
  // Densities over the chance of the interval, by logarithms: far out both underflow, their ratio does not.
  const double ra = std::isinf(a) ? 0.0 : std::exp(law.log_pdf(a) - t.l);
  const double rb = std::isinf(b) ? 0.0 : std::exp(law.log_pdf(b) - t.l);
  t.da = -ra;
  t.db = rb;
  t.daa = (ra > 0 ? -ra * law.slope(a) : 0.0) - ra * ra;
  t.dbb = (rb > 0 ? rb * law.slope(b) : 0.0) - rb * rb;
  t.dab = ra * rb;
  return t;
}

struct Problem {
  std::span<const CensoredValue> y;
  Matrix x;
  const Law* law;

  // Parameters are (b, log scale).
  double evaluate(const Vector& p, Vector* g, Matrix* h) const {
    const Eigen::Index k = x.cols();
    const double s = std::exp(p(k));
    if (g) g->setZero(k + 1);
    if (h) h->setZero(k + 1, k + 1);
    double sum = 0;
    for (std::size_t i = 0; i < y.size(); ++i) {
      const double mean = x.row(ix(i)).dot(p.head(k));
      const bool exact = y[i].low == y[i].high;
      const double a = (y[i].low - mean) / s, b = (y[i].high - mean) / s;
      const Term t = term(*law, a, b, exact);
      sum += t.l - (exact ? p(k) : 0.0);
      if (!g) continue;
      // da/db_j = -x_j / s, da/dlog s = -a; an infinite end carries no derivative.
      const double za = std::isinf(a) ? 0.0 : a, zb = exact || std::isinf(b) ? 0.0 : b;
      const double gm = -(t.da + t.db) / s, gs = -(t.da * za + t.db * zb) - (exact ? 1 : 0);
      const double hmm = (t.daa + 2 * t.dab + t.dbb) / (s * s);
      const double hms = (t.daa * za + t.dab * (za + zb) + t.dbb * zb + t.da + t.db) / s;
      const double hss = t.daa * za * za + 2 * t.dab * za * zb + t.dbb * zb * zb + t.da * za + t.db * zb;
      const Vector row = x.row(ix(i)).transpose();
      g->head(k) += gm * row;
      (*g)(k) += gs;
      h->topLeftCorner(k, k) += hmm * row * row.transpose();
      h->topRightCorner(k, 1) += hms * row;
      (*h)(k, k) += hss;
    }
    if (h) h->bottomLeftCorner(1, k) = h->topRightCorner(k, 1).transpose();
    return sum;
  }

  struct Result {
    Vector p;
    Matrix covariance;
    double l = -kInf;
    bool converged = false;
  };
  Result maximise(Vector p) const {
    Result r;
    Vector g;
    Matrix h;
    double l = evaluate(p, &g, &h);
    for (int step = 0; step < 200; ++step) {
      // Where the likelihood is not concave yet, a ridge makes the step go uphill.
      double ridge = 0;
      Vector move;
      const double size = h.diagonal().cwiseAbs().maxCoeff();
      while (true) {
        Matrix m = -h;
        m.diagonal().array() += ridge;
        move = m.partialPivLu().solve(g);
        if (move.allFinite() && move.dot(g) >= 0 && std::abs(move(move.size() - 1)) < 2) break;
        ridge = ridge == 0 ? 1e-6 * size : ridge * 10;
        if (ridge > 1e12 * size) break;
      }
      double share = 1;
      double next = evaluate(p + move, nullptr, nullptr);
      while (!(next >= l - 1e-12 * std::abs(l)) && share > 1e-10) {
        share /= 2;
        next = evaluate(p + share * move, nullptr, nullptr);
      }
      if (!(next >= l - 1e-12 * std::abs(l))) break;
      p += share * move;
      const double decrement = move.dot(g);
      l = evaluate(p, &g, &h);
      if (share == 1 && ridge == 0 && decrement < 1e-18 * (1 + std::abs(l))) {
        r.converged = true;
        break;
      }
      // One more Newton step from here settles the last digits; the decrement cannot fall below rounding.
      if (share == 1 && ridge == 0 && step > 2 && decrement < 1e-14) r.converged = true;
      if (r.converged && step > 150) break;
    }
    r.p = p;
    r.l = l;
    r.covariance = (-h).partialPivLu().inverse();
    return r;
  }
};

double middle(const CensoredValue& v) {
  if (v.low == -kInf) return v.high;
  if (v.high == kInf) return v.low;
  return v.low + 0.5 * (v.high - v.low);
}

}  // namespace

CensoredFit fit_censored(std::span<const CensoredValue> y, std::span<const std::vector<double>> columns, ErrorLaw law) {
  const std::size_t n = y.size(), k = columns.size() + 1;
  CensoredFit f;
  for (std::size_t i = 0; i < n; ++i) {
    const auto& v = y[i];
    if (std::isnan(v.low) || std::isnan(v.high) || v.low > v.high || v.low == kInf || v.high == -kInf ||
        (v.low == -kInf && v.high == kInf))
      throw Error{Errc::bad_data, fmt::format("value {}: between {} and {} says nothing", i + 1, v.low, v.high)};
    ++(v.low == v.high ? f.exact : v.low == -kInf ? f.left : v.high == kInf ? f.right : f.interval);
  }
  if (f.exact + f.interval < k + 1)
    throw Error{Errc::bad_data, fmt::format("values: {} exact or between two limits, at least {} expected",
                                            f.exact + f.interval, k + 1)};
  Problem problem{y, Matrix(ix(n), ix(k)), law == ErrorLaw::normal ? &kNormal : &kExtreme};
  problem.x.col(0).setOnes();
  // Columns are shifted to mean 0 and scaled to size 1 for the steps, and given back in their own units.
  std::vector<double> centre(k, 0.0), size(k, 1.0);
  for (std::size_t j = 1; j < k; ++j) {
    const auto& c = columns[j - 1];
    if (c.size() != n)
      throw Error{Errc::bad_data, fmt::format("column {}: {} values found, {} expected", j, c.size(), n)};
    for (std::size_t i = 0; i < n; ++i)
      if (!std::isfinite(c[i]))
        throw Error{Errc::bad_data, fmt::format("column {}, row {}: {} is not finite", j, i + 1, c[i])};
    const Eigen::Map<const Vector> column{c.data(), ix(n)};
    centre[j] = column.mean();
    const Vector shifted = (column.array() - centre[j]).matrix();
    size[j] = shifted.norm() / std::sqrt(static_cast<double>(n));
    if (!(size[j] > 1e-12 * std::abs(centre[j])))
      throw Error{Errc::bad_data,
                  fmt::format("column {}: all values are {}, so its effect cannot be told apart", j, c[0])};
    problem.x.col(ix(j)) = shifted / size[j];
  }
  Vector mid(ix(n));
  for (std::size_t i = 0; i < n; ++i) mid(ix(i)) = middle(y[i]);
  const Matrix normal = problem.x.transpose() * problem.x;
  const auto lu = Eigen::FullPivLU<Matrix>{normal};
  if (!(lu.rcond() > 1e-13))
    throw Error{Errc::bad_data, "columns: one is a combination of others, so effects cannot be told apart"};
  Vector start(ix(k + 1));
  start.head(ix(k)) = lu.solve(problem.x.transpose() * mid);
  const double spread = std::sqrt((mid - problem.x * start.head(ix(k))).squaredNorm() / static_cast<double>(n));
  if (!(spread > 0)) throw Error{Errc::bad_data, "values: the model fits them without error, so there is no scale"};
  start(ix(k)) = std::log(spread);
  const Problem::Result best = problem.maximise(start);

  Problem constant{y, Matrix::Ones(ix(n), 1), problem.law};
  Vector flat(2);
  const double mean = mid.mean();
  flat << mean, 0.5 * std::log((mid.array() - mean).square().mean());
  f.log_likelihood_constant = constant.maximise(flat).l;

  // Back to the columns' own units: b_j / size_j, and the intercept without the centres.
  Matrix back = Matrix::Identity(ix(k + 1), ix(k + 1));
  for (std::size_t j = 1; j < k; ++j) {
    back(ix(j), ix(j)) = 1 / size[j];
    back(0, ix(j)) = -centre[j] / size[j];
  }
  const Vector p = back * best.p;
  const Matrix v = back * best.covariance * back.transpose();
  for (std::size_t j = 0; j < k; ++j) {
    f.coefficients.push_back(p(ix(j)));
    f.standard_errors.push_back(std::sqrt(v(ix(j), ix(j))));
  }
  f.log_scale = p(ix(k));
  f.scale = std::exp(f.log_scale);
  f.log_scale_se = std::sqrt(v(ix(k), ix(k)));
  f.covariance.assign(v.data(), v.data() + v.size());
  f.log_likelihood = best.l;
  f.lr_chi2 = std::max(0.0, 2 * (f.log_likelihood - f.log_likelihood_constant));
  f.converged = best.converged && v.allFinite() && v.diagonal().minCoeff() > 0;
  return f;
}

namespace {
std::vector<double> row_of(const CensoredFit& fit, std::span<const double> point) {
  if (point.size() + 1 != fit.coefficients.size())
    throw Error{Errc::bad_data,
                fmt::format("point: {} values found, {} expected", point.size(), fit.coefficients.size() - 1)};
  std::vector<double> row{1};
  row.insert(row.end(), point.begin(), point.end());
  return row;
}
}  // namespace

LinearPredictor predict_censored(const CensoredFit& fit, std::span<const double> point) {
  const auto row = row_of(fit, point);
  LinearPredictor r;
  double variance = 0;
  for (std::size_t i = 0; i < row.size(); ++i) {
    r.value += row[i] * fit.coefficients[i];
    for (std::size_t j = 0; j < row.size(); ++j) variance += row[i] * row[j] * fit.covariance[i * (row.size() + 1) + j];
  }
  r.se = std::sqrt(variance);
  return r;
}

double quantile_censored(const CensoredFit& fit, std::span<const double> point, double p, ErrorLaw law) {
  const double z = law == ErrorLaw::normal ? normal_quantile(p) : std::log(-std::log1p(-p));
  return predict_censored(fit, point).value + fit.scale * z;
}

}  // namespace shaftlog
