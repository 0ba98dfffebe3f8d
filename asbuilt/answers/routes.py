"""Where the trade runs cable when nothing was recorded: where to expect it, never where it is not.

Three overlays: what electricians do from box to box anywhere, the zones of BS 7671
and the installation zones of DIN 18015-3. A place outside every zone proves nothing.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

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

    def holds(self, offset_m: float, height_m: float) -> bool:
        """Whether a place lies in the strip."""
        return self.left_m <= offset_m <= self.right_m and self.bottom_m <= height_m <= self.top_m


def expected_routes(view: View, face_id: str, rule: str = "practice") -> list[ExpectedRoute]:
    """The strips of one rule on a face.

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
    return list(make(face, boxes))


def routes_at(view: View, face_id: str, offset_m: float, height_m: float, rules=RULES[:1]) -> list[ExpectedRoute]:
    """The strips that a place lies in."""
    return [r for rule in rules for r in expected_routes(view, face_id, rule) if r.holds(offset_m, height_m)]


def routes_in(view: View, face_id: str, rectangle: Rectangle, rules=RULES[:1]) -> list[ExpectedRoute]:
    """The strips that meet a rectangle."""
    found = [r for rule in rules for r in expected_routes(view, face_id, rule)]
    return [r for r in found if r.left_m <= rectangle.right_m and r.right_m >= rectangle.left_m
            and r.bottom_m <= rectangle.top_m and r.top_m >= rectangle.bottom_m]  # fmt: skip


def _through_thin_wall(view: View, face: FaceView) -> list[Thing]:
    """The boxes of the other face, as they lie on this one, where the wall is so thin that zones reach through."""
    if face.far is None:
        return []
    thickness_m = face.face.stud_depth_m + face.covering_m + view.face(face.far.id).covering_m
    if thickness_m > float(BS_THIN_M) + 1e-9:
        return []
    return [t for t in view.things_on(face.face.id) if t.on_far_face and t.block is not None and t.kind.name in BOXES]


def _box_strips(face: FaceView, box: Thing, beside_m: float) -> Iterator[tuple[str, float, float, float, float]]:
    x, z = (float(v) for v in box.block.center_m[:2])
    half_w, half_h = box.block.half_width_m + beside_m, box.block.half_height_m + beside_m
    yield "straight above", x - half_w, z, x + half_w, face.face.height_m
    yield "straight below", x - half_w, 0.0, x + half_w, z
    yield "level with", 0.0, z - half_h, face.face.length_m, z + half_h


def _practice(face: FaceView, boxes: list[Thing]) -> Iterator[ExpectedRoute]:
    for box in boxes:
        name = wording.thing_name(box.item.kind, box.item.label)
        for where, *strip in _box_strips(face, box, BESIDE_BOX_M):
            yield _route("practice", strip, wording.expect(f"{where} the {name}"), "common practice, no source")


def _bs7671(face: FaceView, boxes: list[Thing]) -> Iterator[ExpectedRoute]:
    length, height, strip = face.face.length_m, face.face.height_m, float(BS_STRIP_M)
    places = (
        ("along the top of the wall", (0.0, height - strip, length, height)),
        ("beside the left corner", (0.0, 0.0, strip, height)),
        ("beside the right corner", (length - strip, 0.0, length, height)),
    )
    for where, rectangle in places:
        yield _route("bs7671", rectangle, wording.expect(where), BS_STRIP_M.source)
    for box in boxes:
        name = wording.thing_name(box.item.kind, box.item.label)
        for where, *rectangle in _box_strips(face, box, 0.0):
            yield _route("bs7671", rectangle, wording.expect(f"{where} the {name}"), BS_STRIP_M.source)


def _din18015(face: FaceView, boxes: list[Thing]) -> Iterator[ExpectedRoute]:
    length, height = face.face.length_m, face.face.height_m
    near, far = (float(v) for v in DIN_LEVEL_M)
    level = (
        ("below the ceiling", height - far, height - near),
        ("above the floor", near, far),
        ("above a worktop, in kitchens", *(float(v) for v in DIN_WORKTOP_M)),
    )
    for where, bottom, top in level:
        yield _route("din18015", (0.0, bottom, length, top), wording.expect(where), _DIN)
    near, far = (float(v) for v in DIN_UPRIGHT_M)
    edges = [("the left corner", 0.0, 1), ("the right corner", length, -1)]
    for o in face.openings:
        edges += [(f"the left edge of the {o.kind}", o.left_m, -1), (f"the right edge of the {o.kind}", o.right_m, 1)]
    for name, edge, side in edges:
        left, right = sorted((edge + side * near, edge + side * far))
        yield _route("din18015", (left, 0.0, right, height), wording.expect(f"beside {name}"), _DIN)


def _route(rule: str, strip, text: str, source: str) -> ExpectedRoute:
    left, bottom, right, top = strip
    return ExpectedRoute(rule=rule, left_m=left, bottom_m=bottom, right_m=right, top_m=top, text=text, source=source)
