#include "web/listener.hpp"

#include "base/error.hpp"
#include "base/text.hpp"

#include <algorithm>
#include <arpa/inet.h>
#include <atomic>
#include <chrono>
#include <condition_variable>
#include <cstdarg>
#include <cstring>
#include <deque>
#include <map>
#include <microhttpd.h>
#include <mutex>
#include <sys/socket.h>
#include <thread>
#include <unistd.h>
#include <vector>

#include <fmt/format.h>

namespace shaftlog::web {

namespace {

using Steady = std::chrono::steady_clock;

constexpr unsigned kThreads = 2;  // they move bytes only
constexpr unsigned kIdle_s = 20;
constexpr auto kWholeRequest = std::chrono::seconds{40};  // however slowly it trickles in
constexpr auto kWhenCrowded = std::chrono::seconds{5};    // the same, when most connections are taken
constexpr std::size_t kSlowestReader = 2048;              // bytes a second, on top of kWholeRequest
constexpr std::size_t kHeaders = 24 * 1024;

struct Call {
  Request request;
  std::string raw_path, body;
  Steady::time_point begun = Steady::now();
  bool is_too_large = false, is_ready = false;
  Response answer;  ///< when it is ready
  int status = 0;
  std::size_t bytes = 0;
};

/// Requests that wait for their answer, oldest first, and those who make the answers. Readers and writers have one
/// each: where writing waits (for the disk, for another program, for a passphrase to be hashed) pages are still shown.
class Lane {
 public:
  using Work = std::function<void()>;
  explicit Lane(unsigned threads) {
    for (unsigned i = 0; i < threads; ++i) crew_.emplace_back([this] { run(); });
  }
  ~Lane() {
    {
      const std::lock_guard lock{mutex_};
      is_over_ = true;
    }
    wake_.notify_all();
  }
  Lane(const Lane&) = delete;
  Lane& operator=(const Lane&) = delete;
  void put(Work work) {
    {
      const std::lock_guard lock{mutex_};
      waiting_.push_back(std::move(work));
    }
    wake_.notify_one();
  }

 private:
  void run() {
    std::unique_lock lock{mutex_};
    for (;;) {
      wake_.wait(lock, [this] { return is_over_ || !waiting_.empty(); });
      if (waiting_.empty()) return;
      const Work work = std::move(waiting_.front());
      waiting_.pop_front();
      lock.unlock();
      work();
      lock.lock();
    }
  }

  std::mutex mutex_;
  std::condition_variable wake_;
  std::deque<Work> waiting_;
  bool is_over_ = false;
  std::vector<std::jthread> crew_;  // last: ends first
};

std::string address_of(const ::sockaddr* address) {
  char text[INET6_ADDRSTRLEN] = {};
  if (address == nullptr) return "";
  if (address->sa_family == AF_INET)
    ::inet_ntop(AF_INET, &reinterpret_cast<const ::sockaddr_in*>(address)->sin_addr, text, sizeof text);
  if (address->sa_family == AF_INET6)
    ::inet_ntop(AF_INET6, &reinterpret_cast<const ::sockaddr_in6*>(address)->sin6_addr, text, sizeof text);
  return text;
}

}  // namespace

struct Listener::Running {
  ListenOptions options;
  Answer answer;
  Done done;
  ::MHD_Daemon* daemon = nullptr;
  std::atomic<int> under_way{0};
  std::mutex mutex;
  std::condition_variable_any wake;
  struct Wait {
    Steady::time_point since, until;
    bool is_for_request = true;
  };
  std::map<int, Wait> waiting;  ///< sockets whose other side has to send, or to read
  std::size_t connections = 0;
  std::jthread sweeper;
  std::atomic<bool> is_ending{false};
  std::unique_ptr<Lane> readers, writers;

  // --- called by the library -------------------------------------------------------------------------------------
  static void* see_uri(void* self, const char* uri, ::MHD_Connection*) {
    static_cast<void>(self);
    auto call = std::make_unique<Call>();
    call->raw_path = uri;
    return call.release();
  }

