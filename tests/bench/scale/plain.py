#!/usr/bin/python3
"""What `review --plain` says, as a user of pandas and scipy would compute it from the same file, vectorised.

usage: plain.py DATABASE OUT_FOLDER [AS_OF]     writes values.csv (record, value) and methods.csv (series and method)

Washout of each interval between two greasings that ended full, used / called for of each stretch between two levels;
then six methods on each series (docs/methods/plain-methods.md). What this leaves out and the program does not: meters
that go backwards or are replaced, slips of the pen, hours in dock, lubricators that deliver less than they call for,
settings that change, alarms, standstills. In the log of review_bench only some of these occur.
"""
import sqlite3
import sys
from math import erfc, pi, sqrt

import numpy as np
import pandas as pd
from scipy.stats import theilslopes

FEWEST, BASE, RUN_LENGTH, WEIGHT, REFERENCE, LEVEL, ORDERS = 8, 6, 370.4, 0.2, 0.5, 0.05, 1999
KEY = 1 << 34  # more seconds than any log has: shafts behind one another on one axis


def read(db, sql):
    return pd.read_sql_query(sql, db)


class Curves:
    """Straight lines between the readings of many meters, looked up all at once."""

    def __init__(self, of, at, y):
        order = np.lexsort((at, of))
        self.of, self.at, self.y = of[order], at[order], y[order].astype(float)
        self.key = self.of * KEY + self.at
        self.first = {o: i for o, i in zip(*np.unique(self.of, return_index=True))}
        ends = np.r_[np.flatnonzero(np.diff(self.of)), len(self.of) - 1]
        starts = np.r_[0, ends[:-1] + 1]
        self.start = dict(zip(self.of[ends], starts))
        self.end = dict(zip(self.of[ends], ends))
        # use a day at the end, of its last 90 days
        recent = np.maximum(self.at[starts], self.at[ends] - 90 * 86400)
        span = np.maximum(self.at[ends] - recent, 1)
        use = (self.y[ends] - self._inside(self.of[ends], recent)) / span
        self.use = dict(zip(self.of[ends], np.clip(use, 0, 1 / 3600)))

    def _inside(self, of, at):
        i = np.clip(np.searchsorted(self.key, of * KEY + at, side="right"), 1, len(self.key) - 1)
        a, b = i - 1, i
        same = (self.of[a] == of) & (self.of[b] == of)
        part = np.where(same, (at - self.at[a]) / np.maximum(self.at[b] - self.at[a], 1), 0)
        flat = np.where(self.of[a] == of, self.y[a], self.y[np.minimum(b, len(self.y) - 1)])
        return np.where(same, self.y[a] + part * (self.y[b] - self.y[a]), flat)

    def __call__(self, of, at, carry_on=True):
        out = self._inside(of, at)
        if not carry_on:
            return out
        ids = pd.Series(of)
        start = self.at[ids.map(self.start).fillna(0).astype(int).to_numpy()]
        end = self.at[ids.map(self.end).fillna(0).astype(int).to_numpy()]
        use = ids.map(self.use).fillna(0).to_numpy()
        return out + use * (np.maximum(at - end, 0) - np.maximum(start - at, 0))


