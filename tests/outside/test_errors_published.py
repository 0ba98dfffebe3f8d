"""Published values about errors: propagation with correlated inputs, survey accuracy, tape classes.

GUM is JCGM 100:2008. GTC (the GUM Tree Calculator of New Zealand's Measurement Standards Laboratory) is
first held to the GUM's own example H.2 and then, as the peer, against our propagation.
"""

from __future__ import annotations

import GTC
import numpy as np
import pytest
from scipy.stats import chi2, norm

from asbuilt.geometry.intersect import Seen, intersect
from asbuilt.sources import COVER_95
from tests.benchmarks.accuracy_limits import (
    NSSDA_HORIZONTAL,
    NSSDA_VERTICAL,
    nssda_horizontal_m,
    nssda_vertical_m,
    oiml_r35_mpe_m,
)
from tests.geometry.test_intersect import COLUMNS, FACE_COLUMN, LENS_COLUMN, TRUTH, correlated

FT_M = 0.3048


def inputs_of(values, sigmas, correlation) -> list:
    """Uncertain numbers of GTC that depend on one another."""
    # Degrees of freedom do not matter to standard uncertainties; infinite ones may be correlated freely.
    numbers = [GTC.ureal(float(v), float(s), independent=False) for v, s in zip(values, sigmas, strict=True)]
    for i in range(len(numbers)):
        for j in range(i):
            GTC.set_correlation(float(correlation[i][j]), numbers[i], numbers[j])
    return numbers


def test_gum_h2_resistance_and_reactance_of_a_circuit_element():
    """GUM H.2, tables H.2 to H.4: inputs and results as printed; from rounded inputs to 0.002."""
    correlation = [[1, -0.36, 0.86], [-0.36, 1, -0.65], [0.86, -0.65, 1]]
    volts, amps, radians = inputs_of([4.999, 19.661e-3, 1.04446], [0.0032, 9.5e-6, 7.5e-4], correlation)
    results = {
        "R": (volts / amps * GTC.cos(radians), 127.732, 0.071),
        "X": (volts / amps * GTC.sin(radians), 219.847, 0.295),
        "Z": (volts / amps, 254.260, 0.236),
    }
    for number, value, uncertainty in results.values():
        assert GTC.value(number) == pytest.approx(value, abs=0.002)
        assert GTC.uncertainty(number) == pytest.approx(uncertainty, abs=0.002)
    printed = {("R", "X"): -0.59, ("R", "Z"): -0.49, ("X", "Z"): 0.99}
    for (one, other), value in printed.items():
        found = GTC.get_correlation(results[one][0], results[other][0])
        assert found == pytest.approx(value, abs=0.02)


def turned(rotation: np.ndarray, small: list, point: list) -> list:
    """exp(small) rotation point, to first order in ``small``, which is all that propagation takes up."""
    x, y, z = (sum(rotation[i, j] * point[j] for j in range(3)) for i in range(3))
    a, b, c = small
    return [x + b * z - c * y, y + c * x - a * z, z + a * y - b * x]


def turned_back(rotation: np.ndarray, small: list, point: list) -> list:
    a, b, c = small
    return turned(rotation.T, [0, 0, 0], turned(np.eye(3), [-a, -b, -c], point))


def undistorted(lens: list, xy_px: list) -> tuple:
    """Ideal coordinates of a pixel by repeated substitution, uncertainties and all."""
    focal, cx, cy, k1, k2, p1, p2 = lens
    seen_x, seen_y = (xy_px[0] - cx) / focal, (xy_px[1] - cy) / focal
    x, y = seen_x, seen_y
    for _ in range(25):
        r2 = x * x + y * y
        radial = 1 + k1 * r2 + k2 * r2 * r2
        dx, dy = 2 * p1 * x * y + p2 * (r2 + 2 * x * x), p1 * (r2 + 2 * y * y) + 2 * p2 * x * y
        x, y = (seen_x - dx) / radial, (seen_y - dy) / radial
    return x, y


