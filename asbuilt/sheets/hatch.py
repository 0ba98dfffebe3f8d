"""Areas of a face that were not recorded, hatched so that they never pass for empty wall."""

from __future__ import annotations

import math

import numpy as np
from shapely import MultiLineString, Polygon, box, unary_union
from shapely.geometry.base import BaseGeometry

from asbuilt.sheets.drawing import Group, Part, Region, Strokes, Text
from asbuilt.sheets.labels import LabelSpace, text_width_m

HATCH_SPACING_M = 0.11
WORD_SIZE_M = 0.11  # areas that cannot hold the words at two thirds of this size are hatched without them


def cells_area(cells: np.ndarray, cell_m: float, width_m: float, height_m: float) -> BaseGeometry:
    """The area of the true cells of a grid, as a shapely geometry in face metres.

    Parameters
    ----------
    cells : ndarray of bool, shape (rows, cols)
        Row 0 at the floor.
    cell_m : float
        Side of a cell [m].
    width_m, height_m : float
        Size of the face; cells are cut off at its edge [m].
    """
    strips = []
    for row, line in enumerate(np.asarray(cells, dtype=bool)):
        edges = np.flatnonzero(np.diff(np.concatenate([[0], line.astype(np.int8), [0]])))
        for start, end in edges.reshape(-1, 2):
            strips.append(box(start * cell_m, row * cell_m, end * cell_m, (row + 1) * cell_m))
    return unary_union(strips).intersection(box(0, 0, width_m, height_m))


def hatched(area: BaseGeometry, name: str, layer: str, turn_rad: float = math.pi / 4) -> Group:
    """An area with a ground, slanted lines, and an edge where the pens have one.

    Parameters
    ----------
    area : shapely geometry
        In face metres.
    name : str
        ``not recorded`` or ``seen but poor``; also the name of the pens.
    layer : str
    turn_rad : float
        Slant of the lines.
    """
    polygons = [p for p in getattr(area, "geoms", [area]) if isinstance(p, Polygon) and not p.is_empty]
    parts: list[Part] = []
    for polygon in polygons:
        rings = tuple(tuple(ring.coords)[:-1] for ring in (polygon.exterior, *polygon.interiors))
        parts.append(Region(rings_m=rings, pen=name))
        parts.append(Strokes(segments_m=slanted(polygon, turn_rad), pen=f"{name} hatch"))
        if name == "not recorded":
            parts.append(Region(rings_m=rings, pen="not recorded edge"))
    return Group(parts=tuple(parts), layer=layer, title=name)


def slanted(polygon: Polygon, turn_rad: float = math.pi / 4) -> tuple:
    """Lines at ``turn_rad`` through a polygon; spaced from the face's corner, so neighbours line up."""
    along = np.array([math.cos(turn_rad), math.sin(turn_rad)])
    across = np.array([-along[1], along[0]])
    left, bottom, right, top = polygon.bounds
    corners = np.array([(left, bottom), (left, top), (right, bottom), (right, top)])
    low, high = (corners @ across).min(), (corners @ across).max()
    reach = np.hypot(right - left, top - bottom)
    middle = along * float(np.dot(along, ((left + right) / 2, (bottom + top) / 2)))
    steps = np.arange(math.ceil(low / HATCH_SPACING_M), math.floor(high / HATCH_SPACING_M) + 1) * HATCH_SPACING_M
    lines = MultiLineString([[middle + across * s - along * reach, middle + across * s + along * reach] for s in steps])
    cut = lines.intersection(polygon)
    pieces = [g for g in getattr(cut, "geoms", [cut]) if g.geom_type == "LineString" and not g.is_empty]
    return tuple((piece.coords[0], piece.coords[-1]) for piece in pieces)


def area_words(area: BaseGeometry, name: str, layer: str, space: LabelSpace) -> Group:
    """The name of each area written in it, level or upright, where it covers least."""
    texts = [_word(p, name, space) for p in getattr(area, "geoms", [area]) if isinstance(p, Polygon) and not p.is_empty]
    return Group(parts=tuple(t for t in texts if t is not None), layer=layer)


def _word(polygon: Polygon, name: str, space: LabelSpace) -> Text | None:
    left, bottom, right, top = polygon.bounds
    upright = (top - bottom) > 1.4 * (right - left) and (right - left) < 1.2
    along_m, across_m = (top - bottom, right - left) if upright else (right - left, top - bottom)
    size_m = min(WORD_SIZE_M, along_m / text_width_m(name, 1.1), across_m / 1.5)
    if size_m < WORD_SIZE_M * 2 / 3:
        return None
    width_m, height_m = text_width_m(name, size_m), 1.3 * size_m
    if upright:
        width_m, height_m = height_m, width_m
    grid = [
        (left + (right - left) * i / 8, bottom + (top - bottom) * j / 8)
        for j in (4, 5, 3, 6, 2, 7, 1)
        for i in (4, 3, 5, 2, 6)
    ]
    inside = [
        p
        for p in grid
        if polygon.covers(box(p[0] - width_m / 2, p[1] - height_m / 2, p[0] + width_m / 2, p[1] + height_m / 2))
    ]
    if not inside:
        return None
    x, z = space.place(inside, width_m, height_m)
    shift_m = size_m * 0.35
    at_m = (x + shift_m, z) if upright else (x, z - shift_m)
    return Text(at_m=at_m, text=name, size_m=size_m, anchor="middle", turn_rad=math.pi / 2 if upright else 0.0)
