#include "interchange/fields.hpp"

#include "base/text.hpp"
#include "domain/amount.hpp"
#include "interchange/field_reader.hpp"

#include <algorithm>

#include <fmt/format.h>

namespace shaftlog {
namespace {

constexpr std::int64_t kMostAmount_mm3 = 999'999'999;  // below 1e6 cm3

class RecordReader {
 public:
  RecordReader(Kind kind, const Fields& fields, const RegisterIndex& index, const FieldOptions& options,
               ParsedRecord& out)
      : kind_{kind}, fields_{fields}, index_{index}, in_{fields, options, out.faults}, out_{out} {}

  void read() {
    Entry e;
    e.kind = kind_;
    vessel_ = read_vessel(in_, index_);
    const Zone& zone = vessel_ == nullptr ? utc_ : vessel_->zone;
    read_head(e, zone);
    read_subject(e);
    if (e.head.withdraws) {
      warn_of_values();
      e.detail = Withdrawal{};
    } else {
      read_detail(e, zone);
    }
    if (out_.faults.empty()) out_.entry = std::move(e);
  }

 private:
  [[nodiscard]] std::string text(Column c) const { return std::string{fields_[c]}; }
  void warn(Column c, std::string says) {
    out_.warnings.push_back({{}, 0, std::string{name_of(c)}, text(c), std::move(says)});
  }

  void read_head(Entry& e, const Zone& zone) {
    const Column when = kind_ == Kind::alarm ? Column::raised_at : Column::at;
    if (in_.word(when).empty()) in_.refuse_missing(when, "a time such as 2026-03-14T08:10");
    if (const auto at = in_.stamp(when, zone)) e.head.at = *at;
    if (const auto id = in_.uuid(Column::id)) e.head.id = *id;
    if (const auto recorded = in_.stamp(Column::recorded_at, zone)) {
      e.head.recorded_at = *recorded;
    } else {
      e.head.recorded_at = stamp_at(in_.options().now, zone);
    }
    e.head.by = in_.name(Column::by);
    e.head.remark = text(Column::remark);
    e.head.reason = text(Column::reason);
    e.head.source = in_.is_given(Column::source) ? text(Column::source) : std::string{in_.options().source};
    e.head.replaces = in_.uuid(Column::replaces);
    e.head.withdraws = in_.uuid(Column::withdraws);
    if (e.head.replaces && e.head.withdraws) {
      in_.refuse(Column::withdraws, "a record cannot both replace one and withdraw one; expected one of the two");
    }
    if (!e.head.id.is_nil() && (e.head.replaces == e.head.id || e.head.withdraws == e.head.id)) {
      in_.refuse(Column::id, "a record cannot replace or withdraw itself");
    }
  }

  void read_subject(Entry& e) {
    if (vessel_ == nullptr) return;
    e.vessel = vessel_->vessel->id;
    shaft_ = read_shaft(in_, *vessel_);
    lubricator_ = read_lubricator(in_, *vessel_);
    if (shaft_ != nullptr) e.shaft = shaft_->id;
    if (lubricator_ != nullptr) e.lubricator = lubricator_->id;
    switch (kind_) {
      case Kind::hours:
      case Kind::greasing:
      case Kind::inspection:
        if (in_.word(Column::shaft).empty()) in_.refuse_missing(Column::shaft, "the code of a shaft");
        break;
      case Kind::cycles:
      case Kind::level:
      case Kind::refill:
      case Kind::alarm:
        if (in_.word(Column::lubricator).empty() && !(kind_ == Kind::alarm && !in_.word(Column::shaft).empty())) {
          in_.refuse_missing(Column::lubricator, "the code of a lubricator");
        }
        break;
      case Kind::work:
        break;
    }
  }

  /// A withdrawal says nothing else; a row that repeats the values of what it withdraws loses none by it.
  void warn_of_values() {
    using enum Column;
    for (const Column c :
         {cleared_at, alarm,        meter_h,          meter,           old_meter_h,  count,       counter, level_pct,
          amount,     unit,         level_before_pct, level_after_pct, gun,          ended,       purge,   grease,
          batch,      Column::work, water_pct,        iron_ppm,        clearance_mm, cm3_per_unit}) {
      if (in_.word(c).empty()) continue;
      warn(c, fmt::format("\"{}\" is a value in a withdrawal, which has none: it is read over", shown(in_.word(c))));
      return;
    }
  }

