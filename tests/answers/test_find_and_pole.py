"""Finding things, the story pole, expected routes, patterns of holes."""

from __future__ import annotations

import pytest

from asbuilt.answers import drill_wording, wording
from asbuilt.answers.find import find
from asbuilt.answers.pattern import FAR_ENOUGH_M, drill_pattern, places_instead
from asbuilt.answers.pole import pole
from asbuilt.answers.routes import expected_routes, routes_at
from asbuilt.answers.text import find_text, pattern_text, pole_text
from asbuilt.answers.view import view_of
from asbuilt.errors import NotInRecordError, RecordError
from asbuilt.record.types import Item
from asbuilt.units import parse_length
from tests.truth import truth, truth_record

INCH = 0.0254


def test_a_coil_is_found_where_it_hangs_with_landmarks(dense_record):
    answer = find(dense_record, kind="coil")
    assert [f.thing.item_id for f in answer.found] == ["garden-cable08-coil"]
    coil = next(r for r in truth()["runs"] if r["id"] == "garden-cable08")
    thing = answer.found[0].thing
    assert (thing.offset_m, thing.height_m) == pytest.approx((coil["centre"][0], coil["centre"][2]), abs=0.005)
    assert len(answer.found[0].landmarks) == 2 and "must be" in answer.found[0].cross_check


def test_a_box_is_not_found_from_itself(dense_record):
    boxes = find(dense_record, kind="device box").found
    assert len(boxes) > 10
    for box in boxes:
        assert len(box.landmarks) == 2
        assert all(abs(m.distance_m) > 1e-6 for m in box.landmarks)


@pytest.mark.parametrize("asked", ["7", "9", "7+9", "compressor"])
def test_a_circuit_is_found_by_number_space_or_name(dense_record, asked):
    ids = {f.thing.item_id for f in find(dense_record, circuit=asked).found}
    expected = {x["id"] for key in ("boxes", "runs") for x in truth()[key] if x["circuit"] == "7+9"}
    assert ids == expected


def test_words_must_all_match_and_the_ends_of_a_run_are_told(dense_record):
    answer = find(dense_record, "kiln feed")
    assert "kiln-cable01" in {f.thing.item_id for f in answer.found}
    ends = next(f for f in answer.found if f.thing.item_id == "kiln-cable01").ends
    line = next(r for r in truth()["runs"] if r["id"] == "kiln-cable01")["polyline"]
    assert (ends[0].offset_m, ends[0].height_m) == pytest.approx((line[0][0], line[0][2]), abs=0.005)
    assert "kiln outlet 50 A" in ends[0].text
    nothing = find(dense_record, "kiln sprinkler")
    assert not nothing.found and "does not prove" in find_text(nothing)


def test_what_cannot_be_asked_is_refused_and_what_has_no_place_is_listed(tmp_path):
    with truth_record(tmp_path / "r", pictures=False) as record:
        record.put(Item(id="lost", kind="coil", label="lost coil", face_id="kiln"))
        assert find(record, "lost").not_located == ("coil “lost coil” on kiln: noted, but its place was not measured",)
        with pytest.raises(NotInRecordError, match="say what to find"):
            find(record)
        with pytest.raises(NotInRecordError, match="no circuit '99'.*1\\+3 kiln"):
            find(record, circuit="99")
        with pytest.raises(RecordError, match="not a kind"):
            find(record, kind="unicorn")


def test_the_pole_carries_studs_openings_boxes_and_the_runs_at_a_height(dense_record):
    answer = pole(dense_record, "street", height_m=2.5)
    offsets = [m.offset_m for m in answer.marks]
    assert offsets == sorted(offsets)
    wall = truth()["walls"][0]
    full = [s["x"] for s in wall["studs"]]
    studs = [m.offset_m for m in answer.marks if m.kind == "stud"]
    assert studs == pytest.approx(full, abs=1e-6)
    assert [m.offset_m for m in answer.marks if m.kind == "opening"] == pytest.approx([4.37769, 5.60959])
    runs = {m.name: m for m in answer.marks if m.kind == "cable"}
    feed = next(r for r in truth()["runs"] if r["id"] == "street-cable01")["polyline"]
    true = next(a[0] for a, b in zip(feed, feed[1:], strict=False) if a[2] <= 2.5 < b[2])
    assert runs["cable “wheel bench feed”"].offset_m == pytest.approx(true, abs=0.004)
    assert set(runs) == {"cable “wheel bench feed”", "cable “switch leg”", "cable “street light”"}
    assert "from the left end" in pole_text(answer)


