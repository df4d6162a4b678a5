#pragma once

#include "domain/finding_remark.hpp"
#include "domain/record.hpp"
#include "domain/verification.hpp"

#include <string>
#include <string_view>
#include <variant>

namespace shaftlog {

// All that is kept of a record, a remark or a verification as one string of bytes: what the audit chain hashes and
// packs carry. The same record gives the same bytes in every file. Frozen: hashes on disk are made of it.
// docs/pack-format.md has it byte by byte.

/// Keys are numbers of one file; between files things go by these.
template <class Text>
struct Codes {
  Text vessel, shaft, lubricator, gun, grease;  ///< empty: the record names none
};

void append_whole(std::string& out, const Entry& entry, const Codes<std::string_view>& codes);
void append_whole(std::string& out, const FindingRemark& remark, const Codes<std::string_view>& codes);
void append_whole(std::string& out, const Verification& verification, const Codes<std::string_view>& codes);

/// What append_whole() wrote; its keys are not set, the codes stand beside it.
struct Whole {
  std::variant<Entry, FindingRemark, Verification> what;
  Codes<std::string> codes;
};
/// Inverse of append_whole(). \throws Error{bad_data} when the bytes are not exactly what it writes (says where)
Whole parse_whole(std::string_view bytes);
/// Whether the content is that of a verification; the rest of it is not looked at.
bool is_verification(std::string_view bytes) noexcept;

}  // namespace shaftlog
