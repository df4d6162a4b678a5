"""Turns the measured series under ../data into log folders of invented ships.

python3 make.py [FOLDER]   writes the log folders beside this file, or under FOLDER (to compare).
Only the standard library is used. What is measured and what is invented: README.md.
"""
import csv
import datetime as dt
import os
import sys

HERE = os.path.dirname(os.path.abspath(__file__))
OUT = sys.argv[1] if len(sys.argv) > 1 else HERE
START = dt.datetime(2015, 1, 5, 0, 0)


def read(name):
    with open(os.path.join(HERE, "..", "data", name), newline="") as f:
        return list(csv.DictReader(f))


def write(folder, name, header, rows):
    os.makedirs(os.path.join(OUT, folder), exist_ok=True)
    with open(os.path.join(OUT, folder, name), "w", newline="") as f:
        w = csv.writer(f, lineterminator="\n")
        w.writerow(header.split(","))
        w.writerows(rows)


def at(run_h, per_day):
    """Ship's time at which the meter shows run_h, with so many running hours every day."""
    return START + dt.timedelta(hours=run_h * 24.0 / per_day)


def text(t):
    return t.strftime("%Y-%m-%dT%H:%MZ")


def register(folder, ships):
    write(folder, "vessels.csv", "vessel,name,time_zone", [(c, n, "UTC") for c, n in ships])
    write(folder, "greases.csv", "grease,thickener,nlgi,density_g_cm3,sea_safe",
          [("WG-2", "lithium_complex", 2, 0.92, "no")])


def diesel_events():
    """One ship an engine; each unscheduled maintenance action is an alarm, 12 running hours a day."""
    ships = [("brackwater", "Brackwater", "a", 25518), ("sedgehollow", "Sedgehollow", "b", 15070)]
    register("diesel_events", [s[:2] for s in ships])
    lub, shafts, feeds, hours, alarms = [], [], [], [], []
    for code, _, engine, end in ships:
        lub.append((code, "lub1", 10000, "WG-2"))
        shafts.append((code, "stock", "rudder stock lower bearing", 2000, "WG-2"))
        feeds.append((code, "lub1", "stock", "", 0.25, 15))
        for h in list(range(0, end, 360)) + [end]:
            hours.append((code, "stock", text(at(h, 12)), f"{h}.0"))
        for row in read("submarine_diesels.csv"):
            if row["engine"] == engine:
                t = at(int(row["hours"]), 12)
                alarms.append((code, "lub1", "stock", text(t), text(t + dt.timedelta(hours=1)), "other"))
    write("diesel_events", "lubricators.csv", "vessel,lubricator,reservoir_cm3,grease", lub)
    write("diesel_events", "shafts.csv", "vessel,shaft,position,cavity_cm3,grease", shafts)
    write("diesel_events", "feeds.csv", "vessel,lubricator,shaft,from,dose_cm3,cycle_min", feeds)
    write("diesel_events", "hours.csv", "vessel,shaft,at,meter_h", hours)
    write("diesel_events", "alarms.csv", "vessel,lubricator,shaft,raised_at,cleared_at,alarm", alarms)


def greased(folder, code, name, rows):
    """One manual shaft. rows: (time, meter [h], amount [cm3], how it ended), the first with no interval before it."""
    register(folder, [(code, name)])
    write(folder, "shafts.csv", "vessel,shaft,position,grease", [(code, "fin_port", "fin lower bearing", "WG-2")])
    write(folder, "hours.csv", "vessel,shaft,at,meter_h", [(code, "fin_port", text(t), f"{h:.1f}") for t, h, _, _ in rows])
    write(folder, "greasings.csv", "vessel,shaft,at,amount,unit,ended",
          [(code, "fin_port", text(t), f"{a:.2f}", "cm3", how) for t, _, a, how in rows])


def fuel_van():
    """A fill until the pump stops is a greasing until back-pressure: 1 mile is 1 h, 1 US gallon is 30 cm3, 12 h a day."""
    meter, rows = 0.0, []
    for row in read("van_fuel.csv"):
        meter += float(row["miles"])
        rows.append((at(meter, 12), meter, float(row["gallons"]) * 30, "pressure"))
    greased("fuel_van", "tolvane", "Tolvane", rows)


def house_gas(folder, code, name, order):
    """A week's gas is a greasing: 1 degree below 17.4 C for the week is 8 h, 1000 cubic feet are 50 cm3."""
    meter, rows = 0.0, [(START, 0.0, 0.0, "packed")]
    week = 0
    for part in order:
        of = [r for r in read("whiteside.csv") if r["insulation"] == part]
        for i in range(len(of)):  # the source lists them by temperature: taken with stride 7 instead
            r = of[7 * i % len(of)]
            week += 1
            meter += 8 * (17.4 - float(r["temp_c"]))
            rows.append((START + dt.timedelta(weeks=week), meter, 50 * float(r["gas"]), "pressure"))
    greased(folder, code, name, rows)


def house_reservoir():
    """The same weeks as a reservoir filled to the mark: its feed is set to what the house used before the change."""
    register("house_reservoir", [("hearthmere", "Hearthmere")])
    write("house_reservoir", "lubricators.csv", "vessel,lubricator,reservoir_cm3,grease", [("hearthmere", "lub1", 1000, "WG-2")])
    write("house_reservoir", "shafts.csv", "vessel,shaft,position,grease", [("hearthmere", "fin_port", "fin lower bearing", "WG-2")])
    write("house_reservoir", "feeds.csv", "vessel,lubricator,shaft,from,dose_cm3,cycle_min", [("hearthmere", "lub1", "fin_port", "", 2.464, 60)])
    with open(os.path.join(OUT, "house_gas", "greasings.csv"), newline="") as f:
        rows = list(csv.DictReader(f))
    write("house_reservoir", "refills.csv", "vessel,lubricator,at,amount,unit",
          [(r["vessel"], "lub1", r["at"], r["amount"], "cm3") for r in rows])
    with open(os.path.join(OUT, "house_gas", "hours.csv"), newline="") as f:
        write("house_reservoir", "hours.csv", "vessel,shaft,at,meter_h", list(csv.reader(f))[1:])


diesel_events()
fuel_van()
house_gas("house_gas", "hearthmere", "Hearthmere", ["before", "after"])
house_gas("house_gas_reversed", "hearthmere", "Hearthmere", ["after", "before"])
house_reservoir()
