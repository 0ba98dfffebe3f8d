"""The pictures of an answer: which to show, which part of each, and what to mark in it."""

from __future__ import annotations

from collections.abc import Iterable

from asbuilt.answers.behind import BehindAnswer
from asbuilt.answers.described import ThingAnswer
from asbuilt.answers.marks import PictureMark as ThingMark
from asbuilt.record import Face, Media, Picture, Record
from asbuilt.sheets.overlay import PictureMark, picture_marks

MOST = 6
CLOSE_UP_M = 1.3  # width of wall to show round a place whose height is known


def answer_pictures(record: Record, face: Face, place, answer: BehindAnswer) -> list[dict]:
    """Pictures that show the place asked about, the ones with sightings first, as plain values."""
    things = [thing for bay in answer.bays for thing in bay.things]
    shown = picture_marks(record, face.id, place.offset_m, place.height_m, most=3 * MOST)
    in_picture: dict[str, list[dict]] = {}
    for thing in {t.item_id: t for t in things}.values():
        for mark in thing.pictures:
            in_picture.setdefault(mark.picture_id, []).append(_mark(thing, mark))
    shown.sort(key=lambda m: -sum(mark["sighted"] for mark in in_picture.get(m.picture.id, [])))
    names = {m.id: m.name for m in record.all(Media)}
    found = [_place_picture(m, in_picture.get(m.picture.id, []), names) for m in shown]
    extra = set(in_picture) - {m.picture.id for m in shown}
    found += [_thing_picture(p, in_picture[p.id], names) for p in record.all(Picture, id=sorted(extra))]
    return found[:MOST]


def _mark(thing: ThingAnswer, mark: ThingMark) -> dict:
    number = f"{thing.circuit.number} " if thing.circuit else ""
    return {
        "item_id": thing.item_id,
        "words": f"{number}{thing.kind}",
        "x_px": mark.x_px,
        "y_px": mark.y_px,
        "sighted": mark.sighted,
    }


def _place_picture(mark: PictureMark, things: list[dict], names: dict[str, str]) -> dict:
    picture = mark.picture
    if mark.spot_px is None:
        view = _around(mark.line_px, picture, 0.75 * mark.px_per_m)
    else:
        view = _around([mark.spot_px], picture, CLOSE_UP_M / 2 * mark.px_per_m)
    return _picture(picture, names) | {
        "view_px": view,
        "line_px": [list(p) for p in mark.line_px],
        "spot_px": list(mark.spot_px) if mark.spot_px else None,
        "marks": _lettered([t for t in things if _inside(t, view)], view),
    }


def _thing_picture(picture: Picture, things: list[dict], names: dict[str, str]) -> dict:
    view = _around([(t["x_px"], t["y_px"]) for t in things], picture, max(picture.width_px, picture.height_px) / 5)
    return _picture(picture, names) | {
        "view_px": view,
        "line_px": [],
        "spot_px": None,
        "marks": _lettered(things, view),
    }


def _picture(picture: Picture, names: dict[str, str]) -> dict:
    name = names.get(picture.media_id, picture.id)
    return {
        "picture_id": picture.id,
        "name": name if picture.pts_s is None else f"{name} at {picture.pts_s:.1f} s",
        "taken_at": picture.taken_at,
        "stage": picture.stage,
        "width_px": picture.width_px,
        "height_px": picture.height_px,
    }


def _around(points_px: Iterable[tuple[float, float]], picture: Picture, margin_px: float) -> list[float]:
    """The part of a picture round some points, (left, top, width, height), 4:3 where it can be."""
    xs, ys = zip(*points_px, strict=True)
    width = max(max(xs) - min(xs) + 2 * margin_px, 240.0)
    height = max(max(ys) - min(ys) + 2 * margin_px, 180.0)
    width, height = max(width, height * 4 / 3), max(height, width * 3 / 4)
    width, height = min(width, picture.width_px), min(height, picture.height_px)
    left = min(max((min(xs) + max(xs)) / 2 - width / 2, 0.0), picture.width_px - width)
    top = min(max((min(ys) + max(ys)) / 2 - height / 2, 0.0), picture.height_px - height)
    return [round(v, 1) for v in (left, top, width, height)]


def _inside(mark: dict, view: list[float]) -> bool:
    left, top, width, height = view
    return left <= mark["x_px"] <= left + width and top <= mark["y_px"] <= top + height


def _lettered(marks: list[dict], view: list[float]) -> list[dict]:
    """Marks with a place for their words: on the side with more room, no two lines on one another."""
    left, _, width, _ = view
    line_px = width / 20
    used: list[tuple[str, float]] = []
    lettered = []
    for mark in sorted(marks, key=lambda m: m["y_px"]):
        anchor = "start" if mark["x_px"] < left + 0.5 * width else "end"
        x = mark["x_px"] + (width / 40 if anchor == "start" else -width / 40)
        y = mark["y_px"] + width / 70
        while any(side == anchor and abs(y - other) < line_px for side, other in used):
            y += line_px / 4
        used.append((anchor, y))
        lettered.append(mark | {"anchor": anchor, "text_px": [round(x, 1), round(y, 1)]})
    return lettered
