#include "analysis/distributions.hpp"
#include "reference/reference.hpp"

#include <cmath>
#include <sstream>

#include <catch2/catch.hpp>

using namespace shaftlog;
using namespace shaftlog::reference;

namespace {

// The numbers of a quantity such as "upper tail at 5 df 10", in their order.
std::vector<double> numbers_in(std::string text) {
  for (char& c : text)
    if (c == '(' || c == ')' || c == ';' || c == '_' || c == 'I' || c == 'P') c = ' ';
  std::istringstream in{text};
  std::vector<double> v;
  for (std::string word; in >> word;) {
    try {
      std::size_t used = 0;
      const double x = std::stod(word, &used);
      if (used == word.size()) v.push_back(x);
    } catch (const std::exception&) {
    }
  }
  return v;
}

double answer(const Row& row) {
  const auto v = numbers_in(row.quantity);
  const auto is = [&](const char* start) { return row.quantity.rfind(start, 0) == 0; };
  const auto count = [&](std::size_t i) { return static_cast<std::int64_t>(v.at(i)); };
  if (row.check == "normal") {
    if (is("area")) return normal_cdf(v.at(1)) - 0.5;
    if (is("cdf")) return normal_cdf(v.at(0));
    return normal_quantile(v.at(0));
  }
  if (row.check == "student_t") return is("upper tail") ? t_tail(v.at(0), v.at(1)) : -t_quantile(v.at(0), v.at(1));
  if (row.check == "chi_square") {
    if (is("upper tail")) return chi_square_tail(v.at(0), v.at(1));
    if (is("cdf")) return chi_square_cdf(v.at(0), v.at(1));
    return chi_square_quantile(1 - v.at(0), v.at(1));
  }
  if (row.check == "f") return f_tail(v.at(0), v.at(1), v.at(2));
  if (row.check == "poisson")
    return is("cdf") ? gamma_q(v.at(0) + 1, v.at(1)) : std::exp(poisson_log_pmf(count(0), v.at(1)));
  if (row.check == "incomplete_beta") return beta_cdf(v.at(0), v.at(1), v.at(2));
  if (row.check == "incomplete_gamma") return gamma_p(v.at(0), v.at(1));
  if (row.check == "log_gamma") return log_gamma(v.at(0));
  throw std::runtime_error{"unknown check " + row.check};
}

}  // namespace

TEST_CASE("reference: distributions", "[analysis][reference]") {
  Answers a{"09_distributions.csv"};
  for (const Row& row : a.rows()) a.put(row.check, row.dataset, row.quantity, answer(row));
  a.compare();
}
