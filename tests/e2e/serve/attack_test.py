"""The server and those who wish it ill, or are slow, or find the disk full: python3 attack_test.py SHAFTLOG."""
import http.client
import json
import os
import re
import resource
import shutil
import signal
import socket
import sqlite3
import ssl
import subprocess
import threading
import time
import unittest
import urllib.parse

from served import PROGRAM, SCRIPT, Case, People, Server, form_token, run, uuid7

HEAD = b"GET /a/style.css HTTP/1.1\r\nHost: localhost\r\n"


def from_address(port, address, timeout=30):
    s = socket.socket()
    s.bind((address, 0))
    s.settimeout(timeout)
    s.connect(("127.0.0.1", port))
    return s


def is_closed(s, within):
    """Whether the other side ends the connection; what it still says is read."""
    s.settimeout(within)
    try:
        while s.recv(65536):
            pass
        return True
    except socket.timeout:
        return False
    except OSError:
        return True


class Slow(Case):
    def test_many_slow_clients_keep_nobody_out_and_their_places_come_free(self):
        slow = []
        for i in range(110):
            s = from_address(self.server.port, "127.0.0.2")
            s.sendall([HEAD, HEAD + b"X-Slow: " + b"a" * 1000, b"G", b"",
                       b"POST /api/look HTTP/1.1\r\nHost: localhost\r\nContent-Length: 1000\r\n\r\nkind="][i % 5])
            slow.append(s)
        for path in ("/fleet", "/ship/brackensound", "/api/ships"):
            began = time.monotonic()
            self.assertEqual(self.server.ask("GET", path)[0], 200)
            self.assertLess(time.monotonic() - began, 5, path)
        self.assertEqual(self.server.keep(1)[0], 201)
        # A second address as bad as the first, and most places are taken: the slow have five seconds then.
        for i in range(110):
            s = from_address(self.server.port, "127.0.0.3")
            s.sendall(HEAD)
            slow.append(s)
        self.assertEqual(self.server.ask("GET", "/fleet")[0], 200)
        until = time.monotonic() + 15
        while time.monotonic() < until and any(s.fileno() >= 0 for s in slow):
            for s in slow:
                if s.fileno() < 0:
                    continue
                try:
                    s.settimeout(0.001)
                    s.sendall(b"a")  # as slowly as it goes
                    if s.recv(100) == b"":
                        s.close()
                except socket.timeout:
                    pass
                except OSError:
                    s.close()
            time.sleep(0.3)
        left = sum(s.fileno() >= 0 for s in slow)
        for s in slow:
            s.close()
        self.assertLess(left, 200, "some places came free")
        again = [from_address(self.server.port, "127.0.0.2") for _ in range(100)]
        for s in again:
            s.sendall(HEAD + b"Connection: close\r\n\r\n")
        for s in again:
            self.assertTrue(s.recv(100).startswith(b"HTTP/1.1 200"))
            s.close()

    def test_one_address_has_a_part_of_the_places_only(self):
        many = []
        for _ in range(160):
            s = from_address(self.server.port, "127.0.0.4", 2)
            s.sendall(HEAD)
            many.append(s)
        refused = sum(is_closed(s, 0.02) for s in many)
        self.assertGreaterEqual(refused, 32)
        self.assertEqual(self.server.ask("GET", "/fleet")[0], 200)
        for s in many:
            s.close()

    def test_clients_that_never_read_hold_up_nobody(self):
        deaf = []
        for _ in range(60):
            s = from_address(self.server.port, "127.0.0.5")
            s.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
            s.sendall(b"GET /fleet?urgency=all&state=all HTTP/1.1\r\nHost: localhost\r\n\r\n" * 20)
            deaf.append(s)
        for n in range(3):
            began = time.monotonic()
            self.assertEqual(self.server.ask("GET", "/fleet")[0], 200)
            self.assertEqual(self.server.keep(n)[0], 201)
            self.assertLess(time.monotonic() - began, 15)
        for s in deaf:
            s.close()
        self.assertEqual(self.server.end(), 0)

    def test_requests_in_one_go_are_answered_in_turn(self):
        s = from_address(self.server.port, "127.0.0.1")
        paths = ["/api/ships", "/a/style.css", "/nowhere", "/api/token"] * 5
        s.sendall("".join(f"GET {p} HTTP/1.1\r\nHost: localhost\r\n{'Connection: close' if i == 19 else 'X: y'}\r\n\r\n"
                          for i, p in enumerate(paths)).encode())
        said = b""
        while piece := s.recv(65536):
            said += piece
        s.close()
        self.assertEqual(re.findall(rb"HTTP/1.1 (\d+) ", said), [b"200", b"200", b"404", b"200"] * 5)
        at = [m.start() for m in re.finditer(rb"Content-Type: ([^\r]+)", said)]
        self.assertEqual(len(at), 20)

    def test_heads_that_are_too_large_or_ambiguous_are_refused(self):
        host = b"GET /fleet HTTP/1.1\r\nHost: localhost\r\n"
        post = b"POST /api/look HTTP/1.1\r\nHost: localhost\r\n"
        for head in [b"GET /" + b"a" * 100000 + b" HTTP/1.1\r\nHost: localhost\r\n\r\n", host + b"X: " + b"a" * 100000 + b"\r\n\r\n",
                     host + b"".join(b"X%d: y\r\n" % i for i in range(5000)) + b"\r\n",
                     host + b"Cookie: " + b"a=b; " * 20000 + b"\r\n\r\n"]:
            self.assertRegex(self.server.raw(head), r"^(HTTP/1.1 4\d\d |$)")
        for head in [post + b"Content-Length: 4\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\n",
                     post + b"Content-Length: -4\r\n\r\n", post + b"Content-Length: 99999999999999999999999\r\n\r\n",
                     post + b"Transfer-Encoding: chunked\r\n\r\nffffffffffffffffff\r\n",
                     b"GET /fleet HTTP/9.9\r\nHost: localhost\r\n\r\n", b"GET http://evil.example/ HTTP/1.1\r\nHost: localhost\r\n\r\n",
                     b"DELETE /fleet HTTP/1.1\r\nHost: localhost\r\n\r\n", b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03"]:
            self.assertRegex(self.server.raw(head, 3), r"^(HTTP/1.1 (4|5)\d\d |$)", head[:80])
        self.assertEqual(self.server.ask("GET", "/fleet")[0], 200)


class Failing(Case):
    def test_while_another_program_writes_pages_are_shown_and_entries_told_to_wait(self):
        other = sqlite3.connect(os.path.join(self.folder, "d.db"), isolation_level=None)
        other.execute("BEGIN IMMEDIATE")
        answers = []
        keepers = [threading.Thread(target=lambda n=n: answers.append(self.server.keep(n))) for n in range(8)]
        for t in keepers:
            t.start()
        time.sleep(0.5)
        for _ in range(10):
            began = time.monotonic()
            self.assertEqual(self.server.ask("GET", "/fleet")[0], 200)
            self.assertLess(time.monotonic() - began, 4)
        for t in keepers:
            t.join()
        other.execute("ROLLBACK")
        other.close()
        for status, text, _ in answers:
            self.assertEqual(status, 503, text)
            self.assertRegex(json.loads(text)["error"], r"writing|busy|locked")
        self.assertEqual(self.refills(), [])
        self.assertEqual(self.server.keep(1)[0], 201)
        self.assertEqual(len(self.refills()), 1)

    def test_a_full_disk_is_told_and_what_was_kept_stays(self):
        self.assertEqual(self.server.keep(1)[0], 201)
        self.server.end()
        # The server may write no byte more into any file than this, as on a full disk.
        self.server = Full(self.folder)
        largest = max(os.path.getsize(os.path.join(self.folder, n)) for n in os.listdir(self.folder))
        resource.prlimit(self.server.process.pid, resource.RLIMIT_FSIZE, (4096, resource.RLIM_INFINITY))
        self.assertGreater(largest, 4096)
        for n in (2, 3):
            status, text, _ = self.server.keep(n)
            self.assertEqual(status, 500, text)
            self.assertRegex(json.loads(text)["error"], r"d\.db: .*(full|written|I/O)")
        self.assertEqual(self.server.ask("GET", "/fleet")[0], 200)
        resource.prlimit(self.server.process.pid, resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY,) * 2)
        self.assertEqual(self.server.keep(2)[0], 201)
        self.assertEqual(len(self.refills()), 2)
        self.assertEqual(run(self.folder, "check").returncode, 0)

    def test_a_file_that_goes_away_is_told_and_comes_back(self):
        self.assertEqual(self.server.keep(1)[0], 201)
        for name in os.listdir(self.folder):
            if name.startswith("d.db"):
                os.rename(os.path.join(self.folder, name), os.path.join(self.folder, "away-" + name))
        status, text, _ = self.server.keep(2)
        self.assertEqual(status, 404, text)
        self.assertIn("there is no such file", json.loads(text)["error"])
        for name in os.listdir(self.folder):
            if name.startswith("away-"):
                os.rename(os.path.join(self.folder, name), os.path.join(self.folder, name[5:]))
        self.assertEqual(self.server.keep(2)[0], 201)
        self.assertEqual(len(self.refills()), 2)

    def test_what_cannot_be_served_is_told_in_one_sentence(self):
        def refused(*words, db="d.db"):
            r = subprocess.run([PROGRAM, "--db", db, "serve", *words], cwd=self.folder, capture_output=True, text=True, timeout=60)
            self.assertNotEqual(r.returncode, 0)
            self.assertEqual(r.stdout, "")
            self.assertEqual(len(r.stderr.strip().splitlines()), 1, r.stderr)
            return r.stderr

        self.assertIn("cannot be listened on", refused("--port", str(self.server.port)))
        self.assertIn("Address already in use", refused("--port", str(self.server.port)))
        self.assertIn("nowhere.db", refused(db="nowhere.db"))
        with open(os.path.join(self.folder, "broken.db"), "wb") as f:
            f.write(b"no database" * 100)
        self.assertIn("is not a database", refused(db="broken.db"))
        self.assertIn("cannot be written", refused("--port", "0", "--log", "nowhere/access.log"))

    def test_script_in_every_field_is_text_everywhere(self):
        fields = {"hours": ["meter_h", "meter", "old_meter_h", "at", "by", "remark"],
                  "refill": ["amount", "unit", "level_before_pct", "level_after_pct", "grease", "batch", "at", "by", "remark"],
                  "greasing": ["ended", "amount", "unit", "gun", "purge", "grease", "at", "by", "remark"],
                  "alarm": ["raised_at", "cleared_at", "alarm", "by", "remark"], "work": ["at", "work", "by", "remark"],
                  "inspection": ["water_pct", "iron_ppm", "clearance_mm", "at", "by", "remark"],
                  "level": ["level_pct", "at", "by", "remark"], "cycles": ["count", "counter", "at", "by", "remark"]}
        good = {"hours": {"shaft": "fin_port", "meter_h": "90000"}, "refill": {"lubricator": "lub1", "amount": "1", "unit": "kg"},
                "greasing": {"shaft": "fin_port", "ended": "pressure", "amount": "50", "unit": "cm3"},
                "alarm": {"lubricator": "lub1", "alarm": "low_level"}, "work": {"shaft": "fin_port", "work": "other"},
                "inspection": {"shaft": "fin_port", "water_pct": "1"}, "level": {"lubricator": "lub1", "level_pct": "50"},
                "cycles": {"lubricator": "lub1", "count": "5"}}
        token = self.server.token()
        head = {"X-Form-Token": token}
        kept = []
        n = 500
        for kind, names in fields.items():
            for name in names + ["vessel", "shaft", "lubricator", "id", "kind"]:
                n += 1
                form = {"kind": kind, "vessel": "brackensound", "id": uuid7(n), **good[kind], name: SCRIPT}
                for path in ("/api/records", "/api/look"):
                    status, text, r = self.server.ask("POST", path, form, head)
                    self.assertIn(r.headers["Content-Type"], ("application/json",), path)
                    json.loads(text)
                    self.assertNotEqual(status, 500, text)
                    if path == "/api/records" and status == 201:
                        kept.append(form["id"])
                status, text, _ = self.server.ask("POST", f"/ship/brackensound/record/{kind}",
                                                  {**form, "form_token": token, "id": uuid7(n + 5000)})
                self.assertNotIn("<script>alert", text, (kind, name))
                self.assertNotEqual(status, 500, text)
        self.assertGreaterEqual(len(kept), 16)  # by and remark of each kind
        for name in ("group", "urgency", "state", "as_of", "until", "known", "vessel", "kept", "days", "shaft", "kind"):
            for path in ("/fleet", "/ship/brackensound", "/ship/brackensound/records", "/api/records", "/api/review", "/api/due",
                         "/ship/brackensound/shaft/fin_port/history"):
                status, text, r = self.server.ask("GET", path + "?" + urllib.parse.urlencode({name: SCRIPT}))
                self.assertNotEqual(status, 500, text)
                if "json" in r.headers["Content-Type"]:
                    json.loads(text)
                else:
                    self.assertNotIn("<script>alert", text, path)
        for path in ["/ship/brackensound", "/ship/brackensound/records", "/fleet?urgency=all", "/api/records?vessel=brackensound"] + \
                    [f"/record/{i}" for i in kept]:
            status, text, r = self.server.ask("GET", path)
            self.assertEqual(status, 200, path)
            if "html" in r.headers["Content-Type"]:
                self.assertNotIn("<script>alert", text, path)
            else:
                json.loads(text)


