"""Joint problems with known truth, made from simulated rooms.

What stands where and which picture sees it come from ``tests.rooms``; truth and noise are then drawn
from the very distributions that the problem states, so that its stated errors can be held to account.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from asbuilt.geometry.bundle_problem import SHEET_CORNERS, Joint, PixelObservations, Problem, Unknowns
from asbuilt.geometry.projection import exp_rotation
from tests.rooms.simulate import Options, SimRoom, simulate

TAPE_SIGMA_M = (0.002, 0.002, 0.002)  # offset, depth, height
TRACK_SIGMA_PX = 0.5
LENS_SIGMA = (25.0, 8.0, 8.0, 0.03, 0.03, 0.001, 0.001, 0.3)
SHEET_SIGMA_RAD = (0.02, 0.06, 0.02)
SCALE_SIGMA = 0.003


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """A simulated room cut down to some of its pictures, and what each of them shows."""

    room: SimRoom
    truth: Unknowns
    picture_idx: np.ndarray  # of the cameras, in the room's pictures
    camera_lens_idx: np.ndarray
    tracks: PixelObservations  # of the simulator; ``draw`` puts other pixels in
    corners: PixelObservations
    clicks: PixelObservations


def make_scene(seed: int, every: int = 4, faces: int = 2, at_once: int = 40, **options) -> Scene:
    """A room of a seed with every so many of its usable pictures."""
    chosen = {"gaps": False, "mean_track_life": 30.0, "markers_per_face": 3} | options
    room = simulate(seed, Options(faces=faces, tracks_at_once=at_once, **chosen))
    pictures = np.flatnonzero(room.pictures.usable & (room.pictures.clip >= 0))[::every]
    pictures = _tied(room, pictures)
    camera_of = _numbered(pictures, room)
    lenses, lens_idx = np.unique(room.pictures.lens[pictures], return_inverse=True)
    tracks, spots = _clean_tracks(room, camera_of)
    truth = Unknowns(
        camera_rotation=room.pictures.rotation[pictures],
        camera_translation_m=room.pictures.translation_m[pictures],
        lens=np.array([_lens_params(room.lenses[k]) for k in lenses]),
        face_rotation=np.array([f.rotation for f in room.faces]),
        face_translation_m=np.array([f.origin_m for f in room.faces]),
        marker_rotation=np.array([_turn(c) for c in room.markers.corners_face_m[0]]),
        marker_place_m=room.markers.centers_face_m[0],
        marker_log_scale=np.zeros(len(room.markers.ids)),
        reference_place_m=room.references.spots.face_m,
        point_m=room.texture.building_m[spots],
    )
    seen, marks = room.marker_sightings, room.reference_clicks
    return Scene(
        room=room,
        truth=truth,
        picture_idx=pictures,
        camera_lens_idx=lens_idx,
        tracks=tracks,
        corners=_observations(camera_of, seen.picture, seen.marker, seen.corners_px, seen.sigma_px),
        clicks=_observations(camera_of, marks.picture, marks.point, marks.xy_px, marks.sigma_px),
    )


def draw(scene: Scene, rng: np.random.Generator | None) -> tuple[Problem, Unknowns]:
    """A problem and the truth behind it, drawn as the problem states; all exact without ``rng``."""

    def stray(value: np.ndarray, sigma) -> np.ndarray:
        return value + (0 if rng is None else rng.normal(size=value.shape) * sigma)

    def noisy(obs: PixelObservations) -> PixelObservations:
        return replace(obs, xy_px=stray(obs.xy_px, obs.sigma_px.reshape(-1, *[1] * (obs.xy_px.ndim - 1))))

    room, u = scene.room, scene.truth
    joints = tuple(
        Joint(face_idx=k, next_idx=k + 1, length_m=f.length_m, corner_rad=f.corner_rad)
        for k, f in enumerate(room.faces[:-1])
    )
    face_rotation, face_translation_m = _faces_along(u, joints, stray)
    truth = replace(
        u,
        face_rotation=face_rotation,
        face_translation_m=face_translation_m,
        marker_rotation=exp_rotation(stray(np.zeros_like(u.marker_place_m), SHEET_SIGMA_RAD)) @ u.marker_rotation,
        marker_log_scale=stray(u.marker_log_scale, SCALE_SIGMA),
    )
    tracks, corners, clicks = _exact(scene, truth)
    problem = Problem(
        camera_lens_idx=scene.camera_lens_idx,
        lens_prior=stray(u.lens, LENS_SIGMA),
        lens_sigma=np.tile(LENS_SIGMA, (len(u.lens), 1)),
        joints=joints,
        held_faces=((0, face_rotation[0], face_translation_m[0]),),
        marker_face_idx=room.markers.face_idx,
        marker_half_m=room.markers.size_m / 2,
        marker_prior_m=stray(u.marker_place_m, TAPE_SIGMA_M),
        marker_sigma_m=np.tile(TAPE_SIGMA_M, (len(u.marker_place_m), 1)),
        marker_rotation_prior=u.marker_rotation,
        reference_face_idx=room.references.spots.face_idx,
        reference_prior_m=stray(u.reference_place_m, TAPE_SIGMA_M),
        reference_sigma_m=np.tile(TAPE_SIGMA_M, (len(u.reference_place_m), 1)),
        tracks=noisy(tracks),
        corners=noisy(corners),
        clicks=noisy(clicks),
        point_prior_m=u.point_m,
        sigma_sheet_rad=SHEET_SIGMA_RAD,
        sigma_log_scale=SCALE_SIGMA,
    )
    return problem, truth


def start_of(problem: Problem, truth: Unknowns, rng: np.random.Generator) -> Unknowns:
    """Where a solution may begin: cameras off by centimetres and a degree, the rest as taped or planned."""
    start = truth.moved(np.zeros(truth.starts[-1]), rng.normal(0, 0.03, truth.point_m.shape))
    cameras = len(truth.camera_rotation)
    return replace(
        start,
        camera_rotation=exp_rotation(rng.normal(0, 0.01, (cameras, 3))) @ truth.camera_rotation,
        camera_translation_m=truth.camera_translation_m + rng.normal(0, 0.03, (cameras, 3)),
        lens=problem.lens_prior,
        marker_rotation=problem.marker_rotation_prior,
        marker_place_m=problem.marker_prior_m,
        marker_log_scale=np.zeros(len(truth.marker_log_scale)),
        reference_place_m=problem.reference_prior_m,
    )


def centers(u) -> np.ndarray:
    """Camera centres, (N, 3) [m], of unknowns or of anything else with ``camera_rotation`` and its translation."""
    return -np.einsum("nji,nj->ni", u.camera_rotation, u.camera_translation_m)


def _tied(room: SimRoom, pictures: np.ndarray) -> np.ndarray:
    """Those of the pictures that share six spots or more with others: fewer fix no place."""
    while True:
        tracks, _ = _clean_tracks(room, _numbered(pictures, room))
        enough = np.bincount(tracks.camera_idx, minlength=len(pictures)) >= 6
        if enough.all():
            return pictures
        pictures = pictures[enough]


def _numbered(pictures: np.ndarray, room: SimRoom) -> np.ndarray:
    """Camera index of each of the room's pictures, -1 for those left out."""
    camera_of = np.full(len(room.pictures), -1)
    camera_of[pictures] = np.arange(len(pictures))
    return camera_of


