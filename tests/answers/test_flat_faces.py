"""Ceilings and floors are faces too; and both faces of a partition are one cavity."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from asbuilt.answers import wording
from asbuilt.answers.behind import behind
from asbuilt.answers.drill import drill
from asbuilt.answers.text import behind_text, drill_text
from asbuilt.record.store import Record
from asbuilt.record.types import Covering, Face, Item, Position, Room

COV = ((4e-6, 0.0, 0.0), (0.0, 4e-6, 0.0), (0.0, 0.0, 4e-6))
# Joists of 2x8 under a ceiling of 5/8 in board, and under a floor of 3/4 in sheathing.
FLAT = {"ceiling": 0.015875, "floor": 0.01905}


def _put_run(record: Record, item: str, face: str, spots) -> None:
    for n, (x, z, y) in enumerate(spots):
        record.put(Position(id=f"{item}{n}", item_id=item, place=f"{item}{n}", order_idx=n, face_id=face, offset_m=x,
                            height_m=z, depth_m=y, covariance=COV, method="intersected", picture_count=2))  # fmt: skip


@pytest.fixture(scope="module", params=list(FLAT))
def flat(tmp_path_factory, request):
    """A ceiling or a floor with a cable across it 2 m from its left end, 80 mm deep, and a box."""
    kind = request.param
    with Record.create(tmp_path_factory.mktemp(kind) / "r", "A room", unit="mm") as record:
        record.put(Room(id="a", name="A"))
        record.put(*(Face(id=f"w{n}", room_id="a", title=f"W{n}", order_idx=n, length_m=length, height_m=2.4)
                     for n, length in enumerate((4.0, 3.0, 4.0, 3.0))))  # fmt: skip
        record.put(Face(id="f", room_id="a", title=kind.title(), kind=kind, order_idx=4, length_m=4.0, height_m=3.0,
                        stud_depth_m=0.184))  # fmt: skip
        record.put(Covering(id="b", face_id="f", material="board", thickness_m=FLAT[kind]))
        record.put(Item(id="c", kind="cable", face_id="f", label="across"))
        record.put(Item(id="j", kind="junction box", face_id="f"))
        _put_run(record, "c", "f", ((2.0, 0.02, 0.08), (2.0, 1.5, 0.08), (2.0, 2.98, 0.08)))
        _put_run(record, "j", "f", ((3.0, 1.0, 0.0),))
        yield record, FLAT[kind]


def test_what_is_behind_a_ceiling_or_floor_is_listed_with_its_depth(flat):
    record, covering_m = flat
    answer = behind(record, "f", 2.0, height_m=1.5)
    (thing,) = {t.item_id: t for bay in answer.bays for t in bay.things}.values()
    assert thing.item_id == "c"
    assert thing.depth_finished_m == pytest.approx(0.08 + covering_m)
    assert "from the finished face" in behind_text(answer)
    assert not [t for bay in behind(record, "f", 0.8, height_m=1.5).bays for t in bay.things]


def test_a_hole_into_a_ceiling_or_floor_meets_what_lies_there(flat):
    record, covering_m = flat
    deep = drill(record, "f", 2.0, 1.5, 0.006, covering_m + 0.085)
    shallow = drill(record, "f", 2.0, 1.5, 0.006, covering_m + 0.040)
    assert deep.outcome == wording.HIT
    assert shallow.outcome == wording.UNKNOWN  # nothing met, and no picture shows the place
    assert shallow.things[0].direction == "deeper"
    assert drill(record, "f", 3.0, 1.0, 0.006, covering_m + 0.02).things[0].kind == "junction box"
    assert "NOT RECORDED" in drill_text(shallow)


@pytest.fixture(scope="module")
def partition(tmp_path_factory):
    """One cavity 89 mm deep, boards of unlike thickness; the far face's left end lies 0.2 m further on."""
    with Record.create(tmp_path_factory.mktemp("partition") / "r", "Two rooms") as record:
        record.put(Room(id="a", name="A"), Room(id="b", name="B", order_idx=1))
        record.put(
            Face(id="near", room_id="a", title="Near", length_m=3.0, height_m=2.4, far_face_id="far",
                 far_offset_sum_m=3.2, far_height_shift_m=0.1),
            Face(id="far", room_id="b", title="Far", length_m=3.4, height_m=2.5),
            Covering(id="nb", face_id="near", material="board", thickness_m=0.0125),
            Covering(id="fb", face_id="far", material="board", thickness_m=0.0159),
            Item(id="c", kind="cable", face_id="near"), Item(id="d", kind="pipe", face_id="far"),
        )  # fmt: skip
        _put_run(record, "c", "near", ((1.0, 0.3, 0.03), (1.0, 1.2, 0.02), (1.05, 2.3, 0.05)))
        _put_run(record, "d", "far", ((1.9, 0.2, 0.04), (1.9, 2.3, 0.04)))
        yield record


@given(x=st.floats(0.9, 1.4), z=st.floats(0.4, 2.0), bit=st.floats(0.003, 0.02))
@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_a_hole_through_a_partition_is_the_same_from_either_side(partition, x, z, bit):
    through_m = 0.0889 + 0.0125 + 0.0159
    near = drill(partition, "near", x, z, bit, through_m)
    far = drill(partition, "far", 3.2 - x, z + 0.1, bit, through_m)
    sides = [{t.item_id: t for t in answer.things} for answer in (near, far)]
    assert set(sides[0]) == set(sides[1])
    for item, thing in sides[0].items():
        other = sides[1][item]
        assert other.chance == pytest.approx(thing.chance, abs=0.01)
        assert other.on_far_face != thing.on_far_face
    assert near.other_side.comes_out and far.other_side.comes_out
    assert (far.other_side.offset_m, far.other_side.height_m) == pytest.approx((x, z))


def test_depths_of_one_thing_from_both_faces_add_up_to_the_wall(partition):
    near = behind(partition, "near", 1.0, height_m=1.2)
    far = behind(partition, "far", 2.2, height_m=1.3)
    depths = [next(t.depth_finished_m for b in a.bays for t in b.things if t.item_id == "c") for a in (near, far)]
    assert sum(depths) == pytest.approx(0.0889 + 0.0125 + 0.0159, abs=1e-6)


@pytest.mark.parametrize(
    ("name", "board_in", "finished_in"),
    # NFPA 70 (2020) 300.4(A)(1): 1-1/4 in from the nearest edge of the wood; a board adds its thickness.
    [("bare studs", 0.0, 1.25), ("1/2 in board", 0.5, 1.75), ("5/8 in board", 0.625, 1.875)],
)  # fmt: skip
def test_the_rule_on_distance_from_the_stud_edge_as_the_answer_gives_it(tmp_path, name, board_in, finished_in):
    with Record.create(tmp_path / "r", name) as record:
        record.put(Room(id="a", name="A"), Face(id="w", room_id="a", title="W", length_m=3.0, height_m=2.4))
        if board_in:
            record.put(Covering(id="b", face_id="w", material="board", thickness_m=board_in * 0.0254))
        answer = drill(record, "w", 1.0, 1.0, 0.006, 0.05)
    assert answer.rule_depth_m / 0.0254 == pytest.approx(finished_in)
    fraction = {1.25: "1-1/4 in", 1.75: "1-3/4 in", 1.875: "1-7/8 in"}[finished_in]
    face = "finished face" if board_in else "stud face"
    assert f"300.4 (2020; check local adoption): cable nearer than {fraction} from the {face}" in drill_text(answer)
