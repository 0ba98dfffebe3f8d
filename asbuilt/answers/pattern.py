"""Many holes at once: a rail, a cabinet, a bracket; and where a single hole could go instead.

Each place is judged by its least clearance after error, and only places that are well
recorded count. Nothing here calls a place free of anything: it says which places keep
farthest from what was recorded.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from asbuilt.answers import drill_wording, wording
from asbuilt.answers.behind import check_place
from asbuilt.answers.coverage import WELL
from asbuilt.answers.doubts import Doubt
from asbuilt.answers.drill import check_bit, outcome_of, passages, record_of, round_bit, tip_of
from asbuilt.answers.gaps import clearances
from asbuilt.answers.landmarks import Landmark, cross_check, landmarks_of
from asbuilt.answers.reach import Rectangle
from asbuilt.answers.reply import Reply
from asbuilt.answers.standing import OUTSIDE, Standing, standing_at
from asbuilt.answers.touch import Bit
from asbuilt.answers.view import FaceView
from asbuilt.answers.wood import wood_met
from asbuilt.errors import NotInRecordError
from asbuilt.record.store import Record

STEP_M = 0.00635  # shifts are tried every 1/4 in
MOST_HOLES = 60
IN_STUD = 0.95  # chance that the whole bit is in wood, to count as landing on a stud
FAR_ENOUGH_M = 0.1524  # more than 6 in of clearance is worth no more than 6 in
APART_M = 0.0508  # places offered instead are at least 2 in apart
MOST_PLACES = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class HoleAnswer(Reply):
    """One hole of a pattern."""

    offset_m: float
    height_m: float
    outcome: str
    chance: float
    clearance_m: float | None  # least gap after error; None: nothing recorded within reach
    nearest: str
    in_stud: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Shift(Reply):
    """A shift of the whole pattern and what it gains."""

    right_m: float
    up_m: float
    clearance_m: float
    studs_met: int
    holes: tuple[HoleAnswer, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class PatternAnswer(Reply):
    """A pattern where it was asked for, and the best shift within the allowed range, if any."""

    unit: str
    face_id: str
    face_title: str
    outcome: str  # the worst of its holes
    holes: tuple[HoleAnswer, ...]
    best: Shift | None
    text: str
    doubts: tuple[Doubt, ...]
    landmarks: tuple[Landmark, ...]  # of the first hole
    cross_check: str
    inside: str  # the first hole from the room, where the pattern was asked from the other side
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class PlaceInstead(Reply):
    """A place near the wanted one that keeps clear of what was recorded."""

    offset_m: float
    height_m: float
    away_m: float
    clearance_m: float
    in_stud: bool
    landmarks: tuple[Landmark, ...]
    text: str


def drill_pattern(
    record: Record,
    face_id: str,
    holes_m: Sequence[tuple[float, float]],
    bit_m: float,
    depth_m: float,
    shift_right_m: float = 0.0,
    shift_up_m: float = 0.0,
    on_studs: bool = False,
    depth_from: str = "finished",
) -> PatternAnswer:
    """Judge holes (offset, height) and look for the best shift of all of them together.

    Parameters
    ----------
    holes_m : sequence of (offset, height)
        [m]
    bit_m, depth_m : float
        Diameter of the bit, and depth from the face that ``depth_from`` names [m].
    shift_right_m, shift_up_m : float
        How far the pattern may move either way [m].
    on_studs : bool
        Prefer shifts that put more holes into studs.
    depth_from : {"finished", "stud", "outside"}

    Raises
    ------
    NotInRecordError
        If a hole lies outside the face or there are too many.
    """
    standing = _checked(record, face_id, holes_m, bit_m, depth_m, depth_from)
    view, face, unit = standing.view, standing.face, standing.unit
    bit = Bit(offset_m=0, height_m=0, radius_m=bit_m / 2, tip_m=tip_of(face, depth_m, depth_from))
    holes = tuple(_hole(standing, x, z, bit) for x, z in holes_m)
    best = None
    if shift_right_m or shift_up_m:
        best = _best_shift(standing, holes_m, bit, (shift_right_m, shift_up_m), on_studs)
    order = (wording.HIT, wording.CLOSE, wording.UNKNOWN, wording.NOTHING)
    worst = min((h.outcome for h in holes), key=order.index)
    moved = drill_wording.shift(best.right_m, best.up_m, best.clearance_m, best.studs_met, unit) if best else ""
    whole = _region(holes_m, 0.0, 0.0)
    landmarks = landmarks_of(view, face, holes_m[0][0])
    return PatternAnswer(
        unit=unit, face_id=face_id, face_title=face.face.title, outcome=worst, holes=holes, best=best,
        text=moved or drill_wording.NO_SHIFT, landmarks=landmarks, cross_check=cross_check(landmarks, unit),
        doubts=standing.doubts(whole, standing.coverage.area(*_corners(whole)).first_date),
        inside=standing.seen_from_inside(holes_m[0][0]), cautions=wording.CAUTIONS,
    )  # fmt: skip


def _checked(record: Record, face_id: str, holes_m, bit_m: float, depth_m: float, depth_from: str) -> Standing:
    standing = standing_at(record, face_id, outside=depth_from == OUTSIDE)
    if not 0 < len(holes_m) <= MOST_HOLES:
        raise NotInRecordError(f"a pattern has 1 to {MOST_HOLES} holes, not {len(holes_m)}")
    for x, z in holes_m:
        check_place(standing.face, x, z, standing.unit)
    check_bit(bit_m, depth_m)
    return standing


def _region(holes_m, right_m: float, up_m: float) -> Rectangle:
    """What holes take up, grown to either side and up and down."""
    xs, zs = [x for x, _ in holes_m], [z for _, z in holes_m]
    return Rectangle(left_m=min(xs) - right_m, bottom_m=min(zs) - up_m, right_m=max(xs) + right_m,
                     top_m=max(zs) + up_m)  # fmt: skip


def _at(bit: Bit, x: float, z: float) -> Bit:
    return Bit(offset_m=x, height_m=z, radius_m=bit.radius_m, tip_m=bit.tip_m)


def _hole(standing: Standing, x: float, z: float, bit: Bit) -> HoleAnswer:
    here = _at(bit, x, z)
    passed = passages(standing.view, standing.face.face.id, here)
    outcome = outcome_of(passed, *record_of(standing, here))
    least = min(passed, key=lambda p: p.clearance.gap_m - wording.COVER_95 * p.clearance.sigma_m, default=None)
    return HoleAnswer(
        offset_m=x, height_m=z, outcome=outcome, chance=max((p.chance for p in passed), default=0.0),
        clearance_m=None if least is None else least.clearance.gap_m - wording.COVER_95 * least.clearance.sigma_m,
        nearest="" if least is None else wording.thing_name(least.thing.item.kind, least.thing.item.label),
        in_stud=_in_stud(standing.face, here),
    )  # fmt: skip


def _in_stud(face: FaceView, bit: Bit) -> bool:
    met = wood_met(face, bit.offset_m, bit.height_m, bit.radius_m, bit.tip_m)
    return any(w.chance >= IN_STUD for w in met)


class _Judge:
    """Judges many places of a region quickly: the things are read once."""

    def __init__(self, standing: Standing, region: Rectangle, bit: Bit) -> None:
        face, view = standing.face, standing.view
        reach = FAR_ENOUGH_M + 0.1
        self.things = [
            t
            for t in view.things_near(face.face.id, region.left_m - reach, region.bottom_m - reach,
                                      region.right_m + reach, region.top_m + reach)
            if t.kind.name != "blocking"
        ]  # fmt: skip
        self.face, self.bit = face, bit
        self.coverage = standing.coverage
        self.doubtful = bool(standing.doubts(region, self.coverage.area(*_corners(region)).first_date))

    def clearance_m(self, x: float, z: float) -> float | None:
        """Least clearance after error, at most FAR_ENOUGH_M; None where the place is not well recorded."""
        size = self.face.face
        if self.doubtful or not (0 <= x <= size.length_m and 0 <= z <= size.height_m):
            return None
        bit = _at(self.bit, x, z)
        rows, cols = self.coverage.window(*_corners(round_bit(bit)))
        if self.coverage.classes[rows, cols].min() < WELL or self.coverage.classes[rows, cols].max() > WELL:
            return None
        gaps = [c.gap_m - wording.COVER_95 * c.sigma_m for c in clearances(self.things, bit)] if self.things else []
        return min([FAR_ENOUGH_M, *gaps])


def _corners(r: Rectangle) -> tuple[float, float, float, float]:
    return r.left_m, r.bottom_m, r.right_m, r.top_m


def _best_shift(standing: Standing, holes_m, bit: Bit, allowed, on_studs: bool) -> Shift | None:
    face = standing.face
    judge = _Judge(standing, _region(holes_m, *allowed), bit)
    best, best_score = None, None
    for right in _steps(allowed[0]):
        for up in _steps(allowed[1]):
            least = _least(judge, [(x + right, z + up) for x, z in holes_m])
            if least is None or least <= 0:
                continue
            studs = sum(_in_stud(face, _at(bit, x + right, z + up)) for x, z in holes_m)
            score = (studs if on_studs else 0, round(least, 3), -np.hypot(right, up))
            if best_score is None or score > best_score:
                best, best_score = (right, up, least, studs), score
    if best is None:
        return None
    right, up, least, studs = best
    holes = tuple(_hole(standing, x + right, z + up, bit) for x, z in holes_m)
    return Shift(right_m=right, up_m=up, clearance_m=least, studs_met=studs, holes=holes)


def _least(judge: _Judge, places) -> float | None:
    least = FAR_ENOUGH_M
    for x, z in places:
        clearance = judge.clearance_m(x, z)
        if clearance is None:
            return None
        least = min(least, clearance)
    return least


def _steps(allowed_m: float) -> list[float]:
    count = int(allowed_m / STEP_M + 1e-9)
    return [n * STEP_M for n in sorted(range(-count, count + 1), key=abs)]


def places_instead(
    record: Record,
    face_id: str,
    offset_m: float,
    height_m: float,
    bit_m: float,
    depth_m: float,
    within_m: float,
    depth_from: str = "finished",
) -> tuple[PlaceInstead, ...]:
    """The nearest places round a wanted hole that are well recorded and keep clear of all that was recorded.

    Places are at least 2 in apart and 1/2 in clear of everything after error; the nearest first.
    """
    standing = _checked(record, face_id, [(offset_m, height_m)], bit_m, depth_m, depth_from)
    view, face = standing.view, standing.face
    bit = Bit(offset_m=offset_m, height_m=height_m, radius_m=bit_m / 2, tip_m=tip_of(face, depth_m, depth_from))
    region = _region([(offset_m, height_m)], within_m, within_m)
    judge, unit, found = _Judge(standing, region, bit), standing.unit, []
    steps = np.array([(r, u) for r in _steps(within_m) for u in _steps(within_m)])
    steps = steps[np.argsort(np.hypot(steps[:, 0], steps[:, 1]), kind="stable")]
    for right, up in steps[np.hypot(steps[:, 0], steps[:, 1]) <= within_m]:
        x, z = offset_m + float(right), height_m + float(up)
        if any(np.hypot(x - p.offset_m, z - p.height_m) < APART_M for p in found):
            continue
        clearance = judge.clearance_m(x, z)
        if clearance is not None and clearance >= 2 * STEP_M:
            away = float(np.hypot(right, up))
            found.append(
                PlaceInstead(offset_m=x, height_m=z, away_m=away, clearance_m=clearance,
                             in_stud=_in_stud(face, _at(bit, x, z)), landmarks=landmarks_of(view, face, x),
                             text=drill_wording.instead(x, z, away, clearance, unit))
            )  # fmt: skip
        if len(found) == MOST_PLACES:
            break
    return tuple(found)
