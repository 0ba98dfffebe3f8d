"""A face: its elevation, and what is behind a place on it."""

from __future__ import annotations

from collections import OrderedDict
from dataclasses import asdict

from flask import Blueprint, Response, abort, current_app, jsonify, request, url_for

from asbuilt.answers.routes import expected_routes
from asbuilt.answers.view import view_of
from asbuilt.errors import NotInRecordError
from asbuilt.record import Face
from asbuilt.record.elevation_row import Elevation
from asbuilt.record.elevations import tile_path
from asbuilt.sheets.elevation import elevation_sheet
from asbuilt.sheets.svg import svg
from asbuilt.units import format_length
from asbuilt.web.asking import answer_data, asked_place
from asbuilt.web.pages import Page, get_or_404, page, record, record_state, unit

blueprint = Blueprint("faces", __name__)
LAYERS = {
    "picture": "picture", "studs": "studs", "power": "power", "low voltage": "low voltage",
    "plumbing": "plumbing and gas", "special": "special hazards", "other": "other things",
    "far side": "the other side, mirrored", "coverage": "not recorded", "markers": "marker sheets",
}  # fmt: skip
MOST_KEPT = 24  # elevations kept drawn: some megabytes
RULE_WORDS = {
    "practice": "what electricians do",
    "bs7671": "zones of BS 7671",
    "din18015": "zones of DIN 18015-3",
}


@page(blueprint, "/faces/<face_id>")
def face(face_id: str) -> Page:
    """The elevation and, when a place is asked for, its answer."""
    found = get_or_404(Face, face_id, "face")
    drawn, drawn_layers = _drawn(face_id, unit())
    place = asked_place(found)
    data = {"face": asdict(found), "answer": answer_data(record(), found, place) if place else None}
    pictures = wall_pictures(face_id)
    layers = {name: LAYERS[name] for name in LAYERS if name in drawn_layers}
    return Page(
        template="face.html",
        data=data,
        drawn={
            "elevation": drawn,
            "layers": layers,
            "place": place,
            "faces": neighbours(found),
            "other_side": other_side(found),
            "circuits": circuits_on(face_id),
            "rules": RULE_WORDS,
            "pictures": pictures,
        },
    )


def _drawn(face_id: str, in_unit: str) -> tuple[str, frozenset[str]]:
    """The elevation as SVG and the layers in it; drawn once for each state of the record."""
    kept: OrderedDict = current_app.extensions.setdefault("elevations", OrderedDict())
    key = (face_id, in_unit, record_state())
    found = kept.get(key)
    if found is None:
        drawing = elevation_sheet(record(), face_id, unit=in_unit, with_title_block=False)
        found = kept[key] = (svg(drawing, svg_id="elevation"), frozenset(drawing.layers()))
        while len(kept) > MOST_KEPT:
            kept.popitem(last=False)
    return found


@page(blueprint, "/faces/<face_id>/answer")
def answer(face_id: str) -> Page:
    """Only the answer, to be put into a page that is already open."""
    found = get_or_404(Face, face_id, "face")
    data = {"face": asdict(found), "answer": answer_data(record(), found, asked_place(found, required=True))}
    return Page(template="_answer.html", data=data)


def circuits_on(face_id: str) -> list[dict]:
    """The circuits of a face's things, each with the ids of its things, to be shown and hidden one by one."""
    found: dict[str, dict] = {}
    for thing in view_of(record()).things_on(face_id):
        name = f"{thing.circuit.number} {thing.circuit.name}" if thing.circuit else ""
        if name:
            found.setdefault(name, {"name": name, "item_ids": []})["item_ids"].append(thing.item.id)
    return [found[name] for name in sorted(found)]


def other_side(found: Face) -> Face | None:
    """The face behind the same studs, where the wall is a partition."""
    return view_of(record()).far_faces.get(found.id)


@blueprint.get("/faces/<face_id>/routes")
def routes(face_id: str) -> Response:
    """Where cable is to be expected by one rule; outside it nothing is proven."""
    get_or_404(Face, face_id, "face")
    strips = expected_routes(view_of(record()), face_id, request.args.get("rule", "practice"))
    return jsonify({"routes": [strip.to_json() for strip in strips]})


@blueprint.get("/faces/<face_id>/elevation.svg")
def elevation(face_id: str) -> Response:
    """The sheet by itself, with title block, at 1:20."""
    get_or_404(Face, face_id, "face")
    text = svg(elevation_sheet(record(), face_id, unit=unit()), scale=20)
    return Response(text, mimetype="image/svg+xml")


def wall_pictures(face_id: str) -> list[dict]:
    """The true-scale pictures of a face, the stud face first, as the page needs them."""
    return [
        {
            "id": e.id,
            "words": "the stud face" if e.depth_m == 0 else f"{format_length(e.depth_m, unit())} into the wall",
            "depth_m": e.depth_m,
            "width_px": e.width_px,
            "height_px": e.height_px,
            "tile_px": e.tile_px,
            "levels": e.levels,
            "scale_px_per_m": e.scale_px_per_m,
            "version": e.input_hash[:12],
            "tiles": url_for("faces.face", face_id=face_id) + f"/tiles/{e.id}",
        }
        for e in sorted(record().all(Elevation, face_id=face_id), key=lambda e: e.depth_m)
    ]


@blueprint.get("/faces/<face_id>/tiles/<elevation_id>/<int:level>/<int:row>_<int:col>.jpg")
def tile(face_id: str, elevation_id: str, level: int, row: int, col: int) -> Response:
    """One tile of a face's picture."""
    found = get_or_404(Elevation, elevation_id, "picture")
    if found.face_id != face_id:
        abort(404, "that picture is of another wall")
    try:
        jpeg = tile_path(record(), found, level, row, col).read_bytes()
    except NotInRecordError:
        abort(404, "that picture has no such tile; make it again")
    response = Response(jpeg, mimetype="image/jpeg")
    response.headers["Cache-Control"] = "private, max-age=604800, immutable"  # its address names its version
    return response


def neighbours(found: Face) -> dict:
    """The faces to the left and right in the same room, as a person turning there meets them."""
    faces = sorted(record().all(Face, room_id=found.room_id), key=lambda f: f.order_idx)
    walls = [f for f in faces if f.kind == "wall"]
    if found.kind != "wall" or len(walls) < 2:
        return {"all": faces, "left": None, "right": None}
    idx = walls.index(found)
    return {"all": faces, "left": walls[idx - 1], "right": walls[(idx + 1) % len(walls)]}
