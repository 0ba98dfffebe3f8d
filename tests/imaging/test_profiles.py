"""Edges drawn at known fractions of a pixel are found as far apart as they are."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import erf

from asbuilt.imaging.profiles import shifts_px, standardised

COLUMNS = np.arange(22.0)


def _stud(left_px: float, beside=(60.0, 90.0), front: float = 180.0, width_px: float = 12.0) -> np.ndarray:
    """A bright front between darker sides, as a lens of one pixel's blur shows it."""
    step = lambda at: 0.5 * (1 + erf((COLUMNS - at) / np.sqrt(2)))  # noqa: E731
    return beside[0] + (front - beside[0]) * step(left_px) + (beside[1] - front) * step(left_px + width_px)


@pytest.mark.parametrize("shift", [-2.4, -0.3, 0.0, 0.15, 1.0, 2.7])
def test_a_shift_is_found_to_a_fiftieth_of_a_pixel_and_of_itself(shift):
    rows = standardised(np.stack([_stud(5.0 + shift / 2), _stud(5.0 - shift / 2)]))
    found, unlike = shifts_px(rows[:1], rows[1:])
    assert found == pytest.approx([shift], rel=0.03, abs=0.02)
    assert unlike[0] < 0.1


def test_exposure_moves_nothing_and_other_sides_little():
    brighter = 1.3 * _stud(5.2) + 10
    rows = standardised(np.stack([brighter, _stud(5.0), _stud(5.0, beside=(75.0, 80.0))]))
    found, unlike = shifts_px(rows[[0, 1]], rows[[1, 2]])
    assert found[0] == pytest.approx(0.2, abs=0.02)
    assert abs(found[1]) < 0.35  # of a pixel of 1/8 in, and it is said to be less sure
    assert unlike[1] > 3 * unlike[0]


def test_where_there_is_no_edge_nothing_is_said():
    assert np.isnan(standardised(np.full((1, 22), 80.0))).all()


def test_what_shows_something_else_is_told_by_what_is_left():
    rows = standardised(np.stack([_stud(5.0), 255 - _stud(5.0)]))
    _, unlike = shifts_px(rows[:1], rows[1:])
    assert unlike[0] > 0.3
