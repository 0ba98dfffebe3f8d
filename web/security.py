"""What every request must pass and every answer carries."""

from __future__ import annotations

import hmac
import secrets

from flask import Flask, Response, abort, current_app, g, request, session

LOCAL_HOSTS = ("127.0.0.1", "localhost", "[::1]")
CHANGING = ("POST", "PUT", "PATCH", "DELETE")
POLICY = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self'",
        "connect-src 'self'",
        "manifest-src 'self'",
        "worker-src 'self'",
        "base-uri 'none'",
        "form-action 'self'",
        "frame-ancestors 'none'",
    )
)
HEADERS = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "geolocation=(), microphone=(), camera=()",
}


def protect(app: Flask) -> None:
    """Check host and origin of every request; add the headers to every answer."""
    app.config["ALLOWED_HOSTS"] = set(LOCAL_HOSTS)
    app.before_request(_check_host)
    app.before_request(_check_change)
    app.after_request(_add_headers)
    app.jinja_env.globals["csrf_token"] = csrf_token


def csrf_token() -> str:
    """The secret that a form of this browser must send back."""
    if "csrf" not in session:
        session["csrf"] = secrets.token_urlsafe(24)
    return session["csrf"]


def _check_host() -> None:
    """Only names this service was told it has: another site's name that resolves here is refused."""
    name = request.host.rsplit(":", 1)[0] if not request.host.endswith("]") else request.host
    if name not in current_app.config["ALLOWED_HOSTS"]:
        abort(421, "this address is not served here; open the one that asbuilt serve printed")
    g.inside = "ACCESS_CODE" not in current_app.config  # where there is a door, it decides


def _check_change() -> None:
    if request.method not in CHANGING:
        return
    if request.headers.get("Sec-Fetch-Site", "same-origin") not in ("same-origin", "none"):
        abort(403, "a change must come from this viewer's own pages")
    sent = request.headers.get("X-Csrf-Token") or request.form.get("csrf_token", "")
    if not hmac.compare_digest(sent.encode(), session.get("csrf", "").encode()) or not sent:
        abort(403, "the page is out of date; load it again and repeat the change")


def _add_headers(response: Response) -> Response:
    for name, value in HEADERS.items():
        response.headers.setdefault(name, value)
    response.headers.setdefault("Cache-Control", "no-store")
    return response
