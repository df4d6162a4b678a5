// Adding to the log and reading a vessel of 100 shafts. Each run asserts its result too.

#include "support/temp_db.hpp"

#include <memory>
#include <vector>

#include <benchmark/benchmark.h>
#include <fmt/format.h>

using namespace shaftlog;
using namespace shaftlog::test;

namespace {

constexpr int kShafts = 100;

/// Five years of a vessel with 100 shafts, `each` records a shaft: in ten, eight hour readings, a cycle count and a
/// greasing. Ids as those of imported rows: in no order.
std::vector<Entry> five_years(TempDb& t, int each) {
  const RegisterRepository reg{t.db};
  WriteTransaction transaction{t.db};
  for (int i = 0; i < kShafts; ++i) {
    reg.put_shaft(t.vessel, fmt::format("s{:03}", i), t.setting(), {day(0).utc, "bench", false});
  }
  transaction.commit();
  const auto shafts = reg.load().shafts;
  std::vector<Entry> out;
  for (int n = 0; n < each; ++n) {
    for (std::size_t s = 0; s < kShafts; ++s) {
      const Kind kind = n % 10 == 0 ? Kind::greasing : n % 10 == 5 ? Kind::cycles : Kind::hours;
      Entry e = t.entry(kind, 1, n * 1825 / each);
      e.head.id = make_uuid_v8(fmt::format("{}/{}", s, n));
      e.head.at.utc += std::chrono::minutes{static_cast<int>(s)};
      e.head.source = fmt::format("sheet.csv:{}", out.size() + 2);
      if (e.shaft.is_set()) e.shaft = shafts[s].id;
      out.push_back(std::move(e));
    }
  }
  return out;
}

void add_all(TempDb& t, const std::vector<Entry>& entries, benchmark::State& state) {
  LogRepository log{t.db};
  WriteTransaction transaction{t.db};
  for (const Entry& e : entries) {
    if (!log.add(e)) state.SkipWithError("a record was there already");
  }
  transaction.commit();
}

void BM_add(benchmark::State& state) {
  const int each = static_cast<int>(state.range(0));
  for (auto _ : state) {
    state.PauseTiming();
    auto t = std::make_unique<TempDb>();
    const auto entries = five_years(*t, each);
    t->db.use_cache_mib(256);
    state.ResumeTiming();
    add_all(*t, entries, state);
    state.PauseTiming();
    t.reset();
    state.ResumeTiming();
  }
  state.SetItemsProcessed(state.iterations() * each * kShafts);
}
BENCHMARK(BM_add)->ArgName("records_each")->Arg(1000)->Unit(benchmark::kMillisecond);

void BM_load_vessel(benchmark::State& state) {
  const int each = static_cast<int>(state.range(0));
  TempDb t;
  add_all(t, five_years(t, each), state);
  Database reader = Database::open(t.file, Database::Mode::read_only);
  const LogRepository log{reader};
  for (auto _ : state) {
    const VesselLog v = log.load_vessel(t.vessel, day(3000).utc, std::nullopt);
    const auto n = v.hours.size() + v.cycles.size() + v.greasings.size();
    if (n != static_cast<std::size_t>(each) * kShafts) state.SkipWithError("records are missing");
  }
  state.SetItemsProcessed(state.iterations() * each * kShafts);
}
BENCHMARK(BM_load_vessel)->ArgName("records_each")->Arg(1000)->Arg(3000)->Unit(benchmark::kMillisecond);

}  // namespace
