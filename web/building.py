"""Describing the building in the browser: rooms, walls, openings, marker sheets, panel, circuits."""

from __future__ import annotations

import re

from flask import Blueprint, abort, redirect, request, url_for

from asbuilt.record import Face, Panel, Record, Room
from asbuilt.record.plan import spoken_rows
from asbuilt.record.plan_keys import TABLE
from asbuilt.record.plan_rows import add_row, change_row, remove_row
from asbuilt.record.plan_table import Table, free_id
from asbuilt.web.pages import Page, page, record

blueprint = Blueprint("building", __name__)
# What people call the tables, in the order they are filled; the keys that are asked first.
SECTIONS: dict[str, tuple[str, tuple[str, ...]]] = {
    "room": ("Rooms", ("id", "name")),
    "face": ("Walls", ("id", "room", "title", "length", "height", "spacing", "stud", "layout_from")),
    "opening": ("Openings", ("face", "kind", "left", "right", "bottom", "top")),
    "marker": ("Marker sheets", ("id", "face", "offset", "height")),
    "covering": ("Board and tile", ("face", "material", "thickness", "date")),
    "stud": ("Studs", ("face", "center")),
    "panel": ("Panels", ("id", "name", "face", "amps", "volts", "spaces")),
    "circuit": ("Circuits", ("number", "name", "panel", "amps", "volts", "cable", "feeds", "state")),
}
CHOICES = {
    "layout_from": ("left", "right"),
    "kind of face": ("wall", "ceiling", "floor"),
    "kind of opening": ("window", "door", "opening"),
    "state": ("planned", "roughed in", "terminated", "spare"),
    "stud": ("2x4", "2x6", "2x8"),
}
MOST_WALLS = 24
LONGEST = 200


@page(blueprint, "/building")
def building() -> Page:
    """Where to start, and how much of everything is described."""
    counts = [
        {"table": name, "title": title, "count": len(record().all(TABLE[name].cls))}
        for name, (title, _) in SECTIONS.items()
    ]
    return Page(template="building.html", data={"sections": counts})


@page(blueprint, "/building/<table>")
def rows(table: str) -> Page:
    """The rows of one table, and a form for another."""
    described = _table(table)
    data = {
        "table": table,
        "title": SECTIONS[table][0],
        "rows": spoken_rows(record(), described),
        "keys": _keys(described),
        "sections": [{"table": name, "title": title} for name, (title, _) in SECTIONS.items()],
    }
    return Page(template="building_rows.html", data=data)


def _table(name: str) -> Table:
    if name not in SECTIONS:
        abort(404, f"there is no table {name!r}; there are: {', '.join(SECTIONS)}")
    return TABLE[name]


def _keys(table: Table) -> list[dict]:
    """What a form asks: the usual keys first, then the rest."""
    first = SECTIONS[table.name][1]
    order = {name: n for n, name in enumerate(first)}
    keys = sorted(table.keys, key=lambda k: order.get(k.name, len(order)))
    return [
        {
            "name": k.name,
            "words": k.name.replace("_", " "),
            "help": k.help,
            "required": k.required,
            "usual": k.name in order,
            "choices": _choices(table, k.name, k.kind.name),
        }
        for k in keys
    ]


def _choices(table: Table, key: str, kind: str) -> list[list[str]] | None:
    """The values a key can have, as pairs of value and words; None where it is typed."""
    sources = {"room": Room, "face": Face, "far_face": Face, "panel": Panel}
    if key in sources:
        return [[row.id, getattr(row, "title", "") or row.name] for row in record().all(sources[key])]
    if kind == "yes or no":
        return [["yes", "yes"], ["no", "no"]]
    given = CHOICES.get(f"kind of {table.name}" if key == "kind" else key)
    return [[value, value] for value in given] if given else None


@blueprint.post("/building/<table>")
def add(table: str):
    """Add a row."""
    described = _table(table)
    raw = _said(described)
    if table in ("room", "face", "panel") and "id" not in raw:
        raw["id"] = _short_name(raw.get("title") or raw.get("name") or table, record().all(described.cls))
    add_row(record(), described, raw)
    return _back(table)


@blueprint.post("/building/<table>/<row_id>")
def change(table: str, row_id: str):
    """Change what the form says of a row; empty fields, and those as they were shown, leave it as it is.

    What is shown is rounded: reading it back unchanged would move what was measured finer.
    """
    described = _table(table)
    shown = next((row for row in spoken_rows(record(), described) if row["id"] == row_id), {})
    changed = {name: value for name, value in _said(described).items() if value != shown.get(name)}
    if changed:
        change_row(record(), described, _id(described, row_id), changed)
    return _back(table)


@blueprint.post("/building/<table>/<row_id>/remove")
def remove(table: str, row_id: str):
    """Take a row out."""
    described = _table(table)
    remove_row(record(), described, _id(described, row_id))
    return _back(table)


def _back(table: str):
    """Back to the list, or to the page of this viewer that the form was on."""
    face_id = request.form.get("back_to_face", "")
    if face_id and record().find(Face, face_id) is not None:
        return redirect(url_for("faces.face", face_id=face_id), 303)
    return redirect(url_for("building.rows", table=table), 303)


def _said(table: Table) -> dict[str, str]:
    given = {k.name: " ".join(request.form.get(k.name, "").split())[:LONGEST] for k in table.keys}
    return {name: value for name, value in given.items() if value}


def _id(table: Table, text: str):
    kinds = [k.kind for k in table.keys if k.name == "id"]
    return kinds[0].read(text, "in") if kinds else text


def _short_name(words: str, earlier) -> str:
    """An id from what people call a thing: ``North wall`` gives ``north-wall``."""
    stem = re.sub(r"[^a-z0-9]+", "-", words.lower()).strip("-")[:40] or "part"
    return free_id(stem, earlier)


@blueprint.post("/building/start")
def start():
    """A room with all its walls at once: a name, and a length for each wall, clockwise."""
    name = " ".join(request.form.get("room_name", "").split())[:LONGEST]
    walls = [
        (" ".join(title.split())[:LONGEST], length.strip())
        for title, length in zip(request.form.getlist("title"), request.form.getlist("length"), strict=False)
        if length.strip()
    ]
    if not name or not walls:
        abort(400, "give the room a name and at least one wall its length")
    if len(walls) > MOST_WALLS:
        abort(400, f"a room can be given at most {MOST_WALLS} walls at once")
    with record().transaction():
        _write_room(record(), name, walls)
    return redirect(url_for("building.rows", table="face"), 303)


def _write_room(rec: Record, name: str, walls: list[tuple[str, str]]) -> None:
    room_id = _short_name(name, rec.all(Room))
    add_row(rec, TABLE["room"], {"id": room_id, "name": name})
    common = {key: request.form.get(key, "").strip() for key in ("height", "spacing", "stud")}
    common = {key: value for key, value in common.items() if value}
    for number, (title, length) in enumerate(walls, start=1):
        title = title or f"{name} wall {number}"
        raw = {"id": _short_name(title, rec.all(Face)), "room": room_id, "title": title, "length": length}
        add_row(rec, TABLE["face"], raw | common)
