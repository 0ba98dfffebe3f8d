"""The first page: the walls, how far each is, and what to do next."""

from __future__ import annotations

from collections import Counter
from dataclasses import asdict
from urllib.parse import urlsplit

from flask import Blueprint, abort, current_app, redirect, request, url_for

from asbuilt.answers.coverage import before_cover_up
from asbuilt.record import PLACED, Circuit, Face, Item, Picture, Placement, Position, Record, Room, Sighting
from asbuilt.sheets.plan import plan_sheet
from asbuilt.sheets.recorded import not_recorded_share
from asbuilt.sheets.svg import svg
from asbuilt.web.pages import Page, page, record

blueprint = Blueprint("home", __name__)


@page(blueprint, "/")
def index() -> Page:
    """Walls by room with their state."""
    rooms = rooms_with_faces(record())
    return Page(
        template="home.html",
        data={
            "building": asdict(record().building),
            "rooms": rooms,
            "next": next_step(record(), rooms),
            "counts": counts(record()),
        },
    )


@page(blueprint, "/gaps")
def gaps() -> Page:
    """What to photograph again before the walls are closed, wall by wall, and what else is open."""
    return Page(template="gaps.html", data=before_cover_up(record()).to_json())


@page(blueprint, "/plan")
def plan() -> Page:
    """The rooms from above, as a way to the walls."""
    drawing = plan_sheet(record())
    data = {"rooms": rooms_with_faces(record()), "description": drawing.description}
    return Page(template="plan.html", data=data, drawn={"plan": svg(drawing, svg_id="plan")})


@blueprint.get("/sw.js")
def keeper():
    """The script that keeps the last wall; from the root, so that it may answer for every page."""
    return current_app.send_static_file("sw.js")


@blueprint.get("/units/<wanted>")
def units(wanted: str):
    """Show lengths in this browser in inches or millimetres; the record keeps its own unit."""
    if wanted not in ("in", "mm"):
        abort(404, "lengths can be shown in in or mm")
    response = redirect(_own_path(request.args.get("back", "")) or url_for("home.index"), 303)
    response.set_cookie("unit", wanted, max_age=365 * 86400, samesite="Lax", httponly=True)
    return response


def _own_path(back: str) -> str:
    """A path of this viewer, or nothing: never the address of another site."""
    parts = urlsplit(back)
    is_own = back.startswith("/") and not back.startswith(("//", "/\\")) and not parts.scheme and not parts.netloc
    return back if is_own and back.isprintable() else ""


def counts(rec: Record) -> dict:
    """How much of everything there is."""
    status = Counter(p.status for p in rec.all(Placement))
    pictures = rec.all(Picture)
    return {
        "pictures": len(pictures),
        "placed": status[PLACED],
        "not_filed": sum(p.face_id is None for p in pictures),
        "items": len(rec.all(Item)),
        "sightings": len(rec.all(Sighting)),
        "circuits": len(rec.all(Circuit)),
    }


def rooms_with_faces(rec: Record) -> list[dict]:
    """Rooms in order, each with its faces in walking order and what is known of them."""
    placed_ids = {p.id for p in rec.all(Placement, status=PLACED)}
    pictures, placed = Counter(), Counter()
    for picture in rec.all(Picture):
        pictures[picture.face_id] += 1
        placed[picture.face_id] += picture.id in placed_ids
    items = Counter(face_id for face_id, _ in {(p.face_id, p.item_id) for p in rec.all(Position, status="measured")})
    faces = sorted(rec.all(Face), key=lambda f: f.order_idx)
    rooms = sorted(rec.all(Room), key=lambda r: r.order_idx)
    return [
        {
            "id": room.id,
            "name": room.name,
            "faces": [
                {
                    "id": f.id,
                    "title": f.title,
                    "kind": f.kind,
                    "length_m": f.length_m,
                    "height_m": f.height_m,
                    "cover_up_date": f.cover_up_date,
                    "pictures": pictures[f.id],
                    "placed": placed[f.id],
                    "items": items[f.id],
                    "not_recorded_share": not_recorded_share(rec, f),
                }
                for f in faces
                if f.room_id == room.id
            ],
        }
        for room in rooms
    ]


def next_step(rec: Record, rooms: list[dict]) -> dict:
    """The one thing to do next: what it is, why, and where."""
    have = counts(rec)
    faces = [f for room in rooms for f in room["faces"]]
    gaps = [f for f in faces if f["not_recorded_share"] is None or f["not_recorded_share"] > 0.005]
    open_gaps = [f for f in gaps if not f["cover_up_date"]]
    if not faces:
        return _next("Describe the rooms", "No walls are in this record yet. Type the length of each.", "/building")
    if not have["pictures"]:
        return _next("Add photos and video", "No pictures yet. Film each open wall, then send the files.", "/add")
    if not have["placed"]:
        return _next("Place the pictures", f"{have['pictures']} pictures wait to be placed.", "/add")
    if open_gaps:
        names = ", ".join(f["title"] for f in open_gaps)
        return _next("Fill the gaps before cover-up", f"Not everything is recorded on: {names}.", "/gaps")
    if not have["sightings"] and not have["items"]:
        return _next(
            "Name what the pictures show", "Nothing is tagged yet. Open a picture and tap what you see.", "/pictures"
        )
    return _next("Ask what is behind a wall", "Choose a wall, then type a distance from its left end.", "/wall")


def _next(title: str, text: str, href: str = "") -> dict:
    return {"title": title, "text": text, "href": href}
