"""The wiring of a record, read once: cables with both ends, boxes, feeds, controls."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from asbuilt.answers.conductors import Conductors, conductors
from asbuilt.answers.course import JOIN_M
from asbuilt.answers.index import ENDS
from asbuilt.answers.reply import Reply
from asbuilt.answers.view import View, view_of
from asbuilt.record import (
    BoxDetail,
    Cable,
    Circuit,
    Control,
    Device,
    Feed,
    Hole,
    Item,
    Panel,
    Position,
    Record,
    Verification,
)
from asbuilt.record.kinds import KINDS, Kind

BOX, PANEL, WORDS, UNKNOWN = "box", "panel", "words", "unknown"
RECORDED, BY_LABEL, BY_NEARNESS = "recorded", "by its label", "by nearness"
CABLE_KINDS = ("cable", "low voltage cable")


@dataclass(frozen=True, slots=True, kw_only=True)
class End(Reply):
    """One end of a cable: ``place_id`` is a box's item or a panel, else empty; ``how`` it is known."""

    kind: str
    place_id: str = ""
    text: str = ""
    how: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Lead(Reply):
    """A cable with both of its ends, whether it was described as one or only seen as a run."""

    id: str
    circuit_id: str | None
    use: str
    words: str  # size, kind and colour as written
    first: End
    last: End
    item_ids: tuple[str, ...]
    length_m: float | None = None
    coil_m: float | None = None
    stapled: bool | None = None
    described: bool = False
    note: str = ""

    @property
    def wire(self) -> Conductors | None:
        """Its conductors, as far as its words say."""
        return conductors(self.words)

    @property
    def ends(self) -> tuple[End, End]:
        """Both ends."""
        return self.first, self.last

    def joins(self, place_id: str) -> bool:
        """Whether one of its ends is in that box or panel."""
        return place_id in (self.first.place_id, self.last.place_id)


