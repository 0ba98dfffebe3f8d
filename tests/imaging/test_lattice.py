"""The lattice in rendered pictures of open walls, and its refusal where there is none."""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path

import av
import cv2
import numpy as np
import pytest

from asbuilt.imaging.lattice import find_lattice
from asbuilt.record.photos import decode_photo
from tests.steps.conftest import SAMPLE_MEDIA

TRUTH = json.loads((Path(__file__).parents[1] / "data" / "sample_truth.json").read_text("utf-8"))
FRAMES = (0, 63, 90, 135, 180, 234, 261, 306, 324)  # 63 blurred, 234 the floor, 306 dark
INCH_M = 0.0254


@cache
def frames() -> dict[int, np.ndarray]:
    with av.open(str(SAMPLE_MEDIA / "walk.mp4")) as clip:
        return {k: f.to_ndarray(format="bgr24") for k, f in enumerate(clip.decode(video=0)) if k in FRAMES}


def photo(name: str) -> np.ndarray:
    return decode_photo(SAMPLE_MEDIA / name, name)


def facing(pose: dict, wall: dict) -> tuple[float, float]:
    """True angle [rad] between the camera's level view and the wall's normal, and distance [m] from its studs."""
    rotation = np.array(pose["R"])
    normal, down = rotation @ wall["axis_y"], rotation @ [0, 0, -1]
    right = np.array([1.0, 0, 0]) - down[0] * down
    right /= np.linalg.norm(right)
    center = -rotation.T @ np.array(pose["t"])
    return float(np.arctan2(normal @ right, normal @ np.cross(right, down))), float(
        (np.array(wall["origin"]) - center) @ wall["axis_y"]
    )


@pytest.mark.parametrize(("frame", "spacing_in"), [(0, 16), (90, 16), (135, 16), (180, 16), (261, 16), (324, 24)])
def test_frames_of_open_walls_give_spacing_yaw_and_distance(frame, spacing_in):
    pose = TRUTH["video"]["frames"][frame]
    wall = next(w for w in TRUTH["walls"] if w["id"] == pose["looks_at"]["wall"])
    found = find_lattice(frames()[frame], TRUTH["video"]["intrinsics"]["fx"])
    assert found, found.reason
    yaw, distance_m = facing(pose, wall)
    lattice = found.lattice
    assert lattice.spacing_m == pytest.approx(spacing_in * INCH_M)
    assert abs(lattice.yaw_rad - yaw) < max(4 * lattice.sigma_yaw_rad, np.deg2rad(1))
    assert abs(np.log(lattice.distance_m / distance_m)) < max(4 * lattice.sigma_scale, 0.02)


def test_a_guessed_lens_only_changes_the_distance():
    exact = find_lattice(frames()[180], TRUTH["video"]["intrinsics"]["fx"])
    guessed = find_lattice(frames()[180])
    assert guessed.lattice.spacing_m == exact.lattice.spacing_m
    ratio = guessed.edges.focal_px / exact.edges.focal_px
    assert guessed.lattice.distance_m / exact.lattice.distance_m == pytest.approx(ratio, rel=0.02)


def test_points_on_the_studs_plane_come_back_to_the_pixels_they_were_seen_at():
    found = find_lattice(frames()[180], TRUTH["video"]["intrinsics"]["fx"])
    lattice = found.lattice
    own = lattice.left_idx[lattice.on_mark]
    away = lattice.distance_m / np.cos(found.edges.azimuth_rad[own] - lattice.yaw_rad)
    pixels = found.pixels(lattice.centers_m[lattice.on_mark], found.edges.low[own] * away)
    assert (np.abs(pixels - 0.5 * np.array(frames()[180].shape[1::-1])) < np.array(frames()[180].shape[1::-1])).all()
    left_of = found.pixels(lattice.centers_m[lattice.on_mark] - 0.01905, np.zeros(len(own)))
    rays = np.column_stack([(left_of - found.edges.center_px) / found.edges.focal_px, np.ones(len(own))])
    level = rays @ found.edges.level_from_camera.T
    assert np.abs(np.arctan2(level[:, 0], level[:, 2]) - found.edges.azimuth_rad[own]).max() < 0.002


@pytest.mark.parametrize("name", ["open_01.jpg", "open_03.jpg", "open_05.jpg"])
def test_photos_of_open_walls_give_the_spacing(name):
    found = find_lattice(photo(name))
    assert found, found.reason
    assert found.lattice.spacing_m == pytest.approx(16 * INCH_M)


def test_a_portrait_photo_shows_the_height_of_the_camera_above_the_sole_plate():
    pose = next(p for p in TRUTH["photos"] if p["file"] == "open_03.jpg")
    found = find_lattice(photo("open_03.jpg"), pose["intrinsics"]["fx"])
    height_m = (-np.array(pose["R"]).T @ np.array(pose["t"]))[2]
    assert found.sole_m == pytest.approx(1.5 * INCH_M - height_m, abs=0.02)


@pytest.mark.parametrize("name", ["closed_01.jpg", "closed_02.jpg", "closed_03.jpg"])
def test_covered_walls_are_refused(name):
    refused = find_lattice(photo(name))
    assert not refused
    assert refused.reason


@pytest.mark.parametrize("frame", [63, 234, 306])
def test_blur_a_floor_and_darkness_are_refused(frame):
    assert not find_lattice(frames()[frame])


def test_uprights_that_lean_every_way_are_refused():
    """A truss, drawn: chords and webs, nothing that agrees on upright."""
    image = np.full((1080, 1920, 3), 170, np.uint8)
    for k in range(-2, 14):
        cv2.line(image, (k * 160, 1000), (k * 160 + 320, 80), (70, 110, 150), 22)
        cv2.line(image, (k * 160 + 320, 1000), (k * 160, 80), (70, 110, 150), 22)
    cv2.line(image, (0, 80), (1920, 80), (70, 110, 150), 40)
    assert not find_lattice(image)


def test_tall_narrow_lines_like_a_ruled_page_are_no_wall():
    image = np.full((1500, 1500, 3), 235, np.uint8)
    for k in range(10):
        cv2.rectangle(image, (100 + 140 * k, 60), (111 + 140 * k, 1440), (40, 40, 40), -1)
    assert not find_lattice(image)


def test_small_pictures_are_refused_not_guessed():
    small = cv2.resize(frames()[180], (640, 360), interpolation=cv2.INTER_AREA)
    assert "smaller" in find_lattice(small).reason
