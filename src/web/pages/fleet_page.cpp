#include "app/asked.hpp"
#include "base/text.hpp"
#include "reports/report_parts.hpp"
#include "reports/workbook_content.hpp"
#include "web/pages/finding_parts.hpp"
#include "web/pages/layout.hpp"
#include "web/pages/pages.hpp"
#include "web/pages/papers.hpp"

#include <algorithm>
#include <set>

namespace shaftlog::web {

namespace {

/// A word of the address, in any case. \throws Error{usage} it is not among those
std::string word_of(const Request& q, std::string_view name, std::initializer_list<std::string_view> words) {
  const std::string_view text = value_of(q.query, name);
  std::string word = lower_case(text);
  if (word.empty() || std::find(words.begin(), words.end(), word) != words.end()) return word;
  throw Error{Errc::usage, fmt::format("{}: \"{}\" is none; expected {}", name, shown(text), fmt::join(words, ", "))};
}

struct Filter {
  std::string group, urgency, state;

  /// \throws Error what the address asks for is none of what there is: an empty list would look like good news
  Filter(const Request& q, const Register& reg)
      : group{value_of(q.query, "group")},
        urgency{word_of(q, "urgency", {"act", "plan", "watch", "note", "all"})},
        state{word_of(q, "state", {"closed", "all"})} {
    ReviewRequest request;
    request.group = group;
    require_known(reg, request);
  }

