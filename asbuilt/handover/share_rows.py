"""Which rows of a record go into a shared copy, and what is taken out of them."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from asbuilt.record import (
    Building,
    Circuit,
    Coverage,
    Covering,
    Event,
    Face,
    Item,
    Marker,
    Media,
    Opening,
    Panel,
    Picture,
    Placement,
    Position,
    Record,
    ReferencePoint,
    Room,
    Sighting,
    Solution,
    Stud,
)
from asbuilt.record.elevation_row import Elevation
from asbuilt.record.types import TYPES
from asbuilt.record.wiring import (
    BoxDetail,
    Cable,
    Control,
    Device,
    Feed,
    Hole,
    RuleSetting,
    TapedPlace,
    Verification,
)

if TYPE_CHECKING:
    from asbuilt.handover.share_pictures import SharedPictures

OF_FACES = (Stud, Opening, Covering, Marker, ReferencePoint, TapedPlace, Hole)


@dataclass(frozen=True, slots=True, kw_only=True)
class Chosen:
    """Faces and items that go into the copy; ``item_ids`` are those of the chosen layers on any face."""

    face_ids: frozenset[str]
    item_ids: frozenset[str]
    layers_left_out: tuple[str, ...]
    is_part: bool


def shared_rows(record: Record, chosen: Chosen, pictures: SharedPictures) -> dict[type, list]:
    """The rows of a shared copy by type; every row refers only to rows that are there."""
    found: dict[type, list] = {cls: [] for cls in TYPES}
    faces = record.all(Face, id=sorted(chosen.face_ids))
    found[Building] = [replace(record.building, note="")]
    found[Face] = [_face(f, chosen.face_ids) for f in faces]
    found[Room] = record.all(Room, id=sorted({f.room_id for f in faces}))
    for cls in OF_FACES:
        found[cls] = [r for r in record.all(cls) if r.face_id in chosen.face_ids]
    found[Event] = [e for e in record.all(Event) if e.face_id is None or e.face_id in chosen.face_ids]
    found[Position] = [p for p in record.all(Position) if p.face_id in chosen.face_ids and p.item_id in chosen.item_ids]
    _items_and_circuits(record, chosen, found)
    _wiring(record, found)
    _measured(record, chosen, pictures, found)
    return found


def _face(face: Face, kept: frozenset[str]) -> Face:
    return face if face.far_face_id in kept else replace(face, far_face_id=None)


def _items_and_circuits(record: Record, chosen: Chosen, found: dict[type, list]) -> None:
    placed = {p.item_id for p in found[Position]}
    items = [
        i for i in record.all(Item, id=sorted(chosen.item_ids))
        if i.id in placed or i.face_id in chosen.face_ids or (i.face_id is None and not chosen.is_part)
    ]  # fmt: skip
    # An item that reaches over from a face that is left out belongs to none here.
    found[Item] = [i if i.face_id in chosen.face_ids else replace(i, face_id=None) for i in items]
    found[TapedPlace] = [t for t in found[TapedPlace] if t.item_id in {i.id for i in items}]
    circuits = record.all(Circuit)
    if chosen.is_part:
        used = {i.circuit_id for i in items}
        circuits = [c for c in circuits if c.id in used]
    panel_ids = {c.panel_id for c in circuits} | {p.id for p in record.all(Panel) if not chosen.is_part}
    circuit_ids = {c.id for c in circuits}
    found[Circuit] = [c if c.shares_neutral_id in circuit_ids else replace(c, shares_neutral_id=None) for c in circuits]
    found[Panel] = [
        replace(p, face_id=p.face_id if p.face_id in chosen.face_ids else None,
                fed_from_id=p.fed_from_id if p.fed_from_id in circuit_ids else None)
        for p in record.all(Panel) if p.id in panel_ids
    ]  # fmt: skip


def _wiring(record: Record, found: dict[type, list]) -> None:
    items, circuits = ({r.id for r in found[cls]} for cls in (Item, Circuit))
    found[BoxDetail] = [b for b in record.all(BoxDetail) if b.id in items]
    found[Device] = [d for d in record.all(Device) if d.item_id in items]
    found[Cable] = [
        replace(c, item_ids=tuple(i for i in c.item_ids if i in items))
        for c in record.all(Cable)
        if (c.circuit_id in circuits or c.circuit_id is None) and (not c.item_ids or set(c.item_ids) & items)
    ]
    cables = {c.id for c in found[Cable]}

    def known(row):
        return row if row.cable_id in cables else replace(row, cable_id=None)

    found[Feed] = [known(f) for f in record.all(Feed) if f.circuit_id in circuits]
    found[Control] = [known(c) for c in record.all(Control) if {c.switch_id, c.load_id} <= items]
    found[Hole] = [replace(h, cable_ids=tuple(c for c in h.cable_ids if c in cables)) for h in found[Hole]]
    targets = {"circuit": circuits, "cable": cables}
    found[Verification] = [
        replace(v, tested_by="") for v in record.all(Verification) if v.target_id in targets.get(v.target, ())
    ]
    found[RuleSetting] = record.all(RuleSetting)


def _measured(record: Record, chosen: Chosen, pictures: SharedPictures, found: dict[type, list]) -> None:
    found[Media], found[Picture] = pictures.rows()
    kept = {p.id for p in found[Picture]}
    targets = {i.id for i in found[Item]} | {p.id for p in found[ReferencePoint]}
    found[Sighting] = [
        replace(s, author="") for s in record.all(Sighting) if s.target_id in targets and s.picture_id in kept
    ]
    placements = [p for p in record.all(Placement) if p.id in kept]
    lens_names = _renamed((p.lens_id for p in placements), "lens {}".format)
    found[Placement] = [replace(p, lens_id=lens_names[p.lens_id]) for p in placements]
    found[Solution] = [_solution(s, chosen.face_ids, lens_names) for s in record.all(Solution)]
    found[Coverage] = record.all(Coverage, id=sorted(chosen.face_ids))
    found[Elevation] = pictures.elevations()


def _renamed(names: Iterable[str], name_for: Callable[[int], str]) -> dict[str, str]:
    """Names that tell nothing, for names that do."""
    return {name: name_for(n) if name else "" for n, name in enumerate(dict.fromkeys(names), start=1)}


def _solution(solution: Solution, face_ids: frozenset[str], lens_names: dict[str, str]) -> Solution:
    """A solution with its joint covariance, its cameras' names and other faces taken out of its report."""
    report = solution.report

    def of_faces(name: str) -> dict:
        return {k: v for k, v in report.get(name, {}).items() if k in face_ids}

    kept = {
        "building_from_face": of_faces("building_from_face"),
        "face_column": of_faces("face_column"),
        "lens_column": {lens_names[k]: v for k, v in report.get("lens_column", {}).items() if k in lens_names},
    }
    return replace(solution, report=kept)
