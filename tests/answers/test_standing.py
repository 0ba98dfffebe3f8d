"""Asked from the other side: outside walls from outside, ceilings from above, floors from below."""

from __future__ import annotations

from dataclasses import replace

import pytest

from asbuilt.answers import wording
from asbuilt.answers.behind import behind
from asbuilt.answers.drill import drill
from asbuilt.answers.fixing import fixing
from asbuilt.answers.pattern import drill_pattern, places_instead
from asbuilt.answers.text import behind_text, drill_text, pattern_text
from asbuilt.errors import NotInRecordError
from asbuilt.record.store import Record
from asbuilt.record.types import Covering, Event, Face, Item, Position, Room
from asbuilt.steps import coverage
from tests.truth import truth_record

COV = tuple(tuple(4e-6 * (i == j) for j in range(3)) for i in range(3))
OUTSIDE_FACE = "street"  # the sample's outside wall with pictures all over


@pytest.fixture(scope="module")
def outside(tmp_path_factory):
    """The sample's truth, with sheathing 12 mm thick behind its outside wall."""
    with truth_record(tmp_path_factory.mktemp("outside") / "r") as record:
        face = record.get(Face, OUTSIDE_FACE)
        record.put(replace(face, exterior=True, far_face_id=None, sheathing_m=0.012))
        coverage.run(record)
        yield record


def _things(answer):
    return {t.item_id: t for bay in answer.bays for t in bay.things}


def _extents(answer):
    """Item to (left, right, bottom, top), over all bays it passes."""
    found = {}
    for bay in answer.bays:
        for t in bay.things:
            old = found.get(t.item_id, (9.0, -9.0, 9.0, -9.0))
            found[t.item_id] = (min(old[0], t.left_m), max(old[1], t.right_m), min(old[2], t.bottom_m),
                                max(old[3], t.top_m))  # fmt: skip
    return found


@pytest.mark.parametrize("share", [0.2, 0.35, 0.5, 0.8])
def test_behind_from_outside_holds_the_same_things_mirrored(outside, share):
    face = outside.get(Face, OUTSIDE_FACE)
    x = share * face.length_m
    inside, out = behind(outside, face.id, x), behind(outside, face.id, face.length_m - x, outside=True)
    assert out.inside_offset_m == pytest.approx(x)
    assert set(_things(inside)) == set(_things(out))
    for item_id, (left_m, right_m, bottom_m, top_m) in _extents(inside).items():
        mirrored = (face.length_m - right_m, face.length_m - left_m, bottom_m, top_m)
        assert _extents(out)[item_id] == pytest.approx(mirrored, abs=0.004)
    for there in _things(out).values():
        assert there.depth_finished_m == pytest.approx(there.depth_m + 0.012)
        assert not any("belongs to the other face" in note for note in there.notes)
    assert out.cover.well_share == pytest.approx(inside.cover.well_share, abs=0.02)
    assert [g.recorded for b in out.bays[::-1] for g in b.gaps] == [g.recorded for b in inside.bays for g in b.gaps]


def test_its_words_count_from_outside_and_name_the_place_inside(outside):
    face = outside.get(Face, OUTSIDE_FACE)
    text = behind_text(behind(outside, face.id, 0.65 * face.length_m, outside=True))
    assert "from the outer face of the sheathing" in text and "From inside this is" in text
    assert "stud face" not in text and "finished face" not in text


def test_a_pattern_from_outside_is_that_of_the_mirrored_holes(outside):
    face = outside.get(Face, OUTSIDE_FACE)
    holes = [(0.45 * face.length_m + 0.2 * n, 1.1) for n in range(6)]
    mirrored = [(face.length_m - x, z) for x, z in holes]
    deep = face.stud_depth_m + 0.012
    out = drill_pattern(outside, face.id, holes, 0.006, deep + 0.02, depth_from="outside")
    own = drill_pattern(outside, face.id, mirrored, 0.006, deep + 0.02, depth_from="stud")
    assert {h.outcome for h in own.holes} >= {wording.NOTHING, wording.CLOSE}
    for there, here in zip(out.holes, own.holes, strict=True):
        assert there.chance == pytest.approx(here.chance, abs=0.01)
        assert there.outcome == here.outcome or max(there.chance, here.chance) < 0.005  # at the very threshold
    assert [h.in_stud for h in out.holes] == [h.in_stud for h in own.holes]
    assert out.landmarks and "From inside this is" in pattern_text(out)