  [[nodiscard]] bool takes(const Finding& f, const FindingState& s, const Vessel* vessel) const {
    if (!group.empty() && (vessel == nullptr || vessel->group != group)) return false;
    if (urgency.empty() ? f.urgency == Urgency::note : urgency != "all" && name_of(f.urgency) != urgency) return false;
    const bool is_closed = s.status == FindingStatus::closed;
    if (state == "all") return true;
    return state == "closed" ? is_closed : !is_closed;
  }
};

void choice(Html& h, std::string_view name, std::string_view label, std::string_view chosen,
            const std::vector<std::pair<std::string, std::string>>& values) {
  h.add("<label>{} <select name=\"{}\">", html_escaped(label), html_escaped(name));
  for (const auto& [value, text] : values)
    h.add("<option value=\"{}\"{}>{}</option>", html_escaped(value), value == chosen ? " selected" : "",
          html_escaped(text));
  h.raw("</select></label>\n");
}

void filters(Html& h, const Request& q, const Filter& f, const Register& reg) {
  std::set<std::string> groups;
  for (const Vessel& v : reg.vessels)
    if (v.group) groups.insert(*v.group);
  h.raw("<form method=\"get\" action=\"/fleet\" class=\"filters\">\n");
  choice(
      h, "urgency", "Urgency", f.urgency,
      {{"", "all but notes"}, {"act", "act"}, {"plan", "plan"}, {"watch", "watch"}, {"note", "note"}, {"all", "all"}});
  choice(h, "state", "Seen to", f.state, {{"", "not closed"}, {"closed", "closed"}, {"all", "all"}});
  if (!groups.empty()) {
    std::vector<std::pair<std::string, std::string>> values{{"", "all"}};
    for (const std::string& g : groups) values.emplace_back(g, g);
    choice(h, "group", "Sisters", f.group, values);
  }
  h.add("<label>As of <input name=\"as_of\" placeholder=\"now, or 2026-10-01\" value=\"{}\"></label>\n",
        html_escaped(value_of(q.query, "as_of")));
  h.raw("<button>Show</button>\n</form>\n");
}

void ships(Html& h, const FleetReview& r, const Filter& filter, const std::string& day) {
  h.raw(
      "<h2 id=\"ships\">Ships</h2>\n<div class=\"wide\"><table class=\"stack\">\n<thead><tr><th "
      "scope=\"col\">ship</th><th "
      "scope=\"col\">most pressing</th><th scope=\"col\">shafts below their reserve</th><th scope=\"col\">last "
      "record</th><th scope=\"col\">group</th></tr></thead>\n<tbody>\n");
  for (const VesselReview& v : r.vessels) {
    const auto vessel =
        std::find_if(r.reg.vessels.begin(), r.reg.vessels.end(), [&](const Vessel& x) { return x.id == v.vessel; });
    if (vessel == r.reg.vessels.end() || (!filter.group.empty() && vessel->group != filter.group)) continue;
    std::string below;
    for (const Finding& f : v.findings) {
      if (f.kind != FindingKind::starved || f.urgency != Urgency::act) continue;  // it was, or will be
      for (const Shaft& s : r.reg.shafts)
        if (s.id == f.shaft) below += (below.empty() ? "" : ", ") + s.code;
    }
    std::optional<Urgency> most;
    for (const Finding& f : v.findings) {
      if (state_in(r, f.id).status == FindingStatus::closed) continue;
      if (!most || f.urgency < *most) most = f.urgency;
    }
    const auto last = last_record(v);
    h.add(
        "<tr><td>{} {}</td><td data-label=\"most pressing\">{}</td><td data-label=\"below reserve\">{}</td><td "
        "class=\"d\" data-label=\"last record\">{}</td><td data-label=\"group\">{}</td></tr>\n",
        link(ship_path(vessel->code) + day, vessel->code), html_escaped(vessel->name),
        most ? html_urgency(*most) : std::string{quiet_word(v)}, below.empty() ? "none known" : html_escaped(below),
        last ? format_day(*last, Zone{vessel->time_zone}) : "none", vessel->group ? html_escaped(*vessel->group) : "");
  }
  h.raw("</tbody></table></div>\n");
}

std::string fleet_body(const FleetReview& r, const Request& q, const Filter& filter) {
  const Names names{r.reg};
  Html h;
  filters(h, q, filter, r.reg);
  const ReviewView as_view = view_of(r, "fleet");
  const ReportInput in{as_view, r.logs, {}};
  int shown = 0;
  std::map<Urgency, int> count;
  std::vector<std::string> cautions;  // of the checks that are shown, each once
  Html list;
  for (const Finding& f : r.findings) {
    const FindingState state = state_in(r, f.id);
    if (!filter.takes(f, state, names.find(f.vessel))) continue;
    ++count[f.urgency];
    if (++shown > 200) continue;
    finding_card(list, f, state, names, true, day_tail(q), at_stake(f, in));
    if (!is_for_the_ship(f, state)) continue;
    for (const std::string& c : f.cautions)
      if (std::find(cautions.begin(), cautions.end(), c) == cautions.end()) cautions.push_back(c);
  }
  h.raw("<h2 id=\"findings\">Findings</h2>\n<p>");
  if (shown == 0) h.raw("No finding of that kind. That says only that the records show none.");
  for (const auto& [urgency, n] : count) h.add("{} {} &nbsp; ", n, html_urgency(urgency));
  if (shown > 200) h.add("The first 200 of {} are shown.", shown);
  h.raw("</p>\n").raw(list.take());
  Report before;
  if (!cautions.empty()) before.blocks.emplace_back(Cautions{"Before any of these checks", std::move(cautions)});
  h.raw("<div id=\"cautions\">").raw(html_blocks(before)).raw("</div>\n");
  Report silent;
  add_silent_ships(silent, in);
  for (ReportBlock& b : silent.blocks)
    if (auto* t = std::get_if<ReportTable>(&b))
      for (TableRow& row : t->rows) row.cells[0].address = ship_path(row.cells[0].text) + day_tail(q);
  h.raw(html_blocks(silent));
  if (const std::string not_known = unjudged_text(r.vessels, names); !not_known.empty())
    h.add("<p class=\"quiet\">{}</p>\n", html_escaped(not_known));
  ships(h, r, filter, day_tail(q));
  const std::string tail = query_text({{"group", filter.group}, {"as_of", value_of(q.query, "as_of")}});
  h.raw("<h2 id=\"papers\">To print and to send on</h2>\n<p>");
  h.raw(paper_links("/report/fleet", tail)).raw("</p>\n");
  h.raw(
      "<p class=\"quiet\">Findings advise checks; makers' instructions, class, flag and licensed practice "
      "decide.</p>\n");
  return h.take();
}

Response fleet(Site& site, const Request& q) {
  const FleetView view = asked_fleet(site, q);
  const FleetReview& r = *view.review;
  const Filter filter{q, r.reg};
  const std::string_view as_of = value_of(q.query, "as_of");
  const std::string name =
      "/fleet" +
      query_text({{"group", filter.group}, {"urgency", filter.urgency}, {"state", filter.state}, {"as_of", as_of}});
  const auto body = view.made->get(name, [&] { return fleet_body(r, q, filter); });
  // The review of now is made for the end of its ten minutes, which has not come yet.
  const std::string of = view.kept_by ? moment_text(std::min(*view.kept_by, r.as_of)) + ", with what was kept by then"
                                      : moment_text(r.as_of);
  return page(framed(site, q, {"Fleet", {}, view.is_stale, of}, *body));
}

/// Needs every ship's details: made anew for each who asks.
Response paper(Site& site, const Request& q, std::string_view form) {
  ReviewRequest request;
  request.as_of = asked_moment(q);
  request.group = value_of(q.query, "group");
  auto file = site.open();
  Database& db = *file;
  const ReportData data = report_data(db, site.clock().now_s(), request);
  static const PaperKind kFleet{"fleet", fleet_report, [](const ReportInput& in) { return fleet_workbook(in, false); }};
  return handed(kFleet, data, request.group.empty() ? "fleet" : "group " + request.group, form);
}

}  // namespace

void add_fleet_pages(Router& router, Site& site) {
  router.add(Method::get, "/fleet", Needs::look, [&site](const Request& q, const Places&) {
    if (is_aboard(q.who)) return see_other(ship_path(q.who.vessel));
    return fleet(site, q);
  });
  for (const std::string_view form : kPaperForms)
    router.add(Method::get, fmt::format("/report/fleet.{}", form), Needs::look,
               [&site, form](const Request& q, const Places&) {
                 if (is_aboard(q.who))
                   throw Error{Errc::not_found, "there is no such report among those that are yours"};
                 return paper(site, q, form);
               });
}

}  // namespace shaftlog::web
