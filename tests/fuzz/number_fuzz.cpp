#include "base/decimal.hpp"
#include "fuzz_input.hpp"

using namespace shaftlog;

// What is taken as a number prints as a number that is taken as the same.
extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const auto text = as_text(data, size);
  for (const bool comma : {false, true}) {
    const auto d = parse_decimal(text, comma);
    if (!d) continue;
    must(d->scale >= 0 && d->scale <= 9, "at most nine decimals");
    must(parse_decimal(format_decimal(*d)) == d, "a number prints as itself");
    if (const auto n = d->scaled(3)) {
      const auto back = parse_decimal(format_scaled(*n, 3));
      must(back && back->scaled(3) == n, "so does a scaled one");
    }
  }
  must(!parse_decimal(text, false) || parse_decimal(text, true) == parse_decimal(text, false),
       "a decimal comma adds numbers, it changes none");
  return 0;
}
