"""Marking known places in a picture, so that it can be placed without marker sheets."""

from __future__ import annotations

import secrets

from flask import Blueprint, abort, jsonify, redirect, request, url_for

from asbuilt.record import Face, Picture, ReferencePoint, Sighting
from asbuilt.sheets.fit import POOR_RATIO, PhotoFit, fit_picture
from asbuilt.sheets.known import known_places
from asbuilt.sheets.proposed import proposals
from asbuilt.units import format_length, parse_length
from asbuilt.web.pages import Page, get_or_404, page, record, unit, wants_json
from asbuilt.web.tags import posted_points, posted_sigmas

blueprint = Blueprint("references", __name__)


@page(blueprint, "/pictures/<picture_id>/known")
def known(picture_id: str) -> Page:
    """The known places of a wall, and how well those marked in this picture fit."""
    picture = get_or_404(Picture, picture_id, "picture")
    faces = record().all(Face)
    if not faces:
        abort(404, "no wall is described yet, so no place on it is known")
    marked = {s.target_id for s in record().all(Sighting, target="reference", picture_id=picture.id)}
    of_marks = [p.face_id for p in record().all(ReferencePoint, id=sorted(marked))]
    face_id = request.args.get("face_id") or next(iter(of_marks), None) or picture.face_id or faces[0].id
    get_or_404(Face, face_id, "face")
    places = [
        {"id": k.point.id, "words": k.words, "marked": k.point.id in marked}
        for k in known_places(record(), face_id, unit(), picture.stage == "covered")
    ]
    data = {
        "picture_id": picture.id,
        "face_id": face_id,
        "faces": [{"id": f.id, "title": f.title} for f in faces],
        "places": places,
        "fit": fit_data(picture),
        "counts_studs": picture.stage == "open",
    }
    return Page(template="_known.html", data=data)


@blueprint.post("/pictures/<picture_id>/known")
def mark(picture_id: str):
    """Mark one known place at one pixel; again moves it."""
    picture = get_or_404(Picture, picture_id, "picture")
    points = posted_points(picture)
    if len(points) != 1:
        abort(400, "mark one known place at a time: set one point")
    point = _chosen(picture)
    sighting = Sighting(
        id=f"{point.id}@{picture.id}",
        target="reference",
        target_id=point.id,
        picture_id=picture.id,
        place=point.id,
        x_px=points[0][0],
        y_px=points[0][1],
        sigma_px=posted_sigmas(1)[0],
        author=record().author,
    )
    record().put(point, sighting)
    return _done(picture, point.id)


def _chosen(picture: Picture) -> ReferencePoint:
    """The known place that a form names, or the one it describes."""
    face = get_or_404(Face, request.form.get("face_id", ""), "face")
    chosen = request.form.get("reference_id", "")
    if chosen:
        places = known_places(record(), face.id, unit(), picture.stage == "covered")
        found = next((k.point for k in places if k.point.id == chosen), None)
        return found or abort(400, "that place is not one of this wall's; choose it again")
    texts = [request.form.get(name, "").strip() for name in ("offset", "height")]
    if not all(texts):
        abort(400, "say where the mark is: how far from the left end and how high")
    offset_m, height_m = (parse_length(text[:40], unit()) for text in texts)
    if not (0 <= offset_m <= face.length_m and 0 <= height_m <= face.height_m):
        abort(400, "that place is not on this wall; measure from its left end and from the floor")
    label = " ".join(request.form.get("label", "").split())[:120]
    return ReferencePoint(
        id=f"mark-{secrets.token_hex(4)}", face_id=face.id, label=label, offset_m=offset_m, height_m=height_m
    )


@blueprint.post("/pictures/<picture_id>/known/<reference_id>/remove")
def unmark(picture_id: str, reference_id: str):
    """Take the mark of a known place out of a picture; the place itself stays known."""
    picture = get_or_404(Picture, picture_id, "picture")
    mine = record().all(Sighting, target="reference", target_id=reference_id, picture_id=picture.id)
    if not mine:
        abort(404, "that place is not marked in this picture")
    with record().transaction():
        for sighting in mine:
            record().remove(Sighting, sighting.id)
    return _done(picture, reference_id)


def fit_data(picture: Picture) -> dict:
    """How well the known places marked in a picture fit one camera, as plain values."""
    found = fit_picture(record(), picture)
    count = len(record().all(Sighting, target="reference", picture_id=picture.id))
    if not found:
        return {"count": count, "fits": False, "words": found.reason, "points": []}
    return {"count": count, "fits": found.fits, "words": found.words(unit()), "points": _residuals(found)}


def _residuals(found: PhotoFit) -> list[dict]:
    """How far each marked place lies from where the solved camera sees it, the worst for its error first."""
    ratios = found.miss_px / found.allowed_px
    return [
        {
            "id": found.points[n].id,
            "label": found.points[n].label or found.points[n].id,
            "miss_px": round(float(found.miss_px[n]), 2),
            "on_wall": format_length(float(found.miss_px[n] / found.px_per_m[n]), unit()),
            "fits": bool(ratios[n] <= POOR_RATIO),
        }
        for n in ratios.argsort()[::-1].tolist()
    ]


@blueprint.get("/pictures/<picture_id>/proposed")
def proposed(picture_id: str):
    """Cover plates found in a photo of the finished wall; nothing is marked by asking."""
    picture = get_or_404(Picture, picture_id, "picture")
    if picture.stage != "covered":
        abort(400, "places are proposed in photos of the finished wall only")
    found = proposals(record(), picture)
    if not found:
        return jsonify({"reason": found.reason, "places": []})
    words = {k.point.id: k.words for k in known_places(record(), found[0].point.face_id, unit(), finished=True)}
    places = [
        {"id": p.point.id, "face_id": p.point.face_id, "words": words[p.point.id], "x_px": p.x_px, "y_px": p.y_px,
         "sigma_px": p.sigma_px}
        for p in found
    ]  # fmt: skip
    return jsonify({"reason": "", "places": places})


def _done(picture: Picture, reference_id: str):
    if wants_json():
        return jsonify({"reference_id": reference_id, "fit": fit_data(picture)})
    return redirect(url_for("pictures.picture", picture_id=picture.id), 303)
