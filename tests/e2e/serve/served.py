"""What the tests of the server share: the program started on the demo, asked, signed in to, and its access log."""
import http.client
import json
import os
import re
import signal
import socket
import subprocess
import sys
import tempfile
import unittest
import urllib.parse

PROGRAM = os.path.abspath(sys.argv.pop(1))
SCRIPT = '<script>alert(1)</script>"\'&'


def uuid7(n):
    text = "0190b5e27c1a7f3e8a11%012x" % n
    return "-".join([text[:8], text[8:12], text[12:16], text[16:20], text[20:]])


class Server:
    def __init__(self, folder, *more):
        self.folder, self.more = folder, more
        self.start()

    def start(self):
        self.process = subprocess.Popen(
            [PROGRAM, "--db", "d.db", "serve", "--port", "0", "--log", "access.log", *self.more],
            cwd=self.folder, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
        line = self.process.stdout.readline()
        found = re.search(r":(\d+)/ is served", line)
        if not found:
            raise RuntimeError(line + self.process.stderr.read())
        self.port = int(found.group(1))

    def end(self, how=signal.SIGTERM):
        self.process.send_signal(how)
        code = self.process.wait(30)
        self.process.stdout.close()
        self.process.stderr.close()
        return code

    def ask(self, method, path, form=None, headers=None):
        c = http.client.HTTPConnection("127.0.0.1", self.port, timeout=60)
        head = dict(headers or {})
        body = None
        if form is not None:
            body = form if isinstance(form, (str, bytes)) else urllib.parse.urlencode(form)
            head.setdefault("Content-Type", "application/x-www-form-urlencoded")
        c.request(method, path, body, head)
        r = c.getresponse()
        text = r.read().decode("utf-8", "replace")
        c.close()
        return r.status, text, r

    def token(self, cookie=None):
        status, text, _ = self.ask("GET", "/api/token", headers={"Cookie": cookie} if cookie else {})
        assert status == 200, text
        return json.loads(text)["form_token"]

    def keep(self, n, amount="2.5", cookie=None, vessel="brackensound", **more):
        form = {"kind": "refill", "vessel": vessel, "lubricator": "lub1", "amount": amount, "unit": "kg",
                "at": "2026-10-02T10:%02d" % (n % 60), "by": "2/E", "id": uuid7(n), **more}
        head = {"X-Form-Token": self.token(cookie)}
        if cookie:
            head["Cookie"] = cookie
        return self.ask("POST", "/api/records", form, head)

    def raw(self, data, wait=5):
        s = socket.create_connection(("127.0.0.1", self.port), timeout=wait)
        s.sendall(data)
        try:
            return s.recv(4000).decode("latin-1")
        except OSError:
            return ""
        finally:
            s.close()


def run(folder, *words, given=None):
    return subprocess.run([PROGRAM, "--db", "d.db", *words], cwd=folder, capture_output=True, text=True, input=given)


class Case(unittest.TestCase):
    more = ()

    def setUp(self):
        self.temp = tempfile.TemporaryDirectory()
        self.folder = self.temp.name
        self.assertEqual(run(self.folder, "demo").returncode, 0)
        self.prepare()
        self.server = Server(self.folder, *self.more)

    def prepare(self):
        pass

    def tearDown(self):
        if self.server.process.poll() is None:
            self.server.end()
        self.temp.cleanup()

    def refills(self):
        out = run(self.folder, "list", "--kind", "refill", "--vessel", "brackensound", "--csv").stdout
        return [line for line in out.splitlines() if "2026-10-02T" in line]

    def access_log(self):
        with open(os.path.join(self.folder, "access.log")) as f:
            return f.read()


def form_token(page):
    return re.search(r'name="form_token" value="([0-9a-f]+)"', page).group(1)


class People(Case):
    """One account of each role; the phrase of each is "a long phrase of NAME"."""
    more = ("--accounts", "people")

    def prepare(self):
        for name, role, more in [("mate", "crew", ["--vessel", "brackensound"]), ("office", "superintendent", []),
                                 ("guest", "reader", []), ("chief", "chief_engineer", ["--vessel", "brackensound"])]:
            r = run(self.folder, "account", "add", name, "--role", role, *more, "--accounts", "people",
                    given=f"a long phrase of {name}\n")
            self.assertEqual(r.returncode, 0, r.stderr)

    def enter(self, name, phrase=None, **head):
        """Status and cookie of one try, the cookie with its attributes; the answer's text is kept in `answer`."""
        head = {k.replace("_", "-"): v for k, v in head.items()}
        token = form_token(self.server.ask("GET", "/sign-in", headers=head)[1])
        status, self.answer, r = self.server.ask(
            "POST", "/sign-in",
            {"form_token": token, "name": name, "passphrase": phrase or f"a long phrase of {name}", "then": "/"}, head)
        return status, r.headers.get("Set-Cookie", "")
