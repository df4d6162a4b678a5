#include "app/pack_register.hpp"

#include "app/export.hpp"
#include "base/error.hpp"
#include "interchange/log_folder.hpp"
#include "storage/exchange_repository.hpp"
#include "storage/register_repository.hpp"

#include <array>
#include <charconv>
#include <map>

#include <fmt/format.h>

namespace shaftlog {
namespace {

constexpr std::array<Table, 7> kTables{Table::vessels, Table::greases, Table::guns,           Table::lubricators,
                                       Table::shafts,  Table::feeds,   Table::grease_evidence};

struct Line {
  std::string key;  ///< empty: it goes by all it says
  std::string text;
};

std::string joined(std::initializer_list<std::string_view> words) {
  std::string out;
  for (const std::string_view w : words) {
    if (!out.empty()) out += '\x1f';
    out += w;
  }
  return out;
}
std::string from_of(const std::optional<Stamp>& from) {
  return from ? std::to_string(in_unix_s(from->utc)) : std::string{};
}

/// Lines of one table, each with its key, in the order of the codes.
class Lines {
 public:
  explicit Lines(const RegisterIndex& index) : index_{index} {}

  std::vector<Line> of(Table table, std::string& header) {
    lines_.clear();
    header.clear();
    LogTableWriter only_header{table, index_, header};
    header_ = header.size();
    table_ = table;
    const Register& all = index_.all();
    const auto vessel = [&](VesselId id) { return index_.find(id)->code; };
    switch (table) {
      case Table::vessels:
        for (const Vessel& v : all.vessels) add(v, joined({"vessel", v.code}));
        break;
      case Table::greases:
        for (const Grease& g : all.greases) add(g, joined({"grease", g.code}));
        break;
      case Table::guns:
        for (Gun g : all.guns) {
          for (const GunCalibration& c : std::exchange(g.calibrations, {})) {
            g.calibrations = {c};
            add(g, joined({"gun", vessel(g.vessel), g.code, from_of(c.from)}));
          }
        }
        break;
      case Table::lubricators:
        for (Lubricator l : all.lubricators) {
          for (const LubricatorSetting& s : std::exchange(l.settings, {})) {
            l.settings = {s};
            add(l, joined({"lubricator", vessel(l.vessel), l.code, from_of(s.from)}));
          }
        }
        break;
      case Table::shafts:
        for (Shaft h : all.shafts) {
          for (const ShaftSetting& s : std::exchange(h.settings, {})) {
            h.settings = {s};
            add(h, joined({"shaft", vessel(h.vessel), h.code, from_of(s.from)}));
          }
        }
        break;
      case Table::feeds:
        for (const Feed& f : all.feeds) {
          const Lubricator* l = index_.find(f.lubricator);
          add(f, joined({"feed", vessel(l->vessel), l->code, index_.find(f.shaft)->code, from_of(f.from)}));
        }
        break;
      default:
        for (const GreaseEvidence& e : all.grease_evidence) add(e, {});
        break;
    }
    return std::move(lines_);
  }

 private:
  template <class Row>
  void add(const Row& row, std::string key) {
    std::string text;
    LogTableWriter writer{table_, index_, text};
    writer.write(row);
    lines_.push_back({std::move(key), text.substr(header_)});
  }
  const RegisterIndex& index_;
  Table table_ = Table::vessels;
  std::size_t header_ = 0;
  std::vector<Line> lines_;
};

RegisterIndex sorted_index(Database& db) {
  Register reg = RegisterRepository{db}.load();
  sort_by_code(reg);
  return RegisterIndex{std::move(reg)};
}

std::int64_t number_of(std::string_view text) {
  std::int64_t n = 0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), n);
  if (error != std::errc{} || end != text.data() + text.size() || n < 0 || n > in_unix_s(kLatest)) {
    throw Error{Errc::bad_data, "the register in it is wrong: a row has no moment"};
  }
  return n;
}

class Merge {
 public:
  Merge(Database& db, const std::string& by) : db_{db}, register_{db}, exchange_{db} {
    change_.by = by;
    change_.is_told = true;
  }

  RegisterMerge run(PartReader& parts) {
    const auto times = exchange_.register_times();
    for (const Table table : kTables) {
      index_ = sorted_index(db_);
      const std::string_view text = parts.next();
      const std::string_view moments = parts.next();
      std::string header;
      ours_.clear();
      for (Line& l : Lines{index_}.of(table, header)) {
        const auto t = times.find(l.key);
        ours_.emplace(l.key, Ours{std::move(l.text), t == times.end() ? 0 : t->second.at_s});
      }
      read_table(table, text, moments);
    }
    // A row that another file told bears that file's moment, so that a third one judges it alike.
    const auto now = exchange_.register_times();
    for (const auto& [key, at_s] : told_) {
      const auto row = now.find(key);
      if (row != now.end() && row->second.at_s < at_s)
        exchange_.note_register_time({row->second.table, row->second.row, at_s});
    }
    return std::move(result_);
  }

 private:
  struct Ours {
    std::string text;
    std::int64_t at_s = 0;
  };

