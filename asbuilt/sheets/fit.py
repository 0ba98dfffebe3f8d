"""One picture's camera from known places marked in it, with its error; refused when they do not fit."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import least_squares

from asbuilt.errors import FailedEstimate
from asbuilt.geometry.cameras import Camera, Lens
from asbuilt.geometry.frames import BUILDING, Rigid3, camera_frame
from asbuilt.geometry.projection import exp_rotation, project_with_jacobian, skew
from asbuilt.geometry.resection import MIN_POINTS, Resection, resect
from asbuilt.record import Media, Picture, Placement, Record, ReferencePoint, Sighting
from asbuilt.record.frames import building_from_faces
from asbuilt.sheets.known import current
from asbuilt.units import format_length

# How far the focal length may be off: a phone refocuses, 0.3 %, where the same camera was solved
# elsewhere in the record; its file's word alone, 3 %. Common practice, no source.
SOLVED_FOCAL_SHARE, STATED_FOCAL_SHARE = 0.003, 0.03
POOR_RATIO = 4.0  # a place this many times its own error off does not fit; our choice
PARAMETERS = 7  # rotation vector, translation, share of the focal length


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PhotoFit:
    """Where a picture was taken from; ``covariance`` is 7x7 of (rotation [rad], translation [m], focal share).

    ``miss_px`` and ``allowed_px`` hold, for each marked place, how far it is off and its own
    one-sigma error.
    """

    camera: Camera
    covariance: np.ndarray
    points: tuple[ReferencePoint, ...]
    miss_px: np.ndarray
    allowed_px: np.ndarray
    px_per_m: np.ndarray
    suspect: int | None = None  # the place without which the others fit, where all together do not

    @property
    def worst(self) -> int:
        """Index of the place that fits worst for its error."""
        return int(np.argmax(self.miss_px / self.allowed_px))

    @property
    def fits(self) -> bool:
        """Whether every place is where it should be."""
        return bool(self.miss_px[self.worst] <= POOR_RATIO * self.allowed_px[self.worst])

    def words(self, unit: str) -> str:
        """The fit in a line."""
        named = self.worst if self.suspect is None else self.suspect
        name = self.points[named].label or self.points[named].id
        mean_px, most_px = float(np.sqrt((self.miss_px**2).mean())), float(self.miss_px[named])
        on_wall = format_length(most_px / self.px_per_m[named], unit)
        text = f"{len(self.points)} known places; off by {mean_px:.1f} px on average, {name} by {most_px:.1f} px, "
        text += f"{on_wall} on the wall"
        if not self.fits:
            text += ". That one does not fit the others: check where it was marked and its place"
        return text

    def project(self, points_building_m: np.ndarray, covariance_m2: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Pixels of points and their covariance, the camera's error included.

        Parameters
        ----------
        points_building_m : ndarray of shape (N, 3)
        covariance_m2 : ndarray of shape (N, 3, 3)
            Of the points, in building axes.

        Returns
        -------
        pixels : ndarray of shape (N, 2)
            NaN behind the camera or outside the lens's reach.
        covariance_px2 : ndarray of shape (N, 2, 2)
        """
        rotation = self.camera.camera_from_building.rotation
        turned = points_building_m @ rotation.T
        in_camera = turned + self.camera.camera_from_building.translation_m
        seen = self.camera.in_view_cone(in_camera)
        safe = np.where(seen[:, None], in_camera, [0.0, 0.0, 1.0])
        lens = np.tile(self.camera.lens.params, (len(safe), 1))
        pixels, by_point, by_lens = project_with_jacobian(safe, lens)
        by_camera = np.concatenate(
            [-by_point @ skew(turned), by_point, by_lens[:, :, :1] * self.camera.lens.focal_px], axis=2
        )
        by_place = by_point @ rotation
        own = by_place @ covariance_m2 @ by_place.transpose(0, 2, 1)
        shared = by_camera @ self.covariance @ by_camera.transpose(0, 2, 1)
        return np.where(seen[:, None], pixels, np.nan), own + shared


def fit_picture(record: Record, picture: Picture) -> PhotoFit | FailedEstimate:
    """The camera of a picture from the known places marked in it.

    Nothing is stored: placing works on all pictures of the open wall at once.
    """
    seen = record.all(Sighting, target="reference", picture_id=picture.id)
    stored = {p.id: p for p in record.all(ReferencePoint, id=[s.target_id for s in seen])}
    seen = [s for s in seen if s.target_id in stored]
    if len(seen) < MIN_POINTS:
        return FailedEstimate(f"{len(seen)} of the {MIN_POINTS} known places needed are marked")
    points = tuple(current(record, stored[s.target_id]) for s in seen)
    poses = building_from_faces(record)
    places_m = np.array([poses[p.face_id].apply(np.array([p.offset_m, p.depth_m, p.height_m])) for p in points])
    pixels = np.array([[s.x_px, s.y_px] for s in seen])
    marks = _Marks(
        picture=picture,
        points=points,
        places_m=places_m,
        pixels=pixels,
        sigma_px=np.array([s.sigma_px for s in seen]),
        sigma_m=np.array([p.sigma_m for p in points]),
    )
    lens, focal_share = lens_of(record, picture)
    stands = _on_this_side(poses, points)
    found = _fit(marks, lens, focal_share, stands)
    if (found and found.fits) or len(points) <= MIN_POINTS:
        return found
    rest = [_fit(marks.without(n), lens, focal_share, stands) for n in range(len(points))]
    ratios = [float((r.miss_px / r.allowed_px).max()) if r else np.inf for r in rest]
    best = int(np.argmin(ratios))
    if ratios[best] > POOR_RATIO:
        return found
    return _with_suspect(marks, rest[best], best)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Marks:
    """The known places marked in a picture, one row each."""

    picture: Picture
    points: tuple[ReferencePoint, ...]
    places_m: np.ndarray
    pixels: np.ndarray
    sigma_px: np.ndarray
    sigma_m: np.ndarray

    def without(self, n: int) -> _Marks:
        """All but one."""
        keep = np.arange(len(self.points)) != n
        return _Marks(
            picture=self.picture,
            points=tuple(p for i, p in enumerate(self.points) if i != n),
            places_m=self.places_m[keep],
            pixels=self.pixels[keep],
            sigma_px=self.sigma_px[keep],
            sigma_m=self.sigma_m[keep],
        )


