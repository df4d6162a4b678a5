#include "app/export.hpp"

#include "base/error.hpp"
#include "base/text.hpp"
#include "interchange/log_folder.hpp"
#include "interchange/new_folder.hpp"
#include "storage/finding_repository.hpp"
#include "storage/log_repository.hpp"
#include "storage/register_repository.hpp"
#include "storage/verification_repository.hpp"

#include <algorithm>

#include <fmt/format.h>

namespace shaftlog {
namespace {

constexpr std::size_t kFlushBytes = std::size_t{1} << 20;

template <class Row, class Of>
void keep_of(std::vector<Row>& rows, const std::vector<VesselId>& vessels, Of of) {
  std::erase_if(rows, [&](const Row& r) { return std::find(vessels.begin(), vessels.end(), of(r)) == vessels.end(); });
}

/// The part of the register that concerns the vessels asked for; greases all, for any of them may be named.
std::vector<VesselId> select(Register& reg, const std::vector<std::string>& codes) {
  std::vector<VesselId> ids;
  if (codes.empty()) return ids;
  for (const std::string& code : codes) {
    const auto it =
        std::find_if(reg.vessels.begin(), reg.vessels.end(), [&](const Vessel& v) { return v.code == code; });
    if (it == reg.vessels.end()) {
      throw Error{Errc::not_found, fmt::format("\"{}\" is not a registered vessel", shown(code))};
    }
    ids.push_back(it->id);
  }
  keep_of(reg.vessels, ids, [](const Vessel& v) { return v.id; });
  keep_of(reg.guns, ids, [](const Gun& g) { return g.vessel; });
  keep_of(reg.lubricators, ids, [](const Lubricator& l) { return l.vessel; });
  keep_of(reg.shafts, ids, [](const Shaft& s) { return s.vessel; });
  std::erase_if(reg.feeds, [&](const Feed& f) {
    return std::none_of(reg.lubricators.begin(), reg.lubricators.end(),
                        [&](const Lubricator& l) { return l.id == f.lubricator; });
  });
  // Vessel by vessel, each once, in the order of the codes: the order of the log files.
  ids.clear();
  for (const Vessel& v : reg.vessels) ids.push_back(v.id);
  return ids;
}

template <class Rows>
void write_all(LogTableWriter& writer, const Rows& rows) {
  for (const auto& row : rows) writer.write(row);
}

}  // namespace

void sort_by_code(Register& reg) {
  const RegisterIndex names{reg};
  const auto code = [](const auto* row) { return row == nullptr ? std::string{} : row->code; };
  const auto by_vessel = [&](auto& rows) {
    std::sort(rows.begin(), rows.end(), [&](const auto& a, const auto& b) {
      return std::pair{code(names.find(a.vessel)), a.code} < std::pair{code(names.find(b.vessel)), b.code};
    });
  };
  const auto by_code = [](const auto& a, const auto& b) { return a.code < b.code; };
  std::sort(reg.vessels.begin(), reg.vessels.end(), by_code);
  std::sort(reg.greases.begin(), reg.greases.end(), by_code);
  by_vessel(reg.guns);
  by_vessel(reg.lubricators);
  by_vessel(reg.shafts);
  const auto key = [&](const Feed& f) {
    const Lubricator* l = names.find(f.lubricator);
    return std::tuple{l == nullptr ? std::string{} : code(names.find(l->vessel)), code(l), code(names.find(f.shaft)),
                      f.from ? in_unix_s(f.from->utc) : -1};
  };
  std::stable_sort(reg.feeds.begin(), reg.feeds.end(), [&](const Feed& a, const Feed& b) { return key(a) < key(b); });
}

ExportResult export_folder(Database& db, const std::filesystem::path& folder, const ExportOptions& options) {
  const ReadTransaction view{db};
  Register reg = RegisterRepository{db}.load();
  sort_by_code(reg);
  const std::vector<VesselId> vessels = select(reg, options.vessels);
  const RegisterIndex index{std::move(reg)};
  const Register& all = index.all();
  const LogRepository log{db};
  NewFolder target{folder};
  if (!target.is_empty() && !options.overwrite) {
    throw Error{Errc::conflict, fmt::format("{}: holds something already; expected an empty folder or a new one",
                                            shown(folder.string(), 200))};
  }

  ExportResult result;
  std::vector<NewFile> files;
  files.reserve(kTableCount);
  for (std::size_t i = 0; i < kTableCount; ++i) {
    const Table table = table_at(i);
    const std::string name{file_name_of(table)};
    NewFile& file = files.emplace_back(target.place() / name, folder / name);
    std::string text;
    LogTableWriter writer{table, index, text};
    if (is_log(table)) {
      ListQuery query;
      query.kind = kind_of(table);
      query.in_force_only = false;
      const auto take = [&](const Entry& entry) {
        writer.write(entry);
        if (text.size() > kFlushBytes) {
          file.write(text);
          text.clear();
        }
      };
      if (options.vessels.empty()) {
        log.each(query, take);
      } else {
        for (const VesselId vessel : vessels) {
          query.vessel = vessel;
          log.each(query, take);
        }
      }
    } else {
      switch (table) {
        case Table::vessels:
          write_all(writer, all.vessels);
          break;
        case Table::greases:
          write_all(writer, all.greases);
          break;
        case Table::guns:
          write_all(writer, all.guns);
          break;
        case Table::lubricators:
          write_all(writer, all.lubricators);
          break;
        case Table::shafts:
          write_all(writer, all.shafts);
          break;
        case Table::grease_evidence:
          write_all(writer, all.grease_evidence);
          break;
        case Table::findings:
          if (options.vessels.empty()) write_all(writer, FindingRepository{db}.list());
          for (const VesselId vessel : vessels) write_all(writer, FindingRepository{db}.list_of(vessel));
          break;
        case Table::verifications:
          if (options.vessels.empty()) write_all(writer, VerificationRepository{db}.list());
          for (const VesselId vessel : vessels) write_all(writer, VerificationRepository{db}.list_of(vessel));
          break;
        default:
          write_all(writer, all.feeds);
          break;
      }
    }
    file.write(text);
    file.sync();
    result.files.push_back({name, writer.rows()});
  }
  target.keep(files);
  return result;
}

}  // namespace shaftlog