  static ::MHD_Result take_header(void* into, ::MHD_ValueKind, const char* name, const char* value) {
    static_cast<Fields*>(into)->emplace_back(lower_case(name), value == nullptr ? "" : value);
    return MHD_YES;
  }

  static int socket_of(::MHD_Connection* connection) {
    const auto* info = ::MHD_get_connection_info(connection, MHD_CONNECTION_INFO_CONNECTION_FD);
    return info == nullptr ? -1 : info->connect_fd;
  }

  static void see_connection(void* self, ::MHD_Connection* connection, void**, ::MHD_ConnectionNotificationCode code) {
    auto& r = *static_cast<Running*>(self);
    if (code == MHD_CONNECTION_NOTIFY_STARTED) {
      r.wait_for_request(connection);
      const std::lock_guard lock{r.mutex};
      ++r.connections;
    } else {
      r.wait_no_more(connection);
      const std::lock_guard lock{r.mutex};
      --r.connections;
    }
  }

  [[nodiscard]] std::string too_large() const {
    return fmt::format("what was sent is too large; at most {} KiB are taken: leave out or shorten what is long",
                       options.most_body / 1024);
  }

  static ::MHD_Result take(void* self, ::MHD_Connection* connection, const char*, const char* method, const char*,
                           const char* data, std::size_t* size, void** state) {
    auto& r = *static_cast<Running*>(self);
    auto* call = static_cast<Call*>(*state);
    if (call == nullptr) return MHD_NO;
    if (call->is_ready) return r.send(connection, *call, std::move(call->answer));
    if (call->request.address.empty()) {  // the headers are there
      call->request.address = "?";
      ++r.under_way;
      ::MHD_get_connection_values(connection, MHD_HEADER_KIND, &take_header, &call->request.headers);
      const auto* info = ::MHD_get_connection_info(connection, MHD_CONNECTION_INFO_CLIENT_ADDRESS);
      if (info != nullptr) call->request.address = address_of(info->client_addr);
      if (r.options.is_behind_proxy)
        if (auto said = forwarded_address(call->request.headers); !said.empty())
          call->request.address = std::move(said);
      const std::string length{call->request.header("content-length")};
      // A proxy and this server might end such a request in different places.
      if (!length.empty() && !call->request.header("transfer-encoding").empty())
        return r.refuse(connection, *call, 400, "the request has two lengths");
      if (length.size() > 12 || (!length.empty() && std::strtoull(length.c_str(), nullptr, 10) > r.options.most_body))
        return r.refuse(connection, *call, 413, r.too_large());
      return MHD_YES;
    }
    if (*size > 0) {
      if (call->body.size() + *size > r.options.most_body)
        call->is_too_large = true;
      else
        call->body.append(data, *size);
      *size = 0;
      return MHD_YES;
    }
    r.wait_no_more(connection);
    if (call->is_too_large) return r.refuse(connection, *call, 413, r.too_large());
    return r.hand_on(connection, *call, method);
  }

  static void see_end(void* self, ::MHD_Connection* connection, void** state, ::MHD_RequestTerminationCode) {
    auto& r = *static_cast<Running*>(self);
    const std::unique_ptr<Call> call{static_cast<Call*>(*state)};
    *state = nullptr;
    if (!call) return;
    r.wait_for_request(connection);
    if (call->request.address.empty()) return;
    --r.under_way;
    const double ms = std::chrono::duration<double, std::milli>(Steady::now() - call->begun).count();
    if (r.done) r.done(call->request, call->status, call->bytes, ms);
  }

  // --- our side --------------------------------------------------------------------------------------------------
  void wait_for_request(::MHD_Connection* connection) {
    const auto now = Steady::now();
    const std::lock_guard lock{mutex};
    waiting[socket_of(connection)] = {now, now + kWholeRequest, true};
  }
  void wait_for_reader(::MHD_Connection* connection, std::size_t bytes) {
    const auto now = Steady::now();
    const std::lock_guard lock{mutex};
    waiting[socket_of(connection)] = {now, now + kWholeRequest + std::chrono::seconds{bytes / kSlowestReader}, false};
  }
  void wait_no_more(::MHD_Connection* connection) {
    const std::lock_guard lock{mutex};
    waiting.erase(socket_of(connection));
  }

