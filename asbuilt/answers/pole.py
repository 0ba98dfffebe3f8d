"""The story pole of a face: everything along one stick, measured from one end."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from asbuilt.answers import wording
from asbuilt.answers.behind import check_place
from asbuilt.answers.coverage import WELL, FaceCoverage, coverage_of
from asbuilt.answers.doubts import Doubt, doubts_in
from asbuilt.answers.reach import Crossing, Rectangle, crossings
from asbuilt.answers.reply import Reply
from asbuilt.answers.things import Thing
from asbuilt.answers.view import FaceView, view_of
from asbuilt.record.store import Record

OPENING_SIGMA_M = 0.0016  # taped to 1/16 in
BAND_M = 0.0254  # coverage is asked for this far above and below the height


@dataclass(frozen=True, slots=True, kw_only=True)
class PoleMark(Reply):
    """One mark on the stick; the error is at 95 %."""

    offset_m: float
    error_95_m: float
    kind: str  # stud, opening, box, or the kind of a run
    name: str
    height_m: float | None
    status: str
    width_m: float  # of the thing along the face; 0 for an edge
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PoleGap(Reply):
    """A stretch of the stick behind which things may be that no mark tells of."""

    left_m: float
    right_m: float
    recorded: str  # not recorded, seen but poor
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PoleAnswer(Reply):
    """All marks of a face from its left end; runs as they cross ``height_m``.

    ``gaps`` are the stretches not well recorded, at that height or, without one, anywhere
    from floor to top.
    """

    unit: str
    face_id: str
    face_title: str
    length_m: float
    height_m: float | None
    marks: tuple[PoleMark, ...]
    gaps: tuple[PoleGap, ...]
    doubts: tuple[Doubt, ...]


def pole(record: Record, face_id: str, height_m: float | None = None) -> PoleAnswer:
    """The marks of a face's story pole.

    Parameters
    ----------
    height_m : float, optional
        Runs are marked where they cross this height; without it no run is marked [m].

    Raises
    ------
    NotInRecordError
        If there is no such face, or the height is not on it.
    """
    view = view_of(record)
    face, unit = view.face(face_id), view.building.unit
    check_place(face, 0.0, height_m, unit)
    marks = [*_fixed(face, unit), *_boxes(view.things_on(face_id), unit)]
    if height_m is not None:
        marks += _runs(view.things_on(face_id), height_m, unit)
    marks.sort(key=lambda m: m.offset_m)
    coverage = coverage_of(record, face_id)
    whole = Rectangle(left_m=0.0, bottom_m=0.0, right_m=face.face.length_m, top_m=face.face.height_m)
    level = whole if height_m is None else replace(whole, bottom_m=height_m - BAND_M, top_m=height_m + BAND_M)
    cover = coverage.area(level.left_m, level.bottom_m, level.right_m, level.top_m)
    return PoleAnswer(unit=unit, face_id=face_id, face_title=face.face.title, length_m=face.face.length_m,
                      height_m=height_m, marks=tuple(marks), gaps=tuple(_gaps(coverage, level, unit)),
                      doubts=doubts_in(view, face, level, cover.first_date))  # fmt: skip


def _gaps(coverage: FaceCoverage, level: Rectangle, unit: str) -> Iterator[PoleGap]:
    """Runs of columns in which something of that level is not well recorded."""
    rows, cols = coverage.window(level.left_m, level.bottom_m, level.right_m, level.top_m)
    worst = np.minimum(coverage.classes[rows, cols], WELL).min(axis=0)
    changes = np.flatnonzero(np.diff(worst)) + 1
    for first, last in zip([0, *changes], [*changes, len(worst)], strict=True):
        if worst[first] < WELL:
            left_m, right_m = first * coverage.cell_m, min(last * coverage.cell_m, level.right_m)
            state = wording.COVER[int(worst[first])]
            yield PoleGap(left_m=left_m, right_m=right_m, recorded=state,
                          text=wording.pole_gap(left_m, right_m, state, unit))  # fmt: skip


def _mark(
    offset_m: float,
    sigma_m: float,
    kind: str,
    name: str,
    height_m: float | None,
    status: str,
    width_m: float,
    unit: str,
) -> PoleMark:
    return PoleMark(offset_m=offset_m, error_95_m=wording.COVER_95 * sigma_m, kind=kind, name=name, height_m=height_m,
                    status=status, width_m=width_m,
                    text=wording.pole_mark(offset_m, sigma_m, name, height_m, status, unit))  # fmt: skip


def _fixed(face: FaceView, unit: str) -> Iterator[PoleMark]:
    for number, stud in enumerate(face.studs, start=1):
        name = f"stud {number}, centre ({stud.source})"
        yield _mark(stud.center_m, stud.sigma_m, "stud", name, None, "", stud.width_m, unit)
    for o in face.openings:
        for edge, side in ((o.left_m, "left"), (o.right_m, "right")):
            yield _mark(edge, OPENING_SIGMA_M, "opening", f"{o.kind}, {side} edge", None, "", 0.0, unit)


def _boxes(things: list[Thing], unit: str) -> Iterator[PoleMark]:
    for t in things:
        if t.block is not None and not t.on_far_face:
            name = f"{wording.thing_name(t.item.kind, t.item.label)}, middle"
            x, z = (float(v) for v in t.block.center_m[:2])
            yield _mark(x, float(np.sqrt(t.block.cov[0, 0])), t.kind.name, name, z, "",
                        2 * t.block.half_width_m, unit)  # fmt: skip


def _runs(things: list[Thing], height_m: float, unit: str) -> Iterator[PoleMark]:
    for t in things:
        for c in upright_crossings(t, height_m):
            name = wording.thing_name(t.item.kind, t.item.label)
            yield _mark(c.height_m, c.sigma_height_m, t.kind.name, name, height_m, c.status, 2 * t.radius_m, unit)


def upright_crossings(thing: Thing, height_m: float) -> list[Crossing]:
    """Where a run crosses a height: crossings with offset and height exchanged.

    The ``height_m`` of each is the offset at which it crosses.
    """
    return crossings(thing.course, height_m, axis=1)
