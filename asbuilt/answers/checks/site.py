"""What the rules look at: the wiring and the framing of a record, and measures along runs."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from asbuilt.answers import wording
from asbuilt.answers.checks.rule import Finding
from asbuilt.answers.course import PIPE_STRAY
from asbuilt.answers.stretches import stray_m
from asbuilt.answers.things import PIPES
from asbuilt.answers.view import FaceView
from asbuilt.answers.wiring import Lead, Wiring
from asbuilt.geometry.studs import StudPlace
from asbuilt.record import Item, Position
from asbuilt.record.kinds import KINDS, NEAR_STUD_M
from asbuilt.steps.sight import SOLE_PLATE_M, TOP_PLATE_M

USUAL = "usual depth"
UPRIGHT = 3.0  # a stretch is upright, or level, when it goes this much more up than along
PLATE_SLACK_M = 0.006  # a plate is driven about where it is needed: edges looser than 1/4 in decide nothing


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Spot:
    """A place on a run, seen or between two seen ones: (offset, height, depth) and its covariance."""

    point_m: np.ndarray  # (3,)
    cov: np.ndarray  # (3, 3) [m^2]
    measured: bool  # its depth was measured

    @property
    def sigma_m(self) -> np.ndarray:
        """One sigma of offset, height, depth."""
        return np.sqrt(np.maximum(np.diag(self.cov), 0))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FaceRun:
    """The part of a run that lies on one face."""

    item: Item
    face: FaceView
    spots: tuple[Spot, ...]
    radius_m: float

    @property
    def stray(self) -> float:
        """How much it strays from a straight line, 1 for cable."""
        return PIPE_STRAY if self.item.kind in PIPES else 1.0

    def stretches(self) -> Iterator[tuple[Spot, Spot]]:
        """Neighbouring spots."""
        return zip(self.spots, self.spots[1:], strict=False)

    def crossings(self) -> Iterator[tuple[StudPlace, Spot]]:
        """Every stud the run passes through, with where it does."""
        for a, b in self.stretches():
            for stud in self.face.studs:
                low, high = sorted((a.point_m[0], b.point_m[0]))
                if low < stud.center_m < high and _level(a, b):
                    share = (stud.center_m - a.point_m[0]) / (b.point_m[0] - a.point_m[0])
                    if _stands(stud, self.face, a.point_m[1]):
                        yield stud, between(a, b, share, self.stray)

    def plates(self) -> Iterator[Spot]:
        """Where the run was seen going into the sole or the top plate."""
        low, high = SOLE_PLATE_M, self.face.face.height_m - TOP_PLATE_M
        yield from (s for s in self.spots if not low <= s.point_m[1] <= high)

    def beside_studs(self) -> Iterator[Spot]:
        """The seen spots of stretches that go up along a stud."""
        for a, b in self.stretches():
            dx, dz = np.abs(b.point_m - a.point_m)[:2]
            if dz > UPRIGHT * dx:
                yield from (s for s in (a, b) if self._near_stud(s.point_m[0]))

    def _near_stud(self, offset_m: float) -> bool:
        return any(abs(offset_m - s.center_m) <= s.width_m / 2 + NEAR_STUD_M for s in self.face.studs)


def _level(a: Spot, b: Spot) -> bool:
    dx, dz = np.abs(b.point_m - a.point_m)[:2]
    return dx > dz


def _stands(stud: StudPlace, face: FaceView, height_m: float) -> bool:
    top_m = stud.top_m if stud.top_m is not None else face.face.height_m
    return stud.bottom_m <= height_m <= top_m


def between(a: Spot, b: Spot, share: float, stray: float = 1.0) -> Spot:
    """A place on the straight line between two spots, with what a run strays from it."""
    length_m = float(np.linalg.norm(b.point_m - a.point_m))
    loose_m = stray * stray_m(length_m) * 2 * min(share, 1 - share)
    cov = (1 - share) ** 2 * a.cov + share**2 * b.cov + np.eye(3) * loose_m**2
    return Spot(point_m=a.point_m + share * (b.point_m - a.point_m), cov=cov, measured=a.measured and b.measured)


class Site:
    """One version of a record as the rules see it."""

    def __init__(self, wiring: Wiring) -> None:
        self.wiring = wiring
        self.view = wiring.view
        self.unit = wiring.view.building.unit

    @cached_property
    def runs(self) -> list[FaceRun]:
        """Every run on every face it was seen on."""
        return [run for item in self.wiring.items.values() if KINDS[item.kind].is_run for run in self.runs_of(item.id)]

    def runs_of(self, item_id: str) -> list[FaceRun]:
        """The parts of one run, face by face in the order they are met."""
        item, by_face = self.wiring.items[item_id], {}
        for p in self.wiring.positions.get(item_id, ()):
            by_face.setdefault(p.face_id, []).append(_spot(p))
        radius_m = item.radius_m or KINDS[item.kind].radius_m
        return [
            FaceRun(item=item, face=self.view.face(face_id), spots=tuple(spots), radius_m=radius_m)
            for face_id, spots in by_face.items()
        ]

    @cached_property
    def lead_of_run(self) -> dict[str, Lead]:
        """Run item to the cable it is part of."""
        return {item_id: lead for lead in self.wiring.leads.values() for item_id in lead.item_ids}

    def spot_of(self, item_id: str) -> tuple[str, Spot] | None:
        """(face, place) of a thing that is no run, or None where it was not located."""
        places = self.wiring.positions.get(item_id)
        return (places[0].face_id, _spot(places[0])) if places else None

    @cached_property
    def _by_face(self) -> dict[str, list[tuple[Item, Spot]]]:
        found: dict[str, list[tuple[Item, Spot]]] = {}
        for item_id, places in self.wiring.positions.items():
            if not self.wiring.kind(item_id).is_run:
                found.setdefault(places[0].face_id, []).append((self.wiring.items[item_id], _spot(places[0])))
        return {f: sorted(pairs, key=lambda pair: pair[1].point_m[0]) for f, pairs in found.items()}

    def on_face(self, face_id: str, *kinds: str) -> list[tuple[Item, Spot]]:
        """Things of those kinds on a face, from the left; runs are none of them."""
        return [pair for pair in self._by_face.get(face_id, ()) if pair[0].kind in kinds]

    def plate_over(self, face_id: str, spot: Spot) -> bool | None:
        """Whether a nail plate covers a place; None where the errors leave it open."""
        open_ = False
        for item, plate in self.on_face(face_id, "nail plate"):
            kind = KINDS[item.kind]
            half = np.array([item.width_m or kind.width_m, item.height_m or kind.height_m]) / 2
            away = np.abs(plate.point_m - spot.point_m)[:2] - half - PLATE_SLACK_M
            reach = wording.COVER_95 * np.sqrt(np.diag(plate.cov + spot.cov)[:2])
            if (away + reach <= 0).all():
                return True
            open_ = open_ or bool((away - reach <= 0).all())
        return None if open_ else False

    def length(self, value_m: float, sigma_m: float | None = None) -> str:
        """A length for people."""
        return wording.length(value_m, self.unit, sigma_m)

    def measure(self, value_m: float, sigma_m: float) -> str:
        """A measured length with its error for people."""
        error = f" ({wording.error(sigma_m, self.unit)})" if sigma_m else ""
        return self.length(value_m, sigma_m) + error

    def of_item(self, item_id: str, spot: Spot | None = None, face_id: str | None = None) -> dict:
        """Who a finding is about: the fields of a Finding that name an item and a place of it."""
        item = self.wiring.items[item_id]
        if spot is None and (known := self.spot_of(item_id)):
            face_id, spot = known
        at = {"offset_m": float(spot.point_m[0]), "height_m": float(spot.point_m[1])} if spot else {}
        name = wording.thing_name(item.kind, item.label) + ("" if item.label else f" {item.id}")
        return {"subject_id": item_id, "subject": name, "face_id": face_id or item.face_id, **at}

    def of_lead(self, lead: Lead) -> dict:
        """Who a finding is about, for a cable: its first run where it has one."""
        runs = [i for i in lead.item_ids if i in self.wiring.items]
        if runs:
            named = {"subject": f"cable {lead.id}"} if lead.described else {}
            return self.of_item(runs[0]) | {"subject_id": lead.id} | named
        return {"subject_id": lead.id, "subject": f"cable {lead.id}"}

    def of_circuit(self, circuit_id: str) -> dict:
        """Who a finding is about, for a circuit."""
        c = self.wiring.circuits[circuit_id]
        return {"subject_id": c.id, "subject": wording.circuit_name(c.number, c.name, None, None)}


def _spot(p: Position) -> Spot:
    point_m = np.array([p.offset_m, p.height_m, p.depth_m])
    return Spot(point_m=point_m, cov=np.array(p.covariance), measured=p.method != USUAL)


def finding(rule_id: str, result: str, who: dict, text: str) -> Finding:
    """A finding about who the site named."""
    return Finding(rule_id=rule_id, result=result, text=text, **who)