def test_routes_follow_the_published_strips_and_never_say_elsewhere_is_empty(dense_record):
    view = view_of(dense_record)
    face = view.face("kiln").face
    bs = expected_routes(view, "kiln", "bs7671")
    top = next(r for r in bs if "top of the wall" in r.text)
    assert (top.bottom_m, top.top_m) == pytest.approx((face.height_m - 0.150, face.height_m))
    corner = next(r for r in bs if "left corner" in r.text)
    assert (corner.left_m, corner.right_m) == pytest.approx((0.0, 0.150))
    din = expected_routes(view, "kiln", "din18015")
    floor = next(r for r in din if "above the floor" in r.text)
    assert (floor.bottom_m, floor.top_m) == pytest.approx((0.15, 0.45))
    beside = next(r for r in expected_routes(view, "garden", "din18015") if "right edge of the door" in r.text)
    assert (beside.left_m, beside.right_m) == pytest.approx((4.96697 + 0.10, 4.96697 + 0.30))
    box = next(b for b in truth()["boxes"] if b["id"] == "kiln-box01")
    assert any("straight above" in r.text for r in routes_at(view, "kiln", box["x"], 1.5))
    for route in (*bs, *din):
        assert route.text.startswith("expect cable here") and route.source
    with pytest.raises(NotInRecordError, match="practice, bs7671, din18015"):
        expected_routes(view, "kiln", "folklore")


def test_most_true_cable_lies_in_an_expected_route(dense_record):
    """The overlays are worth having: the rendered cables mostly follow them."""
    view, inside, count = view_of(dense_record), 0, 0
    for run in truth()["runs"]:
        if run["kind"] == "cable" and run.get("route") != "coil":
            routes = expected_routes(view, run["wall"], "practice")
            for x, _, z in run["polyline"][::10]:
                inside += any(r.left_m <= x <= r.right_m and r.bottom_m <= z <= r.top_m for r in routes)
                count += 1
    assert inside / count > 0.6


def test_a_pattern_is_judged_hole_by_hole_and_moved_away_from_the_cable(dense_record):
    """Three holes level at 1.04 m cross the kiln feed; 6 in up or down is allowed."""
    holes = [(2.0 + 0.25 * n, 1.04) for n in range(3)]
    answer = drill_pattern(dense_record, "kiln", holes, 0.020, 0.10, shift_up_m=6 * INCH)
    assert answer.outcome == wording.HIT
    assert all(h.outcome == wording.HIT for h in answer.holes)
    assert answer.best is not None and answer.best.right_m == 0
    assert abs(answer.best.up_m) > 0.05
    assert all(h.outcome == wording.NOTHING for h in answer.best.holes)
    assert answer.best.clearance_m == pytest.approx(
        min(min(h.clearance_m for h in answer.best.holes if h.clearance_m is not None), FAR_ENOUGH_M), abs=0.002
    )
    assert "move" in pattern_text(answer)


def test_the_best_shift_lands_on_studs_when_asked(dense_record):
    studs = [s["x"] for s in truth()["walls"][0]["studs"] if s["id"] in ("street-s09", "street-s10")]
    holes = [(studs[0] + 0.09, 2.2), (studs[1] + 0.09, 2.2)]
    answer = drill_pattern(dense_record, "street", holes, 0.004, 0.05, shift_right_m=0.1524, on_studs=True)
    assert answer.best.studs_met == 2
    assert answer.best.right_m == pytest.approx(-0.09, abs=0.013)


def test_no_shift_is_offered_where_nothing_is_recorded(dense_record):
    left_out = truth()["left_out"]
    answer = drill_pattern(dense_record, left_out["wall"], [(left_out["x0"] + 0.15, 2.2)], 0.006, 0.05, 0.05, 0.05)
    assert answer.outcome == wording.UNKNOWN
    assert answer.best is None and answer.text == drill_wording.NO_SHIFT
    assert places_instead(dense_record, left_out["wall"], left_out["x0"] + 0.15, 2.2, 0.006, 0.05, 0.1) == ()


def test_places_instead_are_near_clear_and_well_recorded(dense_record):
    from asbuilt.answers.drill import drill

    places = places_instead(dense_record, "kiln", 2.3, 1.04, 0.006, 0.10, parse_length("8in"))
    assert places
    assert [p.away_m for p in places] == sorted(p.away_m for p in places)
    for p in places:
        assert p.clearance_m >= INCH / 2
        assert drill(dense_record, "kiln", p.offset_m, p.height_m, 0.006, 0.10).outcome == wording.NOTHING


def test_patterns_that_make_no_sense_are_refused(dense_record):
    with pytest.raises(NotInRecordError, match="1 to 60 holes"):
        drill_pattern(dense_record, "kiln", [], 0.006, 0.05)
    with pytest.raises(NotInRecordError, match="not on face kiln"):
        drill_pattern(dense_record, "kiln", [(99.0, 1.0)], 0.006, 0.05)
