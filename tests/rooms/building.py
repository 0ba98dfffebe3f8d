"""Rooms made up from a seed, with every true number known beside what a person would have taped.

Face frame: x right along the face from its left end, y into the wall from the stud faces, z up.
The building frame has its origin at the left end of the first face, x along that face; walls
follow clockwise seen from above. Nothing here uses the package's own geometry: the truth has
to be independent of what is tested with it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

IN_M = 0.0254
FT_M = 0.3048
TAPE_SIGMA_M = IN_M / 16
TAPE_STEP_M = IN_M / 16
STUD_WANDER_SIGMA_M = IN_M / 4
STUD_PLANE_SIGMA_M = 0.001
VERTEX_SIGMA_M = 0.006  # how far a corner of the building strays from the drawing
STUD_WIDTH_M = 1.5 * IN_M
HEADROOM_M = 0.3  # framing between an opening's top and the plate


def taped(true_m: np.ndarray | float, rng: np.random.Generator) -> np.ndarray:
    """What a tape read at a true length says: sd 1/16 in of error, read to 1/16 in [m]."""
    true_m = np.asarray(true_m, dtype=float)
    return np.round((true_m + rng.normal(0, TAPE_SIGMA_M, true_m.shape)) / TAPE_STEP_M) * TAPE_STEP_M


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SimFace:
    """One face: truth, and beside it what was taped or assumed (``taped_``, ``nominal_``)."""

    name: str
    length_m: float
    height_m: float
    taped_length_m: float
    taped_height_m: float
    corner_rad: float  # inside angle at the right end
    nominal_corner_rad: float
    spacing_m: float
    layout_from: str
    stud_depth_m: float
    stud_centers_m: np.ndarray  # (S,) full-height studs, left to right
    stud_faces_y_m: np.ndarray  # (S,) how far each stud's face strays from the plane
    openings_m: np.ndarray  # (O, 4) left, right, bottom, top
    taped_openings_m: np.ndarray  # (O, 4)
    rotation: np.ndarray  # building_from_face
    origin_m: np.ndarray

    def to_building(self, points_face_m: np.ndarray) -> np.ndarray:
        """Face points (..., 3) in the building frame [m]."""
        return np.asarray(points_face_m) @ self.rotation.T + self.origin_m

    def to_face(self, points_building_m: np.ndarray) -> np.ndarray:
        """Building points (..., 3) in the face frame [m]."""
        return (np.asarray(points_building_m) - self.origin_m) @ self.rotation

    def in_opening(self, x_m: np.ndarray, z_m: np.ndarray, margin_m: float = 0.0) -> np.ndarray:
        """Which (x, z) lie in an opening grown by ``margin_m``."""
        inside = np.zeros(np.shape(x_m), dtype=bool)
        for left, right, bottom, top in self.openings_m:
            inside |= (
                (x_m > left - margin_m) & (x_m < right + margin_m) & (z_m > bottom - margin_m) & (z_m < top + margin_m)
            )
        return inside


def _vertices(count: int, rng: np.random.Generator) -> tuple[np.ndarray, bool]:
    """Nominal plan corners (V, 2) [m], clockwise, first edge along +x; and whether the plan closes."""
    long_m, wide_m = rng.uniform(12, 25) * FT_M, rng.uniform(10, 17) * FT_M
    if count == 4:
        return np.array([[0, 0], [long_m, 0], [long_m, -wide_m], [0, -wide_m]]), True
    if count == 5:
        cut_m = rng.uniform(3.5, 5) * FT_M
        plan = [[0, 0], [long_m, 0], [long_m, cut_m - wide_m], [long_m - cut_m, -wide_m], [0, -wide_m]]
        return np.array(plan), True
    corners_deg = [rng.choice([90, 90, 105, 120, 135]), 90.0]
    lengths_m = [long_m, wide_m, rng.uniform(9, 20) * FT_M]
    turn_rad, place = 0.0, np.zeros(2)
    plan = [place]
    for k in range(count):
        place = place + lengths_m[k] * np.array([np.cos(turn_rad), np.sin(turn_rad)])
        plan.append(place)
        turn_rad -= np.pi - np.radians(corners_deg[min(k, 1)])
    return np.array(plan), False


def _plan(vertices_m: np.ndarray, closed: bool) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Start points (F, 2), directions [rad] and lengths [m] of the edges of a plan."""
    ends = np.roll(vertices_m, -1, axis=0) if closed else vertices_m[1:]
    starts = vertices_m if closed else vertices_m[:-1]
    edges = ends - starts
    return starts, np.arctan2(edges[:, 1], edges[:, 0]), np.linalg.norm(edges, axis=1)


def _inside_angles(turns_rad: np.ndarray, closed: bool) -> np.ndarray:
    """Inside angle at the right end of every edge [rad]; a right angle at a free end."""
    angles = np.pi + (np.roll(turns_rad, -1) - turns_rad + np.pi) % (2 * np.pi) - np.pi
    if not closed:
        angles[-1] = np.pi / 2
    return angles


