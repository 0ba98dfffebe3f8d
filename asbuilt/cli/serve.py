"""asbuilt serve: the viewer in a browser."""

from __future__ import annotations

import gc
import logging
import os
import signal
import sys
import threading
import webbrowser

import click

from asbuilt.cli.shared import author, record_argument
from asbuilt.errors import AsbuiltError

PORT = 8340  # any free one serves
THREADS = 16  # several pictures are asked for at once, and pages that watch the work hold one each
# Somebody who opens connections and leaves them hanging must not lock the others out.
MOST_CONNECTIONS = 1000
IDLE_S = 30
LOCAL = "127.0.0.1"


class ServeError(AsbuiltError, RuntimeError):
    """The viewer cannot listen where it was told to."""


@click.command()
@record_argument
@click.option("--port", type=click.IntRange(0, 65535), default=PORT, show_default=True, help="0 takes any free one.")
@click.option("--lan", is_flag=True, help="Let phones on the same network in, with an access code.")
@click.option("--open/--no-open", "open_browser", default=None, help="Open a browser.  [default: if there is a screen]")
def command(record: str, port: int, lan: bool, open_browser: bool | None) -> None:
    """Show the record in a browser, until Ctrl-C.

    It listens on 127.0.0.1 only, where nobody else can reach it. With --lan other machines on
    the network can, once they give the access code; what they see is not encrypted on its way.

    \b
    Examples:
      asbuilt serve house
      asbuilt serve house --lan
      asbuilt serve house --port 9000 --no-open
    """
    from waitress import create_server

    from asbuilt.web import create_app
    from asbuilt.web.access import lan_address, new_code

    code = new_code() if lan else None
    address = lan_address() if lan else None
    if lan and address is None:
        raise ServeError("this machine is on no network; connect it, or serve without --lan")
    app = create_app(record, author=author(), access_code=code, lan_address=address)
    try:
        server = create_server(
            app, host="0.0.0.0" if lan else LOCAL, port=port, threads=THREADS, ident="asbuilt",
            connection_limit=MOST_CONNECTIONS, channel_timeout=IDLE_S, asyncore_use_poll=True,
        )  # fmt: skip
    except OSError as error:
        raise ServeError(f"cannot listen on port {port} ({error.strerror}); try another: --port 0") from error
    app.config["PORT"] = server.effective_port
    logging.getLogger("waitress.queue").setLevel(logging.ERROR)  # a page asks for many pictures at once
    local_url = f"http://{LOCAL}:{server.effective_port}/"
    click.echo(f"The viewer is at {local_url}  (Ctrl-C stops it)")
    if lan:
        _tell_phones(address, server.effective_port, code)
    if _has_screen() if open_browser is None else open_browser:
        threading.Thread(target=webbrowser.open, args=(local_url,), daemon=True).start()
    signal.signal(signal.SIGTERM, _stop)
    settle_memory()
    try:
        server.run()
    finally:
        server.close()
        app.extensions["worker"].stop()
    click.echo("stopped")


def settle_memory() -> None:
    """Look for rubbish seldom, and not in what is loaded for good: that costs single answers milliseconds."""
    gc.freeze()
    gc.set_threshold(10_000)


def _tell_phones(address: str, port: int, code: str) -> None:
    import segno

    from asbuilt.web.access import entry_url

    click.echo(f"On a phone: http://{address}:{port}/  code {code}, or scan:")
    segno.make(entry_url(address, port, code), error="l").terminal(out=sys.stdout, compact=True)


def _has_screen() -> bool:
    """Whether a browser can be shown: a terminal on a desktop, not a machine reached from afar."""
    if not sys.stdout.isatty() or "SSH_CONNECTION" in os.environ:
        return False
    return sys.platform in ("win32", "darwin") or bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))


def _stop(_number: int, _frame: object) -> None:
    raise SystemExit(0)
