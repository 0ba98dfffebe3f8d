"""Place pictures: work out where each camera stood, with an error, or say why not."""

from __future__ import annotations

import time
from collections import Counter
from dataclasses import asdict, dataclass, field, replace

import numpy as np
from threadpoolctl import threadpool_limits

from asbuilt.errors import RecordError
from asbuilt.geometry.initial import DISAGREEING
from asbuilt.geometry.resection import MIN_POINTS
from asbuilt.record import NOT_PLACED, PLACED, Media, Picture, Placement, Record, Solution, now
from asbuilt.record.frames import quat_xyzw
from asbuilt.record.joint import pack
from asbuilt.steps.place_file import file_placed
from asbuilt.steps.place_look import Looked, look
from asbuilt.steps.place_setup import Site, clicks_of, is_taped, site_of
from asbuilt.steps.place_solve import Solved, solve_site
from asbuilt.steps.place_strain import widened

SOLUTION_ID = "walkthrough"
LOOSE_M = 0.15  # a camera known no better than this (one sigma) is not placed; our choice
# One sheet alone fits two camera places; this many shared features tell which, fewer may not. Our choice.
LEAST_TRACKS = 60
TOO_LOOSE = "too little in it to say where it was taken from (one sheet or few shared features)"


@dataclass(frozen=True, slots=True, kw_only=True)
class PlaceOptions:
    """How to place: ``quiet`` shows no progress."""

    quiet: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class PlaceReport:
    """What placing did."""

    placed: int
    not_placed: dict = field(default_factory=dict)  # reason -> count
    notes: tuple[str, ...] = ()
    seconds: float = 0.0
    corner_residual_px: float | None = None
    track_residual_px: float | None = None
    unknown_markers: dict = field(default_factory=dict)  # id seen but not in the plan -> pictures

    def to_json(self) -> dict:
        """As plain values."""
        return asdict(self)


def run(record: Record, options: PlaceOptions | None = None) -> PlaceReport:
    """Place every picture of the open walls.

    Parameters
    ----------
    record : Record
        With faces and with marker sheets or clicked reference points.
    options : PlaceOptions, optional

    Raises
    ------
    RecordError
        If there are no faces or no pictures.
    """
    options = options or PlaceOptions()
    started_at, clock = now(), time.monotonic()
    with record.moment():
        pictures, media = record.all(Picture), {m.id: m for m in record.all(Media)}
    if not pictures:
        raise RecordError(f"{record.folder} has no pictures yet; add some with: asbuilt add {record.folder} FILES")
    site = site_of(record)
    if not site.faces:
        raise RecordError(f"{record.folder} has no faces yet; describe them in a plan and load it")
    wanted = [p for p in pictures if p.stage == "open" and "blurred" not in p.flags]
    looked = look(record, wanted, media, options.quiet)
    # Matrices of this size gain nothing from more threads, and lose much where cores are busy.
    with threadpool_limits(limits=1, user_api="blas"):
        solved = solve_site(looked, site, clicks_of(record, site, looked))
    placements = [_left_out(p) for p in pictures if p not in wanted]
    if solved:
        covariance = widened(solved.bundle, solved.strain_m)
        placements += _placements(solved, covariance)
        solution = _solution(solved, covariance)
    else:
        placements += [Placement(id=p.id, status=NOT_PLACED, reason=solved.reason) for p in looked.pictures]
        solution = None
    report = _report(placements, solved, looked, site, time.monotonic() - clock)
    with record.transaction():
        record.clear(Placement)
        record.clear(Solution)
        if solution:
            record.put(replace(solution, report=solution.report | {"place": report.to_json()}))
        there = {p.id for p in record.all(Picture)}  # first pictures go when the scan has chosen better ones
        record.put(*(p for p in placements if p.id in there))
        file_placed(
            record, {p.id: [m.id for m in seen] for p, seen in zip(looked.pictures, looked.markers, strict=True)}
        )
        record.add_step_report("place", started_at, report.to_json())
    return report


def _left_out(picture: Picture) -> Placement:
    if picture.stage != "open":
        reason = "shows the covered wall; only pictures of the open wall are placed here"
    else:
        reason = "too blurred"
    return Placement(id=picture.id, status=NOT_PLACED, reason=reason)