def washout(db, as_of):
    hours = read(db, f"SELECT e.shaft_id s, e.at_utc_s t, h.reading_s y FROM hours h JOIN entry e USING (entry_id) "
                     f"WHERE e.at_utc_s <= {as_of}")
    g = read(db, f"SELECT e.shaft_id s, e.at_utc_s t, lower(hex(e.uuid)) record, d.amount_mm3 mm3, d.ended "
                 f"FROM greasing d JOIN entry e USING (entry_id) WHERE d.ended <> 'not_done' AND e.at_utc_s <= {as_of}")
    g = g.sort_values(["s", "t", "record"], kind="stable").reset_index(drop=True)
    run = Curves(hours.s.to_numpy(), hours.t.to_numpy(), hours.y.to_numpy() / 3600)
    at = run(g.s.to_numpy(), g.t.to_numpy())
    same = np.r_[False, g.s.to_numpy()[1:] == g.s.to_numpy()[:-1]]
    before = np.r_[0, np.arange(len(g) - 1)]
    g["run"] = np.where(same, np.clip(at - at[before], 0, (g.t - g.t.to_numpy()[before]) / 3600), np.nan)
    full = g.ended.isin(["pressure", "packed"]).to_numpy()

    feeds = read(db, "SELECT f.lubricator_id l, f.shaft_id s, f.dose_mm3, f.cycle_s, f.from_utc_s since FROM feed f "
                     "ORDER BY ifnull(f.from_utc_s, 0)").drop_duplicates(["l", "s"], keep="last")
    delivered = np.zeros(len(g))
    cycles = read(db, f"SELECT e.lubricator_id l, e.at_utc_s t, c.cycle_count y FROM cycles c "
                      f"JOIN entry e USING (entry_id) WHERE e.at_utc_s <= {as_of}")
    count = None
    if len(feeds) and len(cycles):
        count = Curves(cycles.l.to_numpy(), cycles.t.to_numpy(), cycles.y.to_numpy())
        fed_by = feeds.set_index("s")
        l = g.s.map(fed_by.l)
        fed = l.notna().to_numpy()
        lub, t, t0 = l[fed].astype(int).to_numpy(), g.t.to_numpy()[fed], g.t.to_numpy()[before][fed]
        dose = g.s[fed].map(fed_by.dose_mm3).to_numpy() / 1000
        delivered[fed] = (count(lub, t) - count(lub, t0)) * dose
    g["value"] = (g.mm3 / 1000 + np.where(same, delivered, 0)) / g.run

    # a new seal or bearing starts a series anew
    work = read(db, f"SELECT e.shaft_id s, e.at_utc_s t FROM work w JOIN entry e USING (entry_id) "
                    f"WHERE e.shaft_id IS NOT NULL AND w.work IN ('seal_replaced', 'bearing_replaced') "
                    f"AND e.at_utc_s <= {as_of}")
    last = work.groupby("s").t.max()
    renewed = g.s.map(last).fillna(-1).to_numpy()
    since = (g.t.to_numpy() >= renewed) & same
    starts = since & (g.t.to_numpy()[before] < renewed)
    plain = since & ~starts & full[before] & (g.ended == "pressure").to_numpy() & g.mm3.notna().to_numpy() & (g.run > 0)
    # middle of each interval on the scale of running hours; of one shaft only differences count
    g["middle"] = at - g.run / 2
    return g[plain][["s", "record", "value", "middle"]], count, feeds


def delivery(db, as_of, count, feeds):
    if count is None:
        return pd.DataFrame(columns=["l", "record", "value"])
    reservoir = read(db, "SELECT lubricator_id l, reservoir_mm3 FROM lubricator_setting ORDER BY ifnull(from_utc_s, 0)")
    full = reservoir.drop_duplicates("l", keep="last").set_index("l").reservoir_mm3 / 1000
    level = read(db, f"SELECT e.lubricator_id l, e.at_utc_s t, lower(hex(e.uuid)) record, d.level_pct_100 low, "
                     f"d.level_pct_100 high FROM level_reading d JOIN entry e USING (entry_id) "
                     f"WHERE e.at_utc_s <= {as_of}")
    refill = read(db, f"SELECT e.lubricator_id l, e.at_utc_s t, lower(hex(e.uuid)) record, d.before_pct_100 low, "
                      f"d.after_pct_100 high FROM refill d JOIN entry e USING (entry_id) WHERE e.at_utc_s <= {as_of}")
    r = pd.concat([level, refill]).sort_values(["l", "t", "record"], kind="stable").reset_index(drop=True)
    before = np.r_[0, np.arange(len(r) - 1)]
    same = np.r_[False, r.l.to_numpy()[1:] == r.l.to_numpy()[:-1]]
    c = r.l.map(full).to_numpy() / 1e4
    used = (r.high.to_numpy()[before] - r.low.to_numpy()) * c
    dose = feeds.groupby("l").dose_mm3.sum() / 1000
    # behind the last count by the use of late, as it went on
    n = count(r.l.to_numpy(), r.t.to_numpy())
    called = (n - n[before]) * r.l.map(dose).to_numpy()
    keep = same & (called > 0)
    r["value"] = np.divide(used, called, out=np.full(len(r), np.nan), where=called > 0)
    return r[keep][["l", "record", "value"]]


def ewma_width():
    x, w = np.polynomial.legendre.leggauss(60)
    def run_length(width):
        h = width * sqrt(WEIGHT / (2 - WEIGHT))
        u = h * x
        k = np.exp(-0.5 * ((u[None, :] - (1 - WEIGHT) * u[:, None]) / WEIGHT) ** 2) / sqrt(2 * pi) / WEIGHT * h * w
        arl = np.linalg.solve(np.eye(60) - k, np.ones(60))
        at0 = np.exp(-0.5 * (u / WEIGHT) ** 2) / sqrt(2 * pi) / WEIGHT * h * w
        return 1 + at0 @ arl
    return bisect(run_length, 1, 4, RUN_LENGTH)


