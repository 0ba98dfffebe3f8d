"""Cable beside a box: which box it may go into, and what that makes of its depth in a single picture."""

from __future__ import annotations

import numpy as np
import pytest

from asbuilt.record import Item, Position
from asbuilt.record.kinds import SECURED_M, kind_named
from asbuilt.steps.locate_boxes import Box, box_near, box_of

PANEL = Item(id="p", kind="panel", label="panel", face_id="north", circuit_id=None)


def _box(kind: str, circuit_id: str | None, offset_m: float) -> Box:
    return Box(kind=kind_named(kind), face_id="north", circuit_id=circuit_id, offset_m=offset_m, height_m=1.0,
               half_width_m=0.03, half_height_m=0.05)  # fmt: skip


def _position(status: str = "measured") -> Position:
    return Position(id="p/spot", item_id="p", place="spot", order_idx=0, face_id="north", offset_m=2.0, height_m=1.5,
                    depth_m=0.0, covariance=tuple(map(tuple, np.eye(3))), method="intersected", picture_count=2,
                    status=status)  # fmt: skip


@pytest.mark.parametrize(
    ("offset_m", "height_m", "away_m"),
    [(1.0, 1.02, 0.0), (1.0, 1.15, 0.10), (1.13, 1.0, 0.10), (1.03 + 0.03, 1.05 + 0.04, 0.05)],
)
def test_distance_counts_from_the_outline(offset_m, height_m, away_m):
    assert _box("device box", None, 1.0).away_m(offset_m, height_m) == pytest.approx(away_m)


def test_the_nearest_box_that_the_cable_may_go_into_counts():
    boxes = [_box("device box", "c7", 1.0), _box("device box", "c9", 1.2), _box("panel", "c1", 2.0)]
    assert box_near(boxes, "north", "c9", 1.05, 1.0) == (kind_named("device box"), pytest.approx(0.12))
    assert box_near(boxes, "north", None, 1.05, 1.0)[1] == pytest.approx(0.02)  # whose it is nobody noted
    assert box_near(boxes, "north", "c9", 2.05, 1.0)[0].name == "panel"  # where every circuit comes from
    assert box_near(boxes, "south", "c9", 1.05, 1.0) is None
    assert box_near(boxes, "north", "c5", 1.05, 1.0) is None
    assert box_near(boxes, "north", "c7", 1.03 + SECURED_M, 1.0) is None


def test_only_what_has_a_place_and_takes_cable_is_a_box():
    assert box_of(PANEL, [_position()]).half_width_m == pytest.approx(0.184)
    assert box_of(PANEL, []) is None
    assert box_of(PANEL, [_position("refused")]) is None
    assert box_of(Item(id="p", kind="coil", label="", face_id="north"), [_position()]) is None
