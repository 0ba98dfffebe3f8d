"""Pictures: the list by wall, one picture with what was seen in it, and its pixels."""

from __future__ import annotations

from dataclasses import asdict

from flask import Blueprint, Response, abort, request

from asbuilt.record import Circuit, Face, Item, Media, Picture, Placement, ReferencePoint, Sighting
from asbuilt.record.kinds import KINDS
from asbuilt.record.pixels import picture_jpeg
from asbuilt.record.unfinished import not_looked_at
from asbuilt.web.pages import Page, get_or_404, page, record

blueprint = Blueprint("pictures", __name__)
COMMON_KINDS = ("device box", "cable", "junction box", "low voltage cable", "pipe", "drain", "conduit", "blocking")
SIZES_PX = (320, 960, 1600, 3200)  # longest sides that are made; a request names one of them


@page(blueprint, "/pictures")
def pictures() -> Page:
    """Every picture under its wall, in the order it was taken."""
    placements = {p.id: p for p in record().all(Placement)}
    with record().moment():
        media, every = {m.id: m for m in record().all(Media)}, record().all(Picture)
    seen: dict[str, int] = {}
    for sighting in record().all(Sighting):
        seen[sighting.picture_id] = seen.get(sighting.picture_id, 0) + 1
    groups: dict[str | None, list[dict]] = {}
    for picture in sorted(every, key=lambda p: (p.kind != "photo", media[p.media_id].name, p.pts_s or 0)):
        groups.setdefault(picture.face_id, []).append(
            _summary(picture, media[picture.media_id], placements.get(picture.id))
            | {"sightings": seen.get(picture.id, 0)}
        )
    titles = {f.id: f.title for f in sorted(record().all(Face), key=lambda f: f.order_idx)}
    order = [*titles, *(key for key in groups if key not in titles)]
    listed = [
        {"face_id": k, "title": titles.get(k, "Not filed under a wall"), "pictures": groups[k]}
        for k in order
        if k in groups
    ]
    return Page(template="pictures.html", data={"groups": listed, "not_looked_at": not_looked_at(record())})


def _summary(picture: Picture, media: Media, placement: Placement | None) -> dict:
    name = media.name if picture.pts_s is None else f"{media.name} at {picture.pts_s:.1f} s"
    return {
        "id": picture.id,
        "name": name,
        "kind": picture.kind,
        "stage": picture.stage,
        "taken_at": picture.taken_at,
        "width_px": picture.width_px,
        "height_px": picture.height_px,
        "face_id": picture.face_id,
        "flags": list(picture.flags),
        "status": placement.status if placement else "not placed yet",
        "reason": placement.reason if placement else "",
    }


@page(blueprint, "/pictures/<picture_id>")
def picture(picture_id: str) -> Page:
    """One picture with the sightings in it, and the form to add more."""
    found = get_or_404(Picture, picture_id, "picture")
    summary = _summary(found, record().get(Media, found.media_id), record().find(Placement, picture_id))
    circuits = record().all(Circuit)
    data = {
        "picture": summary,
        "things": things_in(found),
        "circuits": [asdict(c) for c in circuits],
        "kinds": {name: {"is_run": kind.is_run} for name, kind in KINDS.items()},
    }
    return Page(template="picture.html", data=data, drawn=_around(found) | {"common_kinds": COMMON_KINDS})


@page(blueprint, "/pictures/<picture_id>/seen")
def seen(picture_id: str) -> Page:
    """Only what was named in a picture, to be put into a page that is already open."""
    found = get_or_404(Picture, picture_id, "picture")
    return Page(template="_seen.html", data={"picture": {"id": found.id}, "things": things_in(found)})


def things_in(found: Picture) -> list[dict]:
    """Items and reference points seen in a picture, each with its spots in order."""
    by_target: dict[tuple[str, str], list[Sighting]] = {}
    for sighting in record().all(Sighting, picture_id=found.id):
        by_target.setdefault((sighting.target, sighting.target_id), []).append(sighting)
    return [_thing(*key, sorted(spots, key=lambda s: s.order_idx)) for key, spots in by_target.items()]


def _thing(target: str, target_id: str, spots: list[Sighting]) -> dict:
    thing = {
        "target": target,
        "id": target_id,
        "spots": [{"id": s.id, "place": s.place, "x_px": s.x_px, "y_px": s.y_px, "author": s.author} for s in spots],
    }
    if target == "reference":
        point = record().find(ReferencePoint, target_id)
        return thing | {
            "kind": "reference point",
            "label": point.label if point else "",
            "circuit": None,
            "is_run": False,
        }
    item = record().find(Item, target_id)
    circuit = record().find(Circuit, item.circuit_id) if item and item.circuit_id else None
    return thing | {
        "kind": item.kind if item else "other",
        "label": item.label if item else "",
        "circuit": {"id": circuit.id, "number": circuit.number, "name": circuit.name} if circuit else None,
        "is_run": item is not None and KINDS[item.kind].is_run if item else False,
    }


def _around(found: Picture) -> dict:
    """The pictures before and after in the same wall's list."""
    same = record().all(Picture, face_id=found.face_id)
    media = {m.id: m.name for m in record().all(Media)}
    same.sort(key=lambda p: (p.kind != "photo", media[p.media_id], p.pts_s or 0))
    idx = [p.id for p in same].index(found.id)
    return {
        "before": same[idx - 1].id if idx else None,
        "after": same[idx + 1].id if idx + 1 < len(same) else None,
        "number": idx + 1,
        "of": len(same),
    }


@blueprint.get("/pictures/<picture_id>/image.jpg")
def image(picture_id: str) -> Response:
    """A viewing copy; ``size`` is its longest side, ``bright`` lifts a dark one."""
    found = get_or_404(Picture, picture_id, "picture")
    size_px = request.args.get("size", 1600, type=int)
    if size_px not in SIZES_PX:
        abort(400, f"size must be one of {', '.join(map(str, SIZES_PX))}")
    jpeg = picture_jpeg(record(), found, max_side_px=size_px, brighten="bright" in request.args)
    response = Response(jpeg, mimetype="image/jpeg")
    response.headers["Cache-Control"] = "private, max-age=604800, immutable"  # a picture never changes under its id
    return response
