"""Reading which place is meant from a request, and answering for it in plain data."""

from __future__ import annotations

from dataclasses import dataclass

from flask import abort, request

from asbuilt.answers import drill_wording, wording
from asbuilt.answers.behind import BehindAnswer, behind
from asbuilt.answers.described import ThingAnswer
from asbuilt.answers.drill import drill
from asbuilt.answers.landmarks import cross_check
from asbuilt.answers.stretches import BEYOND
from asbuilt.record import Face, Record
from asbuilt.units import format_error, format_length, parse_length
from asbuilt.web.pages import unit
from asbuilt.web.shown import answer_pictures

LONGEST_TEXT = 40
SLACK_M = 0.01  # how far past the end of a face a place is still taken as the end
GUESSED = "may come through here: past its last mark the way was not marked"


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """A place on a face, as a number and as it is shown back to the person who typed it."""

    offset_m: float
    height_m: float | None
    at_text: str
    height_text: str
    bit_m: float | None = None  # of a hole that is asked about; None: only what is behind
    depth_m: float | None = None
    bit_text: str = ""
    depth_text: str = ""


def asked_place(face: Face, required: bool = False) -> Place | None:
    """The place a request names by ``at`` and ``height``, moved by ``move_at`` and ``move_height``.

    None where none is named and none is required. A place beyond the face is an error, but
    a move stops at its edge.
    """
    at = request.args.get("at", "").strip()
    if not at:
        if required:
            abort(400, "say how far from the left end, for example 6 ft")
        return None
    offset_m = _on_face(at, face.length_m, f"the {face.title} is", "long")
    height = request.args.get("height", "").strip()
    height_m = _on_face(height, face.height_m, f"the {face.title} is", "high") if height else None
    move = request.args.get("move_height", "").strip()
    if move and height_m is None:
        height_m = face.height_m / 2
    offset_m = _moved(offset_m, request.args.get("move_at", "").strip(), face.length_m)
    height_m = None if height_m is None else _moved(height_m, move, face.height_m)
    bit, depth = (request.args.get(name, "").strip()[:LONGEST_TEXT] for name in ("bit", "depth"))
    if bool(bit) != bool(depth):
        abort(400, "for a hole give both: the bit's diameter and how deep its tip goes")
    if bit and height_m is None:
        abort(400, "for a hole give its height too: the answer is for one spot")
    return Place(
        offset_m=offset_m,
        height_m=height_m,
        at_text=format_length(offset_m, unit()),
        height_text="" if height_m is None else format_length(height_m, unit()),
        bit_m=parse_length(bit, unit()) if bit else None,
        depth_m=parse_length(depth, unit()) if depth else None,
        bit_text=bit,
        depth_text=depth,
    )


def _on_face(text: str, most_m: float, whose: str, way: str) -> float:
    value_m = parse_length(text[:LONGEST_TEXT], unit())
    if not -SLACK_M <= value_m <= most_m + SLACK_M:
        shown = format_length(value_m, unit())
        abort(400, f"{shown} is not on this wall: {whose} {format_length(most_m, unit())} {way}")
    return min(max(value_m, 0.0), most_m)


def _moved(value_m: float, move: str, most_m: float) -> float:
    if not move:
        return value_m
    return min(max(value_m + parse_length(move[:LONGEST_TEXT], unit()), 0.0), most_m)


def answer_data(record: Record, face: Face, place: Place) -> dict:
    """What the record says about a place, in words and numbers, with the pictures that show it."""
    found = behind(record, face.id, place.offset_m, place.height_m)
    data = found.to_json()
    for bay, bay_data in zip(found.bays, data["bays"], strict=True):
        for thing, thing_data in zip(bay.things, bay_data["things"], strict=True):
            thing_data["lines"] = _lines(thing, found)
    shown = unit()
    return data | {
        "drill": _drill_data(record, face, place),
        "asked": {
            "offset_m": place.offset_m,
            "height_m": place.height_m,
            "at_text": place.at_text,
            "height_text": place.height_text,
        },
        "question": wording.asked(found.face_title, found.room, place.offset_m, place.height_m, found.within_m, shown),
        "record_line": wording.record_line(found.covering, found.recorded_on, found.age, found.covered_on),
        "glance": glance(found, place),
        "gaps": list({gap.text: gap.to_json() for bay in found.bays for gap in bay.gaps}.values()),
        "check": cross_check(found.landmarks, shown),
        "pictures": answer_pictures(record, face, place, found),
    }


