#include "app/finding.hpp"
#include "reports/dossier_report.hpp"
#include "reports/finding_report.hpp"
#include "reports/record_report.hpp"
#include "reports/report_content.hpp"
#include "reports/report_parts.hpp"
#include "web/pages/finding_parts.hpp"
#include "web/pages/layout.hpp"
#include "web/pages/pages.hpp"
#include "web/pages/papers.hpp"

#include <algorithm>

namespace shaftlog::web {

void finding_card(Html& h, const Finding& f, const FindingState& state, const Names& names, bool with_ship,
                  const std::string& tail, std::string_view stake) {
  h.add("<section class=\"finding {}\">\n<h3>{} ", name_of(f.urgency), html_urgency(f.urgency));
  const std::string subject = names.subject(f.shaft, f.lubricator);
  const std::string kind = spoken(name_of(f.kind));
  h.raw(link(finding_path(f.id) + tail, with_ship ? fmt::format("{}, {}: {}", names.vessel(f.vessel), subject, kind)
                                                  : fmt::format("{}: {}", subject, kind)));
  Report summary;
  summary.blocks.emplace_back(Paragraph{f.summary});
  h.raw("</h3>\n").raw(html_blocks(summary)).raw("<p class=\"quiet\">");
  h.esc(how_sure(f));
  if (f.began) h.raw("; began about ").esc(format_day(f.began->estimate, names.zone(f.vessel)));
  h.raw("; seen since ").esc(format_day(f.first_seen, names.zone(f.vessel)));
  if (const std::string says = state_text(state); !says.empty()) h.raw("; <strong>").esc(says).raw("</strong>");
  h.raw("</p>\n");
  if (!stake.empty() && f.urgency <= Urgency::plan && state.status != FindingStatus::closed)
    h.raw("<p>At stake: ").esc(stake).raw("</p>\n");
  if (with_ship && is_for_the_ship(f, state)) {
    h.raw("<p>");
    if (!f.likely_causes.empty()) h.raw("Likely: ").esc(f.likely_causes.front()).raw(". ");
    h.raw("<strong>Check first:</strong> ").esc(f.checks.front()).raw(". <a href=\"#cautions\">Cautions</a></p>\n");
  }
  h.raw("</section>\n");
}

bool is_for_the_ship(const Finding& f, const FindingState& state) {
  return f.urgency <= Urgency::plan && state.status != FindingStatus::closed && !f.checks.empty();
}

FindingState state_in(const FleetReview& r, const Uuid& finding) {
  const auto at = r.states.find(finding);
  return at == r.states.end() ? FindingState{} : at->second;
}

namespace {

/// The findings of the ship that the finding is of: as of an asked moment those of the review at hand; else as of now,
/// so that what was just said about it is there, with what the fleet taught in the review at hand.
FindingBook book_of(Site& site, const Request& q, const std::string& id) {
  const FleetView view = asked_fleet(site, q);
  const FleetReview& r = *view.review;
  VesselId vessel;
  if (const auto whole = parse_uuid(id)) {
    for (const Finding& f : r.findings)
      if (f.id == *whole) vessel = f.vessel;
    if (const auto spoken_of = r.remarks.find(*whole); spoken_of != r.remarks.end())
      vessel = spoken_of->second.front().vessel;
  }
  if (is_aboard(q.who)) vessel = seen_vessel(r.reg, q, q.who.vessel).id;
  if (asked_moment(q)) return findings_in(r, vessel);
  ReviewRequest request;
  request.prior = &r.prior;
  request.vessel = Names{r.reg}.vessel(vessel);
  auto file = site.open();
  Database& db = *file;
  return list_findings(db, site.clock().now_s(), request);
}

void remarks(Html& h, const FindingCase& c) {
  if (c.remarks.empty()) return;
  h.raw("<h2 id=\"done\">What was done about it</h2>\n<ul>\n");
  for (const FindingRemark& r : c.remarks)
    h.add("<li>{} by {}, {}{}</li>\n", html_escaped(name_of(r.did)), html_escaped(r.by.empty() ? "somebody" : r.by),
          html_escaped(format_both(r.at)), r.says.empty() ? "" : ": " + html_escaped(r.says));
  h.raw("</ul>\n");
}

void actions(Html& h, Site& site, const Request& q, const FindingCase& c) {
  if (!may(q.who, Needs::see_to) || asked_moment(q)) return;
  h.raw("<h2 id=\"see-to\">See to it</h2>\n");
  h.add("<form method=\"post\" action=\"{}/remark\" class=\"entry\" data-plain=\"yes\">\n", finding_path(c.id))
      .raw(token_field(site, q));
  if (q.who.name.empty())
    h.raw("<label>Who <input name=\"by\" autocomplete=\"name\" data-remember=\"by\" required></label>\n");
  h.raw(
      "<label>What was done, or a note <textarea name=\"says\" rows=\"3\"></textarea></label>\n<div "
      "class=\"buttons\">\n");
  const bool is_closed = c.state.status == FindingStatus::closed;
  if (!is_closed) h.raw("<button name=\"did\" value=\"taken\">Take in hand</button>\n");
  h.raw("<button name=\"did\" value=\"noted\">Keep the note</button>\n");
  if (is_closed)
    h.raw("<button name=\"did\" value=\"reopened\">Open again</button>\n");
  else
    h.raw("<button name=\"did\" value=\"closed\">Close: it was done</button>\n");
  h.raw("</div>\n</form>\n");
}

/// What the finding says, in the blocks of the printed reports.
Report told(const Finding& f, const FindingState& state, const Zone& zone, const std::string& stake) {
  Report out;
  Facts facts;
  const auto fact = [&facts](std::string name, std::string text) {
    if (!text.empty()) facts.rows.emplace_back(std::move(name), std::move(text));
  };
  fact("how sure", how_sure(f));
  if (f.began)
    fact("began", fmt::format("{} ({} to {})", format_day(f.began->estimate, zone), format_day(f.began->low, zone),
                              format_day(f.began->high, zone)));
  fact("seen since", format_day(f.first_seen, zone));
  fact("where it stands", state_text(state));
  fact("at stake", typeset(stake));
  for (const Figure& x : f.figures) {
    if (x.name == "strength") continue;
    const bool has_unit = !x.unit.empty() && x.unit != "1";
    const Estimate& e = x.estimate;  // a single figure is a count or a reading: no range belongs to it
    const std::string text = e.low == e.value && e.high == e.value ? format_figure(e.value) : format_estimate(e);
    fact(spoken(x.name), text + (has_unit ? " " + x.unit : ""));
  }
  out.blocks.emplace_back(std::move(facts));
  const auto list = [&out](std::string title, std::vector<std::string> items) {
    if (!items.empty()) out.blocks.emplace_back(BulletList{std::move(title), std::move(items)});
  };
  const auto signs = [](std::vector<std::string> words) {
    for (std::string& w : words) w = spoken(w);
    return words;
  };
  list("Likely causes", f.likely_causes);
  list("Signs seen", signs(f.present));
  list("Looked for and not seen", signs(f.absent));
  list("Check", f.checks);
  if (!f.cautions.empty()) {
    std::vector<std::string> cautions = f.cautions;
    cautions.emplace_back("makers' instructions, class, flag and licensed practice decide");
    out.blocks.emplace_back(Cautions{"Before any of these checks", std::move(cautions)});
  }
  return out;
}

Response show(Site& site, const Request& q, const std::string& id) {
  const FindingBook book = book_of(site, q, id);
  const FindingCase& c = get_finding(book, id);
  const Names names{book.reg};
  const std::string vessel{names.vessel(c.vessel)};
  static_cast<void>(seen_vessel(book.reg, q, vessel));
  auto file = site.open();
  Database& db = *file;
  Html h;
  if (c.now) {
    const Finding& f = *c.now;
    const FleetView view = asked_fleet(site, q);
    const ReviewView as_view = view_of(*view.review, "fleet");
    h.add("<p class=\"lead\">{} {}</p>\n", html_urgency(f.urgency), html_words(f.summary));
    h.raw(html_blocks(told(f, c.state, names.zone(f.vessel), at_stake(f, {as_view, view.review->logs, {}}))));
  } else {
    h.raw("<p class=\"lead\">It is not found any more.</p>\n");
    if (!c.remarks.empty()) h.raw("<p>").esc(c.remarks.back().then.summary).raw("</p>\n");
  }
  remarks(h, c);
  actions(h, site, q, c);
  const std::vector<Entry> evidence = evidence_of(db, c);
  if (!evidence.empty()) {
    h.raw("<h2 id=\"records\">The records it rests on, the decisive first</h2>\n<ul>\n");
    const VerifiedRecords verified = verified_among(db, evidence);
    for (const Entry& e : evidence)
      h.add("<li>{} {} {}: {}{}</li>\n", link(record_path(e.head.id), format_local(e.head.at)), name_of(e.kind),
            html_escaped(names.subject(e.shaft, e.lubricator)), html_words(says(e, names)),
            verified.contains(e.head.id) ? " (verified)" : "");
    h.raw("</ul>\n");
  }
  if (c.shaft.is_set()) {
    const std::string at = shaft_path(vessel, names.shaft(c.shaft));
    h.raw("<p>").raw(link(at + day_tail(q), "Charts and figures of the shaft")).raw(" &nbsp; ");
    h.raw(link(at + "/history" + query_text({{"until", value_of(q.query, "as_of")}}), "its dossier")).raw("</p>\n");
  }
  return page(framed(site, q,
                     {fmt::format("{}: {}", names.subject(c.shaft, c.lubricator), spoken(c.kind)),
                      {{vessel, ship_path(vessel) + day_tail(q)}},
                      false,
                      moment_text(book.as_of)},
                     h.take()));
}

Response keep(Site& site, const Request& q, const std::string& id) {
  const auto did = parse_finding_act(value_of(q.form, "did"));
  if (!did) throw Error{Errc::usage, "did: expected taken, noted, closed or reopened"};
  FindingWords words;
  words.id = id;
  words.did = *did;
  words.says = value_of(q.form, "says");
  words.by = q.who.name.empty() ? std::string{value_of(q.form, "by")} : q.who.name;
  if (words.says.empty() && *did != FindingAct::taken)
    throw Error{Errc::usage, "a note, an action or a reason needs words"};
  auto file = site.open_to_keep();
  Database& db = *file;
  const KeptRemark kept = keep_remark(db, site.clock(), words);
  site.kept();
  if (q.wants_json) return json(remark_json(kept.remark, kept.state, Names{kept.reg}), 201);
  return see_other(finding_path(kept.remark.finding));
}

}  // namespace

void add_finding_pages(Router& router, Site& site) {
  router.add(Method::get, "/finding/*", Needs::look,
             [&site](const Request& q, const Places& p) { return show(site, q, p[0]); });
  router.add(Method::post, "/finding/*/remark", Needs::see_to,
             [&site](const Request& q, const Places& p) { return keep(site, q, p[0]); });
  router.add(Method::post, "/api/findings/*/remarks", Needs::see_to,
             [&site](const Request& q, const Places& p) { return keep(site, q, p[0]); });
}

}  // namespace shaftlog::web
