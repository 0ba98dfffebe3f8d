"""Elevation: one straight, true-scale picture of each face, made of the most square-on and sharpest views.

The picture lies on the plane of the stud faces (or a chosen depth behind it). Only pictures
that count for coverage are used: placed, of the open wall. A face is made again only when
something it depends on changed.
"""

from __future__ import annotations

import hashlib
import json
import time
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace

import numpy as np
from tqdm import tqdm

from asbuilt.errors import RecordError
from asbuilt.geometry.planes import Plane
from asbuilt.geometry.rectify import center_face_m
from asbuilt.imaging.exposure import solve_exposure
from asbuilt.imaging.seams import NOTHING, assign
from asbuilt.record.elevation_row import Elevation
from asbuilt.record.elevations import FOLDER, STRIP_PX, TILE_PX, TileWriter, elevation_id, forget_older
from asbuilt.record.frames import building_from_faces, camera_of, studs_of
from asbuilt.record.joint import joint_covariances
from asbuilt.record.kinds import KINDS
from asbuilt.record.store import Record, now
from asbuilt.record.types import PLACED, Coverage, Face, Picture, Placement
from asbuilt.steps import coverage
from asbuilt.steps.elevation_align import aligned, windows_of
from asbuilt.steps.elevation_copies import against_strays, evened, small_copies
from asbuilt.steps.elevation_map import (
    ERROR_STEP_M,
    LAYERS,
    NO_PICTURE,
    Chosen,
    camera_rows,
    map_sources,
    picture_numbers,
    source_map,
)
from asbuilt.steps.elevation_paint import paint_strip, shown_in
from asbuilt.steps.elevation_site import CELL_M, INCH_M, Site, Source
from asbuilt.steps.elevation_views import candidates

VERSION = 5
SCALE_PX_PER_IN = 20.0
ENOUGH_SHARE = 0.05  # the finest resolution that at least this share of what is seen has


@dataclass(frozen=True, slots=True, kw_only=True)
class ElevationOptions:
    """``face_ids`` empty: all. ``depths_m``: None stands for the usual depth of a cable."""

    face_ids: tuple[str, ...] = ()
    scale_px_per_m: float = SCALE_PX_PER_IN / INCH_M
    depths_m: tuple[float | None, ...] = (0.0,)
    force: bool = False
    progress: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class PlaneReport:
    """What was made of one face on one plane.

    ``doubtful_ids`` are pictures that were left out because what they show does not agree with
    the others: most likely they are placed wrongly. ``sigma_m`` is the error that 95 % of the
    picture stays within, one sigma of a spot read off it; ``parallax_m`` how far beside its
    place 95 % of it shows a thing half the stud depth behind the plane.
    """

    face_id: str
    depth_m: float
    elevation_id: str | None  # None: no picture shows the face
    scale_px_per_m: float = 0.0
    seen_share: float = 0.0
    picture_count: int = 0
    doubtful_ids: tuple[str, ...] = ()
    sigma_m: float | None = None
    parallax_m: float | None = None
    recomputed: bool = False
    seconds: float = 0.0
    folder: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class ElevationReport:
    """What was made of all faces."""

    planes: tuple[PlaneReport, ...]

    def to_json(self) -> dict:
        """As plain values."""
        return asdict(self)


def run(record: Record, options: ElevationOptions = ElevationOptions()) -> ElevationReport:
    """Make the elevations that are missing or out of date.

    Raises
    ------
    RecordError
        If nothing is placed yet.
    NotInRecordError
        If there is no face of a name.
    """
    faces = [record.get(Face, face_id) for face_id in options.face_ids] or record.all(Face)
    started_at = now()
    sites, reports = covered_sites(record), []
    for face in faces:
        for depth_m in options.depths_m:
            usual_m = KINDS["cable"].depth_share * face.stud_depth_m
            site = replace(sites[face.id], depth_m=usual_m if depth_m is None else depth_m)
            reports.append(_plane(record, site, options))
    report = ElevationReport(planes=tuple(reports))
    if any(r.recomputed for r in reports):
        record.add_step_report("elevation", started_at, report.to_json())
    return report


