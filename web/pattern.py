"""A pattern of holes laid on a wall: judged hole by hole as it is moved."""

from __future__ import annotations

from flask import Blueprint, abort, request

from asbuilt.answers.pattern import drill_pattern
from asbuilt.record import Face
from asbuilt.units import format_length, parse_length
from asbuilt.web.asking import asked_place
from asbuilt.web.pages import Page, get_or_404, page, record, unit

blueprint = Blueprint("pattern", __name__)
MOST = 40
SHIFT_M = 0.1524  # how far a better place is looked for to either side: half a foot


@page(blueprint, "/faces/<face_id>/pattern")
def pattern(face_id: str) -> Page:
    """Holes in a row from a first one: outcome of each, and the best shift sideways."""
    face = get_or_404(Face, face_id, "face")
    place = asked_place(face, required=True)
    if place.height_m is None or place.bit_m is None or place.depth_m is None:
        abort(400, "for holes give height, bit and depth too")
    holes = _row(face, place.offset_m, place.height_m)
    on_studs = "on_studs" in request.args
    answer = drill_pattern(record(), face.id, holes, place.bit_m, place.depth_m, SHIFT_M, on_studs=on_studs)
    shown = [
        hole.to_json()
        | {"at_text": format_length(hole.offset_m, unit()), "up_text": format_length(hole.height_m, unit())}
        for hole in answer.holes
    ]
    data = answer.to_json() | {"holes": shown, "at_text": place.at_text, "height_text": place.height_text}
    return Page(template="_pattern.html", data={"pattern": data})


def _row(face: Face, offset_m: float, height_m: float) -> list[tuple[float, float]]:
    """The holes of a level or upright row, none of them off the wall."""
    count = request.args.get("count", 1, type=int)
    if not 1 <= count <= MOST:
        abort(400, f"a row has 1 to {MOST} holes")
    step_m = parse_length(request.args.get("step", "16 in")[:40], unit())
    upright = request.args.get("direction") == "upright"
    holes = [(offset_m + n * step_m * (not upright), height_m + n * step_m * upright) for n in range(count)]
    if not all(0 <= x <= face.length_m and 0 <= z <= face.height_m for x, z in holes):
        abort(400, "a hole of the row would be off this wall; move it, or take fewer")
    return holes