def _lens_params(lens) -> np.ndarray:
    return np.array([lens.focal_px, lens.center_x_px, lens.center_y_px, *lens.distortion, 0.0])


def _turn(corners_m: np.ndarray) -> np.ndarray:
    """face_from_sheet of corners in order (x right, y into the wall, z up)."""
    right, up = corners_m[1] - corners_m[0], corners_m[0] - corners_m[3]
    right, up = right / np.linalg.norm(right), up / np.linalg.norm(up)
    return np.stack([right, np.cross(up, right), up], axis=1)


def _clean_tracks(room: SimRoom, camera_of: np.ndarray) -> tuple[PixelObservations, np.ndarray]:
    """Observations of tracks seen twice or more that stay on one spot, and the spots."""
    tracks = room.tracks
    spoilt = np.bincount(tracks.track, tracks.gross) > 0
    keep = (camera_of[tracks.picture] >= 0) & ~spoilt[tracks.track]
    keep &= np.bincount(tracks.track[keep], minlength=len(spoilt))[tracks.track] >= 2
    _, first, thing = np.unique(tracks.track[keep], return_index=True, return_inverse=True)
    obs = _observations(camera_of, tracks.picture, tracks.track, tracks.xy_px, tracks.sigma_px).only(
        keep[camera_of[tracks.picture] >= 0]
    )
    obs = replace(obs, thing_idx=thing, sigma_px=np.full(len(obs), TRACK_SIGMA_PX))
    return obs, tracks.spot[keep][first]


