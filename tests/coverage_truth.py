"""How true the coverage of a face is: holes that are there listed, what is recorded not called missing."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from asbuilt.answers.coverage import NOT_RECORDED, OPENING, POOR, FaceCoverage, Shortfall
from asbuilt.record import Media, Picture, Record
from tests.elevation_truth import INCH_M, true_camera, true_face
from tests.rooms.rendered import videos_of

HOLE_M = 6 * INCH_M
LISTED_SHARE = 0.9  # of a hole's six-inch squares; the rest may be lost to the width of a cell
# Truth counts pictures up to 60 degrees off square-on; what fewer than two of them show is poor.
WELL_COUNT, WELL_PX_PER_IN = 2, 8


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Truth:
    """What the pictures of a face truly show, by whole cells of ``step_m`` from its lower left corner.

    ``pictures`` see the cell at all; ``good`` of them neither dark nor blurred; ``good_under_60``
    of those at less than 60 degrees.
    """

    step_m: float
    pictures: np.ndarray
    good: np.ndarray
    good_under_60: np.ndarray
    best_px_per_in: np.ndarray

    @property
    def kinds(self) -> dict[str, np.ndarray]:
        """The cells of each kind of hole."""
        return {
            "not seen": self.pictures == 0,
            "only dark or blurred": (self.pictures > 0) & (self.good == 0),
            "only oblique": (self.good > 0) & (self.good_under_60 == 0),
        }

    @property
    def well(self) -> np.ndarray:
        """The cells that are well recorded beyond doubt."""
        return (self.good_under_60 >= WELL_COUNT) & (self.best_px_per_in >= WELL_PX_PER_IN)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Eye:
    """A true camera, in the frame of a face."""

    center_m: np.ndarray  # (3,)
    pixels: Callable[[np.ndarray], np.ndarray]  # of face points (N, 3), NaN behind the camera
    ahead_m: Callable[[np.ndarray], np.ndarray]  # distance along the optical axis, (N,)
    size_px: tuple[int, int]
    focal_px: float
    good: bool  # neither dark nor blurred


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Wall:
    """The true size of a face and its true studs."""

    length_m: float
    height_m: float
    stud_depth_m: float
    stud_edges_m: np.ndarray  # (S, 4) left, right, bottom, top


def shown_by(eyes: Iterable[Eye], wall: Wall, step_m: float, into_cavity: bool) -> Truth:
    """What some pictures truly show of a face: of the plane of its studs, or of the wood and the cavity between.

    A spot of the cavity lies where cable does, a little behind its middle, and is seen only
    where no true stud stands in the way.
    """
    shape = tuple(int(m / step_m + 1e-6) for m in (wall.height_m, wall.length_m))
    z, x = ((np.indices(shape) + 0.5) * step_m).reshape(2, -1)
    points = np.stack([x, np.zeros_like(x), z], axis=1)
    if into_cavity:
        points[~_behind_wood(wall, x, z), 1] = 0.6 * wall.stud_depth_m
    counts = np.zeros((4, len(points)))
    for eye in eyes:
        pixels = np.nan_to_num(eye.pixels(points), nan=-1e9)
        inside = ((pixels >= 0) & (pixels <= np.array(eye.size_px) - 1)).all(axis=1) & (eye.center_m[1] < 0)
        ray = points - eye.center_m
        if into_cavity:
            inside &= _way_open(wall, points, ray)
        cosine = np.abs(ray[:, 1]) / np.linalg.norm(ray, axis=1)
        good = inside & eye.good
        counts[:3] += inside, good, good & (cosine > 0.5)
        counts[3] = np.maximum(counts[3], np.where(good, eye.focal_px / eye.ahead_m(points) * cosine * INCH_M, 0))
    pictures, good, under_60, finest = counts.reshape(4, *shape)
    return Truth(step_m=step_m, pictures=pictures, good=good, good_under_60=under_60, best_px_per_in=finest)


def _behind_wood(wall: Wall, x: np.ndarray, z: np.ndarray) -> np.ndarray:
    left, right, bottom, top = wall.stud_edges_m.T[:, :, None]
    return ((x >= left) & (x <= right) & (z >= bottom) & (z <= top)).any(axis=0)


def _way_open(wall: Wall, points: np.ndarray, ray: np.ndarray, steps: int = 4) -> np.ndarray:
    """Whether no stud stands between a camera and each point, at some depths on the way through the cavity."""
    is_open = np.ones(len(points), bool)
    for share in np.linspace(0, 0.95, steps):
        depth = share * points[:, 1]
        at = points + ((depth - points[:, 1]) / ray[:, 1])[:, None] * ray
        is_open &= (points[:, 1] == 0) | ~_behind_wood(wall, at[:, 0], at[:, 2])
    return is_open


def rendered_wall(told: dict, face_id: str) -> Wall:
    """A face of a rendered room."""
    wall = next(w for w in told["walls"] if w["id"] == face_id)
    half_m = wall["stud_width"] / 2
    edges = [(s["x"] - half_m, s["x"] + half_m, s["z0"], s["z1"]) for s in wall["studs"]]
    return Wall(length_m=wall["length"], height_m=wall["height"], stud_depth_m=wall["stud_depth"],
                stud_edges_m=np.array(edges))  # fmt: skip


def rendered_eyes(record: Record, picture_ids: Sequence[str], told: dict, face_id: str) -> Iterator[Eye]:
    """The cameras that rendered some pictures of a record."""
    face = true_face(told, face_id)
    for picture in record.all(Picture, id=list(picture_ids)):
        camera = true_camera(record, picture, told)
        yield Eye(
            center_m=face.inverse().apply(camera.center_building_m),
            pixels=lambda points, c=camera: c.project(face.apply(points)),
            ahead_m=lambda points, c=camera: c.camera_from_building.apply(face.apply(points))[:, 2],
            size_px=(picture.width_px, picture.height_px), focal_px=camera.lens.focal_px,
            good=not _spoilt(record, told, picture),
        )  # fmt: skip


def _spoilt(record: Record, told: dict, picture: Picture) -> bool:
    if picture.pts_s is None:
        return False
    video = videos_of(told)[record.get(Media, picture.media_id).name]
    flags = min(video["frames"], key=lambda f: abs(f["time_s"] - picture.pts_s))["flags"]
    return flags["blurred"] or flags["dark"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """Of one face: the holes and which of them are not listed; what is well recorded but called missing."""

    squares: dict[str, int]  # 6 in by 6 in squares that are holes through and through, by kind
    unlisted: dict[str, int]
    hole_cells: int
    holes_called_well: int
    missing: dict[str, float]  # share of the face that is well recorded and called not recorded
    poor: dict[str, float]  # likewise, called seen but poor


def judge(cover: FaceCoverage, listed: Sequence[Shortfall], truth: Truth, well: Mapping[str, np.ndarray]) -> Judged:
    """Compare what is said of a face with the truth.

    Parameters
    ----------
    truth : Truth
        Of all pictures that were taken: what they do not show is a hole.
    well : mapping of str to ndarray of bool
        By name, the cells that are well recorded beyond doubt.
    """
    at = (np.indices(truth.pictures.shape) + 0.5) * truth.step_m
    row, col = (np.minimum((a / cover.cell_m).astype(int), n - 1) for a, n in zip(at, cover.classes.shape, strict=True))
    classes = cover.classes[row, col]
    wall = classes != OPENING
    told = np.zeros(truth.pictures.shape, bool)
    for s in listed:
        told |= (at[1] > s.left_m) & (at[1] < s.right_m) & (at[0] > s.bottom_m) & (at[0] < s.top_m)
    side = int(np.ceil(HOLE_M / truth.step_m - 0.1))  # 6 in are just over three cells of 50 mm
    squares, unlisted, holes = {}, {}, np.zeros_like(told)
    anything = np.logical_or.reduce(list(truth.kinds.values()))
    for kind, mask in {**truth.kinds, "of any kind": anything}.items():
        whole, said = _squares(mask & wall, side), _squares_mean(told, side)
        squares[kind], unlisted[kind] = int(whole.sum()), int((whole & (said < LISTED_SHARE)).sum())
        holes |= ndimage.binary_opening(mask & wall, np.ones((side, side)))
    said_of = {
        state: {name: float((mask & wall & (classes == state)).sum() / wall.sum()) for name, mask in well.items()}
        for state in (NOT_RECORDED, POOR)
    }
    return Judged(
        squares=squares, unlisted=unlisted, hole_cells=int(holes.sum()),
        holes_called_well=int((holes & (classes > POOR)).sum()), missing=said_of[NOT_RECORDED], poor=said_of[POOR],
    )  # fmt: skip


def _squares(mask: np.ndarray, side: int) -> np.ndarray:
    return _squares_mean(mask, side) > 1 - 1e-9


def _squares_mean(mask: np.ndarray, side: int) -> np.ndarray:
    """Mean of a mask over every square of ``side`` cells that lies within it."""
    windows = np.lib.stride_tricks.sliding_window_view(mask.astype(float), (side, side))
    return windows.mean(axis=(2, 3))