def covered_sites(record: Record) -> dict[str, Site]:
    """Every face as its pictures are placed now, coverage brought up to date; by id.

    Raises
    ------
    RecordError
        If nothing is placed yet.
    """
    if not record.all(Placement, status=PLACED):
        raise RecordError(f"{record.folder} has no placed pictures yet; place them with: asbuilt place {record.folder}")
    coverage.run(record)
    return sites_of(record)


def sites_of(record: Record) -> dict[str, Site]:
    """Every face with what is known of where it stands, by id."""
    poses, faces, joint = building_from_faces(record), record.all(Face), joint_covariances(record)
    # Where other rooms lie need not be known, so only walls of the same room stand in the way.
    planes = {
        f.id: Plane(building_from_face=poses[f.id], length_m=f.length_m, height_m=f.height_m, depth_m=0.0)
        for f in faces
    }
    return {
        f.id: Site(
            face=f,
            building_from_face=poses[f.id],
            walls=tuple(planes[o.id] for o in faces if o.room_id == f.room_id and o.id != f.id),
            studs=tuple(studs_of(record, f.id)),
            joint=joint,
        )
        for f in faces
    }  # fmt: skip


def _plane(record: Record, site: Site, options: ElevationOptions) -> PlaneReport:
    clock, face = time.monotonic(), site.face
    sources = sources_of(record, site)
    row_id, input_hash = elevation_id(face.id, site.depth_m), _input_hash(site, sources, options)
    kept = record.find(Elevation, row_id)
    if kept and kept.input_hash == input_hash and (record.folder / kept.folder).is_dir() and not options.force:
        return _report(record, kept, False, 0.0)
    chosen = choose(record, site, sources, options)
    if chosen is None:
        return PlaneReport(face_id=face.id, depth_m=site.depth_m, elevation_id=None)
    row = _row(chosen, row_id, input_hash, options)
    _paint(record, chosen, row, options)
    record.put(row)
    forget_older(record, row)
    return _report(record, row, True, time.monotonic() - clock)


def sources_of(record: Record, site: Site) -> list[Source]:
    """The pictures that count for a face, of its own room and taken from that side."""
    ids = record.get(Coverage, site.face.id).layers["picture_ids"]
    placements = {p.id: p for p in record.all(Placement, status=PLACED)}
    sources = [
        Source(picture=p, placement=placements[p.id], camera=camera_of(placements[p.id], p))
        for p in record.all(Picture, id=ids)
        if p.room_id in (None, site.face.room_id)
    ]
    return [s for s in sources if center_face_m(s.camera, site.building_from_face)[1] < 0]


def _input_hash(site: Site, sources: Sequence[Source], options: ElevationOptions) -> str:
    parts = [VERSION, asdict(site.face), site.depth_m, options.scale_px_per_m]
    for pose in (site.building_from_face, *(w.building_from_face for w in site.walls)):
        parts += [pose.rotation.tolist(), pose.translation_m.tolist()]
    parts += [[w.length_m, w.height_m] for w in site.walls] + [asdict(s) for s in site.studs]
    for s in sources:
        parts += [asdict(s.placement), s.picture.sharpness, s.picture.light]
    return hashlib.sha256(json.dumps(parts, sort_keys=True).encode()).hexdigest()


def choose(record: Record, site: Site, sources: Sequence[Source], options: ElevationOptions) -> Chosen | None:
    """Which picture shows which spot of a face; None where no picture shows anything of it."""
    found = candidates(site, sources, options.scale_px_per_m)
    windows = windows_of(site)
    copies = small_copies(record, site, found, windows, options.progress)
    if not len(copies.views):
        return None
    used = [c.source for c in copies.candidates]
    lenses = {lens_id: k for k, lens_id in enumerate(dict.fromkeys(s.placement.lens_id for s in used))}
    exposure = solve_exposure(copies.samples, [lenses[s.placement.lens_id] for s in used])
    copies = against_strays(evened(copies, exposure))
    labels = assign(copies.views, copies.cost)
    if (labels == NOTHING).all():
        return None
    agreeing = [n for n in range(len(used)) if n not in copies.doubtful]
    moved = aligned(site, [used[n] for n in agreeing], windows, [copies.profiles[n] for n in agreeing])
    for n, source in zip(agreeing, moved, strict=True):
        used[n] = source
    return Chosen(
        site=site,
        sources=used,
        labels=labels,
        exposure=exposure,
        doubtful=tuple(used[n].picture.id for n in copies.doubtful),
    )


