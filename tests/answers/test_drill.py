"""The four outcomes of a drill path, against truth and by arithmetic."""

from __future__ import annotations

import dataclasses
import json

import numpy as np
import pytest

from asbuilt.answers import wording
from asbuilt.answers.drill import drill
from asbuilt.answers.screws import rule_depth_m
from asbuilt.answers.text import drill_text
from asbuilt.errors import NotInRecordError
from asbuilt.record.store import Record
from asbuilt.record.types import Covering, Event, Face, Item, Opening, Position, Room
from asbuilt.steps import coverage
from asbuilt.units import parse_length
from tests.answers.drill_paths import random_paths, summary
from tests.truth import truth, truth_record

INCH = 0.0254


@pytest.mark.parametrize(("sigma_m", "seed"), [(0.004, 1), (0.007, 2)])
def test_no_true_hit_is_called_nothing_recorded(tmp_path, sigma_m, seed):
    with truth_record(tmp_path / "r", places="clicked", sigma_m=sigma_m, seed=seed) as record:
        coverage.run(record)
        aimed = summary(random_paths(record, 500, np.random.default_rng(seed), aimed=0.9))
        spread = summary(random_paths(record, 700, np.random.default_rng(seed)))
    assert aimed["true_hits"] > 80
    assert aimed["true_hits_called_nothing"] == spread["true_hits_called_nothing"] == 0
    assert spread["far_paths"] > 500
    # With more error than the tool's own places have, a little more is too close to call.
    assert spread["far_too_close"] <= (0.10 if sigma_m < 0.005 else 0.11)
    assert spread["far_hit_expected"] <= 0.01


def test_into_a_true_box_a_hit_is_expected_and_its_circuit_is_named(dense_record):
    box = next(b for b in truth()["boxes"] if b["id"] == "street-box01")
    answer = drill(dense_record, "street", box["x"], box["z"], 6e-3, 0.05)
    assert answer.outcome == wording.HIT
    assert answer.chance > 0.99
    assert [c.number for c in answer.circuits_off] == ["2"]
    assert "receptacle, street left" in answer.sentence


def test_a_hole_shallower_than_a_cable_passes_in_front_of_it(dense_record):
    """The kiln feed at 2.6 m: centre 70 mm behind the stud face, 16.5 mm thick, board 12.7 mm."""
    place = dict(face_id="kiln", offset_m=2.48, height_m=1.04, bit_m=0.006)
    deep = drill(dense_record, **place, depth_m=0.0127 + 0.075)
    shallow = drill(dense_record, **place, depth_m=0.0127 + 0.030)
    assert deep.outcome == wording.HIT
    assert shallow.outcome == wording.NOTHING
    feed = next(t for t in shallow.things if t.item_id == "kiln-cable01")
    assert feed.direction == "deeper"
    assert feed.gap_m == pytest.approx(0.070 - 0.00825 - 0.030, abs=0.004)
    from_stud = drill(dense_record, **place, depth_m=0.030, depth_from="stud")
    assert from_stud.tip_m == pytest.approx(shallow.tip_m)


def test_where_no_picture_looks_it_is_not_recorded(dense_record):
    left_out = truth()["left_out"]
    middle = (left_out["x0"] + left_out["x1"]) / 2 + 0.05
    answer = drill(dense_record, left_out["wall"], middle, 2.0, 0.006, 0.02)
    assert answer.outcome == wording.UNKNOWN
    assert answer.screw.longest_m is None
    text = drill_text(answer)
    assert "NOT RECORDED" in text and wording.NOTHING.upper() not in text


def test_an_opened_wall_is_doubtful(tmp_path):
    with truth_record(tmp_path / "r") as record:
        coverage.run(record)
        place = dict(face_id="kiln", offset_m=1.22, height_m=1.4, bit_m=0.006, depth_m=0.05)
        assert drill(record, **place).outcome == wording.NOTHING
        record.put(Event(id="e", kind="opened", date="2026-05-02", face_id="kiln"))
        answer = drill(record, **place)
    assert answer.outcome == wording.UNKNOWN
    assert "opened on 2026-05-02" in answer.sentence


