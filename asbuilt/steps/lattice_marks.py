"""Studs that pictures show on their layout, as known places for placing a walkthrough without marker sheets.

A picture in which a known place is marked tells of every stud on its mark how far along the face it stands,
within the quarter inch by which studs wander, and that it is upright. Kept are two spots on each: stud lines,
whose height is only roughly known.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass

import numpy as np
from tqdm import tqdm

from asbuilt.errors import FailedEstimate
from asbuilt.geometry.stud_lattice import Lattice
from asbuilt.imaging.lattice import PictureLattice
from asbuilt.record.pixels import iter_pictures
from asbuilt.record.store import Record, now
from asbuilt.record.types import STUD_LINE, Face, Picture, ReferencePoint, Sighting
from asbuilt.steps.lattice import lattice_in, layout_foot_m, offset_m

WANDER_SIGMA_M = 0.0254 / 4  # studs stand this far off their marks
STUD_FACE_SIGMA_M = 0.003
LINE_SIGMA_PX = 2.0  # of a stud's middle between its edges, found on rendered walks
MOST_SIGMA_SCALE, MOST_SIGMA_YAW_RAD = 0.02, np.deg2rad(2.0)
PHASE_M, PHASE_SIGMAS = 0.038, 3.0  # a marked place and the layout may differ so much
POSED_SHARE, POSED_SCALE, POSED_YAW_RAD = (
    0.15,
    0.06,
    np.deg2rad(3.0),
)  # as far as a pose may be from the studs; of a bay
POSED_SIGMA_SHARE = 0.12
STEP, APART_M = 3, 0.9  # of the frames of a walk; along a face between pictures that no one marked
SHORTEST_M, INSET = 0.5, 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class MarksOptions:
    """``picture_ids`` empty: all open pictures with a known place marked in them."""

    picture_ids: tuple[str, ...] = ()
    keep: bool = False
    progress: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class PictureMarks:
    """What one picture gives: a reason if nothing; else the offsets [m] of the studs counted in it."""

    picture_id: str
    reason: str = ""
    face_id: str = ""
    offsets_m: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class MarksReport:
    """One entry a picture looked at; ``kept`` says whether the record holds them now."""

    pictures: tuple[PictureMarks, ...]
    kept: bool

    def to_json(self) -> dict:
        """As plain values."""
        return asdict(self)


@dataclass(frozen=True, slots=True, kw_only=True)
class Stood:
    """Where the camera of a picture stood before a face: offset of its foot and its height [m]."""

    face: Face
    foot_m: float
    height_m: float


def run(record: Record, options: MarksOptions = MarksOptions()) -> MarksReport:
    """Count the studs in pictures, and keep them as stud lines if asked.

    Raises
    ------
    NotInRecordError
        If there is no picture of a name.
    """
    started_at, faces = now(), record.all(Face)
    taps = _taps(record)
    pictures = _pictures(record, options, taps)
    bar = tqdm(iter_pictures(record, pictures), total=len(pictures), desc="counting studs", unit="picture",
               disable=not options.progress)  # fmt: skip
    told, lines = [], []
    for picture, image in bar:
        found = lattice_in(record, picture, image, faces)
        stood = _stood(record, found, taps.get(picture.id, [])) if found else found
        if not stood:
            told.append(PictureMarks(picture_id=picture.id, reason=stood.reason))
            continue
        own = stud_lines(picture, found, stood)
        lines += own
        offsets = sorted({round(point.offset_m, 4) for point, _ in own})
        told.append(PictureMarks(picture_id=picture.id, face_id=stood.face.id, offsets_m=tuple(offsets)))
    report = MarksReport(pictures=tuple(told), kept=options.keep)
    if options.keep:
        _write(record, [t.picture_id for t in told], lines, started_at, report)
    return report


def _taps(record: Record) -> dict[str, list[tuple[ReferencePoint, Sighting]]]:
    """Known places marked in pictures, by picture; no stud lines."""
    points = {p.id: p for p in record.all(ReferencePoint) if p.kind != STUD_LINE}
    found: dict[str, list] = {}
    for s in record.all(Sighting, target="reference"):
        if s.target_id in points:
            found.setdefault(s.picture_id, []).append((points[s.target_id], s))
    return found


def _pictures(record: Record, options: MarksOptions, taps: dict) -> list[Picture]:
    if options.picture_ids:
        return [record.get(Picture, name) for name in options.picture_ids]
    return [p for p in record.all(Picture) if p.stage == "open" and p.id in taps]


def is_firm(lattice: Lattice) -> bool:
    """Whether a lattice tells well enough how its wall is turned and how far off it is."""
    return lattice.sigma_scale < MOST_SIGMA_SCALE and lattice.sigma_yaw_rad < MOST_SIGMA_YAW_RAD


def _stood(record: Record, found: PictureLattice, taps: Sequence) -> Stood | FailedEstimate:
    """Where the camera stood, on the layout's marks; failed where they are too loose or could be others."""
    lattice, feet, heights = found.lattice, [], []
    if not taps:
        return FailedEstimate("alike bays leave it open which stud is which: mark one known place in the picture")
    if not is_firm(lattice):
        return FailedEstimate("its studs do not tell well enough how the wall is turned")
    face = record.get(Face, taps[0][0].face_id)
    if abs(face.spacing_m - lattice.spacing_m) > 0.002:
        return FailedEstimate(f"its studs are not spaced as the plan says of {face.title}")
    reach_m = PHASE_M
    for point, sighting in taps:
        aside_m = offset_m(found, sighting.x_px, sighting.y_px)
        feet.append(point.offset_m - aside_m)
        heights.append(point.height_m - _rise_m(found, sighting.x_px, sighting.y_px))
        reach_m = max(reach_m, PHASE_SIGMAS * float(np.hypot(lattice.sigma_start_m, lattice.sigma_scale * aside_m)))
    told_m = float(np.median(feet))
    foot_m = layout_foot_m(record, face, lattice, told_m)
    if abs(foot_m - told_m) > min(reach_m, 0.4 * face.spacing_m) or any(p.face_id != face.id for p, _ in taps):
        return FailedEstimate(
            "the marked place and the layout of the plan do not fit: check the spacing, the side it starts from, "
            "and the mark"
        )
    return Stood(face=face, foot_m=foot_m, height_m=float(np.median(heights)))