def _row(chosen: Chosen, row_id: str, input_hash: str, options: ElevationOptions) -> Elevation:
    site, found = chosen.site, map_sources(chosen)
    scale = _scale(found.resolution_px_per_m, options)
    patch, (rows, cols) = site.patch(1 / scale), chosen.labels.shape
    levels = 1
    while max(patch.rows, patch.cols) > TILE_PX * 2 ** (levels - 1):
        levels += 1
    name = row_id.rpartition("+")[2]
    return Elevation(
        id=row_id, face_id=site.face.id, created_at=now(), depth_m=site.depth_m, scale_px_per_m=scale,
        width_px=patch.cols, height_px=patch.rows, tile_px=TILE_PX, levels=levels,
        folder=(FOLDER / site.face.id / f"{name}-{input_hash[:8]}").as_posix(),
        seen_share=float(np.mean(chosen.labels != NOTHING)), cell_m=CELL_M, rows=rows, cols=cols,
        layers=LAYERS
        | {
            "picture_ids": [chosen.sources[n].picture.id for n in chosen.shown],
            "doubtful_ids": list(chosen.doubtful),
            "cameras": camera_rows(chosen),
        },
        grid=found.packed(), input_hash=input_hash,
    )  # fmt: skip


def _scale(resolution_px_per_m: np.ndarray, options: ElevationOptions) -> float:
    """The scale asked for, but not above the finest that a fair share of the face was seen at."""
    finest = np.nanquantile(resolution_px_per_m, 1 - ENOUGH_SHARE)
    # A whole number of pixels an inch, so that a ruler laid on the picture reads evenly.
    return float(min(options.scale_px_per_m, max(1.0, np.floor(finest * INCH_M)) / INCH_M))


def _paint(record: Record, chosen: Chosen, row: Elevation, options: ElevationOptions) -> None:
    patch = chosen.site.patch(1 / row.scale_px_per_m)
    strips = [patch.part(0, col, patch.rows, min(STRIP_PX, patch.cols - col)) for col in range(0, patch.cols, STRIP_PX)]
    total = sum(len(shown_in(chosen, strip)) for strip in strips)
    writer = TileWriter(record, row)
    bar = tqdm(total=total, desc=f"{row.face_id}: painting", unit="picture", disable=not options.progress)
    try:
        with bar:
            for k, strip in enumerate(strips):
                writer.add(k * STRIP_PX, paint_strip(record, chosen, strip, bar.update))
        writer.finish(_about(record, row))
    except BaseException:
        writer.drop()
        raise


def _about(record: Record, row: Elevation) -> dict:
    return {
        "building": record.building.name,
        "face": record.get(Face, row.face_id).title,
        "plane": f"{row.depth_m:.4f} m behind the stud face",
        "pixels_per_metre": row.scale_px_per_m,
        "width_px": row.width_px,
        "height_px": row.height_px,
        "lower_left_corner": "offset 0 (left end seen from inside), height 0 (datum floor)",
        "hatched": "not recorded: no picture that is placed well enough shows it",
    }


def _report(record: Record, row: Elevation, recomputed: bool, seconds: float) -> PlaneReport:
    layers = source_map(row)
    seen = picture_numbers(row) != NO_PICTURE
    slope = np.tan(np.deg2rad(layers["obliquity"][seen].astype(float)))
    half_m = 0.5 * record.get(Face, row.face_id).stud_depth_m
    return PlaneReport(
        face_id=row.face_id,
        depth_m=row.depth_m,
        elevation_id=row.id,
        scale_px_per_m=row.scale_px_per_m,
        seen_share=row.seen_share,
        picture_count=len(row.layers["picture_ids"]),
        doubtful_ids=tuple(row.layers["doubtful_ids"]),
        sigma_m=float(np.quantile(layers["error"][seen] * ERROR_STEP_M, 0.95)),
        parallax_m=float(np.quantile(half_m * slope, 0.95)),
        recomputed=recomputed,
        seconds=round(seconds, 1),
        folder=row.folder,
    )
