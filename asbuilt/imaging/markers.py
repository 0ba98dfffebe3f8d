"""Marker sheets in one picture: which ids, and their corners to a fraction of a pixel."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import cv2
import numpy as np

DICTIONARIES = {"AprilTag 36h11": cv2.aruco.DICT_APRILTAG_36h11}
PROFILE_HALF_PX = 4.0  # how far either side of an edge its profile is sampled
PROFILE_STEP_PX = 0.25
RIM_PX = 12  # of the picture round the rough corners: a profile's half and what rough corners are off
ROUNDS = 4  # from corners a pixel off, a blurred edge of a small sheet is reached by then
ALONG_SHARE = (0.12, 0.88)  # part of a side that is used, clear of the corners


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkerSeen:
    """A marker in a picture.

    ``corners_px`` has shape (4, 2): top left, top right, bottom right, bottom left of the
    black square as printed. ``sigma_px`` is one standard deviation of each coordinate.
    """

    id: int
    corners_px: np.ndarray
    sigma_px: float


_LINEAR_LIGHT = np.float32(255 * (np.arange(256) / 255) ** 2.2)  # the usual display curve


@cache
def _detector(dictionary: str) -> cv2.aruco.ArucoDetector:
    parameters = cv2.aruco.DetectorParameters()
    parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_NONE
    return cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(DICTIONARIES[dictionary]), parameters)


def detect_markers(
    gray: np.ndarray, dictionary: str = "AprilTag 36h11", smoothed_in_code: bool = False
) -> list[MarkerSeen]:
    """Find marker sheets.

    Parameters
    ----------
    gray : ndarray of shape (H, W), uint8
        One picture as displayed.
    dictionary : str
        A key of ``DICTIONARIES``.
    smoothed_in_code : bool
        Its edges were smoothed by coding more than by blur, as in dark pictures.

    Returns
    -------
    list of MarkerSeen
        In the order of their ids; the same id twice in one picture is left out.
    """
    quads, ids, _ = _detector(dictionary).detectMarkers(gray)
    seen: dict[int, list[MarkerSeen]] = {}
    for quad, marker_id in zip(quads, [] if ids is None else ids.ravel(), strict=True):
        refined = refine_corners(gray, quad[0].astype(float), smoothed_in_code)
        if refined is not None:
            corners, sigma = refined
            found = MarkerSeen(id=int(marker_id), corners_px=corners, sigma_px=sigma)
            seen.setdefault(found.id, []).append(found)
    return [found[0] for _, found in sorted(seen.items()) if len(found) == 1]


def refine_corners(
    gray: np.ndarray, corners_px: np.ndarray, smoothed_in_code: bool = False
) -> tuple[np.ndarray, float] | None:
    """Corners of a dark square as the intersections of lines fitted to its four edges.

    Parameters
    ----------
    gray : ndarray of shape (H, W), uint8
    corners_px : ndarray of shape (4, 2)
        Rough corners in order round the square [px].
    smoothed_in_code : bool
        As for ``detect_markers``.

    Returns
    -------
    tuple of (ndarray of shape (4, 2), float) or None
        Corners and their one-sigma [px]; None if an edge is not a clear straight line.
    """
    # Blur mixes light, not code values, and so does what lies between two pixels: in linear light
    # a blurred edge stays where it was. Coding mixes code values: in a dark stretch of a rendered
    # H.264 clip squares of 88 px came out 1.4 px too large in light, 0.0 px in code values.
    first = np.clip(np.floor(corners_px.min(axis=0)).astype(int) - RIM_PX, 0, np.array(gray.shape[::-1]) - 1)
    last = np.maximum(np.ceil(corners_px.max(axis=0)).astype(int) + RIM_PX, first + 1)
    light = gray[first[1] : last[1], first[0] : last[0]]
    light = light.astype(np.float32) if smoothed_in_code else cv2.LUT(light, _LINEAR_LIGHT)
    corners_px = corners_px - first
    for _ in range(ROUNDS):
        lines, residuals = [], []
        sides = np.linalg.norm(np.roll(corners_px, -1, axis=0) - corners_px, axis=1)
        for k in range(4):
            across = min(sides[k - 1], sides[(k + 1) % 4])
            line = _edge_line(light, corners_px[k], corners_px[(k + 1) % 4], across)
            if line is None:
                return None
            lines.append(line[0])
            residuals.append(line[1])
        corners_px = np.array([np.cross(lines[k - 1], lines[k]) for k in range(4)])
        if np.abs(corners_px[:, 2]).min() < 1e-9:
            return None
        corners_px = corners_px[:, :2] / corners_px[:, 2:]
    # The scatter of single edge samples overstates the error of a fitted line but not by
    # much that of a whole square whose print, paper and light are imperfect.
    return corners_px + first, float(np.clip(np.sqrt(np.mean(np.square(residuals))), 0.1, 1.5))


def _edge_line(light: np.ndarray, start: np.ndarray, end: np.ndarray, across: float) -> tuple[np.ndarray, float] | None:
    """Homogeneous line (unit normal) through the dark-to-light edge between two corners, and its scatter [px].

    ``across`` is how long the square looks square to the edge: its black rim is an eighth of that wide.
    """
    along = end - start
    length = float(np.hypot(*along))
    if length < 8:
        return None
    along = along / length
    normal = np.array([along[1], -along[0]])
    half = min(PROFILE_HALF_PX, 0.09 * across)
    steps = np.arange(-half, half + 1e-9, PROFILE_STEP_PX)
    shares = np.linspace(*ALONG_SHARE, int(np.clip(length, 8, 60)))
    base = start + shares[:, None] * (end - start)
    points = base[:, None] + steps[None, :, None] * normal
    profile = cv2.remap(
        light, points[..., 0].astype(np.float32), points[..., 1].astype(np.float32), cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )  # fmt: skip
    slope = np.abs(np.diff(profile, axis=1))
    slope[slope < 0.2 * slope.max(axis=1, keepdims=True)] = 0
    weight = slope.sum(axis=1)
    strong = weight > 20
    if strong.sum() < 6:
        return None
    shift = (slope @ (steps[:-1] + PROFILE_STEP_PX / 2))[strong] / weight[strong]
    return _fit_line(base[strong] + shift[:, None] * normal)


def _fit_line(points: np.ndarray) -> tuple[np.ndarray, float] | None:
    """Total least squares line through points, outliers dropped once."""
    for last in (False, True):
        center = points.mean(axis=0)
        _, _, axes = np.linalg.svd(points - center)
        normal = axes[1]
        residual = (points - center) @ normal
        spread = 1.4826 * np.median(np.abs(residual)) + 1e-3
        if last:
            return np.array([*normal, -normal @ center]), float(residual.std())
        points = points[np.abs(residual) < 3 * spread]
        if len(points) < 6:
            return None
    return None
