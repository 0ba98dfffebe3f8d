"""One version of a record, with what answers need of it worked out once."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Iterable
from functools import cached_property
from typing import TypeVar

from asbuilt.answers.bank import CameraBank
from asbuilt.answers.course import Framing
from asbuilt.answers.face_view import FaceView, turned_outside
from asbuilt.answers.index import ThingIndex, build_index
from asbuilt.answers.things import Thing, far_link, things_of
from asbuilt.errors import NotInRecordError
from asbuilt.geometry.frames import Rigid3
from asbuilt.geometry.studs import bays
from asbuilt.record.frames import building_from_faces, studs_from
from asbuilt.record.proposal_row import PROPOSED, Proposal
from asbuilt.record.store import Record
from asbuilt.record.types import (
    PLACED,
    Building,
    Circuit,
    Covering,
    Event,
    Face,
    Item,
    Media,
    Opening,
    Panel,
    Picture,
    Placement,
    Room,
    Stud,
)

T = TypeVar("T")


KEPT_THINGS = 3000  # how many things are kept ready
BOXES_READ_AHEAD = 40


class View:
    """A record at one version; made by ``view_of`` and thrown away when the record changes."""

    def __init__(self, record: Record) -> None:
        self.record = record
        self._faces: dict[str, FaceView] = {}
        self._outside: dict[str, FaceView] = {}
        self._kept: OrderedDict[tuple[str, str], list[Thing]] = OrderedDict()
        self.coverage: dict = {}  # filled by answers.coverage

    @cached_property
    def building(self) -> Building:
        """The building."""
        return self.record.building

    @cached_property
    def rooms(self) -> dict[str, Room]:
        """All rooms by id."""
        return {r.id: r for r in self.record.all(Room)}

    @cached_property
    def faces(self) -> dict[str, Face]:
        """All faces by id, rooms in order and clockwise within a room."""
        faces = self.record.all(Face)
        faces.sort(key=lambda f: (self.rooms[f.room_id].order_idx, f.room_id, f.order_idx))
        return {f.id: f for f in faces}

    @cached_property
    def far_faces(self) -> dict[str, Face]:
        """Face id to the other face of its wall, whichever of the two names the other."""
        pairs = [(f.id, f.far_face_id) for f in self.faces.values() if f.far_face_id in self.faces]
        return {a: self.faces[b] for pair in pairs for a, b in (pair, pair[::-1])}

    @cached_property
    def walls_of_rooms(self) -> dict[str, list[str]]:
        """Room id to the ids of its wall faces, clockwise."""
        walls: dict[str, list[str]] = {}
        for face in self.faces.values():
            if face.kind == "wall":
                walls.setdefault(face.room_id, []).append(face.id)
        return walls

    @cached_property
    def coverings(self) -> dict[str, list[Covering]]:
        """Face id to its coverings, from the studs outwards."""
        return _by_face(sorted(self.record.all(Covering), key=lambda c: c.order_idx))

    @cached_property
    def openings(self) -> dict[str, list[Opening]]:
        """Face id to its openings."""
        return _by_face(self.record.all(Opening))

    @cached_property
    def known_studs(self) -> dict[str, list[Stud]]:
        """Face id to the studs whose centres are known."""
        return _by_face(self.record.all(Stud))

    @cached_property
    def events(self) -> dict[str | None, list[Event]]:
        """Face id to its events; those of the whole building under None."""
        return _by_face(self.record.all(Event))

    @cached_property
    def undecided(self) -> dict[str, list[Proposal]]:
        """Face id to what the pictures propose there and nobody has decided on."""
        return _by_face(self.record.all(Proposal, state=PROPOSED))

    def covering_m(self, face_id: str) -> float:
        """Thickness of everything that closes a face [m]."""
        return sum(c.thickness_m for c in self.coverings.get(face_id, ()))

    @cached_property
    def poses(self) -> dict[str, Rigid3]:
        """building_from_face by face id."""
        return building_from_faces(self.record)

    @cached_property
    def index(self) -> ThingIndex:
        """The spatial index over all items."""
        return build_index(self.record, {f.id: (f.length_m, f.height_m) for f in self.faces.values()})

    @cached_property
    def pictures(self) -> dict[str, Picture]:
        """All pictures by id."""
        return {p.id: p for p in self.record.all(Picture)}

    @cached_property
    def circuits(self) -> dict[str, Circuit]:
        """All circuits by id."""
        return {c.id: c for c in self.record.all(Circuit)}

    @cached_property
    def panels(self) -> dict[str, Panel]:
        """All panels by id."""
        return {p.id: p for p in self.record.all(Panel)}

    @cached_property
    def media_names(self) -> dict[str, str]:
        """Media id to the name it came with."""
        return {m.id: m.name for m in self.record.all(Media)}

    @cached_property
    def placements(self) -> dict[str, Placement]:
        """Placed pictures' placements by picture id."""
        return {p.id: p for p in self.record.all(Placement, status=PLACED)}

    @cached_property
    def bank(self) -> CameraBank:
        """All placed cameras."""
        return CameraBank.of(self.placements, self.pictures)

    def face(self, face_id: str) -> FaceView:
        """A face with its fixed surroundings.

        Raises
        ------
        NotInRecordError
            If there is no such face; the text lists those there are.
        """
        if face_id not in self._faces:
            self._faces[face_id] = self._face(face_id)
        return self._faces[face_id]

    def _face(self, face_id: str) -> FaceView:
        if face_id not in self.faces:
            known = ", ".join(list(self.faces)[:12]) or "none yet; load a plan first"
            raise NotInRecordError(f"no face {face_id!r} in this record; its faces are: {known}")
        face, openings = self.faces[face_id], tuple(self.openings.get(face_id, ()))
        studs = tuple(studs_from(face, openings, self.known_studs.get(face_id, ())))
        edges = tuple((s.center_m - s.width_m / 2, s.center_m + s.width_m / 2) for s in studs)
        events = [*self.events.get(face_id, ()), *self.events.get(None, ())]
        return FaceView(
            face=face,
            room=self.rooms[face.room_id],
            studs=studs,
            bays=tuple(bays(studs)),
            openings=openings,
            coverings=tuple(self.coverings.get(face_id, ())),
            events=tuple(events),
            far=self.far_faces.get(face_id),
            framing=Framing(length_m=face.length_m, height_m=face.height_m, studs_m=edges),
            building_from_face=self.poses[face_id],
        )

    def outside(self, face_id: str) -> FaceView:
        """An outside wall from outside: its face turned round, its sheathing as the covering.

        Raises
        ------
        NotInRecordError
            If the face is not on an outside wall.
        """
        if face_id not in self._outside:
            outer_id = f"outside.{len(self._outside)}"
            while outer_id in self.faces:
                outer_id += "+"
            view = turned_outside(self.face(face_id), outer_id)
            self._outside[face_id] = self._faces[outer_id] = view
        return self._outside[face_id]

    def things_near(self, face_id: str, left_m: float, bottom_m: float, right_m: float, top_m: float) -> list[Thing]:
        """Everything that may lie in a rectangle of a face, of either side of the wall."""
        view = self.face(face_id)
        rectangle_m = (left_m, bottom_m, right_m, top_m)
        near, ends = self.index.near(face_id, rectangle_m)
        if view.far is not None:
            turned = _across(rectangle_m, *far_link(view.face, view.far))
            far_near, far_ends = self.index.near(view.far.id, turned)
            near, ends = near + far_near, ends + far_ends
        return self._things(view, sorted(set(near)), ends)

    def _things(self, view: FaceView, wanted: list[str], ends: list[str]) -> list[Thing]:
        """The things of those ids, read once; ``ends`` are what runs among them may go into."""
        while len(self._kept) > KEPT_THINGS:
            self._kept.popitem(last=False)  # the oldest
        face_id = view.face.id
        missing = [i for i in wanted if (face_id, i) not in self._kept]
        if missing:
            # Its boxes are asked for next in most answers: landmarks, and where cable runs.
            boxes = [i for i, _, _ in self.index.boxes_on(face_id)]
            if len(boxes) <= BOXES_READ_AHEAD:
                missing += [i for i in boxes if i not in missing and (face_id, i) not in self._kept]
            self._kept.update({(face_id, i): [] for i in missing})
            ids, new = {*missing, *ends}, set(missing)
            for thing in things_of(self.record, ids, view.face, view.framing, self.circuits, view.far):
                if thing.item.id in new:
                    self._kept[face_id, thing.item.id].append(thing)
        return [thing for i in wanted for thing in self._kept[face_id, i]]

    def item_on(self, face_id: str, item_id: str) -> Item:
        """An item of a face."""
        kept = self._kept.get((face_id, item_id))
        return kept[0].item if kept else self.record.get(Item, item_id)

    def boxes_on(self, face_id: str) -> list[Thing]:
        """The boxes and panels of a face itself."""
        ids = [item_id for item_id, _, _ in self.index.boxes_on(face_id)]
        return [t for t in self._things(self.face(face_id), ids, []) if not t.on_far_face]

    def things_on(self, face_id: str) -> list[Thing]:
        """Everything of a face, of either side of the wall."""
        face = self.face(face_id).face
        return self.things_near(face_id, -1.0, -1.0, face.length_m + 1.0, face.height_m + 1.0)


def _by_face(rows: Iterable[T]) -> dict[str, list[T]]:
    found: dict[str, list[T]] = {}
    for row in rows:
        found.setdefault(row.face_id, []).append(row)
    return found


def _across(rectangle_m, offset_sum_m: float, height_shift_m: float) -> tuple[float, float, float, float]:
    left, bottom, right, top = rectangle_m
    return offset_sum_m - right, bottom + height_shift_m, offset_sum_m - left, top + height_shift_m


def view_of(record: Record) -> View:
    """The view of a record's present version; kept until the record changes."""
    version = (record.db.execute("PRAGMA data_version").fetchone()[0], record.db.conn.total_changes)
    kept = record.memo.get(View)
    if kept is None or kept[0] != version:
        kept = record.memo[View] = (version, View(record))
    return kept[1]
