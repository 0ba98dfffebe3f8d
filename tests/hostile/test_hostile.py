"""A little of each kind of hostile input, by a fixed seed; ``python -m tests.hostile`` runs much."""

from __future__ import annotations

from pathlib import Path

import pytest

from asbuilt.record import Record
from tests.hostile.media import look_at_mutants, take_mutants_in
from tests.hostile.plans import load_made_plans
from tests.hostile.viewer import attack
from tests.truth import truth_record

MEDIA = Path(__file__).parents[2] / "sample_media"


def test_mutated_files_are_decoded_or_refused(tmp_path):
    counts, failures = look_at_mutants(tmp_path, 140, seed=3)
    assert failures == []
    assert counts["tried"] == 140
    refused = sum(n for name, n in counts.items() if not name.endswith("decoded"))
    assert refused < 2 * 140 and counts["mp4 decoded"] > 0
    assert not [name for name in counts if "too many words" in name or "too long" in name]


def test_mutated_files_do_not_keep_whole_ones_out(tmp_path):
    counts, failures = take_mutants_in(tmp_path, 42, seed=3)
    assert failures == []
    assert counts["refused"] > 10 and counts["added"] >= 7


def test_made_plans_are_taken_whole_or_refused_in_one_line():
    counts, failures = load_made_plans(25, number=3)
    assert failures == []
    assert counts["refused"] > 5 and counts["taken"] > 0


@pytest.fixture
def house(tmp_path):
    truth_record(tmp_path / "house", frame_step=48, media_folder=MEDIA).close()
    return tmp_path / "house"


def test_bad_requests_neither_stop_the_viewer_nor_change_the_record(house):
    counts, failures = attack(house, 40, seed=3)
    assert failures == []
    assert counts["tried"] > 800
    assert counts["cross-site answered"] == 0 and counts["slow refused"] == 0
    with Record.open(house) as record:
        assert record.building.name
