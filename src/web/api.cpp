#include "analysis/due.hpp"
#include "app/advise.hpp"
#include "app/finding.hpp"
#include "app/list.hpp"
#include "app/look_up.hpp"
#include "app/record.hpp"
#include "app/report.hpp"
#include "base/decimal.hpp"
#include "base/text.hpp"
#include "reports/advise_report.hpp"
#include "reports/due_report.hpp"
#include "reports/finding_report.hpp"
#include "reports/record_report.hpp"
#include "reports/review_report.hpp"
#include "web/pages/entry_parts.hpp"
#include "web/pages/pages.hpp"
#include "web/pages/papers.hpp"

namespace shaftlog::web {

namespace {

/// The ship that a list is narrowed to: those aboard see theirs only.
std::string scope_of(const Request& q) {
  std::string code{value_of(q.query, "vessel")};
  if (is_aboard(q.who) && code.empty()) return q.who.vessel;
  if (!code.empty() && !may_see(q.who, code))
    throw Error{Errc::not_found, "there is no such ship among those that are yours"};
  return code;
}

FleetReview scoped(Site& site, const Request& q, Database& db, bool judge_gone) {
  const FleetView view = asked_fleet(site, q);
  ReviewRequest request;
  request.as_of = view.review->as_of;
  request.vessel = scope_of(q);
  request.group = value_of(q.query, "group");
  request.prior = &view.review->prior;
  request.judge_gone = judge_gone;
  if (request.vessel.empty() && request.group.empty() && !judge_gone) return *view.review;
  return review(db, site.clock().now_s(), request);
}

Response get_review(Site& site, const Request& q) {
  auto file = site.open();
  Database& db = *file;
  const FleetReview r = scoped(site, q, db, false);
  return json(review_json(view_of(r, "fleet")));
}

Response get_due(Site& site, const Request& q) {
  double days = 30;
  if (const std::string text{value_of(q.query, "days")}; !text.empty()) {
    const auto n = parse_decimal(text);
    if (!n || n->mantissa < 0 || n->value() > 3660)
      throw Error{Errc::usage, fmt::format("days: \"{}\" is not a number from 0 to 3660", shown(text))};
    days = n->value();
  }
  auto file = site.open();
  Database& db = *file;
  const FleetReview r = scoped(site, q, db, false);
  return json(due_json(list_due(r.vessels, r.as_of, days), r.reg, r.as_of, days));
}

FindingBook book_of(Site& site, const Request& q, Database& db) {
  const FleetView view = asked_fleet(site, q);
  ReviewRequest request;
  request.as_of = view.review->as_of;
  request.vessel = scope_of(q);
  request.prior = &view.review->prior;
  request.judge_gone = true;
  return list_findings(db, site.clock().now_s(), request);
}

Response get_findings(Site& site, const Request& q) {
  auto file = site.open();
  Database& db = *file;
  const FindingBook book = book_of(site, q, db);
  std::vector<const FindingCase*> all;
  for (const FindingCase& c : book.cases) all.push_back(&c);
  return json(finding_list_json(all, book.as_of, Names{book.reg}));
}

Response get_finding_case(Site& site, const Request& q, const std::string& id) {
  auto file = site.open();
  Database& db = *file;
  const FindingBook book = book_of(site, q, db);
  const FindingCase& c = get_finding(book, id);
  const std::vector<Entry> evidence = evidence_of(db, c);
  return json(finding_case_json(c, evidence, verified_among(db, evidence), book.as_of, Names{book.reg}));
}

Response get_records(Site& site, const Request& q) {
  ListRequest request;
  request.vessel = scope_of(q);
  request.shaft = value_of(q.query, "shaft");
  request.lubricator = value_of(q.query, "lubricator");
  request.from = value_of(q.query, "from");
  request.until = value_of(q.query, "until");
  request.unverified = !value_of(q.query, "unverified").empty();
  request.with_replaced = !value_of(q.query, "all").empty();
  request.most = 1000;
  if (const auto kind = value_of(q.query, "kind"); !kind.empty()) {
    request.kind = parse_kind(kind);
    if (!request.kind) throw Error{Errc::usage, fmt::format("kind: \"{}\" is no kind of record", shown(kind))};
  }
  auto file = site.open();
  Database& db = *file;
  JsonWriter out;
  out.begin_object();
  out.key("most").integer(request.most);
  out.key("records").begin_list();
  std::optional<Register> reg;
  std::optional<Names> names;
  list_records(
      db, request,
      [&](const Register& r) {
        reg = r;
        names.emplace(*reg);
      },
      [&](const Entry& e, std::span<const Verification> verified) { write_record(out, e, *names, verified); });
  out.end_list();
  out.end_object();
  return json(out.take());
}

Response get_one_record(Site& site, const Request& q, const std::string& id) {
  auto file = site.open();
  Database& db = *file;
  const RecordFamily family = seen_record(db, q, id);
  return json(record_json(family.record, family.family, family.in_force, family.verified, Names{family.reg}));
}

Response get_ships(Site& site, const Request& q) {
  auto file = site.open();
  Database& db = *file;
  const Register reg = load_register(db);
  JsonWriter out;
  out.begin_object();
  out.key("ships").begin_list();
  for (const Vessel& v : reg.vessels) {
    if (!may_see(q.who, v.code)) continue;
    out.begin_object();
    out.key("vessel").text(v.code);
    out.key("name").text(v.name);
    out.key("time_zone").text(v.time_zone);
    out.key("group").text_or_null(v.group.value_or(""));
    const auto codes = [&](std::string_view key, const auto& rows) {
      out.key(key).begin_list();
      for (const auto& row : rows)
        if (row.vessel == v.id) out.text(row.code);
      out.end_list();
    };
    codes("shafts", reg.shafts);
    codes("lubricators", reg.lubricators);
    codes("guns", reg.guns);
    out.end_object();
  }
  out.end_list();
  out.end_object();
  return json(out.take());
}

Response get_advice(Site& site, const Request& q) {
  const FleetView view = asked_fleet(site, q);
  AdviseRequest request;
  request.view.as_of = view.review->as_of;
  request.view.vessel = scope_of(q);
  request.view.prior = &view.review->prior;
  request.shaft = value_of(q.query, "shaft");
  auto file = site.open();
  Database& db = *file;
  const Advice a = advise(db, site.clock().now_s(), request);
  return json(advice_json({a.as_of,
                           a.reg,
                           a.shafts,
                           "fleet",
                           a.order,
                           0,
                           {},
                           a.peers,
                           a.peers_compared,
                           false,
                           !request.view.vessel.empty()}));
}

/// What a page that was loaded before a restart needs to send what waits in the browser.
Response get_token(Site& site, const Request& q) {
  JsonWriter out;
  out.begin_object();
  out.key("form_token").text(site.token(q));
  out.key("who").text_or_null(q.who.name);
  out.end_object();
  return json(out.take());
}

}  // namespace

void add_api(Router& router, Site& site) {
  using Names = std::initializer_list<std::string_view>;
  const auto get = [&](const char* pattern, Response (*make)(Site&, const Request&), Names takes) {
    router.add(Method::get, pattern, Needs::look,
               [&site, make, takes = std::vector<std::string_view>{takes}](const Request& q, const Places&) {
                 require_parameters(q, takes);
                 return make(site, q);
               });
  };
  const auto get_one = [&](const char* pattern, Response (*make)(Site&, const Request&, const std::string&),
                           Names takes) {
    router.add(Method::get, pattern, Needs::look,
               [&site, make, takes = std::vector<std::string_view>{takes}](const Request& q, const Places& p) {
                 require_parameters(q, takes);
                 return make(site, q, p[0]);
               });
  };
  get("/api/token", get_token, {});
  get("/api/ships", get_ships, {});
  get("/api/review", get_review, {"as_of", "vessel", "group"});
  get("/api/due", get_due, {"as_of", "vessel", "group", "days"});
  get("/api/findings", get_findings, {"as_of", "vessel"});
  get_one("/api/findings/*", get_finding_case, {"as_of", "vessel"});
  get("/api/records", get_records, {"vessel", "shaft", "lubricator", "kind", "from", "until", "unverified", "all"});
  get_one("/api/records/*", get_one_record, {});
  get("/api/advice", get_advice, {"as_of", "vessel", "shaft"});
}

}  // namespace shaftlog::web
