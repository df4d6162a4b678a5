"""Reads a workbook of `report fleet` with openpyxl and holds it to `review --json`: the same findings, the same figures,
empty where the JSON has null. Prints each difference; exit code 1 when there is one.

    python3 workbook_check.py fleet.xlsx review.json [--figures-only]

--figures-only: not how the sheets are set up; a program that saved the file anew may have changed that.
"""
import datetime
import json
import sys

import openpyxl

CUBIC = "cm\u00b3"
faults = []


def fault(text):
    faults.append(text)


def rows_of(book, name):
    sheet = book[name]
    lines = list(sheet.iter_rows(values_only=True))
    for need, is_met in () if "--figures-only" in sys.argv else (
                        ("frozen heading", sheet.freeze_panes is not None),
                         ("filter", sheet.auto_filter.ref is not None),
                         ("landscape", sheet.page_setup.orientation == "landscape"),
                         ("A4", int(sheet.page_setup.paperSize) == 9),
                         ("repeated heading", sheet.print_title_rows == "$1:$1")):
        if not is_met:
            fault(f"{name}: no {need}")
    return [dict(zip(lines[0], line)) for line in lines[1:]]


def same(where, cell, told):
    if told is None:
        if cell is not None:
            fault(f"{where}: {cell!r} where nothing is known")
    elif isinstance(told, bool):
        if cell != ("yes" if told else "no"):
            fault(f"{where}: {cell!r}, expected {told!r}")
    elif isinstance(told, (int, float)):
        if isinstance(cell, bool) or not isinstance(cell, (int, float)) or cell != told:
            fault(f"{where}: {cell!r}, expected {told!r}")
    elif isinstance(cell, datetime.datetime):
        # A spreadsheet's date is a fraction of days: the last second may be rounded.
        when = datetime.datetime.strptime(told, "%Y-%m-%dT%H:%M:%SZ")
        if abs((cell - when).total_seconds()) > 1:
            fault(f"{where}: {cell}, expected {told}")
    elif cell != told:
        fault(f"{where}: {cell!r}, expected {told!r}")


def same_time(where, cell, told):
    if told is not None and not isinstance(cell, datetime.datetime):
        fault(f"{where}: {cell!r} is no date")
    else:
        same(where, cell, told)


def same_estimate(where, row, head, told):
    for tail, key in (("", "value"), (", 5 %", "low"), (", 95 %", "high")):
        same(f"{where} {head}{tail}", row[head + tail], None if told is None else told[key])


def main():
    book = openpyxl.load_workbook(sys.argv[1])
    review = json.load(open(sys.argv[2], encoding="utf-8"))

    findings = rows_of(book, "Findings")
    figures = {}
    for row in rows_of(book, "Figures of findings"):
        figures[row["finding"], row["figure"]] = row
    if [row["id"] for row in findings] != [f["id"] for f in review["findings"]]:
        fault("Findings: other findings, or another order")
    for row, told in zip(findings, review["findings"]):
        where = "finding " + told["id"]
        for head, key in (("ship", "vessel"), ("shaft", "shaft"), ("lubricator", "lubricator"), ("status by", "status_by"),
                          ("what was done", "status_says")):
            same(f"{where} {head}", row[head], told[key])
        same(f"{where} kind", row["kind"], told["kind"].replace("_", " "))
        same(f"{where} urgency", row["urgency"].lower(), told["urgency"])
        same(f"{where} what", row["what"].replace(CUBIC, "cm3").replace("\u2212", "-"), told["summary"])
        same_time(f"{where} first seen", row["evidence sufficed (UTC)"], told["first_seen"])
        began = told["began"]
        for head, key in (("began (UTC)", "estimate"), ("began, earliest (UTC)", "low"), ("began, latest (UTC)", "high")):
            same_time(f"{where} {head}", row[head], None if began is None else began[key])
        same(f"{where} strength", row["strength, natural-log odds"], told["quantities"]["strength"]["value"])
        for name, q in told["quantities"].items():
            line = figures.pop((told["id"], name.replace("_", " ")), None)
            if line is None:
                fault(f"{where}: figure {name} is missing")
                continue
            for head, key in (("value", "value"), ("5 %", "low"), ("95 %", "high")):
                same(f"{where} {name} {head}", line[head], q[key])
            same(f"{where} {name} unit", line["unit"] or "", q["unit"])
    for key in figures:
        fault(f"Figures of findings: {key} is not in the review")

    shafts = rows_of(book, "Shafts")
    done = rows_of(book, "Planned and done")
    if len(shafts) != len(review["shafts"]) or len(done) != len(shafts):
        fault("Shafts: another number of rows")
    for row, plan, told in zip(shafts, done, review["shafts"]):
        where = f"{told['vessel']} {told['shaft']}"
        same(where, row["ship"], told["vessel"])
        same(where, row["shaft"], told["shaft"])
        same(where, plan["shaft"], told["shaft"])
        same(f"{where} meter", row["meter h"], told["running_h"])
        for head, key in ((f"washout {CUBIC}/h", "washout_cm3_per_h"), ("trend % a 1000 h", "trend_pct_per_1000h"),
                          ("cavity fill %", "cavity_fill_pct"), ("starved h", "starved_h"),
                          ("alarms a 1000 h", "alarms_per_1000h")):
            same_estimate(where, row, head, told[key])
        due = told["next_greasing"]
        same_time(f"{where} due", plan["next due (UTC)"], due["due_at"])
        same(f"{where} due in", plan["due in running h"], due["due_h"])
        if plan["overdue"] is not None or due["overdue"]:
            same(f"{where} overdue", plan["overdue"], due["overdue"])

    lubricators = rows_of(book, "Lubricators")
    if len(lubricators) != len(review["lubricators"]):
        fault("Lubricators: another number of rows")
    for row, told in zip(lubricators, review["lubricators"]):
        where = f"{told['vessel']} {told['lubricator']}"
        same(where, row["lubricator"], told["lubricator"])
        for head, key in (("left the reservoir over called for (ratio)", "delivery_ratio"),
                          ("cycles counted over called for (ratio)", "cycle_ratio"), ("level %", "level_pct")):
            same_estimate(where, row, head, told[key])
        for head, key in (("low mark reached (UTC)", "p50"), ("low mark, early (UTC)", "p10"),
                          ("low mark, late (UTC)", "p90")):
            same_time(f"{where} {head}", row[head], told["next_refill"][key])

    for text in faults:
        print(text)
    compared = len(review["findings"]) + len(review["shafts"]) + len(review["lubricators"])
    print(f"{compared} findings, shafts and lubricators compared, {len(faults)} differences")
    return 1 if faults or compared == 0 else 0


sys.exit(main())
