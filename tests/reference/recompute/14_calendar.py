"""Dates, times, zone changes and ship number check digits."""
import csv
import sys
from datetime import date, datetime, timedelta, timezone
from zoneinfo import ZoneInfo
sys.path.insert(0, "recompute")
from common import Expected

E = Expected("14_calendar.csv")
UTC = timezone.utc


def add(check, q, v, p="", o="computed", s=""):
    assert not p or p == v, (q, v, p)
    E.add(check, q, v, p, "0", "text", o, s)


def iso(t):
    t = t.astimezone(UTC)
    f = f".{t.microsecond:06d}".rstrip("0").rstrip(".") if t.microsecond else ""
    return t.strftime("%Y-%m-%dT%H:%M:%S") + f + "Z"


# RFC 3339 section 5.8: printed time stamps and the instants they mean.
for text, utc, org in [
        ("1985-04-12T23:20:50.52Z", "1985-04-12T23:20:50.52Z", "memory"),
        ("1996-12-19T16:39:57-08:00", "1996-12-20T00:39:57Z", "memory"),
        ("1937-01-01T12:00:27.87+00:20", "1937-01-01T11:40:27.87Z", "computed")]:
    t = datetime.fromisoformat(text.replace("Z", "+00:00"))
    add("instant", text, iso(t), utc, org, "rfc_3339")
    add("unix_seconds", text, f"{(t - datetime(1970, 1, 1, tzinfo=UTC)).total_seconds():.6f}".rstrip("0").rstrip("."))
# Other forms of the same instants that ISO 8601 permits or forbids.
for text, verdict in [
        ("2024-02-29", "valid"), ("2023-02-29", "invalid"), ("1900-02-29", "invalid"), ("2000-02-29", "valid"), ("2024-13-01", "invalid"),
        ("2024-00-10", "invalid"), ("2024-04-31", "invalid"), ("2024-06-30T24:00:00Z", "valid in ISO 8601 only"), ("2024-06-30T24:00:01Z", "invalid"),
        ("2024-06-30T23:59:60Z", "leap second form"), ("2024-06-30T12:60:00Z", "invalid"), ("2024-06-30T25:00:00Z", "invalid"),
        ("2024-6-3", "invalid"), ("2024-06-30T12:00", "valid without zone"), ("20240630T120000Z", "valid basic form"),
        ("2024-06-30T12:00:00+24:00", "invalid"), ("2024-06-30T12:00:00-00:00", "valid in RFC 3339 only"), ("2024-W27-1", "valid week date"),
        ("2024-183", "valid ordinal date"), ("2023-366", "invalid"), ("2024-366", "valid ordinal date")]:
    add("syntax", text, verdict, verdict, "memory", "iso_8601")
# Calendar date, week date and ordinal date of the same day. 1985-04-12 is the
# example of the ISO 8601 standard; the new year cases are widely tabulated.
for text, wk, od, org in [
        ("1985-04-12", "1985-W15-5", "1985-102", "memory"), ("2005-01-01", "2004-W53-6", "", "memory"), ("2005-01-02", "2004-W53-7", "", "memory"),
        ("2005-12-31", "2005-W52-6", "", "memory"), ("2007-01-01", "2007-W01-1", "", "memory"), ("2007-12-30", "2007-W52-7", "", "memory"),
        ("2007-12-31", "2008-W01-1", "", "memory"), ("2008-12-28", "2008-W52-7", "", "memory"), ("2008-12-29", "2009-W01-1", "", "memory"),
        ("2009-12-31", "2009-W53-4", "", "memory"), ("2010-01-03", "2009-W53-7", "", "memory"), ("2010-01-04", "2010-W01-1", "", "memory"),
        ("2024-12-30", "2025-W01-1", "", "computed"), ("2024-02-29", "2024-W09-4", "2024-060", "computed")]:
    d = date.fromisoformat(text); y, w, k = d.isocalendar()
    add("week_date", text, f"{y:04d}-W{w:02d}-{k}", wk, org, "iso_8601")
    add("ordinal_date", text, f"{d.year:04d}-{d.timetuple().tm_yday:03d}", od, org if od else "computed", "iso_8601")
for text, p in [("1858-11-17", "0"), ("1970-01-01", "40587"), ("2000-01-01", "51544"), ("2024-02-29", ""), ("1899-12-31", "")]:
    add("modified_julian_day", text, str((date.fromisoformat(text) - date(1858, 11, 17)).days), p, "memory" if p else "computed", "mjd_definition")
for text, p in [("1970-01-01T00:00:00Z", "0"), ("2000-01-01T00:00:00Z", "946684800"), ("2001-09-09T01:46:40Z", "1000000000"),
                ("2009-02-13T23:31:30Z", "1234567890"), ("2038-01-19T03:14:07Z", "2147483647"), ("1901-12-13T20:45:52Z", "-2147483648"), ("1969-12-31T23:59:59Z", "-1")]:
    t = datetime.fromisoformat(text.replace("Z", "+00:00")); add("unix_seconds", text, str(int((t - datetime(1970, 1, 1, tzinfo=UTC)).total_seconds())), p, "memory", "posix_epoch")
for y, p in [(1600, "leap"), (1700, "common"), (1900, "common"), (2000, "leap"), (2004, "leap"), (2023, "common"), (2024, "leap"), (2100, "common")]:
    v = "leap" if (date(y, 3, 1) - date(y, 2, 1)).days == 29 else "common"; add("leap_year", str(y), v, p, "memory", "gregorian_rule")
