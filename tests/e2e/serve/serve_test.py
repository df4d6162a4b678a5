"""The server through its own port: python3 serve_test.py SHAFTLOG. Plain sockets where a browser would never do it."""
import html
import http.client
import json
import os
import re
import signal
import threading
import time
import unittest
import urllib.parse

from served import SCRIPT, Case, People, form_token, run, uuid7


class AtTheMachine(Case):
    def test_every_page_answers_and_shows_no_other_place(self):
        for path in ["/fleet", "/fleet?urgency=all&state=all", "/fleet?as_of=2026-06-01", "/ship/brackensound",
                     "/ship/brackensound/hours", "/ship/brackensound/record/greasing?shaft=fin_port",
                     "/ship/brackensound/record/refill?lubricator=lub1", "/ship/brackensound/record/alarm",
                     "/ship/brackensound/record/work", "/ship/brackensound/record/inspection?shaft=fin_port",
                     "/ship/brackensound/shaft/fin_port", "/ship/brackensound/advice", "/ship/brackensound/records",
                     "/ship/brackensound/shaft/fin_port/history?until=2026-09-30"]:
            status, text, r = self.server.ask("GET", path)
            self.assertEqual(status, 200, path + text)
            self.assertIsNone(re.search(r"(src|href)=\"(https?:)?//", text), path)
            self.assertNotIn("style=\"", text, path)
            self.assertIn("default-src 'none'", r.headers["Content-Security-Policy"])
            self.assertEqual(r.headers["X-Content-Type-Options"], "nosniff")

    def test_the_fleet_says_what_the_ship_is_to_check_first_and_never_without_cautions(self):
        text = self.server.ask("GET", "/fleet?as_of=2026-10-01")[1]
        cards = text.split('<section class="finding ')[1:]
        self.assertGreater(len(cards), 5)
        for card in cards:
            of = card.split('</section>')[0]
            self.assertEqual("Check first:" in of, of.startswith(("act", "plan")), of)
        self.assertIn("Before any of these checks", text)
        self.assertIn("surgical emergency", text.split('id="cautions"')[1])

    def test_what_is_at_stake_is_said_on_the_pages_as_in_the_report(self):
        words = lambda path: html.unescape(re.sub("<[^>]*>", "", self.server.ask("GET", path)[1]))
        report = words("/report/fleet.html?as_of=2026-10-01")
        fleet = html.unescape(self.server.ask("GET", "/fleet?as_of=2026-10-01")[1])
        stakes = re.findall(r"<p>At stake: ([^<]+)</p>", fleet)
        self.assertGreater(len(stakes), 5)
        for stake in stakes[:5]:
            self.assertIn(stake, report)
        found = re.search(r'href="(/finding/[^"]+)"[^§]*?<p>At stake: ([^<]+)</p>', fleet)
        self.assertIn(found.group(2), words(found.group(1)))

    def test_a_shaft_whose_lubricator_is_pressing_is_not_said_to_have_nothing(self):
        said = json.loads(self.server.ask("GET", "/api/review?as_of=2026-10-01")[1])["findings"]
        of_feeds = [f for f in said if not f["shaft"] and f["lubricator"]]
        self.assertTrue(of_feeds)
        for f in of_feeds:
            text = self.server.ask("GET", f"/ship/{f['vessel']}?as_of=2026-10-01")[1]
            cells = re.findall(r'data-label="most pressing">(.*?)</td>', text)
            alone = [x for x in said if x["vessel"] == f["vessel"] and x["shaft"]]
            if f["urgency"] in ("act", "plan") and not alone:
                self.assertTrue(all(f["lubricator"] + ":" in c for c in cells), cells)
            if f["urgency"] in ("act", "plan"):
                self.assertNotIn("nothing", cells)

    def test_json_says_what_the_command_says(self):
        status, text, _ = self.server.ask("GET", "/api/review?as_of=2026-10-01")
        self.assertEqual(status, 200)
        said = json.loads(run(self.folder, "review", "--json", "--as-of", "2026-10-01").stdout)
        self.assertEqual(json.loads(text)["findings"], said["findings"])

    def worked_in(self):
        """The fleet's page once nothing waits to be worked in, and the review that it was made from."""
        for _ in range(300):
            text = self.server.ask("GET", "/fleet")[1]
            said = self.server.ask("GET", "/api/review")[1]
            if "being worked in" not in text and self.server.ask("GET", "/fleet")[1] == text:
                return text, json.loads(said)
            time.sleep(0.1)
        self.fail("records are never worked in")

    def test_what_is_kept_between_reviews_is_what_the_command_works_out_from_everything(self):
        before = self.worked_in()[1]
        for n, more in enumerate([{}, {"amount": "0.4"}, {"vessel": "tarnwick"}, {}]):
            status, text, _ = self.server.keep(n, **more)
            self.assertEqual(status, 201, text)
            record = json.loads(text)["record"]["id"]
            if n == 3:
                token = self.server.token()
                status, text, _ = self.server.ask("POST", "/record/%s/withdraw" % record,
                                                  {"form_token": token, "reason": "twice", "by": "2/E"})
                self.assertIn(status, (200, 303), text)
            page, said = self.worked_in()
            self.assertIn("with what was kept by", page)
            command = json.loads(run(self.folder, "review", "--json", "--as-of", said["as_of"]).stdout)
            self.assertEqual(said, command)
        self.assertNotEqual(before, said)

    def test_whoever_has_kept_a_record_sees_it_on_the_ships_page_at_once(self):
        for n in range(5):
            record = json.loads(self.server.keep(n)[1])["record"]["id"]
            self.assertIn(record, self.server.ask("GET", "/ship/brackensound")[1])

    def test_a_record_sent_twice_is_kept_once(self):
        self.assertEqual(self.server.keep(1)[0], 201)
        self.assertEqual(self.server.keep(1)[0], 200)
        self.assertEqual(self.server.keep(1, amount="3.5")[0], 409)
        self.assertEqual(len(self.refills()), 1)

    def test_many_at_once_lose_and_double_nothing(self):
        answers = []

        def crew(first):
            for n in range(first, first + 8):
                answers.append(self.server.keep(n)[0])
                answers.append(self.server.keep(n)[0])

        threads = [threading.Thread(target=crew, args=(100 * i,)) for i in range(1, 7)]
        for t in threads:
            t.start()
        for t in threads:
            t.join()
        self.assertEqual(sorted(answers), [200] * 48 + [201] * 48)
        self.assertEqual(len(self.refills()), 48)

    def test_a_refill_may_be_told_by_its_two_levels_though_a_unit_is_chosen(self):
        status, text, _ = self.server.keep(1, amount="", level_before_pct="17", level_after_pct="88")
        self.assertEqual(status, 201, text)
        status, text, _ = self.server.keep(2, amount="", level_before_pct="88")
        self.assertEqual(status, 422, text)
        self.assertEqual(len(self.refills()), 1)

    def test_a_form_without_script_asks_once_where_it_is_odd(self):
        status, text, _ = self.server.ask("GET", "/ship/brackensound/record/refill?lubricator=lub1")
        token = form_token(text)
        rid = re.search(r'name="id" value="([0-9a-f-]+)"', text).group(1)
        form = {"form_token": token, "kind": "refill", "id": rid, "lubricator": "lub1", "amount": "900", "unit": "kg",
                "at": "2026-10-02T10:00", "by": "2/E"}
        status, text, _ = self.server.ask("POST", "/ship/brackensound/record/refill", form)
        self.assertEqual(status, 200)
        self.assertIn("Is that right?", text)
        self.assertEqual(len(self.refills()), 0)
        form.update(right="yes", right_remark=SCRIPT)
        status, text, r = self.server.ask("POST", "/ship/brackensound/record/refill", form)
        self.assertEqual(status, 303)
        self.assertEqual(len(self.refills()), 1)
        status, text, _ = self.server.ask("GET", "/record/" + rid)
        self.assertNotIn("<script>alert", text)
        self.assertIn("&lt;script&gt;alert", text)

    def test_an_unreadable_time_is_all_that_is_told_of_a_refill(self):
        form = {"kind": "refill", "vessel": "brackensound", "lubricator": "lub1", "amount": "2", "unit": "kg", "at": "tomorow"}
        status, text, _ = self.server.ask("POST", "/api/look", form, {"X-Form-Token": self.server.token()})
        self.assertEqual(status, 200, text)
        told = json.loads(text)
        self.assertEqual([f["field"] for f in told["faults"]], ["at"])
        self.assertEqual(told["odd"], [])

    def test_the_form_shows_what_was_kept_a_moment_ago(self):
        self.assertEqual(self.server.keep(1, amount="1.75", at="")[0], 201)
        page = self.server.ask("GET", "/ship/brackensound/record/refill?lubricator=lub1")[1]
        self.assertRegex(page, r"<p>last: 1\.75 kg")

    def test_bad_values_are_told_and_nothing_is_kept(self):
        status, text, _ = self.server.keep(7, amount="two")
        self.assertEqual(status, 422)
        self.assertIn("two", json.loads(text)["error"])
        self.assertEqual(self.server.keep(8, vessel="nowhere")[0], 404)
        self.assertEqual(len(self.refills()), 0)

    def test_a_name_without_end_is_refused_by_forms_and_by_senders_of_json(self):
        endless = "\u6cb9" * 101
        status, text, _ = self.server.keep(7, by=endless)
        self.assertEqual(status, 422)
        self.assertIn("has 101 characters; expected at most 100", json.loads(text)["error"])
        page = self.server.ask("GET", "/ship/brackensound/record/refill?lubricator=lub1")[1]
        rid = re.search(r'name="id" value="([0-9a-f-]+)"', page).group(1)
        form = {"form_token": form_token(page), "kind": "refill", "id": rid, "lubricator": "lub1", "amount": "2", "unit": "kg",
                "at": "2026-10-02T10:00", "by": endless}
        status, text, _ = self.server.ask("POST", "/ship/brackensound/record/refill", form)
        self.assertEqual(status, 422)
        self.assertIn('id="fault-by"', text)
        self.assertIn("expected at most 100", text)
        finding = json.loads(self.server.ask("GET", "/api/review")[1])["findings"][0]["id"]
        status, text, _ = self.server.ask("POST", f"/api/findings/{finding}/remarks",
                                          {"did": "noted", "says": "seen", "by": endless}, {"X-Form-Token": self.server.token()})
        self.assertEqual(status, 400, text)
        self.assertIn("expected at most 100", json.loads(text)["error"])
        self.assertEqual(len(self.refills()), 0)

    def test_correct_and_withdraw_keep_what_was(self):
        rid = json.loads(self.server.keep(9)[1])["record"]["id"]
        head = {"X-Form-Token": self.server.token()}
        status, text, _ = self.server.ask("POST", f"/api/records/{rid}/correct",
                                          {"amount": "2.75", "reason": "misread", "by": "3/E"}, head)
        self.assertEqual(status, 201, text)
        newer = json.loads(text)["id"]
        self.assertEqual(self.server.ask("POST", f"/api/records/{rid}/correct", {"amount": "3", "reason": "again"}, head)[0], 409)
        self.assertEqual(self.server.ask("POST", f"/api/records/{newer}/withdraw", {"reason": "not done", "by": "3/E"}, head)[0], 201)
        family = json.loads(self.server.ask("GET", "/api/records/" + rid)[1])
        self.assertIn(rid, json.dumps(family))
        self.assertIn(newer, json.dumps(family))

    def test_a_correction_that_another_overtook_shows_again_what_was_typed(self):
        rid = json.loads(self.server.keep(9)[1])["record"]["id"]
        page = self.server.ask("GET", f"/record/{rid}/correct")[1]
        form = dict(re.findall(r'<input name="(\w+)" value="([^"]*)"', page), unit="kg", form_token=form_token(page))
        for wrong, status, says in [({"amount": "two"}, 422, "two"), ({"reason": ""}, 400, "needs one"), ({}, 400, "nothing was changed")]:
            code, text, _ = self.server.ask("POST", f"/record/{rid}/correct", {**form, "remark": "", "reason": "misread", "by": "3/E", **wrong})
            self.assertEqual(code, status, text)
            self.assertIn(says, text)
            if "amount" in wrong:
                self.assertIn('name="reason" value="misread"', text)
                self.assertIn('name="amount" value="two"', text)
        head = {"X-Form-Token": self.server.token()}
        newer = json.loads(self.server.ask("POST", f"/api/records/{rid}/correct",
                                           {"remark": "in the rain", "reason": "left out", "by": "C/E"}, head)[1])["id"]
        typed = {**form, "amount": "2.75", "reason": "misread <b>", "by": "3/E"}
        code, text, _ = self.server.ask("POST", f"/record/{rid}/correct", typed)
        self.assertEqual(code, 409, text)
        self.assertIn("C/E corrected the record", text)
        for field in ('name="amount" value="2.75"', 'name="remark" value="in the rain"', 'name="reason" value="misread &lt;b&gt;"',
                      f'action="/record/{newer}/correct"'):
            self.assertIn(field, text)
        again = {**dict(re.findall(r'<input name="(\w+)" value="([^"]*)"', text)), "unit": "kg", "form_token": form_token(text)}
        again["reason"] = "misread"
        code, text, r = self.server.ask("POST", f"/record/{newer}/correct", {**again, "by": "3/E"})
        self.assertEqual(code, 303, text)
        last = r.headers["Location"].rsplit("/", 1)[1]
        kept = json.loads(self.server.ask("GET", "/api/records/" + last)[1])["record"]
        self.assertEqual((str(kept["values"]["amount"] if "values" in kept else kept["amount"]), kept["remark"]), ("2.75", "in the rain"))
        for _ in range(3):  # all of it is taken back
            family = json.loads(self.server.ask("GET", "/api/records/" + rid)[1])
            if not family["in_force"]:
                break
            code, text, _ = self.server.ask("POST", "/api/records/%s/withdraw" % family["in_force"], {"reason": "no", "by": "C/E"}, head)
            self.assertEqual(code, 201, text)
        code, text, _ = self.server.ask("POST", f"/record/{rid}/correct", typed)
        self.assertEqual(code, 409, text)
        self.assertIn("C/E withdrew the record", text)
        self.assertIn("<dd>2.75</dd>", text)

    def test_forged_forms_and_other_names_are_refused(self):
        form = {"kind": "refill", "vessel": "brackensound", "id": uuid7(3), "amount": "1", "unit": "kg"}
        self.assertEqual(self.server.ask("POST", "/api/records", form)[0], 403)
        good = {"X-Form-Token": self.server.token()}
        for other in [{"Origin": "http://evil.example"}, {"Sec-Fetch-Site": "cross-site"}, {"Origin": "null"}]:
            self.assertEqual(self.server.ask("POST", "/api/records", form, {**good, **other})[0], 403, other)
        self.assertEqual(self.server.ask("GET", "/fleet", headers={"Host": "evil.example"})[0], 421)
        self.assertEqual(self.server.ask("POST", "/api/records", "{}", {**good, "Content-Type": "application/json"})[0], 415)
        self.assertEqual(len(self.refills()), 0)

    def test_what_an_address_asks_for_is_one_of_what_there_is(self):
        acts = self.server.ask("GET", "/fleet?urgency=act")[1]
        self.assertIn('<section class="finding act">', acts)
        self.assertEqual(self.server.ask("GET", "/fleet?urgency=ACT")[1].split("<h2")[1:], acts.split("<h2")[1:])
        for path, status, says in [
                ("/fleet?urgency=urgent", 400, "urgency: \"urgent\" is none; expected act, plan, watch, note, all"),
                ("/fleet?state=shut", 400, "state: \"shut\" is none; expected closed, all"),
                ("/fleet?group=nosuch", 404, 'group "nosuch" has no vessel'),
                ("/api/review?asof=2026-10-01", 400, "asof: there is no such parameter; expected as_of, vessel, group"),
                ("/api/token?x=", 400, "x: there is no such parameter; none is expected"),
                ("/api/records/x?all=1", 400, "all: there is no such parameter"),
                ("/api/ships/brackensound/shafts/fin_port/history?as_of=2026-10-01", 400, "expected until, known, all"),
                ("/ship/brackensound/record/greasing?shaft=nosuch", 404, "nosuch"),
                ("/ship/brackensound/record/refill?lubricator=nosuch", 404, "nosuch")]:
            code, text, _ = self.server.ask("GET", path)
            text = json.loads(text)["error"] if path.startswith("/api") else html.unescape(text)
            self.assertEqual(code, status, path + text)
            self.assertIn(says, text, path)

    def test_paths_reach_no_file(self):
        for path in ["/../d.db", "/a/../d.db", "/a/%2e%2e/d.db", "/a/..%2fd.db", "/a/%2e%2e%2fd.db", "/d.db", "//d.db",
                     "/a/style.css/..", "/%00", "/a/\\d.db", "/ship/..%2f..%2fetc%2fpasswd"]:
            answer = self.server.raw(f"GET {path} HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n".encode())
            self.assertRegex(answer, r"^HTTP/1.1 (400|404)", path)

    def test_what_is_too_large_is_refused_and_the_server_lives(self):
        self.assertRegex(self.server.raw(b"GET / HTTP/1.1\r\nHost: localhost\r\nX: " + b"a" * 200000 + b"\r\n\r\n"),
                         r"^(HTTP/1.1 (400|413|431|494)|$)")
        self.assertRegex(self.server.raw(b"POST /api/look HTTP/1.1\r\nHost: localhost\r\nContent-Length: 99999999\r\n\r\n"),
                         r"^HTTP/1.1 413")
        status, text, _ = self.server.ask("POST", "/api/look", "a" * 300000, {"X-Form-Token": self.server.token()})
        self.assertEqual((status, "at most 256 KiB" in json.loads(text)["error"]), (413, True), text)
        chunks = b"POST /api/look HTTP/1.1\r\nHost: localhost\r\nTransfer-Encoding: chunked\r\n\r\n"
        chunks += (b"8000\r\n" + b"a" * 0x8000 + b"\r\n") * 12 + b"0\r\n\r\n"
        self.assertRegex(self.server.raw(chunks), r"^HTTP/1.1 413")
        self.assertRegex(self.server.raw(b"\x00\xff\x00\r\n\r\n"), r"^(HTTP/1.1 400|$)")
        self.assertEqual(self.server.ask("GET", "/fleet")[0], 200)

    def test_nothing_acknowledged_is_lost_by_a_kill(self):
        kept = []

        def crew():
            n = 1000
            while True:
                n += 1
                try:
                    if self.server.keep(n)[0] == 201:
                        kept.append(uuid7(n))
                except OSError:
                    return

        t = threading.Thread(target=crew)
        t.start()
        time.sleep(0.7)
        self.server.end(signal.SIGKILL)
        t.join()
        self.server.start()
        self.assertTrue(kept)
        out = run(self.folder, "list", "--kind", "refill", "--vessel", "brackensound", "--csv").stdout
        for rid in kept:
            self.assertIn(rid, out)
        self.assertEqual(run(self.folder, "check").returncode, 0)

    def test_it_ends_when_asked_and_logs_no_values(self):
        self.assertEqual(self.server.ask("GET", "/fleet?as_of=2026-10-01&secret-word=x")[0], 200)
        self.assertEqual(self.server.end(), 0)
        self.assertIn("GET /fleet 200", self.access_log())
        self.assertNotIn("secret-word", self.access_log())


