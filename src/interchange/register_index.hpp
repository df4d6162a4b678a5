#pragma once

#include "base/time.hpp"
#include "domain/register.hpp"

#include <cstdint>
#include <functional>
#include <string>
#include <string_view>
#include <unordered_map>
#include <vector>

namespace shaftlog {

/// The register by code, for reading, and by key, for writing. Holds the register; used by one thread.
class RegisterIndex {
 public:
  struct ByText {
    using is_transparent = void;
    std::size_t operator()(std::string_view s) const noexcept { return std::hash<std::string_view>{}(s); }
  };
  template <class T>
  using Codes = std::unordered_map<std::string, T, ByText, std::equal_to<>>;

  /// One vessel with what it carries.
  struct OnBoard {
    const Vessel* vessel = nullptr;
    Zone zone = Zone::utc();
    Codes<const Shaft*> shafts;
    Codes<const Lubricator*> lubricators;
    Codes<const Gun*> guns;
  };

  RegisterIndex() : RegisterIndex{Register{}} {}
  /// \throws Error{bad_data} if a vessel's time zone is not known to this system (names the vessel)
  explicit RegisterIndex(Register reg);
  RegisterIndex(RegisterIndex&&) noexcept = default;
  RegisterIndex& operator=(RegisterIndex&&) noexcept = default;
  RegisterIndex(const RegisterIndex&) = delete;
  RegisterIndex& operator=(const RegisterIndex&) = delete;
  ~RegisterIndex() = default;

  [[nodiscard]] const Register& all() const noexcept { return register_; }
  /// Null when there is none of that code.
  [[nodiscard]] const OnBoard* find_vessel(std::string_view code) const;
  [[nodiscard]] const Grease* find_grease(std::string_view code) const;

  [[nodiscard]] const Vessel* find(VesselId id) const;
  [[nodiscard]] const Grease* find(GreaseId id) const;
  [[nodiscard]] const Gun* find(GunId id) const;
  [[nodiscard]] const Lubricator* find(LubricatorId id) const;
  [[nodiscard]] const Shaft* find(ShaftId id) const;
  [[nodiscard]] std::vector<std::string_view> vessel_codes() const;
  [[nodiscard]] std::vector<std::string_view> grease_codes() const;

 private:
  Register register_;
  Codes<OnBoard> vessels_;
  Codes<const Grease*> greases_;
  std::unordered_map<std::int64_t, const Vessel*> vessel_by_id_;
  std::unordered_map<std::int64_t, const Grease*> grease_by_id_;
  std::unordered_map<std::int64_t, const Gun*> gun_by_id_;
  std::unordered_map<std::int64_t, const Lubricator*> lubricator_by_id_;
  std::unordered_map<std::int64_t, const Shaft*> shaft_by_id_;
};

}  // namespace shaftlog
