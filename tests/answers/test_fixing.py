"""Wood to fix to, what is doubtful since an event, and where cable is to be expected."""

from __future__ import annotations

import dataclasses

import pytest

from asbuilt.answers import wording
from asbuilt.answers.behind import behind
from asbuilt.answers.circuits import goes_dead
from asbuilt.answers.drill import drill
from asbuilt.answers.find import find
from asbuilt.answers.fixing import fixing
from asbuilt.answers.pattern import drill_pattern, places_instead
from asbuilt.answers.pole import pole
from asbuilt.answers.readiness import readiness
from asbuilt.answers.routes import expected_routes
from asbuilt.answers.text import behind_text, drill_text, fixing_text
from asbuilt.answers.trimout import trim_out
from asbuilt.answers.view import view_of
from asbuilt.record.store import Record
from asbuilt.record.types import Circuit, Event, Face, Item, Panel, Picture, Position, Room, Stud
from asbuilt.steps import coverage
from tests.truth import truth_record

SIGMA_M = 0.004
COV = tuple(tuple(SIGMA_M**2 * (i == j) for j in range(3)) for i in range(3))


def _at(item: str, face: str, *spots) -> list[Position]:
    return [
        Position(id=f"{item}{n}", item_id=item, place=f"{item}{n}", order_idx=n, face_id=face, offset_m=x, height_m=z,
                 depth_m=y, covariance=COV, method="intersected", picture_count=2)
        for n, (x, z, y) in enumerate(spots)
    ]  # fmt: skip


def _wall(folder, **face) -> Record:
    record = Record.create(folder, "A room", unit="mm")
    record.put(Room(id="a", name="A"), Face(id="w", room_id="a", title="W", length_m=4.0, height_m=2.4,
                                            spacing_m=0.4, **face))  # fmt: skip
    return record


def test_stud_centres_come_with_their_error_their_source_and_the_nearest_first(tmp_path):
    with _wall(tmp_path / "r") as record:
        record.put(Stud(id="s", face_id="w", center_m=1.215, sigma_m=0.0015))
        answer = fixing(record, "w", 1.1)
    assert [s.center_m for s in answer.studs] == pytest.approx([1.215, 0.8, 1.6])
    assert [s.source for s in answer.studs] == ["taped", "layout", "layout"]
    assert answer.studs[0].error_95_m == pytest.approx(1.96 * 0.0015)
    assert (answer.studs[0].left_m, answer.studs[0].right_m) == pytest.approx((1.215 - 0.01905, 1.215 + 0.01905))
    assert answer.studs[0].away_m == pytest.approx(0.115)
    text = fixing_text(answer)
    assert "should stand by the layout, not measured" in text and "Check: from" in text
    assert text.count("not measured") == 2


def test_what_is_recorded_beside_a_stud_at_the_height_is_named(tmp_path):
    with _wall(tmp_path / "r") as record:
        record.put(Item(id="c", kind="cable", face_id="w", label="up"))
        record.put(*_at("c", "w", (0.83, 0.5, 0.04), (0.83, 2.3, 0.04)))
        near = {round(s.center_m, 3): s.beside for s in fixing(record, "w", 0.9, height_m=1.2).studs}
        below = fixing(record, "w", 0.8, height_m=0.1).studs[0].beside
    assert near[0.8] == (wording.thing_name("cable", "up"),) and not near[1.2]
    assert below  # it goes on below its last spot, nobody saw where


@pytest.mark.parametrize(
    ("size", "spots", "known", "edges"),
    [(dict(width_m=0.36, height_m=0.09), [(1.0, 2.1, 0.0)], True, (0.82, 1.18, 2.055, 2.145)),
     ({}, [(0.82, 2.05, 0.0), (1.18, 2.15, 0.0)], True, None),
     ({}, [(1.0, 2.1, 0.0)], False, None)],
)  # fmt: skip
def test_blocking_has_edges_with_errors_and_says_where_its_size_is_only_usual(tmp_path, size, spots, known, edges):
    with _wall(tmp_path / "r") as record:
        record.put(Item(id="b", kind="blocking", face_id="w", label="rail", **size))
        record.put(*_at("b", "w", *spots))
        on_it, beside = fixing(record, "w", 1.0, height_m=2.1), fixing(record, "w", 1.3, height_m=2.1)
    (found,) = on_it.blocking
    assert found.size_known is known and ("usual one" in found.text) is not known
    assert found.offset_error_95_m == pytest.approx(1.96 * SIGMA_M)
    assert found.holds_place and not beside.blocking[0].holds_place
    if edges:
        assert (found.left_m, found.right_m, found.bottom_m, found.top_m) == pytest.approx(edges)
    assert "does not prove there is none" not in fixing_text(on_it)


def test_a_shear_panel_stops_and_no_screw_is_named(tmp_path):
    with _wall(tmp_path / "r") as record:
        record.put(Item(id="p", kind="shear panel", face_id="w", width_m=1.2, height_m=2.3))
        record.put(*_at("p", "w", (1.0, 1.2, 0.0)))
        inside, beside = (drill(record, "w", x, 1.2, 0.006, 0.03) for x in (1.2, 3.5))
    assert "specialist" in inside.stop and "shear panel" in inside.stop
    assert inside.screw.longest_m is None and "specialist" in inside.screw.text
    assert "STOP." in drill_text(inside) and not beside.stop


