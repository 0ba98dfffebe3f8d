"""Lattice: what pictures without marks tell of the studs, and which stud is which, if that can be counted.

Nothing is written but the step's report. Where alike bays leave it open which stud is which, one known place
marked in the picture settles it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass

import numpy as np
from tqdm import tqdm

from asbuilt.errors import FailedEstimate
from asbuilt.geometry.bay_count import WallPlan, count_bays
from asbuilt.geometry.stud_lattice import Lattice
from asbuilt.geometry.studs import OpeningSpan
from asbuilt.imaging.lattice import PictureLattice, find_lattice
from asbuilt.record.pixels import iter_pictures
from asbuilt.record.store import Record, now
from asbuilt.record.types import NOT_PLACED, Face, Media, Opening, Picture, Placement, ReferencePoint, Sighting

FLATTEST_RAD = 1.15  # beyond this from square-on nothing is counted
TAP_SHARE = 0.4  # of a bay by which a marked place may miss the studs it was counted to
SAME_SPACING_M = 0.001


@dataclass(frozen=True, slots=True, kw_only=True)
class LatticeOptions:
    """``picture_ids`` empty: all of the open walls that are not placed. ``face_ids`` empty: any wall may be shown."""

    picture_ids: tuple[str, ...] = ()
    face_ids: tuple[str, ...] = ()
    progress: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class PictureStuds:
    """What one picture tells: a reason if nothing; else the layout, and the studs' centres [m] once counted.

    ``places`` is how many places on the walls fit: 1 is counted, more want one known place marked,
    0 fit no wall of the plan. ``lines_px`` are the middles of studs on their marks in the picture, (x, y) below
    and above.
    """

    picture_id: str
    reason: str = ""
    spacing_m: float | None = None
    distance_m: float | None = None
    seen: int = 0
    places: int = 0
    face_id: str = ""
    centers_m: tuple[float, ...] = ()
    sigma_m: float | None = None
    lines_px: tuple[tuple[float, float, float, float], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class LatticeReport:
    """One entry a picture."""

    pictures: tuple[PictureStuds, ...]

    def to_json(self) -> dict:
        """As plain values."""
        return asdict(self)


def run(record: Record, options: LatticeOptions = LatticeOptions()) -> LatticeReport:
    """Look for the stud lattice in pictures.

    Raises
    ------
    NotInRecordError
        If there is no picture or face of a name.
    """
    started_at = now()
    faces = [record.get(Face, name) for name in options.face_ids]
    faces = faces or [f for f in record.all(Face) if f.kind == "wall"]
    pictures = _pictures(record, options)
    bar = tqdm(iter_pictures(record, pictures), total=len(pictures), desc="looking", unit="picture",
               disable=not options.progress)  # fmt: skip
    report = LatticeReport(pictures=tuple(studs_in(record, picture, image, faces) for picture, image in bar))
    record.add_step_report("lattice", started_at, report.to_json())
    return report


def _pictures(record: Record, options: LatticeOptions) -> list[Picture]:
    if options.picture_ids:
        return [record.get(Picture, name) for name in options.picture_ids]
    placed = {p.id for p in record.all(Placement) if p.status != NOT_PLACED}
    return [p for p in record.all(Picture) if p.stage == "open" and p.id not in placed and "blurred" not in p.flags]


def studs_in(record: Record, picture: Picture, image: np.ndarray, faces: Sequence[Face]) -> PictureStuds:
    """What one picture tells; nothing is written."""
    if not faces:
        return PictureStuds(picture_id=picture.id, reason="no wall is described yet")
    found = lattice_in(record, picture, image, faces)
    if not found:
        return PictureStuds(picture_id=picture.id, reason=found.reason)
    told = {"picture_id": picture.id, "spacing_m": found.lattice.spacing_m, "distance_m": found.lattice.distance_m,
            "seen": len(found.lattice.centers_m), "lines_px": _lines_px(found)}  # fmt: skip
    places = _places(record, picture, found, faces, image.shape[1])
    if len(places) != 1:
        return PictureStuds(**told, places=len(places))
    face_id, foot_m = places[0]
    lattice = found.lattice
    aside = float(np.abs(lattice.centers_m).max())
    sigma_m = float(np.hypot(lattice.sigma_start_m, lattice.sigma_scale * aside))
    centers = tuple(round(float(c + foot_m), 4) for c in lattice.centers_m)
    return PictureStuds(**told, places=1, face_id=face_id, centers_m=centers, sigma_m=sigma_m)


def _lines_px(found: PictureLattice) -> tuple[tuple[float, float, float, float], ...]:
    edges, lattice, lines = found.edges, found.lattice, []
    for k in np.flatnonzero(lattice.on_mark):
        center_m, left, right = lattice.centers_m[k], lattice.left_idx[k], lattice.right_idx[k]
        away_m = float(np.hypot(lattice.distance_m, center_m))
        ends = min(edges.low[left], edges.low[right]), max(edges.high[left], edges.high[right])
        spots = [found.pixels(np.array([center_m]), float(end) * away_m)[0] for end in ends]
        lines.append(tuple(round(float(v), 1) for spot in spots for v in spot))
    return tuple(lines)


def lattice_in(
    record: Record, picture: Picture, image: np.ndarray, faces: Sequence[Face]
) -> PictureLattice | FailedEstimate:
    """The lattice of a picture that shows one of some faces."""
    focal_px = record.get(Media, picture.media_id).focal_prior_px
    spacings = sorted({f.spacing_m for f in faces})
    apart = [s for k, s in enumerate(spacings) if k == 0 or s - spacings[k - 1] > SAME_SPACING_M]
    return find_lattice(image, focal_px, apart, float(np.median([f.stud_width_m for f in faces])))


def layout_foot_m(record: Record, face: Face, lattice: Lattice, near_m: float) -> float:
    """The offset of the camera's foot [m] nearest to a guess that lays a lattice on the marks of a face."""
    phase_m = 0.0 if face.layout_from == "left" else face.length_m
    first_m = phase_m - lattice.start_m
    return float(first_m + np.rint((near_m - first_m) / face.spacing_m) * face.spacing_m)


