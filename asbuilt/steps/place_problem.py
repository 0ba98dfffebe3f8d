"""Assemble the joint problem of the pictures posed so far."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from asbuilt.geometry.bundle_problem import PixelObservations, Problem, Unknowns
from asbuilt.geometry.cameras import Camera
from asbuilt.steps.place_look import Looked
from asbuilt.steps.place_setup import Site, held_of, is_taped, joints_of, marker_sigmas, reference_sigma_m

MIN_SEEN = 3  # pictures a followed corner must be in to be worth an unknown
FOCAL_SIGMA = 0.02  # 35-mm equivalents are whole millimetres; our choice
FOCAL_SIGMA_UNKNOWN = 0.15


@dataclass(frozen=True, slots=True, kw_only=True)
class Posed:
    """The cameras so far by picture index, and everything seen, by picture index."""

    looked: Looked
    site: Site
    cameras: dict[int, Camera]
    corners: PixelObservations
    clicks: PixelObservations
    tracks: PixelObservations
    point_m: np.ndarray  # (P, 3), NaN where a track has no place yet
    unknowns: Unknowns | None = None  # of an earlier solution of the same site: lenses by id, faces, markers
    lens_ids: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Assembled:
    """A problem, a start, and what its indices mean: picture indices, lens ids, kept tracks."""

    problem: Problem
    start: Unknowns
    picture_idx: np.ndarray
    lens_ids: tuple[str, ...]
    track_idx: np.ndarray


def assemble(posed: Posed, few_tracks: int | None = None) -> Assembled:
    """The joint problem of the posed pictures.

    Parameters
    ----------
    posed : Posed
    few_tracks : int, optional
        Use only the longest tracks, this many observations or so per picture.
    """
    site = posed.site
    pictures = np.array(sorted(posed.cameras))
    camera_of = cameras_of(pictures, len(posed.looked.pictures))
    lens_ids = tuple(sorted({posed.looked.lens_ids[i] for i in pictures}))
    tracks, track_idx = _kept_tracks(posed.tracks, camera_of, posed.point_m, few_tracks)
    corners, clicks = recamera(posed.corners, camera_of), recamera(posed.clicks, camera_of)
    lens_prior = np.array([[*posed.looked.lenses[key].params, 0.0] for key in lens_ids])
    rotation, place = _marker_starts(posed, corners, pictures)
    references = np.array([[r.offset_m, r.depth_m, r.height_m] for r in site.references]).reshape(-1, 3)
    problem = Problem(
        camera_lens_idx=np.array([lens_ids.index(posed.looked.lens_ids[i]) for i in pictures]),
        lens_prior=lens_prior,
        lens_sigma=np.array([_lens_sigma(key, p) for key, p in zip(lens_ids, lens_prior, strict=True)]),
        joints=joints_of(site),
        held_faces=held_of(site),
        marker_face_idx=np.array([site.face_idx[m.face_id] for m in site.markers], int),
        marker_half_m=np.array([m.size_m / 2 for m in site.markers]),
        marker_prior_m=place,
        marker_sigma_m=marker_sigmas(site),
        marker_rotation_prior=rotation,
        reference_face_idx=np.array([site.face_idx[r.face_id] for r in site.references], int),
        reference_prior_m=references,
        reference_sigma_m=np.array([reference_sigma_m(r) for r in site.references]).reshape(-1, 3),
        tracks=tracks,
        corners=corners,
        clicks=clicks,
        point_prior_m=posed.point_m[track_idx],
    )
    poses = [posed.cameras[i].camera_from_building for i in pictures]
    start = Unknowns(
        camera_rotation=np.array([p.rotation for p in poses]),
        camera_translation_m=np.array([p.translation_m for p in poses]),
        lens=lens_prior.copy(),
        face_rotation=np.array([p.rotation for p in site.building_from_face]),
        face_translation_m=np.array([p.translation_m for p in site.building_from_face]),
        marker_rotation=rotation.copy(),
        marker_place_m=place.copy(),
        marker_log_scale=np.zeros(len(place)),
        reference_place_m=references.copy(),
        point_m=problem.point_prior_m.copy(),
    )
    if posed.unknowns is not None:
        start = _carried_over(start, lens_ids, posed.unknowns, posed.lens_ids)
    return Assembled(problem=problem, start=start, picture_idx=pictures, lens_ids=lens_ids, track_idx=track_idx)


def cameras_of(picture_idx: np.ndarray, count: int) -> np.ndarray:
    """Picture index -> camera index, -1 for the pictures (of ``count``) that are no cameras."""
    camera_of = np.full(count, -1)
    camera_of[picture_idx] = np.arange(len(picture_idx))
    return camera_of


def _carried_over(start: Unknowns, lens_ids, earlier: Unknowns, earlier_ids) -> Unknowns:
    lens = start.lens.copy()
    for k, key in enumerate(lens_ids):
        if key in earlier_ids:
            lens[k] = earlier.lens[earlier_ids.index(key)]
    same = (
        "face_rotation",
        "face_translation_m",
        "marker_rotation",
        "marker_place_m",
        "marker_log_scale",
        "reference_place_m",
    )
    return replace(start, lens=lens, **{name: getattr(earlier, name) for name in same})


def _lens_sigma(lens_id: str, prior: np.ndarray) -> np.ndarray:
    """Priors of a lens: principal point within 1 % of the width, little distortion (phones correct it)."""
    focal, cx = prior[0], prior[1]
    share = FOCAL_SIGMA_UNKNOWN if lens_id.endswith("unknown") else FOCAL_SIGMA
    return np.array([share * focal, 0.016 * cx, 0.016 * cx, 0.05, 0.05, 0.002, 0.002, 0.4])


def recamera(obs: PixelObservations, camera_of: np.ndarray) -> PixelObservations:
    """Observations by camera index instead of picture index, those of unposed pictures left out."""
    kept = obs.only(camera_of[obs.camera_idx] >= 0) if len(obs) else obs
    return replace(kept, camera_idx=camera_of[kept.camera_idx]) if len(kept) else kept


def _kept_tracks(tracks, camera_of, points, few: int | None) -> tuple[PixelObservations, np.ndarray]:
    """Tracks with a place that enough posed pictures saw, renumbered; and which tracks they are."""
    if not len(tracks):
        return tracks, np.zeros(0, int)
    kept = tracks.only((camera_of[tracks.camera_idx] >= 0) & np.isfinite(points[tracks.thing_idx, 0]))
    seen = np.bincount(kept.thing_idx, minlength=len(points))
    followed = kept.sigma_px < 0.9
    kept = kept.only(seen[kept.thing_idx] >= np.where(followed, MIN_SEEN, 2))
    if few is not None and len(kept):
        kept = kept.only(_longest(kept, len(camera_of), len(points), few))
    used, renumbered = np.unique(kept.thing_idx, return_inverse=True)
    return replace(kept, camera_idx=camera_of[kept.camera_idx], thing_idx=renumbered), used


def _longest(tracks: PixelObservations, pictures: int, count: int, quota: int) -> np.ndarray:
    """Mask of observations of the longest tracks, until every picture has its quota where it can."""
    length = np.bincount(tracks.thing_idx, minlength=count)
    order = np.argsort(tracks.thing_idx, kind="stable")
    bounds = np.searchsorted(tracks.thing_idx[order], np.arange(count + 1))
    have, chosen = np.zeros(pictures, int), np.zeros(count, bool)
    for track in np.argsort(-length, kind="stable"):
        seen_by = tracks.camera_idx[order[bounds[track] : bounds[track + 1]]]
        if len(seen_by) and have[seen_by].min() < quota:
            chosen[track] = True
            have[seen_by] += 1
    return chosen[tracks.thing_idx]


def _marker_starts(posed: Posed, corners, pictures) -> tuple[np.ndarray, np.ndarray]:
    """First turn and place of every marker on its face: taped, else from the first posed picture that saw it."""
    site = posed.site
    rotation = np.tile(np.eye(3), (len(site.markers), 1, 1))
    place = np.zeros((len(site.markers), 3))
    for k, marker in enumerate(site.markers):
        place[k] = (marker.offset_m or 0.0, marker.depth_m, marker.height_m or 0.0)
        for row in np.flatnonzero(corners.thing_idx == k):
            camera = posed.cameras[int(pictures[corners.camera_idx[row]])]
            quad = _quad_on_face(camera, site, site.face_idx[marker.face_id], corners.xy_px[row], marker.depth_m)
            if quad is None:
                continue
            if not is_taped(marker):
                place[k] = quad.mean(axis=0)
            right = quad[1] - quad[0]
            quarter = np.round(np.arctan2(right[2], right[0]) / (np.pi / 2)) * np.pi / 2
            rotation[k] = [[np.cos(quarter), 0, -np.sin(quarter)], [0, 1, 0], [np.sin(quarter), 0, np.cos(quarter)]]
            break
    return rotation, place


def _quad_on_face(camera: Camera, site: Site, face_idx: int, xy_px: np.ndarray, depth_m: float):
    """Corners of a sheet where their rays meet its face's plane, (4, 3) on the face; None if they do not."""
    face_from_building = site.building_from_face[face_idx].inverse()
    rays = face_from_building.rotate(camera.rays_building(xy_px))
    center = face_from_building.apply(camera.center_building_m)
    if rays[:, 1].min() < 0.05:
        return None
    return center + ((depth_m - center[1]) / rays[:, 1])[:, None] * rays
