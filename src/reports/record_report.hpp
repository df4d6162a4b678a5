#pragma once

#include "domain/record.hpp"
#include "domain/register.hpp"
#include "domain/verification.hpp"
#include "reports/format.hpp"
#include "reports/json.hpp"
#include "reports/table.hpp"

#include <optional>
#include <span>
#include <string>
#include <vector>

namespace shaftlog {

/// One thing that a record says, under the name that it has in files.
struct NamedValue {
  std::string name;
  std::string text;
  std::optional<double> number;  ///< empty: it is a word
};

/// What the record says of its kind, what is not given left out; amounts as typed and as volume.
std::vector<NamedValue> values_of(const Entry& e, const Names& names);

/// The same as a phrase for people: "60 strokes of gun1 = 78 cm3, pressure, purge clean".
std::string says(const Entry& e, const Names& names);

/// What a second look expects of a record of that kind: hours of a meter, else cm3 as format_expected_cm3.
std::string format_expected(Kind kind, const Estimate& e);
/// An expected amount in the unit that it is given in: "46 strokes; usual 38 to 55 (60 cm\xC2\xB3)".
/// \param cm3_per_unit empty: not known, which it then says
std::string format_expected_in(Unit unit, std::optional<double> cm3_per_unit, const Estimate& cm3);

/// "chief engineer on 2026-03-14 09:00 (08:00 UTC)", all of them; empty: not verified.
std::string verified_by(std::span<const Verification> verified);
/// What is known of that record; empty: not verified.
std::span<const Verification> verified_in(const VerifiedRecords& records, const Uuid& record);

/// A line of a listing: everything but the heading.
TextTable record_table();
void add_record(TextTable& table, const Entry& e, const Names& names, std::span<const Verification> verified);

/// \param verified by whom; none: nobody has yet, as with a record just kept
void write_record(JsonWriter& json, const Entry& e, const Names& names, std::span<const Verification> verified = {});
std::string record_csv_head();
std::string record_csv(const Entry& e, const Names& names, std::span<const Verification> verified);

/// One record with its family: what it says, who wrote it when and from where, what it replaced and what replaced it,
/// and what changed from one to the next.
/// \param in_force the one of the family that counts; empty: withdrawn
/// \param verified of the family
std::string record_text(const Entry& e, std::span<const Entry> family, std::optional<Uuid> in_force,
                        const VerifiedRecords& verified, const Names& names, const TextStyle& style);
std::string record_json(const Entry& e, std::span<const Entry> family, std::optional<Uuid> in_force,
                        const VerifiedRecords& verified, const Names& names);

/// "amount 600 -> 60; ended pressure -> limit": what the newer says otherwise, subject and time included; empty when
/// nothing.
std::string changes_between(const Entry& older, const Entry& newer, const Names& names);

}  // namespace shaftlog
