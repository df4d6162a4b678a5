#include "web/serve.hpp"

#include "base/embedded.hpp"
#include "base/error.hpp"
#include "base/text.hpp"
#include "base/uuid.hpp"
#include "reports/html_page.hpp"
#include "web/listener.hpp"
#include "web/pages/layout.hpp"
#include "web/pages/pages.hpp"

#include <algorithm>
#include <atomic>
#include <chrono>
#include <csignal>
#include <fcntl.h>
#include <fstream>
#include <malloc.h>
#include <sstream>
#include <sys/stat.h>
#include <unistd.h>

#include <fmt/format.h>

namespace shaftlog {
std::span<const EmbeddedFile> asset_files();
}

namespace shaftlog::web {

namespace {

constexpr std::string_view kCookie = "shaftlog_session";

std::string escaped_path(std::string_view path) {
  std::string out;
  for (const char c : path) out += c == '/' ? "/" : escaped_url(std::string_view{&c, 1});
  return out;
}

/// Path and query as a browser would send them again.
std::string address_of(const Request& q) {
  std::string out = escaped_path(q.path);
  char before = '?';
  for (const auto& [name, text] : q.query) {
    out += before + escaped_url(name) + "=" + escaped_url(text);
    before = '&';
  }
  return out;
}

bool is_loopback(std::string_view address) { return address == "::1" || address.starts_with("127."); }

std::string read_secret(const std::filesystem::path& file, bool is_private) {
  struct ::stat about {};
  if (::stat(file.c_str(), &about) != 0)
    throw Error{Errc::not_found, fmt::format("{}: is not there or cannot be read", shown(file.string()))};
  if (is_private && (about.st_mode & 077) != 0)
    throw Error{Errc::usage, fmt::format("{}: others may read the key; expected a file for its owner only (chmod 600)",
                                         shown(file.string()))};
  std::ifstream in{file, std::ios::binary};
  std::ostringstream text;
  text << in.rdbuf();
  if (!in) throw Error{Errc::io, fmt::format("{}: cannot be read", shown(file.string()))};
  return text.str();
}

void require_safe(const ServeOptions& o) {
  const bool has_tls = !o.certificate.empty();
  if (has_tls != !o.key.empty()) throw Error{Errc::usage, "--certificate and --key go together"};
  if (o.is_behind_proxy && !is_loopback(o.address))
    throw Error{Errc::usage, "--behind-proxy listens on this machine only: --listen must be 127.0.0.1 or ::1"};
  if (o.is_behind_proxy && o.accounts.empty())
    throw Error{Errc::usage, "--behind-proxy lets others in: it needs --accounts"};
  if (o.is_behind_proxy && o.names.empty())
    throw Error{Errc::usage, "--behind-proxy needs --name: the name by which browsers call the proxy"};
  if (is_loopback(o.address)) return;
  if (o.accounts.empty())
    throw Error{Errc::usage, fmt::format("--listen {}: others could come in; it needs --accounts", o.address)};
  if (!has_tls)
    throw Error{Errc::usage, fmt::format("--listen {}: passphrases would cross the network in clear; it needs "
                                         "--certificate and --key, or --behind-proxy on 127.0.0.1",
                                         o.address)};
}

/// Style and scripts under names that never change; the browser asks whether they have.
class Assets {
 public:
  Assets() {
    for (const EmbeddedFile& f : asset_files()) files_.push_back(make(f.name, std::string{f.text}));
    for (File& f : files_)
      if (f.name == "style.css") f = make(f.name, html_style() + f.text);
    for (File& f : files_)
      if (f.name == "chart.js") f = make(f.name, std::string{html_script()} + f.text);
  }
  [[nodiscard]] Response get(const Request& request, std::string_view name) const {
    for (const File& f : files_) {
      if (f.name != name) continue;
      Response r{200, name.ends_with(".css") ? "text/css; charset=utf-8" : "text/javascript; charset=utf-8", {}, {}};
      r.headers = {{"ETag", f.tag}, {"Cache-Control", "no-cache"}};
      if (request.header("if-none-match") == f.tag)
        r.status = 304;
      else
        r.body = f.text;
      return r;
    }
    return refusal(request, 404, "there is no such page");
  }

