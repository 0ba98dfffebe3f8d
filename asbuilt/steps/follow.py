"""One click is enough: find a tube again in the placed pictures near by.

Under the click the tube's middle line is taken; every depth it may have is one place on a line
in each other picture. Where pictures agree on a depth, the tube's pixels there are kept with
the sighting and intersected like clicks. Clips are read twice, forward: first the clicked
pictures, then their neighbours.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from tqdm import tqdm

from asbuilt.geometry.cameras import Camera
from asbuilt.geometry.epipolar import points_at_depths
from asbuilt.geometry.frames import Rigid3
from asbuilt.imaging.tube_sweep import ALONG_PX, LEAST_CROSSING_PX_M, Track, crossing_px_m, sweep
from asbuilt.imaging.tubes import Tube, find_tube, to_lab
from asbuilt.record import Followed, Picture, Record, Sighting
from asbuilt.record.pixels import iter_pictures

MOST_PICTURES = 12
MARGIN_PX = 30.0
DEPTH_STEP_M = 0.002
PROUD_M = 0.04  # how far a tube may stand out of the studs, or behind the cavity
# How the same spot must appear in both pictures: seen under angles this far apart, at most so much larger.
ANGLE_RAD = (np.radians(1.5), np.radians(32.0))
SCALES = (0.6, 1.7)


@dataclass(frozen=True, slots=True, kw_only=True)
class Ask:
    """A sighting of a tube to follow: its face's pose, and what is known of its depth [m].

    Sightings of one ``spot`` know the same of it.
    """

    spot: str
    sighting: Sighting
    building_from_face: Rigid3
    radius_m: float
    depth_m: float
    sigma_m: float
    stud_depth_m: float
    solution_id: str


@dataclass(slots=True)
class _Job:
    ask: Ask
    tube: Tube | None
    tracks: dict[str, np.ndarray]  # picture id -> ends_px
    depths_m: np.ndarray
    crops: dict[str, tuple[np.ndarray, np.ndarray]]  # pixels and their corner


def follow(record: Record, asks: Sequence[Ask], cameras: dict[str, Camera], progress: bool = False) -> list[Followed]:
    """Find what was clicked in the pictures near by; one row per ask, also where nothing was found."""
    if not asks:
        return []
    pictures = {p.id: p for p in record.all(Picture) if p.id in cameras}
    bar = tqdm(total=2, desc="following cables", unit="pass", disable=not progress, leave=False)
    jobs = _look_under_clicks(record, asks, cameras, pictures)
    bar.update()
    usable = {i: c for i, c in cameras.items() if i in pictures and "blurred" not in pictures[i].flags}
    for job in jobs:
        if job.tube is not None:
            job.tracks = _neighbours(job, cameras[job.ask.sighting.picture_id], usable)
    _cut(record, jobs, pictures)
    bar.update()
    bar.close()
    by_spot: dict[str, list[_Job]] = {}
    for job in jobs:
        by_spot.setdefault(job.ask.spot, []).append(job)
    return [followed for spot in by_spot.values() for followed in _sweep_spot(spot)]


def _look_under_clicks(record: Record, asks, cameras, pictures) -> list[_Job]:
    by_picture: dict[str, list[Ask]] = {}
    for ask in asks:
        by_picture.setdefault(ask.sighting.picture_id, []).append(ask)
    jobs = []
    for picture, bgr in iter_pictures(record, [pictures[i] for i in by_picture]):
        for ask in by_picture[picture.id]:
            tube = _tube(ask, cameras[picture.id], bgr)
            low, high = ask.depth_m - 3 * ask.sigma_m, ask.depth_m + 3 * ask.sigma_m
            depths = np.arange(max(low, -PROUD_M), min(high, ask.stud_depth_m + PROUD_M), DEPTH_STEP_M)
            jobs.append(_Job(ask=ask, tube=tube, tracks={}, depths_m=depths, crops={}))
    return jobs


def _tube(ask: Ask, camera: Camera, bgr: np.ndarray) -> Tube | None:
    xy = np.array([ask.sighting.x_px, ask.sighting.y_px])
    place = points_at_depths(camera, ask.building_from_face, xy[None], np.array([ask.depth_m]))
    if place is None or not camera.lens.inside(xy[None])[0]:
        return None
    range_m = camera.camera_from_building.apply(place[0])[0, 2]
    width_px = 2 * ask.radius_m * camera.lens.focal_px / range_m
    crop, corner = _crop(bgr, xy - 4 * width_px - MARGIN_PX, xy + 4 * width_px + MARGIN_PX)
    tube = find_tube(to_lab(crop), xy - corner, width_px)
    if tube is None:
        return None
    return Tube(center_px=tube.center_px + corner, direction=tube.direction, width_px=tube.width_px,
                lab=tube.lab, contrast=tube.contrast)  # fmt: skip


def _crop(bgr: np.ndarray, low_px: np.ndarray, high_px: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The part of a picture between two pixels, and its corner."""
    height, width = bgr.shape[:2]
    x0, y0 = np.clip(np.floor(low_px).astype(int), 0, (width - 2, height - 2))
    x1, y1 = np.clip(np.ceil(high_px).astype(int) + 1, (x0 + 2, y0 + 2), (width, height))
    return bgr[y0:y1, x0:x1].copy(), np.array([x0, y0], dtype=float)


