"""What ``behind`` answers on a record whose truth is known."""

from __future__ import annotations

import json

import numpy as np
import pytest

from asbuilt.answers import wording
from asbuilt.answers.behind import behind
from asbuilt.answers.text import behind_text
from asbuilt.errors import NotInRecordError
from asbuilt.record.store import Record
from asbuilt.record.types import Covering, Event, Face, Item, Position, Room
from asbuilt.units import parse_length
from tests.truth import truth, truth_record


def _true_crossings(run: dict, offset_m: float) -> list[tuple[float, float]]:
    """(height, depth) at which a true centre line crosses an offset."""
    line = np.array(run["polyline"])
    found = []
    for a, b in zip(line, line[1:], strict=False):
        if min(a[0], b[0]) <= offset_m < max(a[0], b[0]):
            p = a + (offset_m - a[0]) / (b[0] - a[0]) * (b - a)
            found.append((p[2], p[1]))
    return found


def _things(answer):
    return {t.item_id: t for bay in answer.bays for t in bay.things}


def test_every_box_is_answered_where_it_truly_is(dense_record):
    for box in truth()["boxes"]:
        answer = behind(dense_record, box["wall"], box["x"], height_m=box["z"], within_m=0.1)
        thing = _things(answer)[box["id"]]
        assert thing.offset_m == pytest.approx(box["x"], abs=0.002)
        assert thing.height_m == pytest.approx(box["z"], abs=0.002)
        assert thing.depth_finished_m == pytest.approx(box["y_front"] + 0.0127, abs=0.002)
        assert thing.label == box["label"]
        assert (thing.circuit.number if thing.circuit else None) == box["circuit"]


def test_crossings_at_fifty_random_places_agree_with_the_true_runs(dense_record):
    rng = np.random.default_rng(5)
    walls = {w["id"]: w for w in truth()["walls"]}
    compared = 0
    for _ in range(50):
        wall = walls[rng.choice(list(walls))]
        offset = rng.uniform(0.1, wall["length"] - 0.1)
        things = _things(behind(dense_record, wall["id"], offset))
        for run in truth()["runs"]:
            if run["wall"] != wall["id"] or run.get("route") == "coil":
                continue
            for height, depth in _true_crossings(run, offset):
                assert run["id"] in things
                near = [c for c in things[run["id"]].crossings
                        if abs(c.height_m - height) <= c.height_error_95_m + 0.003
                        and abs(c.depth_m - depth) <= c.depth_error_95_m + 0.003]  # fmt: skip
                if things[run["id"]].direction == "level":
                    assert near, (run["id"], offset)
                    compared += 1
    assert compared >= 20


def test_stated_errors_of_clicked_spots_hold_the_truth(tmp_path):
    """Boxes blurred by a known error: about 95 % of the stated intervals hold the true place."""
    inside, count = 0, 0
    for seed in range(12):
        with truth_record(tmp_path / f"r{seed}", places="clicked", sigma_m=0.008, seed=seed, pictures=False) as record:
            for box in truth()["boxes"]:
                answer = behind(record, box["wall"], box["x"], height_m=box["z"], within_m=0.15)
                thing = _things(answer)[box["id"]]
                inside += abs(thing.offset_m - box["x"]) <= thing.offset_error_95_m
                inside += abs(thing.height_m - box["z"]) <= thing.height_error_95_m
                count += 2
    assert 0.92 <= inside / count <= 0.98


def test_the_course_between_clicked_spots_holds_the_true_run(clicked_record):
    """Where a clicked run crosses the asked offset, the truth is mostly within the stated error."""
    held, count = 0, 0
    things = {r["id"]: r for r in truth()["runs"] if r.get("route") != "coil"}
    for face in ("street", "kiln", "garden", "partition"):
        length = next(w["length"] for w in truth()["walls"] if w["id"] == face)
        for offset in np.arange(0.15, length - 0.1, 0.1):
            for item_id, thing in _things(behind(clicked_record, face, offset, within_m=0.05)).items():
                if item_id not in things or thing.status == "beyond the last sighting":
                    continue
                for crossing in thing.crossings:
                    true = _true_crossings(things[item_id], offset)
                    if true:
                        count += 1
                        miss = min(abs(h - crossing.height_m) for h, _ in true)
                        held += miss <= crossing.height_error_95_m
    assert count > 60
    assert held / count >= 0.93


def test_the_unseen_bay_is_not_recorded_and_a_seen_empty_bay_reads_differently(dense_record):
    left_out = truth()["left_out"]
    middle = (left_out["x0"] + left_out["x1"]) / 2
    unseen = behind(dense_record, left_out["wall"], middle, height_m=2.0, within_m=0.1)
    assert unseen.cover.state == wording.UNKNOWN
    assert unseen.cover.well_share == 0
    empty = behind(dense_record, "kiln", 1.22, height_m=1.4, within_m=0.06)
    assert empty.outcome == wording.NOTHING
    assert "2026-03-14" in empty.sentence
    unseen_text, empty_text = behind_text(unseen), behind_text(empty)
    assert "not recorded" in unseen_text and wording.NOTHING not in unseen_text.lower()
    assert "nothing recorded here" in empty_text.lower()


def test_without_coverage_nothing_is_called_recorded(tmp_path):
    with truth_record(tmp_path / "r") as record:
        answer = behind(record, "kiln", 1.22, height_m=1.4, within_m=0.06)
    assert answer.outcome == wording.UNKNOWN
    assert "asbuilt coverage" in answer.sentence


