#pragma once

#include "base/time.hpp"

#include <cstdint>
#include <filesystem>
#include <functional>
#include <string>
#include <string_view>
#include <vector>

namespace shaftlog::web {

struct ServeOptions {
  std::filesystem::path database;
  std::string address = "127.0.0.1";
  std::uint16_t port = 8480;
  std::vector<std::string> names;  ///< by which browsers may call this server, besides the address itself
  std::filesystem::path accounts;  ///< empty: none; then only this machine itself may come in
  std::filesystem::path certificate, key;
  bool is_behind_proxy = false;  ///< a proxy on this machine adds TLS
  std::filesystem::path log;     ///< of accesses; empty: none is kept
};

/// Serves pages until SIGINT or SIGTERM; then ends what is under way and comes back.
/// \param tell is given the line to show once connections are taken
/// \throws Error{usage} a combination that would let in whom it should not; Error{io}; Error as opening the file does
void serve(const ServeOptions& options, const Clock& clock, const std::function<void(std::string_view)>& tell);

}  // namespace shaftlog::web