def test_thicker_covering_shifts_the_tip_exactly(tmp_path):
    with truth_record(tmp_path / "r", pictures=False) as record:
        before = drill(record, "street", 3.0, 1.0, 0.006, 0.06)
        record.put(Covering(id="tile", face_id="street", order_idx=1, material="tile", thickness_m=0.01))
        after = drill(record, "street", 3.0, 1.0, 0.006, 0.06)
    assert before.tip_m - after.tip_m == pytest.approx(0.01, abs=1e-12)
    assert after.rule_depth_m - before.rule_depth_m == pytest.approx(0.01, abs=1e-12)


def test_studs_and_plates_met_with_their_wood(dense_record):
    stud = next(s for s in truth()["walls"][0]["studs"] if s["id"] == "street-s05")
    centred = drill(dense_record, "street", stud["x"], 1.0, 0.004, 0.0635)
    met = [w for w in centred.wood if w.name == "stud"]
    assert len(met) == 1 and met[0].chance > 0.99
    assert met[0].wood_m == pytest.approx(0.0635 - 0.0127)
    edge = drill(dense_record, "street", stud["x"] + 0.019, 1.0, 0.004, 0.0635)
    assert edge.wood[0].chance < 0.6
    assert not drill(dense_record, "street", stud["x"] + 0.2, 1.0, 0.004, 0.0635).wood
    assert drill(dense_record, "street", 3.0, 0.01, 0.004, 0.05).wood[0].name == "sole plate"


def test_a_nail_plate_is_met_as_metal(dense_record):
    plate = truth()["nail_plates"][0]
    answer = drill(dense_record, plate["wall"], plate["x"], plate["z"], 0.004, 0.05)
    assert answer.outcome == wording.HIT
    assert answer.things[0].kind == "nail plate"


def test_nearest_in_each_direction_is_what_the_truth_says(dense_record):
    answer = drill(dense_record, "kiln", 1.10, 1.60, 0.006, 0.10)
    by_way = {w.direction: w for w in answer.nearest}
    fan = next(b for b in truth()["boxes"] if b["id"] == "kiln-box03")
    assert "exhaust fan" in by_way["above"].name
    assert by_way["above"].gap_m == pytest.approx(fan["z"] - fan["size"][1] / 2 - 1.60 - 0.003, abs=0.003)
    for way in answer.nearest:
        assert way.gap_less_error_m == pytest.approx(way.gap_m - way.error_95_m)


def test_longer_screws_are_refused_before_the_cable(dense_record):
    """The cable's front is 62 mm behind the stud face; its error and 1/4 in are kept."""
    answer = drill(dense_record, "kiln", 2.48, 1.04, 0.004, 0.03)
    feed = next(t for t in answer.things if t.item_id == "kiln-cable01")
    front_m = feed.gap_m + answer.tip_m
    assert front_m == pytest.approx(0.0615, abs=0.002)
    assert front_m - (answer.screw.longest_m - 0.0127) - feed.error_95_m >= INCH / 4
    assert 2 * INCH <= answer.screw.longest_m < 3 * INCH
    assert "kiln feed" in answer.screw.text
    beside = drill(dense_record, "kiln", 1.22, 1.4, 0.004, 0.03)
    assert beside.screw.longest_m == pytest.approx(5 * INCH)  # 1/2 in board and a 5-1/2 in cavity
    assert "back of the cavity" in beside.screw.text


