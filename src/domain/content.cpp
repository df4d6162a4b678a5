#include "domain/content.hpp"

#include "base/error.hpp"

#include <cstring>

#include <fmt/format.h>

namespace shaftlog {
namespace {

constexpr std::uint8_t kFormat = 1;
constexpr std::uint8_t kWithdrawalBit = 0x20;
constexpr std::uint8_t kRemark = 0x40;
constexpr std::uint8_t kVerification = 0x80;
enum : std::uint8_t { no_link = 0, replaces_link = 1, withdraws_link = 2 };

class Writer {
 public:
  explicit Writer(std::string& out) : out_{out} {}
  void byte(std::uint8_t b) { out_.push_back(static_cast<char>(b)); }
  void number(std::uint64_t n) {
    while (n >= 0x80) {
      byte(static_cast<std::uint8_t>(n | 0x80));
      n >>= 7;
    }
    byte(static_cast<std::uint8_t>(n));
  }
  void integer(std::int64_t n) { number((static_cast<std::uint64_t>(n) << 1) ^ static_cast<std::uint64_t>(n >> 63)); }
  void text(std::string_view t) {
    number(t.size());
    out_.append(t);
  }
  void id(const Uuid& u) { out_.append(reinterpret_cast<const char*>(u.bytes.data()), u.bytes.size()); }
  void stamp(const Stamp& s) {
    integer(in_unix_s(s.utc));
    integer(s.offset.count());
    byte(static_cast<std::uint8_t>(s.precision));
  }
  template <class Value, class Put>
  void maybe(const std::optional<Value>& value, const Put& put) {
    byte(value ? 1 : 0);
    if (value) put(*value);
  }
  void maybe(const std::optional<std::int64_t>& n) {
    maybe(n, [this](std::int64_t v) { integer(v); });
  }
  template <class Value>
  void maybe_base(const std::optional<Value>& q) {
    maybe(q, [this](const Value& v) { integer(v.base()); });
  }

 private:
  std::string& out_;
};

class Reader {
 public:
  explicit Reader(std::string_view bytes) : bytes_{bytes} {}
  [[noreturn]] void refuse(std::string_view what) const {
    throw Error{Errc::bad_data, fmt::format("byte {} of {}: {}", at_ + 1, bytes_.size(), what)};
  }
  std::uint8_t byte() {
    if (at_ == bytes_.size()) refuse("it ends here, expected more");
    return static_cast<std::uint8_t>(bytes_[at_++]);
  }
  std::uint64_t number() {
    std::uint64_t n = 0;
    for (unsigned shift = 0;; shift += 7) {
      const std::uint8_t b = byte();
      if (shift > 63 || (shift == 63 && b > 1)) refuse("a number is larger than 64 bits");
      n |= std::uint64_t{b & 0x7fU} << shift;
      if (b < 0x80) return n;
    }
  }
  std::int64_t integer() {
    const std::uint64_t n = number();
    return static_cast<std::int64_t>(n >> 1) ^ -static_cast<std::int64_t>(n & 1);
  }
  std::string text() {
    const std::uint64_t size = number();
    if (size > bytes_.size() - at_) refuse("a text is longer than what follows");
    const std::string_view found = bytes_.substr(at_, static_cast<std::size_t>(size));
    at_ += found.size();
    return std::string{found};
  }
  Uuid id() {
    Uuid u;
    if (bytes_.size() - at_ < u.bytes.size()) refuse("an id is cut short");
    std::memcpy(u.bytes.data(), bytes_.data() + at_, u.bytes.size());
    at_ += u.bytes.size();
    return u;
  }
  Stamp stamp() {
    const std::int64_t utc_s = integer();
    const std::int64_t offset_min = integer();
    const std::uint8_t precision = byte();
    if (utc_s < in_unix_s(kEarliest) || utc_s > in_unix_s(kLatest)) refuse("a moment lies outside 1970 to 2099");
    if (offset_min < -1080 || offset_min > 1080) refuse("an offset is more than 18 h");
    if (precision > static_cast<std::uint8_t>(Precision::day)) refuse("a moment is of no known precision");
    return {from_unix(utc_s), std::chrono::minutes{offset_min}, static_cast<Precision>(precision)};
  }
  bool flag() {
    const std::uint8_t b = byte();
    if (b > 1) refuse("neither yes nor no");
    return b == 1;
  }
  std::optional<std::int64_t> maybe_integer() { return flag() ? std::optional{integer()} : std::nullopt; }
  template <class Value>
  std::optional<Value> maybe_base() {
    return flag() ? std::optional{Value::from_base(integer())} : std::nullopt;
  }
  std::optional<Instant> maybe_instant() {
    if (!flag()) return std::nullopt;
    const std::int64_t s = integer();
    if (s < in_unix_s(kEarliest) || s > in_unix_s(kLatest)) refuse("a moment lies outside 1970 to 2099");
    return from_unix(s);
  }
  template <class Word>
  Word word(std::optional<Word> (*parse)(std::string_view) noexcept) {
    const std::optional<Word> found = parse(text());
    if (!found) refuse("a word is not known to this version");
    return *found;
  }
  [[nodiscard]] bool is_at_end() const noexcept { return at_ == bytes_.size(); }