  void read_detail(Entry& e, const Zone& zone) {
    switch (kind_) {
      case Kind::hours: {
        Hours d;
        if (const auto n = in_.required_number(Column::meter_h, kHoursRule))
          d.reading = HoursReading::from_base(*n * 36);
        d.is_new_meter = read_new(Column::meter);
        if (const auto n = in_.number(Column::old_meter_h, kHoursRule)) {
          d.old_meter = HoursReading::from_base(*n * 36);
          if (!d.is_new_meter) in_.refuse(Column::old_meter_h, "goes only with meter = new");
        }
        e.detail = d;
        break;
      }
      case Kind::cycles: {
        Cycles d;
        if (const auto n = in_.required_number(Column::count, {0, 0, 999'999'999'999})) d.count = *n;
        d.is_new_counter = read_new(Column::counter);
        e.detail = d;
        break;
      }
      case Kind::level: {
        LevelReading d;
        if (const auto n = in_.required_number(Column::level_pct, kLevelRule)) d.level = Level::from_base(*n);
        e.detail = d;
        break;
      }
      case Kind::refill:
        read_refill(e);
        break;
      case Kind::greasing:
        read_greasing(e);
        break;
      case Kind::alarm: {
        Alarm d;
        d.cleared = in_.stamp(Column::cleared_at, zone);
        if (const auto a = required_choice(Column::alarm, parse_alarm_kind, words_of_alarm_kind)) d.alarm = *a;
        e.detail = d;
        break;
      }
      case Kind::work: {
        Work d;
        const auto w = required_choice(Column::work, parse_work_kind, words_of_work_kind);
        if (w) d.work = *w;
        const bool is_whole_vessel = in_.word(Column::shaft).empty() && in_.word(Column::lubricator).empty();
        if (w && is_whole_vessel && needs_subject(*w)) {
          in_.refuse(Column::work,
                     fmt::format("\"{}\" needs a shaft or a lubricator; of a whole vessel expected docked, "
                                 "undocked or other",
                                 name_of(*w)));
        }
        e.detail = d;
        break;
      }
      case Kind::inspection: {
        Inspection d;
        d.water_ppm = in_.number(Column::water_pct, {4, 0, 1'000'000});
        d.iron_ppm_milli = in_.number(Column::iron_ppm, {3, 0, 1'000'000'000});
        d.clearance_um = in_.number(Column::clearance_mm, {3, 0, 1'000'000});
        if (in_.word(Column::water_pct).empty() && in_.word(Column::iron_ppm).empty() &&
            in_.word(Column::clearance_mm).empty()) {
          in_.refuse_missing(Column::water_pct, "at least one of water_pct, iron_ppm, clearance_mm");
        }
        e.detail = d;
        break;
      }
    }
  }

  bool read_new(Column c) {
    const std::string_view word = in_.word(c);
    if (word.empty()) return false;
    if (word != "new") in_.refuse(c, fmt::format("\"{}\" is not known; expected new or nothing", shown(word)));
    return true;
  }

  // The words are put together only when they are needed for a message.
  template <class Parse, class Words>
  auto required_choice(Column c, Parse parse, Words words) -> decltype(parse("")) {
    const std::string_view word = in_.word(c);
    if (word.empty()) {
      in_.refuse_missing(c, "one of " + words());
      return {};
    }
    return optional_choice(c, parse, words);
  }
  template <class Parse, class Words>
  auto optional_choice(Column c, Parse parse, Words words) -> decltype(parse("")) {
    const std::string_view word = in_.word(c);
    if (word.empty()) return {};
    const auto out = parse(word);
    if (!out) in_.refuse_word(c, words());
    return out;
  }

  /// `registered`: key of the grease that is registered for the subject then.
  std::optional<Amount> read_amount(const Grease* used, std::optional<GreaseId> registered, Conversion with,
                                    std::string_view why_unknown) {
    const auto unit = optional_choice(Column::unit, parse_unit, words_of_unit);
    const auto typed = in_.decimal(Column::amount);
    if (typed && typed->mantissa < 0)
      in_.refuse(Column::amount, fmt::format("{} is below 0; expected 0 or more", shown(in_.word(Column::amount))));
    if (in_.word(Column::unit).empty()) in_.refuse_missing(Column::unit, "one of " + words_of_unit());
    if (unit) {
      if (*unit == Unit::strokes && kind_ == Kind::refill) {
        in_.refuse(Column::unit, "\"strokes\" is for greasings; expected a volume, a mass or pct for a refill");
        return std::nullopt;
      }
      if (*unit == Unit::pct && kind_ == Kind::greasing) {
        in_.refuse(Column::unit, "\"pct\" is for refills; expected a volume, a mass or strokes for a greasing");
        return std::nullopt;
      }
    }
    if (!unit || !typed || typed->mantissa < 0) return std::nullopt;
    const bool is_mass = *unit == Unit::g || *unit == Unit::kg || *unit == Unit::oz || *unit == Unit::lb;
    const bool is_fixed = *unit == Unit::cm3 || *unit == Unit::ml || *unit == Unit::l;
    if (used == nullptr && registered) used = index_.find(*registered);
    if (used != nullptr) with.density = used->density;
    std::optional<std::int64_t> nano;
    // An export leaves the conversion empty where the volume was unknown: what was unknown stays so.
    const bool is_told = in_.is_given(Column::cm3_per_unit) && !is_fixed;
    if (is_told) {
      nano = in_.number(Column::cm3_per_unit, {9, 1, 999'999'999'999'999});
      if (!nano && !in_.word(Column::cm3_per_unit).empty()) return std::nullopt;
    } else {
      nano = nano_cm3_per_unit(*unit, with);
    }
    Amount amount = make_amount(*typed, *unit, nano);
    const bool is_beyond = amount.volume ? *amount.volume > Volume::from_base(kMostAmount_mm3)
                                         : (nano.has_value() || typed->value() >= 1e6);
    if (is_beyond) {
      in_.refuse(Column::amount, fmt::format("{} {} is out of range; expected less than 1000000 cm3",
                                             shown(in_.word(Column::amount)), name_of(*unit)));
      return std::nullopt;
    }
    // Of a row that is refused it cannot be told: its time, gun or subject may be what is amiss.
    if (!amount.volume && in_.word(Column::id).empty() && out_.faults.empty()) {
      warn(Column::unit, is_told ? "the volume stays unknown: cm3_per_unit is empty"
                                 : fmt::format("the volume stays unknown: {}",
                                               is_mass ? "no grease is registered for that time" : why_unknown));
    }
    return amount;
  }

  void read_refill(Entry& e) {
    Refill d;
    const Grease* grease = read_grease(in_, index_);
    if (grease != nullptr) d.grease = grease->id;
    d.batch = text(Column::batch);
    if (const auto n = in_.number(Column::level_before_pct, kLevelRule)) d.before = Level::from_base(*n);
    if (const auto n = in_.number(Column::level_after_pct, kLevelRule)) d.after = Level::from_base(*n);
    if (!in_.word(Column::amount).empty()) {
      const LubricatorSetting* setting =
          lubricator_ == nullptr ? nullptr : setting_at(lubricator_->settings, e.head.at.utc);
      Conversion with;
      if (setting != nullptr) with.reservoir = setting->reservoir;
      d.amount = read_amount(grease, setting == nullptr ? std::nullopt : std::optional{setting->grease}, with,
                             "the lubricator has no registered reservoir at that time");
    } else {
      if (!in_.word(Column::unit).empty()) {
        in_.refuse_missing(Column::amount, fmt::format("a number for the unit \"{}\"", shown(in_.word(Column::unit))));
      } else if (in_.word(Column::level_before_pct).empty() || in_.word(Column::level_after_pct).empty()) {
        in_.refuse_missing(Column::amount, "an amount with its unit, or level_before_pct and level_after_pct");
      }
      if (!in_.word(Column::cm3_per_unit).empty()) in_.refuse(Column::cm3_per_unit, "goes only with an amount");
    }
    e.detail = std::move(d);
  }

  void read_greasing(Entry& e) {
    Greasing d;
    const Grease* grease = read_grease(in_, index_);
    if (grease != nullptr) d.grease = grease->id;
    const Gun* gun = vessel_ == nullptr ? nullptr : read_gun(in_, *vessel_);
    if (gun != nullptr) d.gun = gun->id;
    const auto ended = required_choice(Column::ended, parse_ended, words_of_ended);
    if (ended) d.ended = *ended;
    d.purge = optional_choice(Column::purge, parse_purge, words_of_purge);
    const std::string_view amount = in_.word(Column::amount);
    if (ended == Ended::not_done) {
      if (!amount.empty()) {
        in_.refuse(Column::amount,
                   fmt::format("\"{}\" is an amount of a greasing that was not done; expected nothing", shown(amount)));
      }
      if (!in_.word(Column::cm3_per_unit).empty()) in_.refuse(Column::cm3_per_unit, "goes only with an amount");
      (void)optional_choice(Column::unit, parse_unit, words_of_unit);
    } else if (amount.empty()) {
      if (ended) in_.refuse_missing(Column::amount, "a number of 0 or more (empty only with ended = not_done)");
    } else {
      const ShaftSetting* setting = shaft_ == nullptr ? nullptr : setting_at(shaft_->settings, e.head.at.utc);
      Conversion with;
      if (gun != nullptr) {
        if (const auto* c = setting_at(gun->calibrations, e.head.at.utc)) with.per_stroke = c->per_stroke;
      }
      d.amount = read_amount(grease, setting == nullptr ? std::nullopt : std::optional{setting->grease}, with,
                             gun == nullptr ? "no gun is named" : "the gun has no calibration that holds at that time");
    }
    e.detail = std::move(d);
  }

  Kind kind_;
  const Fields& fields_;
  const RegisterIndex& index_;
  FieldReader in_;
  ParsedRecord& out_;
  const RegisterIndex::OnBoard* vessel_ = nullptr;
  const Shaft* shaft_ = nullptr;
  const Lubricator* lubricator_ = nullptr;
  Zone utc_ = Zone::utc();
};

// Canonical text: each value with its length before it, so that no two rows can run into one another.
void put(std::string& out, std::string_view text) {
  fmt::format_int n{text.size()};
  out.append(n.data(), n.size());
  out.push_back(':');
  out.append(text);
}
void put(std::string& out, std::int64_t n) {
  fmt::format_int text{n};
  put(out, std::string_view{text.data(), text.size()});
}
void put(std::string& out, std::optional<std::int64_t> n) { n ? put(out, *n) : put(out, std::string_view{}); }
void put(std::string& out, const std::optional<Uuid>& id) {
  put(out, id ? std::string_view{format_uuid(*id)} : std::string_view{});
}
void put(std::string& out, const Stamp& s) {
  put(out, in_unix_s(s.utc));
  put(out, static_cast<std::int64_t>(s.precision));
}
template <class Q>
std::optional<std::int64_t> base_of(const std::optional<Q>& q) {
  return q ? std::optional{q->base()} : std::nullopt;
}
void put(std::string& out, const std::optional<Amount>& a) {
  if (!a) {
    put(out, std::string_view{});
    return;
  }
  // A spreadsheet that drops the zeros of "25.00" makes no new record.
  const auto d = parse_decimal(a->typed);
  put(out, d ? std::string_view{format_scaled(d->mantissa, d->scale)} : std::string_view{a->typed});
  put(out, name_of(a->unit));
}

struct PutDetail {
  std::string& out;
  const RegisterIndex& index;
  void grease(GreaseId id) const {
    const Grease* g = index.find(id);
    put(out, g == nullptr ? std::string_view{} : std::string_view{g->code});
  }
  void operator()(const Hours& d) const {
    put(out, d.reading.base());
    put(out, std::int64_t{d.is_new_meter});
    put(out, base_of(d.old_meter));
  }
  void operator()(const Cycles& d) const {
    put(out, d.count);
    put(out, std::int64_t{d.is_new_counter});
  }
  void operator()(const LevelReading& d) const { put(out, d.level.base()); }
  void operator()(const Refill& d) const {
    put(out, d.amount);
    put(out, base_of(d.before));
    put(out, base_of(d.after));
    grease(d.grease);
    put(out, d.batch);
  }
  void operator()(const Greasing& d) const {
    put(out, d.amount);
    const Gun* gun = index.find(d.gun);
    put(out, gun == nullptr ? std::string_view{} : std::string_view{gun->code});
    put(out, name_of(d.ended));
    put(out, d.purge ? name_of(*d.purge) : std::string_view{});
    grease(d.grease);
  }
  void operator()(const Alarm& d) const {
    put(out, name_of(d.alarm));
    if (d.cleared)
      put(out, *d.cleared);
    else
      put(out, std::string_view{});
  }
  void operator()(const Work& d) const { put(out, name_of(d.work)); }
  void operator()(const Inspection& d) const {
    put(out, d.water_ppm);
    put(out, d.iron_ppm_milli);
    put(out, d.clearance_um);
  }
  void operator()(const Withdrawal&) const { put(out, std::string_view{"withdrawal"}); }
};

}  // namespace

std::string Fault::text() const {
  std::string where = file;
  if (line != 0) where += fmt::format("{}line {}", where.empty() ? "" : " ", line);
  if (!column.empty()) where += (where.empty() ? "" : ", ") + column;
  return where.empty() ? says : where + ": " + says;
}

ParsedRecord parse_record(Kind kind, const Fields& fields, const RegisterIndex& index, const FieldOptions& options) {
  ParsedRecord out;
  RecordReader{kind, fields, index, options, out}.read();
  return out;
}

void append_content(std::string& out, const Entry& e, const RegisterIndex& index) {
  put(out, name_of(e.kind));
  const Vessel* vessel = index.find(e.vessel);
  const Shaft* shaft = index.find(e.shaft);
  const Lubricator* lubricator = index.find(e.lubricator);
  put(out, vessel == nullptr ? std::string_view{} : std::string_view{vessel->code});
  put(out, shaft == nullptr ? std::string_view{} : std::string_view{shaft->code});
  put(out, lubricator == nullptr ? std::string_view{} : std::string_view{lubricator->code});
  put(out, e.head.at);
  put(out, e.head.by);
  put(out, e.head.remark);
  put(out, e.head.replaces);
  put(out, e.head.withdraws);
  put(out, e.head.reason);
  std::visit(PutDetail{out, index}, e.detail);
}

Uuid content_id(std::string_view content, std::uint32_t occurrence) {
  if (occurrence == 0) return make_uuid_v8(content);
  return make_uuid_v8(fmt::format("{}#{}", content, occurrence));
}

}  // namespace shaftlog
