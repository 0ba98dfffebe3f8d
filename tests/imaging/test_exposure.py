"""Evening pictures out: gains and fall-off are found again from overlaps alone."""

from __future__ import annotations

import numpy as np
import pytest

from asbuilt.imaging.exposure import Exposure, Samples, solve_exposure

FALL_OFF = np.array([[-0.30, 0.10], [-0.12, -0.05]])


def _walk(rng: np.random.Generator, gains_log: np.ndarray, lens_of: list[int], spoiled: float = 0.0) -> Samples:
    """Pictures passing along a row of blocks, each showing 40 of them with its lens's fall-off."""
    surface = np.exp(rng.normal(4.4, 0.35, (200, 3)))
    rows = []
    for picture, (gain, lens) in enumerate(zip(gains_log, lens_of, strict=True)):
        blocks = np.arange(40) + 8 * picture
        radius2 = np.linspace(-1, 1, 40) ** 2
        a, b = FALL_OFF[lens]
        log = np.log(surface[blocks]) + gain + (a * radius2 + b * radius2**2)[:, None]
        log += rng.normal(0, 0.02, log.shape)
        bad = rng.random(40) < spoiled
        log[bad] += rng.normal(0, 1.0, (bad.sum(), 3))
        rows += [(picture, k, np.exp(v), r) for k, v, r in zip(blocks, log, radius2, strict=True)]
    picture, block, color, radius2 = (np.array(column) for column in zip(*rows, strict=True))
    return Samples(picture=picture, block=block, color=np.clip(color, 0, 255), radius2=radius2)


@pytest.mark.parametrize("spoiled", [0.0, 0.15])
def test_gains_and_fall_off_are_found_even_with_parts_that_differ(spoiled):
    rng = np.random.default_rng(5)
    gains = rng.normal(0, 0.2, (16, 3))
    gains -= gains.mean(axis=0)
    lens_of = [0] * 10 + [1] * 6
    found = solve_exposure(_walk(rng, gains, lens_of, spoiled), lens_of)
    apart = found.gain_log - gains
    assert np.abs(apart - apart.mean(axis=0)).max() < 0.04
    radius2 = np.linspace(0, 1, 20)
    for picture in (0, 12):
        a, b = FALL_OFF[lens_of[picture]]
        true = a * radius2 + b * radius2**2
        fitted = found.fall_off[picture] @ np.stack([radius2, radius2**2])
        assert np.abs(fitted - true).max() < 0.04


def test_a_dark_picture_is_lifted_to_its_neighbours():
    rng = np.random.default_rng(6)
    gains = np.zeros((12, 3))
    gains[5] = np.log(0.15)
    lens_of = [0] * 12
    samples = _walk(rng, gains, lens_of)
    found = solve_exposure(samples, lens_of)
    lift = found.factor(5, np.zeros(1))[0] / found.factor(4, np.zeros(1))[0]
    np.testing.assert_allclose(lift, 1 / 0.15, rtol=0.05)


def test_without_anything_to_compare_nothing_is_changed():
    none = Samples(picture=np.zeros(0, int), block=np.zeros(0, int), color=np.zeros((0, 3)), radius2=np.zeros(0))
    found = solve_exposure(none, [0, 0])
    np.testing.assert_array_equal(found.factor(1, np.array([0.0, 0.7])), np.ones((2, 3)))


def test_what_was_blown_out_stays_white():
    exposure = Exposure(gain_log=np.full((1, 3), 0.4), fall_off=np.zeros((1, 2)))
    colors = np.array([[255, 255, 255], [200, 100, 50]], np.uint8)
    even = exposure.even(0, colors, np.zeros(2))
    np.testing.assert_allclose(even[0], 255, rtol=1e-5)
    np.testing.assert_allclose(even[1], colors[1] * np.exp(-0.4), rtol=1e-5)
    lifted = Exposure(gain_log=np.full((1, 3), -0.4), fall_off=np.zeros((1, 2))).even(0, colors, np.zeros(2))
    np.testing.assert_allclose(lifted, colors * np.exp(0.4), rtol=1e-5)


def test_far_outside_a_picture_it_stays_finite():
    exposure = Exposure(gain_log=np.zeros((1, 3)), fall_off=np.array([[-0.3, -0.1]]))
    even = exposure.even(0, np.full((2, 3), 100, np.uint8), np.array([0.0, 4e4], np.float32))
    assert np.isfinite(even).all() and even[1, 0] < 200


def test_a_surface_that_is_dark_in_every_picture_is_lifted_to_where_one_can_see():
    lens_of = [0] * 12
    usual, dim = (_walk(np.random.default_rng(8), np.full((12, 3), g), lens_of) for g in (0.0, np.log(0.12)))
    for samples, low, high in ((usual, 70, 95), (dim, 95, 105)):
        exposure = solve_exposure(samples, lens_of)
        even = [exposure.even(p, c, r) for p, c, r in zip(samples.picture, samples.color, samples.radius2, strict=True)]
        assert low < np.median(even) < high
