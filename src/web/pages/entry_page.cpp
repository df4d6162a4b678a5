#include "app/look_up.hpp"
#include "app/second_look.hpp"
#include "reports/record_report.hpp"
#include "web/pages/entry_parts.hpp"
#include "web/pages/pages.hpp"

#include <algorithm>

namespace shaftlog::web {

namespace {

std::string_view text_of(const NamedTexts& texts, std::string_view name) {
  for (const auto& [known, value] : texts)
    if (known == name) return value;
  return {};
}

/// What a field is asked for by, in a seaman's words.
std::string_view label_of(std::string_view field) {
  constexpr std::pair<std::string_view, std::string_view> kLabels[] = {{"meter_h", "Hour meter shows"},
                                                                       {"meter", "Meter was replaced or reset"},
                                                                       {"old_meter_h", "Old meter showed"},
                                                                       {"count", "Counter shows"},
                                                                       {"counter", "Counter was reset"},
                                                                       {"level_pct", "Level, %"},
                                                                       {"amount", "How much went in"},
                                                                       {"unit", "in"},
                                                                       {"level_before_pct", "Level before, %"},
                                                                       {"level_after_pct", "Level after, %"},
                                                                       {"grease", "Grease, if another one"},
                                                                       {"batch", "Batch"},
                                                                       {"ended", "It ended"},
                                                                       {"gun", "Gun"},
                                                                       {"purge", "Came out at the seal"},
                                                                       {"raised_at", "Came at"},
                                                                       {"cleared_at", "Went at"},
                                                                       {"alarm", "Alarm"},
                                                                       {"work", "Work"},
                                                                       {"water_pct", "Water in the grease, %"},
                                                                       {"iron_ppm", "Iron in the grease, ppm"},
                                                                       {"clearance_mm", "Clearance, mm"},
                                                                       {"at", "When"},
                                                                       {"by", "By"},
                                                                       {"remark", "Remark"},
                                                                       {"shaft", "Shaft"},
                                                                       {"lubricator", "Lubricator"}};
  for (const auto& [name, label] : kLabels)
    if (name == field) return label;
  return field;
}

using Choices = std::vector<std::pair<std::string, std::string>>;

Choices choices_of(const EntryForm& f, std::string_view field) {
  Choices out;
  const auto words = [&out](std::initializer_list<std::pair<const char*, const char*>> list) {
    for (const auto& [value, text] : list) out.emplace_back(value, text);
  };
  if (field == "unit" && f.kind == Kind::greasing)
    words({{"strokes", "strokes"}, {"cm3", "cm³"}, {"g", "g"}, {"kg", "kg"}, {"oz", "oz"}, {"lb", "lb"}});
  if (field == "unit" && f.kind == Kind::refill)
    words({{"kg", "kg"}, {"g", "g"}, {"l", "l"}, {"cm3", "cm³"}, {"pct", "% of full"}, {"lb", "lb"}});
  if (field == "ended")
    words({{"pressure", "at back-pressure"},
           {"limit", "at the limit, no back-pressure"},
           {"stopped", "broken off"},
           {"packed", "cavity packed anew"},
           {"not_done", "not done"}});
  if (field == "purge")
    words({{"", "not looked"},
           {"none", "nothing"},
           {"clean", "clean grease"},
           {"dark", "dark grease"},
           {"water", "water"}});
  // What nobody chose must not look as if somebody had.
  if ((field == "alarm" || field == "work") && text_of(f.values, field).empty()) out.emplace_back("", "choose");
  if (field == "alarm")
    words({{"low_level", "low level"},
           {"empty", "empty"},
           {"no_pressure", "no pressure"},
           {"high_pressure", "high pressure"},
           {"cycle_fault", "cycle fault"},
           {"power_fault", "power fault"},
           {"other", "other"}});
  if (field == "work")
    for (const char* w : {"seal_replaced", "bearing_replaced", "metering_replaced", "setting_corrected",
                          "line_repaired", "pump_repaired", "bled", "controller_changed", "lubricator_off",
                          "lubricator_on", "purged", "contact", "docked", "undocked", "other"})
      out.emplace_back(w, spoken(w));
  if (field == "meter" || field == "counter") words({{"", "no"}, {"new", "yes"}});
  if (field == "gun")
    for (const Gun& g : f.reg.guns)
      if (g.vessel == f.vessel.id) out.emplace_back(g.code, g.code);
  if (field == "grease") {
    out.emplace_back("", "the usual one");
    for (const Grease& g : f.reg.greases) out.emplace_back(g.code, g.code);
  }
  const bool may_be_none = f.kind == Kind::work || f.kind == Kind::alarm;
  if (field == "shaft") {
    if (may_be_none) out.emplace_back("", f.kind == Kind::work ? "the whole ship" : "none");
    for (const Shaft& s : f.reg.shafts)
      if (s.vessel == f.vessel.id) out.emplace_back(s.code, s.code);
  }
  if (field == "lubricator") {
    if (may_be_none) out.emplace_back("", "none");
    for (const Lubricator& l : f.reg.lubricators)
      if (l.vessel == f.vessel.id) out.emplace_back(l.code, l.code);
  }
  return out;
}

/// Said of a field that was left empty.
std::string_view said_of_missing(std::string_view field) {
  if (field == "alarm") return "Choose which alarm it was.";
  if (field == "work") return "Choose which work it was.";
  return "is still to be filled in";
}

/// Below the fold: seldom needed, and never in the way of a quick entry.
bool is_seldom(Kind kind, std::string_view field) {
  if (field == "at" || field == "raised_at") return kind != Kind::work && kind != Kind::alarm;
  return field == "grease" || field == "batch" || field == "remark" || field == "meter" || field == "old_meter_h" ||
         field == "counter";
}

void control(Html& h, const EntryForm& f, const EntryField& field, bool has_focus) {
  const std::string_view name = field.name, value = text_of(f.values, name);
  const Choices choices = choices_of(f, name);
  std::string fault;
  for (const FieldFault& x : f.faults)
    if (x.field == name) fault += (fault.empty() ? "" : "; ") + x.text;
  if (std::find(f.missing.begin(), f.missing.end(), name) != f.missing.end()) fault = said_of_missing(name);
  const std::string describes =
      fault.empty() ? "" : fmt::format(" aria-invalid=\"true\" aria-describedby=\"fault-{}\"", name);
  if (!choices.empty() && choices.size() <= 6) {  // all at a glance, one touch each
    h.add("<fieldset class=\"pick\"><legend>{}</legend>\n", label_of(name));
    const bool is_listed = std::any_of(choices.begin(), choices.end(), [&](const auto& c) { return c.first == value; });
    for (std::size_t i = 0; i < choices.size(); ++i) {
      const bool is_chosen = is_listed ? choices[i].first == value : i == 0 && !f.is_correction;
      h.add("<label><input type=\"radio\" name=\"{}\" value=\"{}\"{}{}><span>{}</span></label>\n", name,
            html_escaped(choices[i].first), is_chosen ? " checked" : "", describes, html_escaped(choices[i].second));
    }
    h.raw("</fieldset>\n");
  } else if (!choices.empty()) {
    const bool is_open = choices.front().first.empty() && field.is_required;
    h.add("<label>{} <select name=\"{}\"{}{}>", label_of(name), name,
          is_open ? fmt::format(" data-missing=\"{}\"", said_of_missing(name)) : "", describes);
    for (const auto& [word, text] : choices)
      h.add("<option value=\"{}\"{}>{}</option>", html_escaped(word), word == value ? " selected" : "",
            html_escaped(text));
    h.raw("</select></label>\n");
  } else {
    const bool is_number =
        field.value == "N" || field.value == "H" || field.value == "PCT" || field.value == "PPM" || field.value == "MM";
    const bool is_time = field.value == "TIME";
    std::string extra;
    if (is_number) extra += " inputmode=\"decimal\" class=\"number\"";
    if (is_time)
      extra +=
          name == "cleared_at" ? " placeholder=\"empty while it stands\"" : " placeholder=\"now\" data-time=\"now\"";
    if (name == "by") extra += " autocomplete=\"name\" data-remember=\"by\"";
    if (has_focus) extra += " autofocus";
    h.add("<label>{} <input name=\"{}\" value=\"{}\" autocomplete=\"off\"{}{}></label>\n", label_of(name), name,
          html_escaped(value), extra, describes);
  }
  if (!fault.empty()) h.add("<p class=\"fault\" id=\"fault-{}\">{}</p>\n", name, html_words(fault));
}

/// What was last said for that subject, to be offered again.
void take_over(NamedTexts& texts, const Entry& last, const Names& names) {
  const auto set = [&texts](std::string_view name, std::string_view value) {
    if (text_of(texts, name).empty() && !value.empty()) texts.emplace_back(name, value);
  };
  if (const auto* g = std::get_if<Greasing>(&last.detail)) {
    if (g->amount) set("unit", name_of(g->amount->unit));
    set("gun", names.gun(g->gun));
  }
  if (const auto* r = std::get_if<Refill>(&last.detail); r != nullptr && r->amount)
    set("unit", name_of(r->amount->unit));
}

Kind kind_of(std::string_view word) {
  const auto kind = parse_kind(word);
  if (!kind) throw Error{Errc::not_found, "there is no such kind of record"};
  return *kind;
}

Response show(Site& site, const Request& q, const std::string& code, Kind kind) {
  auto file = site.open();
  Database& db = *file;
  const Register reg = load_register(db);
  const Vessel& vessel = seen_vessel(reg, q, code);
  EntryForm f{kind, reg, vessel, {}, entry_path(code, kind, {}), {}, {}, {}, {}, {}, {}, false};
  f.values.emplace_back("vessel", code);
  for (const char* subject : {"shaft", "lubricator"})
    if (const auto s = value_of(q.query, subject); !s.empty()) f.values.emplace_back(subject, s);
  if (const auto s = text_of(f.values, "shaft"); !s.empty()) static_cast<void>(get_shaft(reg, vessel, s));
  if (const auto s = text_of(f.values, "lubricator"); !s.empty()) static_cast<void>(get_lubricator(reg, vessel, s));
  const Instant now = site.clock().now_s();
  if (const auto look = look_ahead(db, reg, now, kind, f.values)) {
    const Names names{reg};
    if (look->last) {
      f.last = fmt::format("{}, {}", says(*look->last, names), format_local(look->last->head.at));
      take_over(f.values, *look->last, names);
    }
    f.expected = look->expected;
  }
  if (kind == Kind::greasing && text_of(f.values, "ended").empty()) f.values.emplace_back("ended", "pressure");
  f.id = format_uuid(make_uuid_v7(site.clock().now()));
  Html h;
  entry_form(h, site, q, f);
  const std::string subject{is_of_lubricator(kind) ? text_of(f.values, "lubricator") : text_of(f.values, "shaft")};
  return page(framed(site, q,
                     {fmt::format("{}{}{}", spoken_kind(kind), subject.empty() ? "" : ", ", subject),
                      {{code, ship_path(code)}},
                      false,
                      {}},
                     h.take()));
}

void write_told(JsonWriter& out, const SecondLook& look, Kind kind, const Names& names) {
  if (look.last)
    out.key("last").text(fmt::format("{}, {}", says(*look.last, names), format_local(look.last->head.at)));
  else
    out.key("last").null();
  out.key("expected").text_or_null(look.expected ? format_expected(kind, *look.expected) : std::string{});
  out.key("expected_figure").estimate(look.expected);
  out.key("odd").texts(look.odd);
}

/// Where the moment is that of the browser's own clock, whether that clock is right: nobody has looked at the date.
std::optional<std::string> odd_clock(const Request& q, const Stamp& at, Instant now) {
  constexpr auto kApart = std::chrono::minutes{30};
  if (value_of(q.form, "clock") != "own" || std::chrono::abs(at.utc - now) <= kApart) return std::nullopt;
  return fmt::format("this device's clock shows {}, the server's {}: type the time if it is another", format_local(at),
                     format_local({now, at.offset, Precision::minute}));
}

/// What the log would say, nothing kept.
Response look(Site& site, const Request& q) {
  const Kind kind = kind_of(value_of(q.form, "kind"));
  auto file = site.open();
  Database& db = *file;
  const std::string_view code = value_of(q.form, "vessel");
  const Register reg = load_register_of(db, code);
  static_cast<void>(seen_vessel(reg, q, code));
  const Instant now = site.clock().now_s();
  const Draft draft = draft_record(reg, now, kind, record_fields(kind, q));
  const Names names{reg};
  JsonWriter out;
  out.begin_object();
  SecondLook told;
  if (draft.entry) told = second_look(db, *draft.entry, now);
  told.odd.insert(told.odd.begin(), draft.odd.begin(), draft.odd.end());
  if (draft.entry)
    if (auto clock = odd_clock(q, draft.entry->head.at, now)) told.odd.push_back(std::move(*clock));
  write_told(out, told, kind, names);
  out.key("says").text_or_null(draft.entry ? says(*draft.entry, names) : std::string{});
  out.key("faults").begin_list();
  for (const FieldFault& x : draft.faults) {
    out.begin_object();
    out.key("field").text(x.field);
    out.key("fault").text(x.text);
    out.end_object();
  }
  out.end_list();
  out.key("missing").texts(draft.missing);
  out.end_object();
  return json(out.take());
}

Response answer_kept(Site& site, const Request& q, const Register& reg, const Entry& entry, bool is_new) {
  site.kept();
  const Names names{reg};
  const std::string vessel{names.vessel(entry.vessel)};
  if (!q.wants_json) return see_other(ship_path(vessel) + query_text({{"kept", format_uuid(entry.head.id)}}));
  JsonWriter out;
  out.begin_object();
  out.key("is_new").boolean(is_new);
  out.key("record");
  write_record(out, entry, names);
  out.end_object();
  return json(out.take(), is_new ? 201 : 200);
}

/// Keeps one record. A form asks once more where it is odd; a sender of JSON has had its answer from /api/look.
Response keep(Site& site, const Request& q, const std::string& code, Kind kind) {
  auto file = site.open_to_keep();
  Database& db = *file;
  const Register reg = load_register_of(db, code);
  const Vessel& vessel = seen_vessel(reg, q, code);
  const Instant now = site.clock().now_s();
  NamedTexts fields = record_fields(kind, q);
  std::erase_if(fields, [](const auto& f) { return f.first == "vessel" || f.first == "by"; });
  fields.emplace_back("vessel", code);
  sign(fields, q);
  const std::string_view kept_all_the_same = value_of(q.form, "right_remark");
  Draft draft = draft_record(reg, now, kind, fields);
  const auto id = parse_uuid(value_of(q.form, "id"));
  if (!id) throw Error{Errc::bad_data, "id: expected the UUID of the new record"};
  if (!draft.entry || !draft.faults.empty()) {
    if (q.wants_json) require_sound(draft);
    EntryForm f{kind,         reg,           vessel, fields, entry_path(code, kind, {}), {},
                draft.faults, draft.missing, {},     {},     format_uuid(*id),           false};
    Html h;
    entry_form(h, site, q, f);
    return page(framed(site, q, {std::string{spoken_kind(kind)}, {{code, ship_path(code)}}, false, {}}, h.take()), 422);
  }
  SecondLook look;
  if (!q.wants_json) look = second_look(db, *draft.entry, now);
  look.odd.insert(look.odd.begin(), draft.odd.begin(), draft.odd.end());
  if (!q.wants_json && !look.odd.empty() && value_of(q.form, "right").empty()) {
    EntryForm f{kind, reg, vessel, fields,        entry_path(code, kind, {}), look.odd,
                {},   {},  {},     look.expected, format_uuid(*id),           false};
    Html h;
    entry_form(h, site, q, f);
    return page(framed(site, q,
                       {fmt::format("{}: is that right?", spoken_kind(kind)), {{code, ship_path(code)}}, false, {}},
                       h.take()));
  }
  if (!kept_all_the_same.empty())
    draft.entry->head.remark += (draft.entry->head.remark.empty() ? "" : "; ") + std::string{kept_all_the_same};
  auto turn = site.turn_to_keep();
  const KeptOnce kept = keep_record_once(db, *draft.entry, *id);
  turn.unlock();
  return answer_kept(site, q, reg, kept.entry, kept.is_new);
}

// --- hours of all shafts on one screen ---------------------------------------------------------------------------

Response show_hours(Site& site, const Request& q, const std::string& code) {
  auto file = site.open();
  Database& db = *file;
  const Register reg = load_register(db);
  const Vessel& vessel = seen_vessel(reg, q, code);
  const Names names{reg};
  const Instant now = site.clock().now_s();
  Html h;
  h.add(
       "<form method=\"post\" action=\"{}/hours\" class=\"entry\" data-many=\"hours\" data-vessel=\"{}\" "
       "data-offset=\"{}\">\n",
       ship_path(code), html_escaped(code), Zone{vessel.time_zone}.offset_at(now).count())
      .raw(token_field(site, q));
  h.raw("<p>What each meter shows. Leave empty what was not read.</p>\n");
  bool is_first = true;
  for (const Shaft& s : reg.shafts) {
    if (s.vessel != vessel.id) continue;
    const auto look = look_ahead(db, reg, now, Kind::hours, {{"vessel", code}, {"shaft", s.code}});
    h.add("<div class=\"row\" data-shaft=\"{0}\"><input type=\"hidden\" name=\"id:{0}\" value=\"{1}\">\n",
          html_escaped(s.code), format_uuid(make_uuid_v7(site.clock().now())));
    h.add(
        "<label>{0} <input name=\"meter_h:{0}\" inputmode=\"decimal\" class=\"number\" "
        "autocomplete=\"off\"{1}></label>\n",
        html_escaped(s.code), is_first ? " autofocus" : "");
    is_first = false;
    h.raw("<p class=\"quiet\">");
    if (look && look->last)
      h.raw("last: ").esc(says(*look->last, names)).raw(", ").esc(format_local(look->last->head.at));
    if (look && look->expected) h.raw("<br>expected: ").esc(format_expected(Kind::hours, *look->expected));
    h.raw("</p><p class=\"odd\" role=\"status\"></p></div>\n");
  }
  h.raw("<label>When <input name=\"at\" placeholder=\"now\" data-time=\"now\" autocomplete=\"off\"></label>\n");
  if (q.who.name.empty()) h.raw("<label>By <input name=\"by\" autocomplete=\"name\" data-remember=\"by\"></label>\n");
  h.raw("<div class=\"foot\"><button class=\"go\">Keep the readings</button></div>\n</form>\n");
  return page(framed(site, q, {"Hours of all shafts", {{code, ship_path(code)}}, false, {}}, h.take()));
}

/// Without script: all that are sound are kept; the others come back with what is wrong.
Response keep_hours(Site& site, const Request& q, const std::string& code) {
  auto file = site.open_to_keep();
  Database& db = *file;
  const Register reg = load_register(db);
  const Vessel& vessel = seen_vessel(reg, q, code);
  const Instant now = site.clock().now_s();
  Html refused;
  int kept = 0;
  for (const Shaft& s : reg.shafts) {
    if (s.vessel != vessel.id) continue;
    const std::string_view reading = value_of(q.form, "meter_h:" + s.code);
    if (reading.empty()) continue;
    NamedTexts fields{{"vessel", code},
                      {"shaft", s.code},
                      {"meter_h", std::string{reading}},
                      {"at", std::string{value_of(q.form, "at")}}};
    sign(fields, q);
    std::erase_if(fields, [](const auto& f) { return f.second.empty(); });
    try {
      const Draft draft = draft_record(reg, now, Kind::hours, fields);
      require_sound(draft);
      const SecondLook look = second_look(db, *draft.entry, now);
      if (!look.odd.empty() && value_of(q.form, "right:" + s.code).empty())
        throw Error{Errc::bad_data, look.odd.front() + ": enter it by itself if it is right"};
      const auto id = parse_uuid(value_of(q.form, "id:" + s.code));
      const auto turn = site.turn_to_keep();
      keep_record_once(db, *draft.entry, id ? *id : make_uuid_v7(site.clock().now()));
      ++kept;
    } catch (const Error& e) {
      refused.raw("<li>")
          .raw(link(entry_path(code, Kind::hours, s.code), s.code))
          .raw(": ")
          .esc(e.what())
          .raw("</li>\n");
    }
  }
  site.kept();
  const std::string list = refused.take();
  if (list.empty()) return see_other(ship_path(code) + query_text({{"hours", fmt::format("{}", kept)}}));
  Html h;
  h.add("<p role=\"alert\">{} kept. These were not:</p>\n<ul>\n", kept).raw(list).raw("</ul>\n");
  return page(framed(site, q, {"Hours: some were not kept", {{code, ship_path(code)}}, false, {}}, h.take()), 422);
}

}  // namespace

std::string entry_path(std::string_view vessel, Kind kind, std::string_view subject) {
  return ship_path(vessel) + "/record/" + std::string{name_of(kind)} +
         query_text({{is_of_lubricator(kind) ? "lubricator" : "shaft", subject}});
}

std::string signed_by(const Request& q) {
  return q.who.name.empty() ? std::string{value_of(q.form, "by")} : q.who.name;
}

void sign(NamedTexts& fields, const Request& q) {
  if (std::string by = signed_by(q); !by.empty()) fields.emplace_back("by", std::move(by));
}

RecordFamily seen_record(Database& db, const Request& q, const std::string& id) {
  RecordFamily family = get_record(db, id);
  if (!may_see(q.who, Names{family.reg}.vessel(family.record.vessel)))
    throw Error{Errc::not_found, "there is no such record among those that are yours"};
  return family;
}

std::string_view spoken_kind(Kind kind) noexcept {
  switch (kind) {
    case Kind::hours:
      return "Hour meter";
    case Kind::cycles:
      return "Cycle counter";
    case Kind::level:
      return "Level";
    case Kind::refill:
      return "Refill";
    case Kind::greasing:
      return "Greasing";
    case Kind::alarm:
      return "Alarm";
    case Kind::work:
      return "Work";
    case Kind::inspection:
      return "Inspection";
  }
  return "";
}

bool is_of_lubricator(Kind kind) noexcept {
  return kind == Kind::refill || kind == Kind::level || kind == Kind::cycles || kind == Kind::alarm;
}

NamedTexts record_fields(Kind kind, const Request& q) {
  NamedTexts out;
  for (const EntryField& f : fields_of(kind))
    if (const auto text = value_of(q.form, f.name); !text.empty()) out.emplace_back(f.name, text);
  // A unit is chosen from the first, also for a refill that is told by its two levels and has no amount.
  if (kind == Kind::refill && text_of(out, "amount").empty())
    std::erase_if(out, [](const auto& field) { return field.first == "unit"; });
  return out;
}

namespace {

/// What is expected, in every unit that it can be typed in: the script shows the one that is chosen.
void expected(Html& h, const EntryForm& f, Instant now) {
  if (!f.expected) return;
  h.raw("<p role=\"status\">expected: ");
  const Choices units = choices_of(f, "unit");
  if (units.empty()) {
    h.raw("<strong>").esc(format_expected(f.kind, *f.expected)).raw("</strong></p>");
    return;
  }
  const auto chosen = [&](std::string_view field, std::string_view else_) {
    const std::string_view text = text_of(f.values, field);
    return text.empty() ? else_ : text;
  };
  const Choices guns = choices_of(f, "gun");
  const std::string_view unit = chosen("unit", units.front().first), grease = text_of(f.values, "grease");
  const std::string_view gun = chosen("gun", guns.empty() ? std::string_view{} : guns.front().first);
  for (const UnitWorth& w : unit_worths(f.reg, now, f.kind, f.values)) {
    const std::string_view name = name_of(w.unit);
    const bool is_offered = std::any_of(units.begin(), units.end(), [&](const auto& u) { return u.first == name; });
    const bool is_chosen = name == unit && (!w.gun || *w.gun == gun) && (!w.grease || *w.grease == grease);
    if (!is_offered && !is_chosen) continue;
    h.add("<strong data-unit=\"{}\"", name);
    if (w.gun) h.add(" data-gun=\"{}\"", html_escaped(*w.gun));
    if (w.grease) h.add(" data-grease=\"{}\"", html_escaped(*w.grease));
    h.raw(is_chosen ? ">" : " hidden>").esc(format_expected_in(w.unit, w.cm3, *f.expected)).raw("</strong>");
  }
  h.raw("</p>");
}

}  // namespace

void entry_form(Html& h, Site& site, const Request& q, const EntryForm& f) {
  const std::string offset = fmt::format("{}", Zone{f.vessel.time_zone}.offset_at(site.clock().now_s()).count());
  h.add(
      "<form method=\"post\" action=\"{}\" class=\"entry\" data-entry=\"{}\" data-vessel=\"{}\" "
      "data-offset=\"{}\"{}>\n",
      html_escaped(f.action), name_of(f.kind), html_escaped(f.vessel.code), offset,
      f.is_correction ? " data-correction=\"yes\"" : "");
  h.raw(token_field(site, q));
  h.add("<input type=\"hidden\" name=\"kind\" value=\"{}\">\n<input type=\"hidden\" name=\"id\" value=\"{}\">\n",
        name_of(f.kind), html_escaped(f.id));
  h.raw("<div class=\"known\">");
  if (!f.last.empty()) h.raw("<p>last: ").esc(f.last).raw("</p>");
  expected(h, f, site.clock().now_s());
  h.raw("</div>\n");
  for (const FieldFault& x : f.faults)
    if (x.field.empty()) h.raw("<p class=\"fault\" role=\"alert\">").esc(x.text).raw("</p>\n");
  Html seldom;
  bool has_focus = false;
  const bool has_one_gun =
      std::count_if(f.reg.guns.begin(), f.reg.guns.end(), [&](const Gun& g) { return g.vessel == f.vessel.id; }) < 2;
  for (const EntryField& field : fields_of(f.kind)) {
    if (field.name == "vessel") continue;
    if (field.name == "by" && !q.who.name.empty()) continue;
    const bool is_subject = field.name == "shaft" || field.name == "lubricator";
    if (is_subject && field.is_required && !text_of(f.values, field.name).empty() && !f.is_correction) {
      h.add("<input type=\"hidden\" name=\"{}\" value=\"{}\">\n", field.name,
            html_escaped(text_of(f.values, field.name)));
      continue;
    }
    if (field.name == "gun" && has_one_gun) {
      const Choices guns = choices_of(f, "gun");
      if (!guns.empty())
        h.add("<input type=\"hidden\" name=\"gun\" value=\"{}\" data-with-unit=\"strokes\">\n",
              html_escaped(guns.front().first));
      continue;
    }
    const bool takes_focus = !has_focus && field.value != "CODE" && field.value != "HOW" && field.value != "TIME" &&
                             field.value != "WHAT" && field.value != "UNIT";
    if (f.kind == Kind::greasing && field.name == "ended") continue;  // after the amount
    control(is_seldom(f.kind, field.name) ? seldom : h, f, field, takes_focus);
    has_focus |= takes_focus;
    if (f.kind == Kind::greasing && field.name == "unit")
      for (const EntryField& ended : fields_of(f.kind))
        if (ended.name == "ended") control(h, f, ended, false);
  }
  if (const std::string more = seldom.take(); !more.empty())
    h.raw("<details><summary>More: time, remark and the like</summary>\n").raw(more).raw("</details>\n");
  if (f.is_correction)
    h.add("<label>Why it is corrected <input name=\"reason\" value=\"{}\" required autocomplete=\"off\"></label>\n",
          html_escaped(f.reason));
  h.raw("<div class=\"foot\"><div class=\"look\" role=\"status\" aria-live=\"polite\">");
  if (!f.odd.empty()) {
    h.raw("<p class=\"odd\"><b>Is that right?</b></p>\n<ul>\n");
    for (const std::string& o : f.odd) h.raw("<li>").esc(o).raw("</li>\n");
    h.raw(
        "</ul>\n<label>It is right: why (a remark, if you like) <input name=\"right_remark\" "
        "autocomplete=\"off\"></label>\n");
    h.raw("<input type=\"hidden\" name=\"right\" value=\"yes\">\n");
  }
  h.raw("</div>\n");
  h.add("<button class=\"go\">{}</button></div>\n</form>\n", f.odd.empty() ? "Keep" : "Keep it all the same");
  if (f.kind == Kind::greasing)
    h.raw(
        "<div class=\"cautions\"><b>Before greasing</b><ul><li>no hand before a nozzle: grease under pressure goes "
        "through the skin, an emergency even when it looks small</li><li>isolate and lock the fin, rudder or thruster "
        "first</li><li>never more pressure than the seal is made for; makers' instructions decide</li></ul></div>\n");
}

void add_entry_pages(Router& router, Site& site) {
  router.add(Method::get, "/ship/*/hours", Needs::record,
             [&site](const Request& q, const Places& p) { return show_hours(site, q, p[0]); });
  router.add(Method::post, "/ship/*/hours", Needs::record,
             [&site](const Request& q, const Places& p) { return keep_hours(site, q, p[0]); });
  router.add(Method::get, "/ship/*/record/*", Needs::record,
             [&site](const Request& q, const Places& p) { return show(site, q, p[0], kind_of(p[1])); });
  router.add(Method::post, "/ship/*/record/*", Needs::record,
             [&site](const Request& q, const Places& p) { return keep(site, q, p[0], kind_of(p[1])); });
  router.add(Method::post, "/api/look", Needs::record,
             [&site](const Request& q, const Places&) { return look(site, q); });
  router.add(Method::post, "/api/records", Needs::record, [&site](const Request& q, const Places&) {
    return keep(site, q, std::string{value_of(q.form, "vessel")}, kind_of(value_of(q.form, "kind")));
  });
}

}  // namespace shaftlog::web
