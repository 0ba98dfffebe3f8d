"""Cameras of a simulated room: a person walking past the faces with a phone, and stills."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.ndimage import gaussian_filter1d

from tests.rooms.building import FT_M, SimFace

FILM_DIAGONAL_MM = float(np.hypot(36, 24))
CORNER_LOOK_RAD = np.radians(28)  # how far a walker turns towards the corners at a face's ends


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SimLens:
    """A lens: truth, and the focal length that the file's whole 35-mm equivalent suggests."""

    width_px: int
    height_px: int
    focal_px: float
    center_x_px: float
    center_y_px: float
    distortion: np.ndarray  # (4,) k1, k2, p1, p2
    prior_focal_px: float

    def project(self, points_camera_m: np.ndarray) -> np.ndarray:
        """Pixels (N, 2) of camera points (N, 3); NaN behind the camera."""
        z = np.where(points_camera_m[:, 2] > 1e-6, points_camera_m[:, 2], np.nan)
        x, y = points_camera_m[:, 0] / z, points_camera_m[:, 1] / z
        k1, k2, p1, p2 = self.distortion
        r2 = x * x + y * y
        radial = 1 + k1 * r2 + k2 * r2 * r2
        u = x * radial + 2 * p1 * x * y + p2 * (r2 + 2 * x * x)
        v = y * radial + p1 * (r2 + 2 * y * y) + 2 * p2 * x * y
        return np.stack([u * self.focal_px + self.center_x_px, v * self.focal_px + self.center_y_px], axis=1)

    @property
    def half_diagonal(self) -> float:
        """Half the picture's diagonal over the focal length."""
        return float(np.hypot(self.width_px, self.height_px)) / 2 / self.focal_px