def test_the_edge_rule_worked_out():
    """NFPA 70 300.4: 1-1/4 in from the stud edge; with 1/2 in board 1-3/4 in from the finished face."""
    assert rule_depth_m(0.0) == pytest.approx(1.25 * INCH)
    assert rule_depth_m(parse_length("1/2in")) == pytest.approx(parse_length("1-3/4in"))
    # Largest hole centred in a 2x4 without a plate: 3-1/2 in less twice 1-1/4 in.
    assert 3.5 * INCH - 2 * rule_depth_m(0.0) == pytest.approx(1.0 * INCH)


def _two_faces(folder, kind="cable"):
    record = Record.create(folder, "Two rooms")
    record.put(Room(id="a", name="A"), Room(id="b", name="B", order_idx=1))
    record.put(
        Face(id="near", room_id="a", title="Near", length_m=3.0, height_m=2.4, far_face_id="far", far_offset_sum_m=3.0),
        Face(id="far", room_id="b", title="Far", length_m=3.0, height_m=2.4),
        Covering(id="nb", face_id="near", material="board", thickness_m=0.0125),
        Covering(id="fb", face_id="far", material="board", thickness_m=0.0125),
        Item(id="c", kind=kind, face_id="near", label="c"),
    )
    cov = ((4e-5, 1e-5, 0.0), (1e-5, 2e-5, 0.0), (0.0, 0.0, 3e-5))
    for order, (x, z, y) in enumerate(((1.0, 0.3, 0.03), (1.0, 1.2, 0.02), (1.05, 2.3, 0.05))):
        record.put(Position(id=f"p{order}", item_id="c", place=f"p{order}", order_idx=order, face_id="near",
                            offset_m=x, height_m=z, depth_m=y, covariance=cov, method="intersected",
                            picture_count=2))  # fmt: skip
    return record


@pytest.mark.parametrize("dx", [0.0, 0.012, 0.02, -0.015])
def test_the_same_hole_through_the_whole_wall_has_the_same_chance_from_either_side(tmp_path, dx):
    with _two_faces(tmp_path / "r") as record:
        through = 0.0889 + 2 * 0.0125
        near = drill(record, "near", 1.0 + dx, 1.0, 0.006, through)
        far = drill(record, "far", 2.0 - dx, 1.0, 0.006, through)
    assert far.things[0].on_far_face and not near.things[0].on_far_face
    assert far.chance == pytest.approx(near.chance, abs=0.01)
    assert far.things[0].gap_m == pytest.approx(near.things[0].gap_m, abs=1e-6)
    assert near.other_side.comes_out and near.other_side.face_id == "far"
    assert near.other_side.offset_m == pytest.approx(2.0 - dx)


def _outside_wall(folder, sheathing_m, kind="wall"):
    """3 m of outside wall, 89 mm studs: a cable upright 1 m from the left end, 60 mm deep."""
    record = Record.create(folder, "A hut", unit="mm")
    record.put(Room(id="a", name="A"))
    record.put(
        Face(id="w", room_id="a", title="Wall", length_m=3.0, height_m=2.4, exterior=True, sheathing_m=sheathing_m),
        Face(id="inner", room_id="a", title="Inner", order_idx=1, length_m=3.0, height_m=2.4),
        Covering(id="b", face_id="w", material="board", thickness_m=0.0125),
        Opening(id="d", face_id="w", kind="window", left_m=2.0, right_m=2.6, bottom_m=0.9, top_m=1.8),
        Item(id="c", kind="cable", face_id="w", label="c"),
    )
    cov = ((1e-6, 0.0, 0.0), (0.0, 1e-6, 0.0), (0.0, 0.0, 1e-6))
    for order, z in enumerate((0.02, 1.2, 2.38)):
        record.put(Position(id=f"p{order}", item_id="c", place=f"p{order}", order_idx=order, face_id="w", offset_m=1.0,
                            height_m=z, depth_m=0.06, covariance=cov, method="intersected",
                            picture_count=2))  # fmt: skip
    return record


