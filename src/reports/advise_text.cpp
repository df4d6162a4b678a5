#include "reports/advise_report.hpp"
#include "reports/format.hpp"

#include <cmath>

#include <fmt/format.h>

namespace shaftlog {

namespace {

/// Verdict words for people; the ones that ask for something stand out without colour too.
std::string_view word_of(AdviceVerdict v) {
  switch (v) {
    case AdviceVerdict::unknown:
      return "unknown";
    case AdviceVerdict::keep:
      return "keep";
    case AdviceVerdict::keep_to_it:
      return "KEEP TO IT";
    case AdviceVerdict::may_be_longer:
      return "could be longer";
    case AdviceVerdict::dose_may_be_lower:
      return "dose could be less";
    case AdviceVerdict::shorten:
      return "SHORTEN";
    case AdviceVerdict::raise_dose:
      return "RAISE DOSE";
  }
  return "";
}

std::string advice_of(const ShaftAdvice& a) {
  if (a.causes_first.empty()) return std::string{word_of(a.verdict)};
  if (a.verdict == AdviceVerdict::keep) return "CAUSE FIRST";
  return fmt::format("CAUSE FIRST; {}", word_of(a.verdict));
}

bool asks_for_something(const ShaftAdvice& a) {
  return !a.causes_first.empty() || (a.verdict != AdviceVerdict::keep && a.verdict != AdviceVerdict::may_be_longer);
}

std::string hours(const std::optional<double>& h) { return h ? format_figure(*h) : "-"; }

std::string longest(const ShaftAdvice& a) {
  if (a.verdict == AdviceVerdict::unknown) return "-";
  return a.has_limit ? hours(a.longest_h) : "no limit";
}

std::string chance(const std::optional<double>& p) {
  if (!p) return "-";
  return *p > 0.99 ? ">99 %" : fmt::format("{:.0f} %", std::floor(100 * *p));
}

std::string upper_first(std::string s) {
  if (!s.empty() && s[0] >= 'a' && s[0] <= 'z') s[0] = static_cast<char>(s[0] - 'a' + 'A');
  return s;
}

std::string shafts_text(const AdviceView& view, const Names& names, const TextStyle& style) {
  std::string out;
  TextTable table{{{"vessel"},
                   {"shaft"},
                   {"advice"},
                   {"every h", Align::right},
                   {"holds", Align::right},
                   {"longest", Align::right},
                   {"dose", Align::right},
                   {"least", Align::right},
                   {"alone", Align::right}}};
  for (const ShaftAdvice& a : view.shafts) {
    table.add({std::string{names.vessel(a.vessel)}, std::string{names.shaft(a.shaft)}, advice_of(a), hours(a.present_h),
               chance(a.p_holds), longest(a), a.is_automatic ? format_figure(a.dose_cm3_per_h) : "-",
               a.smallest_dose_cm3_per_h ? format_figure(*a.smallest_dose_cm3_per_h) : "-",
               a.smallest_alone_cm3_per_h ? format_figure(*a.smallest_alone_cm3_per_h) : "-"});
  }
  if (!table.is_empty()) out += '\n' + table.text(style, 2);
  out += wrapped(
             "every h: the interval now. holds: the chance of ending it above the reserve. longest: interval that "
             "holds with "
             "95 %. dose: called for now, cm3 per running hour; least: the smallest with the manual greasings as they "
             "are; "
             "alone: without any for a year.",
             style.width) +
         '\n';
  std::size_t in_order = 0;
  for (const ShaftAdvice& a : view.shafts) {
    if (!view.with_all && !asks_for_something(a)) {
      ++in_order;
      continue;
    }
    out += '\n' + strong(fmt::format("{}, {}", names.vessel(a.vessel), names.shaft(a.shaft)), style);
    if (a.washout_cm3_per_h && a.reason.empty())
      out += fmt::format(": loses {} cm3/h, from {} intervals", format_estimate(*a.washout_cm3_per_h, 2), a.intervals);
    out += '\n';
    for (const std::string& s : a.says) out += "  - " + wrapped(upper_first(s), style.width, 4, 4) + '\n';
  }
  if (in_order > 0)
    out += fmt::format("\n{} that hold{} not told one by one; --vessel tells all of a ship\n",
                       in_order == 1 ? "1 shaft" : fmt::format("{} shafts", in_order), in_order == 1 ? "s is" : " are");
  return out;
}

std::string kg(const std::optional<double>& cm3, double density) {
  return cm3 && density > 0 ? format_figure(*cm3 * density / 1000) : "-";
}

std::string order_text(const AdviceView& view, const Names& names, const TextStyle& style) {
  const Instant until = view.as_of + std::chrono::seconds{std::llround(view.order_days * 86400)};
  std::string out = '\n' + strong(fmt::format("Grease to order until {}", format_day(until)), style) +
                    " (what will be used; take off what is in store and in the reservoirs)\n";
  TextTable table{{{"vessel"},
                   {"grease"},
                   {"half the time kg", Align::right},
                   {"nine in ten kg", Align::right},
                   {"by hand kg", Align::right},
                   {"automatic kg", Align::right},
                   {"packs", Align::right},
                   {"not counted"}}};
  for (const OrderLine& l : view.order) {
    std::string left_out;
    for (const ShaftId s : l.left_out) left_out += (left_out.empty() ? "" : ", ") + std::string{names.shaft(s)};
    const std::string packs =
        view.pack_kg && l.p90_cm3 && l.density_g_cm3 > 0
            ? fmt::format("{:.0f}", std::ceil(*l.p90_cm3 * l.density_g_cm3 / 1000 / *view.pack_kg))
            : "-";
    table.add({std::string{names.vessel(l.vessel)}, std::string{names.grease(l.grease)}, kg(l.p50_cm3, l.density_g_cm3),
               kg(l.p90_cm3, l.density_g_cm3), kg(l.by_hand_p50_cm3, l.density_g_cm3),
               kg(l.automatic_p50_cm3, l.density_g_cm3), packs, left_out});
  }
  out += table.is_empty() ? "  nothing can be foreseen\n" : table.text(style, 2);
  if (!view.pack_kg) out += "  packs: tell what one holds with --pack-kg\n";
  return out;
}

std::string peers_text(const AdviceView& view, const Names& names, const TextStyle& style) {
  std::string out =
      '\n' + strong("Among their sisters", style) +
      fmt::format(" ({} shafts compared; of those that stand out 5 % may be by chance)\n", view.peers_compared);
  TextTable table{{{""},
                   {"vessel"},
                   {"shaft"},
                   {"group"},
                   {"own cm3/h"},
                   {"with its sisters' cm3/h"},
                   {"times the others", Align::right},
                   {"adjusted p", Align::right}}};
  for (const PeerLoss& p : view.peers)
    table.add({p.stands_out ? "STANDS OUT" : "", std::string{names.vessel(p.vessel)}, std::string{names.shaft(p.shaft)},
               p.group, format_estimate(p.own_cm3_per_h, 2), format_estimate(p.shrunk_cm3_per_h, 2),
               format_figure(p.factor, 2), format_figure(p.adjusted_p, 2)});
  return out + (table.is_empty() ? "  no shaft has three sisters with enough records\n" : table.text(style, 2));
}

std::string alarm_peers_text(const AdviceView& view, const Names& names, const TextStyle& style) {
  std::string out = '\n' + strong("Alarms among the lubricators of the fleet", style) +
                    fmt::format(" ({} compared, since the last work on each)\n", view.alarm_peers_compared);
  TextTable table{{{""},
                   {"vessel"},
                   {"lubricator"},
                   {"alarms", Align::right},
                   {"in hours", Align::right},
                   {"own per 1000 h"},
                   {"with the fleet's per 1000 h"},
                   {"times the fleet", Align::right},
                   {"adjusted p", Align::right}}};
  for (const PeerAlarms& p : view.alarm_peers)
    table.add({p.stands_out ? "STANDS OUT" : "", std::string{names.vessel(p.vessel)},
               std::string{names.lubricator(p.lubricator)}, std::to_string(p.episodes), format_figure(p.run_h),
               format_estimate(p.own_per_1000h, 2), format_estimate(p.shrunk_per_1000h, 2), format_figure(p.factor, 2),
               format_figure(p.adjusted_p, 2)});
  return out + (table.is_empty() ? "  fewer than four lubricators with known running hours, or no alarm of any\n"
                                 : table.text(style, 2));
}

}  // namespace

std::string advice_text(const AdviceView& view, const TextStyle& style) {
  const Names names{view.reg};
  std::string out = strong(fmt::format("Interval and dose, {} as of {} UTC", view.scope,
                                       format_local({view.as_of, std::chrono::minutes{0}, Precision::minute})),
                           style);
  out += "\nto keep each cavity above its reserve with 95 % probability\n";
  out += shafts_text(view, names, style);
  if (view.order_days > 0) out += order_text(view, names, style);
  if (view.with_peers) out += peers_text(view, names, style) + alarm_peers_text(view, names, style);
  out += '\n' + strong("Before any setting is changed or a gun is taken in hand", style) + '\n';
  for (const std::string& c : advice_cautions()) out += "  - " + wrapped(c, style.width, 4, 4) + '\n';
  return out;
}

Report advice_blocks(const AdviceView& view) {
  const Names names{view.reg};
  Report r;
  const auto table = [](std::string caption, std::initializer_list<std::pair<const char*, bool>> heads) {
    ReportTable t;
    t.caption = std::move(caption);
    for (const auto& [head, is_number] : heads) t.columns.push_back({head, is_number});
    return t;
  };
  const auto add = [](ReportTable& t, std::vector<std::string> texts) {
    TableRow row;
    for (std::string& text : texts) row.cells.push_back({std::move(text), std::nullopt});
    t.rows.push_back(std::move(row));
  };
  ReportTable shafts = table("", {{"shaft", false},
                                  {"advice", false},
                                  {"interval now, h", true},
                                  {"it holds", true},
                                  {"longest, h", true},
                                  {"dose now, cm3/h", true},
                                  {"least", true},
                                  {"alone", true}});
  shafts.when_empty = "No shaft is registered.";
  for (const ShaftAdvice& a : view.shafts)
    add(shafts, {std::string{names.shaft(a.shaft)}, advice_of(a), hours(a.present_h), chance(a.p_holds), longest(a),
                 a.is_automatic ? format_figure(a.dose_cm3_per_h) : "-",
                 a.smallest_dose_cm3_per_h ? format_figure(*a.smallest_dose_cm3_per_h) : "-",
                 a.smallest_alone_cm3_per_h ? format_figure(*a.smallest_alone_cm3_per_h) : "-"});
  r.blocks.emplace_back(std::move(shafts));
  r.blocks.emplace_back(
      Paragraph{"It holds: the chance of ending the interval above the reserve. Longest: the interval that holds with "
                "95 %. Dose: called for now, cm3 per running hour; least: the smallest with the manual greasings as "
                "they are; alone: without any for a year.",
                true, false});
  for (const ShaftAdvice& a : view.shafts) {
    r.blocks.emplace_back(Heading{2, std::string{names.shaft(a.shaft)}, fmt::format("shaft-{}", a.shaft.value)});
    if (a.washout_cm3_per_h && a.reason.empty())
      r.blocks.emplace_back(Paragraph{
          fmt::format("Loses {} cm3/h, from {} intervals.", format_estimate(*a.washout_cm3_per_h, 2), a.intervals),
          false, false});
    BulletList says;
    for (const std::string& s : a.says) says.items.push_back(upper_first(s));
    if (!says.items.empty()) r.blocks.emplace_back(std::move(says));
  }
  if (view.with_peers) {
    ReportTable peers = table(fmt::format("Among their sisters ({} shafts compared; of those that stand out 5 % may be "
                                          "by chance)",
                                          view.peers_compared),
                              {{"shaft", false},
                               {"", false},
                               {"group", false},
                               {"own cm3/h", false},
                               {"with its sisters' cm3/h", false},
                               {"times the others", true},
                               {"adjusted p", true}});
    peers.when_empty = "No shaft has three sisters with enough records.";
    for (const PeerLoss& p : view.peers)
      add(peers, {fmt::format("{}, {}", names.vessel(p.vessel), names.shaft(p.shaft)), p.stands_out ? "stands out" : "",
                  p.group, format_estimate(p.own_cm3_per_h, 2), format_estimate(p.shrunk_cm3_per_h, 2),
                  format_figure(p.factor, 2), format_figure(p.adjusted_p, 2)});
    r.blocks.emplace_back(Heading{2, "Compared", "compared"});
    r.blocks.emplace_back(std::move(peers));
    ReportTable alarms =
        table(fmt::format("Alarms among the lubricators of the fleet ({} compared, since the last work "
                          "on each)",
                          view.alarm_peers_compared),
              {{"lubricator", false},
               {"", false},
               {"alarms", true},
               {"in hours", true},
               {"own per 1000 h", false},
               {"with the fleet's per 1000 h", false},
               {"times the fleet", true},
               {"adjusted p", true}});
    alarms.when_empty = "Fewer than four lubricators with known running hours, or no alarm of any.";
    for (const PeerAlarms& p : view.alarm_peers)
      add(alarms, {fmt::format("{}, {}", names.vessel(p.vessel), names.lubricator(p.lubricator)),
                   p.stands_out ? "stands out" : "", std::to_string(p.episodes), format_figure(p.run_h),
                   format_estimate(p.own_per_1000h, 2), format_estimate(p.shrunk_per_1000h, 2),
                   format_figure(p.factor, 2), format_figure(p.adjusted_p, 2)});
    r.blocks.emplace_back(std::move(alarms));
  }
  Cautions cautions{"Before any setting is changed or a gun is taken in hand", {}};
  for (const auto& c : advice_cautions()) cautions.items.emplace_back(c);
  r.blocks.emplace_back(std::move(cautions));
  return r;
}

}  // namespace shaftlog
