"""Mistakes with marker sheets are named with their cause, and nothing else is blamed."""

from __future__ import annotations

import numpy as np
import pytest

from asbuilt.geometry.bundle_problem import PixelObservations
from asbuilt.steps.place_solve import groups_of, solve_site
from asbuilt.steps.place_strays import Strays, strays
from tests.rooms.adapt import looked_at, site_of
from tests.rooms.simulate import Options, SimRoom, simulate

SHEETS = 3  # on each face


def _room(seed: int, kind: str | None) -> SimRoom:
    kinds = () if kind is None else (kind,)
    return simulate(seed, Options(clips=1, faces=4, blunders=kinds, markers_per_face=SHEETS))


def _planted(room: SimRoom) -> set[int]:
    return {int(room.markers.ids[k]) for blunder in room.blunders for k in blunder.markers}


def _strays(room: SimRoom) -> Strays:
    looked = looked_at(room)
    return strays(looked, site_of(room), [0] * len(looked.pictures))


@pytest.mark.parametrize("seed", [43, 45, 46])
def test_two_sheets_written_down_for_each_other_are_found_before_any_solution(seed):
    room = _room(seed, "swap")
    site = site_of(room)
    found = _strays(room)
    assert [{site.markers[k].id for k in pair} for pair in found.swapped] == [_planted(room)]
    assert found.others == ()


@pytest.mark.parametrize("seed", [41, 42, 44, 45, 46, 47])
def test_a_sheet_moved_between_clips_is_left_out_of_the_second_alone(seed):
    room = simulate(seed, Options(clips=2, blunders=("moved",), markers_per_face=SHEETS))
    looked, site = looked_at(room), site_of(room)
    found = strays(looked, site, groups_of(looked, np.arange(len(looked.pictures))))
    assert found.swapped == ()
    assert [(site.markers[k].id, group) for k, group in found.others] == [(i, 1) for i in _planted(room)]


@pytest.mark.parametrize("seed", [43, 45])
def test_sheets_that_hang_where_they_were_taped_are_no_strays(seed):
    room = _room(seed, None)
    assert _strays(room) == Strays()


@pytest.mark.parametrize(("kind", "said"), [("tape", "tape"), ("swap", "swapped"), ("small print", "print scale")])
def test_a_mistake_is_named_with_its_cause_and_nothing_else_is_blamed(kind, said):
    room = _room(43, kind)
    found = solve_site(looked_at(room), site_of(room), PixelObservations())
    assert [b.kind for b in found.blunders] == [said]
    assert set(found.blunders[0].references) == {f"marker {i}" for i in _planted(room)}
    assert all(str(i) in found.blunders[0].text for i in _planted(room))
