#include "reports/csv_text.hpp"
#include "reports/dossier_report.hpp"
#include "reports/record_report.hpp"

namespace shaftlog {
namespace {

void write_starved(JsonWriter& j, const std::optional<StarvedHours>& s) {
  if (!s) {
    j.null();
    return;
  }
  j.begin_object();
  j.key("least").number(s->least);
  j.key("best").number(s->best);
  j.key("most").number(s->most);
  j.end_object();
}

void write_when(JsonWriter& j, const std::optional<When>& w) {
  if (!w) {
    j.null();
    return;
  }
  j.begin_object();
  j.key("estimate").time(w->estimate);
  j.key("low").time(w->low);
  j.key("high").time(w->high);
  j.end_object();
}

void write_id(JsonWriter& j, const std::optional<Uuid>& id) {
  if (id && !id->is_nil())
    j.text(format_uuid(*id));
  else
    j.null();
}

class Json {
 public:
  explicit Json(const DossierView& view) : view_{view}, d_{view.dossier}, words_{view} {}

  std::string all() {
    j_.begin_object();
    j_.key("vessel").text(words_.names().vessel(d_.vessel));
    j_.key("shaft").text(words_.names().shaft(d_.shaft));
    j_.key("as_of").time(d_.as_of);
    j_.key("known").time(view_.known);
    j_.key("version").text(view_.version);
    j_.key("answer").texts(d_.answer);
    j_.key("focus").integer(static_cast<std::int64_t>(d_.focus));
    bearings();
    changes();
    comparison();
    known();
    causes();
    timeline();
    j_.key("contradictions").begin_list();
    for (const Suspect& s : d_.suspects) {
      j_.begin_object();
      j_.key("kind").text(name_of(s.kind));
      j_.key("record").text(format_uuid(s.record));
      j_.key("says").text(s.says);
      j_.end_object();
    }
    j_.end_list();
    j_.key("caveats").texts(d_.caveats);
    j_.key("methods").begin_object();
    for (const auto& [what, page] : dossier_methods()) j_.key(what).text(page);
    j_.end_object();
    j_.key("cautions").texts(dossier_cautions(d_));
    j_.end_object();
    return j_.take();
  }

 private:
  void bearings() {
    j_.key("bearings").begin_list();
    for (const BearingLife& l : d_.lives) {
      j_.begin_object();
      j_.key("from").time(l.from);
      j_.key("to").time(l.to);
      j_.key("is_first").boolean(l.is_first);
      j_.key("is_standing").boolean(l.is_standing);
      j_.key("began_with");
      write_id(j_, l.began_with);
      j_.key("ended_with");
      write_id(j_, l.ended_with);
      j_.key("seals_replaced").begin_list();
      for (const Instant t : l.seals) j_.time(t);
      j_.end_list();
      j_.key("running_h").number(l.run_h);
      j_.key("assumed_h").number(l.assumed_h);
      j_.key("judged_h").number(l.judged_h);
      j_.key("after_last_greasing_h").number(l.after_last_h);
      j_.key("cavity_cm3").number(l.cavity_cm3);
      j_.key("reserve_pct").number(l.reserve_pct);
      j_.key("baseline_cm3_per_h").estimate(l.baseline_cm3_per_h);
      j_.key("washout_cm3_per_h").estimate(l.washout_cm3_per_h);
      j_.key("starved_h");
      write_starved(j_, l.starved_h);
      j_.key("starved_h_since_last_seal");
      write_starved(j_, l.since_last_seal);
      j_.key("first_below");
      write_when(j_, l.first_below);
      j_.key("intervals").begin_list();
      for (const IntervalAccount& a : l.intervals) {
        j_.begin_object();
        j_.key("record");
        write_id(j_, a.record);
        j_.key("from").time(a.from);
        j_.key("to").time(a.to);
        j_.key("run_h").number(a.run_h);
        j_.key("delivered_cm3").number(a.delivered_cm3);
        j_.key("missing_before_cm3").number(a.missing_before_cm3);
        j_.key("taken_cm3").number(a.taken_cm3);
        j_.key("ended").text_or_null(a.ended ? name_of(*a.ended) : std::string_view{});
        j_.key("is_bound").boolean(a.is_bound);
        j_.key("least_loss_cm3_per_h").number(a.least_w);
        j_.key("usual_loss_cm3_per_h").number(a.usual_w);
        j_.key("least_h_below").number(a.least_h);
        j_.key("usual_h_below").number(a.usual_h);
        j_.end_object();
      }
      j_.end_list();
      j_.key("sensitivities").begin_list();
      for (const Sensitivity& s : l.sensitivities) {
        j_.begin_object();
        j_.key("if").text(s.what);
        j_.key("starved_h");
        write_starved(j_, s.starved_h);
        j_.end_object();
      }
      j_.end_list();
      j_.key("fill").begin_list();
      for (const FillPoint& p : l.fill) {
        j_.begin_object();
        j_.key("at").time(p.at);
        j_.key("fill_pct").estimate(p.fill_pct);
        j_.key("is_greasing").boolean(p.is_greasing);
        j_.end_object();
      }
      j_.end_list();
      j_.end_object();
    }
    j_.end_list();
  }

