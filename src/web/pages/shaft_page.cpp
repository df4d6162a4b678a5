#include "app/history.hpp"
#include "app/look_up.hpp"
#include "app/record.hpp"
#include "reports/dossier_report.hpp"
#include "reports/workbook_content.hpp"
#include "web/pages/layout.hpp"
#include "web/pages/pages.hpp"
#include "web/pages/papers.hpp"

namespace shaftlog::web {

namespace {

struct Seen {
  ReportData data;
  std::string vessel, shaft;
  bool is_stale = false;
};

Seen look_at(Site& site, const Request& q, const Places& p) {
  auto file = site.open();
  Database& db = *file;
  const Register reg = load_register(db);
  static_cast<void>(get_shaft(reg, seen_vessel(reg, q, p[0]), p[1]));
  const FleetView view = asked_fleet(site, q);
  ReviewRequest request;
  request.as_of = asked_moment(q);
  request.vessel = p[0];
  request.prior = &view.review->prior;
  return {report_data(db, site.clock().now_s(), request, p[1]), p[0], p[1], view.is_stale};
}

Report report_of(const Seen& seen, const DayRange& shown) {
  const ReviewView view = view_of(seen.data.review, "vessel " + seen.vessel);
  return shaft_report({view, seen.data.review.logs, seen.data.records, shown}, seen.data.shaft, seen.data.entries);
}

/// The days that the address asks of the charts.
DayRange asked_days(const Request& q) {
  const auto day = [&](std::string_view field) -> std::optional<std::chrono::local_days> {
    const std::string_view text = value_of(q.query, field);
    if (text.empty()) return std::nullopt;
    const Stamp at = get_moment(field, text, Zone::utc());
    return std::chrono::floor<std::chrono::days>(std::chrono::local_seconds{(at.utc + at.offset).time_since_epoch()});
  };
  return {day("from"), day("to")};
}

/// Fields for those days; they work without script. \param kept the rest of the address
std::string range_form(const Request& q, const std::string& at,
                       std::initializer_list<std::pair<std::string_view, std::string_view>> kept) {
  Html h;
  h.add("<form method=\"get\" action=\"{}\" class=\"range\" aria-label=\"Days that the charts show\">",
        html_escaped(at));
  for (const auto& [name, value] : kept)
    if (!value.empty()) h.add("<input type=\"hidden\" name=\"{}\" value=\"{}\">", name, html_escaped(value));
  bool is_part = false;
  for (const auto& [name, label] : {std::pair{"from", "Charts from"}, std::pair{"to", "to"}}) {
    const std::string_view day = value_of(q.query, name);
    h.add("<label>{} <input type=\"date\" name=\"{}\" value=\"{}\"></label>", label, name, html_escaped(day));
    is_part |= !day.empty();
  }
  h.raw("<button>Show</button>");
  if (is_part) h.raw(link(at + query_text(kept), "All"));
  return h.raw("</form>\n").take();
}

std::vector<Crumb> way_to(const std::string& vessel) { return {{vessel, ship_path(vessel)}}; }

/// The day that a page is of, to be changed without leaving it.
void day_picker(Html& h, std::string_view action, std::string_view field, std::string_view value,
                std::string_view label) {
  h.add(
      "<form method=\"get\" action=\"{}\" class=\"filters\"><label>{} <input name=\"{}\" value=\"{}\" "
      "placeholder=\"now, or 2026-10-01\"></label><button>Show</button></form>\n",
      html_escaped(action), html_escaped(label), field, html_escaped(value));
}

Response shaft(Site& site, const Request& q, const Places& p) {
  const Seen seen = look_at(site, q, p);
  const std::string at = shaft_path(seen.vessel, seen.shaft), as_of{value_of(q.query, "as_of")};
  const std::string tail = day_tail(q);
  Html h;
  day_picker(h, at, "as_of", as_of, "As it was on");
  h.raw("<p>").raw(link(at + "/history" + query_text({{"until", as_of}}), "The dossier")).raw(" &nbsp; ");
  h.raw(paper_links(at + "/report", tail)).raw("</p>\n");
  const Report report = report_of(seen, asked_days(q));
  h.raw(html_contents(report)).raw(html_blocks(report, range_form(q, at, {{"as_of", as_of}})));
  return page(
      framed(site, q,
             {seen.vessel + ", " + seen.shaft, way_to(seen.vessel), seen.is_stale, moment_text(seen.data.review.as_of)},
             h.take()));
}

Response paper(Site& site, const Request& q, const Places& p, std::string_view form) {
  const Seen seen = look_at(site, q, p);
  const ReportData& data = seen.data;
  const PaperKind kind{"shaft", [&](const ReportInput& in) { return shaft_report(in, data.shaft, data.entries); },
                       [&](const ReportInput& in) { return shaft_workbook(in, data.shaft, data.entries); }};
  return handed(kind, data, "vessel " + seen.vessel, form);
}

History dossier_of(Site& site, const Request& q, const Places& p) {
  auto file = site.open();
  Database& db = *file;
  const Register reg = load_register(db);
  static_cast<void>(get_shaft(reg, seen_vessel(reg, q, p[0]), p[1]));
  HistoryRequest request;
  request.vessel = p[0];
  request.shaft = p[1];
  request.until = value_of(q.query, "until");
  request.known = value_of(q.query, "known");
  request.every_reading = !value_of(q.query, "all").empty();
  return look_into(db, site.clock().now_s(), request);
}

Response history(Site& site, const Request& q, const Places& p, std::string_view form) {
  constexpr std::string_view kTakes[] = {"until", "known", "all"};
  if (form == "json") require_parameters(q, kTakes);
  const History x = dossier_of(site, q, p);
  const DossierView view{
      x.dossier,      x.reg, x.log, x.entries, x.known, program_version(), form == "page" ? asked_days(q) : DayRange{},
      x.verifications};
  if (form == "json") return json(dossier_json(view));
  if (form == "pdf") return download(dossier_pdf(view), "application/pdf", "dossier.pdf");
  if (form == "file") return download(dossier_html(view), "text/html; charset=utf-8", "dossier.html");
  const std::string at = shaft_path(p[0], p[1]), until{value_of(q.query, "until")}, known{value_of(q.query, "known")};
  Html h;
  h.add(
      "<form method=\"get\" action=\"{}/history\" class=\"filters\"><label>Until <input name=\"until\" value=\"{}\" "
      "placeholder=\"now, or 2026-10-01\"></label><label>From what was recorded by <input name=\"known\" value=\"{}\" "
      "placeholder=\"all\"></label><button>Show</button></form>\n",
      html_escaped(at), html_escaped(until), html_escaped(known));
  const std::string tail = query_text({{"until", until}, {"known", known}});
  h.raw("<p>").raw(link(at + "/dossier.html" + tail, "As a page to hand over")).raw(" &nbsp; ");
  h.raw(link(at + "/dossier.pdf" + tail, "as PDF")).raw(" &nbsp; ").raw(link(at, "shaft")).raw("</p>\n");
  const Report report = dossier_blocks(view);
  h.raw(html_contents(report));
  h.raw(html_blocks(
      report, range_form(q, at + "/history", {{"until", until}, {"known", known}, {"all", value_of(q.query, "all")}})));
  return page(framed(site, q, {fmt::format("Dossier: {}, {}", p[0], p[1]), way_to(p[0]), false, moment_text(x.as_of)},
                     h.take()));
}

}  // namespace

void add_shaft_pages(Router& router, Site& site) {
  router.add(Method::get, "/ship/*/shaft/*", Needs::look,
             [&site](const Request& q, const Places& p) { return shaft(site, q, p); });
  for (const std::string_view form : kPaperForms)
    router.add(Method::get, fmt::format("/ship/*/shaft/*/report.{}", form), Needs::look,
               [&site, form](const Request& q, const Places& p) { return paper(site, q, p, form); });
  const auto add = [&](const char* pattern, std::string form) {
    router.add(Method::get, pattern, Needs::look,
               [&site, form](const Request& q, const Places& p) { return history(site, q, p, form); });
  };
  add("/ship/*/shaft/*/history", "page");
  add("/ship/*/shaft/*/dossier.html", "file");
  add("/ship/*/shaft/*/dossier.pdf", "pdf");
  add("/api/ships/*/shafts/*/history", "json");
}

}  // namespace shaftlog::web
