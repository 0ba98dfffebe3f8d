"""One way to answer: a page and its JSON twin from the same plain data, and one error shape."""

from __future__ import annotations

import functools
import sqlite3
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TypeVar

from flask import Blueprint, Flask, Response, abort, current_app, g, jsonify, render_template, request
from werkzeug.exceptions import HTTPException, NotFound

from asbuilt.errors import AsbuiltError, NotInRecordError
from asbuilt.record import Record
from asbuilt.units import format_error, format_length

T = TypeVar("T")


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """What a view found out: ``data`` holds plain values only, ``template`` shows them.

    ``drawn`` is for the template alone: ready-made drawings, choices for forms.
    """

    template: str
    data: dict
    drawn: dict = field(default_factory=dict)
    status: int = 200


def record() -> Record:
    """The record, opened once for this request."""
    if "record" not in g:
        g.record = Record.open(current_app.config["RECORD_FOLDER"], author=current_app.config["AUTHOR"])
    return g.record


def record_state() -> tuple[int, ...]:
    """Numbers that differ once anybody has changed the record: when its files were written, and how long they are."""
    found: list[int] = []
    for name in ("record.db", "record.db-wal"):
        try:
            stat = (current_app.config["RECORD_FOLDER"] / name).stat()
            found += [stat.st_mtime_ns, stat.st_size]
        except FileNotFoundError:
            found += [0, 0]
    return tuple(found)


def get_or_404(cls: type[T], row_id: str, name: str) -> T:
    """A row, or a not-found page that does not tell where the record lies."""
    found = record().find(cls, row_id)
    if found is None:
        abort(404, f"there is no {name} {row_id!r} in this record")
    return found


def unit() -> str:
    """The unit lengths are shown in: the building's own, or what this request asks for."""
    asked = request.args.get("unit") or request.cookies.get("unit", "")
    return asked if asked in ("in", "mm") else record().building.unit


def page(blueprint: Blueprint, rule: str, **options) -> Callable:
    """Route a view that returns a Page at ``rule``, and its twin at the same address ending in .json.

    ``?json`` on the page's own address gives the twin as well.
    """
    twin_rule = "/index.json" if rule == "/" else f"{rule}.json"

    def register(view: Callable[..., Page]) -> Callable[..., Response]:
        @functools.wraps(view)
        def answer(*args, **kwargs):
            found = view(*args, **kwargs)
            if not isinstance(found, Page):
                return found
            if wants_json():
                return jsonify(found.data), found.status
            return render_template(found.template, **found.data, **found.drawn), found.status

        blueprint.add_url_rule(twin_rule, f"{view.__name__}_json", answer, **options)
        blueprint.add_url_rule(rule, view.__name__, answer, **options)
        return answer

    return register


def wants_json() -> bool:
    """Whether the request asks for the JSON twin."""
    if request.path.endswith(".json") or "json" in request.args:
        return True
    return request.accept_mimetypes.best == "application/json"


def register_errors(app: Flask) -> None:
    """Every failure becomes the same shape: a page, or {"error": {"status", "message"}}."""
    app.register_error_handler(HTTPException, _http_error)
    app.register_error_handler(AsbuiltError, _own_error)
    app.register_error_handler(sqlite3.Error, _database_error)
    app.register_error_handler(Exception, _unexpected)


def _error(status: int, message: str) -> tuple:
    data = {"error": {"status": status, "message": message}}
    if wants_json():
        return jsonify(data), status
    part = "X-Part" in request.headers  # a script puts it into the page that is open
    return render_template("_error.html" if part else "error.html", **data), status


def _http_error(error: HTTPException) -> tuple:
    if isinstance(error, NotFound) and error.description == NotFound.description:
        return _error(404, "there is no such page in this viewer")
    return _error(error.code or 500, error.description or error.name)


def _own_error(error: AsbuiltError) -> tuple:
    return _error(404 if isinstance(error, NotInRecordError) else 400, str(error))


def _database_error(error: sqlite3.Error) -> tuple:
    current_app.logger.error("database: %s", error)
    return _error(503, "the record is busy or cannot be written; nothing was changed, try again")


def _unexpected(error: Exception) -> tuple:
    current_app.logger.exception("unexpected", exc_info=error)
    return _error(500, "something went wrong in the viewer; its terminal shows what")


def register_words(app: Flask) -> None:
    """Filters that write lengths in the unit of the request."""
    app.jinja_env.filters["length_"] = lambda value_m, sigma_m=None: format_length(value_m, unit(), sigma_m)
    app.jinja_env.filters["error95"] = lambda sigma_m: format_error(sigma_m, unit())
    app.jinja_env.globals["unit"] = unit
    app.context_processor(_everywhere)


def _everywhere() -> dict:
    """What the frame of every page needs: the name, if the visitor is let in and there is a record."""
    if not g.get("inside"):
        return {"building_name": "asbuilt"}
    try:
        return {"building_name": record().building.name}
    except (AsbuiltError, sqlite3.Error):
        return {"building_name": "asbuilt"}