def _fit(marks: _Marks, lens: Lens, focal_share: float, stands) -> PhotoFit | FailedEstimate:
    start = resect(lens, marks.places_m, marks.pixels, marks.sigma_px, marks.sigma_m, stands)
    return _refined(lens, focal_share, start, marks) if start else FailedEstimate(start.reason)


def _with_suspect(marks: _Marks, rest: PhotoFit, suspect: int) -> PhotoFit:
    """The fit of the others, with the place that was left out put back as the one that is off."""
    in_camera = rest.camera.camera_from_building.apply(marks.places_m)
    px_per_m = rest.camera.lens.focal_px / np.maximum(in_camera[:, 2], 0.1)
    miss_px = np.nan_to_num(np.linalg.norm(rest.camera.lens.project(in_camera) - marks.pixels, axis=1), nan=1e4)
    allowed_px = np.hypot(marks.sigma_px, marks.sigma_m * px_per_m)
    return replace(
        rest, points=marks.points, miss_px=miss_px, allowed_px=allowed_px, px_per_m=px_per_m, suspect=suspect
    )


def _on_this_side(poses: dict[str, Rigid3], points: tuple[ReferencePoint, ...]):
    """Whether a camera stands in the room, in front of every wall that it shows."""
    inverse = [poses[face_id].inverse() for face_id in {p.face_id for p in points}]
    return lambda center_m: all(pose.apply(center_m[None])[0, 1] < 0 for pose in inverse)


def _refined(lens: Lens, focal_share: float, start: Resection, marks: _Marks) -> PhotoFit:
    """Least squares over pose and focal length, each place weighted by its own error."""

    def camera_points(params: np.ndarray) -> np.ndarray:
        rotation = exp_rotation(params[None, :3])[0] @ start.rotation
        return marks.places_m @ rotation.T + start.translation_m + params[3:6]

    def lens_at(params: np.ndarray) -> Lens:
        return replace(lens, focal_px=lens.focal_px * (1 + params[6]))

    def allowed(params: np.ndarray) -> np.ndarray:
        return np.hypot(marks.sigma_px, marks.sigma_m * lens.focal_px / camera_points(params)[:, 2])

    weights = 1 / allowed(np.zeros(PARAMETERS))

    def residuals(params: np.ndarray) -> np.ndarray:
        miss = (lens_at(params).project(camera_points(params)) - marks.pixels) * weights[:, None]
        return np.append(np.nan_to_num(miss, nan=1e3).ravel(), params[6] / focal_share)

    solved = least_squares(residuals, np.zeros(PARAMETERS), method="lm")
    covariance = np.linalg.inv(solved.jac.T @ solved.jac)
    final_lens, in_camera = lens_at(solved.x), camera_points(solved.x)
    pose = Rigid3(
        target=camera_frame(marks.picture.id),
        source=BUILDING,
        rotation=exp_rotation(solved.x[None, :3])[0] @ start.rotation,
        translation_m=start.translation_m + solved.x[3:6],
    )
    return PhotoFit(
        camera=Camera(lens=final_lens, camera_from_building=pose),
        covariance=covariance,
        points=marks.points,
        miss_px=np.linalg.norm(final_lens.project(in_camera) - marks.pixels, axis=1),
        allowed_px=1 / weights,
        px_per_m=final_lens.focal_px / in_camera[:, 2],
    )


def lens_of(record: Record, picture: Picture) -> tuple[Lens, float]:
    """The lens of a picture and how far its focal length may be off, as a share.

    As solved for the picture, its clip, or a picture of the same device and shape; else as
    its file says.
    """
    media = {m.id: m for m in record.all(Media)}
    own = media[picture.media_id]
    pictures = {p.id: p for p in record.all(Picture)}

    def kinship(placement: Placement) -> int:
        other = pictures[placement.id]
        same_shape = (other.width_px, other.height_px) == (picture.width_px, picture.height_px)
        if placement.id == picture.id:
            return 3
        if not same_shape:
            return 0
        if other.media_id == picture.media_id:
            return 2
        return int(bool(own.device) and media[other.media_id].device == own.device and other.kind == picture.kind)

    solved = [p for p in record.all(Placement) if p.lens and p.id in pictures]
    best = max(solved, key=kinship, default=None)
    if best is not None and kinship(best) > 0:
        return Lens.from_params(picture.width_px, picture.height_px, best.lens), SOLVED_FOCAL_SHARE
    return Lens.from_prior(picture.width_px, picture.height_px, own.focal_prior_px), STATED_FOCAL_SHARE
