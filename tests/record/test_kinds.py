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
