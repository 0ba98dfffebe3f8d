"""Which things may lie near a place: one spatial index over all faces of a record."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from scipy.spatial import cKDTree

from asbuilt.answers.course import EDGE_M, JOIN_M, TURN_REACH_M
from asbuilt.record.kinds import KINDS
from asbuilt.record.store import Record

FACE_STEP_M = 10_000.0  # faces are laid side by side this far apart, so that one tree serves all
REACH_SIGMA = 5.0
UNKNOWN_GANGS_M = 0.05  # a box of unknown size may reach this much farther to either side
STRAY_M = 0.15  # runs may leave the rectangle of their sightings by this much
# What a run can go into.
ENDS = ("device box", "junction box", "panel", "coil", "conduit end", "stub")

_ROWS = """
SELECT p.item_id, p.face_id, p.offset_m, p.height_m,
       p.covariance ->> '$[0][0]', p.covariance ->> '$[1][1]',
       i.kind, coalesce(i.width_m, 0), coalesce(i.height_m, 0), coalesce(i.gangs, 1), i.circuit_id
FROM positions p JOIN items i ON i.id = p.item_id
WHERE p.status = 'measured' AND i.state != 'removed'
ORDER BY p.item_id, p.order_idx
"""
# What a run must lead to even when nobody marked that run, with its usual radius [m].
LEADERS = {"conduit end": 0.012, "stub": 0.012, "coil": 0.006}
# What stays to be seen on the finished wall.
BOXES = ("device box", "junction box", "panel")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ThingIndex:
    """Rectangles on the faces, each with the item that may lie in it."""

    tree: shapely.STRtree
    owners: np.ndarray  # rectangle -> item number
    item_ids: np.ndarray  # item number -> id
    ends_m: np.ndarray  # item number -> first and last spot of a run (x, z, x, z), else NaN
    is_end: np.ndarray  # item number -> whether a run can go into it
    boxes_m: np.ndarray  # boxes and panels: (face number, offset, sigma, item number), by face
    faces: dict[str, int]

    def near(self, face_id: str, rectangle_m: tuple[float, float, float, float]) -> tuple[list[str], list[str]]:
        """Items that may lie in a rectangle (left, bottom, right, top) of a face.

        Returns
        -------
        ids, ends : list of str
            The items, and what the runs among them may go into, wherever that is.
        """
        if face_id not in self.faces:
            return [], []
        shift = np.array([1.0, 0, 1, 0]) * self.faces[face_id] * FACE_STEP_M
        found = np.unique(self.owners[self.tree.query(shapely.box(*(np.array(rectangle_m) + shift)))])
        ends = self.ends_m[found]
        ends = ends[np.isfinite(ends[:, 0])].reshape(-1, 2) + shift[:2]
        reach = shapely.box(*(ends - JOIN_M).T, *(ends + JOIN_M).T)
        into = np.unique(self.owners[self.tree.query(reach)[1]])
        into = into[self.is_end[into]]
        return self.item_ids[found].tolist(), self.item_ids[into].tolist()

    def boxes_on(self, face_id: str) -> list[tuple[str, float, float]]:
        """Boxes and panels of a face: (id, offset, one-sigma error) [m]."""
        number = self.faces.get(face_id, -1)
        first, last = np.searchsorted(self.boxes_m[:, 0], [number, number + 1])
        return [(self.item_ids[int(item)], float(x), float(s)) for _, x, s, item in self.boxes_m[first:last]]


def build_index(record: Record, face_sizes_m: dict[str, tuple[float, float]]) -> ThingIndex:
    """Index every measured item of a record.

    Parameters
    ----------
    face_sizes_m : dict
        Face id to (length, height).
    """
    faces = {face_id: number for number, face_id in enumerate(face_sizes_m)}
    rows = [row for row in record.db.execute(_ROWS).fetchall() if row[1] in faces]
    if not rows:
        return ThingIndex(tree=shapely.STRtree([]), owners=np.zeros(0, int), item_ids=np.zeros(0, object),
                          ends_m=np.zeros((0, 4)), is_end=np.zeros(0, bool),
                          boxes_m=np.zeros((0, 4)), faces=faces)  # fmt: skip
    columns = list(zip(*rows, strict=True))
    item_ids = np.array(columns[0], dtype=object)
    starts = np.concatenate([[0], np.flatnonzero(item_ids[1:] != item_ids[:-1]) + 1])
    face_number = np.array([faces[f] for f in columns[1]])
    x, z = np.array(columns[2], float), np.array(columns[3], float)
    reach = REACH_SIGMA * np.sqrt(np.maximum(np.array(columns[4], float), np.array(columns[5], float)))
    kinds = np.array(columns[6], dtype=object)[starts]
    half_w, half_h = _half_sizes(columns, starts, kinds)
    half_w += np.where(kinds == "device box", UNKNOWN_GANGS_M, 0.0)
    is_run = np.array([KINDS[k].is_run for k in kinds])
    grow = np.where(is_run, STRAY_M, 0.0)
    left = np.minimum.reduceat(x - reach, starts) - half_w - grow
    right = np.maximum.reduceat(x + reach, starts) + half_w + grow
    bottom = np.minimum.reduceat(z - reach, starts) - half_h - grow
    top = np.maximum.reduceat(z + reach, starts) + half_h + grow
    number, sizes = face_number[starts], np.array(list(face_sizes_m.values()))
    own = np.stack([left, bottom, right, top], axis=1)
    ends = _end_rectangles(x, z, reach, starts, kinds, number, columns[10], sizes)
    rectangles = np.concatenate([own, ends[0]])
    owners = np.concatenate([np.arange(len(starts)), ends[1]])
    shift = number[owners] * FACE_STEP_M
    boxes = shapely.box(rectangles[:, 0] + shift, rectangles[:, 1], rectangles[:, 2] + shift, rectangles[:, 3])
    last = np.concatenate([starts[1:], [len(x)]]) - 1
    ends_m = np.where(is_run[:, None], np.stack([x[starts], z[starts], x[last], z[last]], axis=1), np.nan)
    return ThingIndex(tree=shapely.STRtree(boxes), owners=owners, item_ids=item_ids[starts], ends_m=ends_m,
                      is_end=np.isin(kinds, ENDS), faces=faces,
                      boxes_m=_boxes(starts, kinds, face_number, x, reach / REACH_SIGMA))  # fmt: skip


def _boxes(starts, kinds, face_number, x, sigma) -> np.ndarray:
    """Boxes and panels by face: (face number, offset, sigma, item number)."""
    items = np.flatnonzero(np.isin(kinds, BOXES))
    first = starts[items]
    table = np.stack([face_number[first], x[first], sigma[first], items], axis=1).astype(float)
    return table[np.argsort(table[:, 0], kind="stable")]


def _half_sizes(columns, starts, kinds) -> tuple[np.ndarray, np.ndarray]:
    usual_w = np.array([KINDS[k].width_m for k in kinds])
    usual_h = np.array([KINDS[k].height_m for k in kinds])
    width, height = np.array(columns[7], float)[starts], np.array(columns[8], float)[starts]
    gangs = np.array(columns[9], float)[starts]
    width = np.where(width > 0, width, usual_w * np.maximum(gangs, 1))
    return width / 2, np.where(height > 0, height, usual_h) / 2


def _end_rectangles(x, z, reach, starts, kinds, number, circuits, sizes) -> tuple[np.ndarray, np.ndarray]:
    """Strips along which runs may go on past their ends: to a box, or level and upright to the edges."""
    is_run = np.array([KINDS[k].is_run for k in kinds])
    last = np.concatenate([starts[1:], [len(x)]]) - 1
    runs = np.flatnonzero(is_run | np.isin(kinds, list(LEADERS)))
    owner = np.concatenate([runs, runs])
    at = np.concatenate([starts[runs], last[runs]])
    size = sizes[number[owner]]
    circuit = np.array([hash(c) % 1_000_003 if c is not None else -1 for c in circuits], float)
    edge = np.minimum(np.minimum(x[at], size[:, 0] - x[at]), np.minimum(z[at], size[:, 1] - z[at])) < EDGE_M
    is_end = np.isin(kinds, ENDS) & (circuit[starts] >= 0)
    boxes = starts[is_end]
    joined = np.zeros(len(at), bool)
    if len(boxes) and len(at):
        tree = cKDTree(_keys(x[boxes], z[boxes], number[is_end], circuit[boxes]))
        distance, _ = tree.query(_keys(x[at], z[at], number[owner], circuit[at]), distance_upper_bound=JOIN_M)
        joined = np.isfinite(distance) & (circuit[at] >= 0)
    loose = (~edge & ~joined) | np.isin(kinds[owner], list(LEADERS))
    spread = reach[at] + STRAY_M
    short = joined & ~edge
    near = np.stack([x[at] - JOIN_M, z[at] - JOIN_M, x[at] + JOIN_M, z[at] + JOIN_M], axis=1)[short]
    wide = np.zeros_like(x[at])
    level = np.stack([wide, z[at] - spread, size[:, 0], z[at] + spread], axis=1)[loose]
    turn = TURN_REACH_M + spread
    upright = np.stack([x[at] - turn, wide, x[at] + turn, size[:, 1]], axis=1)[loose]
    rectangles = np.concatenate([near, level, upright])
    return rectangles, np.concatenate([owner[short], owner[loose], owner[loose]])


def _keys(x, z, number, circuit) -> np.ndarray:
    return np.stack([x + number * FACE_STEP_M, z, circuit * FACE_STEP_M], axis=1)
