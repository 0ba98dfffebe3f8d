"""Tagging: naming what a picture shows, and taking back what was named."""

from __future__ import annotations

import secrets

from flask import Blueprint, abort, jsonify, redirect, request, url_for

from asbuilt.record import Circuit, Item, Picture, Position, Sighting
from asbuilt.record.kinds import KINDS, kind_named
from asbuilt.steps import locate
from asbuilt.web.pages import get_or_404, record, wants_json

blueprint = Blueprint("tags", __name__)
MOST_POINTS = 200
LABEL_LENGTH = 120


@blueprint.post("/pictures/<picture_id>/sightings")
def add(picture_id: str):
    """Name a thing at one or more points of a picture and work out where it lies."""
    picture = get_or_404(Picture, picture_id, "picture")
    points = _points(picture)
    item_id = request.form.get("item_id", "")
    item = get_or_404(Item, item_id, "item") if item_id else _new_item(picture)
    places = request.form.getlist("place")
    rows = [_sighting(item, picture, order, point, places) for order, point in enumerate(points)]
    with record().transaction():
        record().put(item, *rows)
    locate.run(record(), [item.id])
    if wants_json():
        return jsonify({"item_id": item.id, "sighting_ids": [r.id for r in rows]}), 201
    return redirect(url_for("pictures.picture", picture_id=picture_id), 303)


def _points(picture: Picture) -> list[tuple[float, float]]:
    """The posted pixels, each checked to lie in the picture."""
    try:
        xs = [float(v) for v in request.form.getlist("x_px")]
        ys = [float(v) for v in request.form.getlist("y_px")]
    except ValueError:
        abort(400, "a point needs two numbers; tap the picture to set it")
    if not xs or len(xs) != len(ys):
        abort(400, "no point was set; tap the place in the picture first")
    if len(xs) > MOST_POINTS:
        abort(400, f"a thing can have at most {MOST_POINTS} points in one picture")
    if not all(
        -0.5 <= x <= picture.width_px - 0.5 and -0.5 <= y <= picture.height_px - 0.5
        for x, y in zip(xs, ys, strict=True)
    ):
        abort(400, "a point lies outside the picture")
    return list(zip(xs, ys, strict=True))


def _new_item(picture: Picture) -> Item:
    kind = request.form.get("kind", "")
    if kind not in KINDS:
        abort(400, f"choose what it is: {', '.join(KINDS)}")
    circuit_id = request.form.get("circuit_id") or None
    if circuit_id and record().find(Circuit, circuit_id) is None:
        abort(400, "that circuit is not in the record")
    label = " ".join(request.form.get("label", "").split())[:LABEL_LENGTH]
    return Item(
        id=f"{kind_named(kind).name.replace(' ', '-')}-{secrets.token_hex(4)}",
        kind=kind,
        label=label,
        face_id=picture.face_id,
        circuit_id=circuit_id,
    )


def _sighting(item: Item, picture: Picture, order: int, point: tuple[float, float], places: list[str]) -> Sighting:
    place = places[order] if order < len(places) and places[order] else f"{item.id}-{secrets.token_hex(3)}"
    return Sighting(
        id=f"{place}@{picture.id}",
        target_id=item.id,
        picture_id=picture.id,
        place=place,
        order_idx=order,
        x_px=point[0],
        y_px=point[1],
        author=record().author,
    )


@blueprint.post("/pictures/<picture_id>/things/<item_id>/remove")
def remove(picture_id: str, item_id: str):
    """Take back every sighting of a thing in a picture; the thing too once nothing shows it."""
    get_or_404(Picture, picture_id, "picture")
    item = get_or_404(Item, item_id, "item")
    mine = record().all(Sighting, picture_id=picture_id, target_id=item_id)
    if not mine:
        abort(404, "that thing is not marked in this picture")
    with record().transaction():
        for sighting in mine:
            record().remove(Sighting, sighting.id)
        _drop_unseen(item)
    if record().find(Item, item_id) is not None:
        locate.run(record(), [item_id])
    if wants_json():
        return jsonify({"removed": [s.id for s in mine]})
    return redirect(url_for("pictures.picture", picture_id=picture_id), 303)


def _drop_unseen(item: Item) -> None:
    if not record().all(Sighting, target_id=item.id):
        record().clear(Position, item_id=item.id)
        record().remove(Item, item.id)
