#include "base/decimal.hpp"
#include "base/error.hpp"
#include "base/text.hpp"
#include "cli/guard.hpp"
#include "cli/program.hpp"
#include "web/serve.hpp"

#include <fmt/format.h>

namespace {

using namespace shaftlog;

struct ServeWords {
  std::optional<std::string> listen, port, accounts, certificate, key, log;
  std::vector<std::string> names;
  bool behind_proxy = false;
};

void add_serve_command(Command& root, const Surroundings& around) {
  Command& c = root.add("serve", "the same in a browser: forms for the crew, pages for the office");
  const auto words = std::make_shared<ServeWords>();
  c.option("--listen", "ADDRESS", words->listen, "where connections are taken; else 127.0.0.1: this machine only");
  c.option("--port", "N", words->port, "else 8480; 0: any that is free");
  c.option("--accounts", "FILE", words->accounts, "who may come in; needed for any address but this machine's own");
  c.option("--certificate", "FILE", words->certificate, "PEM, for TLS");
  c.option("--key", "FILE", words->key, "PEM, its private key");
  c.flag("--behind-proxy", words->behind_proxy, "a proxy on this machine adds TLS");
  c.options_of("--name", "HOST", words->names, "a name by which browsers call this server; may be given several times");
  c.option("--log", "FILE", words->log, "a line for each request, without what was typed");
  c.more =
      "Without accounts only this machine itself can come in, and may do everything. With accounts: crew see and keep "
      "the log of one vessel, its chief engineer also verifies it, superintendents see all and see to findings, "
      "readers "
      "see all. Accounts are kept with: account add.";
  c.run = [&around, words](Console& console) {
    web::ServeOptions o;
    o.database = around.database();
    o.address = words->listen.value_or("127.0.0.1");
    if (words->port) {
      const auto n = parse_decimal(*words->port);
      if (!n || n->mantissa < 0 || n->value() > 65535 ||
          n->value() != static_cast<double>(static_cast<int>(n->value())))
        throw Error{Errc::usage, fmt::format("--port: \"{}\" is not a number from 0 to 65535", shown(*words->port))};
      o.port = static_cast<std::uint16_t>(n->value());
    }
    o.names = words->names;
    if (words->accounts && words->accounts->empty()) throw Error{Errc::usage, "--accounts is empty"};
    o.accounts = words->accounts.value_or("");
    o.certificate = words->certificate.value_or("");
    o.key = words->key.value_or("");
    o.is_behind_proxy = words->behind_proxy;
    o.log = words->log.value_or("");
    web::serve(o, around.clock, [&console](std::string_view line) {
      console.out(line);
      console.flush();
    });
    return kDone;
  };
}

}  // namespace

int main(int argc, char** argv) {
  return run_program(std::vector<std::string>{argv + (argc > 0 ? 1 : 0), argv + argc}, add_serve_command);
}
