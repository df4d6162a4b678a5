#include "app/record.hpp"
#include "base/error.hpp"
#include "base/text.hpp"
#include "fuzz_input.hpp"
#include "fuzz_register.hpp"
#include "reports/record_report.hpp"
#include "web/http.hpp"
#include "web/pages/entry_parts.hpp"

#include <string>

#include <nlohmann/json.hpp>

using namespace shaftlog;
using namespace shaftlog::web;

namespace {

void require_json(std::string text) { must(nlohmann::json::accept(text), "an answer is JSON, whatever was sent"); }

}  // namespace

// The first byte names a kind of record, the rest is what a browser sends to keep one. It is a record, or it is said
// why not; what the record says is taken as a record that says the same; every answer is JSON.
extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  static const Register reg = a_register();
  static const Names names{reg};
  if (size == 0) return 0;
  const auto kind = static_cast<Kind>(data[0] % 8);
  const Instant now = from_unix(1'790'000'000);
  auto form = parse_form(as_text(data + 1, size - 1));
  if (!form) return 0;
  Request q;
  q.form = std::move(*form);
  q.wants_json = true;
  try {
    NamedTexts fields = record_fields(kind, q);
    const Draft draft = draft_record(reg, now, kind, fields);
    must(draft.entry.has_value() == (draft.missing.empty() && draft.faults.empty()), "a record, or why not");
    for (const FieldFault& f : draft.faults) must(!f.text.empty() && !find_bad_utf8(f.text), "a fault says something");
    if (!draft.entry) require_sound(draft);
    JsonWriter out;
    write_record(out, *draft.entry, names);
    require_json(out.take());
    must(!find_bad_utf8(says(*draft.entry, names)), "it can be said");
    const NamedTexts texts = record_texts(reg, *draft.entry);
    const Draft again = draft_record(reg, now, kind, texts);
    must(again.entry.has_value(), "what a record says is taken again");
    must(record_texts(reg, *again.entry) == texts, "and says the same");
  } catch (const Error& e) {
    JsonWriter out;
    out.begin_object();
    out.key("error").text(e.what());
    out.end_object();
    require_json(out.take());
  }
  return 0;
}