class WithAccounts(People):
    def sign_in(self, name):
        status, cookie = self.enter(name)
        if cookie:
            self.assertIn("HttpOnly", cookie)
            self.assertIn("SameSite=Strict", cookie)
        return status, cookie.split(";")[0]

    def test_each_sees_and_does_what_is_theirs(self):
        self.assertEqual(self.server.ask("GET", "/fleet")[0], 303)
        self.assertEqual(self.server.ask("GET", "/api/review")[0], 401)
        mate, office, guest = (self.sign_in(n)[1] for n in ("mate", "office", "guest"))
        get = lambda path, cookie: self.server.ask("GET", path, headers={"Cookie": cookie})[0]
        self.assertEqual(get("/ship/brackensound", mate), 200)
        others = [s["vessel"] for s in json.loads(self.server.ask("GET", "/api/ships", headers={"Cookie": office})[1])["ships"]]
        other = [v for v in others if v != "brackensound"][0]
        self.assertEqual(get("/ship/" + other, mate), 404)
        self.assertEqual(get("/api/records?vessel=" + other, mate), 404)
        self.assertEqual(get("/report/fleet.pdf", mate), 404)
        self.assertEqual(get("/ship/" + other, guest), 200)
        for of in ("", "?as_of=2026-10-01"):
            some = json.loads(self.server.ask("GET", "/api/review" + of, headers={"Cookie": office})[1])["findings"]
            for f in some[:4] + [f for f in some if f["vessel"] == "brackensound"][:1]:
                for path in ("/finding/" + f["id"], "/finding/" + f["id"][:8]):
                    self.assertEqual(get(path + of, office), 200, path + of)
                    self.assertEqual(get(path + of, mate), 200 if f["vessel"] == "brackensound" else 404, path + of)
        self.assertEqual(self.server.keep(1, cookie=mate)[0], 201)
        self.assertEqual(self.server.keep(2, cookie=guest)[0], 403)
        self.assertEqual(self.server.keep(3, cookie=office)[0], 403)
        finding = json.loads(self.server.ask("GET", "/api/review", headers={"Cookie": office})[1])["findings"][0]["id"]
        remark = lambda cookie: self.server.ask("POST", f"/api/findings/{finding}/remarks", {"did": "noted", "says": "seen"},
                                                {"Cookie": cookie, "X-Form-Token": self.server.token(cookie)})[0]
        self.assertEqual(remark(guest), 403)
        self.assertEqual(remark(mate), 403)
        self.assertEqual(remark(office), 201)
        run(self.folder, "account", "remove", "guest", "--accounts", "people")
        self.assertEqual(get("/fleet", guest), 303)

    def test_a_link_keeps_its_query_through_the_sign_in_and_leads_nowhere_else(self):
        link = "/fleet?urgency=act&as_of=2026-10-01&group=a%26b"
        status, _, r = self.server.ask("GET", link)
        self.assertEqual(status, 303)
        page = self.server.ask("GET", r.headers["Location"])[1]
        then = html.unescape(re.search(r'name="then" value="([^"]*)"', page).group(1))
        self.assertEqual(then, link)
        form = {"form_token": form_token(page), "name": "office", "passphrase": "a long phrase of office"}
        self.assertEqual(self.server.ask("POST", "/sign-in", {**form, "then": then})[2].headers["Location"], link)
        cookie = self.sign_in("office")[1]
        again = self.server.ask("GET", "/sign-in?then=%2Fship%2Fbrackensound%3Fkept%3Dx", headers={"Cookie": cookie})
        self.assertEqual(again[2].headers["Location"], "/ship/brackensound?kept=x")
        for elsewhere in ["//evil.example", "https://evil.example", "/\\evil.example", "/\t/evil.example", "/\n/evil.example",
                          "\t//evil.example", "/x\r\nSet-Cookie: a=b"]:
            r = self.server.ask("POST", "/sign-in", {**form, "then": elsewhere})[2]
            self.assertEqual((r.status, r.headers["Location"]), (303, "/"), elsewhere)

    def test_the_chief_engineer_verifies_and_nobody_else(self):
        mate, office, guest, chief = (self.sign_in(n)[1] for n in ("mate", "office", "guest", "chief"))
        ask = lambda path, cookie: self.server.ask("GET", path, headers={"Cookie": cookie})
        of = lambda record, cookie: json.loads(ask("/api/records/" + record, cookie)[1])["record"]["verified"]
        self.assertEqual(ask("/", chief)[2].headers["Location"], "/ship/brackensound")
        self.assertEqual(self.server.keep(11, cookie=chief)[0], 201)
        records = json.loads(ask("/api/records?vessel=brackensound&unverified=1", chief)[1])["records"]
        first, second = records[-1]["id"], records[-2]["id"]
        verify = lambda record, cookie, more={}: self.server.ask(
            "POST", f"/api/records/{record}/verify", more, {"Cookie": cookie, "X-Form-Token": self.server.token(cookie)})[0]
        for cookie in (mate, office, guest):
            self.assertEqual(verify(first, cookie), 403)
            self.assertNotIn("Verify", ask("/record/" + first, cookie)[1])
            self.assertNotIn("Verify", ask("/ship/brackensound/records", cookie)[1])
        self.assertEqual(of(first, mate), [])
        self.assertIn("nobody yet", ask("/record/" + first, mate)[1])
        self.assertIn("Verify it", ask("/record/" + first, chief)[1])
        self.assertEqual(self.server.ask("POST", f"/record/{first}/verify", {}, {"Cookie": chief})[0], 403)  # no token
        self.assertEqual(of(first, chief), [])
        self.assertEqual(verify(first, chief, {"by": "somebody else"}), 201)
        self.assertEqual([v["by"] for v in of(first, chief)], ["chief"])
        self.assertEqual(verify(first, chief), 201)  # said twice it is kept once
        self.assertEqual(len(of(first, chief)), 1)
        self.assertNotIn("Verify it", ask("/record/" + first, chief)[1])
        # The list's button, and back to the list.
        text = ask("/ship/brackensound/records", chief)[1]
        self.assertIn(f'action="/record/{second}/verify"', text)
        self.assertNotIn(f'action="/record/{first}/verify"', text)
        status, _, r = self.server.ask("POST", f"/record/{second}/verify", {"form_token": form_token(text), "to": "records"},
                                       {"Cookie": chief})
        self.assertEqual((status, r.headers["Location"]), (303, f"/ship/brackensound/records#r-{second}"))
        self.assertEqual(len(of(second, office)), 1)
        left = [r["id"] for r in json.loads(ask("/api/records?vessel=brackensound&unverified=1", chief)[1])["records"]]
        self.assertNotIn(first, left)
        others = [s["vessel"] for s in json.loads(ask("/api/ships", office)[1])["ships"]]
        other = [v for v in others if v != "brackensound"][0]
        theirs = json.loads(ask("/api/records?vessel=" + other, office)[1])["records"][0]["id"]
        self.assertEqual(verify(theirs, chief), 404)
        self.assertEqual(of(theirs, office), [])

    def test_ten_thousand_guesses_are_cheap_and_fruitless(self):
        token = form_token(self.server.ask("GET", "/sign-in")[1])
        c = http.client.HTTPConnection("127.0.0.1", self.server.port, timeout=60)
        counts = {}
        body = urllib.parse.urlencode({"form_token": token, "name": "office", "passphrase": "wrong guess", "then": "/"})
        n = 0
        while n < 10000:
            c.request("POST", "/sign-in", body, {"Content-Type": "application/x-www-form-urlencoded"})
            r = c.getresponse()
            r.read()
            n += 1
            counts[r.status] = counts.get(r.status, 0) + 1
        c.close()
        self.assertEqual(counts.get(403), 5)
        self.assertEqual(set(counts), {403, 429})
        time.sleep(0.5)  # after the flood the address itself is paced; what is asked of here is the account
        self.assertEqual(self.sign_in("office")[0], 429)
        self.assertIn("too many wrong tries", self.answer)

    def test_unsafe_combinations_are_refused(self):
        for words, says in [(["--listen", "0.0.0.0"], "needs --accounts"),
                            (["--listen", "0.0.0.0", "--accounts", "people"], "needs --certificate"),
                            (["--behind-proxy"], "needs --accounts"),
                            (["--behind-proxy", "--accounts", "people"], "needs --name"),
                            (["--certificate", "x"], "go together"),
                            (["--accounts", "nobody"], "holds no account"), (["--port", "70000"], "65535")]:
            r = run(self.folder, "serve", *words)
            self.assertNotEqual(r.returncode, 0, words)
            self.assertIn(says, r.stderr, words)
        os.chmod(os.path.join(self.folder, "people"), 0o644)
        self.assertIn("others may read it", run(self.folder, "serve", "--accounts", "people").stderr)


if __name__ == "__main__":
    unittest.main(verbosity=2)
