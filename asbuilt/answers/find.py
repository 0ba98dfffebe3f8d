"""Finding a thing: a buried box, a coil, a stub, the ends of a run, everything of a circuit."""

from __future__ import annotations

from dataclasses import dataclass

from asbuilt.answers import wording
from asbuilt.answers.described import ThingAnswer, describe
from asbuilt.answers.doubts import Doubt, doubts_in
from asbuilt.answers.landmarks import Landmark, cross_check, landmarks_of
from asbuilt.answers.reach import Rectangle, parts_in
from asbuilt.answers.reply import Reply
from asbuilt.answers.stretches import BEYOND
from asbuilt.answers.things import Thing
from asbuilt.answers.view import View, view_of
from asbuilt.errors import NotInRecordError
from asbuilt.record.kinds import kind_named
from asbuilt.record.store import Record
from asbuilt.record.types import Circuit, Item, Position


@dataclass(frozen=True, slots=True, kw_only=True)
class RunEnd(Reply):
    """One end of a run: its last sighted spot, and where it goes from there."""

    offset_m: float
    height_m: float
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Found(Reply):
    """One thing with how to get to it on the finished wall."""

    face_id: str
    face_title: str
    room: str
    thing: ThingAnswer
    ends: tuple[RunEnd, ...]
    landmarks: tuple[Landmark, ...]
    cross_check: str
    doubts: tuple[Doubt, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class FindAnswer(Reply):
    """What was found; ``not_located`` are items without a measured place."""

    unit: str
    asked: str
    found: tuple[Found, ...]
    not_located: tuple[str, ...]


def find(
    record: Record, text: str | None = None, circuit: str | None = None, kind: str | None = None
) -> FindAnswer:
    """Look for things by words, circuit number or name, and kind; all that are given must match.

    Raises
    ------
    NotInRecordError
        If nothing is asked, or there is no such circuit.
    """
    if not (text or circuit or kind):
        raise NotInRecordError("say what to find: some words, --circuit or --kind")
    view = view_of(record)
    circuits = None if circuit is None else _circuits(view, circuit)
    wanted = None if kind is None else kind_named(kind).name
    words = (text or "").lower().split()
    items = [i for i in record.all(Item) if i.state != "removed" and _matches(view, i, words, circuits, wanted)]
    located = {p.item_id: p.face_id for p in record.all(Position, item_id=[i.id for i in items], status="measured")}
    found = [_found(view, located[i.id], i) for i in items if i.id in located]
    lost = tuple(wording.not_located(i) for i in items if i.id not in located)
    asked = " ".join(p for p in (text, f"circuit {circuit}" if circuit else "", kind) if p)
    order = {face_id: n for n, face_id in enumerate(view.faces)}
    found.sort(key=lambda f: (order[f.face_id], f.thing.offset_m))
    return FindAnswer(unit=view.building.unit, asked=asked, found=tuple(found), not_located=lost)


def _circuits(view: View, asked: str) -> set[str]:
    """Ids of the circuits that a number, one of its breaker spaces, an id or a name means."""
    key = asked.strip().lower()
    ids = {c.id for c in view.circuits.values()
           if key in (c.id.lower(), c.number.lower(), c.name.lower(), *c.number.lower().split("+"))}  # fmt: skip
    if not ids:
        known = ", ".join(f"{c.number} {c.name}" for c in list(view.circuits.values())[:12]) or "none yet"
        raise NotInRecordError(f"no circuit {asked!r} in this record; its circuits are: {known}")
    return ids


def _matches(view: View, item: Item, words: list[str], circuits: set[str] | None, kind: str | None) -> bool:
    if circuits is not None and item.circuit_id not in circuits:
        return False
    if kind is not None and item.kind != kind:
        return False
    circuit: Circuit | None = view.circuits.get(item.circuit_id) if item.circuit_id else None
    name = f"{circuit.number} {circuit.name}" if circuit else ""
    text = " ".join((item.label, item.kind, item.cable, name, item.comes_from, item.goes_to, item.note)).lower()
    return all(word in text for word in words)


def _found(view: View, face_id: str, item: Item) -> Found:
    face = view.face(face_id)
    size = face.face
    thing = next(t for t in view.things_on(face_id) if t.item.id == item.id and not t.on_far_face)
    middle = thing.spots[len(thing.spots) // 2].point_m
    offset_m = float(middle[0])
    whole = Rectangle(left_m=-1.0, bottom_m=-1.0, right_m=size.length_m + 1, top_m=size.height_m + 1)
    ((part,),) = parts_in([thing], [whole], offset_m, float(middle[1]))
    answer = describe(view, face, [(thing, part, 0)], offset_m)[0][0]
    landmarks = landmarks_of(view, face, answer.offset_m, without_item_id=item.id)
    around = Rectangle(left_m=answer.left_m, bottom_m=answer.bottom_m, right_m=answer.right_m, top_m=answer.top_m)
    return Found(
        face_id=face_id, face_title=size.title, room=face.room.name, thing=answer, ends=_ends(view, thing),
        landmarks=landmarks, cross_check=cross_check(landmarks, view.building.unit),
        doubts=doubts_in(view, face, around, answer.seen_on),
    )  # fmt: skip


def _ends(view: View, thing: Thing) -> tuple[RunEnd, ...]:
    if thing.block is not None:
        return ()
    unit = view.building.unit
    ends = []
    for spot, goes in ((thing.spots[0], thing.item.comes_from), (thing.spots[-1], thing.item.goes_to)):
        x, z = float(spot.point_m[0]), float(spot.point_m[1])
        open_ = any(s.status == BEYOND and abs(s.start_m[0] - x) + abs(s.start_m[1] - z) < 1e-6 for s in thing.course)
        name = view.record.find(Item, goes).label if goes and view.record.find(Item, goes) else goes
        ends.append(RunEnd(offset_m=x, height_m=z, text=wording.run_end(x, z, name, open_, unit)))
    return tuple(ends[:1] if len(thing.spots) == 1 else ends)
