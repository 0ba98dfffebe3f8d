"""Choosing views: the cheapest where seams cost nothing, seams where both views agree, exact cuts."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from asbuilt.imaging.seams import (
    NOTHING,
    SEAM_LEAST,
    SEAM_LEVELS,
    SEAM_PER_LEVEL,
    Views,
    assign,
)


def _views(shape, *parts) -> Views:
    views = Views(*shape)
    for row, col, image, valid in parts:
        views.add(row, col, image, valid)
    return views


def _energy(labels: np.ndarray, images: list[np.ndarray], costs: list[np.ndarray]) -> float:
    """What labels of views that span everything cost, written down independently."""
    rows, cols = labels.shape
    total = sum(costs[labels[r, c]][r, c] for r in range(rows) for c in range(cols))
    for r, c in itertools.product(range(rows), range(cols)):
        for r2, c2 in ((r + 1, c), (r, c + 1)):
            if r2 < rows and c2 < cols and labels[r, c] != labels[r2, c2]:
                a, b = images[labels[r, c]], images[labels[r2, c2]]
                levels = [np.abs(a[p].astype(int) - b[p].astype(int)).sum() / 3 for p in ((r, c), (r2, c2))]
                total += SEAM_LEAST + sum(SEAM_PER_LEVEL / SEAM_LEVELS * v**2 for v in levels)
    return total


def test_a_seam_runs_where_both_views_show_the_same():
    rng = np.random.default_rng(0)
    a = rng.integers(40, 220, (20, 30, 3)).astype(np.uint8)
    b = rng.integers(40, 220, (20, 30, 3)).astype(np.uint8)
    b[:, 18:21] = a[:, 18:21]  # a stud: in the plane, so alike in both
    whole = np.ones((20, 30), bool)
    ramp = np.tile(np.linspace(0, 1, 30), (20, 1)).astype(np.float32)
    costs = [ramp, 1 - ramp]  # by cost alone they would meet at column 15
    labels = assign(_views((20, 30), (0, 0, a, whole), (0, 0, b, whole)), lambda n: costs[n])
    assert (labels[:, :19] == 0).all() and (labels[:, 20:] == 1).all()


@pytest.mark.parametrize("seed", range(6))
def test_two_views_are_shared_out_at_the_least_cost_there_is(seed):
    rng = np.random.default_rng(seed)
    images = [rng.integers(90, 130, (3, 4, 3)).astype(np.uint8) for _ in range(2)]
    costs = [rng.uniform(0, 4, (3, 4)).astype(np.float32) for _ in range(2)]
    whole = np.ones((3, 4), bool)
    labels = assign(_views((3, 4), *((0, 0, image, whole) for image in images)), lambda n: costs[n], sweeps=4)
    every = (np.array(bits).reshape(3, 4) for bits in itertools.product((0, 1), repeat=12))
    least = min(_energy(bits, images, costs) for bits in every)
    assert _energy(labels, images, costs) == pytest.approx(least, abs=0.05)
    greedy = np.argmin(costs, axis=0)
    assert _energy(labels, images, costs) <= _energy(greedy, images, costs)


def test_where_no_view_shows_anything_there_is_nothing():
    image = np.full((4, 4, 3), 100, np.uint8)
    valid = np.ones((4, 4), bool)
    valid[0, 0] = False
    cost = np.where(valid, 1.0, np.inf).astype(np.float32)
    labels = assign(_views((6, 9), (1, 2, image, valid), (1, 3, image, valid)), lambda n: cost + n / 10)
    shown = np.zeros((6, 9), bool)
    shown[1:5, 2:7] = True
    shown[1, 2] = False
    np.testing.assert_array_equal(labels != NOTHING, shown)
    assert (labels[1:5, 3] == 0).all() and (labels[1:5, 6] == 1).all()  # each where only it shows anything


def test_colours_are_read_within_each_views_box_only():
    image = np.arange(2 * 3 * 3, dtype=np.uint8).reshape(2, 3, 3)
    views = _views((5, 5), (1, 1, image, np.ones((2, 3), bool)), (0, 0, image[:1], np.zeros((1, 3), bool)))
    colors, seen = views.at(np.array([0, 0, 0, 1, NOTHING]), np.array([2, 0, 1, 0, 1]), np.array([3, 1, 4, 1, 1]))
    assert seen.tolist() == [True, False, False, False, False]
    np.testing.assert_array_equal(colors[0], image[1, 2])
