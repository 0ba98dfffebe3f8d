"""Move the pictures of a face so that they agree on where its studs stand, as far as the errors of placing allow.

Pictures are placed by marker sheets and tracks, and err by some millimetres, each by its own.
Where one hands over to the next, an upright would have a step. The front of a stud lies on the
plane of the face, so all pictures that show it must show it at the same offset: how far each two
differ is seen in the brightness across it, in windows up its length. The joint solution's
covariance says by how much each camera, lens and face may be off and together with which others;
the most likely corrections under both are taken.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np

from asbuilt.geometry.cameras import Camera, Lens
from asbuilt.geometry.frames import Rigid3
from asbuilt.geometry.posterior import most_likely
from asbuilt.geometry.projection import LENS_SIZE, exp_rotation
from asbuilt.geometry.rectify import Patch, center_face_m, rectify_map, view_of
from asbuilt.imaging.profiles import RIM_PX, shifts_px, standardised
from asbuilt.record.joint import JointCovariance
from asbuilt.steps.elevation_site import INCH_M, Site, Source
from asbuilt.steps.read_off import by_parameters

PX_M = INCH_M / 8
WINDOW_M = 12 * INCH_M  # of the height of a stud, seen as one
BESIDE_M = INCH_M / 4  # of what is beside the stud, so that its edges are in view
FLOOR_M = 4 * INCH_M  # below it things stand on the floor, above the same from the top is the plate
MOST_SLOPE = 1.2  # farther from square-on the side of a stud looks like its front
NEIGHBOURS = 3  # each view is compared with so many next to it in direction: they see the same sides of a stud
# Found on rendered rooms, where it is known: the error of a shift, and how much of it all windows up a stud share.
LEAST_SIGMA_M, UNLIKE_SIGMA_M, MOST_UNLIKE, SHARED = 0.0003, 0.0064, 0.3, 3.0
STUD_SIGMA_M = 0.002  # how far the front of a stud stands off the plane of all (common practice, no source)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Windows:
    """Parts of the fronts of studs, each WINDOW_M high."""

    points_m: np.ndarray  # (W, 3) the middle of each, in the face frame
    stud: np.ndarray  # (W,) number of its stud
    width_m: np.ndarray  # (W,)


def windows_of(site: Site) -> Windows:
    """The windows of all studs of a face that are high enough."""
    points, numbers, widths = [], [], []
    for number, stud in enumerate(site.studs):
        bottom_m = max(stud.bottom_m, FLOOR_M)
        top_m = min(site.face.height_m if stud.top_m is None else stud.top_m, site.face.height_m - FLOOR_M)
        for k in range(int((top_m - bottom_m) / WINDOW_M)):
            points.append((stud.center_m, 0.0, bottom_m + (k + 0.5) * WINDOW_M))
            numbers.append(number)
            widths.append(stud.width_m)
    return Windows(points_m=np.array(points).reshape(-1, 3), stud=np.array(numbers, int), width_m=np.array(widths))


def profiles_of(site: Site, windows: Windows, camera: Camera, image: np.ndarray) -> dict[int, np.ndarray]:
    """The brightness across each window that a picture shows whole, by number of the window."""
    grey, found = None, {}
    slope = view_of(camera, site.building_from_face, windows.points_m, site.walls).slope
    for number in np.flatnonzero(slope <= MOST_SLOPE):
        (x, _, z), reach_m = windows.points_m[number], windows.width_m[number] / 2 + BESIDE_M
        cols, rows = 2 * (round(reach_m / PX_M) + RIM_PX), round(WINDOW_M / PX_M)
        part = Patch(left_m=x - cols * PX_M / 2, top_m=z + rows * PX_M / 2, px_m=PX_M, rows=rows, cols=cols)
        map_x, map_y = rectify_map(camera, site.building_from_face, part)
        if min(map_x.min(), map_y.min()) < 0 or map_x.max() > image.shape[1] - 1 or map_y.max() > image.shape[0] - 1:
            continue
        grey = cv2.cvtColor(image, cv2.COLOR_BGR2GRAY) if grey is None else grey
        found[int(number)] = cv2.remap(grey, map_x, map_y, cv2.INTER_LINEAR).mean(axis=0)
    return found


def aligned(site: Site, sources: Sequence[Source], windows: Windows, profiles: Sequence[dict]) -> list[Source]:
    """The sources with their cameras corrected; unchanged where there is no joint solution of them and the face.

    Parameters
    ----------
    profiles : sequence of dict
        Of each source, as :func:`profiles_of` gives them.
    """
    solutions = Counter(s.placement.solution_id for s in sources)
    solution_id = max(solutions, key=solutions.get, default=None)
    joint = site.joint.get(solution_id)
    if joint is None or site.face.id not in joint.face_column:
        return list(sources)
    mine = [k for k, s in enumerate(sources) if s.placement.solution_id == solution_id]
    moved = _moved(site, joint, [sources[k] for k in mine], windows, [profiles[k] for k in mine])
    found = list(sources)
    for k, camera in zip(mine, moved, strict=True):
        found[k] = replace(found[k], camera=camera)
    return found


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Pairs:
    """Two views of one window each: where they show it differently, and how surely that is known."""

    window: np.ndarray
    first: np.ndarray
    second: np.ndarray
    shift_m: np.ndarray
    sigma_m: np.ndarray
    again: np.ndarray


def _moved(site: Site, joint: JointCovariance, sources: Sequence[Source], windows: Windows, profiles) -> list[Camera]:
    covariance, poses, lenses, face = joint.block([s.placement for s in sources], site.face.id)
    size, studs = len(covariance), len(site.studs)
    slopes = np.stack([_slope(site, s.camera, windows.points_m) for s in sources])
    pairs = _pairs(windows, slopes, profiles)
    by_view = np.zeros((len(sources), len(windows.stud), size))
    for k, own in enumerate(profiles):
        at = np.array(sorted(own), int)
        if len(at):
            place = sources[k].camera, site.building_from_face, windows.points_m[at]
            to_plane, by_joint = by_parameters(*place, size, poses[k], lenses[k], face)
            by_view[k, at] = (to_plane[:, :1] @ by_joint)[:, 0]
    first, second = (pairs.first, pairs.window), (pairs.second, pairs.window)
    design = np.zeros((len(pairs.window), size + studs))
    design[:, :size] = by_view[first] - by_view[second]
    design[np.arange(len(design)), size + windows.stud[pairs.window]] = slopes[first] - slopes[second]
    spread = np.eye(size + studs) * STUD_SIGMA_M**2
    spread[:size, :size] = covariance
    found = most_likely(spread, design, pairs.shift_m, pairs.sigma_m, pairs.again)
    by_face = found[face : face + 6]
    return [
        _corrected(s.camera, site.building_from_face, found[pose : pose + 6], found[lens : lens + LENS_SIZE], by_face)
        for s, pose, lens in zip(sources, poses, lenses, strict=True)
    ]


def _slope(site: Site, camera: Camera, points_m: np.ndarray) -> np.ndarray:
    """How far the ray of a camera through each point runs along the face for one unit of depth."""
    center = center_face_m(camera, site.building_from_face)
    return (points_m[:, 0] - center[0]) / (points_m[:, 1] - center[1])


def _pairs(windows: Windows, slopes: np.ndarray, profiles: Sequence[dict]) -> _Pairs:
    columns = []
    for number in range(len(windows.stud)):
        views = [k for k, own in enumerate(profiles) if number in own]
        if len(views) < 2:
            continue
        views.sort(key=lambda k: slopes[k, number])
        rows = standardised(np.stack([profiles[k][number] for k in views]))
        known = np.isfinite(rows).all(axis=1)
        views, rows = np.array(views)[known], rows[known]
        i, j = np.triu_indices(len(views), 1)
        i, j = i[j - i <= NEIGHBOURS], j[j - i <= NEIGHBOURS]
        if len(i):
            shift_px, unlike = shifts_px(rows[i], rows[j])
            again = np.full(len(i), SHARED * min(2 * NEIGHBOURS, len(views) - 1))
            known = np.isfinite(shift_px) & (unlike < MOST_UNLIKE)
            sigma_m = np.hypot(LEAST_SIGMA_M, UNLIKE_SIGMA_M * unlike)
            pair = np.full(len(i), number), views[i], views[j], shift_px * PX_M, sigma_m, again
            columns.append([c[known] for c in pair])
    names = ("window", "first", "second", "shift_m", "sigma_m", "again")
    joined = [np.concatenate(c) for c in zip(*columns, strict=True)] if columns else [np.zeros(0, int)] * len(names)
    return _Pairs(**dict(zip(names, joined, strict=True)))


def _corrected(camera: Camera, building_from_face: Rigid3, by_pose, by_lens, by_face) -> Camera:
    """A camera with its own correction and that of its lens, and the face's put into its pose.

    So it maps the face where it is known to stand onto the pixels that show it.
    """
    own, face = camera.camera_from_building, building_from_face
    camera_from_building = _turned(own, by_pose)
    pose = camera_from_building @ _turned(face, by_face) @ face.inverse()
    lens = camera.lens
    return Camera(
        lens=Lens.from_params(lens.width_px, lens.height_px, lens.params + by_lens), camera_from_building=pose
    )


def _turned(pose: Rigid3, correction: np.ndarray) -> Rigid3:
    """A transform turned and moved by a small (rotation vector, translation) in its target frame."""
    turn = exp_rotation(correction[None, :3])[0]
    return replace(pose, rotation=turn @ pose.rotation, translation_m=pose.translation_m + correction[3:])
