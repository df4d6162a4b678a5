#include "base/error.hpp"
#include "interchange/log_folder.hpp"
#include "interchange/register_index.hpp"
#include "world.hpp"

#include <algorithm>
#include <fstream>
#include <map>

#include <fmt/format.h>

namespace shaftlog::world {
namespace {

void put_file(const std::filesystem::path& path, const std::string& text) {
  std::ofstream out{path, std::ios::binary};
  out << text;
  out.close();
  if (!out) throw Error{Errc::io, path.string() + ": cannot be written"};
}

Register register_of(const std::vector<MadeVessel>& fleet) {
  Register reg;
  if (!fleet.empty()) reg.greases = fleet.front().log.greases;
  for (const MadeVessel& m : fleet) {
    reg.vessels.push_back(m.log.vessel);
    reg.guns.insert(reg.guns.end(), m.log.guns.begin(), m.log.guns.end());
    reg.lubricators.insert(reg.lubricators.end(), m.log.lubricators.begin(), m.log.lubricators.end());
    reg.shafts.insert(reg.shafts.end(), m.log.shafts.begin(), m.log.shafts.end());
    reg.feeds.insert(reg.feeds.end(), m.log.feeds.begin(), m.log.feeds.end());
  }
  return reg;
}

template <class What>
void write_list(LogTableWriter& writer, const VesselLog& log, const std::vector<Logged<What>>& list, Kind kind) {
  for (const Logged<What>& r : list) {
    Entry e;
    e.head.id = r.id;
    e.head.at = Stamp{r.at, std::chrono::minutes{0}, r.precision};
    if (r.precision == Precision::day) {  // the day is told on the clock on which the moment is noon
      const auto of_day = (r.at - std::chrono::floor<std::chrono::days>(r.at)).count() / 60;
      e.head.at.offset = std::chrono::minutes{12 * 60 - of_day};
    }
    e.head.recorded_at = Stamp{r.recorded_at, std::chrono::minutes{0}, Precision::second};
    e.head.by = log.people[r.by];
    e.head.source = log.origins[r.origin];
    e.kind = kind;
    e.vessel = log.vessel.id;
    e.shaft = r.shaft;
    e.lubricator = r.lubricator;
    e.detail = r.what;
    writer.write(e);
  }
}

std::string truth_text(const std::vector<MadeVessel>& fleet) {
  std::string out = "vessel,what,kind,shaft,lubricator,from,to,size,record\n";
  for (const MadeVessel& m : fleet) {
    const auto shaft = [&](ShaftId id) {
      for (const Shaft& s : m.log.shafts)
        if (s.id == id) return s.code;
      return std::string{};
    };
    const auto lubricator = [&](LubricatorId id) {
      for (const Lubricator& l : m.log.lubricators)
        if (l.id == id) return l.code;
      return std::string{};
    };
    const auto end = [](Instant t) { return t == kLatest ? std::string{} : format_utc(t); };
    for (const Fault& f : m.truth.faults) {
      out += fmt::format("{},fault,{},{},{},{},{},{:.4f},\n", m.log.vessel.code, name_of(f.kind), shaft(f.shaft),
                         lubricator(f.lubricator), format_utc(f.onset), end(f.end), f.size);
    }
    for (const Slip& s : m.truth.slips) {
      for (const Uuid& id : s.records) {
        out += fmt::format("{},slip,{},{},{},{},{},{:.4f},{}\n", m.log.vessel.code, name_of(s.kind), shaft(s.shaft),
                           lubricator(s.lubricator), format_utc(s.at), "", s.factor, format_uuid(id));
      }
    }
    for (const Truth::Quiet& q : m.truth.silences) {
      out += fmt::format("{},silence,,{},,{},{},,\n", m.log.vessel.code, shaft(q.shaft), format_utc(q.from), end(q.to));
    }
    for (const ShaftTruth& s : m.truth.shafts) {
      out += fmt::format("{},washout_at_end,,{},,{},,{:.5f},\n", m.log.vessel.code, shaft(s.shaft),
                         format_utc(m.truth.last), s.rate.back());
      out += fmt::format("{},fill_at_end_pct,,{},,{},,{:.3f},\n", m.log.vessel.code, shaft(s.shaft),
                         format_utc(m.truth.last), 100 * (1 - s.missing.back() / s.cavity_cm3));
    }
  }
  return out;
}

}  // namespace

void write_world(const std::vector<MadeVessel>& fleet, const std::filesystem::path& folder) {
  std::filesystem::create_directories(folder / "log");
  const RegisterIndex index{register_of(fleet)};
  for (std::size_t i = 0; i < kTableCount; ++i) {
    const Table table = table_at(i);
    std::string text;
    LogTableWriter writer{table, index, text};
    const auto all = [&](const auto& rows) {
      for (const auto& r : rows) writer.write(r);
    };
    const auto lists = [&](auto list, Kind kind) {
      for (const MadeVessel& m : fleet) write_list(writer, m.log, m.log.*list, kind);
    };
    switch (table) {
      case Table::vessels:
        all(index.all().vessels);
        break;
      case Table::greases:
        all(index.all().greases);
        break;
      case Table::guns:
        all(index.all().guns);
        break;
      case Table::lubricators:
        all(index.all().lubricators);
        break;
      case Table::shafts:
        all(index.all().shafts);
        break;
      case Table::feeds:
        all(index.all().feeds);
        break;
      case Table::hours:
        lists(&VesselLog::hours, Kind::hours);
        break;
      case Table::cycles:
        lists(&VesselLog::cycles, Kind::cycles);
        break;
      case Table::levels:
        lists(&VesselLog::levels, Kind::level);
        break;
      case Table::refills:
        lists(&VesselLog::refills, Kind::refill);
        break;
      case Table::greasings:
        lists(&VesselLog::greasings, Kind::greasing);
        break;
      case Table::alarms:
        lists(&VesselLog::alarms, Kind::alarm);
        break;
      case Table::work:
        lists(&VesselLog::work, Kind::work);
        break;
      case Table::inspections:
        lists(&VesselLog::inspections, Kind::inspection);
        break;
      case Table::grease_evidence:  // of these a made fleet has none
      case Table::findings:
      case Table::verifications:
        break;
    }
    put_file(folder / "log" / std::string{file_name_of(table)}, text);
  }
  put_file(folder / "truth.csv", truth_text(fleet));
}

}  // namespace shaftlog::world
