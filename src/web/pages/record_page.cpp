#include "app/second_look.hpp"
#include "app/verify.hpp"
#include "reports/record_report.hpp"
#include "web/pages/entry_parts.hpp"
#include "web/pages/pages.hpp"

#include <algorithm>

namespace shaftlog::web {

namespace {

/// What the review says against the record stands over the button: verifying is looking.
void verify_form(Html& h, Site& site, const Request& q, const Entry& e, std::span<const Verification> verified) {
  const bool is_done = std::any_of(verified.begin(), verified.end(),
                                   [&](const Verification& v) { return !q.who.name.empty() && v.by == q.who.name; });
  if (is_done) return;
  h.raw("<h2 id=\"verify\">Is it right?</h2>\n");
  const FleetView view = site.fleet();
  for (const Finding& f : view.review->findings)
    if (f.kind == FindingKind::record_suspect && !f.evidence.empty() && f.evidence.front() == e.head.id)
      h.raw("<p><strong>Doubtful:</strong> ").esc(f.summary).raw("</p>\n");
  h.add("<form method=\"post\" action=\"{}/verify\" class=\"entry\">", record_path(e.head.id))
      .raw(token_field(site, q));
  if (q.who.name.empty())
    h.raw("<label>By <input name=\"by\" required autocomplete=\"name\" data-remember=\"by\"></label>\n");
  h.raw("<button>Verify it</button></form>\n");
}

Response show(Site& site, const Request& q, const std::string& id) {
  auto file = site.open();
  Database& db = *file;
  const RecordFamily family = seen_record(db, q, id);
  const Names names{family.reg};
  const Entry& e = family.record;
  const std::string vessel{names.vessel(e.vessel)};
  Html h;
  h.raw("<dl>\n");
  const auto row = [&h](std::string_view name, std::string_view value) {
    if (!value.empty()) h.raw("<dt>").esc(name).raw("</dt><dd>").esc(value).raw("</dd>\n");
  };
  const auto typed = [&h](std::string_view name, std::string_view value) {  // to the letter
    if (!value.empty()) h.add("<dt>{}</dt><dd>{}</dd>\n", name, html_escaped(value));
  };
  row("of", names.subject(e.shaft, e.lubricator));
  row("happened", format_both(e.head.at));
  for (const NamedValue& v : values_of(e, names)) row(spoken(v.name), v.text);
  typed("by", e.head.by);
  row("written down", format_both(e.head.recorded_at));
  typed("source", e.head.source);
  typed("remark", e.head.remark);
  typed("reason", e.head.reason);
  const auto verified = verified_in(family.verified, e.head.id);
  if (!e.is_withdrawal()) typed("verified by", verified.empty() ? "nobody yet" : verified_by(verified));
  row("id", format_uuid(e.head.id));
  h.raw("</dl>\n");
  const bool counts = family.in_force == e.head.id;
  const bool is_withdrawn = std::any_of(family.family.begin(), family.family.end(),
                                        [&](const Entry& x) { return x.head.withdraws == e.head.id; });
  if (!family.in_force)
    h.raw("<p><strong>Withdrawn.</strong></p>\n");
  else if (is_withdrawn)
    h.raw("<p><strong>Withdrawn. What it had corrected counts again: ")
        .raw(link(record_path(*family.in_force), "the record before it"))
        .raw("</strong></p>\n");
  else if (!counts)
    h.raw("<p><strong>Corrected: in force is ")
        .raw(link(record_path(*family.in_force), "another record"))
        .raw("</strong></p>\n");
  if (family.family.size() > 1) {
    h.raw("<h2 id=\"family\">How it came to be</h2>\n<ol>\n");
    const Entry* before = nullptr;
    for (const Entry& x : family.family) {
      h.raw("<li>")
          .raw(link(record_path(x.head.id), format_both(x.head.recorded_at)))
          .esc(x.head.by.empty() ? "" : " by " + x.head.by)
          .raw(": ");
      if (x.is_withdrawal()) {
        h.raw("withdrawn");
      } else {
        h.esc(says(x, names));
        if (before != nullptr && !before->is_withdrawal()) h.raw(" (").esc(changes_between(*before, x, names)).raw(")");
      }
      if (!x.head.reason.empty()) h.raw("; because: ").raw(html_escaped(x.head.reason));
      h.raw("</li>\n");
      before = &x;
    }
    h.raw("</ol>\n");
  }
  if (counts && may(q.who, Needs::verify)) verify_form(h, site, q, e, verified);
  if (counts && may(q.who, Needs::record)) {
    h.raw("<h2 id=\"mend\">Typed wrong?</h2>\n<p>").raw(link(record_path(e.head.id) + "/correct", "Correct it"));
    h.raw(": the record as it was stays readable.</p>\n");
    h.add("<form method=\"post\" action=\"{}/withdraw\" class=\"entry\" data-plain=\"yes\">", record_path(e.head.id))
        .raw(token_field(site, q));
    h.add("<label>{} <input name=\"reason\" required autocomplete=\"off\"></label>\n",
          e.head.replaces ? "This correction is wrong, what it corrected is to count again: why"
                          : "It never happened: why it is withdrawn");
    if (q.who.name.empty()) h.raw("<label>By <input name=\"by\" autocomplete=\"name\" data-remember=\"by\"></label>\n");
    h.raw("<button>Withdraw it</button></form>\n");
  }
  return page(framed(
      site, q, {fmt::format("{}, {}", spoken_kind(e.kind), says(e, names)), {{vessel, ship_path(vessel)}}, false, {}},
      h.take()));
}

Response correction_page(Site& site, const Request& q, const RecordFamily& family, EntryForm f, int status) {
  const Names names{family.reg};
  Html h;
  entry_form(h, site, q, f);
  return page(framed(site, q,
                     {fmt::format("Correct: {}", spoken_kind(f.kind)),
                      {{f.vessel.code, ship_path(f.vessel.code)}, {"record", record_path(family.record.head.id)}},
                      false,
                      {}},
                     h.take()),
              status);
}

/// A correction of `e` with what stands in that record.
EntryForm correction_of(const Request& q, const RecordFamily& family, const Entry& e) {
  const Names names{family.reg};
  return {e.kind,
          family.reg,
          seen_vessel(family.reg, q, names.vessel(e.vessel)),
          record_texts(family.reg, e),
          record_path(e.head.id) + "/correct",
          {},
          {},
          {},
          says(e, names),
          {},
          {},
          true};
}

Response correct_form(Site& site, const Request& q, const std::string& id) {
  auto file = site.open();
  Database& db = *file;
  const RecordFamily family = seen_record(db, q, id);
  const Entry e = get_standing_record(db, id);
  return correction_page(site, q, family, correction_of(q, family, e), 200);
}

/// The fields of a form of `of` that say something else than it does. Only what differs is said again, so that what was
/// read with an older calibration stays as it was read.
NamedTexts typed_anew(const Request& q, const Register& reg, const Entry& of) {
  const NamedTexts before = record_texts(reg, of);
  NamedTexts fields;
  for (const EntryField& field : fields_of(of.kind)) {
    if (field.name == "vessel" || field.name == "by") continue;
    std::string_view was;
    for (const auto& [name, text] : before)
      if (name == field.name) was = text;
    bool is_given = false;
    for (const auto& [name, text] : q.form) is_given |= name == field.name;
    if (is_given && value_of(q.form, field.name) != was)
      fields.emplace_back(field.name, std::string{value_of(q.form, field.name)});
  }
  return fields;
}

/// The form again with what was typed over what `e` says, and why it was not kept.
Response ask_again(Site& site, const Request& q, const RecordFamily& family, const Entry& e, const NamedTexts& typed,
                   std::vector<FieldFault> faults, int status) {
  EntryForm f = correction_of(q, family, e);
  std::erase_if(f.values, [&](const auto& v) {
    return std::any_of(typed.begin(), typed.end(), [&](const auto& t) { return t.first == v.first; });
  });
  f.values.insert(f.values.end(), typed.begin(), typed.end());
  f.reason = value_of(q.form, "reason");
  f.faults = std::move(faults);
  return correction_page(site, q, family, std::move(f), status);
}

/// The record was corrected or withdrawn while its form was filled in: what was typed is not lost by it.
Response overtaken(Site& site, const Request& q, const RecordFamily& family, const NamedTexts& typed) {
  const Names names{family.reg};
  const Entry& last = family.family.back();
  const std::string by = last.head.by.empty() ? "somebody" : last.head.by;
  for (const Entry& e : family.family)
    if (family.in_force == e.head.id)
      return ask_again(
          site, q, family, e, typed,
          {{"", fmt::format("Nothing was kept: {} {} the record on {}. It now says {}. What you typed stands "
                            "below over it; Keep corrects the record as it is now.",
                            by, last.is_withdrawal() ? "withdrew" : "corrected", format_local(last.head.recorded_at),
                            says(e, names))}},
          409);
  Html h;
  h.raw("<p class=\"fault\" role=\"alert\">Nothing was kept: ");
  h.esc(fmt::format("{} withdrew the record on {}.", by, format_local(last.head.recorded_at)));
  h.raw(" What you typed:</p>\n<dl>\n");
  for (const auto& [name, text] : typed)
    h.raw("<dt>").esc(spoken(name)).raw("</dt><dd>").raw(html_escaped(text)).raw("</dd>\n");
  h.raw("<dt>reason</dt><dd>").raw(html_escaped(value_of(q.form, "reason"))).raw("</dd>\n</dl>\n");
  const std::string vessel{names.vessel(family.record.vessel)};
  h.raw("<p>").raw(link(record_path(family.record.head.id), "The record")).raw("</p>\n");
  return page(framed(site, q, {"Withdrawn in between", {{vessel, ship_path(vessel)}}, false, {}}, h.take()), 409);
}

Response kept(Site& site, const Request& q, const Register& reg, const Entry& e) {
  site.kept();
  if (!q.wants_json) return see_other(record_path(e.head.id));
  JsonWriter out;
  write_record(out, e, Names{reg});
  return json(out.take(), 201);
}

Response correct(Site& site, const Request& q, const std::string& id) {
  auto file = site.open_to_keep();
  Database& db = *file;
  const RecordFamily family = seen_record(db, q, id);
  const Entry& asked = family.record;
  if (!q.wants_json && !asked.is_withdrawal() && family.in_force != asked.head.id)
    return overtaken(site, q, family, typed_anew(q, family.reg, asked));
  const Entry of = get_standing_record(db, id);
  const NamedTexts typed = typed_anew(q, family.reg, of);
  const auto refuse = [&](const char* why) {
    if (q.wants_json) throw Error{Errc::usage, why};
    return ask_again(site, q, family, of, typed, {{"", why}}, 400);
  };
  const std::string_view reason = value_of(q.form, "reason");
  if (reason.empty()) return refuse("reason: a correction needs one");
  if (typed.empty()) return refuse("nothing was changed");
  NamedTexts fields = typed;
  sign(fields, q);
  Draft draft = draft_correction(family.reg, site.clock().now_s(), of, fields);
  if (!q.wants_json && !draft.faults.empty()) return ask_again(site, q, family, of, typed, draft.faults, 422);
  require_sound(draft);
  draft.entry->head.reason = reason;
  return kept(site, q, family.reg, keep_record(db, site.clock(), *draft.entry));
}

Response clear(Site& site, const Request& q, const std::string& id) {
  auto file = site.open_to_keep();
  Database& db = *file;
  const RecordFamily family = seen_record(db, q, id);
  const Entry of = get_standing_record(db, id);
  if (of.kind != Kind::alarm) throw Error{Errc::usage, "only an alarm clears"};
  const Names names{family.reg};
  const Instant now = site.clock().now_s();
  NamedTexts fields{{"cleared_at", format_stamp(stamp_at(now, names.zone(of.vessel), Precision::minute))}};
  sign(fields, q);
  Draft draft = draft_correction(family.reg, now, of, fields);
  require_sound(draft);
  draft.entry->head.reason = "it cleared";
  const Entry e = keep_record(db, site.clock(), *draft.entry);
  site.kept();
  if (q.wants_json) return kept(site, q, family.reg, e);
  return see_other(ship_path(names.vessel(of.vessel)) + query_text({{"kept", format_uuid(e.head.id)}}));
}

Response withdraw(Site& site, const Request& q, const std::string& id) {
  auto file = site.open_to_keep();
  Database& db = *file;
  const RecordFamily family = seen_record(db, q, id);
  const std::string_view reason = value_of(q.form, "reason");
  if (reason.empty()) throw Error{Errc::usage, "reason: a withdrawal needs one"};
  const Withdrawn w = withdraw_record(db, site.clock(), id, signed_by(q), std::string{reason});
  site.kept();
  if (q.wants_json) return kept(site, q, family.reg, w.withdrawal);
  return see_other(record_path(family.record.head.id));
}

Response verify(Site& site, const Request& q, const std::string& id) {
  auto file = site.open_to_keep();
  Database& db = *file;
  const RecordFamily family = seen_record(db, q, id);
  const Entry e = get_standing_record(db, id, "verified");
  const std::string by = signed_by(q);
  if (by.empty()) throw Error{Errc::usage, "by: the name of who has looked at the record is missing"};
  static_cast<void>(keep_verifications(db, site.clock(), family.reg, {e}, by));
  site.kept();
  const std::string vessel{Names{family.reg}.vessel(e.vessel)};
  if (q.wants_json) {
    JsonWriter out;
    write_record(out, e, Names{family.reg}, verifications_of(db, e));
    return json(out.take(), 201);
  }
  if (value_of(q.form, "to") == "records") return see_other(ship_path(vessel) + "/records#r-" + format_uuid(e.head.id));
  return see_other(record_path(e.head.id));
}

}  // namespace

void add_record_pages(Router& router, Site& site) {
  router.add(Method::get, "/record/*", Needs::look,
             [&site](const Request& q, const Places& p) { return show(site, q, p[0]); });
  router.add(Method::get, "/record/*/correct", Needs::record,
             [&site](const Request& q, const Places& p) { return correct_form(site, q, p[0]); });
  for (const std::string_view base : {"/record/*", "/api/records/*"}) {
    router.add(Method::post, std::string{base} + "/correct", Needs::record,
               [&site](const Request& q, const Places& p) { return correct(site, q, p[0]); });
    router.add(Method::post, std::string{base} + "/clear", Needs::record,
               [&site](const Request& q, const Places& p) { return clear(site, q, p[0]); });
    router.add(Method::post, std::string{base} + "/withdraw", Needs::record,
               [&site](const Request& q, const Places& p) { return withdraw(site, q, p[0]); });
    router.add(Method::post, std::string{base} + "/verify", Needs::verify,
               [&site](const Request& q, const Places& p) { return verify(site, q, p[0]); });
  }
}

}  // namespace shaftlog::web
