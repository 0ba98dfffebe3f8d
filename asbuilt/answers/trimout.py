"""Trim-out: every box in walking order with its gangs, cables, switch legs and finish depth."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from asbuilt.answers import wording
from asbuilt.answers.circuits import circuits_in
from asbuilt.answers.control import switched_from
from asbuilt.answers.doubts import outdated
from asbuilt.answers.item_photos import photos_of
from asbuilt.answers.reply import Reply
from asbuilt.answers.wiring import Lead, Wiring, wiring_of
from asbuilt.record import Feed, Item, Record

FEED_IN, FEED_OUT = "feed from", "feed on to"
SWITCH_LEG, FROM_SWITCH, TRAVELLERS, JOINS = "switch leg to", "switch leg from", "travellers to", "to"
FLUSH_M = 0.0016  # 1/16 in: nearer than that a box counts as flush (common practice, no source)


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxCable(Reply):
    """A cable in a box: what it is and where it goes from there."""

    cable_id: str
    words: str
    role: str
    other_end: str
    circuit_number: str

    @property
    def text(self) -> str:
        """In words."""
        head = f"{self.cable_id} {self.words}".strip()
        return f"{head}: {self.role} {self.other_end}" if self.other_end else head


@dataclass(frozen=True, slots=True, kw_only=True)
class TrimBox(Reply):
    """One box as the person with the devices needs it."""

    number: int
    item_id: str
    name: str
    face_id: str
    face_title: str
    offset_m: float | None
    height_m: float | None  # above the finished floor where its thickness is known, else above the datum
    sigma_offset_m: float
    sigma_height_m: float
    above: str
    gangs: int | None
    devices: tuple[str, ...]
    circuits: tuple[str, ...]
    cables: tuple[BoxCable, ...]
    works: tuple[str, ...]  # what its switches work
    finish: str
    notes: tuple[str, ...]
    seen_after_board: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class RoomTrim(Reply):
    """The boxes of a room in one walk round it, counted before and after board."""

    room_id: str
    room: str
    boxes: tuple[TrimBox, ...]
    count_before: int
    count_seen_after: int
    after_pictures: bool  # whether any picture of the finished room is on record


def trim_out(record: Record) -> tuple[RoomTrim, ...]:
    """The trim-out sheet: room by room, faces clockwise, boxes from the left; unplaced ones last."""
    wiring = wiring_of(record)
    boxes = list(wiring.boxes.values())
    after = photos_of(wiring.view, [b.id for b in boxes], stage="covered")
    by_face: dict[str | None, list[Item]] = {}
    for box in boxes:
        by_face.setdefault(_face_of(wiring, box), []).append(box)
    rooms: dict[str, list[TrimBox]] = {}
    number = 0
    for face_id in [*wiring.view.faces, None]:
        for box in sorted(by_face.get(face_id, ()), key=lambda b: _left_m(wiring, b)):
            number += 1
            room_id = wiring.view.faces[face_id].room_id if face_id else ""
            rooms.setdefault(room_id, []).append(_trim_box(wiring, number, box, face_id, box.id in after))
    pictures = any(p.stage == "covered" for p in wiring.view.pictures.values())
    return tuple(_room(wiring, room_id, found, pictures) for room_id, found in rooms.items())


def _room(wiring: Wiring, room_id: str, boxes: list[TrimBox], pictures: bool) -> RoomTrim:
    name = wiring.view.face(boxes[0].face_id).room.name if room_id else "on no face"
    return RoomTrim(room_id=room_id, room=name, boxes=tuple(boxes), count_before=len(boxes),
                    count_seen_after=sum(b.seen_after_board for b in boxes), after_pictures=pictures)  # fmt: skip


def _face_of(wiring: Wiring, box: Item) -> str | None:
    places = wiring.positions.get(box.id)
    return places[0].face_id if places else box.face_id


def _left_m(wiring: Wiring, box: Item) -> float:
    places = wiring.positions.get(box.id)
    return places[0].offset_m if places else 1e9


def _trim_box(wiring: Wiring, number: int, box: Item, face_id: str | None, seen_after: bool) -> TrimBox:
    places = wiring.positions.get(box.id)
    face = wiring.view.face(face_id) if face_id else None
    floor_m = face.room.finished_floor_thickness_m if face else None
    numbers = sorted(wiring.circuits[c].number for c in circuits_in(wiring, box.id))
    return TrimBox(
        number=number, item_id=box.id, name=box.label or f"{box.kind} {box.id}", face_id=face_id or "",
        face_title=face.face.title if face else "", offset_m=places[0].offset_m if places else None,
        height_m=places[0].height_m - (floor_m or 0.0) if places else None,
        sigma_offset_m=places[0].covariance[0][0] ** 0.5 if places else 0.0,
        sigma_height_m=places[0].covariance[1][1] ** 0.5 if places else 0.0,
        above="finished floor" if floor_m is not None else "datum floor", gangs=box.gangs,
        devices=tuple(f"{d.kind}" + (f" ({d.note})" if d.note else "") for d in wiring.devices.get(box.id, ())),
        circuits=tuple(numbers), cables=tuple(_cables(wiring, box)), works=tuple(_works(wiring, box)),
        finish=_finish(wiring, box, face_id), notes=tuple(_notes(wiring, box)), seen_after_board=seen_after,
    )  # fmt: skip


def _cables(wiring: Wiring, box: Item) -> Iterator[BoxCable]:
    for lead in wiring.leads_at(box.id):
        other = lead.last if lead.first.place_id == box.id else lead.first
        circuit = wiring.circuits.get(lead.circuit_id or "")
        yield BoxCable(cable_id=lead.id, words=lead.words, role=_role(wiring, box.id, lead, other.place_id),
                       other_end=other.text or "an end that is not on record",
                       circuit_number=circuit.number if circuit else "")  # fmt: skip


def _role(wiring: Wiring, box_id: str, lead: Lead, other_id: str) -> str:
    """What a cable does in a box: only what the feed order and the switches on record say."""
    for control in wiring.controls:
        if control.cable_id == lead.id:
            leg = FROM_SWITCH if control.load_id == box_id else SWITCH_LEG
            return leg if control.way == "single" else TRAVELLERS
    for feed in wiring.feeds.get(lead.circuit_id or "", ()):
        named = feed.cable_id in (None, lead.id)
        if named and _is(wiring, feed, other_id, box_id):
            return FEED_IN
        if named and _is(wiring, feed, box_id, other_id):
            return FEED_OUT
    return JOINS


def _is(wiring: Wiring, feed: Feed, one: str, other: str) -> bool:
    ends = [wiring.panel_of_item.get(end, end) for end in (feed.comes_from, feed.goes_to)]
    return ends == [one, other]


def _works(wiring: Wiring, box: Item) -> Iterator[str]:
    for control in switched_from(wiring, box.id):
        gang = f"gang {control.gang}: " if control.gang else ""
        way = "" if control.way == "single" else f" ({control.way})"
        yield f"{gang}{wiring.place_name(control.load_id)}{way}"
    for control in wiring.controls:
        if control.load_id == box.id:
            yield f"worked from {wiring.place_name(control.switch_id)}"


def _finish(wiring: Wiring, box: Item, face_id: str | None) -> str:
    """How the front of a box will lie to the finished face."""
    unit = wiring.view.building.unit
    covering_m = wiring.view.covering_m(face_id) if face_id else 0.0
    detail, places = wiring.details.get(box.id), wiring.positions.get(box.id)
    if covering_m <= 0:
        return "covering not on record"
    if detail is not None and detail.set_out_m is not None:
        out_m, sigma_m = detail.set_out_m, None
    elif places and places[0].method != "usual depth":
        out_m, sigma_m = -places[0].depth_m, places[0].covariance[2][2] ** 0.5
    else:
        return f"covering {wording.length(covering_m, unit)}; set-out not measured"
    back_m = covering_m - out_m
    error = f" ({wording.error(sigma_m, unit)})" if sigma_m else ""
    if abs(back_m) < max(FLUSH_M, sigma_m or 0.0):
        flush = f"flush with {wording.length(covering_m, unit)} of covering"
        return f"{flush} within its error{error}" if sigma_m else flush
    side = "behind" if back_m > 0 else "in front of"
    return f"{wording.length(abs(back_m), unit, sigma_m)} {side} the finished face{error}"


def _notes(wiring: Wiring, box: Item) -> Iterator[str]:
    detail = wiring.details.get(box.id)
    if box.note:
        yield box.note
    if detail is not None and detail.note:
        yield detail.note
    if box.id in wiring.positions:
        yield from outdated(wiring.view, {box.id: wiring.positions[box.id]}).values()
    if detail is not None and detail.made_up is False:
        yield "not made up"
    others = circuits_in(wiring, box.id) - {box.circuit_id}
    if box.circuit_id and others:
        yield f"circuit {', '.join(sorted(wiring.circuits[c].number for c in others))} is in it too"
    coils = [lead for lead in wiring.leads_at(box.id) if lead.coil_m]
    yield from (f"{wording.length(lead.coil_m, wiring.view.building.unit)} of {lead.id} coiled" for lead in coils)


def trim_text(rooms: tuple[RoomTrim, ...], unit: str) -> str:
    """The trim-out sheet for the screen."""
    return "\n\n".join("\n".join(_room_lines(room, unit)) for room in rooms) or "no box is on record yet"


def count_text(room: RoomTrim) -> str:
    """Boxes before and after board."""
    after = f"{room.count_seen_after} marked in pictures of the finished room" if room.after_pictures else (
        "no picture of the finished room on record")  # fmt: skip
    return f"{room.count_before} boxes before board; {after}"


def where_text(box: TrimBox, unit: str) -> str:
    """Where a box is, from the left end of its face and above its floor."""
    if box.offset_m is None:
        return f"{box.face_title}: not located" if box.face_title else "not located"
    across = f"{wording.length(box.offset_m, unit, box.sigma_offset_m)} from left"
    up = f"{wording.length(box.height_m, unit, box.sigma_height_m)} up ({box.above})"
    return f"{box.face_title}, {across}, {up}"


def _room_lines(room: RoomTrim, unit: str) -> Iterator[str]:
    yield f"{room.room}: {count_text(room)}"
    for box in room.boxes:
        gangs = f"{box.gangs} gang" if box.gangs else "gangs not on record"
        circuits = f"circuit {', '.join(box.circuits)}" if box.circuits else "no circuit on record"
        yield f"  {box.number} {box.name}: {where_text(box, unit)}; {gangs}; {circuits}"
        for words in (", ".join(box.devices), *(c.text for c in box.cables), *box.works, box.finish, *box.notes):
            if words:
                yield f"      {words}"
