"""Adding pictures from a phone or desk: files in pieces, then the work on them, shown live."""

from __future__ import annotations

import json
import threading
from collections.abc import Iterator
from dataclasses import asdict

from flask import Blueprint, Response, abort, current_app, jsonify, redirect, request, url_for

from asbuilt.record import incoming
from asbuilt.web.pages import Page, page, record
from asbuilt.web.worker import AFTER_INTAKE, Worker, state_data

blueprint = Blueprint("adding", __name__)
PIECE_BYTES = 4 * 1024 * 1024
STREAM_S = 20.0  # a stream ends after this and the page asks again, so that no thread is held for long
MOST_STREAMS = 6
AGAIN = {"place": AFTER_INTAKE[1:], "pictures": ("elevation",)}
_streams = threading.BoundedSemaphore(MOST_STREAMS)


def worker() -> Worker:
    """The worker of this viewer."""
    return current_app.extensions["worker"]


@page(blueprint, "/add")
def add() -> Page:
    """Choose files, see them arrive and be worked on."""
    return Page(template="add.html", data={"work": state_data(worker().state), "piece_bytes": PIECE_BYTES})


@blueprint.post("/uploads")
def begin():
    """Announce a file; the answer says how much of it is here already."""
    name, size = request.form.get("name", ""), request.form.get("byte_count", 0, type=int)
    found = incoming.begin(record(), name, size, request.form.get("key", ""), request.form.get("stage", ""))
    if found.is_whole:
        worker().ask(*AFTER_INTAKE)
    return jsonify(_plain(found)), 201


@blueprint.put("/uploads/<upload_id>")
def piece(upload_id: str):
    """One piece of a file, at the offset named in the query."""
    request.max_content_length = PIECE_BYTES
    found = incoming.find(record(), upload_id)
    if found is None:
        abort(404, "that file was not announced; choose it again")
    offset = request.args.get("offset", -1, type=int)
    if offset != found.received_count:
        return jsonify(_plain(found)), 409
    found = incoming.append(record(), found, offset, request.get_data(cache=False))
    if found.is_whole:
        worker().ask(*AFTER_INTAKE)
    return jsonify(_plain(found))


def _plain(found: incoming.Incoming) -> dict:
    return asdict(found)


@blueprint.post("/work")
def work():
    """Do a step again."""
    task = request.form.get("task", "")
    if task not in AGAIN:
        abort(400, f"there is no step {task!r}; use one of: {', '.join(AGAIN)}")
    worker().ask(*AGAIN[task])
    return redirect(url_for("adding.add"), 303)


@blueprint.get("/work/events")
def events() -> Response:
    """What the worker is doing, as it changes."""
    if not _streams.acquire(blocking=False):
        abort(503, "too many pages are watching the work; close one")
    current = worker()
    response = Response(_stream(current), mimetype="text/event-stream")
    response.call_on_close(_streams.release)
    return response


def _stream(current: Worker) -> Iterator[str]:
    yield "retry: 1000\n\n"
    version, waited_s = -1, 0.0
    while waited_s < STREAM_S:
        state = current.wait_for_change(version, 1.0)
        if state.version != version:
            version = state.version
            yield f"data: {json.dumps(state_data(state))}\n\n"
        else:
            yield ": waiting\n\n"  # lets a closed page be noticed
        waited_s += 1.0
