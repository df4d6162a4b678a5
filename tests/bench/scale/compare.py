#!/usr/bin/python3
"""Compares what `review --plain --json` says with what plain.py or plain.R wrote, series by series.

usage: compare.py PLAIN_JSON OUT_FOLDER P_TOLERANCE      exit code 1 when something differs that is not explained

Values are compared record by record. Where both have the same records in a series and the values agree to 2e-5 (the
JSON has six digits), every method's statistic must agree to 1e-5; elsewhere only the values are compared. The p of the
change test is counted over orders: plain.py takes the program's, plain.R its own, whence P_TOLERANCE.
"""
import csv
import json
import sys
from collections import defaultdict

said = json.load(open(sys.argv[1]))["series"]
folder, p_tolerance = sys.argv[2], float(sys.argv[3])
values = {}
for row in csv.DictReader(open(f"{folder}/values.csv")):
    values[row["record"].replace("-", "")] = float(row["value"])
methods = defaultdict(dict)
for row in csv.DictReader(open(f"{folder}/methods.csv")):
    methods[row["series"]][row["method"]] = row

def number(text):
    return None if text in ("", "NA", "NaN", "nan") else float(text)

fed = {s["vessel"] for s in said if s["lubricator"]}
kinds = {}
left_out = not_computed = faults = 0
odd = []
for s in said:
    if s["figure"] == "hours_between_alarms":  # the scripts do not compute it
        continue
    kind = "delivery ratio" if s["lubricator"] else "washout, fed shaft" if s["vessel"] in fed else "washout by hand"
    k = kinds.setdefault(kind, {"series": 0, "values": 0, "differences": [], "ours only": 0, "same": 0, "compared": 0,
                                "signals": 0, "apart": 0, "worst": 0.0})
    k["series"] += 1
    mine = {v["record"].replace("-", ""): v["value"] for v in s["values"]}
    pairs = [(v, values[r]) for r, v in mine.items() if r in values]
    k["ours only"] += len(mine) - len(pairs)
    k["values"] += len(pairs)
    gaps = [abs(a - b) / max(abs(a), 1e-3) for a, b in pairs]
    k["differences"] += gaps
    name = f"{s['vessel']}/{s['shaft'] or s['lubricator']}"
    theirs = methods.get(name, {})
    n_theirs = next(iter(theirs.values()), {}).get("n")
    has_all = len(pairs) == len(mine) and (n_theirs is None or int(n_theirs) == len(mine))
    is_same = has_all and (not gaps or max(gaps) < 2e-5)
    if not is_same or not theirs:
        continue
    k["same"] += 1
    for m in s["methods"]:
        if m["method"] not in theirs:  # the scripts fit no line
            continue
        t = theirs[m["method"]]
        k["compared"] += 1
        if bool(m["untold"]) != (t["untold"] == "1"):
            odd.append(f"{name} {m['method']}: untold {m['untold']} and {t['untold']}")
            continue
        if m["untold"]:
            continue
        gap = abs(m["statistic"] - number(t["statistic"]))
        allowed = p_tolerance if m["method"] == "change_point" else 1e-5 + 1e-5 * abs(m["statistic"])
        k["worst"] = max(k["worst"], gap if m["method"] != "change_point" else 0)
        slope, their_slope = m["slope_pct_per_1000h"], number(t["slope"])
        if slope and their_slope is not None:
            value = slope["value"] if isinstance(slope, dict) else slope
            if abs(value - their_slope) > 1e-4 + 1e-4 * abs(value):
                odd.append(f"{name} slope: {value} and {their_slope}")
        if gap > allowed:
            odd.append(f"{name} {m['method']}: {m['statistic']} and {t['statistic']}")
print("figure              series    values   median, 99 %, most they differ   "
      "  same series   methods compared   worst statistic")
for kind, k in kinds.items():
    d = sorted(k["differences"]) or [0]
    most = f"{d[len(d) // 2]:.1e}, {d[len(d) * 99 // 100]:.1e}, {d[-1]:.1e}"
    print(f"{kind:18s} {k['series']:7d} {k['values']:9d}   {most}"
          f"       {k['same']:7d}            {k['compared']:7d}            {k['worst']:.1e}")
    if k["ours only"]:
        print(f"  {k['ours only']} values only the program has")
print(f"{len(odd)} methods that differ though the values agree" + "".join("\n  " + o for o in odd[:20]))
sys.exit(1 if odd else 0)