def _placements(solved: Solved, covariance: np.ndarray) -> list[Placement]:
    """One row per picture that was looked at, with its part of the covariance that is told."""
    u, problem, looked = solved.bundle.unknowns, solved.problem, solved.looked
    seen_corners = np.bincount(problem.corners.camera_idx, minlength=len(problem.camera_lens_idx))
    seen_clicks = np.bincount(problem.clicks.camera_idx, minlength=len(problem.camera_lens_idx))
    seen_tracks = np.bincount(problem.tracks.camera_idx, minlength=len(problem.camera_lens_idx))
    residual = _residual_px(solved)
    rows = []
    for i, picture in enumerate(looked.pictures):
        k = int(solved.camera_of[i])
        if k < 0:
            rows.append(Placement(id=picture.id, status=NOT_PLACED, reason=solved.reasons[i]))
            continue
        block = solved.bundle.covariance[6 * k : 6 * k + 6, 6 * k : 6 * k + 6]
        loose_m = float(np.sqrt(np.trace(block[3:, 3:])))
        alone = seen_corners[k] < 2 and seen_clicks[k] < MIN_POINTS and seen_tracks[k] < LEAST_TRACKS
        if loose_m > LOOSE_M or alone:
            rows.append(Placement(id=picture.id, status=NOT_PLACED, reason=TOO_LOOSE))
            continue
        block = covariance[6 * k : 6 * k + 6, 6 * k : 6 * k + 6]
        lens = u.lens[problem.camera_lens_idx[k], :7]
        rows.append(
            Placement(
                id=picture.id,
                status=PLACED,
                quat_xyzw=quat_xyzw(u.camera_rotation[k]),
                translation_m=tuple(float(v) for v in u.camera_translation_m[k]),
                covariance=tuple(tuple(float(v) for v in row) for row in block),
                lens=tuple(float(v) for v in lens),
                lens_id=solved.lens_ids[problem.camera_lens_idx[k]],
                method="joint solution",
                residual_px=None if np.isnan(residual[k]) else float(residual[k]),
                reference_count=int(seen_corners[k] + seen_clicks[k]),
                track_count=int(seen_tracks[k]),
                solution_id=SOLUTION_ID,
                params_idx=6 * k,
            )
        )
    return rows


def _residual_px(solved: Solved) -> np.ndarray:
    """Median track residual per camera [px]; NaN without tracks."""
    problem, tracks = solved.problem, solved.problem.tracks
    residual = np.full(len(problem.camera_lens_idx), np.nan)
    if len(tracks):
        off = np.linalg.norm(solved.bundle.residuals["tracks"], axis=1) * tracks.sigma_px
        for k in range(len(residual)):
            mine = off[tracks.camera_idx == k]
            residual[k] = np.median(mine) if len(mine) else np.nan
    return residual


def _solution(solved: Solved, covariance: np.ndarray) -> Solution:
    """The joint covariance of cameras, lenses and faces, and where each stands in it."""
    u, starts = solved.bundle.unknowns, solved.bundle.unknowns.starts
    count = int(starts[3])
    faces = {
        f.id: {"quat_xyzw": quat_xyzw(u.face_rotation[k]), "translation_m": u.face_translation_m[k].tolist()}
        for k, f in enumerate(solved.site.faces)
    }
    markers = {
        str(m.id): {
            "face_id": m.face_id,
            "offset_m": float(u.marker_place_m[k, 0]),
            "height_m": float(u.marker_place_m[k, 2]),
            "sigma_offset_m": float(np.sqrt(covariance[starts[3] + 7 * k + 3, starts[3] + 7 * k + 3])),
            "sigma_height_m": float(np.sqrt(covariance[starts[3] + 7 * k + 5, starts[3] + 7 * k + 5])),
            "scale": float(np.exp(u.marker_log_scale[k])),
            "taped": is_taped(m),
            "pictures": int(np.sum(solved.problem.corners.thing_idx == k)),
        }
        for k, m in enumerate(solved.site.markers)
    }
    return Solution(
        id=SOLUTION_ID,
        created_at=now(),
        report={
            "building_from_face": faces,
            "lens_column": {key: int(starts[1]) + 8 * k for k, key in enumerate(solved.lens_ids)},
            "face_column": {f.id: int(starts[2]) + 6 * k for k, f in enumerate(solved.site.faces)},
            "markers": markers,
        },
        joint_covariance=pack(covariance[:count, :count]),
        param_count=count,
    )


def _report(placements, solved, looked, site, seconds: float) -> PlaceReport:
    reasons = Counter(p.reason for p in placements if p.status == NOT_PLACED)
    known = {m.id for m in site.markers}
    strangers = Counter(m.id for seen in looked.markers for m in seen if m.id not in known)
    blunders = tuple(b.text for b in solved.blunders) if solved else ()
    notes = (
        blunders
        + _disagreeing(placements, looked, site)
        + tuple(
            f"marker {i} is in {n} pictures but not in the plan: tape its place and add it"
            for i, n in strangers.items()
            if n > 1
        )
    )
    corner_px = track_px = None
    if solved:
        residuals, problem = solved.bundle.residuals, solved.problem
        if len(problem.corners):
            corner_px = float(np.sqrt(np.mean((residuals["corners"] * problem.corners.sigma_px[:, None]) ** 2)))
        if len(problem.tracks):
            track_px = float(np.sqrt(np.mean((residuals["tracks"] * problem.tracks.sigma_px[:, None]) ** 2)))
    return PlaceReport(
        placed=sum(p.status == PLACED for p in placements),
        not_placed=dict(reasons),
        notes=notes,
        seconds=seconds,
        corner_residual_px=corner_px,
        track_residual_px=track_px,
        unknown_markers=dict(strangers),
    )


def _disagreeing(placements: list[Placement], looked: Looked, site: Site) -> tuple[str, ...]:
    """Which sheets stand together in pictures that could not be placed because they disagree."""
    reason = {p.id: p.reason for p in placements}
    known = {m.id for m in site.markers}
    groups = Counter(
        tuple(m.id for m in seen if m.id in known)
        for picture, seen in zip(looked.pictures, looked.markers, strict=True)
        if reason[picture.id] == DISAGREEING
    )
    return tuple(
        f"marker sheets {', '.join(map(str, ids))} do not agree with each other in {count} pictures: "
        "check that they are not swapped, and tape them again"
        for ids, count in groups.items()
        if len(ids) > 1
    )
