"""asbuilt serve: the viewer in a browser."""

from __future__ import annotations

import logging
import signal

import click

from asbuilt.cli.shared import author, record_argument
from asbuilt.errors import AsbuiltError

PORT = 8340  # any free one serves
THREADS = 16  # several pictures are asked for at once, and pages that watch the work hold one each


class ServeError(AsbuiltError, RuntimeError):
    """The viewer cannot listen where it was told to."""


@click.command()
@record_argument
@click.option("--port", type=click.IntRange(0, 65535), default=PORT, show_default=True, help="0 takes any free one.")
def command(record: str, port: int) -> None:
    """Show the record in a browser on this machine, until Ctrl-C.

    It listens on 127.0.0.1 only: nobody else on the network can reach it.

    \b
    Examples:
      asbuilt serve house
      asbuilt serve house --port 9000
    """
    from waitress import create_server

    from asbuilt.web import create_app

    app = create_app(record, author=author())
    try:
        server = create_server(app, host="127.0.0.1", port=port, threads=THREADS, ident="asbuilt")
    except OSError as error:
        raise ServeError(f"cannot listen on port {port} ({error.strerror}); try another: --port 0") from error
    logging.getLogger("waitress.queue").setLevel(logging.ERROR)  # a page asks for many pictures at once
    click.echo(f"The viewer is at http://127.0.0.1:{server.effective_port}/  (Ctrl-C stops it)")
    signal.signal(signal.SIGTERM, _stop)
    try:
        server.run()
    finally:
        server.close()
        app.extensions["worker"].stop()
    click.echo("stopped")


def _stop(_number: int, _frame: object) -> None:
    raise SystemExit(0)
