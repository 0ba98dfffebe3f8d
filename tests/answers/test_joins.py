"""Which end of a run goes into a box, and that the other goes on."""

from __future__ import annotations

import pytest

from asbuilt.answers.drill import CLOSE_CHANCE, HIT_CHANCE, passages
from asbuilt.answers.stretches import BEYOND
from asbuilt.answers.touch import Bit
from asbuilt.answers.view import view_of
from asbuilt.record.store import Record
from asbuilt.record.types import Circuit, Face, Item, Panel, Position, Room

COV = ((3.6e-5, 0.0, 0.0), (0.0, 3.6e-5, 0.0), (0.0, 0.0, 1e-4))
TOP_M = 2.7


def _spot(item_id: str, order: int, x: float, z: float, depth: float) -> Position:
    return Position(id=f"{item_id}:{order}", item_id=item_id, place=str(order), order_idx=order, face_id="wall",
                    offset_m=x, height_m=z, depth_m=depth, covariance=COV, method="intersected",
                    picture_count=3)  # fmt: skip


@pytest.fixture
def wall(tmp_path):
    with Record.create(tmp_path / "r", "one wall") as record:
        record.put(
            Room(id="room", name="Room"), Panel(id="panel", name="panel"),
            Circuit(id="c", panel_id="panel", number="1", name="bench", amps=20),
            Face(id="wall", room_id="room", title="Wall", length_m=4.0, height_m=TOP_M),
            Item(id="box", kind="device box", face_id="wall", circuit_id="c"), _spot("box", 0, 1.0, 1.2, -0.0127),
        )  # fmt: skip
        yield record


def _cable(record: Record, *heights_m: float, **ends: str) -> None:
    record.put(Item(id="feed", kind="cable", face_id="wall", circuit_id="c", **ends))
    record.put(*(_spot("feed", n, 1.0, z, 0.045) for n, z in enumerate(heights_m)))


def _put_lamp(record: Record, height_m: float) -> None:
    record.put(Item(id="lamp", kind="device box", face_id="wall", circuit_id="c"))
    record.put(_spot("lamp", 0, 1.0, height_m, -0.0127))


def _feed(record: Record):
    (feed,) = [t for t in view_of(record).things_on("wall") if t.item.id == "feed"]
    return feed


@pytest.mark.parametrize("heights_m", [(1.35, 1.75), (1.75, 1.35)])
def test_a_run_with_both_ends_near_its_box_enters_it_once_and_goes_on_from_the_farther(wall, heights_m):
    _cable(wall, *heights_m)
    view = view_of(wall)
    (feed,) = [t for t in view.things_on("wall") if t.item.id == "feed"]
    onward = [s for s in feed.course if s.status == BEYOND]
    assert max(s.end_m[1] for s in onward) == pytest.approx(TOP_M)
    assert all(s.start_m[1] >= 1.75 - 1e-9 for s in onward)
    assert min(s.end_m[1] for s in feed.course) < 1.26  # and into the box by the nearer


def test_what_goes_on_out_of_reach_of_the_box_is_found_there(wall):
    _cable(wall, 1.35, 1.75)
    assert [t.item.id for t in view_of(wall).things_near("wall", 0.95, 2.55, 1.05, 2.65)] == ["feed"]


def test_a_run_between_two_boxes_enters_both(wall):
    _put_lamp(wall, 2.05)
    _cable(wall, 1.35, 1.75)
    feed = _feed(wall)
    assert not [s for s in feed.course if s.status == BEYOND]
    assert max(s.end_m[1] for s in feed.course) > 1.98


def test_an_end_farther_from_a_box_than_cable_is_secured_goes_into_it_or_on(wall):
    """NFPA 70 (2020) 334.30: within 12 in of a box. Here 16 in: nobody saw that it goes in."""
    _put_lamp(wall, 1.75 + 16 * 0.0254 + 0.0476)
    _cable(wall, 1.35, 1.75)
    feed = _feed(wall)
    assert max(s.end_m[1] for s in feed.course if s.status == BEYOND) == pytest.approx(TOP_M)
    assert max(s.end_m[1] for s in feed.course if s.status != BEYOND) > 2.1
    assert "feed" in [t.item.id for t in view_of(wall).things_near("wall", 0.95, 2.55, 1.05, 2.65)]


def test_an_end_whose_box_was_named_goes_nowhere_else(wall):
    _put_lamp(wall, 1.75 + 16 * 0.0254)
    _cable(wall, 1.35, 1.75, comes_from="box", goes_to="lamp")
    assert not [s for s in _feed(wall).course if s.status == BEYOND]


def test_a_cable_marked_on_its_bend_is_loose_beside_that_mark(wall):
    """Arc of 4 in radius marked at its middle: the straight way to that mark misses the arc by 22 mm."""
    radius_m, middle = 0.1, 0.1 * (1 - 0.5**0.5)
    wall.put(Item(id="feed", kind="cable", face_id="wall", circuit_id="c"))
    places = [(3.0, 0.6), (3.0 - middle, 0.9 + 0.1 * 0.5**0.5), (2.4, 1.0)]
    wall.put(*(_spot("feed", n, x, z, 0.045) for n, (x, z) in enumerate(places)))
    view = view_of(wall)
    on_the_arc = Bit(offset_m=3.0 - radius_m * 0.035, height_m=0.9 + radius_m * 0.26, radius_m=0.003, tip_m=0.08)
    (passed,) = [p for p in passages(view, "wall", on_the_arc) if p.thing.item.id == "feed"]
    assert passed.clearance.gap_m > 0.005  # the straight way passes beside it
    assert CLOSE_CHANCE < passed.chance < HIT_CHANCE
    assert not passed.is_guess