def test_from_outside_offsets_are_mirrored_and_depths_count_from_the_sheathing(tmp_path):
    """The cable lies 88.9 - 60 mm behind the outer stud edge: 40.9 mm with 12 mm of sheathing."""
    with _outside_wall(tmp_path / "r", 0.012) as record:
        shallow = drill(record, "w", 2.0, 1.2, 0.006, 0.025, "outside")
        deep = drill(record, "w", 2.0, 1.2, 0.006, 0.050, "outside")
        elsewhere = drill(record, "w", 1.0, 1.2, 0.006, 0.050, "outside")
    assert deep.outcome == wording.HIT and deep.tip_m == pytest.approx(0.050 - 0.012)
    assert elsewhere.chance == 0.0 and not elsewhere.things
    radius_m = 0.0889 - 0.06 + 0.012 - shallow.things[0].depth_m
    assert 0.002 < radius_m < 0.008  # depths are to its surface
    assert shallow.things[0].direction == "deeper"
    assert shallow.things[0].gap_m == pytest.approx(0.0889 - 0.06 - radius_m - (0.025 - 0.012), abs=1e-6)
    assert deep.inside_offset_m == pytest.approx(1.0)
    assert [m.name for m in deep.landmarks] == ["the right edge of the window", "the left edge of the window"]
    assert deep.landmarks[1].offset_m == pytest.approx(3.0 - 2.6)
    text = drill_text(deep)
    for words in ("outer face of the sheathing, 12 mm", "siding lies in front", "From inside this is Wall, 1000 mm"):
        assert words in text
    assert "finished face" not in text


def test_a_hole_right_through_has_the_same_chance_from_outside_and_comes_out_in_the_room(tmp_path):
    with _outside_wall(tmp_path / "r", 0.012) as record:
        through = 0.012 + 0.0889 + 0.0125 + 0.001
        for aside in (0.0, 0.006, 0.012):
            inside = drill(record, "w", 1.0 + aside, 1.0, 0.006, through)
            outside = drill(record, "w", 2.0 - aside, 1.0, 0.006, through, "outside")
            assert outside.chance == pytest.approx(inside.chance, abs=0.01)
    assert inside.other_side.comes_out and "outside of the building" in inside.other_side.text
    assert outside.other_side.comes_out and outside.other_side.face_id == "w"
    assert outside.other_side.wall_m == pytest.approx(through - 0.001)


def test_unknown_sheathing_is_said_and_taken_as_none(tmp_path):
    with _outside_wall(tmp_path / "r", None) as record:
        answer = drill(record, "w", 2.0, 1.0, 0.006, 0.030, "outside")
        with pytest.raises(NotInRecordError, match="not on record as an outside wall"):
            drill(record, "inner", 2.0, 1.0, 0.006, 0.030, "outside")
    assert answer.tip_m == pytest.approx(0.030)
    assert "not on record: depths are from the outer edge of the studs" in drill_text(answer)
    assert "mm deep from the outer edge of the studs" in drill_text(answer)


def test_from_outside_the_record_is_that_of_the_same_place(dense_record):
    """The bay that no picture shows is not recorded from either side."""
    left_out = truth()["left_out"]
    middle = (left_out["x0"] + left_out["x1"]) / 2 + 0.05
    length_m = dense_record.get(Face, left_out["wall"]).length_m
    there = drill(dense_record, left_out["wall"], length_m - middle, 2.0, 0.006, 0.02, "outside")
    seen = drill(dense_record, "kiln", dense_record.get(Face, "kiln").length_m - 1.22, 1.4, 0.006, 0.05, "outside")
    assert there.outcome == wording.UNKNOWN
    assert seen.outcome == wording.NOTHING and seen.pictures


def test_from_the_far_side_a_shallow_hole_stops_short(tmp_path):
    with _two_faces(tmp_path / "r") as record:
        near = drill(record, "near", 1.0, 1.2, 0.006, 0.05)
        far = drill(record, "far", 2.0, 1.2, 0.006, 0.05)
    assert near.outcome == wording.HIT
    assert far.things[0].chance < 0.001


