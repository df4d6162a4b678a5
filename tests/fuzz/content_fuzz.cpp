#include "base/error.hpp"
#include "domain/content.hpp"
#include "fuzz_input.hpp"

#include <string>

using namespace shaftlog;

// One record or remark as packs carry it. What is taken is written again to the byte: hashes are made of it.
extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const std::string_view bytes = as_text(data, size);
  try {
    const Whole whole = parse_whole(bytes);
    const Codes<std::string>& c = whole.codes;
    std::string again;
    std::visit(
        [&](const auto& what) {
          append_whole(again, what, {c.vessel, c.shaft, c.lubricator, c.gun, c.grease});
        },
        whole.what);
    must(again == bytes, "what was taken is written again to the byte");
  } catch (const Error& e) {
    must(e.code() == Errc::bad_data && e.what()[0] != '\0', "a refusal says why");
  }
  return 0;
}
