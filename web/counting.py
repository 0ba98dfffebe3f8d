"""The studs of one picture counted without marks, and kept for placing once a known place is marked in it."""

from __future__ import annotations

from flask import Blueprint, abort, jsonify, redirect, url_for

from asbuilt.record import Face, Picture, ReferencePoint, Sighting
from asbuilt.record.pixels import iter_pictures
from asbuilt.record.types import STUD_LINE
from asbuilt.steps import lattice, lattice_marks
from asbuilt.steps.lattice_text import marks_text, picture_words
from asbuilt.web.pages import Page, get_or_404, page, record, unit, wants_json

blueprint = Blueprint("counting", __name__)


@page(blueprint, "/pictures/<picture_id>/studs")
def studs(picture_id: str) -> Page:
    """What the studs of a picture tell; nothing is written by asking."""
    picture = _open_picture(picture_id)
    ((_, image),) = iter_pictures(record(), [picture])
    told = lattice.studs_in(record(), picture, image, [f for f in record().all(Face) if f.kind == "wall"])
    kept, marked = _known(picture)
    words = picture_words(told, {f.id: f.title for f in record().all(Face)}, unit())
    data = {
        "picture": {"id": picture.id, "width_px": picture.width_px, "height_px": picture.height_px},
        "words": words[0].upper() + words[1:],
        "lines_px": [list(line) for line in told.lines_px],
        "found": not told.reason,
        "marked": len(marked),
        "kept": len(kept) // 2,
    }
    return Page(template="studs.html", data=data)


@blueprint.post("/pictures/<picture_id>/studs")
def keep(picture_id: str):
    """Keep the studs that stand on their marks for placing."""
    picture = _open_picture(picture_id)
    report = lattice_marks.run(record(), lattice_marks.MarksOptions(picture_ids=(picture.id,), keep=True))
    if report.pictures[0].reason:
        abort(400, f"nothing is kept: {report.pictures[0].reason}")
    return _done(picture, marks_text(report, {f.id: f.title for f in record().all(Face)}, unit()))


@blueprint.post("/pictures/<picture_id>/studs/forget")
def forget(picture_id: str):
    """Take back the studs kept of a picture."""
    picture = _open_picture(picture_id)
    with record().transaction():
        count = lattice_marks.forget(record(), _known(picture)[0])
    return _done(picture, f"{count // 2} studs taken back")


def _known(picture: Picture) -> tuple[list[ReferencePoint], list[ReferencePoint]]:
    """Ends of stud lines kept of a picture, and other known places marked in it."""
    ids = {s.target_id for s in record().all(Sighting, target="reference", picture_id=picture.id)}
    points = [p for p in record().all(ReferencePoint) if p.id in ids]
    return [p for p in points if p.kind == STUD_LINE], [p for p in points if p.kind != STUD_LINE]


def _open_picture(picture_id: str) -> Picture:
    picture = get_or_404(Picture, picture_id, "picture")
    if picture.stage != "open":
        abort(400, "studs are counted in pictures of the open walls only")
    return picture


def _done(picture: Picture, words: str):
    if wants_json():
        return jsonify({"picture_id": picture.id, "words": words})
    return redirect(url_for("counting.studs", picture_id=picture.id), 303)
