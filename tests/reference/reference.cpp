#include "reference/reference.hpp"

#include <charconv>
#include <cmath>
#include <fstream>
#include <limits>
#include <set>
#include <sstream>
#include <stdexcept>

#include <catch2/catch.hpp>

namespace shaftlog::reference {

namespace {

std::vector<std::vector<std::string>> read_csv(const std::string& path) {
  std::ifstream in{std::string{SHAFTLOG_SOURCE_DIR} + "/tests/reference/" + path};
  if (!in) throw std::runtime_error{path + " cannot be opened"};
  std::vector<std::vector<std::string>> rows;
  for (std::string line; std::getline(in, line);) {
    std::vector<std::string> fields{""};
    for (const char c : line) {
      if (c == ',')
        fields.emplace_back();
      else
        fields.back() += c;
    }
    rows.push_back(fields);
  }
  return rows;
}

double number(const std::string& text) {
  if (text.empty() || text == "NA") return std::numeric_limits<double>::quiet_NaN();
  double v = 0;
  const auto [end, ec] = std::from_chars(text.data(), text.data() + text.size(), v);
  if (ec != std::errc{} || end != text.data() + text.size()) throw std::runtime_error{"\"" + text + "\" is no number"};
  return v;
}

}  // namespace

Data::Data(const std::string& file) {
  const auto rows = read_csv("data/" + file);
  for (std::size_t c = 0; c < rows.at(0).size(); ++c) {
    auto& column = columns_[rows[0][c]];
    for (std::size_t r = 1; r < rows.size(); ++r) column.push_back(rows[r].at(c));
  }
}
const std::vector<std::string>& Data::text(const std::string& column) const { return columns_.at(column); }
std::vector<double> Data::numbers(const std::string& column) const {
  std::vector<double> v;
  for (const auto& t : columns_.at(column)) v.push_back(number(t));
  return v;
}

Answers::Answers(const std::string& file) : file_{file} {
  const auto rows = read_csv("expected/" + file);
  std::map<std::string, std::size_t> at;
  for (std::size_t c = 0; c < rows.at(0).size(); ++c) at[rows[0][c]] = c;
  for (std::size_t r = 1; r < rows.size(); ++r) {
    const auto& f = rows[r];
    rows_.push_back({f.at(at.at("check")), f.at(at.at("dataset")), f.at(at.at("quantity")), f.at(at.at("value")),
                     f.at(at.at("tol")), f.at(at.at("tol_kind")), f.at(at.at("source"))});
  }
}

void Answers::put(std::string check, std::string dataset, std::string quantity, double value) {
  numbers_[{std::move(check), std::move(dataset), std::move(quantity)}] = value;
}
void Answers::put(std::string check, std::string dataset, std::string quantity, std::string value) {
  texts_[{std::move(check), std::move(dataset), std::move(quantity)}] = std::move(value);
}

void Answers::compare() const {
  // A listing ends in * to stand for every quantity that begins like it.
  struct Listed {
    std::vector<std::string> fields;
    bool used = false;
  };
  std::vector<Listed> listed;
  for (const auto& f : read_csv("not_checked.csv"))
    if (f.at(0) == file_) listed.push_back({f});
  const auto listing = [&](const Row& row) {
    for (Listed& l : listed) {
      const std::string& q = l.fields.at(3);
      const bool star = !q.empty() && q.back() == '*';
      if (l.fields.at(1) == row.check && l.fields.at(2) == row.dataset &&
          (star ? row.quantity.compare(0, q.size() - 1, q, 0, q.size() - 1) == 0 : q == row.quantity)) {
        l.used = true;
        return true;
      }
    }
    return false;
  };
  std::set<Key> asked;
  std::size_t compared = 0, skipped = 0;
  for (const Row& row : rows_) {
    const Key key{row.check, row.dataset, row.quantity};
    const std::string name =
        file_ + ": " + row.check + " " + row.dataset + " " + row.quantity + " [" + row.source + "]";
    asked.insert(key);
    std::ostringstream says;
    says.precision(17);
    says << name;
    if (const auto t = texts_.find(key); t != texts_.end()) {
      ++compared;
      says << ": expected \"" << row.value << "\", computed \"" << t->second << "\"";
      if (t->second != row.value) FAIL_CHECK(says.str());
    } else if (const auto n = numbers_.find(key); n != numbers_.end()) {
      ++compared;
      const double want = number(row.value), tol = number(row.tol);
      const double distance = std::abs(n->second - want);
      const double allowed = row.tol_kind == "rel" ? tol * std::abs(want) : tol;
      says << ": expected " << row.value << ", computed " << n->second << ", distance " << distance << ", allowed "
           << allowed;
      if (!(distance <= allowed)) FAIL_CHECK(says.str());
    } else if (listing(row)) {
      ++skipped;
    } else {
      FAIL_CHECK(name << ": neither checked nor listed in not_checked.csv");
    }
  }
  for (const auto& [key, value] : numbers_)
    if (!asked.contains(key))
      FAIL_CHECK(file_ << ": no row asks for " << std::get<0>(key) << " " << std::get<1>(key) << " "
                       << std::get<2>(key));
  for (const auto& [key, value] : texts_)
    if (!asked.contains(key))
      FAIL_CHECK(file_ << ": no row asks for " << std::get<0>(key) << " " << std::get<1>(key) << " "
                       << std::get<2>(key));
  for (const Listed& l : listed)
    if (!l.used)
      FAIL_CHECK("not_checked.csv lists what is checked or not there: " << file_ << " " << l.fields.at(1) << " "
                                                                        << l.fields.at(3));
  CHECK(compared > 0);
  CHECK(compared + skipped == rows_.size());
}

}  // namespace shaftlog::reference
