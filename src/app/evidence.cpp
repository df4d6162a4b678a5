#include "app/history.hpp"
#include "base/error.hpp"
#include "base/text.hpp"
#include "interchange/log_folder.hpp"
#include "interchange/new_file.hpp"

#include <algorithm>
#include <system_error>

#include <fmt/format.h>

namespace shaftlog {
namespace {

void prepare(const std::filesystem::path& folder) {
  std::error_code ec;
  const auto status = std::filesystem::status(folder, ec);
  const std::string name = shown(folder.string(), 200);
  if (std::filesystem::exists(status) && !std::filesystem::is_directory(status))
    throw Error{Errc::conflict, fmt::format("{}: is a file; expected a folder", name)};
  std::filesystem::create_directories(folder, ec);
  if (ec) throw Error{Errc::io, fmt::format("{}: cannot be made: {}", name, ec.message())};
  const bool is_empty = std::filesystem::is_empty(folder, ec);
  if (ec) throw Error{Errc::io, fmt::format("{}: cannot be read: {}", name, ec.message())};
  if (!is_empty)
    throw Error{Errc::conflict,
                fmt::format("{}: holds something already; expected an empty folder or a new one", name)};
}

/// The vessel's part of the register; greases all, for any of them may be named.
Register part_of(const Register& reg, VesselId vessel) {
  Register out = reg;
  std::erase_if(out.vessels, [&](const Vessel& v) { return v.id != vessel; });
  std::erase_if(out.guns, [&](const Gun& g) { return g.vessel != vessel; });
  std::erase_if(out.lubricators, [&](const Lubricator& l) { return l.vessel != vessel; });
  std::erase_if(out.shafts, [&](const Shaft& s) { return s.vessel != vessel; });
  std::erase_if(out.feeds, [&](const Feed& f) {
    return std::none_of(out.shafts.begin(), out.shafts.end(), [&](const Shaft& s) { return s.id == f.shaft; });
  });
  return out;
}

void add_records(const History& h, std::vector<EvidenceFile>& files) {
  const RegisterIndex index{part_of(h.reg, h.dossier.vessel)};
  const Register& reg = index.all();
  for (std::size_t i = 0; i < kTableCount; ++i) {
    const Table table = table_at(i);
    std::string text;
    LogTableWriter writer{table, index, text};
    const auto write_all = [&](const auto& rows) {
      for (const auto& row : rows) writer.write(row);
    };
    if (is_log(table)) {
      for (const Entry& e : h.entries)
        if (e.kind == kind_of(table)) writer.write(e);
      files.push_back({fmt::format("records/{}", file_name_of(table)), std::move(text)});
      continue;
    }
    switch (table) {
      case Table::vessels:
        write_all(reg.vessels);
        break;
      case Table::greases:
        write_all(reg.greases);
        break;
      case Table::guns:
        write_all(reg.guns);
        break;
      case Table::lubricators:
        write_all(reg.lubricators);
        break;
      case Table::shafts:
        write_all(reg.shafts);
        break;
      case Table::feeds:
        write_all(reg.feeds);
        break;
      case Table::grease_evidence:
        write_all(reg.grease_evidence);
        break;
      case Table::findings:
        write_all(h.remarks);
        break;
      case Table::verifications:
        write_all(h.verifications);
        break;
      default:
        continue;  // a log table: written above
    }
    files.push_back({fmt::format("records/{}", file_name_of(table)), std::move(text)});
  }
}

}  // namespace

void write_whole(const std::filesystem::path& file, std::string_view text) {
  NewFile out{file};
  out.write(text);
  out.sync();
  out.keep();
}

std::vector<std::string> write_evidence(const History& history, std::vector<EvidenceFile> made,
                                        const std::filesystem::path& folder) {
  add_records(history, made);
  std::sort(made.begin(), made.end(), [](const EvidenceFile& a, const EvidenceFile& b) { return a.name < b.name; });
  prepare(folder);
  std::string sums;
  std::vector<std::string> names;
  for (const EvidenceFile& f : made) {
    const std::filesystem::path path = folder / f.name;
    std::error_code ec;
    std::filesystem::create_directories(path.parent_path(), ec);
    if (ec) throw Error{Errc::io, fmt::format("{}: cannot be made: {}", path.parent_path().string(), ec.message())};
    write_whole(path, f.text);
    sums += fmt::format("{}  {}\n", hex(sha256(f.text)), f.name);
    names.push_back(f.name);
  }
  write_whole(folder / "SHA256SUMS", sums);  // last: without it the folder is not whole
  names.emplace_back("SHA256SUMS");
  sync_folder(folder);
  return names;
}

}  // namespace shaftlog