def test_an_event_on_the_other_face_counts_within_its_extent_turned_round(tmp_path):
    """0.4 to 0.8 m from the far left end, 0.5 to 1 m up, is 2.2 to 2.6 m from the near left end."""
    with _two_faces(tmp_path / "r") as record:
        record.put(Event(id="e", kind="opened", date="2026-05-02", face_id="far",
                         left_m=0.4, right_m=0.8, bottom_m=0.5, top_m=1.0))  # fmt: skip
        doubtful = {x: bool(drill(record, "near", x, 0.75, 0.006, 0.05).doubts) for x in (0.6, 2.0, 2.4, 2.8)}
        above = drill(record, "near", 2.4, 1.3, 0.006, 0.05).doubts
        on_the_far_face = drill(record, "far", 0.6, 0.75, 0.006, 0.05).doubts
    assert doubtful == {0.6: False, 2.0: False, 2.4: True, 2.8: False}
    assert not above and on_the_far_face


@pytest.mark.parametrize(
    ("kind", "words"),
    [("gas pipe", "gas fitter"), ("tendon", "specialist"), ("sprinkler pipe", "specialist"),
     ("radiant tubing", "specialist")],
)  # fmt: skip
def test_special_hazards_stop(tmp_path, kind, words):
    with _two_faces(tmp_path / "r", kind) as record:
        answer = drill(record, "near", 1.2, 1.0, 0.006, 0.05)
    assert words in answer.stop
    assert "STOP." in drill_text(answer)


def test_landmarks_are_the_finished_corner_openings_and_boxes(tmp_path):
    with Record.create(tmp_path / "r", "One room") as record:
        record.put(Room(id="a", name="A"))
        size = dict(length_m=4.0, height_m=2.4)
        faces = [Face(id=f"f{i}", room_id="a", title=f"F{i}", order_idx=i, **size) for i in range(4)]
        boards = [Covering(id=f"b{i}", face_id=f"f{i}", material="board", thickness_m=0.0125) for i in range(4)]
        record.put(*faces, *boards, Opening(id="d", face_id="f1", kind="door", left_m=2.0, right_m=2.9,
                                            bottom_m=0.0, top_m=2.1))  # fmt: skip
        answer = drill(record, "f1", 1.0, 1.0, 0.006, 0.05)
    left, right = answer.landmarks
    assert left.name == "the left corner" and left.distance_m == pytest.approx(1.0 - 0.0125)
    assert right.name == "the left edge of the door" and right.distance_m == pytest.approx(-1.0)
    assert "6 ft 6-" in answer.cross_check  # 2.0 m less 12.5 mm: 78-1/4 in


def test_the_answer_is_plain_json_and_the_text_is_whole(dense_record):
    answer = drill(dense_record, "kiln", 2.48, 1.04, 0.006, 0.0877)
    assert json.loads(json.dumps(answer.to_json()))["outcome"] == wording.HIT
    text = drill_text(answer)
    for words in ("HIT EXPECTED", "breaker 1 and 3", "Near the hole:", "Screws:", "Look at:", "300.4"):
        assert words in text


def test_a_larger_stated_error_never_makes_a_place_read_more_certain(tmp_path):
    with truth_record(tmp_path / "r", pictures=False) as record:
        place = dict(face_id="kiln", offset_m=2.3, height_m=1.09, bit_m=0.006, depth_m=0.10)
        chances = []
        for sigma in (0.002, 0.006, 0.012, 0.02):
            for p in record.all(Position, item_id="kiln-cable01"):
                cov = tuple(tuple(sigma**2 * (i == j) for j in range(3)) for i in range(3))
                record.put(dataclasses.replace(p, covariance=cov))
            chances.append(drill(record, **place).chance)
    assert chances == sorted(chances)
    assert chances[-1] > chances[0]