  void changes() {
    j_.key("changes").begin_list();
    for (const Mark& m : d_.marks) {
      j_.begin_object();
      j_.key("channel").text(m.channel);
      j_.key("role").text(name_of(m.role));
      j_.key("when");
      write_when(j_, m.when);
      j_.key("spread").text(m.spread == Spread::even ? "even" : "normal");
      j_.key("text").text(m.text);
      j_.key("factor").estimate(m.factor);
      j_.key("strength").number(m.strength);
      j_.key("p_first").number(m.p_first);
      j_.key("records").ids(m.records);
      j_.end_object();
    }
    j_.end_list();
    j_.key("order").begin_list();
    for (const OrderPair& o : d_.order) {
      j_.begin_object();
      j_.key("first").integer(static_cast<std::int64_t>(o.a));
      j_.key("then").integer(static_cast<std::int64_t>(o.b));
      j_.key("p").number(o.p);
      j_.key("ranges_overlap").boolean(o.overlap);
      j_.end_object();
    }
    j_.end_list();
    j_.key("looked_at").begin_list();
    for (const LookedAt& l : d_.looked_at) {
      j_.begin_object();
      j_.key("channel").text(l.channel);
      j_.key("result").text(name_of(l.result));
      j_.key("text").text(l.text);
      j_.end_object();
    }
    j_.end_list();
  }

  void comparison() {
    j_.key("phases").begin_list();
    for (const Phase& p : d_.phases) {
      j_.begin_object();
      j_.key("name").text(p.name);
      j_.key("from").time(p.from);
      j_.key("to").time(p.to);
      j_.key("run_h").number(p.run_h);
      j_.key("assumed_h").number(p.assumed_h);
      j_.key("use_h_per_day").number(p.use_h_per_day);
      j_.key("greasings").integer(p.greasings);
      j_.key("greasing_records").integer(p.records);
      j_.key("with_pressure").integer(p.with_pressure);
      j_.key("taken_cm3").number(p.taken_cm3);
      j_.key("packings").integer(p.packings);
      j_.key("packed_cm3").number(p.packed_cm3);
      j_.key("usual_gap_days").number(p.usual_gap_days);
      j_.key("longest_gap_days").number(p.longest_gap_days);
      j_.key("usual_gap_h").number(p.usual_gap_h);
      j_.key("longest_gap_h").number(p.longest_gap_h);
      j_.key("alarms").integer(p.alarms);
      j_.end_object();
    }
    j_.end_list();
    j_.key("peers").begin_list();
    for (const Peer& p : d_.peers) {
      j_.begin_object();
      j_.key("kind").text(name_of(p.kind));
      j_.key("shaft").text(p.key);
      j_.key("washout_cm3_per_h").estimate(p.washout_cm3_per_h);
      j_.key("ratio").estimate(p.ratio);
      j_.key("usual_gap_h").number(p.usual_gap_h);
      j_.key("longest_gap_h").number(p.longest_gap_h);
      j_.key("intervals").integer(p.intervals);
      j_.end_object();
    }
    j_.end_list();
  }

