"""What simulated cameras see: projections with noise, as flat arrays."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tests.rooms.building import SimFace, stud_edges_m
from tests.rooms.contents import Markers, Spots
from tests.rooms.walk import Pictures, SimLens

BORDER_PX = 8.0
FARTHEST_M = 7.0
STEEPEST_RAD = np.radians(75)
DRIFT_STEP_PX = 0.12  # per picture
DRIFT_KEPT = 0.95  # of the drift from one picture to the next: 0.38 px in the long run
SMALLEST_MARKER_PX = 28.0
GONE_WRONG = 0.004  # chance per picture that a track jumps to something else
STRAY = 0.01  # chance that a single observation is wrong
NOMINAL_TRACK_SIGMA_PX = 0.5


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TrackSightings:
    """K observations of T tracks. ``spot`` and ``gross`` are truth, not input."""

    picture: np.ndarray  # (K,)
    track: np.ndarray  # (K,) 0..T-1
    xy_px: np.ndarray  # (K, 2)
    sigma_px: np.ndarray  # (K,) what a tracker would claim
    spot: np.ndarray  # (K,) index of the texture spot
    gross: np.ndarray  # (K,) bool: off by far more than noise, or of a crossing

    def __len__(self) -> int:
        return len(self.picture)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MarkerSightings:
    """K sheets seen; corners in the order of ``Markers``."""

    picture: np.ndarray  # (K,)
    marker: np.ndarray  # (K,) index into Markers
    corners_px: np.ndarray  # (K, 4, 2)
    sigma_px: np.ndarray  # (K,) of a corner, each way


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PointSightings:
    """K clicks on items or taped marks."""

    picture: np.ndarray  # (K,)
    point: np.ndarray  # (K,) index of the spot
    xy_px: np.ndarray  # (K, 2)
    sigma_px: np.ndarray  # (K,)


def project(pictures: Pictures, lenses: Sequence[SimLens], picture: int, points_building_m: np.ndarray) -> np.ndarray:
    """Pixels (N, 2) of building points in one picture; NaN where the lens does not reach."""
    lens = lenses[pictures.lens[picture]]
    camera_m = points_building_m @ pictures.rotation[picture].T + pictures.translation_m[picture]
    with np.errstate(invalid="ignore", divide="ignore"):
        beyond = np.hypot(camera_m[:, 0], camera_m[:, 1]) > 1.3 * lens.half_diagonal * camera_m[:, 2]
        return np.where(beyond[:, None], np.nan, lens.project(camera_m))


def in_picture(xy_px: np.ndarray, lens: SimLens, border_px: float = BORDER_PX) -> np.ndarray:
    """Which pixels lie in the picture, at least ``border_px`` from its edge."""
    with np.errstate(invalid="ignore"):
        high = (lens.width_px - 1 - border_px, lens.height_px - 1 - border_px)
        return ((xy_px >= border_px) & (xy_px <= high)).all(axis=1)


def unhidden(face: SimFace, camera_face_m: np.ndarray, points_face_m: np.ndarray) -> np.ndarray:
    """Which points (N, 3) of a face are seen from a camera: near, not too steep, no stud between."""
    x, y = points_face_m[:, 0], points_face_m[:, 1]
    if camera_face_m[1] > -0.2:
        return np.zeros(len(x), dtype=bool)
    ray = points_face_m - camera_face_m
    distance = np.linalg.norm(ray, axis=1)
    seen = (distance < FARTHEST_M) & (ray[:, 1] > distance * np.cos(STEEPEST_RAD))
    entry = camera_face_m[0] + (x - camera_face_m[0]) * (0 - camera_face_m[1]) / (y - camera_face_m[1])
    edges = np.stack(stud_edges_m(face), axis=1).ravel()
    same_bay = (np.searchsorted(edges, entry) == np.searchsorted(edges, x)) & (np.searchsorted(edges, x) % 2 == 0)
    return seen & ((y < 0.005) | same_bay)


def crossing_spots(face: SimFace, camera_face_m: np.ndarray, points_face_m: np.ndarray) -> np.ndarray:
    """Where the line of sight past a stud's edge meets the thing behind, (N, 3)."""
    moved = points_face_m.copy()
    stretch = (points_face_m[:, 1] - camera_face_m[1]) / -camera_face_m[1]
    moved[:, 0] = camera_face_m[0] + (points_face_m[:, 0] - camera_face_m[0]) * stretch
    return moved


def look(faces, pictures, lenses, picture: int, spots: Spots) -> tuple[np.ndarray, np.ndarray]:
    """Pixels (N, 2) and visibility (N,) of all spots in one picture, without noise."""
    center = pictures.centers_m[picture]
    building, seen = spots.building_m.copy(), np.zeros(len(spots), dtype=bool)
    for f, face in enumerate(faces):
        mine = np.flatnonzero(spots.face_idx == f)
        camera = face.to_face(center)
        seen[mine] = unhidden(face, camera, spots.face_m[mine])
        cross = mine[(spots.kind[mine] == "crossing") & seen[mine]]
        building[cross] = face.to_building(crossing_spots(face, camera, spots.face_m[cross]))
    xy = project(pictures, lenses, picture, building)
    return xy, seen & in_picture(xy, lenses[pictures.lens[picture]])