def test_a_thicker_covering_shifts_depths_exactly(tmp_path):
    with truth_record(tmp_path / "r") as record:
        before = _things(behind(record, "street", 3.0))["street-cable03"]
        record.put(Covering(id="street-tile", face_id="street", order_idx=1, material="tile", thickness_m=0.01))
        after = _things(behind(record, "street", 3.0))["street-cable03"]
    assert after.depth_finished_m - before.depth_finished_m == pytest.approx(0.01, abs=1e-12)
    assert after.depth_m == before.depth_m


def test_an_event_after_the_pictures_makes_the_answer_doubtful(tmp_path):
    from asbuilt.steps import coverage

    with truth_record(tmp_path / "r") as record:
        coverage.run(record)
        place = dict(face_id="kiln", offset_m=1.22, height_m=1.4, within_m=0.06)
        assert behind(record, **place).outcome == wording.NOTHING
        record.put(Event(id="e0", kind="covered", date="2026-04-20", face_id="kiln"))
        assert behind(record, **place).outcome == wording.NOTHING
        record.put(Event(id="e1", kind="opened", date="2026-05-01", face_id="kiln", left_m=0.5, right_m=1.0))
        assert behind(record, **place).outcome == wording.NOTHING
        record.put(Event(id="e2", kind="opened", date="2026-05-02", face_id="kiln", left_m=1.0, right_m=1.5))
        doubtful = behind(record, **place)
    assert doubtful.outcome == wording.UNKNOWN
    assert "2026-05-02" in doubtful.sentence


def test_things_of_the_other_face_are_mirrored(tmp_path):
    """Two faces of one cavity: a cable 1 ft from the near left end lies 1 ft from the far right end."""
    with Record.create(tmp_path / "r", "Two rooms") as record:
        record.put(Room(id="a", name="A"), Room(id="b", name="B", order_idx=1))
        near_face = Face(id="near", room_id="a", title="Near", length_m=3.0, height_m=2.4, far_face_id="far",
                         far_offset_sum_m=3.1, far_height_shift_m=0.2)  # fmt: skip
        record.put(near_face, Face(id="far", room_id="b", title="Far", length_m=3.0, height_m=2.4))
        record.put(Item(id="c", kind="cable", face_id="far"))
        cov = ((1e-4, 2e-5, 0.0), (2e-5, 1e-4, 0.0), (0.0, 0.0, 4e-4))
        for order, height in enumerate((0.4, 2.3)):
            record.put(Position(id=f"p{order}", item_id="c", place=f"p{order}", order_idx=order, face_id="far",
                                offset_m=2.0, height_m=height, depth_m=0.02, covariance=cov,
                                method="intersected", picture_count=2))  # fmt: skip
        near = _things(behind(record, "near", 1.1, height_m=1.0))["c"]
        far = _things(behind(record, "far", 2.0, height_m=1.2))["c"]
    assert near.on_far_face and not far.on_far_face
    assert near.offset_m == pytest.approx(1.1)
    assert near.depth_m == pytest.approx(0.0889 - 0.02)
    assert near.offset_error_95_m == pytest.approx(far.offset_error_95_m)
    assert near.depth_error_95_m == pytest.approx(far.depth_error_95_m)
    assert near.height_m == pytest.approx(1.0)
    assert far.height_m == pytest.approx(1.2)
    assert near.top_m == pytest.approx(far.top_m - 0.2)


def test_pictures_of_a_box_carry_the_mark_where_it_is_seen(dense_record):
    box = next(b for b in truth()["boxes"] if b["id"] == "street-box02")
    thing = _things(behind(dense_record, "street", box["x"], height_m=box["z"], within_m=0.1))["street-box02"]
    assert thing.pictures and all(m.sighted for m in thing.pictures)
    photo = next(p for p in truth()["photos"] if p["file"] == "open_01.jpg")
    seen = next(b for b in photo["boxes_visible"] if b["id"] == "street-box02")
    mark = next(m for m in thing.pictures if m.name == "open_01.jpg")
    assert (mark.x_px, mark.y_px) == (seen["u"], seen["v"])


def test_predicted_marks_fall_where_the_run_is_visible(dense_record):
    """Marks worked out for cables agree with the rendered pictures' own visible run points."""
    visible = {}
    for photo in truth()["photos"]:
        for point in photo["run_points"]:
            visible.setdefault((photo["file"], point["run"]), []).append((point["u"], point["v"]))
    compared = 0
    for run in truth()["runs"][:6]:
        middle = np.array(run["polyline"])[len(run["polyline"]) // 2]
        answer = behind(dense_record, run["wall"], middle[0], height_m=middle[2], within_m=0.05)
        for mark in _things(answer)[run["id"]].pictures:
            points = visible.get((mark.name, run["id"]))
            if points:
                compared += 1
                assert np.linalg.norm(np.array(points) - (mark.x_px, mark.y_px), axis=1).min() < 150
    assert compared >= 4


def test_a_place_off_the_face_is_refused_in_one_line(dense_record):
    with pytest.raises(NotInRecordError, match="street.*23 ft 11-5/8 in long"):
        behind(dense_record, "street", parse_length("40ft"))
    with pytest.raises(NotInRecordError, match="street, kiln, garden, partition"):
        behind(dense_record, "attic", 1.0)


def test_the_answer_is_plain_json_and_its_text_names_breaker_and_cautions(dense_record):
    answer = behind(dense_record, "kiln", 1.9163)
    assert json.loads(json.dumps(answer.to_json()))["face_id"] == "kiln"
    text = behind_text(answer)
    for words in ("breaker 1 and 3 in main panel", "Prove dead", "from the finished face", "at 95 %", "Check: from"):
        assert words in text
