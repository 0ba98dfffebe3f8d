"""Painting: warped where it should be, feathered without loss, unseen kept apart."""

from __future__ import annotations

import numpy as np

from asbuilt.imaging.blend import Canvas, feather, shrunk, shrunk_px, warp


def test_feathered_parts_of_a_plane_add_up_to_one():
    rng = np.random.default_rng(1)
    labels = rng.integers(0, 3, (12, 15)).repeat(6, axis=0).repeat(6, axis=1)
    parts = [feather(labels == n, 20) for n in range(3)]
    np.testing.assert_allclose(sum(parts), 1.0, atol=1e-5)
    alone = feather(np.arange(100)[None].repeat(50, axis=0) < 50, 20)
    assert (alone[:, :39] == 1).all() and (alone[:, 61:] == 0).all()
    assert 0.3 < alone[25, 49] < 0.7


def test_a_shrunk_image_lies_where_its_positions_say():
    ramp = np.tile(np.arange(240, dtype=np.uint8)[None, :, None], (12, 1, 3))
    for factor in (1, 2, 3, 5):
        small = shrunk(ramp, factor)
        x = np.full((1, 1), 101.0, np.float32)
        y = np.full((1, 1), 6.0, np.float32)
        color, within = warp(small, shrunk_px(x, factor), shrunk_px(y, factor), sharp=False)
        assert within.all() and abs(int(color[0, 0, 0]) - 101) <= 1


def test_only_positions_inside_the_image_count():
    image = np.full((5, 8, 3), 90, np.uint8)
    x = np.array([[-0.1, 0.0, 7.0, 7.1]], np.float32)
    _, within = warp(image, x, np.full_like(x, 2.0))
    assert within.tolist() == [[False, True, True, False]]
    _, within = warp(image, np.full_like(x, 3.0), np.array([[-0.1, 0.0, 4.0, 4.1]], np.float32))
    assert within.tolist() == [[False, True, True, False]]


def test_a_canvas_weighs_what_was_added_and_tells_what_was_not_painted():
    canvas = Canvas(2, 4)
    canvas.add(0, 0, np.full((2, 2, 3), 100.0), np.full((2, 2), 0.75))
    canvas.add(0, 1, np.full((1, 2, 3), 300.0), np.full((1, 2), 0.25))
    colors, seen = canvas.finish()
    assert colors[:, :, 0].tolist() == [[100, 150, 255, 0], [100, 100, 0, 0]]
    assert seen.tolist() == [[True, True, True, False], [True, True, False, False]]
