#include "base/time.hpp"
#include "fuzz_input.hpp"

using namespace shaftlog;

// What is taken as a time lies in range, prints with its offset and is taken as the same.
extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  static const Zone zones[] = {Zone::utc(), Zone{"Europe/Lisbon"}, Zone{"Pacific/Chatham"}, Zone{"Pacific/Apia"}};
  const auto text = as_text(data, size);
  for (const Zone& zone : zones) {
    const auto s = parse_stamp(text, zone);
    if (!s) continue;
    must(s->utc >= kEarliest && s->utc <= kLatest, "a time lies in range");
    must(parse_stamp(format_stamp(*s), zone) == s, "a time prints as itself");
  }
  return 0;
}