 private:
  struct File {
    std::string name, text, tag;
  };
  static File make(std::string_view name, std::string text) {
    const auto sum = sha256(text);
    return {std::string{name}, std::move(text), fmt::format("\"{}\"", hex(std::span{sum}.first(12)))};
  }
  std::vector<File> files_;
};

/// So many requests in a row from one address, and so many a second for long.
class Pace {
 public:
  bool allows(const std::string& address, Tick now) {
    constexpr double kBurst = 2000, kPerSecond = 1000;
    const std::lock_guard lock{mutex_};
    if (of_.size() > 5000) of_.clear();
    auto [at, is_new] = of_.try_emplace(address, Bucket{kBurst, now});
    Bucket& b = at->second;
    b.left = std::min(kBurst, b.left + kPerSecond * std::chrono::duration<double>(now - b.at).count());
    b.at = now;
    if (b.left < 1) return false;
    b.left -= 1;
    return true;
  }

 private:
  struct Bucket {
    double left;
    Tick at;
  };
  std::mutex mutex_;
  std::map<std::string, Bucket> of_;
};

class Server {
 public:
  Server(const ServeOptions& options, const Clock& clock)
      : options_{options}, door_{options.accounts}, site_{options.database, clock, door_} {
    router_.add(Method::get, "/a/*", Needs::nothing,
                [this](const Request& q, const Places& p) { return assets_.get(q, p[0]); });
    router_.add(Method::get, "/", Needs::look, [](const Request& q, const Places&) {
      return see_other(is_aboard(q.who) ? ship_path(q.who.vessel) : "/fleet");
    });
    add_sign_in_pages(router_, site_);
    add_fleet_pages(router_, site_);
    add_ship_pages(router_, site_);
    add_entry_pages(router_, site_);
    add_record_pages(router_, site_);
    add_finding_pages(router_, site_);
    add_shaft_pages(router_, site_);
    add_api(router_, site_);
  }

  Response answer(Request& q) {
    Response r = guarded(q);
    r.headers.emplace_back("Content-Security-Policy",
                           "default-src 'none'; style-src 'self'; script-src 'self'; connect-src 'self'; img-src "
                           "data:; form-action 'self'; base-uri 'none'; frame-ancestors 'none'");
    r.headers.emplace_back("X-Content-Type-Options", "nosniff");
    r.headers.emplace_back("X-Frame-Options", "DENY");
    r.headers.emplace_back("Referrer-Policy", "same-origin");
    r.headers.emplace_back("Cross-Origin-Opener-Policy", "same-origin");
    r.headers.emplace_back("Cross-Origin-Resource-Policy", "same-origin");
    if (value_of(r.headers, "Cache-Control").empty()) r.headers.emplace_back("Cache-Control", "no-store");
    if (is_encrypted()) r.headers.emplace_back("Strict-Transport-Security", "max-age=31536000");
    return r;
  }

 private:
  [[nodiscard]] bool is_encrypted() const { return !options_.certificate.empty() || options_.is_behind_proxy; }

  [[nodiscard]] bool is_our_name(std::string_view host) const {
    if (std::find(options_.names.begin(), options_.names.end(), host) != options_.names.end()) return true;
    if (host == options_.address) return true;
    return is_loopback(options_.address) && (host == "localhost" || is_loopback(host));
  }

  /// A page of another site must not make a browser act here: the form's token, and where it says it comes from.
  [[nodiscard]] bool is_from_here(const Request& q) const {
    const std::string_view site = q.header("sec-fetch-site");
    if (!site.empty() && site != "same-origin" && site != "none") return false;
    const std::string_view origin = q.header("origin");
    if (!origin.empty() && !is_origin_of(origin, q.header("host"))) return false;
    const std::string_view in_header = q.header("x-form-token");
    return door_.is_token(q.session, in_header.empty() ? value_of(q.form, "form_token") : in_header);
  }

  Response guarded(Request& q) {
    q.wants_json = q.path.starts_with("/api/");
    try {
      return told(q);
    } catch (const Error& e) {
      return refusal(q, status_of(e.code()), e.what());
    } catch (const std::exception& e) {
      return refusal(q, 500, fmt::format("a fault of the program itself: {}", e.what()));
    }
  }