class Wiring:
    """All that is known of one version of a record's wiring; made by ``wiring_of``."""

    def __init__(self, view: View) -> None:
        self.view = view
        self.record = view.record

    @cached_property
    def items(self) -> dict[str, Item]:
        """Items that are there, by id."""
        return {i.id: i for i in self.record.all(Item) if i.state != "removed"}

    @cached_property
    def positions(self) -> dict[str, list[Position]]:
        """Measured places of each item, in their order along it."""
        found: dict[str, list[Position]] = {}
        for p in sorted(self.record.all(Position, status="measured"), key=lambda p: p.order_idx):
            if p.item_id in self.items:
                found.setdefault(p.item_id, []).append(p)
        return found

    @cached_property
    def circuits(self) -> dict[str, Circuit]:
        """Circuits by id."""
        return self.view.circuits

    @cached_property
    def panels(self) -> dict[str, Panel]:
        """Panels by id."""
        return self.view.panels

    @cached_property
    def boxes(self) -> dict[str, Item]:
        """Device and junction boxes by id."""
        return {i.id: i for i in self.items.values() if i.kind in ("device box", "junction box")}

    @cached_property
    def details(self) -> dict[str, BoxDetail]:
        """What is known of boxes beside their places."""
        return {b.id: b for b in self.record.all(BoxDetail)}

    @cached_property
    def devices(self) -> dict[str, list[Device]]:
        """Devices of each box, from gang 1."""
        found: dict[str, list[Device]] = {}
        for device in sorted(self.record.all(Device), key=lambda d: d.gang):
            found.setdefault(device.item_id, []).append(device)
        return found

    @cached_property
    def feeds(self) -> dict[str, list[Feed]]:
        """Feed steps of each circuit, as entered."""
        found: dict[str, list[Feed]] = {}
        for feed in self.record.all(Feed):
            found.setdefault(feed.circuit_id, []).append(feed)
        return found

    @cached_property
    def controls(self) -> list[Control]:
        """Which switch works which outlet."""
        return self.record.all(Control)

    @cached_property
    def holes(self) -> list[Hole]:
        """Holes and notches."""
        return self.record.all(Hole)

    @cached_property
    def tests(self) -> dict[tuple[str, str], Verification]:
        """The newest test of each (target, id)."""
        return {(t.target, t.target_id): t for t in sorted(self.record.all(Verification), key=lambda t: t.date)}

    @cached_property
    def panel_of_item(self) -> dict[str, str]:
        """Item of kind panel to the panel it is: by id, by name, or the only one on that face."""
        found = {}
        for item in self.items.values():
            if item.kind == "panel":
                same = [p.id for p in self.panels.values() if item.id == p.id or item.label == p.name]
                same = same or [p.id for p in self.panels.values() if p.face_id and p.face_id == item.face_id]
                if len(same) == 1:
                    found[item.id] = same[0]
        return found

    @cached_property
    def item_of_panel(self) -> dict[str, str]:
        """Panel to its item in the wall."""
        return {panel_id: item_id for item_id, panel_id in self.panel_of_item.items()}

    def kind(self, item_id: str) -> Kind:
        """The kind of an item."""
        return KINDS[self.items[item_id].kind]

    def place_name(self, place_id: str) -> str:
        """What a box or panel is called."""
        if place_id in self.panels:
            return self.panels[place_id].name or place_id
        item = self.items.get(place_id)
        return (item.label or f"{item.kind} {item.id}") if item else place_id

    @cached_property
    def leads(self) -> dict[str, Lead]:
        """Every cable, those described first, then runs that no described cable names."""
        described = self.record.all(Cable)
        found = {c.id: self._described(c) for c in described}
        named = {item_id for c in described for item_id in c.item_ids}
        for item in self.items.values():
            if item.kind in CABLE_KINDS and item.id not in named and item.id not in found:
                found[item.id] = self._seen(item)
        return found

    @cached_property
    def _leads_by_place(self) -> dict[str, list[Lead]]:
        found: dict[str, list[Lead]] = {}
        for lead in self.leads.values():
            for place_id in {end.place_id for end in lead.ends if end.place_id}:
                found.setdefault(place_id, []).append(lead)
        return found

    def leads_at(self, place_id: str) -> list[Lead]:
        """Cables with an end in that box or panel."""
        return self._leads_by_place.get(place_id, [])

    @cached_property
    def fed_circuits(self) -> dict[str, set[str]]:
        """Box or panel to the circuits whose feed order passes it."""
        found: dict[str, set[str]] = {}
        for circuit_id, feeds in self.feeds.items():
            for place_id in {end for feed in feeds for end in (feed.comes_from, feed.goes_to)}:
                found.setdefault(place_id, set()).add(circuit_id)
        return found

    def _described(self, cable: Cable) -> Lead:
        runs = [self.items[i] for i in cable.item_ids if i in self.items and KINDS[self.items[i].kind].is_run]
        circuit_id = cable.circuit_id or next((r.circuit_id for r in runs if r.circuit_id), None)
        words = cable.type or next((r.cable for r in runs if r.cable), "")
        first_said = cable.comes_from or (runs[0].comes_from if runs else "")
        last_said = cable.goes_to or (runs[-1].goes_to if runs else "")
        first, last = self._ends(first_said, last_said, runs, circuit_id)
        return Lead(id=cable.id, circuit_id=circuit_id, use=cable.use, words=words, first=first, last=last,
                    item_ids=cable.item_ids, length_m=cable.length_m, coil_m=cable.coil_m, stapled=cable.stapled,
                    described=True, note=cable.note)  # fmt: skip

    def _seen(self, run: Item) -> Lead:
        first, last = self._ends(run.comes_from, run.goes_to, [run], run.circuit_id)
        return Lead(id=run.id, circuit_id=run.circuit_id, use="power" if run.kind == "cable" else "low voltage",
                    words=run.cable, first=first, last=last, item_ids=(run.id,), note=run.note)  # fmt: skip

    def _ends(self, first_said: str, last_said: str, runs: list[Item], circuit_id: str | None) -> tuple[End, End]:
        first, last = self._said(first_said), self._said(last_said)
        spots = self.turned([p for run in runs for p in self.positions.get(run.id, ())], first, last)
        if first.kind == UNKNOWN and spots:
            first = self._near(spots[0], circuit_id, last.place_id)
        if last.kind == UNKNOWN and len(spots) > 1:
            last = self._near(spots[-1], circuit_id, first.place_id)
        return first, last

    def _said(self, words: str) -> End:
        if not words:
            return End(kind=UNKNOWN)
        if words in self.panels or words in self.panel_of_item:
            return self._end(words, RECORDED)
        if words in self.items and self.items[words].kind in ENDS:
            return self._end(words, RECORDED)
        alike = [i for i in self.items.values() if i.kind in ENDS and i.label.casefold() == words.casefold()]
        alike += [p for p in self.panels.values() if p.name.casefold() == words.casefold()]
        ids = {self.panel_of_item.get(i.id, i.id) for i in alike}
        return self._end(ids.pop(), BY_LABEL) if len(ids) == 1 else End(kind=WORDS, text=words, how=RECORDED)

    def _end(self, place_id: str, how: str) -> End:
        place_id = self.panel_of_item.get(place_id, place_id)
        kind = PANEL if place_id in self.panels or self.items[place_id].kind == "panel" else BOX
        return End(kind=kind, place_id=place_id, text=self.place_name(place_id), how=how)

    def turned(self, spots: list[Position], first: End, last: End) -> list[Position]:
        """Places along a cable from its first end to its last, whichever way they were marked."""
        if len(spots) < 2:
            return spots
        as_marked = self._misfit_m(first, spots[0]) + self._misfit_m(last, spots[-1])
        turned = self._misfit_m(first, spots[-1]) + self._misfit_m(last, spots[0])
        return spots[::-1] if turned < as_marked else spots

    def _misfit_m(self, end: End, spot: Position) -> float:
        """How far a place is from the box at an end, in the building; 0 where that is not known."""
        places = self.positions.get(self.item_of_panel.get(end.place_id, end.place_id))
        if not places:
            return 0.0
        return float(np.linalg.norm(self.building_m(places[0]) - self.building_m(spot)))

    def building_m(self, p: Position) -> np.ndarray:
        """A place in the building frame, (3,) [m]."""
        return self.view.poses[p.face_id].apply(np.array([[p.offset_m, p.depth_m, p.height_m]]))[0]

    def _near(self, spot: Position, circuit_id: str | None, other_id: str) -> End:
        """The box of the same circuit, or the panel, that a run's end lies at."""
        best_id, best_m = "", JOIN_M
        for item_id in self.ends_on_face.get(spot.face_id, ()) if circuit_id else ():
            item = self.items[item_id]
            if item.circuit_id != circuit_id and item.kind != "panel":
                continue
            if self.panel_of_item.get(item_id, item_id) != other_id and (away_m := self._away_m(spot, item)) < best_m:
                best_id, best_m = item_id, away_m
        return self._end(best_id, BY_NEARNESS) if best_id else End(kind=UNKNOWN)

    @cached_property
    def ends_on_face(self) -> dict[str, list[str]]:
        """Face to the items on it that a cable can go into."""
        found: dict[str, list[str]] = {}
        for item_id, places in self.positions.items():
            if self.items[item_id].kind in ENDS:
                found.setdefault(places[0].face_id, []).append(item_id)
        return found

    def _away_m(self, spot: Position, item: Item) -> float:
        """From a spot to the edge of a box, along the face."""
        kind = KINDS[item.kind]
        place = self.positions[item.id][0]
        half = np.array([item.width_m or kind.width_m, item.height_m or kind.height_m]) / 2
        gap = np.abs([spot.offset_m - place.offset_m, spot.height_m - place.height_m]) - half
        return float(np.hypot(*np.maximum(gap, 0)))


def wiring_of(record: Record) -> Wiring:
    """The wiring of a record's present version; kept with its view until the record changes."""
    view = view_of(record)
    if "wiring" not in vars(view):
        view.wiring = Wiring(view)
    return view.wiring
