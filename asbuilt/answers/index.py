"""Which things may lie near a place: rectangles sorted by face over a whole record.

A face holds some dozens of rectangles, so comparing them all at once is quicker than walking
a tree, and a million items need no object each. A face with very many has a tree of its own.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import shapely
from scipy.spatial import cKDTree

from asbuilt.answers.course import EDGE_M, JOIN_M, SURE_JOIN_M, TURN_REACH_M
from asbuilt.answers.index_rows import PlacedItems, read_items
from asbuilt.answers.stretches import STRAY_SHARE
from asbuilt.record.kinds import KINDS
from asbuilt.record.store import Record

FACE_STEP_M = 10_000.0  # faces are laid side by side this far apart when ends are joined to boxes
REACH_SIGMA = 5.0
UNKNOWN_GANGS_M = 0.05  # a box of unknown size may reach this much farther to either side
STRAY_M = 0.15  # runs may leave the rectangle of their sightings by this much
MOST_COMPARED = 4000  # rectangles of one face that are compared one by one; above this a tree is quicker
# What a run can go into.
ENDS = ("device box", "junction box", "panel", "coil", "conduit end", "stub")
# What a run must lead to even when nobody marked that run, with its usual radius [m].
LEADERS = {"conduit end": 0.012, "stub": 0.012, "coil": 0.006}
# What stays to be seen on the finished wall.
BOXES = ("device box", "junction box", "panel")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ThingIndex:
    """Rectangles on the faces, each with the item that may lie in it."""

    rectangles_m: np.ndarray  # (R, 4), left, bottom, right, top, sorted by face
    owners: np.ndarray  # rectangle -> item number
    bounds: np.ndarray  # face number -> its first rectangle; one more at the end
    item_ids: np.ndarray  # item number -> id
    ends_m: np.ndarray  # item number -> first and last spot of a run (x, z, x, z), else NaN
    is_end: np.ndarray  # item number -> whether a run can go into it
    boxes_m: np.ndarray  # boxes and panels: (face number, offset, sigma, item number), by face
    faces: dict[str, int]
    trees: dict[int, shapely.STRtree] = field(default_factory=dict)  # of faces with very many rectangles

    def near(self, face_id: str, rectangle_m: tuple[float, float, float, float]) -> tuple[list[str], list[str]]:
        """Items that may lie in a rectangle (left, bottom, right, top) of a face.

        Returns
        -------
        ids, ends : list of str
            The items, and what the runs among them may go into, wherever that is.
        """
        if face_id not in self.faces:
            return [], []
        number = self.faces[face_id]
        found = self._meeting(number, np.array([rectangle_m], float))
        ends = self.ends_m[found]
        ends = ends[np.isfinite(ends[:, 0])].reshape(-1, 2)
        into = self._meeting(number, np.concatenate([ends - JOIN_M, ends + JOIN_M], axis=1))
        into = into[self.is_end[into]]
        return self.item_ids[found].tolist(), self.item_ids[into].tolist()

    def _meeting(self, number: int, asked_m: np.ndarray) -> np.ndarray:
        """Numbers of the items of a face of which a rectangle meets one of ``asked_m`` (K, 4)."""
        first, last = self.bounds[number], self.bounds[number + 1]
        own = self.rectangles_m[first:last]
        if len(own) > MOST_COMPARED:
            if number not in self.trees:
                self.trees[number] = shapely.STRtree(shapely.box(*own.T))
            hit = self.trees[number].query(shapely.box(*asked_m.T))[1]
        else:
            meets = (own[None, :, :2] <= asked_m[:, None, 2:]) & (own[None, :, 2:] >= asked_m[:, None, :2])
            hit = meets.all(axis=2).any(axis=0)
        return np.array(sorted(set(self.owners[first:last][hit].tolist())), int)  # of a few, sooner than np.unique

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
    items = read_items(record, faces)
    if not len(items.ids):
        return ThingIndex(rectangles_m=np.zeros((0, 4)), owners=np.zeros(0, int), item_ids=np.zeros(0, object),
                          bounds=np.zeros(len(faces) + 1, int), ends_m=np.zeros((0, 4)), is_end=np.zeros(0, bool),
                          boxes_m=np.zeros((0, 4)), faces=faces)  # fmt: skip
    sizes = np.array(list(face_sizes_m.values()))
    reach = REACH_SIGMA * items.sigma_m
    own, more, more_owners = _own_rectangles(items, reach), *_end_rectangles(items, reach, sizes)
    owners = np.concatenate([np.arange(len(items.ids), dtype=np.int32), more_owners.astype(np.int32)])
    number = items.face[items.starts][owners]
    order = np.argsort(number, kind="stable")
    first, last = items.starts, items.lasts
    x, z = items.offset_m, items.height_m
    ends_m = np.where(items.of_kind(lambda k: KINDS[k].is_run)[:, None],
                      np.stack([x[first], z[first], x[last], z[last]], axis=1), np.nan)  # fmt: skip
    return ThingIndex(rectangles_m=np.concatenate([own, more])[order], owners=owners[order],
                      bounds=np.searchsorted(number[order], np.arange(len(faces) + 1)), item_ids=items.ids,
                      ends_m=ends_m, is_end=items.of_kind(ENDS.__contains__), faces=faces,
                      boxes_m=_boxes(items))  # fmt: skip


def _own_rectangles(items: PlacedItems, reach: np.ndarray) -> np.ndarray:
    """What each item may take up, with its size and error (and how far a run may stray)."""
    x, z, starts = items.offset_m, items.height_m, items.starts
    half_w, half_h = items.half_sizes_m()
    half_w += np.where(items.of_kind("device box".__eq__), UNKNOWN_GANGS_M, 0.0)
    grow = np.where(items.of_kind(lambda k: KINDS[k].is_run), STRAY_M, 0.0)
    left = np.minimum.reduceat(x - reach, starts) - half_w - grow
    right = np.maximum.reduceat(x + reach, starts) + half_w + grow
    bottom = np.minimum.reduceat(z - reach, starts) - half_h - grow
    top = np.maximum.reduceat(z + reach, starts) + half_h + grow
    return np.stack([left, bottom, right, top], axis=1)


def _boxes(items: PlacedItems) -> np.ndarray:
    """Boxes and panels by face: (face number, offset, sigma, item number)."""
    boxes = np.flatnonzero(items.of_kind(BOXES.__contains__))
    first = items.starts[boxes]
    table = np.stack([items.face[first], items.offset_m[first], items.sigma_m[first], boxes], axis=1).astype(float)
    return table[np.argsort(table[:, 0], kind="stable")]


def _end_rectangles(items: PlacedItems, reach: np.ndarray, sizes: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Strips along which runs may go on past their ends: to a box, or level and upright to the edges."""
    x, z, circuit = items.offset_m, items.height_m, items.circuit
    number = items.face[items.starts]
    leads = items.of_kind(LEADERS.__contains__)
    runs = np.flatnonzero(items.of_kind(lambda k: KINDS[k].is_run) | leads)
    owner = np.concatenate([runs, runs])
    at = np.concatenate([items.starts[runs], items.lasts[runs]])
    size = sizes[number[owner]]
    edge = np.minimum(np.minimum(x[at], size[:, 0] - x[at]), np.minimum(z[at], size[:, 1] - z[at])) < EDGE_M
    is_end = items.of_kind(ENDS.__contains__) & (circuit >= 0)
    boxes = items.starts[is_end]
    joined, sure = np.zeros(len(at), bool), np.zeros(len(at), bool)
    if len(boxes) and len(at):
        tree = cKDTree(_keys(x[boxes], z[boxes], number[is_end], circuit[is_end]))
        keys = _keys(x[at], z[at], number[owner], circuit[owner])
        distance, box = tree.query(keys, distance_upper_bound=JOIN_M)
        joined = np.isfinite(distance) & (circuit[owner] >= 0)
        one, other = np.split(box, 2)
        joined &= ~np.tile(one == other, 2)  # of two ends at one box one leads away from it
        sure = joined & (distance <= SURE_JOIN_M)
    single = items.starts == items.lasts  # seen at one spot: it goes on to the other side of it
    loose = (~edge & ~joined) | leads[owner] | single[owner]
    # The farther a run goes unseen, the more it may stray; two sigma of that, for what it is listed within.
    ahead_m = np.maximum(np.stack([x[at], z[at]], axis=1), size - np.stack([x[at], z[at]], axis=1))
    aside_m = (reach[at] + STRAY_M)[:, None] + 2 * STRAY_SHARE * ahead_m
    short = joined & ~edge
    near = np.stack([x[at] - JOIN_M, z[at] - JOIN_M, x[at] + JOIN_M, z[at] + JOIN_M], axis=1)[short]
    wide, turn = np.zeros_like(x[at]), aside_m[:, 1] + np.where(loose, TURN_REACH_M, 0.0)
    loose |= short & ~sure  # it may go straight on past its box
    level = np.stack([wide, z[at] - aside_m[:, 0], size[:, 0], z[at] + aside_m[:, 0]], axis=1)[loose]
    upright = np.stack([x[at] - turn, wide, x[at] + turn, size[:, 1]], axis=1)[loose]
    rectangles = np.concatenate([near, level, upright])
    return rectangles, np.concatenate([owner[short], owner[loose], owner[loose]])


def _keys(x, z, number, circuit) -> np.ndarray:
    return np.stack([x + number * FACE_STEP_M, z, circuit * FACE_STEP_M], axis=1)
