"""What wood a drill path meets, and what lies at its far end."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from scipy.special import ndtr

from asbuilt.answers import drill_wording
from asbuilt.answers.reply import Reply
from asbuilt.answers.things import far_link
from asbuilt.answers.view import FaceView, View
from asbuilt.steps.sight import SOLE_PLATE_M, TOP_PLATE_M

AIM_SIGMA_M = 0.0032  # as in gaps: marking out to 1/8 in
FAR_SIGMA = 4.0  # a stud farther from the bit than this many errors is met once in thirty thousand


@dataclass(frozen=True, slots=True, kw_only=True)
class WoodMet(Reply):
    """A stud or plate in the way (wanted when screwing, unwanted when boring)."""

    name: str
    center_m: float | None  # of a stud
    chance: float  # that the whole bit goes into it
    wood_m: float  # depth of wood bored
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class OtherSide(Reply):
    """Where the path would come out, and whether it does."""

    comes_out: bool
    wall_m: float  # finished face to the back of what is known [m]
    face_id: str | None
    offset_m: float | None  # on the other face
    height_m: float | None
    text: str


def wood_met(face: FaceView, offset_m: float, height_m: float, radius_m: float, tip_m: float) -> tuple[WoodMet, ...]:
    """Studs and plates on a drill path with the chance that the bit is wholly inside."""
    return tuple(_wood(face, offset_m, height_m, radius_m, max(tip_m, 0.0)))


def _wood(face: FaceView, offset_m: float, height_m: float, radius_m: float, tip_m: float) -> Iterator[WoodMet]:
    wood = min(tip_m, face.face.stud_depth_m)
    if not face.studs:
        return
    is_wall = face.face.kind == "wall"
    if is_wall and height_m < SOLE_PLATE_M:
        yield WoodMet(name="sole plate", center_m=None, chance=1.0, wood_m=wood, text=drill_wording.plate("sole plate"))
    if is_wall and height_m > face.face.height_m - TOP_PLATE_M:
        yield WoodMet(name="top plate", center_m=None, chance=1.0, wood_m=wood, text=drill_wording.plate("top plate"))
    for stud in face.studs:
        if not stud.bottom_m <= height_m <= (stud.top_m if stud.top_m is not None else face.face.height_m):
            continue
        sigma = (stud.sigma_m**2 + AIM_SIGMA_M**2) ** 0.5
        away = offset_m - stud.center_m
        if abs(away) > stud.width_m / 2 + radius_m + FAR_SIGMA * sigma:
            continue
        room = stud.width_m / 2 - radius_m
        chance = float(ndtr((room - away) / sigma) - ndtr((-room - away) / sigma)) if room > 0 else 0.0
        touch = stud.width_m / 2 + radius_m
        meets = float(ndtr((touch - away) / sigma) - ndtr((-touch - away) / sigma))
        if meets > 0.001:
            name = "stud" if is_wall else "joist"
            yield WoodMet(name=name, center_m=stud.center_m, chance=chance, wood_m=wood,
                          text=drill_wording.stud_met(name, chance, meets))  # fmt: skip


def back_of(view: View, face: FaceView) -> float:
    """Depth at which a bit comes out of all that is on record of a wall [m]."""
    behind_m = view.face(face.far.id).covering_m if face.far is not None else face.face.sheathing_m or 0.0
    return face.face.stud_depth_m + behind_m


def other_side(view: View, face: FaceView, offset_m: float, height_m: float, tip_m: float) -> OtherSide:
    """What is behind the cavity at a place, and whether a tip at that depth comes out."""
    unit, own = view.building.unit, face.face
    back_m = back_of(view, face)
    if face.far is not None:
        offset_sum_m, height_shift_m = far_link(own, face.far)
        there = (offset_sum_m - offset_m, height_m + height_shift_m)
        text = drill_wording.far_room(face.far.title, view.face(face.far.id).room.name, *there, unit)
        return OtherSide(comes_out=tip_m >= back_m, wall_m=back_m + face.covering_m, face_id=face.far.id,
                         offset_m=there[0], height_m=there[1], text=text)  # fmt: skip
    text = drill_wording.outside(own.exterior, own.open_behind, own.sheathing_m, unit)
    return OtherSide(comes_out=tip_m >= back_m, wall_m=back_m + face.covering_m, face_id=None, offset_m=None,
                     height_m=None, text=text)  # fmt: skip
