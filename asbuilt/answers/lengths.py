"""How long a cable is: measured where it was, else estimated from its route in three dimensions.

The route is the line through the places where the cable was seen, in the building, with what
cable strays from it, the way into its boxes, and, where it was not seen, the way along the
framing to a panel that is known. Slack, service loops and what stays in boxes come on top.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from asbuilt.answers.course import JOIN_M, between
from asbuilt.answers.reply import Reply
from asbuilt.answers.stretches import Spot
from asbuilt.answers.wiring import BOX, PANEL, End, Lead, Wiring, wiring_of
from asbuilt.errors import NotInRecordError
from asbuilt.record import Position, Record
from asbuilt.record.kinds import KINDS

MEASURED, ESTIMATED, NOTHING = "measured", "estimated from its route", "its route is not on record"
FROM_ENDS = "estimated from its ends alone"
# Cable is this much longer than the line through the places where it was seen: it sags and goes
# round corners in a bend (our choice; the error covers what rendered rooms show).
STRAY_SHARE, STRAY_SIGMA_SHARE = 0.03, 0.03
# Conductor left in each box, and in a panel (common practice, no source).
IN_BOX_M, IN_BOX_SIGMA_M = 0.20, 0.05
IN_PANEL_M, IN_PANEL_SIGMA_M = 0.75, 0.25
UNSEEN_SIGMA_SHARE = 0.20  # a way nobody saw (our choice)
MEASURED_SIGMA_SHARE = 0.01  # a tape along a cable (common practice, no source)


@dataclass(frozen=True, slots=True, kw_only=True)
class LengthAnswer(Reply):
    """The length of one cable [m], one sigma, and what it is made of.

    ``whole`` is False where an end is not known: it is then at least so long.
    """

    cable_id: str
    basis: str
    total_m: float | None
    sigma_m: float
    seen_m: float = 0.0
    unseen_m: float = 0.0
    slack_m: float = 0.0
    in_boxes_m: float = 0.0
    coil_m: float | None = None
    whole: bool = False
    notes: tuple[str, ...] = ()


@dataclass(slots=True)
class Way:
    """Lengths that add up, with their variance."""

    length_m: float = 0.0
    variance: float = 0.0
    notes: list[str] = field(default_factory=list)

    def add(self, length_m: float, sigma_m: float) -> None:
        self.length_m += length_m
        self.variance += sigma_m**2


def cable_length(record: Record, cable_id: str) -> LengthAnswer:
    """How long a cable is.

    Raises
    ------
    NotInRecordError
        If there is no cable of that id.
    """
    wiring = wiring_of(record)
    if cable_id not in wiring.leads:
        known = ", ".join(list(wiring.leads)[:12]) or "there is none yet"
        raise NotInRecordError(f"no cable {cable_id!r} in this record; known: {known}")
    return lead_length(wiring, wiring.leads[cable_id])


def lead_length(wiring: Wiring, lead: Lead) -> LengthAnswer:
    """How long a cable is, for one that is at hand."""
    if lead.length_m is not None:
        return LengthAnswer(cable_id=lead.id, basis=MEASURED, total_m=lead.length_m, coil_m=lead.coil_m,
                            sigma_m=MEASURED_SIGMA_SHARE * lead.length_m, whole=True)  # fmt: skip
    runs = [i for i in lead.item_ids if i in wiring.items and KINDS[wiring.items[i].kind].is_run]
    spots = wiring.turned([p for i in runs for p in wiring.positions.get(i, ())], *lead.ends)
    if len(spots) < 2:
        places = [_place(wiring, end) for end in lead.ends]
        if all(places):
            return _from_ends(wiring, lead, *places)
        return LengthAnswer(cable_id=lead.id, basis=NOTHING, total_m=None, sigma_m=0.0, coil_m=lead.coil_m)
    return _estimate(wiring, lead, spots)


def _estimate(wiring: Wiring, lead: Lead, spots: list[Position]) -> LengthAnswer:
    seen, unseen, boxes = seen_way(wiring, spots), Way(), Way()
    for end, spot in zip(lead.ends, (spots[0], spots[-1]), strict=True):
        _to_end(wiring, end, spot, seen, unseen, boxes)
    way_m = seen.length_m + unseen.length_m
    slack_m = STRAY_SHARE * way_m
    coil_m = lead.coil_m or 0.0
    notes = unseen.notes + (["a coil is on record without its length"] if _coil_unmeasured(wiring, lead) else [])
    variance = seen.variance + unseen.variance + boxes.variance + (STRAY_SIGMA_SHARE * way_m) ** 2
    return LengthAnswer(
        cable_id=lead.id, basis=ESTIMATED, total_m=way_m + slack_m + boxes.length_m + coil_m,
        sigma_m=math.sqrt(variance), seen_m=seen.length_m, unseen_m=unseen.length_m, slack_m=slack_m,
        in_boxes_m=boxes.length_m, coil_m=lead.coil_m, whole=all(e.kind in (BOX, PANEL) for e in lead.ends),
        notes=tuple(dict.fromkeys(notes)),
    )  # fmt: skip


def _from_ends(wiring: Wiring, lead: Lead, one: Position, other: Position) -> LengthAnswer:
    """A cable that nobody saw on its way: somewhere between straight along the framing and over the top plate."""
    across = np.abs(wiring.building_m(other) - wiring.building_m(one))
    over_m, direct_m = _over_the_plate_m(wiring, one, other), float(across.sum())
    if one.face_id != other.face_id:
        direct_m = over_m
    way_m = (over_m + direct_m) / 2
    boxes = Way()
    for end in lead.ends:
        boxes.add(*_in_end(end))
    sigma_m = math.hypot(UNSEEN_SIGMA_SHARE * way_m, abs(over_m - direct_m) / 2, math.sqrt(boxes.variance))
    return LengthAnswer(
        cable_id=lead.id, basis=FROM_ENDS, total_m=way_m * (1 + STRAY_SHARE) + boxes.length_m + (lead.coil_m or 0.0),
        sigma_m=sigma_m, unseen_m=way_m, slack_m=STRAY_SHARE * way_m, in_boxes_m=boxes.length_m, coil_m=lead.coil_m,
        whole=True, notes=("its way was not seen: taken along the framing",),
    )  # fmt: skip


def _place(wiring: Wiring, end: End) -> Position | None:
    """Where the box or panel at an end is, if it was measured."""
    return next(iter(wiring.positions.get(wiring.item_of_panel.get(end.place_id, end.place_id), ())), None)


def _in_end(end: End) -> tuple[float, float]:
    """What stays in a box or a panel, and its sigma [m]."""
    return (IN_PANEL_M, IN_PANEL_SIGMA_M) if end.kind == PANEL else (IN_BOX_M, IN_BOX_SIGMA_M)


def _coil_unmeasured(wiring: Wiring, lead: Lead) -> bool:
    coils = [i for i in lead.item_ids if i in wiring.items and wiring.items[i].kind == "coil"]
    return bool(coils) and lead.coil_m is None


def seen_way(wiring: Wiring, spots: list[Position]) -> Way:
    """The way through all seen places, with the error that those places have together."""
    total = Way()
    points = [wiring.building_m(p) for p in spots]
    pulls = [np.zeros(3) for _ in spots]  # how the length changes as a place moves
    for i in range(len(spots) - 1):
        step = points[i + 1] - points[i]
        straight_m = float(np.linalg.norm(step))
        if straight_m < 1e-9:
            continue
        if spots[i].face_id == spots[i + 1].face_id:
            total.add(*_between(wiring, spots[i], spots[i + 1]))
        else:  # round a corner along the framing, or straight through it
            extra_m = float(np.abs(step).sum()) - straight_m
            total.add(straight_m + extra_m / 2, extra_m / 2)
        pulls[i] -= step / straight_m
        pulls[i + 1] += step / straight_m
    for spot, pull in zip(spots, pulls, strict=True):
        total.variance += float(pull @ _building_cov(wiring, spot) @ pull)
    return total


def _between(wiring: Wiring, a: Position, b: Position) -> tuple[float, float]:
    """Mean and sigma of the length from one seen place to the next, over all ways the run may go [m]."""
    ways: dict[int, tuple[float, float]] = {}
    for leg in between(_spot(a), _spot(b), wiring.view.face(a.face_id).framing):
        before_m, _ = ways.get(leg.alternative, (0.0, 0.0))
        ways[leg.alternative] = (before_m + math.dist(leg.a.point_m, leg.b.point_m), leg.weight)
    lengths, weights = np.array(list(ways.values())).T
    mean_m = float(np.average(lengths, weights=weights))
    return mean_m, math.sqrt(float(np.average((lengths - mean_m) ** 2, weights=weights)))


def _spot(p: Position) -> Spot:
    return Spot(point_m=np.array([p.offset_m, p.height_m, p.depth_m]), cov=np.array(p.covariance))


def _building_cov(wiring: Wiring, p: Position) -> np.ndarray:
    order = [0, 2, 1]  # stored as (offset, height, depth); the face frame is (offset, depth, height)
    rotation = wiring.view.poses[p.face_id].rotation
    return rotation @ np.array(p.covariance)[np.ix_(order, order)] @ rotation.T


def _to_end(wiring: Wiring, end: End, spot: Position, seen: Way, unseen: Way, boxes: Way) -> None:
    """Add the way from a run's last seen place into its box or panel, and what stays in there."""
    if end.kind not in (BOX, PANEL):
        unseen.notes.append("an end is not on record: at least so long")
        return
    place = _place(wiring, end)
    boxes.add(*_in_end(end))
    if place is None:
        unseen.notes.append(f"where {end.text} is was not measured: at least so long")
        return
    gap_m = _gap_m(wiring, spot, place)
    if spot.face_id == place.face_id and gap_m < JOIN_M:
        seen.add(gap_m, 0.0)
        return
    way_m = _over_the_plate_m(wiring, spot, place)
    unseen.add(way_m, UNSEEN_SIGMA_SHARE * way_m)
    unseen.notes.append(f"the way to {end.text} was not seen: taken along the framing over the top plate")


def _gap_m(wiring: Wiring, spot: Position, place: Position) -> float:
    """From a place to the edge of a box on its face."""
    item = wiring.items[place.item_id]
    kind = KINDS[item.kind]
    half = np.array([item.width_m or kind.width_m, item.height_m or kind.height_m]) / 2
    gap = np.abs([spot.offset_m - place.offset_m, spot.height_m - place.height_m]) - half
    return float(np.hypot(*np.maximum(gap, 0)))


def _over_the_plate_m(wiring: Wiring, spot: Position, place: Position) -> float:
    """Up to the top plate, along the building's axes, and down again."""
    up_m = max(wiring.view.faces[spot.face_id].height_m - spot.height_m, 0.0)
    item = wiring.items[place.item_id]
    half_m = (item.height_m or KINDS[item.kind].height_m) / 2
    down_m = max(wiring.view.faces[place.face_id].height_m - place.height_m - half_m, 0.0)
    across = np.abs(wiring.building_m(place) - wiring.building_m(spot))[:2]
    return up_m + down_m + float(across.sum())
