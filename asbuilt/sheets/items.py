"""Boxes, runs and other items of a face, with the band their 95 % error covers, and their tags."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from shapely import LineString, MultiPoint, box, unary_union
from shapely.geometry.base import BaseGeometry

from asbuilt.record import Face
from asbuilt.sheets.drawing import Circle, Group, Line, Part, Point, Polyline, Rect, Region, Strokes, Text
from asbuilt.sheets.labels import LabelSpace, text_width_m
from asbuilt.sheets.things import GANG_STEP_M, Thing, error_95_m

TAG_TEXT_M, NAME_TEXT_M = 0.085, 0.075
BEYOND_M = 0.07  # how far a run is drawn past the edge of its face
ARROW_M = 0.06
RUN_PENS = {
    "cable": "run cable", "low voltage cable": "run low voltage cable", "conduit": "run conduit",
    "pipe": "run pipe", "drain": "run drain", "gas pipe": "run gas pipe", "sprinkler pipe": "run special",
    "radiant tubing": "run special", "tendon": "run special", "duct": "run duct",
}  # fmt: skip
HOLLOW = {"pipe", "drain", "duct", "gas pipe", "sprinkler pipe"}  # drawn as two lines
BOX_PENS = {"device box": "box", "junction box": "box", "panel": "box panel", "blocking": "blocking",
            "nail plate": "nail plate"}  # fmt: skip
LAYERS = {"live": "power", "wet": "plumbing", "gas": "plumbing", "specialist": "special"}


def layer_of(thing: Thing) -> str:
    """The layer a thing is drawn on."""
    if thing.kind.name == "low voltage cable":
        return "low voltage"
    if thing.kind.name in ("blocking", "nail plate"):
        return "studs"
    return LAYERS.get(thing.kind.hazard, "other")


def run_pen(thing: Thing) -> str:
    """Name of the pen of a run."""
    return RUN_PENS.get(thing.kind.name, "run cable")


def band_area(thing: Thing) -> BaseGeometry:
    """Where a run may be at 95 %, half its thickness included, in face metres."""
    ovals = [_oval(s.offset_m, s.height_m, thing.radius_m, *error_95_m(s)) for s in thing.spots]
    if len(ovals) == 1:
        return MultiPoint(ovals[0]).convex_hull
    return unary_union([MultiPoint(np.concatenate(pair)).convex_hull for pair in pairwise(ovals)])


def _oval(x_m: float, z_m: float, radius_m: float, error_x_m: float, error_z_m: float) -> np.ndarray:
    turn = np.linspace(0, 2 * math.pi, 20, endpoint=False)
    return np.stack([x_m + (radius_m + error_x_m) * np.cos(turn), z_m + (radius_m + error_z_m) * np.sin(turn)], axis=1)


def _band(area: BaseGeometry) -> Region:
    polygons = [p for p in getattr(area, "geoms", [area]) if p.geom_type == "Polygon" and not p.is_empty]
    rings = [tuple(ring.coords)[:-1] for p in polygons for ring in (p.exterior, *p.interiors)]
    return Region(rings_m=tuple(rings), pen="band")


def run_shape(thing: Thing, face: Face) -> Group:
    """A run: its 95 % band, the line itself, its measured spots; an arrow where it leaves the face."""
    points = [(s.offset_m, s.height_m) for s in thing.spots]
    sheet = box(-BEYOND_M, -BEYOND_M, face.length_m + BEYOND_M, face.height_m + BEYOND_M)
    parts: list[Part] = [_band(band_area(thing).intersection(sheet))]
    if len(points) > 1:
        cut = LineString(points).intersection(sheet)
        pieces = [
            tuple(g.coords) for g in getattr(cut, "geoms", [cut]) if g.geom_type == "LineString" and not g.is_empty
        ]
        parts += [Polyline(points_m=piece, pen=run_pen(thing)) for piece in pieces]
        if thing.kind.name in HOLLOW:
            parts += [Polyline(points_m=piece, pen="run core") for piece in pieces]
        parts += _exits(pieces, points)
    parts += [Circle(center_m=p, radius_m=0.009, pen="tag") for p in points if _within(p, face)]
    return Group(parts=tuple(parts), key=thing.item.id, title=describe(thing))


def _within(point: Point, face: Face) -> bool:
    return -BEYOND_M <= point[0] <= face.length_m + BEYOND_M and -BEYOND_M <= point[1] <= face.height_m


def _exits(pieces: Sequence[tuple], points: Sequence[Point]) -> list[Part]:
    """Arrow heads where a run was cut off at the edge of the sheet."""
    arrows: list[Part] = []
    for piece in pieces:
        for tip, before in ((piece[0], piece[1]), (piece[-1], piece[-2])):
            if min(math.dist(tip, p) for p in (points[0], points[-1])) < 1e-6:
                continue
            back = math.atan2(before[1] - tip[1], before[0] - tip[0])
            wings = [
                (tip[0] + ARROW_M * math.cos(back + a), tip[1] + ARROW_M * math.sin(back + a)) for a in (0.4, -0.4)
            ]
            arrows.append(Polyline(points_m=(tip, *wings), pen="arrow", closed=True))
    return arrows


def box_shape(thing: Thing) -> Group:
    """A box or other compact item: the rim of its 95 % error, then the thing at its real size."""
    spot = thing.spots[0]
    width_m, height_m = thing.size_m
    error_x_m, error_z_m = error_95_m(spot)
    left_m, bottom_m = spot.offset_m - width_m / 2, spot.height_m - height_m / 2
    parts: list[Part] = [
        Rect(left_m=left_m - error_x_m, bottom_m=bottom_m - error_z_m, width_m=width_m + 2 * error_x_m,
             height_m=height_m + 2 * error_z_m, pen="band"),
    ]  # fmt: skip
    if thing.kind.name == "coil":
        radius_m = min(width_m, height_m) / 2
        center = (spot.offset_m, spot.height_m)
        parts += [Circle(center_m=center, radius_m=radius_m * share, pen="coil") for share in (1.0, 0.8, 0.6)]
    else:
        pen = BOX_PENS.get(thing.kind.name, "box plain")
        parts.append(Rect(left_m=left_m, bottom_m=bottom_m, width_m=width_m, height_m=height_m, pen=pen))
        parts += _inside(thing, left_m, bottom_m, width_m, height_m)
    return Group(parts=tuple(parts), key=thing.item.id, title=describe(thing))


def _inside(thing: Thing, left_m: float, bottom_m: float, width_m: float, height_m: float) -> list[Part]:
    """Gang lines of a device box, the cross of a junction box."""
    right_m, top_m = left_m + width_m, bottom_m + height_m
    if thing.kind.name == "junction box":
        cross = (((left_m, bottom_m), (right_m, top_m)), ((left_m, top_m), (right_m, bottom_m)))
        return [Strokes(segments_m=cross, pen="gang line")]
    gangs = thing.item.gangs or 1
    if thing.kind.name != "device box" or gangs < 2:
        return []
    first_m = (left_m + right_m) / 2 - (gangs - 2) * GANG_STEP_M / 2
    lines = [first_m + i * GANG_STEP_M for i in range(gangs - 1)]
    return [Strokes(segments_m=tuple(((x, bottom_m), (x, top_m)) for x in lines), pen="gang line")]


def describe(thing: Thing) -> str:
    """One line for people who point at a thing or have it read out."""
    words = [thing.kind.name]
    if thing.item.label:
        words.append(thing.item.label)
    if thing.circuit is not None:
        words.append(f"circuit {thing.circuit.number} {thing.circuit.name}")
    return ", ".join(words)


def tag_text(thing: Thing) -> str:
    """What the tag of a thing says: circuit number and name, or the kind where no circuit belongs."""
    if thing.circuit is not None:
        name = thing.circuit.name if thing.kind.is_run else ""
        return f"{thing.circuit.number} {name}".strip()
    if thing.kind.hazard == "live" and thing.kind.name != "panel":
        return "circuit ?"
    return thing.kind.name


def tags(things: Sequence[Thing], space: LabelSpace) -> list[tuple[Thing, Group]]:
    """A tag for every thing and, where there is room, the name of every box."""
    for thing in things:
        if not thing.kind.is_run:
            width_m, height_m = thing.size_m
            x, z = thing.spots[0].offset_m, thing.spots[0].height_m
            space.block((x - width_m / 2, z - height_m / 2, x + width_m / 2, z + height_m / 2))
    boxes = [(t, _box_tag(t, space)) for t in things if not t.kind.is_run]
    return boxes + [(t, _run_tag(t, space)) for t in things if t.kind.is_run]


def block_runs(things: Sequence[Thing], space: LabelSpace) -> None:
    """Take the places runs pass through, so that words placed later keep off them."""
    for thing in things:
        points = np.array([(s.offset_m, s.height_m) for s in thing.spots])
        for start, end in pairwise(points):
            for x, z in np.linspace(start, end, 2 + int(math.dist(start, end) / 0.1)):
                space.block((x - 0.02, z - 0.02, x + 0.02, z + 0.02))


def _tag(text: str, spot: Point, at: Point) -> list[Part]:
    width_m, height_m = text_width_m(text, TAG_TEXT_M) + 0.05, TAG_TEXT_M * 1.35
    parts: list[Part] = []
    if math.dist(spot, at) > height_m:
        parts.append(Line(start_m=spot, end_m=at, pen="tag leader"))
    parts.append(
        Rect(left_m=at[0] - width_m / 2, bottom_m=at[1] - height_m / 2, width_m=width_m, height_m=height_m,
             pen="tag", round_m=0.02)
    )  # fmt: skip
    parts.append(
        Text(at_m=(at[0], at[1] - TAG_TEXT_M * 0.35), text=text, size_m=TAG_TEXT_M, pen="text tag", anchor="middle")
    )
    return parts


def _box_tag(thing: Thing, space: LabelSpace) -> Group:
    text = tag_text(thing)
    tag_width_m, tag_height_m = text_width_m(text, TAG_TEXT_M) + 0.05, TAG_TEXT_M * 1.35
    width_m, height_m = thing.size_m
    x, z = thing.spots[0].offset_m, thing.spots[0].height_m
    aside_m, above_m = (width_m + tag_width_m) / 2 + 0.03, (height_m + tag_height_m) / 2 + 0.03
    at = space.place(
        [(x + aside_m, z), (x - aside_m, z), (x, z + above_m), (x, z - above_m), (x + aside_m, z + above_m),
         (x - aside_m, z - above_m)], tag_width_m, tag_height_m,
    )  # fmt: skip
    parts = _tag(text, (x, z), at)
    name_width_m = text_width_m(thing.name, NAME_TEXT_M)
    for name_z in (z - height_m / 2 - 0.075, z + height_m / 2 + 0.055):
        if thing.item.label and space.free((x, name_z), name_width_m, NAME_TEXT_M):
            space.block(
                (x - name_width_m / 2, name_z - NAME_TEXT_M / 2, x + name_width_m / 2, name_z + NAME_TEXT_M / 2)
            )
            parts.append(Text(at_m=(x, name_z - 0.025), text=thing.item.label, size_m=NAME_TEXT_M, anchor="middle"))
            break
    return Group(parts=tuple(parts), key=thing.item.id)


def _run_tag(thing: Thing, space: LabelSpace) -> Group:
    text = tag_text(thing)
    left, bottom, right, top = space.bounds
    points = np.clip([(s.offset_m, s.height_m) for s in thing.spots], (left, bottom), (right, top))
    candidates = [_along(points, share) for share in (0.5, 0.35, 0.65, 0.2, 0.8)]
    width_m, height_m = text_width_m(text, TAG_TEXT_M) + 0.05, TAG_TEXT_M * 1.35
    aside = [
        (x + dx * (width_m / 2 + 0.05), z + dz * 0.14)
        for x, z in candidates[:3]
        for dx, dz in ((1, 0), (-1, 0), (0, 1), (0, -1))
    ]
    at = space.place(candidates + aside, width_m, height_m)
    nearest = min(candidates, key=lambda c: math.dist(c, at))
    return Group(parts=tuple(_tag(text, nearest, at)), key=thing.item.id)


def _along(points_m: np.ndarray, share: float) -> Point:
    """The point at a share of the length of a polyline."""
    if len(points_m) == 1:
        return float(points_m[0, 0]), float(points_m[0, 1])
    reach = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(points_m, axis=0), axis=1))])
    at = share * reach[-1]
    return float(np.interp(at, reach, points_m[:, 0])), float(np.interp(at, reach, points_m[:, 1]))
