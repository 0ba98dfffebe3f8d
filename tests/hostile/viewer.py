"""Bad requests to a real viewer: paths, sizes, patience, grammar, other sites, strings.

After every kind the viewer still answers at once, its process is the same, and the record is
whole and holds what it held.
"""

from __future__ import annotations

import random
import re
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.parse
import urllib.request
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager, suppress
from http.cookiejar import CookieJar
from pathlib import Path

import psutil

from asbuilt.handover.verify import verify
from asbuilt.record import Item, Record
from asbuilt.web import create_app

ROOT = Path(__file__).parents[2]
# A viewer that works longer than this on one request is taken to hang, or one that says nothing for so many times
# as long: on a machine that is busy with other things seconds of work take minutes.
PROMPT_S, STARVED = 30.0, 5
SLOW_CONNECTIONS = 200
TRAPS = (
    "../record.db", "..%2f..%2frecord.db", "%2e%2e/%2e%2e/etc/passwd", "....//....//record.db", "%2fetc%2fpasswd",
    "..\\..\\record.db", "%5c..%5crecord.db", "record.db%00.jpg", "\u202e", "%F0%9F%94%A5", "%ff%fe", "a" * 3000,
    '"><script>alert(1)</script>', "'; DROP TABLE items; --", "{{7*7}}", "${7*7}", "%s%s%s%n", "-1", "0", "1e308",
    "nan", "inf", "99999999999999999999999", "null", "undefined", "[]", "{}", "\r\nSet-Cookie: a=b", "con", "~root",
)  # fmt: skip
METHODS = ("GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS", "TRACE", "CONNECT", "BREW", "get", "")


