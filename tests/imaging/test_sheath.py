"""The colour under a finger, on drawn patches and on the sample's photos against the renderer's truth."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import cv2
import numpy as np
import pytest

from asbuilt.imaging.sheath import look_at
from tests.truth import truth

MEDIA = Path(__file__).parents[2] / "sample_media"
WOOD_BGR = (120, 165, 195)
SHEATHS_BGR = {"white": (228, 235, 236), "yellow": (40, 190, 205), "orange": (45, 115, 225), "black": (38, 38, 40)}


def wood(seed: int = 0) -> np.ndarray:
    """A wall of wood with some grain."""
    rng = np.random.default_rng(seed)
    grain = cv2.GaussianBlur(rng.normal(0, 14, (480, 640, 1)).astype(np.float32), (1, 31), 0)[..., None]
    return np.clip(np.array(WOOD_BGR) + grain, 0, 255).astype(np.uint8)


@pytest.mark.parametrize("colour", SHEATHS_BGR)
def test_cable_over_wood_is_named_and_known_for_a_run(colour):
    image = wood()
    cv2.line(image, (100, 20), (420, 460), SHEATHS_BGR[colour], 9)
    found = look_at(image, 260, 241)
    assert found and (found.colour, found.is_run) == (colour, True)


def test_box_is_no_run():
    image = wood()
    cv2.rectangle(image, (300, 220), (322, 256), (170, 90, 20), -1)
    found = look_at(image, 311, 238)
    assert found and (found.colour, found.is_run) == ("blue", False)


def test_wood_is_not_given_a_colour():
    assert not look_at(wood(), 320, 240)
    assert "outside" in look_at(wood(), 900, 10).reason


def test_sheaths_in_the_sample_photos_are_named_as_they_were_made():
    """Aimed at by an unsteady hand; a colour may be left open but hardly ever be a wrong one."""
    rng = np.random.default_rng(5)
    runs = {r["id"]: r for r in truth()["runs"]}
    run_of = {p["id"]: runs[p["run"]] for p in truth()["label_points"]}
    outcome: Counter[str] = Counter()
    for photo in truth()["photos"]:
        if photo["heic"]:
            continue
        image = cv2.imread(str(MEDIA / photo["file"]))
        for point in photo["label_points_visible"]:
            run = run_of[point["id"]]
            if run["kind"] != "cable":
                continue
            found = look_at(image, *(np.array([point["u"], point["v"]]) + rng.normal(0, 1.5, 2)))
            outcome["left open" if not found else "right" if found.colour == run["colour"] else "wrong"] += 1
    assert outcome.total() > 40
    assert outcome["right"] >= 0.85 * outcome.total(), outcome
    assert outcome["wrong"] <= 0.03 * outcome.total(), outcome
