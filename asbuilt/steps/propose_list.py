"""What was found on a face as proposals: kinds, ends, errors and the pictures that show each best."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from asbuilt.imaging.boxes import Mouth
from asbuilt.imaging.coils import Coil
from asbuilt.imaging.run_lines import CABLE_M, DRAIN_M, Run
from asbuilt.imaging.uprights import Upright
from asbuilt.record.proposal_row import Proposal
from asbuilt.steps.propose_face import Seen, end_of

COIL_TURN_RAD = 1.6 * np.pi
BOX_SIGMA_M = 0.003  # of the fit, found on rendered rooms
RUN_SIGMA_M = 0.004
COIL_SIGMA_M, COIL_SIGMA_DEPTH_M = 0.010, 0.02  # its turns spread as far
POINT_STEP_M = 0.03
INTO_BOX_M = 0.015  # a cable is clamped about this far inside a box
LOOSE_M = 0.35  # a piece this short of no sure colour, or that ends nowhere, is more likely a shadow or a strip of tape
FIRM = 0.6  # of the strength: then even a short piece of no known end is there
# Shade looks like it: no cable begins and ends in mid-air, and what is dark straight up beside a stud and reaches
# neither box nor plate is the stud's own shadow.
SHADY, UPRIGHT_M = ("unsure", "black", "grey"), 0.05
NOWHERE = ("open end", "at a stud", "out of what was filmed")


def proposals_of(
    seen: Seen, studs: Sequence[Upright], mouths: Sequence[Mouth], runs: Sequence[Run], coils: Sequence[Coil]
) -> list[Proposal]:
    """What was found on a face as proposals, from left to right."""
    face = seen.face
    placed_m = float(np.median([v.sigma_m for v in seen.views])) if seen.views else 0.0
    found = [_box(seen, number, m, placed_m) for number, m in enumerate(mouths, 1)]
    names = {k: p.id for k, p in enumerate(found)}
    number = 0
    for one in sorted(runs, key=lambda r: float(r.points_m[:, 0].min())):
        points = _thinned(one.points_m)
        ends = [end_of(p, seen, studs, mouths) for p in (points[0], points[-1])]
        if _loose(one, [text for text, _ in ends]):
            continue
        number += 1
        points = _entering(points, [mouths[box] if box is not None else None for _, box in ends], seen.patch.top_m)
        into = [mouths[box] for _, box in ends if box is not None]
        kind, radius_m = _kind(one), one.radius_m
        if kind == "drain" and any(m.gangs is not None for m in into):
            kind, radius_m = "cable", CABLE_M / 2  # no drain ends in a device box
        words = [names[box] if box is not None else text for text, box in ends]
        found.append(Proposal(
            id=f"{face.id}-run-{number}", face_id=face.id, kind=kind, points_m=_rounded(points),
            sigma_m=float(np.hypot(RUN_SIGMA_M, placed_m)), sigma_depth_m=one.sigma_depth_m,
            picture_ids=_showing(seen, points), strength=round(one.strength, 3), radius_m=radius_m,
            sheath=one.sheath, comes_from=words[0], goes_to=words[1],
        ))  # fmt: skip
    return found + [_coil(seen, k, coil, placed_m) for k, coil in enumerate(coils, 1)]


def _box(seen: Seen, number: int, m: Mouth, placed_m: float) -> Proposal:
    face = seen.face
    return Proposal(
        id=f"{face.id}-box-{number}", face_id=face.id, kind="panel" if m.gangs is None else "device box",
        points_m=((round(m.x_m, 4), round(seen.patch.top_m - m.y_m, 4), -0.0127),),
        sigma_m=float(np.hypot(BOX_SIGMA_M, placed_m)), sigma_depth_m=0.006, picture_ids=m.picture_ids,
        strength=round(max(0.0, 1 - m.misfit), 3), gangs=m.gangs, width_m=m.width_m, height_m=m.height_m,
    )  # fmt: skip


def _coil(seen: Seen, number: int, coil: Coil, placed_m: float) -> Proposal:
    offset, height = coil.ring_m[:, 0], seen.patch.top_m - coil.ring_m[:, 1]
    points = np.stack([offset, height, np.full(len(offset), coil.depth_m)], axis=1)
    return Proposal(
        id=f"{seen.face.id}-coil-{number}", face_id=seen.face.id, kind="coil", points_m=_rounded(points),
        sigma_m=float(np.hypot(COIL_SIGMA_M, placed_m)), sigma_depth_m=COIL_SIGMA_DEPTH_M,
        picture_ids=_showing(seen, points), strength=round(coil.strength, 3), sheath=coil.sheath,
        width_m=round(float(np.ptp(offset)), 3), height_m=round(float(np.ptp(height)), 3),
    )  # fmt: skip


def _kind(one: Run) -> str:
    if one.radius_m == DRAIN_M / 2:
        return "drain"
    if _turning(one.points_m) > COIL_TURN_RAD and np.ptp(one.points_m[:, :2], axis=0).max() < 0.6:
        return "coil"
    # Coloured supply pipe and light blue conduit: common practice, no proof.
    return {"red": "pipe", "blue": "conduit"}.get(one.sheath, "cable")


def _loose(one: Run, ends: Sequence[str]) -> bool:
    """Whether a run is not to be believed for its length, for how it looks and ends."""
    if one.sheath in SHADY and all(end in NOWHERE for end in ends):
        upright = float(np.ptp(one.points_m[:, 0])) < UPRIGHT_M
        if ends[0] == ends[1] == "open end" or (one.sheath != "unsure" and upright):
            return True
    short = run_length_m(one.points_m) <= LOOSE_M and one.strength < FIRM
    if not short or not all(end in NOWHERE for end in ends):
        return False
    return one.sheath in ("unsure", "blue", "red") or ends[0] == ends[1] == "open end"


def _turning(points_m: np.ndarray) -> float:
    steps = np.diff(points_m[:, :2], axis=0)
    return abs(float(np.unwrap(np.arctan2(steps[:, 1], steps[:, 0]))[[0, -1]] @ [-1, 1]))


def _thinned(points_m: np.ndarray) -> np.ndarray:
    keep = max(1, round(POINT_STEP_M / max(float(np.median(np.linalg.norm(np.diff(points_m, axis=0), axis=1))), 1e-4)))
    picked = points_m[::keep]
    return picked if np.array_equal(picked[-1], points_m[-1]) else np.concatenate([picked, points_m[-1:]])


def _entering(points: np.ndarray, mouths: Sequence[Mouth | None], top_m: float) -> np.ndarray:
    """A run carried on straight into the boxes that it was seen to reach, whose sides hide its last inch."""
    for end, mouth in enumerate(mouths):
        if mouth is None:
            continue
        last = points[-1 if end else 0]
        half = np.array([mouth.width_m, mouth.height_m]) / 2 - INTO_BOX_M
        middle = np.array([mouth.x_m, top_m - mouth.y_m])
        inside = np.append(np.clip(last[:2], middle - half, middle + half), last[2])
        points = np.concatenate([points, inside[None]] if end else [inside[None], points])
    return points


def run_length_m(points_m: Sequence[Sequence[float]]) -> float:
    """Length of a run along its face [m]."""
    return float(np.linalg.norm(np.diff(np.asarray(points_m)[:, :2], axis=0), axis=1).sum())


def _rounded(points: np.ndarray) -> tuple[tuple[float, ...], ...]:
    return tuple(tuple(round(float(v), 4) for v in p) for p in points)


def _showing(seen: Seen, points_m: np.ndarray) -> tuple[str, ...]:
    """The pictures that show most of a run, most square-on first."""
    px, top_m = seen.patch.px_m, seen.patch.top_m
    middle = np.array([points_m[:, 0].mean() / px, (top_m - points_m[:, 1].mean()) / px])
    scored = []
    for view in seen.views:
        x, y = points_m[:, 0] / px - view.col, (top_m - points_m[:, 1]) / px - view.row
        inside = (x >= 0) & (y >= 0) & (x < view.within.shape[1]) & (y < view.within.shape[0])
        aside = float(np.linalg.norm(middle - view.foot_px)) * px
        scored.append((-float(inside.mean()) + 0.1 * aside, view.picture_id))
    return tuple(picture_id for _, picture_id in sorted(scored)[:6])
