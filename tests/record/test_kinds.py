"""Where things usually lie, while nothing better was measured."""

from __future__ import annotations

import pytest

from asbuilt.record.kinds import KINDS, kind_named, usual_depth
from asbuilt.units import parse_length

TWO_BY_SIX_M = parse_length("5-1/2in", "in")


def test_cable_is_bored_through_the_middle_or_stapled_in_front_of_it():
    """In a 2x6: 2-3/4 in; stapled, half way from there to 1-1/4 in (NFPA 70 300.4(A), (D)) and its own radius."""
    cable = kind_named("cable")
    bored_m, sigma_m = usual_depth(cable, TWO_BY_SIX_M)
    stapled_m, _ = usual_depth(cable, TWO_BY_SIX_M, at_stud=True)
    assert bored_m == pytest.approx(parse_length("2-3/4in", "in"))
    assert stapled_m == pytest.approx((parse_length("1-1/4in", "in") + 0.006 + bored_m) / 2)
    # Two sigmas of either reach both places that 300.4 leaves to it, and hardly farther.
    assert (
        bored_m - 2 * sigma_m < parse_length("1-1/4in", "in") < stapled_m < TWO_BY_SIX_M - parse_length("1-1/4in", "in")
    )


def test_in_a_shallow_wall_stapled_cable_is_not_taken_to_lie_behind_the_middle():
    depth_m = parse_length("1-1/2in", "in")
    assert usual_depth(kind_named("cable"), depth_m, at_stud=True)[0] == pytest.approx(depth_m / 2)


@pytest.mark.parametrize("name", sorted(KINDS))
def test_only_cable_is_stapled_and_every_spread_is_something(name):
    here, there = (usual_depth(KINDS[name], TWO_BY_SIX_M, at_stud) for at_stud in (False, True))
    assert (here == there) == (not KINDS[name].stapled)
    assert here[1] >= 0.005


def test_beside_a_box_cable_lies_between_where_it_enters_and_where_it_is_secured():
    """From 8 in on (NFPA 70 314.17(B)(2) exception) the box matters no more; other runs do not go into boxes."""
    cable, panel = kind_named("cable"), KINDS["panel"]
    away_m = [parse_length(away, "in") for away in ("0in", "4in", "8in")]
    at_m = [usual_depth(cable, TWO_BY_SIX_M, box=(panel, m))[0] for m in away_m]
    bored_m = parse_length("2-3/4in", "in")
    assert at_m == pytest.approx([panel.entry_m, (panel.entry_m + bored_m) / 2, bored_m])
    pipe = kind_named("pipe")
    assert usual_depth(pipe, TWO_BY_SIX_M, box=(panel, 0.0)) == usual_depth(pipe, TWO_BY_SIX_M)


@pytest.mark.parametrize("name", [k.name for k in KINDS.values() if k.entry_m is not None])
def test_in_a_shallow_wall_a_box_does_not_push_cable_deeper(name):
    depth_m = parse_length("1-1/2in", "in")
    assert usual_depth(kind_named("cable"), depth_m, box=(KINDS[name], 0.0))[0] <= depth_m / 2
