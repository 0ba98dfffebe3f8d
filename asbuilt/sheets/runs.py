"""Cables, pipes and other runs: solid where they were seen, broken where their course is not known."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from shapely import LineString, MultiPoint, box, unary_union
from shapely.geometry.base import BaseGeometry

from asbuilt.answers.stretches import BETWEEN, BEYOND, SEEN, Stretch
from asbuilt.answers.things import Thing
from asbuilt.record import Face
from asbuilt.sheets.drawing import Circle, Group, Part, Point, Polyline, Region
from asbuilt.sheets.things import describe, error_95_m, spots_of, ways_of

BEYOND_FACE_M = 0.07  # how far a run is drawn past the edge of its face
ARROW_M = 0.06
STUB_M = 0.35  # of a run that goes on unseen, so much is drawn
RUN_PENS = {
    "cable": "run cable", "low voltage cable": "run low voltage cable", "conduit": "run conduit",
    "pipe": "run pipe", "drain": "run drain", "gas pipe": "run gas pipe", "sprinkler pipe": "run special",
    "radiant tubing": "run special", "tendon": "run special", "duct": "run duct",
}  # fmt: skip
HOLLOW = {"pipe", "drain", "duct", "gas pipe", "sprinkler pipe"}  # drawn as two lines


def run_pen(thing: Thing) -> str:
    """Name of the pen of a run."""
    return "run far" if thing.on_far_face else RUN_PENS.get(thing.kind.name, "run cable")


def band_area(thing: Thing, statuses: Sequence[str] = (SEEN,)) -> BaseGeometry:
    """Where a run may be at 95 %, half its thickness included, on its stretches of some statuses."""
    return unary_union([_swept(s, thing.radius_m) for s in thing.course if s.status in statuses])


def _swept(stretch: Stretch, radius_m: float) -> BaseGeometry:
    ends = ((stretch.start_m, stretch.start_cov), (stretch.end_m, stretch.end_cov))
    return MultiPoint(np.concatenate([_oval(p, radius_m, *error_95_m(cov)) for p, cov in ends])).convex_hull


def _oval(point_m: np.ndarray, radius_m: float, error_x_m: float, error_z_m: float) -> np.ndarray:
    turn = np.linspace(0, 2 * math.pi, 20, endpoint=False)
    reach = np.stack([(radius_m + error_x_m) * np.cos(turn), (radius_m + error_z_m) * np.sin(turn)], axis=1)
    return point_m[:2] + reach


def run_shape(thing: Thing, face: Face) -> Group:
    """A run: the band of its 95 % error, the line, its measured spots; an arrow where it leaves the face.

    Between sightings whose course was not seen every way it may go is drawn, broken, over
    the area they take in; past its last sighting a broken stub.
    """
    sheet = box(-BEYOND_FACE_M, -BEYOND_FACE_M, face.length_m + BEYOND_FACE_M, face.height_m + BEYOND_FACE_M)
    spots = spots_of(thing)
    parts: list[Part] = []
    for pen, statuses in (("band", (SEEN,)), ("band unsure", (BETWEEN,))):
        area = band_area(thing, statuses).intersection(sheet)
        if not area.is_empty:
            parts.append(_region(area, pen))
    for way in ways_of([s for s in thing.course if s.status == BETWEEN]).values():
        parts += [Polyline(points_m=piece, pen="run unsure") for piece in _cut(_points(way), sheet)]
    for line in _stubs(thing):
        parts += [Polyline(points_m=piece, pen="run unsure") for piece in _cut(line, sheet)]
    for line in _joined([s for s in thing.course if s.status == SEEN]):
        pieces = _cut(line, sheet)
        parts += [Polyline(points_m=piece, pen=run_pen(thing)) for piece in pieces]
        if thing.kind.name in HOLLOW:
            parts += [Polyline(points_m=piece, pen="run core") for piece in pieces]
        parts += _exits(pieces, line)
    parts += [Circle(center_m=p, radius_m=0.009, pen="tag") for p in spots if _within(p, face)]
    return Group(parts=tuple(parts), key=thing.item.id, title=describe(thing))


def _region(area: BaseGeometry, pen: str) -> Region:
    polygons = [p for p in getattr(area, "geoms", [area]) if p.geom_type == "Polygon" and not p.is_empty]
    rings = [tuple(ring.coords)[:-1] for p in polygons for ring in (p.exterior, *p.interiors)]
    return Region(rings_m=tuple(rings), pen=pen)


def _points(way: Sequence[Stretch]) -> list[Point]:
    ends = [way[0].start_m, *(s.end_m for s in way)]
    return [(float(p[0]), float(p[1])) for p in ends]


def _joined(stretches: Sequence[Stretch]) -> list[list[Point]]:
    """Stretches that meet end to end as few long lines, so that dashes run on and corners are round."""
    lines: list[list[Point]] = []
    for stretch in stretches:
        start, end = _points([stretch])
        if lines and math.dist(lines[-1][-1], start) < 1e-6:
            lines[-1].append(end)
        else:
            lines.append([start, end])
    return lines


def _stubs(thing: Thing) -> list[list[Point]]:
    """The beginning of the likeliest way of each end that goes on unseen."""
    best: dict[int, list[Stretch]] = {}
    for (group, _), way in ways_of([s for s in thing.course if s.status == BEYOND]).items():
        if group not in best or way[0].weight > best[group][0].weight:
            best[group] = way
    stubs = []
    for way in best.values():
        line = LineString(_points(way))
        if line.length > 0:
            end = line.interpolate(min(STUB_M, line.length))
            stubs.append([_points(way)[0], (end.x, end.y)])
    return stubs


def _cut(points: Sequence[Point], sheet: BaseGeometry) -> list[tuple[Point, ...]]:
    """The parts of a line that lie on the sheet."""
    cut = LineString(points).intersection(sheet)
    return [tuple(g.coords) for g in getattr(cut, "geoms", [cut]) if g.geom_type == "LineString" and not g.is_empty]


def _within(point: Point, face: Face) -> bool:
    return -BEYOND_FACE_M <= point[0] <= face.length_m + BEYOND_FACE_M and -BEYOND_FACE_M <= point[1] <= face.height_m


def _exits(pieces: Sequence[tuple], points: Sequence[Point]) -> list[Part]:
    """Arrow heads where a run was cut off at the edge of the sheet."""
    arrows: list[Part] = []
    for piece in pieces:
        for tip, before in ((piece[0], piece[1]), (piece[-1], piece[-2])):
            if min(math.dist(tip, p) for p in (points[0], points[-1])) > 1e-6:
                back = math.atan2(before[1] - tip[1], before[0] - tip[0])
                wings = [
                    (tip[0] + ARROW_M * math.cos(back + a), tip[1] + ARROW_M * math.sin(back + a)) for a in (0.4, -0.4)
                ]
                arrows.append(Polyline(points_m=(tip, *wings), pen="arrow", closed=True))
    return arrows