def _openings(length_m: float, rng: np.random.Generator) -> np.ndarray:
    """At most one door or window, (O, 4) [m]."""
    if length_m < 2.8 or rng.uniform() < 0.45:
        return np.zeros((0, 4))
    if rng.uniform() < 0.5:
        wide, bottom, top = rng.uniform(0.85, 1.0), 0.0, rng.uniform(2.06, 2.1)
    else:
        wide, bottom, top = rng.uniform(0.8, 1.5), rng.uniform(0.75, 1.1), rng.uniform(1.95, 2.1)
    left = rng.uniform(0.6, length_m - 0.6 - wide)
    return np.array([[left, left + wide, bottom, top]])


def _studs(length_m, spacing_m, layout_from, openings_m, rng) -> np.ndarray:
    """Centres of the full-height studs, wandering about their marks, (S,) [m]."""
    marks = np.arange(1, int(length_m / spacing_m) + 1) * spacing_m
    marks = marks if layout_from == "left" else length_m - marks
    kings = [e for o in openings_m for e in (o[0] - 1.5 * STUD_WIDTH_M, o[1] + 1.5 * STUD_WIDTH_M)]
    fixed = np.array([STUD_WIDTH_M / 2, length_m - STUD_WIDTH_M / 2, *kings])
    free = [
        m for m in marks
        if np.abs(fixed - m).min() > 2.5 * STUD_WIDTH_M
        and not any(o[0] - 2 * STUD_WIDTH_M < m < o[1] + 2 * STUD_WIDTH_M for o in openings_m)
    ]  # fmt: skip
    free = np.array(free) + rng.normal(0, STUD_WANDER_SIGMA_M, len(free))
    return np.sort(np.concatenate([fixed, free]))


def make_faces(rng: np.random.Generator, count: int | None = None) -> tuple[tuple[SimFace, ...], bool]:
    """The faces of one room in clockwise order, and whether they close.

    Two and three faces are an open L or U, whose corner need not be square; four are a
    rectangle and five a rectangle with one corner cut off, both closed. Corners stray from
    the drawing (sd 6 mm each way), so true angles and lengths differ from nominal ones.
    """
    count = int(rng.integers(2, 6)) if count is None else count
    nominal, closed = _vertices(count, rng)
    _, nominal_turns, _ = _plan(nominal, closed)
    starts, turns, lengths = _plan(nominal + rng.normal(0, VERTEX_SIGMA_M, nominal.shape), closed)
    cos, sin = np.cos(-turns[0]), np.sin(-turns[0])
    starts = (starts - starts[0]) @ np.array([[cos, -sin], [sin, cos]]).T
    corners, nominal_corners = _inside_angles(turns, closed), _inside_angles(nominal_turns, closed)
    metric = rng.uniform() < 0.35
    spacing_m = float(rng.choice([0.4, 0.6] if metric else [16 * IN_M, 19.2 * IN_M, 24 * IN_M]))
    height_m = float(rng.uniform(2.35, 2.8))
    faces = []
    for k in range(count):
        turn, length = turns[k] - turns[0], float(lengths[k])
        along, into = np.array([np.cos(turn), np.sin(turn), 0]), np.array([-np.sin(turn), np.cos(turn), 0])
        openings = _openings(length, rng)
        openings[:, 3] = np.minimum(openings[:, 3], height_m - HEADROOM_M)
        layout_from = str(rng.choice(["left", "right"]))
        studs = _studs(length, spacing_m, layout_from, openings, rng)
        faces.append(
            SimFace(
                name="abcde"[k],
                length_m=length,
                height_m=height_m,
                taped_length_m=float(taped(length, rng)),
                taped_height_m=float(taped(height_m, rng)),
                corner_rad=float(corners[k]),
                nominal_corner_rad=float(nominal_corners[k]),
                spacing_m=spacing_m,
                layout_from=layout_from,
                stud_depth_m=float(rng.choice([3.5, 5.5])) * IN_M,
                stud_centers_m=studs,
                stud_faces_y_m=rng.normal(0, STUD_PLANE_SIGMA_M, len(studs)),
                openings_m=openings,
                taped_openings_m=taped(openings, rng),
                rotation=np.stack([along, into, [0, 0, 1.0]], axis=1),
                origin_m=np.array([*starts[k], 0.0]),
            )
        )
    return tuple(faces), closed


def stud_edges_m(face: SimFace) -> tuple[np.ndarray, np.ndarray]:
    """Left and right edges of the full-height studs, each (S,) [m]."""
    return face.stud_centers_m - STUD_WIDTH_M / 2, face.stud_centers_m + STUD_WIDTH_M / 2


def clear_bays_m(face: SimFace, at_least_m: float = 0.1) -> np.ndarray:
    """Clear left and right edge of every bay at least so wide, (B, 2) [m]."""
    left, right = stud_edges_m(face)
    bays = np.stack([right[:-1], left[1:]], axis=1)
    return bays[bays[:, 1] - bays[:, 0] >= at_least_m]


def spread_over(candidates: Sequence[float], count: int, rng: np.random.Generator) -> np.ndarray:
    """``count`` of the candidates, one from each equal share of their range, sorted."""
    shares = np.array_split(np.sort(np.asarray(candidates)), min(count, len(candidates)))
    return np.array([rng.choice(share) for share in shares])
