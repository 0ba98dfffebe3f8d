"""A drill path at a place: what it meets, what it passes, and how sure that is."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from asbuilt.answers import drill_wording, wording
from asbuilt.answers.behind import check_place
from asbuilt.answers.coverage import WELL, AreaCover
from asbuilt.answers.doubts import Doubt, age_of, outdated
from asbuilt.answers.drill_answer import DrillAnswer, NearestWay, PassedThing
from asbuilt.answers.gaps import Clearance, chances_of, clearances
from asbuilt.answers.landmarks import cross_check, landmarks_of
from asbuilt.answers.marks import place_marks
from asbuilt.answers.power import cautions_for, circuit_off, circuits_off
from asbuilt.answers.reach import Rectangle
from asbuilt.answers.routes import RULES, routes_at
from asbuilt.answers.screws import ScrewAnswer, longest_screw, rule_depth_m
from asbuilt.answers.standing import OUTSIDE, Standing, standing_at
from asbuilt.answers.things import Thing
from asbuilt.answers.touch import Bit
from asbuilt.answers.unconfirmed import UNCONFIRMED_M, unconfirmed_near
from asbuilt.answers.view import FaceView, View
from asbuilt.answers.wood import back_of, other_side, wood_met
from asbuilt.errors import NotInRecordError
from asbuilt.record.store import Record

SEARCH_M = 0.3048  # things within 12 in either way are reported
HIT_CHANCE = 0.5
# A chance of touching of less than one in two thousand (one point of the rule) is still too close
# to call: a hit on a live cable is worth hundreds of holes moved by an inch (our choice, checked on
# rendered rooms). Where only the guessed way of a run beyond its last sighting comes as near as one
# in 1250, there is nothing on record to keep away from: not recorded.
CLOSE_CHANCE, GUESSED_CHANCE = 0.0004, 0.0008
ROUND_THE_BIT_M = 0.0254  # coverage is asked for this far round the bit
BEYOND_M = 1.0  # farther behind the wall than any error in depth
SWITCH_OFF_M = 0.15  # circuits of live things this near, after error, are switched off too


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Passage:
    """A thing with its clearance and the chance of touching it.

    ``is_guess``: it can be touched only where a run may go on beyond its last sighting.
    """

    thing: Thing
    clearance: Clearance
    chance: float
    is_guess: bool


def drill(
    record: Record,
    face_id: str,
    offset_m: float,
    height_m: float,
    bit_m: float,
    depth_m: float,
    depth_from: str = "finished",
    rules: Sequence[str] = RULES[:1],
) -> DrillAnswer:
    """What a hole meets and passes.

    Parameters
    ----------
    offset_m, height_m : float
        Its place on the face [m].
    bit_m : float
        Diameter of the bit [m].
    depth_m : float
        How deep its tip goes [m], from the face that ``depth_from`` names.
    depth_from : {"finished", "stud", "outside"}
        From outside, the offset counts from the left end as seen from outside and the depth
        from the outer face of the sheathing, or of the studs where its thickness is not known.
    rules : sequence of str
        Which rules for where cable runs to look at: practice, bs7671, din18015.

    Raises
    ------
    NotInRecordError
        If there is no such face or the place lies outside it.
    """
    with record.moment():
        standing = standing_at(record, face_id, outside=depth_from == OUTSIDE)
        return _drill(standing, offset_m, height_m, bit_m, depth_m, depth_from, rules)


def _drill(standing: Standing, offset_m: float, height_m: float, bit_m: float, depth_m: float, depth_from: str, rules):
    view, face = standing.view, standing.face
    check_place(face, offset_m, height_m, view.building.unit)
    check_bit(bit_m, depth_m)
    bit = Bit(offset_m=offset_m, height_m=height_m, radius_m=bit_m / 2, tip_m=tip_of(face, depth_m, depth_from))
    passed = passages(view, face.face.id, bit)
    cover, doubts = record_of(standing, bit)
    at_m = standing.inside_offset_m(offset_m), height_m
    return DrillAnswer(
        building=view.building.name, unit=view.building.unit, face_id=standing.inside.face.id,
        face_title=face.face.title, offset_m=offset_m, height_m=height_m,
        bit_m=bit_m, depth_m=depth_m, depth_from=depth_from, tip_m=bit.tip_m,
        chance=max((p.chance for p in passed), default=0.0),
        things=_things(view, face, passed),
        nearest=tuple(_nearest_ways(passed)),
        wood=wood_met(face, offset_m, height_m, bit.radius_m, bit.tip_m),
        other_side=other_side(view, face, offset_m, height_m, bit.tip_m), cover=cover, doubts=doubts,
        recorded_on=cover.last_date, age=age_of(cover.last_date), cautions=cautions_for([p.thing for p in passed]),
        unconfirmed=unconfirmed_near(view, standing.inside.face.id, *at_m, bit.radius_m + UNCONFIRMED_M),
        **_verdict(standing, passed, bit, cover, doubts), **_surroundings(standing, bit, passed, rules),
    )  # fmt: skip


def tip_of(face: FaceView, depth_m: float, depth_from: str) -> float:
    """Depth of the tip from the stud face (from outside: from the outer edge of the studs) [m]."""
    return depth_m if depth_from == "stud" else depth_m - face.covering_m


def round_bit(bit: Bit) -> Rectangle:
    """The part of a face that must be recorded for a hole to be judged."""
    r = bit.radius_m + ROUND_THE_BIT_M
    return Rectangle(left_m=bit.offset_m - r, bottom_m=bit.height_m - r, right_m=bit.offset_m + r,
                     top_m=bit.height_m + r)  # fmt: skip


def record_of(standing: Standing, bit: Bit) -> tuple[AreaCover, tuple[Doubt, ...]]:
    """How the place of a hole is recorded, and what happened to it since."""
    place = round_bit(bit)
    cover = standing.coverage.area(place.left_m, place.bottom_m, place.right_m, place.top_m)
    return cover, standing.doubts(place, cover.first_date)


def _verdict(standing: Standing, passed: Sequence[Passage], bit: Bit, cover: AreaCover, doubts) -> dict:
    face, unit = standing.face, standing.unit
    outcome, stop = outcome_of(passed, cover, doubts), _stop(passed)
    named = standing.named
    screw = ScrewAnswer(longest_m=None, limit="", text=drill_wording.stopped(stop)) if stop else longest_screw(
        [(p.thing, p.clearance) for p in passed], bit, face.covering_m, face.face.stud_depth_m, named, unit,
        outcome != wording.UNKNOWN and _is_known(cover, doubts),
    )  # fmt: skip
    return dict(outcome=outcome, sentence=_sentence(outcome, passed, cover, doubts), screw=screw, stop=stop,
                rule_depth_m=rule_depth_m(face.covering_m), from_face=named, covering_m=face.covering_m,
                covering=standing.covering())  # fmt: skip


def _surroundings(standing: Standing, bit: Bit, passed: Sequence[Passage], rules) -> dict:
    """What helps to find the place and to look at it, and what to switch off first."""
    view, face, inside = standing.view, standing.face, standing.inside
    x, depth_m = standing.inside_offset_m(bit.offset_m), max(bit.tip_m, 0.0)
    point_m = np.array([x, bit.height_m, inside.face.stud_depth_m - depth_m if face.from_outside else depth_m])
    landmarks = landmarks_of(view, face, bit.offset_m)
    off = [p.thing for p in passed if _is_close(p) or _less_error(p.clearance) < SWITCH_OFF_M]
    return dict(
        inside_offset_m=x, inside=standing.seen_from_inside(bit.offset_m), landmarks=landmarks,
        cross_check=cross_check(landmarks, standing.unit), circuits_off=circuits_off(view, off),
        expected=tuple(routes_at(view, inside.face.id, x, bit.height_m, rules)),
        pictures=place_marks(view, inside, point_m),
    )  # fmt: skip


def check_bit(bit_m: float, depth_m: float) -> None:
    """Refuse a bit or a depth that is none.

    Raises
    ------
    NotInRecordError
        Says which.
    """
    if not (0 < bit_m < 1 and 0 < depth_m < 3):
        raise NotInRecordError("the bit must be more than 0 and less than 3 ft wide, the hole less than 10 ft deep")


def passages(view: View, face_id: str, bit: Bit) -> list[Passage]:
    """Everything within reach of a bit, with clearance and chance, the error of aiming included.

    Nothing lies deeper than the wall, so a bit that comes out meets all depths: without that,
    errors in depth would make a hole right through less likely to touch from one side.
    """
    if bit.tip_m >= back_of(view, view.face(face_id)) - 1e-9:
        bit = replace(bit, tip_m=bit.tip_m + BEYOND_M)
    reach = SEARCH_M + bit.radius_m
    things = view.things_near(face_id, bit.offset_m - reach, bit.height_m - reach,
                              bit.offset_m + reach, bit.height_m + reach)  # fmt: skip
    found = []
    for thing, clearance in zip(things, clearances(things, bit), strict=True):
        if clearance.plane_gap_m - wording.COVER_95 * clearance.plane_sigma_m <= SEARCH_M:
            found.append(_passage(thing, clearance, bit))
    return found


def _passage(thing: Thing, clearance: Clearance, bit: Bit) -> Passage:
    chance, known = chances_of(thing, bit, clearance)
    is_guess = known <= CLOSE_CHANCE < chance < HIT_CHANCE
    return Passage(thing=thing, clearance=clearance, chance=chance, is_guess=is_guess)


def outcome_of(passed: Sequence[Passage], cover: AreaCover, doubts: Sequence[Doubt]) -> str:
    """The one of the four outcomes; wood blocking is wanted wood and not a hit."""
    met = [p for p in passed if p.thing.kind.name != "blocking"]
    if any(p.chance >= HIT_CHANCE for p in met):
        return wording.HIT
    if any(_is_close(p) and not p.is_guess for p in met):
        return wording.CLOSE
    is_known = _is_known(cover, doubts) and not any(map(_is_close, met))
    return wording.NOTHING if is_known else wording.UNKNOWN


def _is_close(p: Passage) -> bool:
    """Whether a thing may be touched, as far as that can be told."""
    return p.chance > (GUESSED_CHANCE if p.is_guess else CLOSE_CHANCE)


def _is_known(cover: AreaCover, doubts: Sequence[Doubt]) -> bool:
    return cover.state == wording.COVER[WELL] and not doubts


def _less_error(clearance: Clearance) -> float:
    return clearance.gap_m - wording.COVER_95 * clearance.sigma_m


def _sentence(outcome: str, passed: Sequence[Passage], cover: AreaCover, doubts: Sequence[Doubt]) -> str:
    if outcome == wording.NOTHING:
        return wording.nothing_recorded(cover.first_date, cover.last_date)
    met = [p for p in passed if _is_close(p) and p.thing.kind.name != "blocking"]
    met.sort(key=lambda p: -p.chance)
    names = [(wording.thing_name(p.thing.item.kind, p.thing.item.label), p.chance) for p in met]
    doubt = doubts[0].text if doubts else ""
    if outcome == wording.UNKNOWN:
        known = _is_known(cover, doubts)
        return wording.not_recorded(drill_wording.unknown("" if known else doubt or cover.reason, names))
    return drill_wording.hit(names, doubt) if outcome == wording.HIT else drill_wording.close(names, doubt)


def _stop(passed: Sequence[Passage]) -> str:
    special = sorted({p.thing.kind.name for p in passed if p.thing.kind.hazard == "specialist"})
    if special:
        return wording.SPECIALIST.format(kinds=" and ".join(special))
    return wording.GAS if any(p.thing.kind.hazard == "gas" for p in passed) else ""


def _things(view: View, face: FaceView, passed: Sequence[Passage]) -> tuple[PassedThing, ...]:
    """Everything near, the likeliest to be touched first."""
    doubts = outdated(view, {p.thing.item.id: p.thing.positions for p in passed})
    ordered = sorted(passed, key=lambda p: (-p.chance, p.clearance.gap_m))
    return tuple(_passed(view, face, p, doubts.get(p.thing.item.id, "")) for p in ordered)


def _passed(view: View, face: FaceView, p: Passage, doubt: str) -> PassedThing:
    thing, c = p.thing, p.clearance
    name = wording.thing_name(thing.item.kind, thing.item.label)
    direction = direction_of(c.toward) if c.gap_m > 0 else "on the path"
    return PassedThing(
        item_id=thing.item.id, kind=thing.item.kind, name=name,
        circuit=circuit_off(view, thing.circuit.id) if thing.circuit else None, on_far_face=thing.on_far_face,
        hazard=thing.kind.hazard, chance=p.chance, gap_m=c.gap_m, error_95_m=wording.COVER_95 * c.sigma_m,
        gap_less_error_m=_less_error(c), direction=direction, depth_m=c.depth_m + face.covering_m, status=c.status,
        method=" and ".join(sorted({q.method for q in thing.positions})),
        picture_count=max(q.picture_count for q in thing.positions),
        doubt=doubt,
        text=drill_wording.passed(name, p.chance, c.gap_m, c.sigma_m, direction, doubt, view.building.unit),
    )  # fmt: skip


def direction_of(toward: np.ndarray) -> str:
    """A direction from the bit in words: to the right, above, deeper..."""
    axis = int(np.argmax(np.abs(toward)))
    names = (("to the left", "to the right"), ("below", "above"), ("in front", "deeper"))
    return names[axis][int(toward[axis] > 0)]


def _nearest_ways(passed: Sequence[Passage]) -> Iterator[NearestWay]:
    """The nearest thing to each side along the wall, and straight on beyond the tip."""
    along = [(p, direction_of(np.array([*p.clearance.plane_toward, 0.0]))) for p in passed]
    for direction in ("to the left", "to the right", "above", "below"):
        ways = [p for p, way in along if way == direction]
        if ways:
            p = min(ways, key=lambda p: p.clearance.plane_gap_m)
            yield _way(p, direction, p.clearance.plane_gap_m, p.clearance.plane_sigma_m)
    ahead = [p for p in passed if p.clearance.plane_gap_m <= 0 < p.clearance.gap_m]
    if ahead:
        p = min(ahead, key=lambda p: p.clearance.gap_m)
        yield _way(p, "deeper", p.clearance.gap_m, p.clearance.sigma_m)


def _way(p: Passage, direction: str, gap_m: float, sigma_m: float) -> NearestWay:
    error_m = wording.COVER_95 * sigma_m
    return NearestWay(direction=direction, name=wording.thing_name(p.thing.item.kind, p.thing.item.label),
                      gap_m=gap_m, error_95_m=error_m, gap_less_error_m=gap_m - error_m)  # fmt: skip
