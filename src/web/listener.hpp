#pragma once

#include "web/http.hpp"

#include <cstdint>
#include <functional>
#include <memory>
#include <optional>
#include <string>

namespace shaftlog::web {

struct ListenOptions {
  std::string address = "127.0.0.1";  ///< IPv4 or IPv6, numbers only
  std::uint16_t port = 8480;          ///< 0: any that is free
  std::string certificate, key;       ///< PEM texts; empty: no TLS
  std::size_t most_body = 256 * 1024;
  unsigned most_connections = 256, most_per_address = 128;
  unsigned readers = 8, writers = 6;  ///< threads that make answers, to GET and to POST
  bool is_behind_proxy = false;       ///< the other side's address is what the proxy says
};

/// Answers one request, on one of many threads; must not throw.
using Answer = std::function<Response(Request&)>;
/// One line of the access log is due. Milliseconds from the first header to the answer.
using Done = std::function<void(const Request&, int status, std::size_t bytes, double ms)>;

/// An HTTP server on one address, by libmicrohttpd. Requests that are too large, too slow or broken never reach
/// `answer`.
class Listener {
 public:
  /// \throws Error{io} the address cannot be listened on, or the certificate cannot be used
  Listener(ListenOptions options, Answer answer, Done done);
  ~Listener();
  Listener(const Listener&) = delete;
  Listener& operator=(const Listener&) = delete;

  [[nodiscard]] std::uint16_t port() const noexcept;
  /// Takes no new connection, lets what is under way end for up to ten seconds, then closes.
  void stop();

 private:
  struct Running;
  std::unique_ptr<Running> running_;
};

}  // namespace shaftlog::web