def make_lens(width_px: int, height_px: int, rng: np.random.Generator) -> SimLens:
    """A phone's main camera: 23.5 to 28 mm equivalent, distortion of a few pixels at the edge."""
    film_mm = rng.uniform(23.5, 28)
    diagonal = float(np.hypot(width_px, height_px))
    return SimLens(
        width_px=width_px,
        height_px=height_px,
        focal_px=film_mm * diagonal / FILM_DIAGONAL_MM,
        center_x_px=(width_px - 1) / 2 + rng.normal(0, 0.004) * width_px,
        center_y_px=(height_px - 1) / 2 + rng.normal(0, 0.004) * width_px,
        distortion=rng.normal([0.03, -0.035, 0, 0], [0.02, 0.015, 0.0004, 0.0004]),
        prior_focal_px=round(film_mm) * diagonal / FILM_DIAGONAL_MM,
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pictures:
    """F pictures; ``x_camera = rotation @ x_building + translation_m``."""

    clip: np.ndarray  # (F,) -1 for stills
    lens: np.ndarray  # (F,) index of the lens
    time_s: np.ndarray  # (F,) NaN for stills
    aimed_face: np.ndarray  # (F,) face being walked along
    rotation: np.ndarray  # (F, 3, 3)
    translation_m: np.ndarray  # (F, 3)
    blurred: np.ndarray  # (F,) bool
    dark: np.ndarray  # (F,) bool

    def __len__(self) -> int:
        return len(self.clip)

    @property
    def centers_m(self) -> np.ndarray:
        """Where the cameras stood in the building frame, (F, 3)."""
        return -np.einsum("fji,fj->fi", self.rotation, self.translation_m)

    @property
    def usable(self) -> np.ndarray:
        """(F,) neither blurred nor dark."""
        return ~(self.blurred | self.dark)


def join_pictures(parts: Sequence[Pictures]) -> Pictures:
    """One list of pictures out of several."""
    names = ("clip", "lens", "time_s", "aimed_face", "rotation", "translation_m", "blurred", "dark")
    return Pictures(**{n: np.concatenate([getattr(p, n) for p in parts]) for n in names})


def camera_rotations(yaw_rad: np.ndarray, pitch_rad: np.ndarray, roll_rad: np.ndarray) -> np.ndarray:
    """camera_from_building (F, 3, 3) for a heading from +x towards +y, pitch up, roll clockwise."""
    zero = np.zeros_like(yaw_rad)
    cos_p = np.cos(pitch_rad)
    ahead = np.stack([cos_p * np.cos(yaw_rad), cos_p * np.sin(yaw_rad), np.sin(pitch_rad)], axis=1)
    right = np.stack([np.sin(yaw_rad), -np.cos(yaw_rad), zero], axis=1)
    down = np.cross(ahead, right)
    cos_r, sin_r = np.cos(roll_rad)[:, None], np.sin(roll_rad)[:, None]
    return np.stack([cos_r * right + sin_r * down, cos_r * down - sin_r * right, ahead], axis=1)


def wander(count: int, sigma: float, smooth: float, rng: np.random.Generator) -> np.ndarray:
    """A smooth random curve (count,) with the given spread; ``smooth`` in samples."""
    pad = int(4 * smooth) + 4
    curve = gaussian_filter1d(rng.normal(size=count + 2 * pad), max(smooth, 1e-3))[pad : pad + count]
    return curve * sigma * np.sqrt(2 * np.sqrt(np.pi) * max(smooth, 0.2821))


def room_depth_m(faces: Sequence[SimFace], face: SimFace, closed: bool) -> float:
    """How much room there is in front of a face [m]; unbounded where faces do not close."""
    if not closed:
        return np.inf
    return float(-min(face.to_face(other.origin_m)[1] for other in faces))


def _stations(faces, closed, rng) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Way points (2F, 2) in the building, headings and durations before them, and faces."""
    distances = [min(rng.uniform(5, 9) * FT_M, 0.62 * room_depth_m(faces, f, closed)) for f in faces]
    speed = rng.uniform(0.3, 0.45)
    points, headings, seconds, of_face = [], [], [], []
    for k, face in enumerate(faces):
        before = distances[k - 1] * 0.6 if k or closed else 0.4
        after = distances[(k + 1) % len(faces)] * 0.6 if k + 1 < len(faces) or closed else 0.4
        if before + after > face.length_m - 0.3:
            before = after = face.length_m / 2 - 0.15
        into = np.arctan2(face.rotation[1, 1], face.rotation[0, 1])
        for x, look in ((before, CORNER_LOOK_RAD), (before + 0.15 * face.length_m, 0), (-1, 0), (-2, -CORNER_LOOK_RAD)):
            if x < 0:
                x = face.length_m - after - (0.15 * face.length_m if x == -1 else 0)
            points.append(face.to_building(np.array([x, -distances[k], 0]))[:2])
            headings.append(into + look)
            of_face.append(k)
    points = np.array(points)
    steps = np.linalg.norm(np.diff(points, axis=0), axis=1)
    turning = np.diff(np.array(of_face)) > 0
    seconds = np.where(turning, np.maximum(3.0, steps / speed), np.maximum(0.6, steps / speed))
    return points, np.unwrap(np.array(headings)), np.concatenate([[0], seconds]), np.array(of_face)


def _gaps(count: int, frames_per_s: float, gaps: bool, rng) -> tuple[np.ndarray, np.ndarray]:
    """Which frames are blurred and dark: single shakes, and one longer stretch of each."""
    blurred, dark = np.zeros(count, dtype=bool), np.zeros(count, dtype=bool)
    if not gaps:
        return blurred, dark
    blurred |= rng.uniform(size=count) < 0.02
    for flags, low_s, high_s in ((blurred, 0.6, 1.3), (dark, 1.0, 2.2)):
        length = max(1, round(rng.uniform(low_s, high_s) * frames_per_s))
        start = rng.integers(count // 8, max(count // 8 + 1, count - count // 8 - length))
        flags[start : start + length] = True
    return blurred, dark


def walk(faces, closed: bool, clip: int, lens: int, frames_per_s: float, gaps: bool, rng) -> Pictures:
    """Once past all the faces, left to right, 5 to 9 ft from them where the room allows.

    The phone nods up and down, looks into the corners, bobs with the step and shakes.
    """
    points, headings, seconds, of_face = _stations(faces, closed, rng)
    clock = np.cumsum(seconds)
    time_s = np.arange(0, clock[-1], 1 / frames_per_s)
    count, rate = len(time_s), frames_per_s
    place = np.stack([np.interp(time_s, clock, points[:, i]) for i in range(2)], axis=1)
    place = gaussian_filter1d(place, 0.5 * rate, axis=0, mode="nearest")
    yaw = gaussian_filter1d(np.interp(time_s, clock, headings), 0.5 * rate, mode="nearest")
    yaw = yaw + wander(count, np.radians(7), 1.2 * rate, rng) + rng.normal(0, np.radians(0.4), count)
    nod = np.radians(rng.uniform(6, 13)) * np.sin(2 * np.pi * time_s / rng.uniform(5, 9) + rng.uniform(0, 6.28))
    pitch = np.radians(rng.uniform(-5, 0)) + nod + wander(count, np.radians(3), rate, rng)
    pitch = pitch + rng.normal(0, np.radians(0.4), count)
    roll = wander(count, np.radians(2), rate, rng) + rng.normal(0, np.radians(0.3), count)
    bob = 0.02 * np.sin(2 * np.pi * 1.8 * time_s)
    z = rng.uniform(4.4, 5.6) * FT_M + bob + wander(count, 0.04, 2 * rate, rng)
    hand = np.stack([wander(count, 0.015, 0.4 * rate, rng) for _ in range(2)], axis=1)
    centers = np.concatenate([place + hand, z[:, None]], axis=1)
    blurred, dark = _gaps(count, rate, gaps, rng)
    rotation = camera_rotations(yaw, pitch, roll)
    return Pictures(
        clip=np.full(count, clip),
        lens=np.full(count, lens),
        time_s=time_s,
        aimed_face=np.interp(time_s, clock, of_face).round().astype(int),
        rotation=rotation,
        translation_m=-np.einsum("fij,fj->fi", rotation, centers),
        blurred=blurred,
        dark=dark,
    )


def stills(faces, closed: bool, per_face: int, lens: int, rng) -> Pictures:
    """Single photos of each face from 6 to 9 ft, aimed at a spot of it a little from the side."""
    aimed = np.repeat(np.arange(len(faces)), per_face)
    centers, yaw = np.zeros((len(aimed), 3)), np.zeros(len(aimed))
    for k, f in enumerate(aimed):
        face = faces[f]
        away = min(rng.uniform(6, 9) * FT_M, 0.7 * room_depth_m(faces, face, closed))
        x = face.length_m * ((k % per_face) + rng.uniform(0.35, 0.65)) / per_face
        turn = rng.normal(0, np.radians(8))
        spot = np.array([x - away * np.tan(turn), -away, rng.uniform(4.4, 5.6) * FT_M])
        spot[0] = np.clip(spot[0], 0.3, face.length_m - 0.3)
        centers[k] = face.to_building(spot)
        yaw[k] = np.arctan2(face.rotation[1, 1], face.rotation[0, 1]) - turn
    count = len(aimed)
    rotation = camera_rotations(yaw, np.radians(rng.uniform(-7, 2, count)), rng.normal(0, np.radians(1.5), count))
    return Pictures(
        clip=np.full(count, -1),
        lens=np.full(count, lens),
        time_s=np.full(count, np.nan),
        aimed_face=aimed,
        rotation=rotation,
        translation_m=-np.einsum("fij,fj->fi", rotation, centers),
        blurred=np.zeros(count, dtype=bool),
        dark=np.zeros(count, dtype=bool),
    )
