"""Tie stills to frames and to each other: matched features, placed in space, gated by the poses so far."""

from __future__ import annotations

import cv2
import numpy as np

from asbuilt.geometry.bundle_problem import PixelObservations
from asbuilt.geometry.cameras import Camera
from asbuilt.geometry.frames import BUILDING, Rigid3, camera_frame
from asbuilt.geometry.planes import Plane, on_planes
from asbuilt.geometry.resection import refine
from asbuilt.imaging.ties import join, match
from asbuilt.steps.place_look import Looked

TIE_SIGMA_PX = 1.0
PARTNERS = 5  # frames that a still is matched with
STILL_PARTNERS = 3
NEAR_M = 1.5  # pictures whose middles meet the wall farther apart are not matched
BLIND_SPREAD = 24  # frames tried for a still of unknown aim
AGREE_PX = 6.0  # a tie must fit the solved frames to this
RESECT_PX = 8.0
MIN_RESECT = 25
RAY_SIGMA = 0.002  # radians, of a solved picture


def tie_chains(looked: Looked, planes: list[Plane], cameras: dict[int, Camera]) -> PixelObservations:
    """Matched features of stills, as tracks by picture index.

    Parameters
    ----------
    looked : Looked
    planes : list of Plane
        The faces.
    cameras : dict
        Picture index to camera, of the pictures placed so far.
    """
    if not looked.stills:
        return PixelObservations()
    aims = _aims(len(looked.pictures), planes, cameras)
    wanted = {tuple(sorted((i, j))) for i in looked.stills for j in _partners(i, aims, looked)}
    described = dict(looked.stills)
    described |= looked.describe({j for pair in wanted for j in pair} - set(described))
    pairs = {}
    for i, j in sorted(wanted):
        lens_i, lens_j = looked.lenses[looked.lens_ids[i]], looked.lenses[looked.lens_ids[j]]
        pairs[i, j] = match(described[i], described[j], lens_i, lens_j)
    rows = [(p, t, described[p].xy_px[f]) for t, nodes in enumerate(join(pairs)) for p, f in nodes]
    if not rows:
        return PixelObservations()
    picture, track, xy = zip(*rows, strict=True)
    return PixelObservations(
        camera_idx=np.array(picture), thing_idx=np.array(track), xy_px=np.array(xy),
        sigma_px=np.full(len(rows), TIE_SIGMA_PX),
    )  # fmt: skip


def _aims(count: int, planes: list[Plane], cameras: dict[int, Camera]) -> np.ndarray:
    """Where each placed picture's middle meets a wall, (N, 3) building; NaN if unknown."""
    aims = np.full((count, 3), np.nan)
    for i, camera in cameras.items():
        aims[i] = on_planes(planes, camera.center_building_m, camera.camera_from_building.rotation[2][None])[0]
    return aims


def _partners(i: int, aims: np.ndarray, looked: Looked) -> list[int]:
    """The pictures that look nearest to where a still looks; for a still of unknown aim, a spread of them."""
    if not np.isfinite(aims[i, 0]):
        known = [int(j) for j in np.flatnonzero(np.isfinite(aims[:, 0]))]
        return known[:: max(1, len(known) // BLIND_SPREAD)]
    distance = np.linalg.norm(aims - aims[i], axis=1)
    distance[i] = np.nan
    order = [int(j) for j in np.argsort(distance) if distance[j] < NEAR_M]
    frames = [j for j in order if j not in looked.stills]
    stills = [j for j in order if j in looked.stills]
    # Frames next to each other add little: take every other one.
    return [*frames[: 2 * PARTNERS : 2], *stills[:STILL_PARTNERS]]


def tie_points(ties: PixelObservations, cameras: dict[int, Camera], base: set[int]) -> tuple[np.ndarray, np.ndarray]:
    """Places of ties from the well placed pictures in ``base``.

    Returns
    -------
    points_m : ndarray of shape (T, 3)
    good : ndarray of shape (T,), bool
        Seen by two of them or more, and fitting them all.
    """
    count = int(ties.thing_idx.max()) + 1
    weight, pull = np.zeros((count, 3, 3)), np.zeros((count, 3))
    seen = np.zeros(count, int)
    parts = []
    for i in base & set(ties.camera_idx.tolist()):
        rows = np.flatnonzero(ties.camera_idx == i)
        camera = cameras[i]
        rays = camera.rays_building(ties.xy_px[rows])
        across = (np.eye(3) - rays[:, :, None] * rays[:, None, :]) / (2.5 * RAY_SIGMA) ** 2
        tracks = ties.thing_idx[rows]
        weight[tracks] += across
        pull[tracks] += across @ camera.center_building_m
        seen[tracks] += 1
        parts.append((camera, rows, tracks))
    good = seen >= 2
    points = np.full((count, 3), np.nan)
    points[good] = np.linalg.solve(weight[good] + 1e-3 * np.eye(3), pull[good][:, :, None])[:, :, 0]
    for camera, rows, tracks in parts:
        on = good[tracks]
        off = np.linalg.norm(camera.project(points[tracks[on]]) - ties.xy_px[rows[on]], axis=1)
        good[tracks[on]] &= off < AGREE_PX  # NaN, behind the camera, is not below either
    return points, good


def resect_stills(
    looked: Looked, ties: PixelObservations, cameras: dict[int, Camera], known, inside
) -> dict[int, Camera]:
    """Place the stills anew by the ties they share with placed frames, and their own known points."""
    base = {i for i in cameras if i not in looked.stills}
    if not base:
        return {}
    points, good = tie_points(ties, cameras, base)
    placed = {}
    for i in looked.stills:
        rows = np.flatnonzero((ties.camera_idx == i) & good[ties.thing_idx])
        if len(rows) < MIN_RESECT:
            continue
        lens = looked.lenses[looked.lens_ids[i]]
        seen_m, xy = points[ties.thing_idx[rows]], ties.xy_px[rows]
        cv2.setRNGSeed(1)
        ok, rotvec, translation, used = cv2.solvePnPRansac(
            seen_m, lens.normalised(xy), np.eye(3), None, iterationsCount=400,
            reprojectionError=3 * RESECT_PX / lens.focal_px, flags=cv2.SOLVEPNP_SQPNP,
        )  # fmt: skip
        if not ok or used is None or len(used) < MIN_RESECT:
            continue
        used = used.ravel()
        everything = np.concatenate([seen_m[used], known[i].points_m])
        pixels = np.concatenate([xy[used], known[i].xy_px])
        sigma = np.concatenate([np.full(len(used), RESECT_PX), np.full(len(known[i].xy_px), 2.0)])
        pose = refine(
            lens, everything, pixels, sigma, np.zeros(len(sigma)), cv2.Rodrigues(rotvec)[0], translation.ravel()
        )
        if pose and inside(pose.center_m):
            placed[i] = Camera(lens=lens, camera_from_building=Rigid3(
                target=camera_frame(str(i)), source=BUILDING, rotation=pose.rotation, translation_m=pose.translation_m
            ))  # fmt: skip
    return placed
