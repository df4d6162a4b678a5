#pragma once

#include <cstdint>
#include <stdexcept>
#include <string>

namespace shaftlog {

/// What went wrong, coarse enough to choose an exit code or a page status by.
enum class Errc : std::uint8_t {
  usage,           ///< the call itself is wrong: unknown option, missing argument
  not_found,       ///< a vessel, shaft, record or file that is named does not exist
  bad_data,        ///< a value or line of input cannot be taken
  conflict,        ///< true by itself, but it contradicts what is kept already
  busy,            ///< another program holds the file longer than we wait
  damaged,         ///< the database file is not what it should be
  schema_too_new,  ///< written by a newer version of this program
  io               ///< disk full, no permission, read failed ...
};

/// The one exception type. `what()` is ready to be shown: lower case, no full stop, place, value, what was expected.
class Error : public std::runtime_error {
 public:
  Error(Errc code, const std::string& what) : std::runtime_error{what}, code_{code} {}
  [[nodiscard]] Errc code() const noexcept { return code_; }
  /// The same error told from one step further out: "where: what".
  [[nodiscard]] Error within(const std::string& where) const { return {code_, where + ": " + what()}; }

 private:
  Errc code_;
};

}  // namespace shaftlog
