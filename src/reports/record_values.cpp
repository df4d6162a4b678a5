#include "base/decimal.hpp"
#include "domain/amount.hpp"
#include "reports/charts/plot.hpp"
#include "reports/csv_text.hpp"
#include "reports/record_report.hpp"

#include <fmt/format.h>

namespace shaftlog {

namespace {

std::string in_hours(HoursReading r) { return format_figure(in_h(r), 9); }

class Collector {
 public:
  explicit Collector(const Names& names) : names_{&names} {}
  std::vector<NamedValue> values;

  void word(std::string name, std::string_view text) {
    if (!text.empty()) values.push_back({std::move(name), std::string{text}, std::nullopt});
  }
  void number(std::string name, std::string text, double value) {
    values.push_back({std::move(name), std::move(text), value});
  }
  void amount(const std::optional<Amount>& a) {
    if (!a) return;
    const auto typed = parse_decimal(a->typed);
    values.push_back({"amount", a->typed, typed ? std::optional{typed->value()} : std::nullopt});
    word("unit", name_of(a->unit));
    if (a->volume && a->unit != Unit::cm3)
      number("volume_cm3", format_scaled(a->volume->base(), 3), in_cm3(*a->volume));
  }
  void level(std::string name, const std::optional<Level>& l) {
    if (l) number(std::move(name), format_scaled(l->base(), 2), in_pct(*l));
  }

  void operator()(const Hours& h) {
    number("meter_h", in_hours(h.reading), in_h(h.reading));
    if (h.is_new_meter) word("meter", "new");
    if (h.old_meter) number("old_meter_h", in_hours(*h.old_meter), in_h(*h.old_meter));
  }
  void operator()(const Cycles& c) {
    number("count", std::to_string(c.count), static_cast<double>(c.count));
    if (c.is_new_counter) word("counter", "new");
  }
  void operator()(const LevelReading& l) { level("level_pct", l.level); }
  void operator()(const Refill& r) {
    amount(r.amount);
    level("level_before_pct", r.before);
    level("level_after_pct", r.after);
    word("grease", names_->grease(r.grease));
    word("batch", r.batch);
  }
  void operator()(const Greasing& g) {
    amount(g.amount);
    word("gun", names_->gun(g.gun));
    word("ended", name_of(g.ended));
    if (g.purge) word("purge", name_of(*g.purge));
    word("grease", names_->grease(g.grease));
  }
  void operator()(const Alarm& a) {
    word("alarm", name_of(a.alarm));
    if (a.cleared) word("cleared_at", format_stamp(*a.cleared));
  }
  void operator()(const Work& w) { word("work", name_of(w.work)); }
  void operator()(const Inspection& i) {
    if (i.water_ppm) number("water_pct", format_scaled(*i.water_ppm, 4), static_cast<double>(*i.water_ppm) / 1e4);
    if (i.iron_ppm_milli)
      number("iron_ppm", format_scaled(*i.iron_ppm_milli, 3), static_cast<double>(*i.iron_ppm_milli) / 1e3);
    if (i.clearance_um)
      number("clearance_mm", format_scaled(*i.clearance_um, 3), static_cast<double>(*i.clearance_um) / 1e3);
  }
  void operator()(const Withdrawal&) {}