 private:
  std::string_view bytes_;
  std::size_t at_ = 0;
};

void put_amount(Writer& w, const std::optional<Amount>& amount) {
  w.maybe(amount, [&w](const Amount& a) {
    w.text(a.typed);
    w.text(name_of(a.unit));
    w.maybe_base(a.volume);
    w.maybe(a.nano_cm3_per_unit);
  });
}

std::optional<Amount> read_amount(Reader& r) {
  if (!r.flag()) return std::nullopt;
  Amount a;
  a.typed = r.text();
  a.unit = r.word(parse_unit);
  a.volume = r.maybe_base<Volume>();
  a.nano_cm3_per_unit = r.maybe_integer();
  return a;
}

struct PutDetail {
  Writer& w;
  const Codes<std::string_view>& codes;
  void operator()(const Hours& d) const {
    w.integer(d.reading.base());
    w.byte(d.is_new_meter ? 1 : 0);
    w.maybe_base(d.old_meter);
  }
  void operator()(const Cycles& d) const {
    w.integer(d.count);
    w.byte(d.is_new_counter ? 1 : 0);
  }
  void operator()(const LevelReading& d) const { w.integer(d.level.base()); }
  void operator()(const Refill& d) const {
    put_amount(w, d.amount);
    w.maybe_base(d.before);
    w.maybe_base(d.after);
    w.text(codes.grease);
    w.text(d.batch);
  }
  void operator()(const Greasing& d) const {
    put_amount(w, d.amount);
    w.text(codes.gun);
    w.text(name_of(d.ended));
    w.text(d.purge ? name_of(*d.purge) : std::string_view{});
    w.text(codes.grease);
  }
  void operator()(const Alarm& d) const {
    w.text(name_of(d.alarm));
    w.maybe(d.cleared, [this](const Stamp& s) { w.stamp(s); });
  }
  void operator()(const Work& d) const { w.text(name_of(d.work)); }
  void operator()(const Inspection& d) const {
    w.maybe(d.water_ppm);
    w.maybe(d.iron_ppm_milli);
    w.maybe(d.clearance_um);
  }
  void operator()(const Withdrawal&) const {}
};

Detail read_detail(Reader& r, Kind kind, Codes<std::string>& codes) {
  switch (kind) {
    case Kind::hours: {
      Hours d;
      d.reading = HoursReading::from_base(r.integer());
      d.is_new_meter = r.flag();
      d.old_meter = r.maybe_base<HoursReading>();
      return d;
    }
    case Kind::cycles: {
      Cycles d;
      d.count = r.integer();
      d.is_new_counter = r.flag();
      return d;
    }
    case Kind::level:
      return LevelReading{Level::from_base(r.integer())};
    case Kind::refill: {
      Refill d;
      d.amount = read_amount(r);
      d.before = r.maybe_base<Level>();
      d.after = r.maybe_base<Level>();
      codes.grease = r.text();
      d.batch = r.text();
      return d;
    }
    case Kind::greasing: {
      Greasing d;
      d.amount = read_amount(r);
      codes.gun = r.text();
      d.ended = r.word(parse_ended);
      if (const std::string purge = r.text(); !purge.empty()) {
        d.purge = parse_purge(purge);
        if (!d.purge) r.refuse("a word is not known to this version");
      }
      codes.grease = r.text();
      return d;
    }
    case Kind::alarm: {
      Alarm d;
      d.alarm = r.word(parse_alarm_kind);
      if (r.flag()) d.cleared = r.stamp();
      return d;
    }
    case Kind::work:
      return Work{r.word(parse_work_kind)};
    case Kind::inspection: {
      Inspection d;
      d.water_ppm = r.maybe_integer();
      d.iron_ppm_milli = r.maybe_integer();
      d.clearance_um = r.maybe_integer();
      return d;
    }
  }
  r.refuse("a record is of no known kind");
}

void read_subject(Reader& r, Codes<std::string>& codes) {
  codes.vessel = r.text();
  codes.shaft = r.text();
  codes.lubricator = r.text();
}

Entry read_entry(Reader& r, std::uint8_t what, Codes<std::string>& codes) {
  Entry e;
  const int kind = what & 0x1f;
  if (kind < 1 || kind > 8) r.refuse("a record is of no known kind");
  e.kind = static_cast<Kind>(kind - 1);
  e.head.id = r.id();
  read_subject(r, codes);
  e.head.at = r.stamp();
  e.head.recorded_at = r.stamp();
  e.head.by = r.text();
  e.head.source = r.text();
  e.head.remark = r.text();
  const std::uint8_t link = r.byte();
  if (link > withdraws_link) r.refuse("neither a correction nor a withdrawal");
  if (link == replaces_link) e.head.replaces = r.id();
  if (link == withdraws_link) e.head.withdraws = r.id();
  e.head.reason = r.text();
  if ((what & kWithdrawalBit) != 0) {
    e.detail = Withdrawal{};
  } else {
    e.detail = read_detail(r, e.kind, codes);
  }
  return e;
}

FindingRemark read_remark(Reader& r, Codes<std::string>& codes) {
  FindingRemark m;
  m.id = r.id();
  read_subject(r, codes);
  m.finding = r.id();
  m.kind = r.text();
  m.did = r.word(parse_finding_act);
  m.says = r.text();
  m.at = r.stamp();
  m.recorded_at = r.stamp();
  m.by = r.text();
  m.then.urgency = r.text();
  m.then.summary = r.text();
  m.then.first_seen = r.maybe_instant();
  m.then.began = r.maybe_instant();
  m.then.measure = r.text();
  m.then.value_ppm = r.maybe_integer();
  return m;
}

Verification read_verification(Reader& r, Codes<std::string>& codes) {
  Verification v;
  v.id = r.id();
  codes.vessel = r.text();
  v.record = r.id();
  v.at = r.stamp();
  v.by = r.text();
  return v;
}

}  // namespace

void append_whole(std::string& out, const Entry& entry, const Codes<std::string_view>& codes) {
  Writer w{out};
  const auto kind = static_cast<std::uint8_t>(static_cast<int>(entry.kind) + 1);
  w.byte(kFormat);
  w.byte(entry.is_withdrawal() ? static_cast<std::uint8_t>(kind | kWithdrawalBit) : kind);
  const Head& head = entry.head;
  w.id(head.id);
  w.text(codes.vessel);
  w.text(codes.shaft);
  w.text(codes.lubricator);
  w.stamp(head.at);
  w.stamp(head.recorded_at);
  w.text(head.by);
  w.text(head.source);
  w.text(head.remark);
  w.byte(head.replaces ? replaces_link : head.withdraws ? withdraws_link : no_link);
  if (head.replaces) {
    w.id(*head.replaces);
  } else if (head.withdraws) {
    w.id(*head.withdraws);
  }
  w.text(head.reason);
  std::visit(PutDetail{w, codes}, entry.detail);
}

void append_whole(std::string& out, const FindingRemark& m, const Codes<std::string_view>& codes) {
  Writer w{out};
  w.byte(kFormat);
  w.byte(kRemark);
  w.id(m.id);
  w.text(codes.vessel);
  w.text(codes.shaft);
  w.text(codes.lubricator);
  w.id(m.finding);
  w.text(m.kind);
  w.text(name_of(m.did));
  w.text(m.says);
  w.stamp(m.at);
  w.stamp(m.recorded_at);
  w.text(m.by);
  w.text(m.then.urgency);
  w.text(m.then.summary);
  w.maybe(m.then.first_seen, [&w](Instant t) { w.integer(in_unix_s(t)); });
  w.maybe(m.then.began, [&w](Instant t) { w.integer(in_unix_s(t)); });
  w.text(m.then.measure);
  w.maybe(m.then.value_ppm);
}

void append_whole(std::string& out, const Verification& v, const Codes<std::string_view>& codes) {
  Writer w{out};
  w.byte(kFormat);
  w.byte(kVerification);
  w.id(v.id);
  w.text(codes.vessel);
  w.id(v.record);
  w.stamp(v.at);
  w.text(v.by);
}

bool is_verification(std::string_view bytes) noexcept {
  return bytes.size() > 1 && static_cast<std::uint8_t>(bytes[0]) == kFormat &&
         static_cast<std::uint8_t>(bytes[1]) == kVerification;
}

Whole parse_whole(std::string_view bytes) {
  Reader r{bytes};
  if (const std::uint8_t format = r.byte(); format != kFormat) {
    r.refuse(fmt::format("format {}, this version knows {}", format, kFormat));
  }
  const std::uint8_t what = r.byte();
  Whole whole;
  std::string again;
  // Written once more it must be the same: a number can be told in more than one way, and then hashes would differ.
  const auto keep = [&](auto read) {
    const Codes<std::string>& c = whole.codes;
    append_whole(again, read, {c.vessel, c.shaft, c.lubricator, c.gun, c.grease});
    whole.what = std::move(read);
  };
  if (what == kRemark) {
    keep(read_remark(r, whole.codes));
  } else if (what == kVerification) {
    keep(read_verification(r, whole.codes));
  } else {
    keep(read_entry(r, what, whole.codes));
  }
  if (!r.is_at_end()) r.refuse("more follows than the record has");
  if (again != bytes) throw Error{Errc::bad_data, "not written as this program writes it"};
  return whole;
}

}  // namespace shaftlog