def cusum_limit():
    x, w = np.polynomial.legendre.leggauss(60)
    phi = lambda z: np.exp(-0.5 * z * z) / sqrt(2 * pi)
    cdf = lambda z: 0.5 * erfc(-z / sqrt(2))
    def run_length(h):
        u = h * (x + 1) / 2
        s = np.r_[0, u]
        k = np.empty((61, 61))
        k[:, 0] = [cdf(REFERENCE - v) for v in s]
        k[:, 1:] = phi(u[None, :] - s[:, None] + REFERENCE) * (h / 2) * w[None, :]
        return np.linalg.solve(np.eye(61) - k, np.ones(61))[0] / 2  # both sides together
    return bisect(run_length, 1, 8, RUN_LENGTH)


def bisect(f, low, high, wanted):
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if f(middle) < wanted else (low, middle)
    return (low + high) / 2


def first_true(beyond):
    return np.where(beyond.any(axis=1), beyond.argmax(axis=1), -1)


def charts(x, n, is_ratio):
    """All series at once: a row each, filled up with nan."""
    rows = np.arange(len(x))
    inside = np.arange(x.shape[1])[None, :] < n[:, None]
    later = inside & (np.arange(x.shape[1])[None, :] >= BASE)
    mean = x[:, :BASE].mean(axis=1)
    sigma = np.abs(np.diff(x[:, :BASE], axis=1)).mean(axis=1) / (2 / sqrt(pi))
    flat = ~(sigma > 1e-12 * np.maximum(1e-12, np.abs(mean)))
    out = {}
    with np.errstate(all="ignore"):
        over = x / mean[:, None]
        size = np.maximum(over, 1 / np.maximum(over, 1e-9)) if is_ratio[0] else over
        size = np.where(later & ~np.isnan(size), size, -np.inf)
        best = np.argmax(size, axis=1)
        beyond = later & (size > 2)
        out["fixed_rule"] = (~(mean > 0), np.where(size[rows, best] > 0, over[rows, best], 0), first_true(beyond))
        z = np.where(later, (x - mean[:, None]) / sigma[:, None], 0)
        best = np.argmax(np.abs(z), axis=1)
        out["shewhart"] = (flat, z[rows, best], first_true(np.abs(z) > 3))
        width, limit = ewma_width(), cusum_limit()
        e, up, down = mean.copy(), np.zeros(len(x)), np.zeros(len(x))
        ze, cu = np.zeros_like(x), np.zeros_like(x)
        for i in range(BASE, x.shape[1]):
            e = np.where(inside[:, i], WEIGHT * x[:, i] + (1 - WEIGHT) * e, e)
            half = sigma * np.sqrt(WEIGHT / (2 - WEIGHT) * (1 - (1 - WEIGHT) ** (2 * (i - BASE + 1))))
            ze[:, i] = np.where(inside[:, i], (e - mean) / half, 0)
            up = np.maximum(0, up + (x[:, i] - mean) / sigma - REFERENCE)
            down = np.maximum(0, down - (x[:, i] - mean) / sigma - REFERENCE)
            cu[:, i] = np.where(inside[:, i], np.where(up >= down, up, -down), 0)
        best = np.argmax(np.abs(ze), axis=1)
        out["ewma"] = (flat, ze[rows, best], first_true(np.abs(ze) > width))
        best = np.argmax(np.abs(cu), axis=1)
        out["cusum"] = (flat, cu[rows, best], first_true(np.abs(cu) > limit))
    return out


_kendall = {}


def kendall_exact(s, n):
    """P(|S| >= |s|) among all orders of n different values."""
    if n not in _kendall:
        counts = np.ones(1)
        for k in range(2, n + 1):  # share of orders by inversions
            counts = np.convolve(counts, np.full(k, 1.0 / k))
        _kendall[n] = np.cumsum(counts)
    pairs = n * (n - 1) // 2
    inversions = (pairs - abs(s)) // 2
    return min(1.0, 2 * _kendall[n][inversions]) if s != 0 else 1.0


def mann_kendall(hours, x):
    n = len(x)
    s = int((np.sign(x[None, :] - x[:, None]) * np.sign(hours[None, :] - hours[:, None])).sum()) // 2
    ties = np.unique(x, return_counts=True)[1]
    if n <= 60 and ties.max() == 1:
        return kendall_exact(s, n)
    var = (n * (n - 1) * (2 * n + 5) - (ties * (ties - 1) * (2 * ties + 5)).sum()) / 18
    return erfc(abs(s - np.sign(s)) / sqrt(var) / sqrt(2)) if var > 0 else 1.0


_orders = {}


