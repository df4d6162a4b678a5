#include "analysis/due.hpp"
#include "app/advise.hpp"
#include "app/list.hpp"
#include "reports/advise_report.hpp"
#include "reports/record_report.hpp"
#include "reports/report_parts.hpp"
#include "reports/workbook_content.hpp"
#include "web/pages/entry_parts.hpp"
#include "web/pages/finding_parts.hpp"
#include "web/pages/pages.hpp"
#include "web/pages/papers.hpp"

#include <algorithm>

namespace shaftlog::web {

namespace {

constexpr double kDueWithin_days = 30;

/// What can be written down with one touch: the subject used last stands first.
struct Target {
  Kind kind;
  std::string subject;
  std::pair<Instant, Instant> last{};  ///< when it happened; within the same minute, when it was written down
};

std::vector<Target> targets(const Register& reg, VesselId vessel, const std::vector<Entry>& newest) {
  std::vector<Target> out;
  const auto last_of = [&](Kind kind, ShaftId shaft, LubricatorId lubricator) {
    std::pair<Instant, Instant> last{};
    for (const Entry& e : newest)
      if (e.kind == kind && e.shaft == shaft && e.lubricator == lubricator)
        last = std::max(last, {e.head.at.utc, e.head.recorded_at.utc});
    return last;
  };
  for (const Lubricator& l : reg.lubricators)
    if (l.vessel == vessel) out.push_back({Kind::refill, l.code, last_of(Kind::refill, {}, l.id)});
  for (const Shaft& s : reg.shafts)
    if (s.vessel == vessel) out.push_back({Kind::greasing, s.code, last_of(Kind::greasing, s.id, {})});
  std::stable_sort(out.begin(), out.end(), [](const Target& a, const Target& b) { return a.last > b.last; });
  return out;
}

void entry_targets(Html& h, const Register& reg, const Vessel& v, const std::vector<Entry>& newest) {
  h.raw("<h2 id=\"record\">Write down</h2>\n<div class=\"targets\">\n");
  for (const Target& t : targets(reg, v.id, newest))
    h.add("<a class=\"target\" href=\"{}\"><b>{}</b> {}</a>\n", html_escaped(entry_path(v.code, t.kind, t.subject)),
          spoken_kind(t.kind), html_escaped(t.subject));
  h.add("<a class=\"target\" href=\"{}/hours\"><b>Hours</b> all shafts</a>\n", ship_path(v.code));
  const bool has_lubricator = std::any_of(reg.lubricators.begin(), reg.lubricators.end(),
                                          [&](const Lubricator& l) { return l.vessel == v.id; });
  std::string only;
  int count = 0;
  for (const Lubricator& l : reg.lubricators)
    if (l.vessel == v.id) only = l.code, ++count;
  const std::string_view first = count == 1 ? std::string_view{only} : std::string_view{};
  const auto other = [&](Kind kind, std::string_view subject) {
    h.add("<a class=\"target small\" href=\"{}\">{}</a>\n", html_escaped(entry_path(v.code, kind, subject)),
          spoken_kind(kind));
  };
  if (has_lubricator) {
    other(Kind::alarm, first);
    other(Kind::level, first);
    other(Kind::cycles, first);
  }
  other(Kind::work, {});
  other(Kind::inspection, {});
  h.raw("</div>\n");
}

void standing_alarms(Html& h, Site& site, const Request& q, const std::vector<Entry>& newest, const Names& names) {
  Html rows;
  for (const Entry& e : newest) {
    const auto* alarm = std::get_if<Alarm>(&e.detail);
    if (alarm == nullptr || alarm->cleared) continue;
    rows.add("<form method=\"post\" action=\"{}/clear\" class=\"inline\">", record_path(e.head.id))
        .raw(token_field(site, q));
    rows.add("<p>{} {}, since {}</p>", html_escaped(spoken(name_of(alarm->alarm))),
             html_escaped(names.subject(e.shaft, e.lubricator)), format_local(e.head.at));
    if (may(q.who, Needs::record)) rows.raw("<button>It has cleared now</button>");
    rows.raw("</form>\n");
  }
  if (const std::string all = rows.take(); !all.empty()) h.raw("<h2 id=\"alarms\">Alarms that stand</h2>\n").raw(all);
}

void due(Html& h, const FleetReview& r, const Names& names) {
  const std::vector<DueItem> items = list_due(r.vessels, r.as_of, kDueWithin_days);
  h.raw("<h2 id=\"due\">Due in the next 30 days</h2>\n");
  if (items.empty()) {
    h.raw("<p>Nothing that the records tell of.</p>\n");
    return;
  }
  h.raw(
      "<div class=\"wide\"><table class=\"stack\">\n<thead><tr><th scope=\"col\">what</th><th "
      "scope=\"col\">when</th><th scope=\"col\">"
      "will take</th></tr></thead>\n<tbody>\n");
  for (const DueItem& i : items) {
    h.add("<tr><td>{} {}</td><td data-label=\"when\">",
          i.is_to_set_going       ? "set going"
          : i.lubricator.is_set() ? "refill"
                                  : "greasing",
          html_escaped(names.subject(i.shaft, i.lubricator)));
    if (i.is_overdue) h.raw("<strong>overdue</strong> ");
    const auto day = [&](Instant t) {  // kept whole, which browsers else break at its hyphens
      return fmt::format("<span class=\"d\">{}</span>", format_day(t, names.zone(i.vessel)));
    };
    if (i.due_at) h.raw(day(*i.due_at));
    if (i.early && i.late) h.add(" ({} to {})", day(*i.early), day(*i.late));
    h.add("</td><td data-label=\"will take\">{}</td></tr>\n",
          i.expected_cm3      ? html_escaped(typeset(format_expected_cm3(*i.expected_cm3)))
          : i.is_to_set_going ? "-"
                              : "unknown");
  }
  h.raw("</tbody></table></div>\n");
}

/// The most pressing of a shaft; beside it what is more pressing of a lubricator that feeds it.
std::string most_pressing(const FleetReview& r, const VesselReview& review, ShaftId shaft) {
  const auto own = urgency_of(review, shaft);
  const Finding* of_feed = nullptr;
  for (const Finding& f : review.findings)  // the most pressing first
    if (of_feed == nullptr && !f.shaft.is_set() && f.lubricator.is_set() &&
        is_fed_by(r.reg, shaft, f.lubricator, r.as_of))
      of_feed = &f;
  if (of_feed == nullptr || (own && *own <= of_feed->urgency)) return own ? html_urgency(*own) : "nothing";
  return fmt::format("{}{} {}: {}", own ? html_urgency(*own) + ", " : "", html_urgency(of_feed->urgency),
                     html_escaped(Names{r.reg}.lubricator(of_feed->lubricator)), spoken(name_of(of_feed->kind)));
}

void shafts(Html& h, const FleetReview& r, const Vessel& v, const Request& q) {
  h.raw(
      "<h2 id=\"shafts\">Shafts</h2>\n<div class=\"wide\"><table class=\"stack\">\n<thead><tr><th "
      "scope=\"col\">shaft</th><th "
      "scope=\"col\">most pressing</th><th scope=\"col\" class=\"n\">loss, cm³/h</th><th scope=\"col\" "
      "class=\"n\">cavity "
      "filled, %</th><th scope=\"col\">last greasing</th><th scope=\"col\"></th></tr></thead>\n<tbody>\n");
  for (const VesselReview& review : r.vessels)
    for (const ShaftState& s : review.shafts) {
      const auto shaft =
          std::find_if(r.reg.shafts.begin(), r.reg.shafts.end(), [&](const Shaft& x) { return x.id == s.shaft; });
      if (shaft == r.reg.shafts.end()) continue;
      const std::string at = shaft_path(v.code, shaft->code);
      h.add(
          "<tr><td>{}</td><td data-label=\"most pressing\">{}</td><td class=\"n\" data-label=\"loss, cm³/h\">{}</td>"
          "<td class=\"n\" data-label=\"cavity filled, %\">{}</td><td class=\"d\" data-label=\"last greasing\">{}</td>"
          "<td>{}</td></tr>\n",
          link(at + day_tail(q), shaft->code), most_pressing(r, review, s.shaft),
          s.washout_cm3_per_h ? format_estimate(s.washout_cm3_per_h) : "unknown",
          s.cavity_fill_pct ? format_estimate(s.cavity_fill_pct, 2) : "unknown",
          s.last_greasing ? format_day(*s.last_greasing, Zone{v.time_zone}) : "none",
          link(at + "/history" + query_text({{"until", value_of(q.query, "as_of")}}), "dossier"));
    }
  h.raw("</tbody></table></div>\n");
}

/// A cell of the list: who has verified the record, else the button for it where it is theirs to say.
void verified_cell(Html& h, const Entry& e, std::span<const Verification> verified, const std::string& token) {
  h.raw("<td data-label=\"verified by\">");
  std::string by;
  for (const Verification& x : verified) by += (by.empty() ? "" : ", ") + x.by;
  if (!verified.empty())
    h.esc(by);
  else if (token.empty())
    h.raw("no");
  else
    h.add("<form method=\"post\" action=\"{}/verify\" class=\"inline\">", record_path(e.head.id))
        .raw(token)
        .raw("<input type=\"hidden\" name=\"to\" value=\"records\"><button class=\"quiet\">Verify</button></form>");
  h.raw("</td>");
}

/// \param token of the buttons by which records are verified; empty: without them
void newest_records(Html& h, const std::vector<Entry>& entries, const VerifiedRecords& verified, const Vessel& v,
                    const Names& names, std::size_t most, const std::string& token) {
  h.raw("<h2 id=\"records\">Latest records</h2>\n");
  if (entries.empty()) {
    h.raw("<p>None.</p>\n");
    return;
  }
  h.raw(
      "<div class=\"wide\"><table class=\"stack\">\n<thead><tr><th scope=\"col\">when</th><th "
      "scope=\"col\">what</th><th "
      "scope=\"col\">says</th><th scope=\"col\">by</th><th scope=\"col\">verified by</th></tr></thead>\n<tbody>\n");
  std::size_t n = 0;
  for (auto e = entries.rbegin(); e != entries.rend() && n < most; ++e, ++n) {
    h.add(
        "<tr id=\"r-{}\"><td class=\"d\">{}</td><td data-label=\"what\">{} {}</td><td data-label=\"says\">{}{}</td><td "
        "data-label=\"by\">{}</td>",
        format_uuid(e->head.id), link(record_path(e->head.id), format_local(e->head.at)), name_of(e->kind),
        html_escaped(names.subject(e->shaft, e->lubricator)), html_words(says(*e, names)),
        e->head.replaces ? " (corrected)" : "", html_escaped(e->head.by));
    verified_cell(h, *e, verified_in(verified, e->head.id), token);
    h.raw("</tr>\n");
  }
  h.raw("</tbody></table></div>\n");
  if (entries.size() > most) h.raw("<p>").raw(link(ship_path(v.code) + "/records", "More records")).raw("</p>\n");
}

std::vector<Entry> newest_of(Database& db, const std::string& vessel, std::int64_t most, VerifiedRecords& verified) {
  std::vector<Entry> out;
  ListRequest request;
  request.vessel = vessel;
  request.most = most;
  list_records(
      db, request, [](const Register&) {},
      [&](const Entry& e, std::span<const Verification> by) {
        out.push_back(e);
        if (!by.empty()) verified.emplace(e.head.id, std::vector<Verification>(by.begin(), by.end()));
      });
  return out;
}

/// One ship's part of the review at hand; its details are made anew.
FleetReview review_of(Site& site, const Request& q, Database& db, const std::string& code, FleetView& view) {
  view = asked_fleet(site, q);
  ReviewRequest request;
  request.as_of = asked_moment(q);
  request.vessel = code;
  request.prior = &view.review->prior;
  return review(db, site.clock().now_s(), request);
}

void notice(Html& h, const Request& q, Database& db) {
  if (const auto kept = value_of(q.query, "kept"); !kept.empty()) {
    const RecordFamily family = get_record(db, std::string{kept});
    const Names names{family.reg};
    if (!may_see(q.who, names.vessel(family.record.vessel))) return;
    h.raw("<p class=\"kept\" role=\"status\">Kept: ").esc(name_of(family.record.kind)).raw(" ");
    h.esc(names.subject(family.record.shaft, family.record.lubricator))
        .raw(", ")
        .esc(format_local(family.record.head.at));
    h.raw(": <b>").esc(says(family.record, names)).raw("</b> ");
    h.raw(link(record_path(family.record.head.id), "correct or withdraw it")).raw("</p>\n");
  }
  if (const auto n = value_of(q.query, "hours"); !n.empty())
    h.raw("<p class=\"kept\" role=\"status\">Readings kept: ").esc(n).raw("</p>\n");
}

Response ship(Site& site, const Request& q, const std::string& code) {
  auto file = site.open();
  Database& db = *file;
  FleetView view;
  const Register reg = load_register(db);
  const Vessel& v = seen_vessel(reg, q, code);
  const FleetReview r = review_of(site, q, db, code, view);
  const Names names{reg};
  constexpr std::size_t kShown = 12;
  VerifiedRecords verified;
  const std::vector<Entry> newest = newest_of(db, code, 200, verified);
  Html h;
  notice(h, q, db);
  if (may(q.who, Needs::record)) entry_targets(h, reg, v, newest);
  standing_alarms(h, site, q, newest, names);
  due(h, r, names);
  h.raw("<h2 id=\"findings\">Findings</h2>\n");
  const ReviewView as_view = view_of(r, "vessel " + code);
  const ReportInput in{as_view, r.logs, {}};
  bool has_any = false;
  for (const Finding& f : r.findings) {
    const FindingState state = state_in(r, f.id);
    if (state.status == FindingStatus::closed) continue;
    finding_card(h, f, state, names, false, day_tail(q), at_stake(f, in));
    has_any = true;
  }
  if (!has_any) h.raw("<p>None. That says only that the records show none.</p>\n");
  shafts(h, r, v, q);
  newest_records(h, newest, verified, v, names, kShown, {});
  const std::string at = ship_path(code), tail = day_tail(q);
  h.raw("<h2 id=\"papers\">More</h2>\n<p>");
  h.raw(link(at + "/advice" + tail, "Interval and dose")).raw(" &nbsp; ");
  h.raw(paper_links(at + "/report", tail)).raw("</p>\n");
  const std::vector<Crumb> way;
  return page(framed(
      site, q, {v.name.empty() ? code : fmt::format("{} ({})", v.name, code), way, view.is_stale, moment_text(r.as_of)},
      h.take()));
}

Response records(Site& site, const Request& q, const std::string& code) {
  auto file = site.open();
  Database& db = *file;
  const Register reg = load_register(db);
  const Vessel& v = seen_vessel(reg, q, code);
  VerifiedRecords verified;
  const std::vector<Entry> newest = newest_of(db, code, 500, verified);
  Html h;
  // Who has no account of their own is asked for a name, on the record's own page.
  const bool has_buttons = may(q.who, Needs::verify) && !q.who.name.empty();
  newest_records(h, newest, verified, v, Names{reg}, 500, has_buttons ? token_field(site, q) : std::string{});
  return page(framed(site, q, {"Records of " + code, {{code, ship_path(code)}}, false, {}}, h.take()));
}

Response advice(Site& site, const Request& q, const std::string& code) {
  auto file = site.open();
  Database& db = *file;
  static_cast<void>(seen_vessel(load_register(db), q, code));
  const FleetView view = asked_fleet(site, q);
  AdviseRequest request;
  request.view.vessel = code;
  request.view.as_of = asked_moment(q);
  request.view.prior = &view.review->prior;
  const Advice a = advise(db, site.clock().now_s(), request);
  const AdviceView shown{a.as_of,          a.reg, a.shafts, "vessel " + code, a.order, 0, {}, a.peers,
                         a.peers_compared, false, true};
  Html h;
  h.raw(
      "<p>The longest interval, and the smallest dose, with which the cavity stays above its reserve with 95 % "
      "probability. Makers' instructions, class and flag decide.</p>\n");
  h.raw(html_blocks(advice_blocks(shown)));
  return page(framed(site, q,
                     {"Interval and dose, " + code, {{code, ship_path(code)}}, view.is_stale, moment_text(a.as_of)},
                     h.take()));
}

Response paper(Site& site, const Request& q, const std::string& code, std::string_view form) {
  auto file = site.open();
  Database& db = *file;
  static_cast<void>(seen_vessel(load_register(db), q, code));
  const FleetView fleet = asked_fleet(site, q);
  ReviewRequest request;
  request.as_of = asked_moment(q);
  request.vessel = code;
  request.prior = &fleet.review->prior;
  const ReportData data = report_data(db, site.clock().now_s(), request);
  static const PaperKind kShip{"ship", vessel_report, [](const ReportInput& in) { return fleet_workbook(in, true); }};
  return handed(kShip, data, "vessel " + code, form);
}

}  // namespace

void add_ship_pages(Router& router, Site& site) {
  router.add(Method::get, "/ship/*", Needs::look,
             [&site](const Request& q, const Places& p) { return ship(site, q, p[0]); });
  router.add(Method::get, "/ship/*/records", Needs::look,
             [&site](const Request& q, const Places& p) { return records(site, q, p[0]); });
  router.add(Method::get, "/ship/*/advice", Needs::look,
             [&site](const Request& q, const Places& p) { return advice(site, q, p[0]); });
  for (const std::string_view form : kPaperForms)
    router.add(Method::get, fmt::format("/ship/*/report.{}", form), Needs::look,
               [&site, form](const Request& q, const Places& p) { return paper(site, q, p[0], form); });
}

}  // namespace shaftlog::web
