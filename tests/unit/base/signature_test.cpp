#include "base/signature.hpp"

#include "base/uuid.hpp"

#include <cstring>

#include <catch2/catch.hpp>

using namespace shaftlog;

namespace {

std::string_view view(const PublicKey& bytes) { return {reinterpret_cast<const char*>(bytes.data()), bytes.size()}; }

}  // namespace

// RFC 8032 section 7.1, tests 1 and 2.
TEST_CASE("signature: keys and signatures are those of the standard's examples", "[base][signature][reference]") {
  struct Example {
    const char *seed, *key, *message, *signature;
  };
  for (const Example& x :
       {Example{
            "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
            "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a", "",
            "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46bd25bf5f059"
            "5bbe24655141438e7a100b"},
        Example{
            "4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
            "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c", "\x72",
            "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f11d8c387b2eaeb4"
            "302aeeb00d291612bb0c00"}}) {
    const SecretKey key{*parse_public_key(x.seed)};
    CHECK(hex(key.public_key()) == x.key);
    CHECK(hex(key.sign(x.message)) == x.signature);
    CHECK(is_signed(x.message, key.sign(x.message), key.public_key()));
  }
}

TEST_CASE("signature: another message, key or bit does not hold", "[base][signature]") {
  const SecretKey key = SecretKey::make();
  const SecretKey other = SecretKey::make();
  CHECK(key.public_key() != other.public_key());
  const Signature good = key.sign("the records up to 120");
  CHECK(is_signed("the records up to 120", good, key.public_key()));
  CHECK_FALSE(is_signed("the records up to 121", good, key.public_key()));
  CHECK_FALSE(is_signed("the records up to 120", good, other.public_key()));
  for (std::size_t bit = 0; bit < good.size() * 8; ++bit) {
    Signature bad = good;
    bad[bit / 8] = static_cast<std::uint8_t>(bad[bit / 8] ^ (1U << (bit % 8)));
    CHECK_FALSE(is_signed("the records up to 120", bad, key.public_key()));
  }
}

TEST_CASE("signature: a fingerprint is read as it is written, with or without its groups", "[base][signature]") {
  const PublicKey key = SecretKey::make().public_key();
  const std::string print = fingerprint(key);
  CHECK(print.size() == 39);
  CHECK(hex(sha256(view(key))).substr(0, 4) == print.substr(0, 4));
  CHECK(parse_fingerprint(print) == print);
  std::string spoken;
  for (const char c : print) spoken += c == '-' ? ' ' : static_cast<char>(std::toupper(static_cast<unsigned char>(c)));
  CHECK(parse_fingerprint(spoken) == print);
  CHECK_FALSE(parse_fingerprint(print.substr(1)).has_value());
  CHECK_FALSE(parse_fingerprint(print + "0").has_value());
  CHECK_FALSE(parse_fingerprint(std::string(1, 'g').append(print.substr(1))).has_value());
  CHECK(parse_public_key(hex(key)) == key);
  CHECK_FALSE(parse_public_key(hex(key).substr(1)).has_value());
  CHECK_FALSE(parse_public_key(print).has_value());
}
