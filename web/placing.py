"""How well the pictures are placed: the error along every wall, and what would better it."""

from __future__ import annotations

from collections import Counter

from flask import Blueprint

from asbuilt.record import PLACED, Face, Marker, Placement, Record, ReferencePoint
from asbuilt.sheets.error_chart import error_chart
from asbuilt.sheets.svg import svg
from asbuilt.steps.place_error import FaceError, face_errors
from asbuilt.steps.place_text import WORTH_A_MARK
from asbuilt.units import format_error, format_length
from asbuilt.web.pages import Page, page, record, unit

blueprint = Blueprint("placing", __name__)


@page(blueprint, "/placing")
def placing() -> Page:
    """A chart for each wall, and why some pictures could not be placed."""
    placements = record().all(Placement)
    reasons = Counter(p.reason or p.status for p in placements if p.status != PLACED)
    errors = face_errors(record())
    data = {
        "placed": sum(p.status == PLACED for p in placements),
        "pictures": len(placements),
        "not_placed": [{"reason": reason, "count": count} for reason, count in reasons.most_common()],
        "walls": [_wall(found) for found in errors],
    }
    charts = {found.face_id: _chart(record(), found) for found in errors}
    return Page(template="placing.html", data=data, drawn={"charts": charts})


def _wall(found: FaceError) -> dict:
    """One wall in words and numbers."""
    data = {"face_id": found.face_id, "title": found.title, "references": found.references,
            "pictures": found.pictures, "words": "No placed picture shows this wall.", "advice": ""}  # fmt: skip
    if found.worst_m is None:
        return data
    at = format_length(found.worst_offset_m, unit(), 0.05)
    words = f"Typically {format_error(found.typical_m, unit())}; worst {format_error(found.worst_m, unit())}, at {at}."
    if found.worst_with_mark_m < WORTH_A_MARK * found.worst_m:
        advice = f"A mark taped at {at} would make the worst {format_error(found.worst_with_mark_m, unit())}."
    else:
        advice = f"One more taped mark gains little here; more pictures of {at}, from both sides, gain more."
    return data | {"words": words, "advice": advice}


def _chart(rec: Record, found: FaceError) -> str:
    face = rec.get(Face, found.face_id)
    markers = [m.offset_m for m in rec.all(Marker, face_id=face.id) if m.offset_m is not None]
    points = [p.offset_m for p in rec.all(ReferencePoint, face_id=face.id)]
    return svg(error_chart(found, face.length_m, markers + points, unit()), svg_id=f"error-{face.id}")
