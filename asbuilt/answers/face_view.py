"""A face with everything fixed about it, from the room or from outside the building."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from asbuilt.answers.course import Framing
from asbuilt.errors import NotInRecordError
from asbuilt.geometry.frames import Rigid3, face_frame
from asbuilt.geometry.studs import Bay, StudPlace, bays
from asbuilt.record.types import Covering, Event, Face, Opening, Room

OTHER_SIDE = {"wall": "from outside", "ceiling": "from above", "floor": "from below"}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FaceView:
    """A face with everything fixed about it."""

    face: Face
    room: Room
    studs: tuple[StudPlace, ...]
    bays: tuple[Bay, ...]
    openings: tuple[Opening, ...]
    coverings: tuple[Covering, ...]
    events: tuple[Event, ...]
    framing: Framing
    far: Face | None
    building_from_face: Rigid3
    from_outside: bool = False  # the outer side of an outside wall; ``far`` is then the face in the room

    @property
    def covering_m(self) -> float:
        """Thickness of everything that closes the face [m]; 0 where nothing is given."""
        return sum(c.thickness_m for c in self.coverings)

    @property
    def covered_on(self) -> str | None:
        """The day the face was closed, as far as the record says."""
        dates = [c.date for c in self.coverings if c.date] + [self.face.cover_up_date]
        return min((d for d in dates if d), default=None)


def turned_outside(view: FaceView, face_id: str) -> FaceView:
    """A face from the other side of its framing: what is right there is left here, the outer stud edge is depth 0.

    An outside wall from outside, a ceiling from above, a floor from below.

    Raises
    ------
    NotInRecordError
        If the face is not on an outside wall, or another face on record is its other side.
    """
    inside = view.face
    if view.far is not None:
        raise NotInRecordError(f"the other side of face {inside.id} is face {view.far.id}: ask from there")
    if inside.kind == "wall" and not inside.exterior:
        raise NotInRecordError(
            f"face {inside.id} is not on record as an outside wall, so it cannot be asked from outside; "
            "if it is one, set exterior = true for it in the plan"
        )
    length_m = inside.length_m
    outer = replace(inside, id=face_id, title=f"{inside.title}, {OTHER_SIDE[inside.kind]}", cover_up_date=None,
                    far_face_id=inside.id, far_offset_sum_m=length_m, far_height_shift_m=0.0)  # fmt: skip
    openings = tuple(replace(o, left_m=length_m - o.right_m, right_m=length_m - o.left_m) for o in view.openings)
    studs = tuple(replace(s, center_m=length_m - s.center_m) for s in reversed(view.studs))
    edges = tuple((s.center_m - s.width_m / 2, s.center_m + s.width_m / 2) for s in studs)
    sheathing = ()
    if inside.sheathing_m:
        sheathing = (Covering(id=face_id, face_id=face_id, material="sheathing", thickness_m=inside.sheathing_m),)
    inside_from_outside = Rigid3(
        target=face_frame(inside.id), source=face_frame(face_id), rotation=np.diag([-1.0, -1.0, 1.0]),
        translation_m=np.array([length_m, inside.stud_depth_m, 0.0]),
    )  # fmt: skip
    return FaceView(
        face=outer, room=view.room, studs=studs,
        bays=tuple(bays(studs)),
        openings=openings, coverings=sheathing, events=(), far=inside, from_outside=True,
        framing=Framing(length_m=length_m, height_m=inside.height_m, studs_m=edges),
        building_from_face=view.building_from_face @ inside_from_outside,
    )  # fmt: skip