  ::MHD_Result send(::MHD_Connection* connection, Call& call, Response response) {
    call.status = response.status;
    call.bytes = response.body.size();
    wait_for_reader(connection, call.bytes);
    auto* kept = new std::string(std::move(response.body));
    ::MHD_Response* out = ::MHD_create_response_from_buffer_with_free_callback_cls(
        kept->size(), kept->data(), [](void* text) { delete static_cast<std::string*>(text); }, kept);
    if (out == nullptr) {
      delete kept;
      return MHD_NO;
    }
    ::MHD_add_response_header(out, "Content-Type", response.type.c_str());
    for (const auto& [name, value] : response.headers) ::MHD_add_response_header(out, name.c_str(), value.c_str());
    const ::MHD_Result sent = ::MHD_queue_response(connection, static_cast<unsigned>(response.status), out);
    ::MHD_destroy_response(out);
    return sent;
  }

  ::MHD_Result refuse(::MHD_Connection* connection, Call& call, int status, std::string_view why) {
    const Fields close{{"Connection", "close"}};
    if (std::string_view{call.raw_path}.starts_with("/api/"))  // none of these sentences needs an escape
      return send(connection, call, {status, "application/json", fmt::format("{{\"error\":\"{}\"}}\n", why), close});
    return send(connection, call, {status, "text/plain; charset=utf-8", fmt::format("{}\n", why), close});
  }

  ::MHD_Result hand_on(::MHD_Connection* connection, Call& call, std::string_view method) {
    Request& q = call.request;
    const std::string_view raw = call.raw_path;
    const std::size_t mark = std::min(raw.find('?'), raw.size());
    auto path = parse_path(raw.substr(0, mark));
    auto query = parse_form(raw.substr(std::min(mark + 1, raw.size())));
    q.path = path.value_or("?");
    if (method != "GET" && method != "POST" && method != "HEAD")
      return refuse(connection, call, 405, "only GET, HEAD and POST are known here");
    if (!path || !query) return refuse(connection, call, 400, "the address cannot be read");
    q.method = method == "POST" ? Method::post : Method::get;
    q.query = std::move(*query);
    for (const auto& [name, value] : q.headers)
      if (find_bad_utf8(value)) return refuse(connection, call, 400, "a header is no text");
    if (q.method == Method::post) {
      const std::string_view type = q.header("content-type");
      if (!type.empty() && type.substr(0, type.find(';')) != "application/x-www-form-urlencoded")
        return refuse(connection, call, 415, "expected application/x-www-form-urlencoded");
      auto form = parse_form(call.body);
      if (!form) return refuse(connection, call, 400, "the form cannot be read");
      q.form = std::move(*form);
    }
    ::MHD_suspend_connection(connection);
    (q.method == Method::post ? writers : readers)->put([this, connection, &call] {
      if (is_ending)
        call.answer = {503, "text/plain; charset=utf-8", "the server is ending\n", {}};
      else
        call.answer = answer(call.request);
      call.is_ready = true;
      ::MHD_resume_connection(connection);
    });
    return MHD_YES;
  }