class Viewer:
    """A viewer in a process of its own."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        command = [sys.executable, "-c", "from asbuilt.cli import main; main()", "serve", str(folder), "--port", "0",
                   "--no-open"]  # fmt: skip
        self.process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True, cwd=ROOT)
        self.port = int(re.search(r"127\.0\.0\.1:(\d+)/", self.process.stdout.readline())[1])
        self.jar = CookieJar()
        self.most_s = 0.0  # the longest that it worked on one request
        self.opener = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(self.jar))
        self.url = f"http://127.0.0.1:{self.port}"
        self.token = re.search(r'name="csrf" content="([^"]+)"', self.get("/")[1].decode())[1]

    def get(self, path: str, data: dict | None = None, headers: dict | None = None) -> tuple[int, bytes]:
        """Status and body of a well-formed request."""
        body = None if data is None else urllib.parse.urlencode(data, doseq=True).encode()
        request = urllib.request.Request(self.url + path, body, headers or {})
        before_s = self.worked_s()
        try:
            with self.opener.open(request, timeout=STARVED * PROMPT_S) as answer:
                told = answer.status, answer.read()
        except urllib.error.HTTPError as error:
            told = error.code, error.read()
        self.most_s = max(self.most_s, self.worked_s() - before_s)
        return told

    def worked_s(self) -> float:
        """How long it has worked so far, by the processor."""
        used = psutil.Process(self.process.pid).cpu_times()
        return used.user + used.system

    def send(self, data: bytes, wait_s: float = STARVED * PROMPT_S) -> int | None:
        """The status that raw bytes are answered with; None: none, the connection was closed or left open."""
        with closing(socket.create_connection(("127.0.0.1", self.port), timeout=wait_s)) as connection:
            with suppress(OSError):
                connection.sendall(data)
                connection.shutdown(socket.SHUT_WR)
            try:
                head = connection.recv(64)
            except OSError:
                return None
        found = re.match(rb"HTTP/1\.[01] (\d+)", head)
        return int(found[1]) if found else None

    def close(self) -> None:
        """End it."""
        self.process.terminate()
        self.process.wait(timeout=STARVED * 20)
        self.process.stdout.close()


def attack(folder: Path, count: int, seed: int) -> tuple[Counter, list[str]]:
    """Every kind of bad request, ``count`` of each that is drawn at random."""
    viewer = Viewer(folder)
    counts, failures = Counter(), []
    with Record.open(folder) as record:
        items = {i.id for i in record.all(Item)}
    try:
        for name, kind in KINDS.items():
            try:
                for status in kind(viewer, folder, random.Random(f"{seed}/{name}"), count):
                    counts["tried"] += 1
                    counts[f"{name} {_said(status)}"] += 1
                    if status is not None and status >= 500 and status not in (501, 505):
                        failures.append(f"{name}: answered {status}")
            except TimeoutError:
                failures.append(f"{name}: number {counts['tried'] + 1} of all was not answered")
            failures += [f"after {name}: {w}" for w in _harm(viewer, folder, items)]
            if failures and viewer.process.poll() is not None:
                break
    finally:
        viewer.close()
    return counts, failures


def _said(status: int | None) -> str:
    if status is None:
        return "hung up on"
    return "refused" if status >= 400 else "answered"


def _harm(viewer: Viewer, folder: Path, items: set[str]) -> Iterator[str]:
    """What is no longer as it was."""
    if viewer.process.poll() is not None:
        yield f"the viewer ended with {viewer.process.returncode}"
        return
    try:
        if viewer.get("/")[0] != 200:
            yield "the first page is not shown"
    except OSError as error:
        yield f"the first page does not come: {error}"
    if viewer.most_s > PROMPT_S:
        yield f"a request was worked on for {viewer.most_s:.0f} s"
    yield from (f.line() for f in verify(folder).faults)
    with Record.open(folder) as record:
        if lost := items - {i.id for i in record.all(Item)}:
            yield f"things are gone: {sorted(lost)[:3]}"


def _rules(folder: Path) -> list[tuple[str, set[str]]]:
    app = create_app(folder)
    return sorted((str(rule), set(rule.methods)) for rule in app.url_map.iter_rules())


def _filled(rule: str, value: str) -> str:
    return re.sub(r"<[^>]+>", value, rule)


def paths(viewer: Viewer, folder: Path, dice: random.Random, count: int) -> Iterator[int | None]:
    """Each address of the viewer with traps for names, sent as they are."""
    for rule, methods in _rules(folder):
        if "GET" not in methods or "events" in rule:
            continue
        for trap in TRAPS if "<" in rule else TRAPS[:3]:
            path = _filled(rule, trap) if "<" in rule else f"{rule.rstrip('/')}/{trap}"
            data = f"GET {path} HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: close\r\n\r\n".encode("utf-8", "replace")
            yield viewer.send(data)
    for trap in TRAPS:
        status, body = viewer.get("/static/" + urllib.parse.quote(trap, safe="/%\\"))
        yield 599 if b"SQLite format" in body or b"root:" in body else status


def queries(viewer: Viewer, folder: Path, dice: random.Random, count: int) -> Iterator[int | None]:
    """Pages that ask for places, with traps for every number and name."""
    names = ("offset", "height", "bit", "depth", "face", "q", "at", "unit", "from", "within", "layer", "picture", "t")
    shown = [rule for rule, methods in _rules(folder) if "GET" in methods and "events" not in rule]
    faces = ("street", "kiln")
    for _ in range(count):
        rule = dice.choice(shown)
        asked = {dice.choice(names): dice.choice((*TRAPS, "6ft", "1m")) for _ in range(dice.randrange(1, 6))}
        path = _filled(rule, dice.choice((*faces, "open_01", "1")))
        yield viewer.get(f"{path}?{urllib.parse.urlencode(asked)}")[0]


def forms(viewer: Viewer, folder: Path, dice: random.Random, count: int) -> Iterator[int | None]:
    """Changes with the form's secret and nonsense in every field."""
    names = ("kind", "label", "x_px", "y_px", "circuit_id", "item_id", "place", "sigma_px", "name", "size", "offset",
             "height", "id", "note", "date", "face_id", "title", "length", "stage", "key", "cable")  # fmt: skip
    posted = [rule for rule, methods in _rules(folder) if "POST" in methods and "remove" not in rule]
    for _ in range(count):
        rule = dice.choice(posted)
        data = {dice.choice(names): dice.choice((*TRAPS, "device box", "5", "street", "6ft")) for _ in range(6)}
        path = _filled(rule, dice.choice(("open_01", "street", "0" * 32)))
        yield viewer.get(path, data | {"csrf_token": viewer.token})[0]