def _places(
    record: Record, picture: Picture, found: PictureLattice, faces: Sequence[Face], width_px: int
) -> list[tuple[str, float]]:
    """Faces that fit, and offsets of the camera's foot on them [m]; a place marked in the picture decides."""
    walls = [_plan(record, f) for f in faces]
    seen_m = [offset_m(found, x) for x in (0.0, width_px - 1.0)]
    taps = _taps(record, picture, found)
    walls = [w for w in walls if not taps or w.face_id in {face for face, _ in taps}]
    counted = count_bays(found.lattice, walls, *seen_m, certain=np.inf if taps else None)
    kept = []
    for c in counted:
        misses = [abs(c.foot_m - foot) for face, foot in taps if face == c.face_id]
        if not taps or (misses and max(misses) < TAP_SHARE * found.lattice.spacing_m):
            kept.append((c.face_id, c.foot_m))
    return kept


def offset_m(found: PictureLattice, x_px: float, y_px: float | None = None) -> float:
    """Offset from the camera's foot [m] of what a pixel shows of the plane of the studs."""
    edges, lattice = found.edges, found.lattice
    y_px = edges.center_px[1] if y_px is None else y_px
    ray = edges.level_from_camera @ np.array(
        [(x_px - edges.center_px[0]) / edges.focal_px, (y_px - edges.center_px[1]) / edges.focal_px, 1.0]
    )
    aside = np.arctan2(ray[0], ray[2]) - lattice.yaw_rad
    return float(lattice.distance_m * np.tan(np.clip(aside, -FLATTEST_RAD, FLATTEST_RAD)))


def _taps(record: Record, picture: Picture, found: PictureLattice) -> list[tuple[str, float]]:
    """Faces, and offsets of the foot on them, that the known places marked in a picture tell."""
    told = []
    for s in record.all(Sighting, target="reference", picture_id=picture.id):
        point = record.find(ReferencePoint, s.target_id)
        if point is not None:
            told.append((point.face_id, point.offset_m - offset_m(found, s.x_px, s.y_px)))
    return told


def _plan(record: Record, face: Face) -> WallPlan:
    openings = [OpeningSpan(left_m=o.left_m, right_m=o.right_m) for o in record.all(Opening, face_id=face.id)]
    return WallPlan(
        face_id=face.id, length_m=face.length_m, spacing_m=face.spacing_m, layout_from=face.layout_from,
        width_m=face.stud_width_m, openings=tuple(openings),
    )  # fmt: skip