def _neighbours(job: _Job, camera: Camera, usable: dict[str, Camera]) -> dict[str, np.ndarray]:
    """Pictures that would show the tube at every depth, spread over how far it travels there."""
    ask, tube = job.ask, job.tube
    if len(job.depths_m) < 3:
        return {}
    points = tube.center_px + ALONG_PX[:, None] * tube.direction
    ends = points_at_depths(camera, ask.building_from_face, points, job.depths_m)
    if ends is None:
        return {}
    middle = ends[len(ends) // 2]
    sight = middle[len(middle) // 2] - camera.center_building_m
    range_m = np.linalg.norm(sight)
    found = []
    for picture_id, other in usable.items():
        ray = middle[len(middle) // 2] - other.center_building_m
        far_m = np.linalg.norm(ray)
        angle = np.arccos(np.clip(ray @ sight / far_m / range_m, -1, 1))
        scale = far_m * camera.lens.focal_px / (range_m * other.lens.focal_px)
        if picture_id == ask.sighting.picture_id or not (ANGLE_RAD[0] < angle < ANGLE_RAD[1]):
            continue
        if not (SCALES[0] < scale < SCALES[1]) or not other.in_front(middle).all():
            continue
        pixels = other.project(ends.reshape(-1, 3)).reshape(*ends.shape[:2], 2)
        flat = pixels.reshape(-1, 2)
        if np.isfinite(flat).all() and other.lens.inside(flat, MARGIN_PX).all():
            crossing = crossing_px_m(pixels, job.depths_m)
            if crossing >= LEAST_CROSSING_PX_M:
                found.append((crossing, picture_id, pixels))
    if not found:
        return {}
    found.sort(key=lambda f: f[0])
    picks = np.unique(np.linspace(0, len(found) - 1, MOST_PICTURES).round().astype(int))
    return {found[k][1]: found[k][2] for k in picks}


def _cut(record: Record, jobs: Iterable[_Job], pictures: dict[str, Picture]) -> None:
    """Cut what the jobs need out of their neighbours, each picture read once."""
    wanted: dict[str, list[_Job]] = {}
    for job in jobs:
        for picture_id in job.tracks:
            wanted.setdefault(picture_id, []).append(job)
    for picture, bgr in iter_pictures(record, [pictures[i] for i in wanted]):
        for job in wanted[picture.id]:
            ends = job.tracks[picture.id]
            reach = 4 * job.tube.width_px + MARGIN_PX
            flat = ends.reshape(-1, 2)
            crop, corner = _crop(bgr, flat.min(axis=0) - reach, flat.max(axis=0) + reach)
            job.crops[picture.id] = (crop, corner)


def _sweep_spot(jobs: list[_Job]) -> list[Followed]:
    """All clicks of one spot together: they share its depth."""
    able = [job for job in jobs if job.crops]
    found = None
    if able:
        ask = able[0].ask
        tracks = [[_track(job, i) for i in job.crops] for job in able]
        pairs = [(job.tube, row) for job, row in zip(able, tracks, strict=True)]
        found = sweep(pairs, able[0].depths_m, ask.depth_m, ask.sigma_m)
    seen: dict[int, dict] = {}
    for job, row in zip(able, found or [], strict=False):
        seen[id(job)] = {
            i: [float(v) for v in (*(one.xy_px + job.crops[i][1]), *one.along)]
            for i, one in zip(job.crops, row, strict=True)
            if one is not None
        }
    return [_row(job, seen.get(id(job), {})) for job in jobs]


def _track(job: _Job, picture_id: str) -> Track:
    crop, corner = job.crops[picture_id]
    return Track(lab=to_lab(crop), ends_px=job.tracks[picture_id] - corner)


def _row(job: _Job, seen: dict) -> Followed:
    sighting, tube = job.ask.sighting, job.tube
    x_px, y_px = (sighting.x_px, sighting.y_px) if tube is None else (float(v) for v in tube.center_px)
    return Followed(
        id=sighting.id,
        solution_id=job.ask.solution_id,
        click_px=(sighting.x_px, sighting.y_px),
        x_px=x_px,
        y_px=y_px,
        along=() if tube is None else tuple(float(v) for v in tube.direction),
        pictures=seen,
    )