def cross_site(viewer: Viewer, folder: Path, dice: random.Random, count: int) -> Iterator[int | None]:
    """Changes that come from elsewhere; one that is let through counts as a fault."""
    elsewhere = (
        {}, {"Origin": "https://evil.example"}, {"Sec-Fetch-Site": "cross-site"}, {"Sec-Fetch-Site": "same-site"},
        {"Host": "evil.example"}, {"Host": "127.0.0.1.evil.example"}, {"Referer": "https://evil.example/"},
    )  # fmt: skip
    for rule, methods in _rules(folder):
        for headers in elsewhere if "POST" in methods else ():
            told = headers and not headers.keys() & {"Origin", "Referer"}  # those alone do not give the secret away
            secret = {"csrf_token": viewer.token} if told else {}
            status, _ = viewer.get(_filled(rule, "open_01"), {"x": "1"} | secret, headers)
            yield status if status >= 400 else 599


def oversized(viewer: Viewer, folder: Path, dice: random.Random, count: int) -> Iterator[int | None]:
    """More than anybody needs: heads, forms, announced lengths, pieces of files."""
    head = "POST /pictures/open_01/sightings HTTP/1.1\r\nHost: 127.0.0.1\r\n"
    for size in (10**5, 10**6):
        yield viewer.send(f"GET /{'a' * size} HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n".encode())
        yield viewer.send(f"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nX: {'a' * size}\r\n\r\n".encode())
        yield viewer.send(f"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\n{'X: a' * 9}\r\n".encode() * (size // 100))
    for length in (10**7, 10**12, 10**30, -1):
        yield viewer.send(f"{head}Content-Length: {length}\r\n\r\n".encode() + b"a" * 1000)
    yield viewer.send(f"{head}Content-Length: {2 * 10**7}\r\n\r\n".encode() + b"a" * 2 * 10**7)
    yield viewer.get("/pictures/open_01/sightings", {"csrf_token": viewer.token, "x_px": ["1"] * 100_000})[0]
    yield viewer.get("/pictures/open_01/sightings", {"csrf_token": viewer.token, "label": "a" * 10**6})[0]
    yield viewer.send((head + "Transfer-Encoding: chunked\r\n\r\nFFFFFFFFFF\r\n").encode() + b"a" * 10**5)


def malformed(viewer: Viewer, folder: Path, dice: random.Random, count: int) -> Iterator[int | None]:
    """What is hardly a request: noise, and good ones with bytes changed."""
    good = (b"POST /pictures/open_01/sightings HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: 9\r\n"
            b"Content-Type: application/x-www-form-urlencoded\r\nConnection: close\r\n\r\nkind=pipe")  # fmt: skip
    for method in METHODS:
        yield viewer.send(f"{method} / HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: close\r\n\r\n".encode())
    for _ in range(count):
        data = bytearray(good)
        for _ in range(dice.choice((1, 2, 10))):
            at = dice.randrange(len(data))
            data[at : at + dice.randrange(3)] = dice.randbytes(dice.randrange(4))
        yield viewer.send(bytes(data) if dice.random() < 0.8 else dice.randbytes(dice.randrange(1, 3000)))


def slow(viewer: Viewer, folder: Path, dice: random.Random, count: int) -> Iterator[int | None]:
    """Many who begin a request and never end it; others must still be answered."""
    with _unfinished(viewer, SLOW_CONNECTIONS) as connections:
        for _ in range(3):
            for connection in connections:
                with suppress(OSError):
                    connection.sendall(b"X")
            started = time.monotonic()
            try:
                status = viewer.get("/")[0]
            except OSError:
                status = 599
            yield status if time.monotonic() - started < PROMPT_S else 598


@contextmanager
def _unfinished(viewer: Viewer, count: int) -> Iterator[list[socket.socket]]:
    connections = []
    try:
        for _ in range(count):
            connection = socket.create_connection(("127.0.0.1", viewer.port), timeout=PROMPT_S)
            connection.sendall(b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nX-Slow: ")
            connections.append(connection)
        yield connections
    finally:
        for connection in connections:
            connection.close()


KINDS: dict[str, Callable[[Viewer, Path, random.Random, int], Iterator[int | None]]] = {
    "paths": paths, "queries": queries, "forms": forms, "cross-site": cross_site, "oversized": oversized,
    "malformed": malformed, "slow": slow,
}  # fmt: skip
