"""Coverage of simulated rooms filmed with holes: every hole is listed, little that is recorded is called missing."""

from __future__ import annotations

import pytest

from asbuilt.answers.coverage import before_cover_up, coverage_of, shortfalls
from asbuilt.steps import coverage
from tests.coverage_truth import Judged, judge, shown_by
from tests.rooms.holes import filmed_with_holes, record_of, wall_of

STEP_M = 0.0254
SEEDS = (0, 3, 4, 5)  # in each of these rooms all three kinds of hole came about


@pytest.fixture(scope="module", params=SEEDS)
def judged(request, tmp_path_factory) -> tuple[dict[str, Judged], dict[str, bool]]:
    """What is said of every face against the truth, and go or not yet."""
    filmed = filmed_with_holes(request.param)
    with record_of(tmp_path_factory.mktemp("holes") / "r", filmed) as record:
        coverage.run(record)
        found = {}
        for face in filmed.room.faces:
            eyes, wall = list(filmed.eyes(face)), wall_of(face)
            plane, cavity = (shown_by(eyes, wall, STEP_M, into) for into in (False, True))
            cover = coverage_of(record, face.name)
            well = {"on the plane": plane.well, "and in the cavity": plane.well & cavity.well}
            found[face.name] = judge(cover, list(shortfalls(cover)), cavity, well)
        return found, {f.face_id: f.go for f in before_cover_up(record).faces}


def test_every_hole_of_six_inches_is_listed(judged):
    found, go = judged
    for kind in ("not seen", "only dark or blurred", "only oblique"):
        assert sum(j.squares[kind] for j in found.values()) > 20, kind
    for face_id, j in found.items():
        assert not any(j.unlisted.values()), (face_id, j)
        assert not (j.squares["of any kind"] and go[face_id])


def test_little_that_is_well_recorded_is_called_missing(judged):
    for face_id, j in judged[0].items():
        assert j.missing["and in the cavity"] <= 0.02, (face_id, j)


def test_holes_are_not_called_well_recorded(judged):
    found = judged[0].values()
    assert sum(j.holes_called_well for j in found) <= 0.02 * sum(j.hole_cells for j in found)