def test_places_instead_from_outside_are_recorded_and_have_landmarks(outside):
    face = outside.get(Face, OUTSIDE_FACE)
    places = places_instead(outside, face.id, 0.5 * face.length_m, 1.3, 0.006, 0.05, 0.25, depth_from="outside")
    assert places
    for place in places:
        answer = drill(outside, face.id, place.offset_m, place.height_m, 0.006, 0.05, "outside")
        assert answer.outcome == wording.NOTHING
        assert len(place.landmarks) == 2


def test_fixing_from_outside_finds_the_same_studs(outside):
    face = outside.get(Face, OUTSIDE_FACE)
    inside, out = fixing(outside, face.id, 2.0), fixing(outside, face.id, face.length_m - 2.0, outside=True)
    assert [face.length_m - s.center_m for s in out.studs] == pytest.approx([s.center_m for s in inside.studs])


@pytest.mark.parametrize("kind", ["ceiling", "floor"])
def test_ceilings_and_floors_are_asked_from_their_other_side(tmp_path, kind):
    with Record.create(tmp_path / "r", "A room", unit="mm") as record:
        record.put(Room(id="a", name="A"))
        record.put(*(Face(id=f"w{n}", room_id="a", title=f"W{n}", order_idx=n, length_m=length, height_m=2.4)
                     for n, length in enumerate((4.0, 3.0, 4.0, 3.0))))  # fmt: skip
        record.put(Face(id="f", room_id="a", title=kind.title(), kind=kind, order_idx=4, length_m=4.0, height_m=3.0,
                        stud_depth_m=0.184, sheathing_m=0.018))  # fmt: skip
        record.put(Covering(id="b", face_id="f", material="board", thickness_m=0.0125))
        record.put(Item(id="c", kind="cable", face_id="f"))
        record.put(*(Position(id=f"c{n}", item_id="c", place=f"c{n}", order_idx=n, face_id="f", offset_m=1.0,
                              height_m=z, depth_m=0.05, covariance=COV, method="intersected", picture_count=2)
                     for n, z in enumerate((0.05, 1.5, 2.95))))  # fmt: skip
        below = drill(record, "f", 1.0, 1.5, 0.006, 0.0125 + 0.06)
        above = drill(record, "f", 3.0, 1.5, 0.006, 0.018 + 0.184 - 0.05 + 0.01, "outside")
        short = drill(record, "f", 3.0, 1.5, 0.006, 0.018 + 0.05, "outside")
        (thing,) = _things(behind(record, "f", 3.0, height_m=1.5, outside=True)).values()
        joists = [w.name for w in drill(record, "f", 0.019, 1.5, 0.006, 0.1).wood]
        edge = drill(record, "f", 0.5, 0.01, 0.006, 0.1).wood
    side = {"ceiling": "from above", "floor": "from below"}[kind]
    assert below.outcome == above.outcome == wording.HIT and short.outcome == wording.UNKNOWN
    assert thing.depth_finished_m == pytest.approx(0.018 + 0.184 - 0.05)
    assert side in drill_text(above) and "siding" not in drill_text(above) and "outer corner" not in drill_text(above)
    assert joists == ["joist"] and not edge  # a ceiling has no plates


def test_whoever_has_another_face_behind_is_sent_there(tmp_path):
    with Record.create(tmp_path / "r", "Two rooms") as record:
        record.put(Room(id="a", name="A"), Room(id="b", name="B", order_idx=1))
        record.put(Face(id="near", room_id="a", title="Near", length_m=3.0, height_m=2.4, far_face_id="far"),
                   Face(id="far", room_id="b", title="Far", length_m=3.0, height_m=2.4))  # fmt: skip
        with pytest.raises(NotInRecordError, match="ask from there"):
            behind(record, "near", 1.0, outside=True)


def test_an_event_counts_at_its_own_place_from_outside_too(outside):
    length_m = outside.get(Face, OUTSIDE_FACE).length_m
    outside.put(Event(id="e", kind="opened", date="2027-01-01", face_id=OUTSIDE_FACE, left_m=1.0, right_m=1.4))
    try:
        assert behind(outside, OUTSIDE_FACE, length_m - 1.2, outside=True).doubts
        assert not behind(outside, OUTSIDE_FACE, 1.2 + 2.0, outside=True).doubts
    finally:
        outside.remove(Event, "e")
