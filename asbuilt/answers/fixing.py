"""What a screw can hold in near a place: studs with their centres, blocking with its extents."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from asbuilt.answers import drill_wording, wording
from asbuilt.answers.behind import check_place
from asbuilt.answers.doubts import Doubt, outdated
from asbuilt.answers.landmarks import Landmark, cross_check, landmarks_of
from asbuilt.answers.reach import Rectangle
from asbuilt.answers.reply import Reply
from asbuilt.answers.standing import Standing, standing_at
from asbuilt.answers.things import Thing
from asbuilt.geometry.studs import StudPlace
from asbuilt.record.store import Record

WITHIN_M = 0.6096  # 24 in: the widest usual spacing, so that there is a stud to either side
MEASURED = ("taped", "measured")


@dataclass(frozen=True, slots=True, kw_only=True)
class StudToFix(Reply):
    """One stud (a joist in a ceiling or floor): its centre, its wood, and how to find it."""

    center_m: float
    error_95_m: float
    left_m: float  # of the wood
    right_m: float
    bottom_m: float
    top_m: float
    source: str  # taped, measured, or layout: where it should stand
    away_m: float  # from the asked place, positive to the right
    landmarks: tuple[Landmark, ...]
    beside: tuple[str, ...]  # live and other things recorded along it, at the asked height
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Blocking(Reply):
    """Blocking near the place, from edge to edge; errors at 95 %."""

    item_id: str
    name: str
    left_m: float
    right_m: float
    bottom_m: float
    top_m: float
    offset_error_95_m: float
    height_error_95_m: float
    depth_m: float  # of its front, from the finished face where its thickness is known
    size_known: bool  # its extents were noted or marked; else they are the usual ones
    holds_place: bool  # the asked place lies on it, its error taken into account
    landmarks: tuple[Landmark, ...]
    doubt: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class FixingAnswer(Reply):
    """Wood to fix to near a place, the nearest first."""

    unit: str
    face_id: str
    face_title: str
    offset_m: float
    height_m: float | None
    within_m: float
    studs: tuple[StudToFix, ...]
    blocking: tuple[Blocking, ...]
    covering_m: float
    covering: str
    doubts: tuple[Doubt, ...]
    cross_check: str
    inside: str
    note: str
    cautions: tuple[str, ...]


def fixing(
    record: Record,
    face_id: str,
    offset_m: float,
    height_m: float | None = None,
    within_m: float = WITHIN_M,
    outside: bool = False,
) -> FixingAnswer:
    """The nearest stud centres and the blocking round a place.

    Parameters
    ----------
    offset_m, height_m : float
        The place on the face; without a height, studs at any height and all blocking [m].
    within_m : float
        How far to look to either side (and up and down, with a height) [m].
    outside : bool
        Asked from the other side.

    Raises
    ------
    NotInRecordError
        If there is no such face, or the place lies outside it.
    """
    standing = standing_at(record, face_id, outside)
    view, face, unit = standing.view, standing.face, standing.unit
    check_place(face, offset_m, height_m, unit)
    low, high = (0.0, face.face.height_m) if height_m is None else (height_m - within_m, height_m + within_m)
    round_m = Rectangle(left_m=offset_m - within_m, bottom_m=low, right_m=offset_m + within_m, top_m=high)
    things = view.things_near(face.face.id, round_m.left_m, round_m.bottom_m, round_m.right_m, round_m.top_m)
    studs = [s for s in face.studs if abs(s.center_m - offset_m) <= within_m and _stands(s, height_m)]
    studs.sort(key=lambda s: abs(s.center_m - offset_m))
    blocking = [t for t in things if t.kind.name == "blocking"]
    doubts = outdated(view, {t.item.id: t.positions for t in blocking})
    landmarks = landmarks_of(view, face, offset_m)
    return FixingAnswer(
        unit=unit, face_id=face_id, face_title=face.face.title, offset_m=offset_m, height_m=height_m,
        within_m=within_m, studs=tuple(_stud(standing, s, offset_m, height_m, things) for s in studs),
        blocking=tuple(_blocking(standing, t, offset_m, height_m, doubts.get(t.item.id, "")) for t in blocking),
        covering_m=face.covering_m, covering=standing.covering(),
        doubts=standing.doubts(round_m, standing.coverage.area(*_corners(round_m)).first_date),
        cross_check=cross_check(landmarks, unit), inside=standing.seen_from_inside(offset_m),
        note=drill_wording.FIXING_NOTE, cautions=wording.CAUTIONS,
    )  # fmt: skip


def _corners(r: Rectangle) -> tuple[float, float, float, float]:
    return max(r.left_m, 0.0), max(r.bottom_m, 0.0), r.right_m, r.top_m


def _stands(stud: StudPlace, height_m: float | None) -> bool:
    top_m = np.inf if stud.top_m is None else stud.top_m
    return height_m is None or stud.bottom_m <= height_m <= top_m


def _stud(standing: Standing, stud: StudPlace, offset_m: float, height_m: float | None, things) -> StudToFix:
    face, unit = standing.face.face, standing.unit
    name = "stud" if face.kind == "wall" else "joist"
    beside = tuple(_beside(stud, height_m, things)) if height_m is not None else ()
    landmarks = landmarks_of(standing.view, standing.face, stud.center_m)
    return StudToFix(
        center_m=stud.center_m, error_95_m=wording.COVER_95 * stud.sigma_m, left_m=stud.center_m - stud.width_m / 2,
        right_m=stud.center_m + stud.width_m / 2, bottom_m=stud.bottom_m,
        top_m=face.height_m if stud.top_m is None else stud.top_m, source=stud.source,
        away_m=stud.center_m - offset_m, landmarks=landmarks, beside=beside,
        text=drill_wording.stud_to_fix(name, stud.center_m, stud.sigma_m, stud.width_m, stud.source not in MEASURED,
                                 beside, unit),
    )  # fmt: skip


def _beside(stud: StudPlace, height_m: float, things) -> Iterator[str]:
    """Things recorded so near a stud at a height that a screw astray may meet them."""
    for thing in things:
        if thing.kind.name in ("blocking", "staple"):
            continue
        reach_m = stud.width_m / 2 + wording.COVER_95 * stud.sigma_m
        if thing.block is not None:
            block = thing.block
            sigma = np.sqrt(np.diag(block.cov))
            near = abs(block.center_m[0] - stud.center_m) <= reach_m + block.half_width_m + wording.COVER_95 * sigma[0]
            level = abs(block.center_m[1] - height_m) <= block.half_height_m + wording.COVER_95 * sigma[1]
        else:
            lines = thing.course
            grow = thing.radius_m + wording.COVER_95 * lines.sigma_m
            left, right = (f(lines.starts_m[:, 0], lines.ends_m[:, 0]) for f in (np.minimum, np.maximum))
            low, high = (f(lines.starts_m[:, 1], lines.ends_m[:, 1]) for f in (np.minimum, np.maximum))
            across = (left - grow[:, 0] <= stud.center_m + reach_m) & (right + grow[:, 0] >= stud.center_m - reach_m)
            near = bool((across & (low - grow[:, 1] <= height_m) & (high + grow[:, 1] >= height_m)).any())
            level = True
        if near and level:
            yield wording.thing_name(thing.item.kind, thing.item.label)


def _blocking(standing: Standing, thing: Thing, offset_m: float, height_m: float | None, doubt: str) -> Blocking:
    block, unit = thing.block, standing.unit
    sigma = np.sqrt(np.maximum(np.diag(block.cov), 0))
    x, z, y = (float(v) for v in block.center_m)
    half_w, half_h = block.half_width_m, block.half_height_m
    on_it = abs(x - offset_m) <= half_w - wording.COVER_95 * sigma[0] and (
        height_m is None or abs(z - height_m) <= half_h - wording.COVER_95 * sigma[1]
    )
    known = (thing.item.width_m is not None and thing.item.height_m is not None) or len(thing.spots) > 1
    name = wording.thing_name(thing.item.kind, thing.item.label)
    edges = (x - half_w, x + half_w, z - half_h, z + half_h)
    return Blocking(
        item_id=thing.item.id, name=name, left_m=edges[0], right_m=edges[1], bottom_m=edges[2], top_m=edges[3],
        offset_error_95_m=wording.COVER_95 * float(sigma[0]), height_error_95_m=wording.COVER_95 * float(sigma[1]),
        depth_m=y + standing.face.covering_m, size_known=known, holds_place=bool(on_it),
        landmarks=landmarks_of(standing.view, standing.face, x), doubt=doubt,
        text=drill_wording.blocking_extent(name, edges, (float(sigma[0]), float(sigma[1])), known, doubt, unit),
    )  # fmt: skip