class Full(Server):
    """Where a file may not grow, writing fails; without this the process would be ended by a signal."""

    def start(self):
        before = signal.getsignal(signal.SIGXFSZ)
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        try:
            self.process = subprocess.Popen([PROGRAM, "--db", "d.db", "serve", "--port", "0", *self.more], cwd=self.folder,
                                            stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, restore_signals=False)
        finally:
            signal.signal(signal.SIGXFSZ, before)
        self.port = int(re.search(r":(\d+)/ is served", self.process.stdout.readline()).group(1))


class BehindProxy(People):
    more = ("--behind-proxy", "--name", "ship.example", "--accounts", "people")

    def test_who_is_shut_out_is_known_by_the_address_that_the_proxy_saw(self):
        at = lambda address: {"Host": "ship.example", "X_Forwarded_For": address}
        status, cookie = self.enter("mate", **at("203.0.113.1"))
        self.assertEqual(status, 303)
        self.assertIn("; Secure", cookie)
        # Five guesses from one address, each saying that it is of another: what stands before the last is hearsay.
        for n in range(5):
            self.assertEqual(self.enter(f"guess{n}", "some wrong guess", **at(f"198.51.100.{n}, 203.0.113.66"))[0], 403)
        self.assertEqual(self.enter("mate", **at("198.51.100.77, 203.0.113.66"))[0], 429)
        self.assertEqual(self.enter("mate", **at("203.0.113.2"))[0], 303)
        self.assertEqual(self.server.ask("GET", "/fleet", headers={"Host": "evil.example", "X-Forwarded-Host": "ship.example"})[0], 421)
        self.assertIn(" 203.0.113.66 ", self.access_log())
        self.assertNotIn("198.51.100.", self.access_log())


