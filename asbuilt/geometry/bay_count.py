"""Which stud is which: a lattice seen in one picture laid over what the plan says of the walls.

Between alike bays nothing tells one from the next; corners, openings and the studs beside them do.
What is left open is said, with all the places it may be.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from asbuilt.geometry.stud_lattice import Lattice
from asbuilt.geometry.studs import OpeningSpan

SEEN = 0.8  # how often a stud is seen where one stands
# What an upright costs, in powers of ten, where no stud should be, and where the wall has ended: panels,
# ladders and pipes stand anywhere, and the next wall's studs beyond a corner.
STRAY_COST, BEYOND_COST, LATTICE_BEYOND_COST = 1.0, 0.7, 2.0
IN_OPENING = 0.5  # cripples stand on the marks over and under an opening, when there is room
SAME_M, SCALE_FACTOR = 0.02, 2.0
CERTAIN = 2.5  # powers of ten by which one place is likelier than any other
SPACING_AGREES_M = 0.008


@dataclass(frozen=True, slots=True, kw_only=True)
class WallPlan:
    """What a plan says of a wall's studs [m]."""

    face_id: str
    length_m: float
    spacing_m: float
    layout_from: str
    width_m: float
    openings: tuple[OpeningSpan, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Counted:
    """Where the foot of the camera may be: its offset on a face [m], and how likely it is (the best is 0)."""

    face_id: str
    foot_m: float
    log10_odds: float


def count_bays(
    lattice: Lattice,
    walls: Sequence[WallPlan],
    seen_from_m: float,
    seen_to_m: float,
    certain: float | None = None,
) -> list[Counted]:
    """Places of a lattice that fit the plan, the likeliest first; one only if the count is certain.

    Parameters
    ----------
    walls : sequence of WallPlan
        The walls that the picture may show.
    seen_from_m, seen_to_m : float
        What the picture shows of the plane of the studs, from the foot of the camera.
    certain : float, optional
        Powers of ten by which a place is to be less likely than the best before it is left out; infinite: none is.

    Returns
    -------
    list of Counted
        Empty where nothing fits.
    """
    trials = []
    for wall in walls:
        if abs(wall.spacing_m - lattice.spacing_m) > SPACING_AGREES_M:
            continue
        for foot_m in _feet(lattice, wall):
            trials.append((_fits(lattice, wall, foot_m, seen_from_m, seen_to_m), wall.face_id, foot_m))
    if not trials:
        return []
    trials.sort(key=lambda t: -t[0])
    best, certain = trials[0][0], CERTAIN if certain is None else certain
    return [Counted(face_id=f, foot_m=float(m), log10_odds=s - best) for s, f, m in trials if s > best - certain]


def _feet(lattice: Lattice, wall: WallPlan) -> np.ndarray:
    """Offsets of the foot that lay the lattice on the wall's marks, one for each whole bay."""
    phase = 0.0 if wall.layout_from == "left" else wall.length_m
    first = (phase - lattice.start_m) % wall.spacing_m
    feet = np.arange(first - 12 * wall.spacing_m, wall.length_m + 12 * wall.spacing_m, wall.spacing_m)
    centers = lattice.centers_m[lattice.on_mark]
    return feet[(feet + centers.min() > -SAME_M) & (feet + centers.max() < wall.length_m + SAME_M)]


def _fits(lattice: Lattice, wall: WallPlan, foot_m: float, seen_from_m: float, seen_to_m: float) -> float:
    """How well a lattice fits at a place, as the logarithm to ten of a likelihood."""
    fixed, marks, free = _expected(wall)
    at = lattice.centers_m + foot_m
    middle = (lattice.centers_m[lattice.on_mark].mean()) + foot_m
    reach = SAME_M + SCALE_FACTOR * lattice.sigma_scale * np.abs(at - middle)
    places = np.concatenate([fixed, marks, free])
    often = np.concatenate([np.full(len(fixed) + len(marks), SEEN), np.full(len(free), IN_OPENING)])
    near = np.abs(at[:, None] - places) < reach[:, None]
    shown = (places > foot_m + seen_from_m + wall.width_m) & (places < foot_m + seen_to_m - wall.width_m)
    # Beside a stud that is seen a doubled one may hide: nothing is said by it.
    hidden = (np.abs(places[:, None] - at[None]) < 1.6 * wall.width_m).any(axis=1) & ~near.any(axis=0)
    shown &= ~hidden
    hit = near.any(axis=0)
    score = float(np.log10(np.where(hit, often, 1 - often))[shown | hit].sum())
    beyond = (at < -SAME_M) | (at > wall.length_m + SAME_M)
    stray = ~near.any(axis=1) & ~beyond
    firm = np.clip(lattice.worth / np.median(lattice.worth[lattice.on_mark]), 0, 1) ** 2
    cost = STRAY_COST * firm[stray].sum() + BEYOND_COST * firm[beyond].sum()
    return score - float(cost + LATTICE_BEYOND_COST * (beyond & lattice.on_mark).sum())


def _expected(wall: WallPlan) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Where studs stand for corners and openings, on marks, and on marks within openings."""
    half = wall.width_m / 2
    fixed = [half, wall.length_m - half]
    for o in wall.openings:
        fixed += [o.left_m - half, o.left_m - 3 * half, o.right_m + half, o.right_m + 3 * half]
    count = np.arange(1, int(wall.length_m / wall.spacing_m) + 1) * wall.spacing_m
    marks = count if wall.layout_from == "left" else wall.length_m - count
    marks = marks[(marks > half) & (marks < wall.length_m - half)]
    inside = np.zeros(len(marks), bool)
    for o in wall.openings:
        inside |= (marks > o.left_m - 2 * half) & (marks < o.right_m + 2 * half)
    lone = np.array([all(abs(m - f) > 2 * half for f in fixed) for m in marks], bool)
    return np.array(fixed), marks[~inside & lone], marks[inside]
