"""Making the Flask application: settings, blueprints, one record per request."""

from __future__ import annotations

import secrets
from pathlib import Path

from flask import Flask, g

from asbuilt.record import Record
from asbuilt.web import (
    access,
    adding,
    before,
    building,
    circuits,
    counting,
    faces,
    home,
    look,
    pattern,
    pictures,
    placing,
    references,
    review,
    scan,
    security,
    tags,
    today,
    wall,
    wiring,
)
from asbuilt.web.pages import register_errors, register_words
from asbuilt.web.worker import Worker

FORM_LIMIT_BYTES = 256 * 1024  # the largest form is a run of a few hundred points


def create_app(
    folder: str | Path,
    author: str = "",
    secret: bytes | None = None,
    access_code: str | None = None,
    lan_address: str | None = None,
) -> Flask:
    """The viewer of the record in ``folder``.

    Parameters
    ----------
    folder : path
        A record folder; opened once here so that a wrong one fails at the start.
    author : str
        Whom changes are noted under.
    secret : bytes, optional
        Key that signs the session cookie; a new one for each process if left out.
    access_code : str, optional
        What those who come from the network must give; without it nobody but this machine is let in.
    lan_address : str, optional
        The address of this machine on the network, if it is to be reached there.

    Raises
    ------
    RecordError
        If there is no record.
    """
    folder = Path(folder).resolve()
    Record.open(folder).close()
    app = Flask("asbuilt.web", root_path=str(Path(__file__).parent))
    app.config.update(
        RECORD_FOLDER=folder,
        AUTHOR=author,
        SECRET_KEY=secret or secrets.token_bytes(32),
        SESSION_COOKIE_NAME="asbuilt",
        SESSION_COOKIE_HTTPONLY=True,
        SESSION_COOKIE_SAMESITE="Lax",
        MAX_CONTENT_LENGTH=FORM_LIMIT_BYTES,
        MAX_FORM_MEMORY_SIZE=FORM_LIMIT_BYTES,
        SEND_FILE_MAX_AGE_DEFAULT=0,
    )
    app.jinja_env.trim_blocks = app.jinja_env.lstrip_blocks = True
    app.extensions["worker"] = Worker(folder, author)
    app.teardown_appcontext(_close_record)
    security.protect(app)
    if access_code is not None:
        access.guard(app, access_code)
    if lan_address is not None:
        app.config["LAN_ADDRESS"] = lan_address
        app.config["ALLOWED_HOSTS"].add(lan_address)
    register_errors(app)
    register_words(app)
    for module in (
        access,
        home,
        building,
        adding,
        faces,
        placing,
        scan,
        pattern,
        wall,
        pictures,
        look,
        tags,
        references,
        counting,
        review,
        today,
        circuits,
        before,
        wiring,
    ):
        app.register_blueprint(module.blueprint)
    return app


def _close_record(_error: BaseException | None) -> None:
    record = g.pop("record", None)
    if record is not None:
        record.close()
