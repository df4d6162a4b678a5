#pragma once

#include <map>
#include <string>
#include <string_view>
#include <tuple>
#include <vector>

namespace shaftlog::reference {

/// One row of a file under expected/.
struct Row {
  std::string check, dataset, quantity, value, tol, tol_kind, source;
};

/// A data set: columns by name, as text or as numbers (an empty field is a nan).
class Data {
 public:
  explicit Data(const std::string& file);
  [[nodiscard]] const std::vector<std::string>& text(const std::string& column) const;
  [[nodiscard]] std::vector<double> numbers(const std::string& column) const;

 private:
  std::map<std::string, std::vector<std::string>> columns_;
};

/// What our functions gave, to be held against one file of expected/.
class Answers {
 public:
  explicit Answers(const std::string& file);
  [[nodiscard]] const std::vector<Row>& rows() const { return rows_; }
  void put(std::string check, std::string dataset, std::string quantity, double value);
  void put(std::string check, std::string dataset, std::string quantity, std::string value);
  /// Fails for each row that differs, for each that is neither answered nor listed in not_checked.csv, for each answer
  /// that no row asks for, and for a listing that is not needed.
  void compare() const;

 private:
  using Key = std::tuple<std::string, std::string, std::string>;
  std::string file_;
  std::vector<Row> rows_;
  std::map<Key, double> numbers_;
  std::map<Key, std::string> texts_;
};

/// Puts answers of one check and data set under one name.
struct Into {
  Answers& answers;
  std::string check, dataset;
  void operator()(const std::string& quantity, double value) const { answers.put(check, dataset, quantity, value); }
};

}  // namespace shaftlog::reference
