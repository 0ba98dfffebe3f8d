"""Where the trade runs cable when nothing was recorded: where to expect it, never where it is not.

Three overlays: what electricians do from box to box anywhere, the zones of BS 7671
and the installation zones of DIN 18015-3. A place outside every zone proves nothing.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple

from asbuilt.answers import wording
from asbuilt.answers.index import BOXES
from asbuilt.answers.reach import Rectangle
from asbuilt.answers.reply import Reply
from asbuilt.answers.things import Thing
from asbuilt.answers.view import FaceView, View
from asbuilt.errors import NotInRecordError
from asbuilt.sources import Sourced

_BS = "BS 7671 (18th edition) 522.6.202"
_DIN = "DIN 18015-3, installation zones"
BS_STRIP_M = Sourced(value=0.150, unit="m", source=_BS)
BS_THIN_M = Sourced(value=0.100, unit="m", source=_BS)  # zones reach through walls up to this thick
DIN_LEVEL_M = (Sourced(value=0.15, unit="m", source=_DIN), Sourced(value=0.45, unit="m", source=_DIN))
DIN_WORKTOP_M = (Sourced(value=1.00, unit="m", source=_DIN), Sourced(value=1.30, unit="m", source=_DIN))
DIN_UPRIGHT_M = (Sourced(value=0.10, unit="m", source=_DIN), Sourced(value=0.30, unit="m", source=_DIN))
BESIDE_BOX_M = 0.075  # cable leaves a box within 3 in of its sides (common practice, no source)

RULES = ("practice", "bs7671", "din18015")


@dataclass(frozen=True, slots=True, kw_only=True)
class ExpectedRoute(Reply):
    """A strip of a face in which cable is to be expected, and why."""

    rule: str
    left_m: float
    bottom_m: float
    right_m: float
    top_m: float
    text: str
    source: str


def expected_routes(
    view: View, face_id: str, rule: str = "practice", meeting: Rectangle | None = None
) -> list[ExpectedRoute]:
    """The strips of one rule on a face, all or those that meet a rectangle.

    Raises
    ------
    NotInRecordError
        If there is no such rule.
    """
    if rule not in RULES:
        raise NotInRecordError(f"no rule {rule!r} for where cable runs; choose one of: {', '.join(RULES)}")
    face = view.face(face_id)
    boxes = view.boxes_on(face_id)
    if rule == "bs7671":
        boxes = boxes + _through_thin_wall(view, face)
    make = {"practice": _practice, "bs7671": _bs7671, "din18015": _din18015}[rule]
    strips = [s for s in make(face, boxes) if meeting is None or s.meets(meeting)]
    return [ExpectedRoute(rule=rule, left_m=s.left_m, bottom_m=s.bottom_m, right_m=s.right_m, top_m=s.top_m,
                          text=wording.expect(s.where), source=s.source) for s in strips]  # fmt: skip


def routes_at(view: View, face_id: str, offset_m: float, height_m: float, rules=RULES[:1]) -> list[ExpectedRoute]:
    """The strips that a place lies in."""
    place = Rectangle(left_m=offset_m, bottom_m=height_m, right_m=offset_m, top_m=height_m)
    return routes_in(view, face_id, place, rules)


def routes_in(view: View, face_id: str, rectangle: Rectangle, rules=RULES[:1]) -> list[ExpectedRoute]:
    """The strips that meet a rectangle."""
    return [r for rule in rules for r in expected_routes(view, face_id, rule, rectangle)]


def _through_thin_wall(view: View, face: FaceView) -> list[Thing]:
    """The boxes of the other face, as they lie on this one, where the wall is so thin that zones reach through."""
    if face.far is None:
        return []
    thickness_m = face.face.stud_depth_m + face.covering_m + view.face(face.far.id).covering_m
    if thickness_m > float(BS_THIN_M) + 1e-9:
        return []
    return [t for t in view.things_on(face.face.id) if t.on_far_face and t.block is not None and t.kind.name in BOXES]


class _Strip(NamedTuple):
    """A strip of a face, where on it that is in words, and who says that cable runs there."""

    where: str
    source: str
    left_m: float
    bottom_m: float
    right_m: float
    top_m: float

    def meets(self, r: Rectangle) -> bool:
        return (self.left_m <= r.right_m and self.right_m >= r.left_m
                and self.bottom_m <= r.top_m and self.top_m >= r.bottom_m)  # fmt: skip


def _box_strips(face: FaceView, box: Thing, beside_m: float, source: str) -> Iterator[_Strip]:
    x, z = box.block.center_m[:2].tolist()
    half_w, half_h = box.block.half_width_m + beside_m, box.block.half_height_m + beside_m
    name = wording.thing_name(box.item.kind, box.item.label)
    yield _Strip(f"straight above the {name}", source, x - half_w, z, x + half_w, face.face.height_m)
    yield _Strip(f"straight below the {name}", source, x - half_w, 0.0, x + half_w, z)
    yield _Strip(f"level with the {name}", source, 0.0, z - half_h, face.face.length_m, z + half_h)


def _practice(face: FaceView, boxes: list[Thing]) -> Iterator[_Strip]:
    for box in boxes:
        yield from _box_strips(face, box, BESIDE_BOX_M, "common practice, no source")


def _bs7671(face: FaceView, boxes: list[Thing]) -> Iterator[_Strip]:
    length, height, strip = face.face.length_m, face.face.height_m, float(BS_STRIP_M)
    places = (
        ("along the top of the wall", (0.0, height - strip, length, height)),
        ("beside the left corner", (0.0, 0.0, strip, height)),
        ("beside the right corner", (length - strip, 0.0, length, height)),
    )
    for where, rectangle in places:
        yield _Strip(where, BS_STRIP_M.source, *rectangle)
    for box in boxes:
        yield from _box_strips(face, box, 0.0, BS_STRIP_M.source)


def _din18015(face: FaceView, boxes: list[Thing]) -> Iterator[_Strip]:
    length, height = face.face.length_m, face.face.height_m
    near, far = (float(v) for v in DIN_LEVEL_M)
    level = (
        ("below the ceiling", height - far, height - near),
        ("above the floor", near, far),
        ("above a worktop, in kitchens", *(float(v) for v in DIN_WORKTOP_M)),
    )
    for where, bottom, top in level:
        yield _Strip(where, _DIN, 0.0, bottom, length, top)
    near, far = (float(v) for v in DIN_UPRIGHT_M)
    edges = [("the left corner", 0.0, 1), ("the right corner", length, -1)]
    for o in face.openings:
        edges += [(f"the left edge of the {o.kind}", o.left_m, -1), (f"the right edge of the {o.kind}", o.right_m, 1)]
    for name, edge, side in edges:
        left, right = sorted((edge + side * near, edge + side * far))
        yield _Strip(f"beside {name}", _DIN, left, 0.0, right, height)