def orders_of(n):
    """The program's 1999 orders of n values (each shuffles the one before, by a linear congruential generator)."""
    if n in _orders:
        return _orders[n]
    with np.errstate(over="ignore"):
        draws = ORDERS * (n - 1)
        a, c = np.uint64(6364136223846793005), np.uint64(1442695040888963407)
        power = np.multiply.accumulate(np.full(draws, a, dtype=np.uint64))
        sums = np.r_[np.uint64(1), power[:-1]].astype(np.uint64)
        state = power * np.uint64(0x53484654) + c * np.add.accumulate(sums)
    draw = (state >> np.uint64(33)).reshape(ORDERS, n - 1)
    one = np.tile(np.arange(n), (ORDERS, 1))
    rows = np.arange(ORDERS)
    for step, i in enumerate(range(n - 1, 0, -1)):
        j = (draw[:, step] % np.uint64(i + 1)).astype(np.int64)
        a, b = one[:, i].copy(), one[rows, j]
        one[:, i], one[rows, j] = b, a
    for k in range(1, ORDERS):
        one[k] = one[k - 1][one[k]]
    _orders[n] = one
    return one


def change(x):
    n = len(x)
    k = np.arange(2, n - 1)
    def best(rows):
        left = np.cumsum(rows, axis=-1)[..., 1 : n - 2]
        return (left ** 2 / k + (x.sum() - left) ** 2 / (n - k)).max(axis=-1)
    seen = best(x)
    p = (1 + np.count_nonzero(best(x[orders_of(n)]) >= seen * (1 - 1e-12))) / (ORDERS + 1)
    if p >= LEVEL:
        return p, -1
    # the break of least squares, by as many values on either side as there are
    k = np.arange(1, n)
    left = np.cumsum(x)[:-1]
    return p, int(k[np.argmax(left ** 2 / k + (x.sum() - left) ** 2 / (n - k))])


def methods(series, is_ratio):
    """series: list of (name, values, hours or None)"""
    rows = []
    few = [s for s in series if len(s[1]) < FEWEST]
    rows += [(name, len(v), m, 1, 0.0, -1, np.nan) for name, v, _ in few
             for m in ("fixed_rule", "shewhart", "ewma", "cusum", "mann_kendall", "change_point")]
    series = [s for s in series if len(s[1]) >= FEWEST]
    if not series:
        return rows
    n = np.array([len(s[1]) for s in series])
    x = np.full((len(series), n.max()), np.nan)
    for i, s in enumerate(series):
        x[i, : n[i]] = s[1]
    for m, (untold, statistic, since) in charts(x, n, np.full(len(series), is_ratio)).items():
        rows += [(s[0], len(s[1]), m, int(u), v, i, np.nan) for s, u, v, i in zip(series, untold, statistic, since)]
    for name, v, hours in series:
        h = np.arange(len(v), dtype=float) if hours is None else hours
        median = np.median(v)
        slope = np.nan
        if hours is not None and median > 0:
            slope = theilslopes(v, h, 0.9)[0] * 1e5 / median
        rows.append((name, len(v), "mann_kendall", 0, mann_kendall(h, v), -1, slope))
        p, since = change(v) if v.max() > v.min() else (1.0, -1)
        rows.append((name, len(v), "change_point", 0, p, since, np.nan))
    return rows


def main():
    file, out = sys.argv[1], sys.argv[2]
    as_of = int(pd.Timestamp(sys.argv[3] if len(sys.argv) > 3 else "2026-09-30T12:00:00").timestamp())
    db = sqlite3.connect(f"file:{file}?mode=ro", uri=True)
    names = read(db, "SELECT 's' || shaft_id k, v.code || '/' || s.code name FROM shaft s "
                     "JOIN vessel v USING (vessel_id) UNION ALL SELECT 'l' || lubricator_id, v.code || '/' || l.code FROM lubricator l "
                     "JOIN vessel v USING (vessel_id)")
    names = dict(zip(names.k, names.name))
    w, count, feeds = washout(db, as_of)
    d = delivery(db, as_of, count, feeds)
    def grouped(frame, by, letter, hours):
        return [(names[f"{letter}{k}"], f.value.to_numpy(), f[hours].to_numpy() if hours else None)
                for k, f in frame.groupby(by)]
    rows = methods(grouped(w, "s", "s", "middle"), False) + methods(grouped(d, "l", "l", None), True)
    pd.concat([w, d])[["record", "value"]].to_csv(f"{out}/values.csv", index=False, float_format="%.9g")
    pd.DataFrame(rows, columns=["series", "n", "method", "untold", "statistic", "since", "slope"]).to_csv(
        f"{out}/methods.csv", index=False, float_format="%.9g")


main()
