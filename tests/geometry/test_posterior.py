"""Corrections from what was seen later, against the closed forms of normal distributions.

Gelman, Carlin, Stern, Dunson, Vehtari, Rubin, Bayesian Data Analysis (3rd ed., 2013), section 2.5:
the mean after seeing is weighted by the inverses of the variances.
"""

from __future__ import annotations

import numpy as np
import pytest

from asbuilt.geometry.posterior import most_likely


def _corrections(covariance, design, seen, sigma, again=1.0):
    seen = np.atleast_1d(np.asarray(seen, float))
    size = np.ones(len(seen))
    return most_likely(np.asarray(covariance, float), np.asarray(design, float), seen, sigma * size, again * size)


@pytest.mark.parametrize(("prior", "sigma"), [(1.0, 1.0), (2.0, 0.5), (0.3, 1.0)])
def test_one_parameter_seen_once_is_moved_by_the_share_of_its_variance(prior, sigma):
    found = _corrections([[prior**2]], [[1.0]], 0.1, sigma)
    assert found == pytest.approx([0.1 * prior**2 / (prior**2 + sigma**2)], rel=0.01)


def test_what_is_seen_n_times_over_counts_once():
    once = _corrections([[1.0]], [[1.0]], 0.1, 1.0)
    assert _corrections([[1.0]], [[1.0]] * 5, [0.1] * 5, 1.0, again=5.0) == pytest.approx(once)


def test_two_parameters_of_which_only_the_difference_is_seen_share_it_by_their_variances():
    found = _corrections(np.diag([4.0, 1.0]), [[1.0, -1.0]], 0.1, 1e-4)
    assert found == pytest.approx([0.08, -0.02], rel=0.01)
    assert found[0] - found[1] == pytest.approx(0.1, rel=1e-3)


def test_what_moves_together_stays_together_and_what_is_not_seen_stays():
    together = [[1.0, 1.0, 0.0], [1.0, 1.0, 0.0], [0.0, 0.0, 1.0]]  # not regular
    found = _corrections(together, [[1.0, 0.0, 0.0]], 0.2, 1e-4)
    assert found == pytest.approx([0.2, 0.2, 0.0], abs=1e-4)
    assert _corrections(together, np.zeros((0, 3)), np.zeros(0), 1.0) == pytest.approx([0, 0, 0])


def test_what_the_errors_do_not_allow_is_left_out():
    seen = [0.1] * 10 + [8.0]
    found = _corrections([[1.0]], [[1.0]] * 11, seen, 0.1)
    assert found == pytest.approx([0.1], abs=0.01)
