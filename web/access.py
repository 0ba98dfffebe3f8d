"""Who may come in: on this machine anybody, from the network whoever knows the code."""

from __future__ import annotations

import hmac
import ipaddress
import secrets
import socket
import threading
import time
from collections import deque

import segno
from flask import Blueprint, Flask, abort, current_app, g, redirect, render_template, request, session, url_for

from asbuilt.web.pages import Page, page, wants_json

blueprint = Blueprint("access", __name__)
ALPHABET = "23456789ABCDEFGHJKLMNPQRSTUVWXYZ"  # nothing that is mistaken for something else
CODE_LENGTH = 6  # 32^6, a thousand million: at 5 tries a minute, centuries
TRIES, WINDOW_S = 5, 60.0
ALL_TRIES, ALL_WINDOW_S = 60, 600.0  # from all addresses together
OPEN_ENDPOINTS = {"access.enter", "access.try_code", "static"}


class Attempts:
    """Wrong codes of late, by address and in all; too many and nobody there is heard for a while."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._by_address: dict[str, deque[float]] = {}
        self._all: deque[float] = deque()

    def too_many(self, address: str) -> bool:
        """Whether an address, or all together, have used up their tries."""
        with self._lock:
            now = time.monotonic()
            mine = self._recent(self._by_address.get(address, deque()), now, WINDOW_S)
            return len(mine) >= TRIES or len(self._recent(self._all, now, ALL_WINDOW_S)) >= ALL_TRIES

    def wrong(self, address: str) -> None:
        """Note a wrong code."""
        with self._lock:
            now = time.monotonic()
            self._by_address.setdefault(address, deque(maxlen=TRIES)).append(now)
            self._all.append(now)
            for known in [a for a, times in self._by_address.items() if not self._recent(times, now, WINDOW_S)]:
                del self._by_address[known]

    @staticmethod
    def _recent(times: deque[float], now: float, window_s: float) -> deque[float]:
        while times and now - times[0] > window_s:
            times.popleft()
        return times


def new_code() -> str:
    """A code for one run of the service."""
    return "".join(secrets.choice(ALPHABET) for _ in range(CODE_LENGTH))


def lan_address() -> str | None:
    """The address other machines reach this one at; None without a network. Nothing is sent."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # a documentation address; connecting a datagram socket sends nothing
            address = probe.getsockname()[0]
        except OSError:
            return None
    return None if ipaddress.ip_address(address).is_loopback else address


def guard(app: Flask, code: str) -> None:
    """Let only this machine and those who gave the code see anything but the door."""
    app.config["ACCESS_CODE"] = code
    app.extensions["attempts"] = Attempts()
    app.before_request(_check)


def entry_url(address: str, port: int, code: str) -> str:
    """What the QR code for a phone holds."""
    return f"http://{address}:{port}/enter?code={code}"


def _check():
    g.inside = bool(_is_here() or session.get("entered"))
    if g.inside or request.endpoint in OPEN_ENDPOINTS:
        return None
    if wants_json() or request.method != "GET":
        abort(401, "give the access code first; the machine that serves this record shows it")
    return redirect(url_for("access.enter"), 303)


def _is_here() -> bool:
    try:
        return ipaddress.ip_address(request.remote_addr or "").is_loopback
    except ValueError:
        return False


@blueprint.get("/enter")
def enter():
    """The door: a field for the code, or the code itself from the QR code."""
    code = request.args.get("code")
    if code is None and current_app.config.get("ACCESS_CODE") is not None:
        return render_template("enter.html")
    return _try(code or "")


@blueprint.post("/enter")
def try_code():
    """The code as typed."""
    return _try(request.form.get("code", ""))


def _try(code: str):
    if current_app.config.get("ACCESS_CODE") is None:  # there is no door
        return redirect(url_for("home.index"), 303)
    attempts: Attempts = current_app.extensions["attempts"]
    address = request.remote_addr or ""
    if attempts.too_many(address):
        abort(429, "too many wrong codes; wait a minute and try again")
    plain = "".join(c for c in code.upper() if c.isalnum())[: 4 * CODE_LENGTH]
    if not hmac.compare_digest(plain.encode(), current_app.config["ACCESS_CODE"].encode()):
        attempts.wrong(address)
        return render_template("enter.html", problem="That is not the code."), 403
    session["entered"] = True
    return redirect(url_for("home.index"), 303)


@page(blueprint, "/share")
def share() -> Page:
    """How to open this on a phone."""
    code, address = current_app.config.get("ACCESS_CODE"), current_app.config.get("LAN_ADDRESS")
    data: dict = {"lan": code is not None and address is not None}
    drawn: dict = {}
    if data["lan"]:
        url = entry_url(address, current_app.config["PORT"], code)
        data |= {"address": f"http://{address}:{current_app.config['PORT']}/", "code": code}
        drawn["qr"] = segno.make(url, error="m").svg_inline(scale=6, border=4, omitsize=True)
    return Page(template="share.html", data=data, drawn=drawn)