class Alone(People):
    def test_without_a_proxy_forwarded_addresses_are_not_believed(self):
        for n in range(5):
            self.assertEqual(self.enter("office", "some wrong guess", X_Forwarded_For=f"203.0.113.{n}", Forwarded=f"for=203.0.113.{n}",
                                        X_Real_IP=f"203.0.113.{n}")[0], 403)
        self.assertEqual(self.enter("mate", X_Forwarded_For="203.0.113.9")[0], 429)
        self.assertNotIn("203.0.113.", self.access_log())

    def test_forged_and_old_sessions_are_nobodys(self):
        status, cookie = self.enter("office")
        self.assertEqual(status, 303)
        cookie = cookie.split(";")[0]
        name, value = cookie.split("=")
        get = lambda c: self.server.ask("GET", "/api/review", headers={"Cookie": c})[0]
        self.assertEqual(get(cookie), 200)
        for forged in (value[:-1], value[:-1] + ("0" if value[-1] != "0" else "1"), value.upper(), "", "0" * 64, value + "0", "a" * 5000):
            self.assertEqual(get(f"{name}={forged}"), 401, forged)
        token = self.server.token(cookie)
        self.assertEqual(self.server.ask("POST", "/sign-out", {"form_token": "0" * len(token)}, {"Cookie": cookie})[0], 403)
        self.assertEqual(get(cookie), 200)
        self.assertEqual(self.server.ask("POST", "/sign-out", {"form_token": token}, {"Cookie": cookie})[0], 303)
        self.assertEqual(get(cookie), 401)
        cookie = self.enter("office")[1].split(";")[0]
        self.assertEqual(get(cookie), 200)
        self.server.end()
        self.server.start()
        self.assertEqual(get(cookie), 401)