  void read_table(Table table, std::string_view text, std::string_view moments) {
    LogFileReader reader{table, CsvReader::of_text(text)};
    for (;;) {
      const CsvReader::Got got = reader.next();
      if (got == CsvReader::Got::end) break;
      const auto end = moments.find('\n');
      const std::int64_t at_s = number_of(moments.substr(0, end));
      moments.remove_prefix(end == std::string_view::npos ? moments.size() : end + 1);
      std::vector<Fault> faults;
      if (got == CsvReader::Got::fault) {
        faults.push_back({{}, 0, {}, {}, reader.csv().fault()});
      } else {
        read_row(table, reader.fields(), std::string{reader.csv().raw()} + '\n', at_s, faults);
      }
      if (!faults.empty()) {
        faults.front().file = file_name_of(table);
        faults.front().line = reader.csv().line();
        throw Error{Errc::bad_data, "the register in it: " + faults.front().text()};
      }
    }
  }

  void read_row(Table table, const Fields& fields, const std::string& text, std::int64_t at_s,
                std::vector<Fault>& faults) {
    FieldOptions options;
    options.takes_any_name = true;  // the other side has it, and may not learn of a limit by its packs being refused
    std::vector<Fault> warnings;
    const auto vessel = [this](VesselId id) { return index_.find(id)->code; };
    switch (table) {
      case Table::vessels:
        if (auto row = parse_vessel(fields, options, faults, warnings)) {
          settle(joined({"vessel", row->code}), "vessel " + row->code, text, at_s,
                 [&](const auto& change) { return register_.put(*row, change); });
        }
        return;
      case Table::greases:
        if (auto row = parse_grease(fields, options, faults)) {
          settle(joined({"grease", row->code}), "grease " + row->code, text, at_s,
                 [&](const auto& change) { return register_.put(*row, change); });
        }
        return;
      case Table::guns:
        if (const auto row = parse_gun(fields, index_, options, faults)) {
          settle(joined({"gun", vessel(row->vessel), row->code, from_of(row->calibration.from)}),
                 fmt::format("gun {} of {}", row->code, vessel(row->vessel)), text, at_s, [&](const auto& change) {
                   return register_.put_gun(row->vessel, row->code, row->calibration, change);
                 });
        }
        return;
      case Table::lubricators:
        if (const auto row = parse_lubricator(fields, index_, options, faults)) {
          settle(joined({"lubricator", vessel(row->vessel), row->code, from_of(row->setting.from)}),
                 fmt::format("lubricator {} of {}", row->code, vessel(row->vessel)), text, at_s,
                 [&](const auto& change) {
                   return register_.put_lubricator(row->vessel, row->code, row->setting, change);
                 });
        }
        return;
      case Table::shafts:
        if (const auto row = parse_shaft(fields, index_, options, faults)) {
          settle(joined({"shaft", vessel(row->vessel), row->code, from_of(row->setting.from)}),
                 fmt::format("shaft {} of {}", row->code, vessel(row->vessel)), text, at_s,
                 [&](const auto& change) { return register_.put_shaft(row->vessel, row->code, row->setting, change); });
        }
        return;
      case Table::feeds:
        if (const auto row = parse_feed(fields, index_, options, faults)) {
          const Lubricator* l = index_.find(row->lubricator);
          const std::string shaft = index_.find(row->shaft)->code;
          settle(joined({"feed", vessel(l->vessel), l->code, shaft, from_of(row->from)}),
                 fmt::format("feed {} to {} of {}", l->code, shaft, vessel(l->vessel)), text, at_s,
                 [&](const auto& change) { return register_.put_feed(*row, change); });
        }
        return;
      default:
        if (const auto row = parse_grease_evidence(fields, index_, options, faults)) {
          if (register_.put(*row) == RegisterRepository::Put::added) ++result_.added;
        }
        return;
    }
  }

  template <class PutRow>
  void settle(const std::string& key, const std::string& what, const std::string& text, std::int64_t at_s,
              const PutRow& put) {
    const auto ours = ours_.find(key);
    const bool is_theirs =
        ours == ours_.end() || std::pair{at_s, text} > std::pair{ours->second.at_s, ours->second.text};
    change_.at = from_unix(at_s);
    change_.replace = is_theirs;
    switch (put(change_)) {
      case RegisterRepository::Put::added:
        ++result_.added;
        break;
      case RegisterRepository::Put::same:
        break;
      case RegisterRepository::Put::replaced:
        result_.replaced.push_back(what);
        break;
      case RegisterRepository::Put::differs:
        result_.kept.push_back(what);
        return;
    }
    if (at_s > 0) told_[key] = at_s;
  }

  Database& db_;
  RegisterRepository register_;
  ExchangeRepository exchange_;
  RegisterRepository::Change change_;
  RegisterIndex index_;
  std::map<std::string, Ours> ours_;
  std::map<std::string, std::int64_t> told_;
  RegisterMerge result_;
};

}  // namespace

std::string register_parts(Database& db) {
  const RegisterIndex index = sorted_index(db);
  const auto times = ExchangeRepository{db}.register_times();
  std::string out;
  for (const Table table : kTables) {
    std::string text, moments;
    for (const Line& line : Lines{index}.of(table, text)) {
      text += line.text;
      const auto t = times.find(line.key);
      moments += std::to_string(t == times.end() ? 0 : t->second.at_s) + '\n';
    }
    append_part(out, text);
    append_part(out, moments);
  }
  return out;
}

RegisterMerge merge_register(Database& db, PartReader& parts, const std::string& by) {
  return Merge{db, by}.run(parts);
}

}  // namespace shaftlog
