"""How true an elevation picture of a rendered room is: where its pixels, edges and sheets really lie."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np

from asbuilt.answers.coverage import WELL, coverage_of
from asbuilt.geometry.cameras import Camera, Lens
from asbuilt.geometry.frames import BUILDING, Rigid3, camera_frame, face_frame
from asbuilt.record import Media, Picture, Record
from asbuilt.record.elevation_row import Elevation
from asbuilt.record.frames import building_from_faces
from asbuilt.steps.elevation_map import NO_PICTURE, painted_with, picture_numbers
from tests.rooms.rendered import videos_of

INCH_M = 0.0254
WINDOW_M = 3 * INCH_M  # height of stud over which an edge is measured
REACH_M = 0.5 * INCH_M  # how far from its true place an edge is looked for
STRONG = 0.5  # an edge has at least this share of the steepest step in reach
FAINT_LEVELS = 4.0  # steps below this, of 255 per pixel, are no edge


def _rotation(rows) -> np.ndarray:
    u, _, vt = np.linalg.svd(np.array(rows))
    return u @ vt


def true_camera(record: Record, picture: Picture, told: dict) -> Camera:
    """The camera that rendered a picture, in the frame of the truth."""
    media = record.get(Media, picture.media_id)
    if picture.pts_s is None:
        source = next(p for p in told["photos"] if p["file"] == media.name)
        lens = source["intrinsics"]
    else:
        video = videos_of(told)[media.name]
        source = min(video["frames"], key=lambda f: abs(f["time_s"] - picture.pts_s))
        lens = video["intrinsics"]
    params = (lens["fx"], lens["cx"], lens["cy"], *lens["dist"])
    pose = Rigid3(target=camera_frame(picture.id), source=BUILDING, rotation=_rotation(source["R"]),
                  translation_m=np.array(source["t"]))  # fmt: skip
    return Camera(lens=Lens.from_params(picture.width_px, picture.height_px, params), camera_from_building=pose)


def true_face(told: dict, face_id: str) -> Rigid3:
    """``building_from_face`` in the frame of the truth."""
    wall = next(w for w in told["walls"] if w["id"] == face_id)
    axes = [wall[k] for k in ("axis_x", "axis_y", "axis_z")]
    return Rigid3(target=BUILDING, source=face_frame(face_id), rotation=np.stack(axes, axis=1),
                  translation_m=np.array(wall["origin"]))  # fmt: skip


def place_errors_m(record: Record, row: Elevation, told: dict, step: int = 4) -> np.ndarray:
    """For spots of an elevation, how far it shows them from where they truly are on its plane.

    Each spot is followed to the pixel of the picture that shows it, and from there along the
    ray of the camera that was rendered.

    Returns
    -------
    ndarray of shape (N, 4)
        Offset and height of the spot in the elevation, error of offset and of height [m].
    """
    poses, painted, number = building_from_faces(record), painted_with(record, row), picture_numbers(row)
    z, x = np.mgrid[0 : row.rows : step, 0 : row.cols : step]
    number, x_m, z_m = number[z, x].ravel(), (x.ravel() + 0.5) * row.cell_m, (z.ravel() + 0.5) * row.cell_m
    face = true_face(told, row.face_id)
    found = []
    for k, picture_id in enumerate(row.layers["picture_ids"]):
        mine = number == k
        if not mine.any():
            continue
        points = np.stack([x_m[mine], np.full(mine.sum(), row.depth_m), z_m[mine]], axis=1)
        pixels = painted[picture_id].project(poses[row.face_id].apply(points))
        camera = true_camera(record, record.get(Picture, picture_id), told)
        start = face.inverse().apply(camera.center_building_m[None])[0]
        ray = face.inverse().rotate(camera.rays_building(pixels))
        true = start + (row.depth_m - start[1]) / ray[:, 1:2] * ray
        shown = points[:, [0, 2]]
        found.append(np.hstack([shown, shown - true[:, [0, 2]]]))
    assert (number != NO_PICTURE).any()
    return np.concatenate(found)


def well_recorded(record: Record, face_id: str, spots: np.ndarray) -> np.ndarray:
    """Which spots (N, 2+) of a face, by offset and height [m], are called well recorded, (N,)."""
    cover = coverage_of(record, face_id)
    col, row = (
        np.minimum((spots[:, k] / cover.cell_m).astype(int), n - 1) for k, n in enumerate(cover.classes.T.shape)
    )
    return cover.classes[row, col] == WELL


def vertical_bends_m(spots: np.ndarray) -> np.ndarray:
    """How far true verticals at every 2 in of offset stray from a straight line in an elevation.

    Of each vertical that is known over at least 4 ft, what 95 % of its spots stay within, shape (N,) [m].

    Parameters
    ----------
    spots : ndarray of shape (N, 4)
        As of :func:`place_errors_m`.
    """
    bends = []
    for offset_m in np.unique(spots[:, 0]):
        height_m, error_m = spots[spots[:, 0] == offset_m][:, [1, 2]].T
        if np.ptp(height_m) > 48 * INCH_M:
            line = np.polyval(np.polyfit(height_m, error_m, 1), height_m)
            bends.append(np.percentile(np.abs(error_m - line), 95))
    return np.array(bends)


@dataclass(frozen=True, slots=True, kw_only=True)
class StudEdge:
    """One edge of a stud measured at several heights."""

    stud_id: str
    side: int  # -1 left, +1 right
    heights_m: np.ndarray
    errors_m: np.ndarray  # measured offset less true offset

    @property
    def bend_m(self) -> float:
        """How far it strays from a straight line, at 95 % of its heights [m]."""
        line = np.polyval(np.polyfit(self.heights_m, self.errors_m, 1), self.heights_m)
        return float(np.percentile(np.abs(self.errors_m - line), 95))


def stud_edges(image: np.ndarray, px_per_m: float, wall: dict, left_px: float = 0.0) -> Iterator[StudEdge]:
    """Edges of the front of each full-height stud, as found in a picture of its face.

    Of the steep steps within reach of where the edge should be the nearest counts: beside it
    the far edge of the stud's side may show.

    Parameters
    ----------
    image : ndarray of shape (H, W, 3)
        Bottom row at height 0, column ``left_px`` at offset 0.
    """
    luma = cv2.GaussianBlur(image, (5, 1), 0).astype(np.float32)
    step_x = np.abs(luma[:, 2:] - luma[:, :-2]).mean(axis=2) / 2
    for stud in wall["studs"]:
        if stud["z1"] - stud["z0"] < 0.8 * wall["height"]:
            continue
        for side in (-1, 1):
            true_m = stud["x"] + side * wall["stud_width"] / 2
            edge = _edge(step_x, px_per_m, stud, true_m, image.shape[0], left_px)
            if len(edge) >= 6:
                yield StudEdge(stud_id=stud["id"], side=side, heights_m=edge[:, 0], errors_m=edge[:, 1])


def _edge(step_x: np.ndarray, px_per_m: float, stud: dict, true_m: float, rows: int, left_px: float) -> np.ndarray:
    """(height, error) of an edge in each window of height where there is one."""
    at = true_m * px_per_m - 0.5 - 1 + left_px  # column of step_x at the true place
    reach = REACH_M * px_per_m
    first, last = int(np.ceil(at - reach)), int(np.floor(at + reach))
    if first < 0 or last >= step_x.shape[1]:
        return np.zeros((0, 2))
    found = []
    for bottom_m in np.arange(stud["z0"], stud["z1"] - WINDOW_M, WINDOW_M):
        top = int(rows - (bottom_m + WINDOW_M) * px_per_m)
        profile = step_x[max(top, 0) : int(top + WINDOW_M * px_per_m), first : last + 1].mean(axis=0)
        peaks = [
            k for k in range(1, len(profile) - 1)
            if profile[k] >= max(profile[k - 1], profile[k + 1], STRONG * profile.max(), FAINT_LEVELS)
        ]  # fmt: skip
        if peaks:
            k = min(peaks, key=lambda k: abs(first + k - at))
            found.append((bottom_m + WINDOW_M / 2, (first + k + _vertex(profile[k - 1 : k + 2]) - at) / px_per_m))
    return np.array(found).reshape(-1, 2)


def _vertex(three: np.ndarray) -> float:
    """Where the parabola through three values has its top, from the middle one."""
    bend = three[0] - 2 * three[1] + three[2]
    return 0.0 if bend == 0 else float(0.5 * (three[0] - three[2]) / bend)


def sheet_corners(image: np.ndarray) -> dict[int, np.ndarray]:
    """Corners (4, 2) [px] of the marker sheets that can be read in a picture, by number."""
    detector = cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36H11))
    detector.setDetectorParameters(_corner_parameters())
    corners, ids, _ = detector.detectMarkers(image)
    return {} if ids is None else {int(i): c[0] for i, c in zip(ids.ravel(), corners, strict=True)}


def _corner_parameters() -> cv2.aruco.DetectorParameters:
    parameters = cv2.aruco.DetectorParameters()
    parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    return parameters


def sheets_of(told: dict, face_id: str) -> dict[int, np.ndarray]:
    """True corners (4, 2) of the sheets on a face as (offset, height) [m], by number."""
    return {m["id"]: np.array(m["corners_wall"])[:, [0, 2]] for m in told["markers"] if m["wall"] == face_id}