  void known() {
    const Lateness& l = d_.lateness;
    j_.key("lateness").begin_object();
    j_.key("records").integer(l.records);
    j_.key("late").integer(l.late);
    j_.key("median_days").number(l.median_days);
    j_.key("p90_days").number(l.p90_days);
    j_.key("longest_days").number(l.longest_days);
    j_.key("after_the_end").integer(l.after_the_end);
    j_.key("corrected").integer(l.corrected);
    j_.key("withdrawn").integer(l.withdrawn);
    j_.key("late_records").ids(l.late_records);
    j_.end_object();
    j_.key("told");
    if (!d_.told_step_days) {
      j_.null();
      return;
    }
    j_.begin_list();
    for (const Told& t : d_.told) {
      j_.begin_object();
      j_.key("kind").text(name_of(t.kind));
      j_.key("shaft").text_or_null(words_.names().shaft(t.shaft));
      j_.key("lubricator").text_or_null(words_.names().lubricator(t.lubricator));
      j_.key("first").time(t.first);
      j_.key("first_urgency").text(name_of(t.urgency));
      j_.key("first_act").time(t.first_act);
      j_.key("last").time(t.last);
      j_.key("summary").text(t.summary);
      j_.end_object();
    }
    j_.end_list();
  }

  void causes() {
    j_.key("causes").begin_list();
    for (const CauseMatrix& m : d_.causes) {
      j_.begin_object();
      j_.key("kind").text(name_of(m.kind));
      j_.key("about").text(m.about);
      j_.key("symptoms").begin_list();
      for (const Symptom& s : m.symptoms) {
        j_.begin_object();
        j_.key("symptom").text(s.word);
        j_.key("seen").text(name_of(s.seen));
        j_.key("why").text(s.why);
        j_.end_object();
      }
      j_.end_list();
      j_.key("causes").begin_list();
      for (const CompetingCause& c : m.causes) {
        j_.begin_object();
        j_.key("cause").text(c.text);
        j_.key("weight").number(c.score);
        j_.key("lacks_required").boolean(c.lacks_required);
        j_.key("present").texts(c.present);
        j_.key("absent").texts(c.absent);
        j_.key("unknown").texts(c.unknown);
        j_.key("checks").texts(c.checks);
        j_.end_object();
      }
      j_.end_list();
      j_.key("reasoning").texts(m.reasoning);
      j_.key("deciding").texts(m.deciding);
      j_.end_object();
    }
    j_.end_list();
  }

  void timeline() {
    j_.key("timeline").begin_list();
    for (const TimelineItem& x : d_.timeline) {
      j_.begin_object();
      j_.key("kind").text(name_of(x.kind));
      j_.key("what").text(words_.what(x));
      j_.key("from").time(x.from);
      j_.key("to").time(x.to);
      j_.key("says").text(words_.says(x));
      j_.key("by").text_or_null(words_.by(x));
      j_.key("verified_by").text_or_null(words_.verified_by(x));
      j_.key("late_days").number(x.late_days);
      j_.key("records").ids(x.records);
      j_.end_object();
    }
    j_.end_list();
  }

  const DossierView& view_;
  const Dossier& d_;
  DossierWords words_;
  JsonWriter j_;
};

}  // namespace

std::string dossier_json(const DossierView& view) { return Json{view}.all(); }

std::string timeline_csv(const DossierView& view) {
  const DossierWords words{view};
  std::string out =
      csv_row({"from_utc", "to_utc", "kind", "what", "says", "by", "late_days", "records", "verified_by"});
  for (const TimelineItem& x : view.dossier.timeline) {
    std::string ids;
    for (const Uuid& id : x.records) {
      if (!ids.empty()) ids += ' ';
      ids += format_uuid(id);
    }
    out += csv_row({format_utc(x.from), format_utc(x.to), std::string{name_of(x.kind)}, words.what(x), words.says(x),
                    words.by(x), x.late_days ? format_figure(*x.late_days, 4) : "", ids, words.verified_by(x)});
  }
  return out;
}

}  // namespace shaftlog
