"""Matches of a real pair of photos against its published homography, and the law of residuals.

Sources: graf1, graf3 and H1to3p.xml (OpenCV 5.0.0, samples/data; the pair is of the Oxford affine
regions set). The law: Hartley and Zisserman, Multiple View Geometry, 2nd edition, result 5.2 (number
from memory): with N measurements of standard deviation s and d parameters, the residuals have an rms
of s sqrt(1 - d/N) and the estimates are off by s sqrt(d/N).
"""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from scipy.optimize import least_squares
from scipy.spatial.transform import Rotation

from asbuilt.geometry.cameras import Lens
from asbuilt.geometry.resection import resect
from asbuilt.imaging.ties import describe, match
from tests.geometry.lenses import PHONE
from tests.outside.fetch import unpacked

SIGMA_PX = 0.5


@pytest.fixture(scope="module")
def graf():
    """The two photos and the published homography third_from_first."""
    data = "opencv/samples/data"
    names = ("graf1.png", "graf3.png", "H1to3p.xml")
    folder = unpacked("opencv-python", "5.0.0.93", *(f"{data}/{n}" for n in names)) / data
    store = cv2.FileStorage(str(folder / names[2]), cv2.FILE_STORAGE_READ)
    first, third = (cv2.imread(str(folder / n), cv2.IMREAD_GRAYSCALE) for n in names[:2])
    return first, third, store.getNode("H13").mat()


def moved(homography: np.ndarray, xy_px: np.ndarray) -> np.ndarray:
    return cv2.perspectiveTransform(np.asarray(xy_px, float)[None], homography)[0]


@pytest.fixture(scope="module")
def matched(graf):
    first, third, _ = graf
    a, b = describe(first), describe(third)
    # What the camera was is not published: a usual lens serves the epipolar check.
    lens = Lens.from_prior(first.shape[1], first.shape[0], None)
    pairs = match(a, b, lens, lens)
    return a.xy_px[pairs[:, 0]], b.xy_px[pairs[:, 1]]


@pytest.mark.outside
def test_most_matches_are_true(graf, matched):
    off = np.linalg.norm(moved(graf[2], matched[0]) - matched[1], axis=1)
    assert len(off) > 100
    # Of matches by descriptor alone 63 to 66 % are true here (measured with OpenCV's SIFT and ORB).
    assert (off < 5).mean() > 0.75


@pytest.mark.outside
def test_the_homography_of_the_matches_is_the_published_one(graf, matched):
    first, third, published = graf
    cv2.setRNGSeed(1)
    found, _ = cv2.findHomography(*matched, cv2.USAC_MAGSAC, 3.0)
    height, width = first.shape
    grid = np.stack(np.meshgrid(np.arange(0, width, 20), np.arange(0, height, 20)), axis=-1).reshape(-1, 2)
    there = moved(published, grid)
    overlap = (there > 0).all(axis=1) & (there < third.shape[::-1]).all(axis=1)
    off = np.linalg.norm(moved(found, grid) - there, axis=1)[overlap]
    assert overlap.sum() > 500
    assert off.mean() < 3


def rms(values: np.ndarray) -> float:
    return float(np.sqrt(np.mean(np.square(values))))


def test_the_law_of_residuals_for_homographies():
    """d = 8, N = 60, s = 0.5: 0.4655 and 0.1826. Holds the draws below to account, by SciPy alone."""
    rng = np.random.default_rng(5)
    true = np.array([[0.9, -0.1, 40], [0.15, 1.1, -20], [1e-4, -5e-5, 1]])
    start = rng.uniform(0, 500, (30, 2))
    exact = moved(true, start)
    residuals, errors = [], []
    for _ in range(200):
        seen = exact + rng.normal(0, SIGMA_PX, exact.shape)

        def off(h: np.ndarray, seen=seen) -> np.ndarray:
            return (moved(np.append(h, 1).reshape(3, 3), start) - seen).ravel()

        fit = least_squares(off, true.ravel()[:8], x_scale=np.abs(true.ravel()[:8]))
        residuals.append(fit.fun)
        errors.append(fit.fun + (seen - exact).ravel())
    assert rms(np.array(residuals)) == pytest.approx(0.4655, rel=0.02)
    assert rms(np.array(errors)) == pytest.approx(0.1826, rel=0.05)


@pytest.mark.parametrize("count", [6, 10, 30])
def test_resection_keeps_the_law_of_residuals(count):
    """Six parameters of a pose from 2n pixels."""
    rng = np.random.default_rng(count)
    rotation = Rotation.from_euler("xyz", [0.1, -0.2, 0.05]).as_matrix()
    translation_m = np.array([0.1, -0.05, 2.6])
    residuals, errors = [], []
    for _ in range(300):
        points = rng.uniform((-1, -0.6, -0.3), (1, 0.6, 0.3), (count, 3))
        exact = PHONE.project(points @ rotation.T + translation_m)
        seen = exact + rng.normal(0, SIGMA_PX, exact.shape)
        found = resect(PHONE, points, seen, SIGMA_PX)
        fitted = PHONE.project(points @ found.rotation.T + found.translation_m)
        residuals.append(fitted - seen)
        errors.append(fitted - exact)
        assert found.residual_px == pytest.approx(np.sqrt(2) * rms((fitted - seen)[found.used]), rel=1e-3)
    share = 6 / (2 * count)
    # Robust weights cost a little: residuals may be larger than least squares leaves them, not smaller.
    assert rms(np.array(residuals)) == pytest.approx(SIGMA_PX * np.sqrt(1 - share), rel=0.03)
    assert rms(np.array(errors)) == pytest.approx(SIGMA_PX * np.sqrt(share), rel=0.06)