for a, b in [("2024-01-31", "2024-03-01"), ("2023-01-31", "2023-03-01"), ("1999-12-31", "2000-01-01"), ("2020-02-28", "2024-02-29")]:
    add("days_between", f"{a} to {b}", str((date.fromisoformat(b) - date.fromisoformat(a)).days))
# Zone changes: the offset in force just before and at the printed instant.
CH = [("Europe/London", "2024-03-31T01:00:00Z", "+00:00", "+01:00", "EU directive 2000/84/EC dates"), ("Europe/London", "2024-10-27T01:00:00Z", "+01:00", "+00:00", ""),
      ("Europe/Athens", "2024-03-31T01:00:00Z", "+02:00", "+03:00", ""), ("Europe/Athens", "2024-10-27T01:00:00Z", "+03:00", "+02:00", ""),
      ("America/New_York", "2024-03-10T07:00:00Z", "-05:00", "-04:00", "US Energy Policy Act 2005 dates"), ("America/New_York", "2024-11-03T06:00:00Z", "-04:00", "-05:00", ""),
      ("America/New_York", "2006-04-02T07:00:00Z", "-05:00", "-04:00", "rule before 2007"), ("Australia/Lord_Howe", "2024-04-06T15:00:00Z", "+11:00", "+10:30", "half-hour change"),
      ("Pacific/Apia", "2011-12-30T10:00:00Z", "-10:00", "+14:00", "30 December 2011 skipped"), ("Pacific/Kiritimati", "1994-12-31T10:00:00Z", "-10:00", "+14:00", "31 December 1994 skipped"),
      ("Asia/Pyongyang", "2018-05-04T15:00:00Z", "+08:30", "+09:00", ""), ("Europe/Istanbul", "2016-03-27T01:00:00Z", "+02:00", "+03:00", "summer time kept from 2016"),
      ("Asia/Singapore", "1981-12-31T16:00:00Z", "+07:30", "+08:00", ""), ("Africa/Monrovia", "1972-01-07T00:44:30Z", "-00:44:30", "+00:00", "")]


def off(t, z):
    s = int(t.astimezone(z).utcoffset().total_seconds()); g = "-" if s < 0 else "+"; s = abs(s)
    return f"{g}{s // 3600:02d}:{s % 3600 // 60:02d}" + (f":{s % 60:02d}" if s % 60 else "")


for z, at, b, a, _ in CH:
    t = datetime.fromisoformat(at.replace("Z", "+00:00")); zi = ZoneInfo(z)
    add("zone_offset_before", f"{z} {at}", off(t - timedelta(seconds=1), zi), b, "memory", "tz_database"); add("zone_offset_at", f"{z} {at}", off(t, zi), a, "memory", "tz_database")
for z, at, p in [("Asia/Kathmandu", "2024-07-01T00:00:00Z", "+05:45"), ("Pacific/Chatham", "2024-01-01T00:00:00Z", "+13:45"), ("Asia/Kolkata", "2024-07-01T00:00:00Z", "+05:30"), ("Asia/Tokyo", "2024-07-01T00:00:00Z", "+09:00"), ("America/St_Johns", "2024-07-01T00:00:00Z", "-02:30")]:
    add("zone_offset_at", f"{z} {at}", off(datetime.fromisoformat(at.replace("Z", "+00:00")), ZoneInfo(z)), p, "memory", "tz_database")
# Local times that never happened or happened twice.
for z, local, kind in [("Europe/London", "2024-03-31T01:30:00", "gap"), ("Europe/London", "2024-10-27T01:30:00", "twice"), ("America/New_York", "2024-03-10T02:30:00", "gap"), ("America/New_York", "2024-11-03T01:30:00", "twice"), ("Pacific/Apia", "2011-12-30T12:00:00", "gap"), ("Asia/Tokyo", "2024-03-31T01:30:00", "once")]:
    n = datetime.fromisoformat(local); zi = ZoneInfo(z)
    u = {n.replace(tzinfo=zi, fold=f).astimezone(UTC) for f in (0, 1)}
    real = [x for x in u if x.astimezone(zi).replace(tzinfo=None) == n]
    v = "gap" if not real else ("twice" if len(real) == 2 else "once"); add("local_time", f"{z} {local}", v, kind, "memory", "tz_database")
    if v == "twice":
        add("local_time_first", f"{z} {local}", iso(min(real))); add("local_time_second", f"{z} {local}", iso(max(real)))
E.save()

# Ship numbers: IMO resolution A.1117(30). Six digits weighted 7 6 5 4 3 2; the
# last digit of the sum is the seventh digit.
I = Expected("14_imo_number.csv")


def check_digit(s): return sum(int(c) * w for c, w in zip(s[:6], range(7, 1, -1))) % 10


with open("data/imo_numbers.csv") as f:
    for r in csv.DictReader(f):
        s = r["number"]; ok = len(s) == 7 and s.isdigit() and check_digit(s) == int(s[6])
        assert ("valid" if ok else "invalid") == r["verdict"], r
        I.add("imo_number", s, r["verdict"], r["verdict"], "0", "text", r["origin"], "imo_a_1117_30", "imo_numbers.csv")
        if len(s) == 7 and s.isdigit():
            I.add("imo_weighted_sum", s, str(sum(int(c) * w for c, w in zip(s[:6], range(7, 1, -1)))), "", "0", "abs", "computed", "imo_a_1117_30", "imo_numbers.csv")
I.save()
