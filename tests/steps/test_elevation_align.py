"""Cameras that were moved off their true places by known errors agree again on where studs stand."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from asbuilt.geometry.frames import Rigid3
from asbuilt.geometry.projection import exp_rotation
from asbuilt.geometry.rectify import view_of
from asbuilt.record import Record
from asbuilt.record.joint import JointCovariance
from asbuilt.record.pixels import iter_pictures
from asbuilt.steps.elevation import covered_sites, sources_of
from asbuilt.steps.elevation_align import aligned, profiles_of, windows_of
from asbuilt.steps.elevation_site import Site, Source
from tests.truth import truth_record

MEDIA = Path(__file__).parents[2] / "sample_media"
FACE = "kiln"
TURN_RAD, MOVE_M = 0.0015, 0.003  # at 2 m off the wall both are 3 mm on it


@pytest.fixture(scope="module")
def room(tmp_path_factory):
    """A face with some neighbouring pictures of it where they truly stood, and their pixels."""
    folder = tmp_path_factory.mktemp("align") / "room"
    truth_record(folder, media_folder=MEDIA, frame_step=4).close()
    with Record.open(folder) as record:
        site = covered_sites(record)[FACE]
        sources = [s for s in sources_of(record, site) if not s.picture.flags][:16]
        images = {p.id: image for p, image in iter_pictures(record, [s.picture for s in sources])}
    return site, sources, images


def _joint(sources: list[Source]) -> JointCovariance:
    """Every camera by itself, lens and face known."""
    lenses = list(dict.fromkeys(s.placement.lens_id for s in sources))
    columns = {s.picture.id: 6 * k for k, s in enumerate(sources)}
    first = 6 * len(sources)
    sigma = np.full(first + 7 * len(lenses) + 6, 1e-9)
    sigma[:first] = np.tile([TURN_RAD] * 3 + [MOVE_M] * 3, len(sources))
    return JointCovariance(
        matrix=np.diag(sigma**2),
        camera_column=columns,
        lens_column={lens_id: first + 7 * k for k, lens_id in enumerate(lenses)},
        face_column={FACE: first + 7 * len(lenses)},
    )


def _moved(sources: list[Source], seed: int) -> list[Source]:
    draw, found = np.random.default_rng(seed), []
    for source in sources:
        pose: Rigid3 = source.camera.camera_from_building
        turn = exp_rotation(draw.normal(0, TURN_RAD, (1, 3)))[0]
        off = replace(pose, rotation=turn @ pose.rotation, translation_m=pose.translation_m + draw.normal(0, MOVE_M, 3))
        found.append(replace(source, camera=replace(source.camera, camera_from_building=off)))
    return found


def _aligned(site: Site, sources: list[Source], images: dict) -> list[Source]:
    windows = windows_of(site)
    profiles = [profiles_of(site, windows, s.camera, images[s.picture.id]) for s in sources]
    return aligned(site, sources, windows, profiles)


def _steps_m(site: Site, true: list[Source], held: list[Source]) -> np.ndarray:
    """How far apart each two pictures show a spot of a stud that both see, along the wall."""
    points, off = windows_of(site).points_m, []
    for a, b in zip(true, held, strict=True):
        pixels = view_of(a.camera, site.building_from_face, points)
        spots = _on_face(site, b, np.nan_to_num(pixels.pixels_px))
        off.append(np.where(pixels.framed & (pixels.slope < 1), spots[:, 0] - points[:, 0], np.nan))
    apart = np.array(off)[:, None] - np.array(off)[None]
    return apart[np.isfinite(apart) & (apart != 0)]


def _on_face(site: Site, source: Source, pixels: np.ndarray) -> np.ndarray:
    face_from_building = site.building_from_face.inverse()
    start = face_from_building.apply(source.camera.center_building_m)
    ray = face_from_building.rotate(source.camera.rays_building(pixels))
    return start - start[1] / ray[:, 1:2] * ray


@pytest.mark.parametrize("seed", [1, 2])
def test_pictures_that_were_moved_agree_again(room, seed):
    site, true, images = room
    joint = _joint(true)
    site = replace(site, joint={true[0].placement.solution_id: joint})
    moved = _moved(true, seed)
    held = _aligned(site, moved, images)
    before, after = (np.sqrt(np.mean(_steps_m(site, true, s) ** 2)) for s in (moved, held))
    assert before > 0.003
    assert after < 0.35 * before
    for a, b in zip(moved, held, strict=True):
        by_m = np.linalg.norm(a.camera.center_building_m - b.camera.center_building_m)
        far_m = np.linalg.norm(a.camera.center_building_m)  # a pose turns about the building's origin
        assert by_m < 4 * np.hypot(MOVE_M, TURN_RAD * far_m)  # no farther than its own errors let it


def test_pictures_that_are_right_and_known_to_be_stay(room):
    site, true, images = room
    joint = _joint(true)
    joint = replace(joint, matrix=joint.matrix * 1e-4)  # to 0.03 mm
    held = _aligned(replace(site, joint={true[0].placement.solution_id: joint}), true, images)
    for a, b in zip(true, held, strict=True):
        assert np.linalg.norm(a.camera.center_building_m - b.camera.center_building_m) < 1e-4


def test_without_a_joint_solution_nothing_is_moved(room):
    site, true, images = room
    assert _aligned(replace(site, joint={}), true, images) == list(true)