def _rise_m(found: PictureLattice, x_px: float, y_px: float) -> float:
    """Height above the camera [m] of what a pixel shows of the plane of the studs."""
    edges, lattice = found.edges, found.lattice
    ray = edges.level_from_camera @ np.array(
        [(x_px - edges.center_px[0]) / edges.focal_px, (y_px - edges.center_px[1]) / edges.focal_px, 1.0]
    )
    away_m = float(np.hypot(lattice.distance_m, offset_m(found, x_px, y_px)))
    return -float(ray[1] / np.hypot(ray[0], ray[2])) * away_m


def stud_lines(picture: Picture, found: PictureLattice, stood: Stood) -> list[tuple[ReferencePoint, Sighting]]:
    """Two spots on each stud that stands on its mark, near both ends of what is seen of it."""
    edges, lattice, lines = found.edges, found.lattice, []
    for k in np.flatnonzero(lattice.on_mark):
        left, right = lattice.left_idx[k], lattice.right_idx[k]
        low, high = max(edges.low[left], edges.low[right]), min(edges.high[left], edges.high[right])
        away_m = float(np.hypot(lattice.distance_m, lattice.centers_m[k]))
        if (high - low) * away_m < SHORTEST_M:
            continue
        mark_m = stood.foot_m + lattice.start_m + lattice.mark[k] * lattice.spacing_m
        for end, share in (("low", INSET), ("high", 1 - INSET)):
            rise_m = (low + share * (high - low)) * away_m
            ((x_px, y_px),) = found.pixels(lattice.centers_m[k : k + 1], rise_m)
            name = f"{picture.id}-{k}-{end}"
            lines.append((
                ReferencePoint(
                    id=f"stud-{name}", face_id=stood.face.id, kind=STUD_LINE, label="stud on the layout",
                    offset_m=float(mark_m), height_m=float(stood.height_m + rise_m), sigma_m=WANDER_SIGMA_M,
                    sigma_depth_m=STUD_FACE_SIGMA_M,
                ),
                Sighting(id=f"stud-{name}", target="reference", target_id=f"stud-{name}", picture_id=picture.id,
                         x_px=float(x_px), y_px=float(y_px), sigma_px=LINE_SIGMA_PX, author="counted studs"),
            ))  # fmt: skip
    return lines


def _write(record: Record, looked_at: Sequence[str], lines: Sequence, started_at: str, report: MarksReport) -> None:
    """Replace the stud lines of the pictures looked at."""
    who = "counted studs"
    with record.transaction():
        old = [
            p
            for p in record.all(ReferencePoint, kind=STUD_LINE)
            if p.id.split("stud-")[1].rsplit("-", 2)[0] in set(looked_at)
        ]
        forget(record, old)
        record.put(*[point for point, _ in lines], author=who)
        record.put(*[sighting for _, sighting in lines], author=who)
        record.add_step_report("stud lines", started_at, report.to_json())


def forget(record: Record, points: Sequence[ReferencePoint] | None = None) -> int:
    """Remove stud lines, all if none are named; how many."""
    points = record.all(ReferencePoint, kind=STUD_LINE) if points is None else points
    for point in points:
        for sighting in record.all(Sighting, target_id=point.id):
            record.remove(Sighting, sighting.id, author="counted studs")
        record.remove(ReferencePoint, point.id, author="counted studs")
    return len(points)
