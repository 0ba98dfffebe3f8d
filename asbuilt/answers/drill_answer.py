"""What ``drill`` answers."""

from __future__ import annotations

from dataclasses import dataclass

from asbuilt.answers.coverage import AreaCover
from asbuilt.answers.doubts import Doubt
from asbuilt.answers.landmarks import Landmark
from asbuilt.answers.marks import PictureMark
from asbuilt.answers.power import CircuitOff
from asbuilt.answers.reply import Reply
from asbuilt.answers.routes import ExpectedRoute
from asbuilt.answers.screws import ScrewAnswer
from asbuilt.answers.unconfirmed import Unconfirmed
from asbuilt.answers.wood import OtherSide, WoodMet


@dataclass(frozen=True, slots=True, kw_only=True)
class PassedThing(Reply):
    """A thing on or near the path. Gaps are between surfaces [m]; negative: overlapping."""

    item_id: str
    kind: str
    name: str
    circuit: CircuitOff | None
    on_far_face: bool
    hazard: str
    chance: float
    gap_m: float
    error_95_m: float
    gap_less_error_m: float
    direction: str
    depth_m: float  # of its nearest spot, from the finished face
    status: str
    method: str
    picture_count: int
    doubt: str  # why it may no longer be there, if something happened to the wall since
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class NearestWay(Reply):
    """The nearest recorded thing in one direction along the wall."""

    direction: str
    name: str
    gap_m: float
    error_95_m: float
    gap_less_error_m: float


@dataclass(frozen=True, slots=True, kw_only=True)
class DrillAnswer(Reply):
    """The whole answer about one hole."""

    building: str
    unit: str
    face_id: str
    face_title: str
    offset_m: float
    height_m: float
    bit_m: float
    depth_m: float
    depth_from: str
    from_face: str  # what depths are counted from, in words
    inside_offset_m: float  # the same place from the left end of the face in the room
    inside: str  # that in words where it was drilled from outside
    tip_m: float  # from the stud face, or from the outer edge of the studs
    covering_m: float
    covering: str
    outcome: str
    sentence: str
    stop: str
    chance: float
    things: tuple[PassedThing, ...]
    nearest: tuple[NearestWay, ...]
    wood: tuple[WoodMet, ...]
    rule_depth_m: float
    other_side: OtherSide
    screw: ScrewAnswer
    expected: tuple[ExpectedRoute, ...]  # strips the hole lies in, where cable is to be expected
    cover: AreaCover
    doubts: tuple[Doubt, ...]
    recorded_on: str
    age: str
    circuits_off: tuple[CircuitOff, ...]
    landmarks: tuple[Landmark, ...]
    cross_check: str
    pictures: tuple[PictureMark, ...]
    cautions: tuple[str, ...]
    unconfirmed: tuple[Unconfirmed, ...] = ()  # what the pictures propose near it; not part of the outcome