 private:
  const Names* names_;
};

std::string amount_phrase(const Amount& a, std::string_view gun) {
  std::string out = fmt::format("{} {}", a.typed, a.unit == Unit::pct ? "%" : name_of(a.unit));
  if (!gun.empty()) out += fmt::format(" of {}", gun);
  if (!a.volume) {
    const auto strokes = a.unit == Unit::strokes ? parse_decimal(a.typed) : std::nullopt;
    if (!strokes) return out + " (volume not known)";
    // A gun that nobody calibrated: guns of the trade lie this far apart.
    return out + fmt::format(" (gun not known: {:.0f} to {:.0f} cm3)", kStrokeLow_cm3 * strokes->value(),
                             kStrokeHigh_cm3 * strokes->value());
  }
  if (a.unit != Unit::cm3) out += fmt::format(" = {} cm3", format_figure(in_cm3(*a.volume), 4));
  return out;
}

void join(std::string& out, std::string_view part) {
  if (!part.empty()) out += (out.empty() ? "" : ", ") + std::string{part};
}

struct Phrase {
  const Names* names;
  std::string operator()(const Hours& h) const {
    std::string out = fmt::format("{} h", in_hours(h.reading));
    if (h.is_new_meter) join(out, "new meter");
    if (h.old_meter) join(out, fmt::format("old one showed {} h", in_hours(*h.old_meter)));
    return out;
  }
  std::string operator()(const Cycles& c) const {
    return fmt::format("{} cycles{}", c.count, c.is_new_counter ? ", new counter" : "");
  }
  std::string operator()(const LevelReading& l) const { return fmt::format("{} %", format_scaled(l.level.base(), 2)); }
  std::string operator()(const Refill& r) const {
    std::string out = r.amount ? amount_phrase(*r.amount, "") : "";
    if (r.before || r.after)
      join(out, fmt::format("level {} to {}", r.before ? format_scaled(r.before->base(), 2) + " %" : "unknown",
                            r.after ? format_scaled(r.after->base(), 2) + " %" : "unknown"));
    join(out, names->grease(r.grease));
    if (!r.batch.empty()) join(out, "batch " + r.batch);
    return out;
  }
  std::string operator()(const Greasing& g) const {
    std::string out = g.amount ? amount_phrase(*g.amount, names->gun(g.gun)) : "";
    join(out, spoken(name_of(g.ended)));
    if (g.purge) join(out, fmt::format("purge {}", name_of(*g.purge)));
    join(out, names->grease(g.grease));
    return out;
  }
  std::string operator()(const Alarm& a) const {
    return spoken(name_of(a.alarm)) + (a.cleared ? ", cleared " + format_local(*a.cleared) : ", standing");
  }
  std::string operator()(const Work& w) const { return spoken(name_of(w.work)); }
  std::string operator()(const Inspection& i) const {
    std::string out;
    if (i.water_ppm) join(out, fmt::format("water {} %", format_scaled(*i.water_ppm, 4)));
    if (i.iron_ppm_milli) join(out, fmt::format("iron {} ppm", format_scaled(*i.iron_ppm_milli, 3)));
    if (i.clearance_um) join(out, fmt::format("clearance {} mm", format_scaled(*i.clearance_um, 3)));
    return out;
  }
  std::string operator()(const Withdrawal&) const { return "withdrawal"; }
};

}  // namespace

std::vector<NamedValue> values_of(const Entry& e, const Names& names) {
  Collector c{names};
  std::visit(c, e.detail);
  return std::move(c.values);
}

std::string says(const Entry& e, const Names& names) { return std::visit(Phrase{&names}, e.detail); }

std::string format_expected(Kind kind, const Estimate& e) {
  if (kind != Kind::hours) return format_expected_cm3(e);
  return fmt::format("{:.0f} h; usual {:.0f} to {:.0f}", e.value, e.low, e.high);
}

std::string format_expected_in(Unit unit, std::optional<double> cm3_per_unit, const Estimate& cm3) {
  if (!cm3_per_unit || *cm3_per_unit <= 0) {
    const char* why = unit == Unit::strokes ? "what a stroke of the gun gives"
                      : unit == Unit::pct   ? "the reservoir"
                                            : "the grease";
    return typeset(fmt::format("{}; not known in {}: {} is not registered", format_expected_cm3(cm3),
                               unit == Unit::pct ? "%" : name_of(unit), why));
  }
  const double part = 1 / *cm3_per_unit;
  // As fine as somebody can count, weigh or read it.
  const bool is_large = unit == Unit::l || unit == Unit::kg || unit == Unit::lb;
  const int decimals = is_large ? 2 : unit == Unit::oz ? 1 : 0;
  const auto figure = [&](double v) { return fmt::format("{:.{}f}", v * part, decimals); };
  const std::string word{unit == Unit::pct ? "%" : name_of(unit)};
  std::string out = fmt::format("{} {}; usual {} to {}", figure(cm3.value), word, figure(cm3.low), figure(cm3.high));
  if (unit != Unit::cm3 && unit != Unit::ml) out += fmt::format(" ({:.0f} cm3)", cm3.value);
  return typeset(out);
}

std::string verified_by(std::span<const Verification> verified) {
  std::string out;
  for (const Verification& v : verified) join(out, fmt::format("{} on {}", v.by, format_both(v.at)));
  return out;
}

std::span<const Verification> verified_in(const VerifiedRecords& records, const Uuid& record) {
  const auto it = records.find(record);
  return it == records.end() ? std::span<const Verification>{} : std::span<const Verification>{it->second};
}

TextTable record_table() {
  constexpr int kName = 24;  // one long name is no reason to push every line over the edge
  return TextTable{{{"when"},
                    {"clock"},
                    {"vessel"},
                    {"subject"},
                    {"kind"},
                    {"says"},
                    {"by", Align::left, kName},
                    {"verified", Align::left, kName},
                    {"id"},
                    {"remark"}}};
}

namespace {

std::string notes(const Entry& e) {
  std::string out;
  if (e.head.withdraws) join(out, "withdraws " + format_uuid(*e.head.withdraws).substr(0, 13));
  if (e.head.replaces) join(out, "corrects " + format_uuid(*e.head.replaces).substr(0, 13));
  if (!e.head.reason.empty()) join(out, "because: " + e.head.reason);
  join(out, e.head.remark);
  return out;
}

}  // namespace

void add_record(TextTable& table, const Entry& e, const Names& names, std::span<const Verification> verified) {
  table.add({format_local(e.head.at), format_offset(e.head.at), std::string{names.vessel(e.vessel)},
             names.subject(e.shaft, e.lubricator), std::string{name_of(e.kind)}, says(e, names), e.head.by,
             verified.empty() ? "no" : "yes", format_uuid(e.head.id).substr(0, 13), notes(e)});
}

void write_record(JsonWriter& json, const Entry& e, const Names& names, std::span<const Verification> verified) {
  json.begin_object();
  json.key("id").text(format_uuid(e.head.id));
  json.key("kind").text(name_of(e.kind));
  json.key("vessel").text_or_null(names.vessel(e.vessel));
  json.key("shaft").text_or_null(names.shaft(e.shaft));
  json.key("lubricator").text_or_null(names.lubricator(e.lubricator));
  json.key("at").time(e.head.at.utc);
  json.key("at_local").text(format_stamp(e.head.at));
  json.key("is_withdrawal").boolean(e.is_withdrawal());
  json.key("values").begin_object();
  for (const NamedValue& v : values_of(e, names)) {
    json.key(v.name);
    if (v.number)
      json.number(*v.number, 12);
    else
      json.text(v.text);
  }
  json.end_object();
  json.key("recorded_at").time(e.head.recorded_at.utc);
  json.key("by").text_or_null(e.head.by);
  json.key("source").text_or_null(e.head.source);
  json.key("remark").text_or_null(e.head.remark);
  json.key("replaces");
  if (e.head.replaces)
    json.text(format_uuid(*e.head.replaces));
  else
    json.null();
  json.key("withdraws");
  if (e.head.withdraws)
    json.text(format_uuid(*e.head.withdraws));
  else
    json.null();
  json.key("reason").text_or_null(e.head.reason);
  json.key("verified").begin_list();
  for (const Verification& v : verified) {
    json.begin_object();
    json.key("at").time(v.at.utc);
    json.key("by").text(v.by);
    json.end_object();
  }
  json.end_list();
  json.end_object();
}

std::string record_csv_head() {
  return csv_row({"id", "kind", "vessel", "shaft", "lubricator", "at", "at_utc", "says", "recorded_at", "by", "source",
                  "remark", "replaces", "withdraws", "reason", "verified_at", "verified_by"});
}

std::string record_csv(const Entry& e, const Names& names, std::span<const Verification> verified) {
  std::string by;
  for (const Verification& v : verified) by += (by.empty() ? "" : "; ") + v.by;
  return csv_row({format_uuid(e.head.id), std::string{name_of(e.kind)}, std::string{names.vessel(e.vessel)},
                  std::string{names.shaft(e.shaft)}, std::string{names.lubricator(e.lubricator)},
                  format_stamp(e.head.at), format_utc(e.head.at.utc), says(e, names),
                  format_utc(e.head.recorded_at.utc), e.head.by, e.head.source, e.head.remark,
                  e.head.replaces ? format_uuid(*e.head.replaces) : "",
                  e.head.withdraws ? format_uuid(*e.head.withdraws) : "", e.head.reason,
                  verified.empty() ? "" : format_utc(verified.front().at.utc), by});
}

}  // namespace shaftlog
