"""Pictures that are not neighbours tied by what both show."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from asbuilt.geometry.cameras import Lens
from asbuilt.imaging.ties import LONG_SIDE_PX, MIN_MATCHES, Described, describe, join, match
from tests.imaging.drawn import boards

WALL = boards(2200, 1400, seed=3)
LENS = Lens.from_prior(1000, 700, 800.0)


def view(wall_from_pixels: np.ndarray) -> np.ndarray:
    return cv2.warpPerspective(WALL, wall_from_pixels, (1000, 700), flags=cv2.INTER_AREA | cv2.WARP_INVERSE_MAP)


# Two standpoints: the second nearer, turned and further to the right.
FIRST = np.array([[1.5, 0.0, 100], [0, 1.5, 100], [0, 0, 1]])
SECOND = np.array([[1.1, -0.12, 400], [0.12, 1.1, 150], [1e-4, 2e-5, 1]])


@pytest.fixture(scope="module")
def pair() -> tuple[Described, Described]:
    return describe(view(FIRST)), describe(view(SECOND))


def test_features_of_a_large_picture_are_where_they_are_at_full_size():
    """Round blots at known places, in a picture that is shrunk before it is described."""
    width = round(2.5 * LONG_SIDE_PX)
    picture = np.full((width * 2 // 3, width), 200, np.uint8)
    rng = np.random.default_rng(2)
    spots = np.stack(np.meshgrid(np.arange(150, width - 150, 180), np.arange(150, width * 2 // 3 - 150, 180)), axis=-1)
    spots = spots.reshape(-1, 2) + rng.integers(-30, 30, (spots.size // 2, 2))
    for x, y in spots:
        cv2.circle(picture, (int(x), int(y)), 22, int(rng.integers(20, 90)), -1)
    found = describe(cv2.GaussianBlur(picture, (0, 0), 3))
    blots = found.xy_px[(found.scale_px > 20) & (found.scale_px < 40)]
    apart = np.linalg.norm(blots[:, None] - spots, axis=2)
    nearest = apart.argmin(axis=1)
    close = apart.min(axis=1) < 5
    assert close.sum() >= 0.8 * len(spots)
    off = blots[close] - spots[nearest[close]]
    # Half a pixel of the shrunk picture is more than one of the full one: it must not be lost.
    assert np.abs(off.mean(axis=0)).max() < 0.1
    assert off.std() < 0.3


def test_matches_show_the_same_spots(pair):
    a, b = pair
    found = match(a, b, LENS, LENS)
    assert len(found) > 60
    first = cv2.perspectiveTransform(a.xy_px[found[:, 0]][None], FIRST)[0]
    second = cv2.perspectiveTransform(b.xy_px[found[:, 1]][None], SECOND)[0]
    off = np.linalg.norm(first - second, axis=1)
    assert np.median(off) < 1
    assert (off < 5).mean() > 0.93


def test_each_feature_is_matched_once(pair):
    found = match(*pair, LENS, LENS)
    assert len(np.unique(found[:, 0])) == len(found)
    assert len(np.unique(found[:, 1])) == len(found)


def test_pictures_of_different_walls_do_not_tie(pair):
    other = describe(boards(1000, 700, seed=99))
    assert len(other.xy_px) > MIN_MATCHES
    assert match(pair[0], other, LENS, LENS).shape == (0, 2)


def test_a_plain_picture_has_no_features_and_no_ties(pair):
    plain = describe(np.full((700, 1000), 120, np.uint8))
    assert plain.xy_px.shape == (0, 2) and plain.descriptors.shape == (0, 128)
    assert match(plain, pair[0], LENS, LENS).shape == (0, 2)


def test_matches_join_to_chains():
    pairs = {
        (0, 1): np.array([[5, 7], [6, 8]]),
        (1, 2): np.array([[7, 9]]),
        (3, 4): np.array([[1, 1]]),
    }
    chains = sorted(join(pairs))
    assert chains == [[(0, 5), (1, 7), (2, 9)], [(0, 6), (1, 8)], [(3, 1), (4, 1)]]


def test_a_chain_that_comes_back_to_another_feature_of_a_picture_is_dropped():
    pairs = {(0, 1): np.array([[5, 7]]), (1, 2): np.array([[7, 9]]), (0, 2): np.array([[6, 9]])}
    assert join(pairs) == []
    agreeing = pairs | {(0, 2): np.array([[5, 9]])}
    assert join(agreeing) == [[(0, 5), (1, 7), (2, 9)]]
    assert join({}) == []