def track_texture(faces, pictures, lenses, spots: Spots, at_once: int, mean_life: float, rng) -> TrackSightings:
    """Follow texture from frame to frame like a tracker that is topped up to ``at_once`` points.

    Noise: a white part of 0.3 to 0.5 px by track, a drift that grows from nothing at the
    track's start, jumps to something else that then stick, stray single observations. Blurred
    and dark frames, a change of clip and stills break every track.
    """
    count = len(spots)
    track, white, jump = np.full(count, -1), np.zeros(count), np.zeros((count, 2))
    drift, jumped = np.zeros((count, 2)), np.zeros(count, dtype=bool)
    crossing, tracks, parts, last_clip = spots.kind == "crossing", 0, [], None
    for picture in range(len(pictures)):
        clip = pictures.clip[picture]
        if clip < 0 or not pictures.usable[picture] or clip != last_clip:
            track[:] = -1
            last_clip = clip if pictures.usable[picture] else None
            if clip < 0 or last_clip is None:
                continue
        xy, seen = look(faces, pictures, lenses, picture, spots)
        track[~seen | (rng.uniform(size=count) < 1 / mean_life)] = -1
        free = np.flatnonzero(seen & (track < 0))
        fresh = rng.permutation(free)[: max(0, at_once - int((track >= 0).sum()))]
        track[fresh] = tracks + np.arange(len(fresh))
        tracks += len(fresh)
        white[fresh], drift[fresh] = rng.uniform(0.3, 0.5, len(fresh)), 0
        jump[fresh], jumped[fresh] = 0, False
        on = np.flatnonzero(track >= 0)
        wrong = on[rng.uniform(size=len(on)) < GONE_WRONG]
        jump[wrong] += _far_off(len(wrong), rng)
        jumped[wrong] = True
        stray = rng.uniform(size=len(on)) < STRAY
        noise = rng.normal(size=(len(on), 2)) * white[on, None] + drift[on] + jump[on]
        noise[stray] += _far_off(int(stray.sum()), rng)
        gross = stray | jumped[on] | crossing[on]
        parts.append((np.full(len(on), picture), track[on], xy[on] + noise, on, gross))
        drift[on] = drift[on] * DRIFT_KEPT + rng.normal(0, DRIFT_STEP_PX, (len(on), 2))
    picture, track_of, xy, spot, gross = (np.concatenate(column) for column in zip(*parts, strict=True))
    sigma = np.full(len(picture), NOMINAL_TRACK_SIGMA_PX)
    return TrackSightings(picture=picture, track=track_of, xy_px=xy, sigma_px=sigma, spot=spot, gross=gross)


def _far_off(count: int, rng: np.random.Generator) -> np.ndarray:
    """Displacements (count, 2) of 4 to 60 px in any direction."""
    size, way = 4 * (15 ** rng.uniform(size=count)), rng.uniform(0, 2 * np.pi, count)
    return np.stack([size * np.cos(way), size * np.sin(way)], axis=1)


def marker_sigma_px(side_px: np.ndarray | float) -> np.ndarray:
    """Spread of a detected corner, each way, by the sheet's apparent side [px]."""
    return np.hypot(0.15, 10.0 / np.asarray(side_px))


def see_markers(faces, pictures, lenses, markers: Markers, spread_px, rng) -> MarkerSightings:
    """Sheets found in usable pictures; small, steep and cut-off ones are missed.

    ``spread_px`` (one for each lens) pushes every corner outward from the sheet's middle:
    where a detector puts the edge between black and white depends on the phone's tone curve
    and sharpening, alike for all sheets of a clip.
    """
    parts = []
    for picture in np.flatnonzero(pictures.usable):
        lens, clip = lenses[pictures.lens[picture]], max(0, pictures.clip[picture])
        center = pictures.centers_m[picture]
        for m, f in enumerate(markers.face_idx):
            corners = markers.corners_face_m[clip, m]
            camera = faces[f].to_face(center)
            near = corners.mean(axis=0) - camera
            if camera[1] > -0.2 or near[1] < np.linalg.norm(near) * np.cos(STEEPEST_RAD):
                continue
            xy = project(pictures, lenses, picture, faces[f].to_building(corners))
            if not in_picture(xy, lens).all():
                continue
            side = np.linalg.norm(xy - np.roll(xy, 1, axis=0), axis=1).min()
            if side < SMALLEST_MARKER_PX or rng.uniform() < 0.05:
                continue
            sigma = float(marker_sigma_px(side))
            outward = xy - xy.mean(axis=0)
            outward *= spread_px[pictures.lens[picture]] / np.linalg.norm(outward, axis=1, keepdims=True)
            parts.append((picture, m, xy + outward + rng.normal(0, sigma, (4, 2)), sigma))
    columns = list(zip(*parts, strict=True)) if parts else ([], [], [], [])
    return MarkerSightings(
        picture=np.array(columns[0], dtype=int),
        marker=np.array(columns[1], dtype=int),
        corners_px=np.array(columns[2]).reshape(-1, 4, 2),
        sigma_px=np.array(columns[3]),
    )


def click(faces, pictures, lenses, spots: Spots, among, per_spot: int, sigma_px: float, rng) -> PointSightings:
    """A person's clicks on spots, each in up to ``per_spot`` of the pictures ``among`` that show it."""
    among = np.asarray(among, dtype=int)
    views = [look(faces, pictures, lenses, picture, spots) for picture in among]
    parts = []
    for s in range(len(spots)):
        showing = [k for k, (_, seen) in enumerate(views) if seen[s]]
        for k in sorted(rng.permutation(showing)[:per_spot].astype(int)):
            parts.append((among[k], s, views[k][0][s] + rng.normal(0, sigma_px, 2)))
    columns = list(zip(*parts, strict=True)) if parts else ([], [], [])
    return PointSightings(
        picture=np.array(columns[0], dtype=int),
        point=np.array(columns[1], dtype=int),
        xy_px=np.array(columns[2]).reshape(-1, 2),
        sigma_px=np.full(len(parts), sigma_px),
    )