  Response told(Request& q) {
    const Tick now = std::chrono::steady_clock::now();
    if (!pace_.allows(q.address, now)) return refusal(q, 429, "too many requests; wait a moment");
    if (!is_our_name(host_of(q.header("host"))))
      return refusal(q, 421, "this server is not called by that name; start it with --name to allow another");
    q.session = cookie_of(q.header("cookie"), kCookie);
    q.who = door_.who(q.session, now);
    if (q.who.role == Role::nobody || q.who.role == Role::anyone) q.session.clear();
    const Router::Match match = router_.find(q.method, q.path);
    if (match.handler == nullptr)
      return match.has_other_method ? refusal(q, 405, "that page takes no such request")
                                    : refusal(q, 404, "there is no such page");
    if (!may(q.who, match.needs)) {
      if (q.who.role != Role::nobody) return refusal(q, 403, "that is not for this account to do");
      if (q.wants_json || q.method == Method::post) return refusal(q, 401, "sign in first");
      return see_other("/sign-in" + query_text({{"then", address_of(q)}}));
    }
    if (q.method == Method::post && !is_from_here(q))
      return refusal(q, 403, "the form is of another page or another run of the server; load the page again");
    Response r = (*match.handler)(q, match.places);
    for (auto& [name, value] : r.headers)
      if (name == "Set-Cookie" && is_encrypted()) value += "; Secure";
    return r;
  }

  const ServeOptions& options_;
  Door door_;
  Site site_;
  Router router_;
  Assets assets_;
  Pace pace_;
};

/// One line a request; never what was typed.
class AccessLog {
 public:
  explicit AccessLog(const std::filesystem::path& file) {
    if (file.empty()) return;
    fd_ = ::open(file.c_str(), O_WRONLY | O_CREAT | O_APPEND | O_CLOEXEC | O_NOFOLLOW, 0600);
    if (fd_ < 0) throw Error{Errc::io, fmt::format("{}: cannot be written", shown(file.string()))};
  }
  ~AccessLog() {
    if (fd_ >= 0) ::close(fd_);
  }
  AccessLog(const AccessLog&) = delete;
  AccessLog& operator=(const AccessLog&) = delete;
  void write(const Clock& clock, const Request& q, int status, std::size_t bytes, double ms) const {
    if (fd_ < 0) return;
    const std::string line =
        fmt::format("{} {} {} {} {} {} {} {:.1f}\n", format_utc(clock.now_s()), q.address,
                    q.who.name.empty() ? "-" : q.who.name, q.method == Method::post ? "POST" : "GET",
                    escaped_path(std::string_view{q.path}.substr(0, 200)), status, bytes, ms);
    [[maybe_unused]] const auto written = ::write(fd_, line.data(), line.size());
  }

 private:
  int fd_ = -1;
};

}  // namespace

void serve(const ServeOptions& options, const Clock& clock, const std::function<void(std::string_view)>& tell) {
  require_safe(options);
#ifdef __GLIBC__
  // Each of some twenty threads would keep the most that it ever needed in an arena of its own: the server grew while
  // records came, though it held no more.
  ::mallopt(M_ARENA_MAX, 2);
#endif
  open_to_read(options.database);  // what is wrong with the file is told before anybody waits for a page
  if (!options.accounts.empty() && load_accounts(options.accounts).empty())
    throw Error{Errc::usage, fmt::format("{}: holds no account; add one with: shaftlog account add",
                                         shown(options.accounts.string()))};
  ListenOptions listen;
  listen.address = options.address;
  listen.port = options.port;
  listen.is_behind_proxy = options.is_behind_proxy;
  if (options.is_behind_proxy) listen.most_per_address = listen.most_connections;
  if (!options.certificate.empty()) {
    listen.certificate = read_secret(options.certificate, false);
    listen.key = read_secret(options.key, true);
  }
  const AccessLog log{options.log};
  // Every thread begun from here on leaves the signals to this one.
  ::sigset_t set;
  ::sigemptyset(&set);
  ::sigaddset(&set, SIGINT);
  ::sigaddset(&set, SIGTERM);
  ::pthread_sigmask(SIG_BLOCK, &set, nullptr);
  ::signal(SIGPIPE, SIG_IGN);
  Server server{options, clock};
  Listener listener{
      std::move(listen), [&server](Request& q) { return server.answer(q); },
      [&](const Request& q, int status, std::size_t bytes, double ms) { log.write(clock, q, status, bytes, ms); }};
  const std::string host =
      options.address.find(':') == std::string::npos ? options.address : "[" + options.address + "]";
  tell(fmt::format("{}://{}:{}/ is served; end it with Ctrl-C\n", options.certificate.empty() ? "http" : "https", host,
                   listener.port()));
  int signal = 0;
  ::sigwait(&set, &signal);
  listener.stop();
}

}  // namespace shaftlog::web