  void sweep(const std::stop_token& stop) {
    std::unique_lock lock{mutex};
    while (!stop.stop_requested()) {
      wake.wait_for(lock, stop, std::chrono::seconds{1}, [] { return false; });
      const auto now = Steady::now();
      const bool is_crowded = 4 * connections > 3 * options.most_connections;
      for (const auto& [socket, wait] : waiting)
        if (now > wait.until || (is_crowded && wait.is_for_request && now - wait.since > kWhenCrowded))
          ::shutdown(socket, SHUT_RDWR);
    }
  }
};

Listener::Listener(ListenOptions options, Answer answer, Done done) : running_{std::make_unique<Running>()} {
  Running& r = *running_;
  r.options = std::move(options);
  r.answer = std::move(answer);
  r.done = std::move(done);
  ::sockaddr_in v4{};
  ::sockaddr_in6 v6{};
  const ::sockaddr* address = nullptr;
  unsigned flags = MHD_USE_INTERNAL_POLLING_THREAD | MHD_USE_EPOLL | MHD_USE_ITC | MHD_ALLOW_SUSPEND_RESUME;
  if (::inet_pton(AF_INET, r.options.address.c_str(), &v4.sin_addr) == 1) {
    v4.sin_family = AF_INET;
    v4.sin_port = htons(r.options.port);
    address = reinterpret_cast<const ::sockaddr*>(&v4);
  } else if (::inet_pton(AF_INET6, r.options.address.c_str(), &v6.sin6_addr) == 1) {
    v6.sin6_family = AF_INET6;
    v6.sin6_port = htons(r.options.port);
    address = reinterpret_cast<const ::sockaddr*>(&v6);
    flags |= MHD_USE_IPv6;
  } else {
    throw Error{Errc::usage, fmt::format("--listen: \"{}\" is no IPv4 or IPv6 address", shown(r.options.address))};
  }
  r.readers = std::make_unique<Lane>(r.options.readers);
  r.writers = std::make_unique<Lane>(r.options.writers);
  std::vector<::MHD_OptionItem> more;
  const auto add = [&more](::MHD_OPTION option, std::intptr_t value, void* pointer) {
    more.push_back({option, value, pointer});
  };
  if (!r.options.certificate.empty()) {
    flags |= MHD_USE_TLS;
    add(MHD_OPTION_HTTPS_PRIORITIES, 0, const_cast<char*>("NORMAL:-VERS-ALL:+VERS-TLS1.3:+VERS-TLS1.2"));
    add(MHD_OPTION_HTTPS_MEM_CERT, 0, r.options.certificate.data());
    add(MHD_OPTION_HTTPS_MEM_KEY, 0, r.options.key.data());
  }
  add(MHD_OPTION_END, 0, nullptr);
  r.daemon = ::MHD_start_daemon(
      flags, r.options.port, nullptr, nullptr, &Running::take, &r, MHD_OPTION_SOCK_ADDR, address,
      MHD_OPTION_THREAD_POOL_SIZE, kThreads, MHD_OPTION_CONNECTION_LIMIT, r.options.most_connections,
      MHD_OPTION_PER_IP_CONNECTION_LIMIT, r.options.most_per_address, MHD_OPTION_CONNECTION_TIMEOUT, kIdle_s,
      MHD_OPTION_CONNECTION_MEMORY_LIMIT, kHeaders + 8 * 1024, MHD_OPTION_STRICT_FOR_CLIENT, 1,
      MHD_OPTION_URI_LOG_CALLBACK, &Running::see_uri, &r, MHD_OPTION_NOTIFY_COMPLETED, &Running::see_end, &r,
      MHD_OPTION_NOTIFY_CONNECTION, &Running::see_connection, &r, MHD_OPTION_ARRAY, more.data(), MHD_OPTION_END);
  if (r.daemon == nullptr) {
    const std::string why = std::strerror(errno);
    throw Error{Errc::io,
                fmt::format("{} port {}: cannot be listened on{} ({})", r.options.address, r.options.port,
                            r.options.certificate.empty() ? "" : ", or the certificate and key do not fit", why)};
  }
  r.sweeper = std::jthread{[&r](const std::stop_token& stop) { r.sweep(stop); }};
}

Listener::~Listener() { stop(); }

std::uint16_t Listener::port() const noexcept {
  const auto* info = ::MHD_get_daemon_info(running_->daemon, MHD_DAEMON_INFO_BIND_PORT);
  return info == nullptr ? running_->options.port : info->port;
}

void Listener::stop() {
  Running& r = *running_;
  if (r.daemon == nullptr) return;
  const ::MHD_socket listening = ::MHD_quiesce_daemon(r.daemon);
  const auto until = Steady::now() + std::chrono::seconds{10};
  while (r.under_way > 0 && Steady::now() < until) std::this_thread::sleep_for(std::chrono::milliseconds{10});
  r.is_ending = true;
  r.readers.reset();
  r.writers.reset();  // each request under way has its answer now
  ::MHD_stop_daemon(std::exchange(r.daemon, nullptr));
  if (listening != MHD_INVALID_SOCKET) ::close(listening);
  r.sweeper.request_stop();
  r.sweeper.join();
}

}  // namespace shaftlog::web