class Encrypted(People):
    def prepare(self):
        super().prepare()
        for name in ("ship", "other"):
            subprocess.run(["openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes", "-days", "2",
                            "-subj", "/CN=localhost", "-addext", "subjectAltName=DNS:localhost,IP:127.0.0.1", "-keyout", name + ".key",
                            "-out", name + ".pem"], cwd=self.folder, check=True, capture_output=True)
            os.chmod(os.path.join(self.folder, name + ".key"), 0o600)

    more = ("--accounts", "people", "--certificate", "ship.pem", "--key", "ship.key")

    def test_it_speaks_by_its_own_certificate_and_in_no_other_way(self):
        context = ssl.create_default_context(cafile=os.path.join(self.folder, "ship.pem"))
        c = http.client.HTTPSConnection("127.0.0.1", self.server.port, timeout=30, context=context)
        c.request("GET", "/sign-in")
        r = c.getresponse()
        token = form_token(r.read().decode())
        self.assertIn("max-age", r.headers["Strict-Transport-Security"])
        c.request("POST", "/sign-in", urllib.parse.urlencode({"form_token": token, "name": "mate", "passphrase":
                  "a long phrase of mate", "then": "/"}), {"Content-Type": "application/x-www-form-urlencoded",
                  "Origin": f"https://127.0.0.1:{self.server.port}"})
        r = c.getresponse()
        r.read()
        self.assertEqual(r.status, 303)
        self.assertIn("; Secure", r.headers["Set-Cookie"])
        c.request("GET", "/ship/brackensound", headers={"Cookie": r.headers["Set-Cookie"].split(";")[0]})
        self.assertEqual(c.getresponse().status, 200)
        c.close()
        for version in ("-tls1", "-tls1_1"):
            r = subprocess.run(["openssl", "s_client", version, "-cipher", "ALL:@SECLEVEL=0", "-connect", f"127.0.0.1:{self.server.port}"],
                               stdin=subprocess.DEVNULL, capture_output=True, text=True, timeout=30)
            self.assertRegex(r.stdout + r.stderr, r"alert protocol version|no protocols available|Cipher is \(NONE\)")
        self.assertNotIn("200", self.server.raw(b"GET /sign-in HTTP/1.1\r\nHost: localhost\r\n\r\n")[:20])
        # Handshakes that are begun and left: others still come in.
        left = [socket.create_connection(("127.0.0.1", self.server.port)) for _ in range(60)]
        for s in left:
            s.sendall(b"\x16\x03\x01\x02\x00\x01")
        again = http.client.HTTPSConnection("127.0.0.1", self.server.port, timeout=10, context=context)
        again.request("GET", "/sign-in")
        self.assertEqual(again.getresponse().status, 200)
        again.close()
        for s in left:
            s.close()

    def test_keys_and_certificates_that_will_not_do_are_told(self):
        shutil.copy(os.path.join(self.folder, "ship.key"), os.path.join(self.folder, "open.key"))
        os.chmod(os.path.join(self.folder, "open.key"), 0o644)
        with open(os.path.join(self.folder, "rubbish.pem"), "w") as f:
            f.write("no certificate\n")
        for certificate, key, says in [("nowhere.pem", "ship.key", "nowhere.pem: is not there"), ("ship.pem", "nowhere.key", "nowhere.key: is not there"),
                                       ("ship.pem", "open.key", "others may read the key"), ("ship.pem", "other.key", "do not fit"),
                                       ("rubbish.pem", "ship.key", "do not fit")]:
            r = run(self.folder, "serve", "--port", "0", "--accounts", "people", "--certificate", certificate, "--key", key)
            self.assertNotEqual(r.returncode, 0)
            self.assertIn(says, r.stderr)
            self.assertEqual(len(r.stderr.strip().splitlines()), 1, r.stderr)


if __name__ == "__main__":
    unittest.main(verbosity=2)
