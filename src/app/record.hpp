#pragma once

#include "domain/record.hpp"
#include "domain/register.hpp"
#include "storage/database.hpp"

#include <span>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace shaftlog {

class LogRepository;

/// A thing that a record of some kind says, under the name that it has in files.
struct EntryField {
  std::string_view name;   ///< "level_before_pct"
  std::string_view value;  ///< "PCT"
  std::string_view what;   ///< one phrase
  bool is_required = false;
  bool is_asked = false;  ///< worth a question to a person although it may be left empty
};
/// Subject and time first, then the values, in the order in which they are asked for.
std::span<const EntryField> fields_of(Kind kind) noexcept;

/// Names and texts, as typed.
using NamedTexts = std::vector<std::pair<std::string, std::string>>;

struct FieldFault {
  std::string field;  ///< empty: of the record as a whole
  std::string text;   ///< "amount: \"25o\" is not a number"
};

/// A record that is read, but not kept.
struct Draft {
  std::optional<Entry> entry;        ///< empty exactly when something is missing or wrong
  std::vector<std::string> missing;  ///< names of fields that must be given
  std::vector<FieldFault> faults;    ///< of what is given
  std::vector<std::string> odd;      ///< kept all the same, but worth a look
};

/// \throws Error{bad_data} with all that is wrong or missing, parted by `between`
void require_sound(const Draft& draft, std::string_view between = "; ");

/// Reads what somebody typed about one record of `kind`. What goes without saying is filled in: the only vessel, its
/// only shaft or lubricator, the present moment (to the minute). "60 strokes" may be given as the amount alone.
/// \throws Error{usage} for a field that such a record does not have
Draft draft_record(const Register& reg, Instant now, Kind kind, const NamedTexts& fields);
/// A record that says the same but for `fields`; kind and vessel stay. What was not said again keeps its conversion, so
/// that a later calibration rewrites nothing. \pre `of` is in force and no withdrawal
Draft draft_correction(const Register& reg, Instant now, const Entry& of, const NamedTexts& fields);

/// What a record says, as the texts that draft_record takes; no `by`.
NamedTexts record_texts(const Register& reg, const Entry& e);

/// Keeps a drafted record under a new id, in one transaction. \return the record as it is kept
/// \throws Error{conflict} a correction of a record that is not in force any more; Error{busy}
Entry keep_record(Database& db, const Clock& clock, Entry entry);

struct KeptOnce {
  Entry entry;
  bool is_new = false;  ///< false: it was kept before
};
/// The same under an id that whoever sends it has made, so that a record sent twice is kept once.
/// \param id version 7
/// \throws Error as keep_record; Error{bad_data} not such an id; Error{conflict} the id is taken by another record
KeptOnce keep_record_once(Database& db, Entry entry, const Uuid& id);

/// The record in force that a correction, withdrawal or verification of `id` (or its first digits) would be about.
/// \param done what is to be done to it, for the message
/// \throws Error as get_record; Error{usage} a withdrawal; Error{conflict} withdrawn, or corrected already (names what
/// is in force)
Entry get_standing_record(Database& db, const std::string& id, std::string_view done = "corrected");
/// \throws Error{conflict} withdrawn, or corrected (names what is in force)
void require_in_force(const LogRepository& log, const Uuid& id);

struct Withdrawn {
  Entry withdrawal;
  std::optional<Entry> in_force;  ///< what it had corrected counts again; empty: nothing does
};
/// Cancels a record that is in force, or a withdrawal.
Withdrawn withdraw_record(Database& db, const Clock& clock, const std::string& id, const std::string& by,
                          const std::string& reason);

/// The register in one read of its own.
Register load_register(Database& db);
/// The same of one vessel; all of it where no vessel has that code.
Register load_register_of(Database& db, std::string_view vessel);

}  // namespace shaftlog
