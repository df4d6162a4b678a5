#pragma once

#include "domain/register.hpp"
#include "storage/database.hpp"

#include <cstdint>
#include <filesystem>
#include <string>
#include <vector>

namespace shaftlog {

/// By vessel, then code; feeds by vessel, lubricator, shaft, from: never by keys, which differ from file to file.
void sort_by_code(Register& reg);

struct ExportOptions {
  std::vector<std::string> vessels;  ///< codes; empty: all
  bool overwrite = false;            ///< write into a folder that holds something already
};

struct ExportedFile {
  std::string name;
  std::uint64_t rows = 0;
};
struct ExportResult {
  std::vector<ExportedFile> files;
};

/// Writes the register and the whole log (what was replaced and withdrawn included) as a log folder. The same content
/// gives the same bytes; an import of it into an empty database gives the same log. The folder is there whole
/// or not at all; one whose files are being replaced is marked meanwhile, and no import takes it. \throws
/// Error{conflict} the folder holds something and `overwrite` is not set; Error{not_found} a vessel that is not
/// registered; Error{io}
ExportResult export_folder(Database& db, const std::filesystem::path& folder, const ExportOptions& options = {});

}  // namespace shaftlog
