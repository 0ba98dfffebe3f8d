"""What is behind a wall at a place: bay by bay, floor to top, with errors and what is missing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from asbuilt.answers import wording
from asbuilt.answers.coverage import WELL, AreaCover, FaceCoverage
from asbuilt.answers.described import ThingAnswer, describe
from asbuilt.answers.doubts import Doubt, age_of
from asbuilt.answers.landmarks import Landmark, cross_check, landmarks_of
from asbuilt.answers.power import CircuitOff, cautions_for, circuits_off
from asbuilt.answers.reach import Part, Rectangle, parts_in
from asbuilt.answers.reply import Reply
from asbuilt.answers.routes import RULES, ExpectedRoute, routes_in
from asbuilt.answers.standing import Standing, standing_at
from asbuilt.answers.stretches import BEYOND
from asbuilt.answers.things import Thing
from asbuilt.answers.unconfirmed import Unconfirmed, unconfirmed_near
from asbuilt.answers.view import FaceView
from asbuilt.errors import NotInRecordError
from asbuilt.record.store import Record

WITHIN_M = 0.2032  # 8 in either side: half a bay at 16 in centres
LEAST_GAP_M = 0.0508  # 2 in of a bay that is not well recorded is worth a line


@dataclass(frozen=True, slots=True, kw_only=True)
class Gap(Reply):
    """A part of a bay that is not well recorded."""

    bottom_m: float
    top_m: float
    recorded: str
    reason: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class BayAnswer(Reply):
    """One bay within reach, from floor to top; ``number`` None where there are no studs."""

    number: int | None
    left_m: float  # centre of its left stud
    right_m: float
    asked: bool  # the asked offset lies in it
    outcome: str  # recorded, nothing recorded, not recorded, or nothing recorded in the part shown
    things: tuple[ThingAnswer, ...]
    gaps: tuple[Gap, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class StudAnswer(Reply):
    """A stud near the place."""

    center_m: float
    error_95_m: float
    width_m: float
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class OpeningAnswer(Reply):
    """A door or window near the place."""

    kind: str
    left_m: float
    right_m: float
    bottom_m: float
    top_m: float


@dataclass(frozen=True, slots=True, kw_only=True)
class BehindAnswer(Reply):
    """The whole answer; offsets from the left end, heights from the datum floor [m]."""

    building: str
    unit: str
    room: str
    face_id: str
    face_title: str
    offset_m: float
    height_m: float | None
    within_m: float
    outcome: str
    sentence: str
    bays: tuple[BayAnswer, ...]
    studs: tuple[StudAnswer, ...]
    openings: tuple[OpeningAnswer, ...]
    covering_m: float
    covering: str
    from_face: str  # what depths are counted from
    covered_on: str
    recorded_on: str
    age: str
    cover: AreaCover
    doubts: tuple[Doubt, ...]
    circuits_off: tuple[CircuitOff, ...]
    landmarks: tuple[Landmark, ...]
    cross_check: str
    expected: tuple[ExpectedRoute, ...]  # strips in which cable is to be expected, where nothing was recorded
    inside_offset_m: float  # the same place from the left end of the face in the room
    inside: str  # that in words where it was asked from the other side
    cautions: tuple[str, ...]
    unconfirmed: tuple[Unconfirmed, ...] = ()  # what the pictures propose near it; not part of the outcome


def behind(
    record: Record,
    face_id: str,
    offset_m: float,
    height_m: float | None = None,
    within_m: float = WITHIN_M,
    outside: bool = False,
    rules: Sequence[str] = RULES[:1],
) -> BehindAnswer:
    """What the record holds behind a face near an offset.

    Parameters
    ----------
    offset_m : float
        From the left end of the face [m].
    height_m : float, optional
        Above the datum floor [m]; without it, from floor to top.
    within_m : float
        Reach to either side (and up and down, with a height) [m].
    outside : bool
        Asked from the other side of an outside wall (a ceiling from above, a floor from below):
        the offset counts from the left end there, depths from the outer face of the sheathing.
    rules : sequence of str
        Which rules for where cable runs to look at: practice, bs7671, din18015.

    Raises
    ------
    NotInRecordError
        If there is no such face, or the place lies outside it.
    """
    with record.moment():
        return _behind(standing_at(record, face_id, outside), offset_m, height_m, within_m, rules)


def _behind(
    standing: Standing, offset_m: float, height_m: float | None, within_m: float, rules: Sequence[str]
) -> BehindAnswer:
    view, face, coverage, unit = standing.view, standing.face, standing.coverage, standing.unit
    check_place(face, offset_m, height_m, unit)
    face_id = standing.inside.face.id
    reach = _reach(face, offset_m, height_m, within_m)
    things = view.things_near(face.face.id, reach.left_m, reach.bottom_m, reach.right_m, reach.top_m)
    bays = [(b, _inside(reach, b)) for b in _spans(face, reach)]
    parts = list(_parts(things, reach, bays, offset_m, height_m))
    answers = describe(view, face, parts, offset_m)
    cover = coverage.area(reach.left_m, reach.bottom_m, reach.right_m, reach.top_m)
    doubts = standing.doubts(reach, cover.first_date)
    answered = tuple(_bay(coverage, *bay, offset_m, answers[i], bool(doubts)) for i, bay in enumerate(bays))
    outcome, sentence = _outcome(parts, cover, doubts)
    shown = [t for t, _, _ in parts]
    landmarks = landmarks_of(view, face, offset_m)
    return BehindAnswer(
        building=view.building.name, unit=unit, room=face.room.name, face_id=face_id,
        face_title=face.face.title, offset_m=offset_m, height_m=height_m, within_m=within_m,
        outcome=outcome, sentence=sentence, bays=answered, studs=_studs(face, reach), openings=_openings(face, reach),
        covering_m=face.covering_m, covering=standing.covering(), from_face=standing.named,
        covered_on=face.covered_on or "",
        recorded_on=cover.last_date, age=age_of(cover.first_date), cover=cover, doubts=doubts,
        circuits_off=circuits_off(view, shown), landmarks=landmarks, cross_check=cross_check(landmarks, unit),
        expected=() if parts else tuple(routes_in(view, face_id, standing.turned(reach), rules)),
        inside_offset_m=standing.inside_offset_m(offset_m), inside=standing.seen_from_inside(offset_m),
        cautions=cautions_for(shown),
        unconfirmed=unconfirmed_near(
            view, face_id, standing.inside_offset_m(offset_m), height_m, within_m
        ),
    )  # fmt: skip


def check_place(face: FaceView, offset_m: float, height_m: float | None, unit: str) -> None:
    """Refuse a place outside the face, in words.

    Raises
    ------
    NotInRecordError
        Names the face, its size and what was asked.
    """
    for value, size, what, extent in (
        (offset_m, face.face.length_m, "offset", "long"), (height_m, face.face.height_m, "height", "high"),
    ):  # fmt: skip
        if value is not None and not -1e-9 <= value <= size + 1e-9:
            raise NotInRecordError(
                f"{what} {wording.length(value, unit)} is not on face {face.face.id}, "
                f"which is {wording.length(size, unit)} {extent}"
            )


def _reach(face: FaceView, offset_m: float, height_m: float | None, within_m: float) -> Rectangle:
    size = face.face
    bottom, top = (0.0, size.height_m) if height_m is None else (height_m - within_m, height_m + within_m)
    return Rectangle(left_m=max(offset_m - within_m, 0.0), bottom_m=max(bottom, 0.0),
                     right_m=min(offset_m + within_m, size.length_m), top_m=min(top, size.height_m))  # fmt: skip


def _is_recorded(parts: Sequence[Part | ThingAnswer]) -> bool:
    """Whether something is on record: the guessed way of a run past its last mark is not."""
    pieces = [(p, *(p.pieces if isinstance(p, Part) else p.course)) for p in parts]
    return any(piece.status != BEYOND for of_one in pieces for piece in of_one)


def _outcome(parts: Sequence[tuple[Thing, Part, int]], cover: AreaCover, doubts: Sequence[Doubt]) -> tuple[str, str]:
    if _is_recorded([p for _, p, _ in parts]):
        return wording.RECORDED, wording.recorded_here(cover.state, cover.reason)
    guessed = list(dict.fromkeys(wording.thing_name(t.item.kind, t.item.label) for t, _, _ in parts))
    reason = doubts[0].text if doubts else cover.reason if cover.well_share == 0.0 else ""
    if reason or guessed:
        return wording.UNKNOWN, wording.not_recorded(wording.why_unknown(reason, guessed))
    if cover.state != wording.COVER[WELL]:
        return wording.PARTLY, wording.partly_recorded(cover.well_share, cover.reason)
    return wording.NOTHING, wording.nothing_recorded(cover.first_date, cover.last_date)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Span:
    """A bay, or the whole face where there are no studs."""

    number: int | None
    left_m: float
    right_m: float


def _spans(face: FaceView, reach: Rectangle) -> list[_Span]:
    spans = [_Span(number=b.number, left_m=b.left.center_m, right_m=b.right.center_m) for b in face.bays]
    spans = spans or [_Span(number=None, left_m=0.0, right_m=face.face.length_m)]
    return [s for s in spans if s.left_m < reach.right_m and s.right_m > reach.left_m]


def _inside(reach: Rectangle, span: _Span) -> Rectangle:
    return Rectangle(left_m=max(reach.left_m, span.left_m), bottom_m=reach.bottom_m,
                     right_m=min(reach.right_m, span.right_m), top_m=reach.top_m)  # fmt: skip


def _parts(things: Sequence[Thing], reach: Rectangle, bays, offset_m: float, height_m: float | None):
    """The parts of things by bay; one that only its error brings within reach goes to the nearest bay."""
    (grown,) = parts_in(things, [reach], offset_m, height_m)
    within = [(t, part) for t, part in zip(things, grown, strict=True) if part is not None]
    own = parts_in([t for t, _ in within], [window for _, window in bays], offset_m, height_m, sigmas=0.0)
    for number, (thing, part) in enumerate(within):
        found = [(thing, of_bay[number], n) for n, of_bay in enumerate(own) if of_bay[number] is not None]
        if not found:
            at_m = part.point_m[0]
            nearest = min(range(len(bays)), key=lambda n: max(bays[n][1].left_m - at_m, at_m - bays[n][1].right_m))
            found = [(thing, part, nearest)]
        yield from found


def _bay(coverage: FaceCoverage, span: _Span, window: Rectangle, offset_m: float, things, doubtful: bool) -> BayAnswer:
    gaps = tuple(_gaps(coverage, window.left_m, window.right_m, window))
    share = coverage.well_share(window.left_m, window.bottom_m, window.right_m, window.top_m)
    if _is_recorded(things):
        outcome = wording.RECORDED
    elif things or doubtful or share == 0.0:
        outcome = wording.UNKNOWN
    else:
        outcome = wording.PARTLY if gaps else wording.NOTHING
    return BayAnswer(number=span.number, left_m=span.left_m, right_m=span.right_m,
                     asked=span.left_m <= offset_m < span.right_m, outcome=outcome,
                     things=tuple(things), gaps=gaps)  # fmt: skip


def _gaps(coverage: FaceCoverage, left_m: float, right_m: float, reach: Rectangle):
    """Runs of rows in which some of the window is not well recorded, from the floor up."""
    if right_m - left_m < coverage.cell_m:
        return
    rows, cols = coverage.window(left_m, reach.bottom_m, right_m, reach.top_m)
    worst = coverage.classes[rows, cols].min(axis=1)
    changes = (np.flatnonzero(worst[1:] != worst[:-1]) + 1).tolist()
    for first, last in zip([0, *changes], [*changes, len(worst)], strict=True):
        bottom, top = (rows.start + first) * coverage.cell_m, (rows.start + last) * coverage.cell_m
        if worst[first] >= WELL or top - bottom < LEAST_GAP_M:
            continue
        top = min(top, coverage.face.face.height_m)
        window = (slice(rows.start + first, rows.start + last), cols)
        reason = coverage.reason(window, coverage.classes[window] == worst[first])
        state = wording.COVER[int(worst[first])]
        text = wording.gap(bottom, top, coverage.face.face.height_m, state, reason, coverage.view.building.unit)
        yield Gap(bottom_m=bottom, top_m=top, recorded=state, reason=reason, text=text)


def _studs(face: FaceView, reach: Rectangle) -> tuple[StudAnswer, ...]:
    wide = face.face.spacing_m
    return tuple(
        StudAnswer(center_m=s.center_m, error_95_m=1.96 * s.sigma_m, width_m=s.width_m, source=s.source)
        for s in face.studs
        if reach.left_m - wide / 2 <= s.center_m <= reach.right_m + wide / 2
    )


def _openings(face: FaceView, reach: Rectangle) -> tuple[OpeningAnswer, ...]:
    return tuple(
        OpeningAnswer(kind=o.kind, left_m=o.left_m, right_m=o.right_m, bottom_m=o.bottom_m, top_m=o.top_m)
        for o in face.openings
        if o.left_m <= reach.right_m and o.right_m >= reach.left_m and o.bottom_m <= reach.top_m
    )