def test_a_thing_last_seen_before_an_event_is_doubtful_in_every_answer(tmp_path):
    """The wall was opened and closed, and photographed once more: the item is older than that."""
    with truth_record(tmp_path / "r", sigma_m=0.006) as record:
        coverage.run(record)
        box = next(i for i in record.all(Item) if i.kind == "device box" and i.circuit_id)
        (place,) = record.all(Position, item_id=box.id)
        ask = dict(face_id=place.face_id, offset_m=place.offset_m, height_m=place.height_m)
        event = Event(id="e", kind="altered", date="2026-08-01", face_id=place.face_id)
        clean = _doubtful(record, box, ask)
        record.put(event)
        flagged = _doubtful(record, box, ask)
        record.put(Event(id="e", kind="covered", date="2026-08-01", face_id=place.face_id))
        harmless = _doubtful(record, box, ask)
    assert not any(clean.values()), clean
    assert all(flagged.values()), flagged
    assert not any(harmless.values()), harmless


def _doubtful(record, box: Item, ask: dict) -> dict[str, bool]:
    """Which answers say that what they tell is doubtful."""
    what_is_behind = behind(record, **ask)
    things = {t.item_id: t for bay in what_is_behind.bays for t in bay.things}
    hole = drill(record, **ask, bit_m=0.006, depth_m=0.05)
    trim = {b.item_id: b for room in trim_out(record) for b in room.boxes}
    (ready,) = readiness(record, ask["face_id"]).faces
    face, x, z = ask["face_id"], ask["offset_m"], ask["height_m"]
    return {
        "behind": bool(what_is_behind.doubts) and "DOUBTFUL" in behind_text(what_is_behind),
        "behind, its things": bool(things[box.id].doubt),
        "drill": bool(hole.doubts) and "Doubtful" in hole.sentence,
        "drill, its things": any(t.doubt for t in hole.things),
        "pattern": bool(drill_pattern(record, face, [(x, z)], 0.006, 0.05).doubts),
        "instead": not places_instead(record, face, x, z, 0.006, 0.05, 0.3),
        "fixing": bool(fixing(record, face, x).doubts),
        "find": any(f.doubts for f in find(record, box.label).found),
        "pole": bool(pole(record, face).doubts),
        "what goes dead": any("altered" in w for w in goes_dead(record, box.circuit_id).warnings),
        "trim-out": any("altered" in note for note in trim[box.id].notes),
        "readiness": any("altered" in text for text in ready.open_items),
    }


def test_a_place_photographed_again_in_part_stays_doubtful(tmp_path):
    with truth_record(tmp_path / "r") as record:
        coverage.run(record)
        cover = behind(record, "kiln", 1.0).cover
        picture = record.get(Picture, cover.picture_ids[0])
        record.put(Event(id="e", kind="opened", date="2026-08-01", face_id="kiln"))
        record.put(dataclasses.replace(picture, taken_at="2026-09-01T10:00:00"))
        answer = behind(record, "kiln", 1.0)
    assert len(cover.picture_ids) > 1
    assert answer.cover.last_date == "2026-09-01" and answer.doubts


def test_where_nothing_was_recorded_the_usual_ways_of_cable_are_named(tmp_path):
    with _wall(tmp_path / "r") as record:
        record.put(Item(id="b", kind="device box", face_id="w", label="bench"))
        record.put(*_at("b", "w", (2.0, 1.1, -0.0125)))
        above, aside = behind(record, "w", 2.0, height_m=2.0), behind(record, "w", 3.2, height_m=2.0)
        with_zones = behind(record, "w", 3.2, height_m=2.35, rules=("bs7671", "din18015"))
    above_it = f"straight above the {wording.thing_name('device box', 'bench')}"
    assert [r.text for r in above.expected] == [wording.expect(above_it)]
    assert "expect cable here" in behind_text(above)
    assert not aside.expected and "expect" not in behind_text(aside)
    assert {r.rule for r in with_zones.expected} == {"bs7671", "din18015"}


@pytest.mark.parametrize(("stud_mm", "through"), [(75, True), (76, True), (101, False)])
def test_zones_of_the_other_face_reach_through_a_wall_of_100_mm(tmp_path, stud_mm, through):
    with Record.create(tmp_path / "r", "Two rooms", unit="mm") as record:
        record.put(Room(id="a", name="A"), Room(id="b", name="B", order_idx=1))
        depth = dict(stud_depth_m=stud_mm / 1000)
        record.put(Face(id="w", room_id="a", title="W", length_m=3.0, height_m=2.4, far_face_id="v", **depth),
                   Face(id="v", room_id="b", title="V", length_m=3.0, height_m=2.4, **depth),
                   Item(id="b", kind="device box", face_id="v", label="far"))  # fmt: skip
        record.put(*_at("b", "v", (1.0, 1.1, 0.0)))
        strips = [r for r in expected_routes(view_of(record), "w", "bs7671") if "far" in r.text]
    assert bool(strips) is through
    if through:
        above = next(r for r in strips if "above" in r.text)
        assert above.left_m < 2.0 < above.right_m  # mirrored: 3 m less 1 m


def test_a_record_without_circuits_names_no_breaker(tmp_path):
    with _wall(tmp_path / "r") as record:
        record.put(Panel(id="p", name="panel"), Circuit(id="1", panel_id="p", number="1", name="bench"))
        record.put(Item(id="b", kind="device box", face_id="w"))
        record.put(*_at("b", "w", (2.0, 1.1, -0.0125)))
        answer = behind(record, "w", 2.0)
    assert not answer.circuits_off and wording.NO_CIRCUIT_KNOWN in answer.cautions