def _observations(camera_of, picture, thing, xy_px, sigma_px) -> PixelObservations:
    keep = camera_of[picture] >= 0
    return PixelObservations(
        camera_idx=camera_of[picture[keep]], thing_idx=thing[keep], xy_px=xy_px[keep], sigma_px=sigma_px[keep]
    )


def _faces_along(u: Unknowns, joints, stray) -> tuple[np.ndarray, np.ndarray]:
    """Faces set one after the other, each off its corner with the spread that the joint states."""
    rotation, translation_m = u.face_rotation.copy(), u.face_translation_m.copy()
    for joint in joints:
        before = rotation[joint.face_idx]
        off_rad = stray(np.zeros(3), (joint.sigma_lean_rad, joint.sigma_lean_rad, joint.sigma_turn_rad))
        off_m = stray(np.zeros(3), (joint.sigma_length_m, joint.sigma_across_m, joint.sigma_across_m))
        turn = exp_rotation(np.array([[0, 0, joint.corner_rad - np.pi]]))[0]
        rotation[joint.next_idx] = exp_rotation((before @ off_rad)[None])[0] @ before @ turn
        end_m = translation_m[joint.face_idx] + before @ [joint.length_m, 0, 0]
        translation_m[joint.next_idx] = end_m + before @ off_m
    return rotation, translation_m


def _exact(scene: Scene, u: Unknowns) -> tuple[PixelObservations, PixelObservations, PixelObservations]:
    """The observations with pixels projected without noise, by the simulator's own lenses."""
    room = scene.room

    def pixels(obs: PixelObservations, points_m: np.ndarray) -> PixelObservations:
        xy = np.empty(points_m.shape[:-1] + (2,))
        for camera in np.unique(obs.camera_idx):
            rows = obs.camera_idx == camera
            in_camera = points_m[rows] @ u.camera_rotation[camera].T + u.camera_translation_m[camera]
            lens = room.lenses[room.pictures.lens[scene.picture_idx[camera]]]
            xy[rows] = lens.project(in_camera.reshape(-1, 3)).reshape(xy[rows].shape)
        return replace(obs, xy_px=xy)

    def on_face(face_idx: np.ndarray, points_m: np.ndarray) -> np.ndarray:
        return np.array(
            [p @ u.face_rotation[f].T + u.face_translation_m[f] for f, p in zip(face_idx, points_m, strict=True)]
        )

    half_m = room.markers.size_m / 2 * np.exp(u.marker_log_scale)
    sheets_m = (half_m[:, None, None] * SHEET_CORNERS) @ u.marker_rotation.transpose(0, 2, 1)
    sheets_m = sheets_m + u.marker_place_m[:, None]
    of_marker, of_mark = scene.corners.thing_idx, scene.clicks.thing_idx
    return (
        pixels(scene.tracks, u.point_m[scene.tracks.thing_idx]),
        pixels(scene.corners, on_face(room.markers.face_idx[of_marker], sheets_m[of_marker])),
        pixels(scene.clicks, on_face(room.references.spots.face_idx[of_mark], u.reference_place_m[of_mark])),
    )
