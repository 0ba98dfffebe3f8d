"""Where studs are expected, and which bay a place falls into."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from asbuilt.geometry.studs import OpeningSpan, StudPlace, bay_at, bays, stud_lattice

IN_M = 0.0254
WIDTH_IN = 1.5


def lattice_in(length_in, spacing_in=16, layout_from="left", openings=(), known=()):
    """Centres in inches."""
    spans = [OpeningSpan(left_m=a * IN_M, right_m=b * IN_M) for a, b in openings]
    seen = [StudPlace(center_m=c * IN_M, sigma_m=0.002, source="sighted") for c in known]
    studs = stud_lattice(length_in * IN_M, spacing_in * IN_M, layout_from, openings=spans, known=seen)
    return studs, np.array([s.center_m for s in studs]) / IN_M


def test_a_12_ft_wall_at_16_in_has_ten_studs():
    _, centers = lattice_in(144)
    # The mark at 144 in is the end stud itself, which stands inside the wall.
    np.testing.assert_allclose(centers, [0.75, 16, 32, 48, 64, 80, 96, 112, 128, 143.25], atol=1e-9)


def test_layout_from_the_right_counts_from_the_right():
    _, centers = lattice_in(100, 24, "right")
    np.testing.assert_allclose(centers, [0.75, 4, 28, 52, 76, 99.25], atol=1e-9)


def test_an_opening_takes_studs_out_and_puts_kings_beside_its_jacks():
    _, centers = lattice_in(144, openings=[(50, 86)])
    # A jack fills 48.5 to 50, its king stands at 50 - 2.25; marks at 48, 64 and 80 are gone.
    np.testing.assert_allclose(centers, [0.75, 16, 32, 47.75, 88.25, 96, 112, 128, 143.25], atol=1e-9)


def test_a_known_stud_takes_the_place_of_the_mark_it_strayed_from():
    studs, centers = lattice_in(144, known=[16.6, 60.0])
    np.testing.assert_allclose(centers, [0.75, 16.6, 32, 48, 60, 80, 96, 112, 128, 143.25], atol=1e-9)
    assert [s.source for s in studs].count("sighted") == 2
    assert {s.sigma_m for s in studs} == {0.002, 0.00635}


def test_bays_are_numbered_from_the_left_end_from_one():
    studs, _ = lattice_in(144)
    found = bays(studs)
    assert [b.number for b in found] == list(range(1, 10))
    assert found[0].left_edge_m / IN_M == pytest.approx(1.5)
    assert found[0].right_edge_m / IN_M == pytest.approx(15.25)
    assert found[1].left_edge_m / IN_M == pytest.approx(16.75)
    bay = bay_at(72 * IN_M, studs)
    assert bay.number == 5
    assert (bay.left.center_m / IN_M, bay.right.center_m / IN_M) == (pytest.approx(64), pytest.approx(80))


def test_doubled_studs_leave_no_bay_between():
    studs, centers = lattice_in(48, known=[16.0, 17.5])
    np.testing.assert_allclose(centers, [0.75, 16, 17.5, 32, 47.25], atol=1e-9)
    assert [b.number for b in bays(studs)] == [1, 2, 3]
    assert bay_at(20 * IN_M, studs).number == 2
    assert bay_at(16.75 * IN_M, studs) is None


def test_beyond_the_end_studs_there_is_no_bay():
    studs, _ = lattice_in(144)
    assert bay_at(-1 * IN_M, studs) is None
    assert bay_at(144 * IN_M, studs) is None


@given(length_in=st.floats(30, 480), spacing_in=st.sampled_from([12, 15.748, 16, 19.2, 24]))
def test_layout_from_the_other_end_is_the_mirror_image(length_in, spacing_in):
    _, left = lattice_in(length_in, spacing_in)
    _, right = lattice_in(length_in, spacing_in, "right")
    np.testing.assert_allclose(right, length_in - left[::-1], atol=1e-6)


@given(length_in=st.floats(30, 480), spacing_in=st.sampled_from([15.748, 16, 19.2, 24]), share=st.floats(0.0, 1.0))
def test_no_bay_is_wider_than_the_spacing_and_every_place_between_end_studs_has_one(length_in, spacing_in, share):
    studs, centers = lattice_in(length_in, spacing_in)
    # A stud too near an end stud is left to it, so the end bays may be wider by two stud widths.
    assert np.diff(centers).max() <= spacing_in + 2 * WIDTH_IN + 1e-6
    offset_m = (centers[0] + share * (centers[-1] - centers[0]) * 0.999999) * IN_M
    bay = bay_at(offset_m, studs)
    assert bay.left.center_m <= offset_m < bay.right.center_m