@pytest.mark.parametrize("camera", [0, 1, 2])
def test_a_sighting_s_covariance_is_that_of_the_gum_calculator(camera):
    """One sighting through an uncertain lens, pose and face, all correlated: places, sigmas, correlations."""
    covariance = correlated(np.random.default_rng(10 + camera))
    place, depth_m, sigma_px, sigma_depth_m = np.array([0.9, 0.05, 1.2]), 0.05, 1.3, 0.02
    pose, face, lens = TRUTH.cameras[camera].camera_from_building, TRUTH.face, TRUTH.cameras[camera].lens
    xy_px = TRUTH.cameras[camera].project(face.apply(place[None]))[0]
    ours = intersect(
        [Seen(camera=TRUTH.cameras[camera], camera_slot=6 * camera, lens_slot=LENS_COLUMN, xy_px=xy_px,
              sigma_px=sigma_px)],
        face, covariance, FACE_COLUMN, depth_m, sigma_depth_m,
    )  # fmt: skip

    values = np.zeros(COLUMNS)
    values[LENS_COLUMN:FACE_COLUMN] = lens.params
    used = [*range(6 * camera, 6 * camera + 6), *range(LENS_COLUMN, COLUMNS)]
    sigmas = np.sqrt(np.diag(covariance))
    numbers = inputs_of(values[used], sigmas[used], (covariance / np.outer(sigmas, sigmas))[np.ix_(used, used)])
    turn, shift, params, face_turn, face_shift = (
        numbers[a:b] for a, b in ((0, 3), (3, 6), (6, 13), (13, 16), (16, 19))
    )
    pixel = [GTC.ureal(float(v), sigma_px) for v in xy_px]
    depth = GTC.ureal(depth_m, sigma_depth_m)

    x, y = undistorted(params, pixel)
    center = turned_back(pose.rotation, turn, [-pose.translation_m[k] - shift[k] for k in range(3)])
    ray = turned_back(pose.rotation, turn, [x, y, 1])
    start = turned_back(face.rotation, face_turn, [center[k] - face.translation_m[k] - face_shift[k] for k in range(3)])
    way = turned_back(face.rotation, face_turn, ray)
    distance = (depth - start[1]) / way[1]
    theirs = [start[k] + distance * way[k] for k in range(3)]

    np.testing.assert_allclose([GTC.value(t) for t in theirs], place, atol=1e-6)
    np.testing.assert_allclose([GTC.value(t) for t in theirs], ours.place_face_m, atol=1e-6)
    stated = np.sqrt(np.diag(ours.covariance))
    np.testing.assert_allclose([GTC.uncertainty(t) for t in theirs], stated, rtol=1e-3)
    for i in range(3):
        for j in range(i):
            together = ours.covariance[i, j] / stated[i] / stated[j]
            assert GTC.get_correlation(theirs[i], theirs[j]) == pytest.approx(together, abs=1e-3)
    # And it does matter that they are correlated.
    alone = intersect(
        [Seen(camera=TRUTH.cameras[camera], camera_slot=6 * camera, lens_slot=LENS_COLUMN, xy_px=xy_px,
              sigma_px=sigma_px)],
        face, np.diag(np.diag(covariance)), FACE_COLUMN, depth_m, sigma_depth_m,
    )  # fmt: skip
    assert np.abs(np.sqrt(np.diag(alone.covariance)) / stated - 1).max() > 0.02


def test_the_cover_factor_for_95_percent():
    """GUM table G.2 at 95.00 % and infinitely many degrees of freedom: 1.960 (from memory)."""
    assert COVER_95.value == pytest.approx(norm.ppf(0.975), abs=5e-5)


def test_nssda_factors_follow_from_the_normal_distribution():
    """NSSDA: 1.7308 of the radial error where both axes err alike, 1.9600 of the height's.

    FGDC-STD-007.3-1998 (the number from memory).
    """
    assert NSSDA_HORIZONTAL == pytest.approx(np.sqrt(chi2.ppf(0.95, 2) / 2), abs=5e-5)
    assert NSSDA_VERTICAL == pytest.approx(norm.ppf(0.975), abs=5e-5)


def test_nssda_published_vertical_example():
    """U.S. Geological Survey, accuracy report of the Barataria (Louisiana) survey: 51 points."""
    assert nssda_vertical_m(0.0574002119585) == pytest.approx(0.112504415439, abs=1e-12)
    # Its rms, mean and standard deviation belong together: n rms^2 = (n - 1) sd^2 + n mean^2.
    mean_m, sd_m = -0.00533333349535, 0.0577205913534
    assert np.sqrt(50 / 51 * sd_m**2 + mean_m**2) == pytest.approx(0.0574002119585, abs=1e-8)


def test_the_nssda_circle_holds_19_places_of_20():
    """Draws with the same error along and up the face, 2 mm each."""
    off_m = np.linalg.norm(np.random.default_rng(4).normal(0, 0.002, (20000, 2)), axis=1)
    rmse_r_m = float(np.sqrt(np.mean(off_m**2)))
    assert (off_m < nssda_horizontal_m(rmse_r_m)).mean() == pytest.approx(0.95, abs=0.005)


@pytest.mark.parametrize(
    ("length_m", "class_", "mpe_mm"),
    [
        # OIML R 35-1: a + b L, L rounded up to whole metres.
        (1.0, "I", 0.2), (1.0, "II", 0.5), (1.0, "III", 1.0),
        (10.0, "I", 1.1), (10.0, "II", 2.3), (10.0, "III", 4.6),
        (24 * FT_M, "III", 3.8),  # 7.3152 m counts as 8
        (5.01, "II", 1.5),
        (0.0, "III", 0.6),
    ],
)  # fmt: skip
def test_permissible_error_of_a_tape(length_m, class_, mpe_mm):
    assert oiml_r35_mpe_m(length_m, class_) == pytest.approx(mpe_mm / 1000, abs=1e-9)


def test_there_are_three_classes_of_tape():
    with pytest.raises(ValueError, match="there are I, II, III"):
        oiml_r35_mpe_m(3, "IV")
    with pytest.raises(ValueError, match="not negative"):
        oiml_r35_mpe_m(-0.1, "I")
