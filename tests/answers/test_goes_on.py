"""Past the last mark of a run its way was not marked: not recorded there, never nothing and never a near miss."""

from __future__ import annotations

import numpy as np
import pytest

from asbuilt.answers import wording
from asbuilt.answers.behind import behind
from asbuilt.answers.drill import drill
from asbuilt.answers.stretches import BEYOND
from asbuilt.answers.text import drill_text
from asbuilt.answers.view import view_of
from asbuilt.record.types import Item, Position
from asbuilt.steps import coverage
from tests.truth import truth_record

COV = ((3.6e-5, 0.0, 0.0), (0.0, 3.6e-5, 0.0), (0.0, 0.0, 1e-4))
AT_M, LAST_M = 1.22, 1.20  # a place of the kiln wall that is well recorded and holds nothing


@pytest.fixture(scope="module")
def record(tmp_path_factory):
    """The sample with a cable of our own, marked from 0.9 m to 1.2 m up and no farther."""
    with truth_record(tmp_path_factory.mktemp("goes-on") / "r") as record:
        record.put(Item(id="ours", kind="cable", face_id="kiln", label="half marked"))
        record.put(*(Position(id=f"ours:{n}", item_id="ours", place=f"ours{n}", order_idx=n, face_id="kiln",
                              offset_m=AT_M, height_m=z, depth_m=0.045, covariance=COV, method="intersected",
                              picture_count=3) for n, z in enumerate((0.9, 1.05, LAST_M))))  # fmt: skip
        coverage.run(record)
        yield record


def _drill(record, height_m: float, offset_m: float = AT_M):
    return drill(record, "kiln", offset_m, height_m, 0.006, 0.08)


def test_on_its_marks_a_hit_is_expected_and_beside_them_it_is_too_close(record):
    assert _drill(record, 1.0).outcome == wording.HIT
    assert _drill(record, 1.0, AT_M + 0.022).outcome == wording.CLOSE
    assert _drill(record, LAST_M, AT_M + 0.022).outcome == wording.CLOSE  # its known end counts, not only the guess


def test_past_the_last_mark_it_is_not_recorded_and_the_run_is_named(record):
    answer = _drill(record, LAST_M + 0.25)
    assert answer.cover.state == wording.COVER[2]
    assert answer.outcome == wording.UNKNOWN
    assert "half marked" in answer.sentence and "was not marked" in answer.sentence
    assert 0 < answer.chance < 0.5
    assert answer.screw.longest_m is None
    assert "half marked" in drill_text(answer)


def test_away_from_that_way_and_from_the_next_studs_nothing_is_recorded(record):
    assert _drill(record, LAST_M + 0.25, AT_M + 0.10).outcome == wording.NOTHING
    assert _drill(record, LAST_M + 0.25, AT_M + 0.30).outcome == wording.NOTHING


@pytest.mark.parametrize(("aside_m", "up_m"), [(0.25, 0.02), (-0.25, 0.02), (0.19, 0.3)])
def test_it_may_turn_level_right_past_its_last_mark_and_up_the_next_stud(record, aside_m, up_m):
    """Seen in a rendered room: marked up a stud to an inch below the bored holes it then goes through."""
    answer = _drill(record, LAST_M + up_m, AT_M + aside_m)
    assert answer.outcome == wording.UNKNOWN and "half marked" in answer.sentence


def test_behind_lists_the_guess_and_does_not_call_it_recorded(record):
    past = behind(record, "kiln", AT_M, LAST_M + 0.25, within_m=0.06)
    assert past.outcome == wording.UNKNOWN
    assert "half marked" in past.sentence
    assert [t.item_id for bay in past.bays for t in bay.things] == ["ours"]
    assert {bay.outcome for bay in past.bays if bay.things} == {wording.UNKNOWN}
    reaching_a_mark = behind(record, "kiln", AT_M, LAST_M + 0.05, within_m=0.06)
    assert reaching_a_mark.outcome == wording.RECORDED


def test_what_is_known_is_listed_before_guesses(record):
    """A tired reader meets what was seen first, however low the guessed course comes."""
    bays = [bay.things for offset_m in np.arange(0.3, 4.0, 0.2) for face in ("kiln", "garden")
            for bay in behind(record, face, float(offset_m), height_m=0.6, within_m=0.4).bays]  # fmt: skip
    guesses = [[t.status == BEYOND for t in things] for things in bays]
    assert all(of_bay == sorted(of_bay) for of_bay in guesses)
    by_height = [[t.status == BEYOND for t in sorted(things, key=lambda t: t.bottom_m)] for things in bays]
    assert by_height != guesses  # from the floor up alone a guess would have come first somewhere


@pytest.fixture(scope="module")
def turned(tmp_path_factory):
    """The sample with a cable marked level a little short of a stud, then above it beside the stud."""
    with truth_record(tmp_path_factory.mktemp("turned") / "r") as record:
        face = view_of(record).face("kiln")
        stud = next(s for s in face.studs if abs(s.center_m - AT_M) < 0.25 and s.center_m > AT_M)
        edge_m = stud.center_m - stud.width_m / 2
        record.put(Item(id="ours", kind="cable", face_id="kiln", label="short of the stud"))
        spots = ((edge_m - 0.30, 0.90), (edge_m - 0.08, 0.90), (edge_m - 0.05, 1.15))
        record.put(*(Position(id=f"ours:{n}", item_id="ours", place=f"ours{n}", order_idx=n, face_id="kiln", offset_m=x,
                              height_m=z, depth_m=0.045, covariance=COV, method="intersected", picture_count=3)
                     for n, (x, z) in enumerate(spots)))  # fmt: skip
        coverage.run(record)
        yield record, edge_m


def test_marked_level_just_short_of_a_stud_it_may_turn_up_only_at_the_stud(turned):
    """Seen in a rendered room: level past the mark to the stud, up its side, and back to a box."""
    record, edge_m = turned
    at_stud = _drill(record, 1.0, edge_m - 0.012)
    assert at_stud.outcome in (wording.CLOSE, wording.UNKNOWN)
    assert 0.05 < at_stud.chance < 0.5
    assert _drill(record, 1.0, edge_m - 0.068).chance > at_stud.chance  # straight from mark to mark
    assert _drill(record, 1.0, edge_m - 0.20).chance < 0.01  # not on the side from which it came
