#pragma once

#include "app/list.hpp"
#include "app/record.hpp"
#include "domain/record.hpp"
#include "web/pages/layout.hpp"

#include <optional>
#include <string>
#include <string_view>

namespace shaftlog::web {

std::string entry_path(std::string_view vessel, Kind kind, std::string_view subject);

/// A form for one record of a kind. Without script it is sent as any form; with it what was typed waits in the browser
/// while the network is gone.
struct EntryForm {
  Kind kind{};
  const Register& reg;
  const Vessel& vessel;
  NamedTexts values;               ///< what stands in the fields
  std::string action;              ///< where it is sent
  std::vector<std::string> odd;    ///< shown, with a field to say it is right all the same
  std::vector<FieldFault> faults;  ///< shown beside the fields
  std::vector<std::string> missing;
  std::string last;                  ///< of what is known before
  std::optional<Estimate> expected;  ///< amount [cm3] or reading [h]
  std::string id;                    ///< the new record's
  bool is_correction = false;
  std::string reason = {};  ///< of a correction, as far as it was given
};
void entry_form(Html& h, Site& site, const Request& q, const EntryForm& form);

/// The fields of a record of that kind as they came in a form; what is not one of them is left out.
NamedTexts record_fields(Kind kind, const Request& q);

/// Who enters it: the account, else what the form says.
std::string signed_by(const Request& q);
/// The same among the fields of a record.
void sign(NamedTexts& fields, const Request& q);
/// A record with its family. \throws Error{not_found} also where its ship is not for them
RecordFamily seen_record(Database& db, const Request& q, const std::string& id);

/// "greasing": what a button says
std::string_view spoken_kind(Kind kind) noexcept;
bool is_of_lubricator(Kind kind) noexcept;

}  // namespace shaftlog::web
