#include "app/accounts.hpp"
#include "base/error.hpp"
#include "base/text.hpp"
#include "fuzz_input.hpp"

#include <set>
#include <string>

using namespace shaftlog;

// A file of accounts is read whole or refused with a reason; written again it is the same.
extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  try {
    const std::vector<Account> accounts = parse_accounts(as_text(data, size), "people");
    std::set<std::string> seen;
    std::string again;
    for (const Account& a : accounts) {
      must(seen.insert(a.name).second, "a name is there once");
      must(!a.name.empty() && a.name.size() <= 40 && !find_bad_utf8(a.name), "and is a plain one");
      must(is_aboard(a.role) != a.vessel.empty(), "those aboard have a ship, others none");
      again += account_line(a);
    }
    const std::vector<Account> same = parse_accounts(again, "people");
    must(same.size() == accounts.size(), "written again it is as long");
    for (std::size_t i = 0; i < same.size(); ++i)
      must(account_line(same[i]) == account_line(accounts[i]), "and says the same");
  } catch (const Error& e) {
    must(!find_bad_utf8(e.what()), "a refusal is text");
  }
  return 0;
}
