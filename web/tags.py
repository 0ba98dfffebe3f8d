"""Tagging: naming what a picture shows, and taking back what was named."""

from __future__ import annotations

import secrets
from contextlib import suppress
from dataclasses import asdict

from flask import Blueprint, abort, jsonify, redirect, request, url_for

from asbuilt.errors import RecordError
from asbuilt.record import Circuit, Item, Picture, Position, Sighting
from asbuilt.record.kinds import KINDS, kind_named
from asbuilt.sources import CLICK_SIGMA_PX
from asbuilt.steps import locate
from asbuilt.web.elsewhere import position_words, spots_elsewhere
from asbuilt.web.pages import Page, get_or_404, page, record, unit, wants_json

blueprint = Blueprint("tags", __name__)
MOST_POINTS = 200
USUAL_SIGMA_PX = CLICK_SIGMA_PX.value
LEAST_SIGMA_PX, MOST_SIGMA_PX = 0.5, 100.0
LABEL_LENGTH = 120


@blueprint.post("/pictures/<picture_id>/sightings")
def add(picture_id: str):
    """Name a thing at one or more points of a picture and work out where it lies."""
    picture = get_or_404(Picture, picture_id, "picture")
    points = posted_points(picture)
    item_id = request.form.get("item_id", "")
    item = get_or_404(Item, item_id, "item") if item_id else _new_item(picture)
    rows = _sightings(item, picture, points)
    with record().transaction():
        record().put(item, *rows)
    locate.run(record(), [item.id])
    if wants_json():
        return jsonify(_saved(item, rows)), 201
    return redirect(url_for("pictures.picture", picture_id=picture_id), 303)


def _saved(item: Item, rows: list[Sighting]) -> dict:
    """What was saved and where it now lies."""
    places = {r.place for r in rows}
    positions = [p for p in record().all(Position, item_id=item.id) if p.place in places]
    return {
        "item_id": item.id,
        "sighting_ids": [r.id for r in rows],
        "words": {p.place: position_words(p, unit()) for p in positions},
        "elsewhere": url_for("tags.elsewhere", item_id=item.id),
        "undo": url_for("tags.remove", picture_id=rows[0].picture_id, item_id=item.id),
    }


@page(blueprint, "/things/<item_id>/elsewhere")
def elsewhere(item_id: str) -> Page:
    """The other pictures that should show a thing, to point at it there too."""
    item = get_or_404(Item, item_id, "item")
    data = {"item": asdict(item), "spots": spots_elsewhere(record(), item, unit())}
    return Page(template="_elsewhere.html", data=data)


def posted_sigmas(count: int) -> list[float]:
    """How well each posted point was aimed at [px]; a careful click where the page does not say."""
    try:
        sigmas = [float(v) for v in request.form.getlist("sigma_px")] or [USUAL_SIGMA_PX] * count
    except ValueError:
        abort(400, "sigma_px is not a number")
    if len(sigmas) != count or not all(LEAST_SIGMA_PX <= s <= MOST_SIGMA_PX for s in sigmas):
        abort(400, f"sigma_px lies between {LEAST_SIGMA_PX:g} and {MOST_SIGMA_PX:g} px, one for each point")
    return sigmas


def posted_points(picture: Picture) -> list[tuple[float, float]]:
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
    label, cable = (" ".join(request.form.get(name, "").split())[:LABEL_LENGTH] for name in ("label", "cable"))
    return Item(
        id=f"{kind_named(kind).name.replace(' ', '-')}-{secrets.token_hex(4)}",
        kind=kind,
        label=label,
        face_id=picture.face_id,
        circuit_id=circuit_id,
        cable=cable if kind_named(kind).is_run else "",
    )


def _sightings(item: Item, picture: Picture, points: list[tuple[float, float]]) -> list[Sighting]:
    """A sighting for each point; a named place must be one that the thing has already."""
    known = {s.place: s.order_idx for s in record().all(Sighting, target="item", target_id=item.id)}
    places = request.form.getlist("place")
    if places and (len(places) != len(points) or not known.keys() >= set(places)):
        abort(400, "that spot is not one of this thing's; load the page again")
    first = max(known.values(), default=-1) + 1
    rows = []
    for n, ((x_px, y_px), sigma_px) in enumerate(zip(points, posted_sigmas(len(points)), strict=True)):
        place = places[n] if places else f"{item.id}.{first + n}"
        rows.append(
            Sighting(
                id=f"{place}@{picture.id}",
                target_id=item.id,
                picture_id=picture.id,
                place=place,
                order_idx=known.get(place, first + n),
                x_px=x_px,
                y_px=y_px,
                sigma_px=sigma_px,
                author=record().author,
            )
        )
    return rows


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
    """Take a thing out that nothing shows any more, unless something else still tells of it."""
    if record().all(Sighting, target_id=item.id):
        return
    with suppress(RecordError), record().transaction():
        record().clear(Position, item_id=item.id)
        record().remove(Item, item.id)