def _drill_data(record: Record, face: Face, place: Place) -> dict | None:
    """What the hole meets that is asked about, with the question in words; None where none is."""
    if place.bit_m is None or place.depth_m is None or place.height_m is None:
        return None
    found = drill(record, face.id, place.offset_m, place.height_m, place.bit_m, place.depth_m)
    asked = drill_wording.drill_asked(
        found.face_title, found.offset_m, found.height_m, found.bit_m, found.depth_m, found.from_face, unit()
    )
    came_out = ""
    if found.other_side.comes_out:
        came_out = drill_wording.came_out(found.other_side.wall_m, found.other_side.text, unit())
    rule = drill_wording.rule(found.rule_depth_m, found.from_face, unit())
    return found.to_json() | {"question": asked, "came_out": came_out, "rule": rule}


def _lines(thing: ThingAnswer, answer: BehindAnswer) -> list[str]:
    shown = unit()
    return [
        wording.place(thing, shown),
        wording.depth(thing.depth_m, answer.covering_m, thing.depth_error_95_m / wording.COVER_95, shown),
        wording.measured(thing.method, thing.picture_count, thing.seen_on),
        *thing.notes,
    ]


def glance(answer: BehindAnswer, place: Place) -> list[dict]:
    """Every thing within reach in a few words, the nearest first: what, and how far from the bit."""
    things = [thing for bay in answer.bays for thing in bay.things]

    def apart(thing: ThingAnswer) -> float:
        up_m = 0.0 if place.height_m is None else thing.height_m - place.height_m
        return _aside_m(thing, place) ** 2 + up_m**2

    nearest: dict[str, ThingAnswer] = {}
    for thing in sorted(things, key=apart):
        nearest.setdefault(thing.item_id, thing)
    return [
        {
            "tag": thing.circuit.number if thing.circuit else "-",
            "words": thing.name,
            "where": GUESSED if thing.status == BEYOND else f"{_aside(thing, place)}; {_up(thing)}",
        }
        for thing in nearest.values()
    ]


def _aside_m(thing: ThingAnswer, place: Place) -> float:
    """How far a thing's middle, or the nearest of a run's course, lies to the right [m]."""
    if not thing.direction:
        return thing.offset_m - place.offset_m
    return min(max(place.offset_m, thing.left_m), thing.right_m) - place.offset_m


def _aside(thing: ThingAnswer, place: Place) -> str:
    """How far a thing's middle is to the left or right, with its error."""
    sigma_m = thing.offset_error_95_m / wording.COVER_95
    aside_m = _aside_m(thing, place)
    if thing.crossings and thing.direction != "upright" and aside_m == 0:
        return "crosses here"
    if abs(aside_m) <= thing.offset_error_95_m:
        return f"at this offset, {_error(sigma_m)}"
    side = "right" if aside_m > 0 else "left"
    return f"{format_length(abs(aside_m), unit(), sigma_m)} to the {side}, {_error(sigma_m)}"


def _up(thing: ThingAnswer) -> str:
    sigma_m = thing.height_error_95_m / wording.COVER_95
    if thing.direction == "upright":
        low, high = (format_length(v, unit(), sigma_m) for v in (thing.bottom_m, thing.top_m))
        return f"{low} to {high} up"
    return f"{format_length(thing.height_m, unit(), sigma_m)} up, {_error(sigma_m)}"


def _error(sigma_m: float) -> str:
    """The error without its level, which stands once under the list."""
    return format_error(sigma_m, unit()).removesuffix(" at 95 %")
