"""From which side a face is asked about: from its room, or from the other side of its framing.

Nothing is on record of the other side itself: pictures, events and openings are those of the
room, turned round.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

from asbuilt.answers import drill_wording, wording
from asbuilt.answers.coverage import FaceCoverage, coverage_in
from asbuilt.answers.doubts import Doubt, doubts_in
from asbuilt.answers.face_view import FaceView
from asbuilt.answers.reach import Rectangle
from asbuilt.answers.view import View, view_of
from asbuilt.record.store import Record

OUTSIDE = "outside"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TurnedCoverage(FaceCoverage):
    """The coverage of a face as it is seen from the other side: what is right there is left here."""

    length_m: float

    def window(self, left_m: float, bottom_m: float, right_m: float, top_m: float) -> tuple[slice, slice]:
        """The rows and columns of a rectangle given from the other side."""
        return FaceCoverage.window(self, self.length_m - right_m, bottom_m, self.length_m - left_m, top_m)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Standing:
    """A face as it is asked about (``face``) and as it is in its room (``inside``)."""

    view: View
    face: FaceView
    inside: FaceView
    coverage: FaceCoverage

    @property
    def unit(self) -> str:
        """The unit to answer in."""
        return self.view.building.unit

    def inside_offset_m(self, offset_m: float) -> float:
        """An offset from the left end of the face in its room [m]."""
        return self.face.face.length_m - offset_m if self.face.from_outside else offset_m

    def turned(self, r: Rectangle) -> Rectangle:
        """A rectangle of the face as asked about, in the room."""
        left_m, right_m = sorted((self.inside_offset_m(r.left_m), self.inside_offset_m(r.right_m)))
        return Rectangle(left_m=left_m, bottom_m=r.bottom_m, right_m=right_m, top_m=r.top_m)

    def doubts(self, rectangle: Rectangle, recorded_on: str) -> tuple[Doubt, ...]:
        """Events in a rectangle later than the record of it."""
        return doubts_in(self.view, self.inside, self.turned(rectangle), recorded_on)

    @property
    def named(self) -> str:
        """What to call the face that depths are counted from."""
        depth_from = OUTSIDE if self.face.from_outside else "finished" if self.face.covering_m else "stud"
        return drill_wording.from_face(depth_from, self.face.covering_m, self.face.face.kind)

    def covering(self) -> str:
        """Which face depths are counted from, in words."""
        if self.face.from_outside:
            return drill_wording.from_outside(self.inside.face.sheathing_m, self.unit, self.inside.face.kind)
        return wording.covering(self.face.covering_m, self.unit)

    def seen_from_inside(self, offset_m: float) -> str:
        """The same place from the room, in words; empty where it was asked from there."""
        if not self.face.from_outside:
            return ""
        own = self.inside.face
        return drill_wording.seen_from_inside(own.title, self.inside_offset_m(offset_m), self.unit, own.kind)


def standing_at(record: Record, face_id: str, outside: bool = False) -> Standing:
    """Stand before a face, or behind it.

    Raises
    ------
    NotInRecordError
        If there is no such face, or nobody can stand behind it.
    """
    view = view_of(record)
    inside, coverage = view.face(face_id), coverage_in(view, face_id)
    if not outside:
        return Standing(view=view, face=inside, inside=inside, coverage=coverage)
    face = view.outside(face_id)
    own = {f.name: getattr(coverage, f.name) for f in fields(FaceCoverage)}
    turned = TurnedCoverage(**(own | {"face": face}), length_m=inside.face.length_m)
    return Standing(view=view, face=face, inside=inside, coverage=turned)
