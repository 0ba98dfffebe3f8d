"""A face: its elevation, and what is behind a place on it."""

from __future__ import annotations

from dataclasses import asdict

from flask import Blueprint, Response

from asbuilt.record import Face
from asbuilt.sheets.elevation import elevation_sheet
from asbuilt.sheets.svg import svg
from asbuilt.web.asking import answer_data, asked_place
from asbuilt.web.pages import Page, get_or_404, page, record, unit

blueprint = Blueprint("faces", __name__)
LAYERS = {
    "picture": "picture", "studs": "studs", "power": "power", "low voltage": "low voltage",
    "plumbing": "plumbing and gas", "special": "special hazards", "coverage": "not recorded",
    "markers": "marker sheets",
}  # fmt: skip


@page(blueprint, "/faces/<face_id>")
def face(face_id: str) -> Page:
    """The elevation and, when a place is asked for, its answer."""
    found = get_or_404(Face, face_id, "face")
    drawing = elevation_sheet(record(), face_id, unit=unit(), with_title_block=False)
    place = asked_place(found)
    data = {"face": asdict(found), "answer": answer_data(record(), found, place) if place else None}
    layers = {name: LAYERS[name] for name in LAYERS if name in drawing.layers()}
    return Page(
        template="face.html",
        data=data,
        drawn={
            "elevation": svg(drawing, svg_id="elevation"),
            "layers": layers,
            "place": place,
            "faces": neighbours(found),
        },
    )


@page(blueprint, "/faces/<face_id>/answer")
def answer(face_id: str) -> Page:
    """Only the answer, to be put into a page that is already open."""
    found = get_or_404(Face, face_id, "face")
    data = {"face": asdict(found), "answer": answer_data(record(), found, asked_place(found, required=True))}
    return Page(template="_answer.html", data=data)


@blueprint.get("/faces/<face_id>/elevation.svg")
def elevation(face_id: str) -> Response:
    """The sheet by itself, with title block, at 1:20."""
    get_or_404(Face, face_id, "face")
    text = svg(elevation_sheet(record(), face_id, unit=unit()), scale=20)
    return Response(text, mimetype="image/svg+xml")


def neighbours(found: Face) -> dict:
    """The faces to the left and right in the same room, as a person turning there meets them."""
    faces = sorted(record().all(Face, room_id=found.room_id), key=lambda f: f.order_idx)
    walls = [f for f in faces if f.kind == "wall"]
    if found.kind != "wall" or len(walls) < 2:
        return {"all": faces, "left": None, "right": None}
    idx = walls.index(found)
    return {"all": faces, "left": walls[idx - 1], "right": walls[(idx + 1) % len(walls)]}
