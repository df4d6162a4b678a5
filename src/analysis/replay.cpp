#include "analysis/replay.hpp"

#include <algorithm>
#include <map>

namespace shaftlog {
namespace {

// Findings whose id hangs on an estimate, not on a record: the estimate moves when more is known.
bool may_be_renamed(FindingKind k) {
  return k == FindingKind::abnormal_washout || k == FindingKind::seal_wear || k == FindingKind::less_grease_taken ||
         k == FindingKind::missed_cycles || k == FindingKind::line_leak || k == FindingKind::alarm_rate;
}

bool is_washout(FindingKind k) { return k == FindingKind::abnormal_washout || k == FindingKind::seal_wear; }

bool takes_the_place(const Finding& f, const FindingLife& life) {
  if (f.vessel != life.vessel || f.lubricator != life.lubricator || !may_be_renamed(f.kind)) return false;
  if (f.kind == FindingKind::missed_cycles && life.kind == f.kind) return true;
  // One shaft's greasing shows it first, then it is told of all at once.
  if (f.kind == FindingKind::less_grease_taken && life.kind == f.kind && !f.shaft.is_set()) return true;
  if (f.shaft != life.shaft) return false;
  return f.kind == life.kind || (is_washout(f.kind) && is_washout(life.kind));
}

void go_on(FindingLife& life, const Finding& f, std::size_t step) {
  if (life.ids.empty() || life.ids.back() != f.id) life.ids.push_back(f.id);
  life.shaft = f.shaft;
  life.kind = f.kind;
  life.summary = f.summary;
  const bool is_same = !life.stretches.empty() && life.stretches.back().last + 1 == step &&
                       life.stretches.back().urgency == f.urgency && life.stretches.back().kind == f.kind &&
                       life.stretches.back().shaft == f.shaft;
  if (is_same)
    life.stretches.back().last = step;
  else
    life.stretches.push_back({step, step, f.urgency, f.kind, f.shaft});
}

}  // namespace

std::vector<FindingLife> tell_lives(std::span<const ReplayStep> steps) {
  std::vector<FindingLife> lives;
  std::map<Uuid, std::size_t> life_of;  // by every id it was told as
  for (std::size_t step = 0; step < steps.size(); ++step) {
    std::vector<const Finding*> new_ones;
    for (const Finding& f : steps[step].findings) {
      if (const auto known = life_of.find(f.id); known != life_of.end())
        go_on(lives[known->second], f, step);
      else
        new_ones.push_back(&f);
    }
    for (const Finding* f : new_ones) {
      std::size_t of = lives.size();
      for (std::size_t i = 0; step > 0 && i < lives.size() && of == lives.size(); ++i) {
        if (lives[i].last_shown() + 1 == step && takes_the_place(*f, lives[i])) of = i;
      }
      if (of == lives.size()) {
        FindingLife& life = lives.emplace_back();
        life.vessel = f->vessel;
        life.lubricator = f->lubricator;
        life.first_seen = f->first_seen;
      }
      life_of[f->id] = of;
      go_on(lives[of], *f, step);
    }
  }
  for (FindingLife& life : lives) life.is_standing = life.last_shown() + 1 == steps.size();
  return lives;
}

}  // namespace shaftlog
