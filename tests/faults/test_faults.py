"""A few of each fault, by a fixed seed; ``python -m tests.faults`` runs many."""

from __future__ import annotations

import pytest

from tests.faults import places, times
from tests.faults.__main__ import STAGES
from tests.faults.scene import Scene
from tests.faults.trials import Tally, Trials


@pytest.fixture(scope="module")
def trials(tmp_path_factory):
    base = tmp_path_factory.mktemp("faults")
    return Trials(Scene(base / "scene"), base / "work", seed=3)


def _check(tally: Tally, *wanted: str) -> None:
    assert tally.failures == []
    for what in wanted:
        assert tally.counts[what], f"no trial {what}"


@pytest.mark.parametrize("stage", STAGES)
def test_killed_at_a_random_moment(trials, stage):
    tally = Tally()
    trials.kill(trials.stages[stage], 0, tally)
    _check(tally, "killed", "opened", "verified", "resumed")


@pytest.mark.parametrize("stage", ["intake", "tagging"])
def test_power_cut(trials, stage):
    tally = Tally()
    trials.power_cut(trials.stages[stage], 0, tally)
    _check(tally, "cut off", "verified", "resumed")


needs_disks = pytest.mark.skipif(not places.can_mount(), reason="only root can make a small disk in memory")


@needs_disks
@pytest.mark.parametrize("stage", ["intake", "large clip", "tagging", "hand-over"])
def test_full_disk(trials, stage):
    tally = Tally()
    places.full_disk(trials, trials.stages[stage], 0, tally)
    _check(tally, "opened", "verified", "resumed")


@needs_disks
@pytest.mark.parametrize("number", [0, 1])
def test_read_only_folder(trials, number):
    tally = Tally()
    places.read_only(trials, trials.stages["tagging"], number, tally)
    _check(tally, "refused in words", "verified", "resumed")


@pytest.mark.parametrize("number", [0, 1])
def test_originals_that_are_away(trials, number):
    tally = Tally()
    places.missing_media(trials, trials.stages["hand-over"], number, tally)
    _check(tally, "verified", "resumed")


def test_clock_that_runs_backwards(trials):
    tally = Tally()
    times.clock_backwards(trials, trials.stages["tagging"], 0, tally)
    _check(tally, "done all the same", "verified", "resumed")


@pytest.mark.parametrize("number", range(len(times.PAIRS)))
def test_two_programs_at_once(trials, number):
    tally = Tally()
    times.two_at_once(trials, number, tally)
    _check(tally, "verified", "resumed")


@pytest.mark.parametrize("number", [0, 1, 2])
def test_record_of_an_older_version(trials, number):
    tally = Tally()
    times.older_version(trials, number, tally)
    _check(tally, "opened", "verified", "resumed")
