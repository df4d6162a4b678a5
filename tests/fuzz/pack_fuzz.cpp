#include "base/error.hpp"
#include "base/text.hpp"
#include "base/uuid.hpp"
#include "fuzz_input.hpp"
#include "interchange/pack_file.hpp"

#include <algorithm>
#include <string>

using namespace shaftlog;

namespace {

constexpr std::size_t kHead = 28, kSeal = 32;

void put_number(std::string& bytes, std::size_t at, std::uint64_t n, std::size_t size) {
  for (std::size_t i = 0; i < size; ++i) bytes[at + i] = static_cast<char>(n >> (8 * i));
}

/// The same with lengths that fit and the true checksum: no search finds these.
std::string sealed(std::string_view bytes) {
  std::string out{bytes.substr(0, std::max(bytes.size() - kSeal, kHead))};
  const std::size_t rest = out.size() - kHead;
  const std::size_t told = static_cast<std::uint8_t>(out[8]) + 256U * static_cast<std::uint8_t>(out[9]);
  const std::size_t manifest = std::min(told, rest);
  put_number(out, 8, manifest, 4);
  put_number(out, 12, rest - manifest, 8);
  const Sha256 hash = sha256(out);
  return out.append(reinterpret_cast<const char*>(hash.data()), hash.size());
}

void read(const std::string& bytes) {
  try {
    const Pack pack = read_pack(bytes);
    const std::string again = write_pack(pack);
    must(write_pack(read_pack(again)) == again, "what was read is written, read and written the same");
    PartReader parts{pack.content};
    while (!parts.is_at_end()) static_cast<void>(parts.next());
  } catch (const Error& e) {
    must(e.code() == Errc::bad_data && e.what()[0] != '\0' && !find_bad_utf8(e.what()), "a refusal says why");
  }
}

}  // namespace

// A whole pack as it is, and once more with what would only keep everybody out put right: its lengths and checksum.
extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const std::string bytes{as_text(data, size)};
  read(bytes);
  if (bytes.size() >= kHead + kSeal) read(sealed(bytes));
  return 0;
}
