"""The story pole of a face: everything along one stick, measured from one end."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from asbuilt.answers import wording
from asbuilt.answers.behind import check_place
from asbuilt.answers.reach import Crossing, crossings
from asbuilt.answers.reply import Reply
from asbuilt.answers.things import Thing
from asbuilt.answers.view import FaceView, view_of
from asbuilt.record.store import Record

OPENING_SIGMA_M = 0.0016  # taped to 1/16 in


@dataclass(frozen=True, slots=True, kw_only=True)
class PoleMark(Reply):
    """One mark on the stick; the error is at 95 %."""

    offset_m: float
    error_95_m: float
    kind: str  # stud, opening, box, or the kind of a run
    name: str
    height_m: float | None
    status: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PoleAnswer(Reply):
    """All marks of a face from its left end; runs as they cross ``height_m``."""

    unit: str
    face_id: str
    face_title: str
    length_m: float
    height_m: float | None
    marks: tuple[PoleMark, ...]


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
    return PoleAnswer(unit=unit, face_id=face_id, face_title=face.face.title, length_m=face.face.length_m,
                      height_m=height_m, marks=tuple(marks))  # fmt: skip


def _mark(offset_m: float, sigma_m: float, kind: str, name: str, height_m, status: str, unit: str) -> PoleMark:
    return PoleMark(offset_m=offset_m, error_95_m=wording.COVER_95 * sigma_m, kind=kind, name=name, height_m=height_m,
                    status=status, text=wording.pole_mark(offset_m, sigma_m, name, height_m, status, unit))  # fmt: skip


def _fixed(face: FaceView, unit: str) -> Iterator[PoleMark]:
    for number, stud in enumerate(face.studs, start=1):
        name = f"stud {number}, centre ({stud.source})"
        yield _mark(stud.center_m, stud.sigma_m, "stud", name, None, "", unit)
    for o in face.openings:
        for edge, side in ((o.left_m, "left"), (o.right_m, "right")):
            yield _mark(edge, OPENING_SIGMA_M, "opening", f"{o.kind}, {side} edge", None, "", unit)


def _boxes(things: list[Thing], unit: str) -> Iterator[PoleMark]:
    for t in things:
        if t.block is not None and not t.on_far_face:
            name = f"{wording.thing_name(t.item.kind, t.item.label)}, middle"
            x, z = (float(v) for v in t.block.center_m[:2])
            yield _mark(x, float(np.sqrt(t.block.cov[0, 0])), t.kind.name, name, z, "", unit)


def _runs(things: list[Thing], height_m: float, unit: str) -> Iterator[PoleMark]:
    for t in things:
        for c in upright_crossings(t, height_m):
            name = wording.thing_name(t.item.kind, t.item.label)
            yield _mark(c.height_m, c.sigma_height_m, t.kind.name, name, height_m, c.status, unit)


def upright_crossings(thing: Thing, height_m: float) -> list[Crossing]:
    """Where a run crosses a height: crossings with offset and height exchanged.

    The ``height_m`` of each is the offset at which it crosses.
    """
    return crossings(thing.course, height_m, axis=1)
