"""Propose: studs measured, boxes and runs found in the placed pictures, for a person to confirm.

Boxes and runs are kept as proposals, apart from the items, until they are accepted. Stud centres
are measurements and are kept as studs, with their error; what was taped goes before them. A face
is looked at again only when its pictures, their places or the plan changed.
"""

from __future__ import annotations

import hashlib
import json
import time
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace

import numpy as np

from asbuilt.errors import FailedEstimate
from asbuilt.geometry.regular import OFF_LAYOUT_M, Regular, fit_regular
from asbuilt.geometry.studs import SAME_STUD_M
from asbuilt.imaging.uprights import Upright
from asbuilt.record.proposal_row import PROPOSED, Proposal, ProposalRun
from asbuilt.record.store import Record, now
from asbuilt.record.types import Face, Marker, Opening, Stud
from asbuilt.steps.elevation import covered_sites, sources_of
from asbuilt.steps.elevation_site import Site, Source
from asbuilt.steps.propose_face import Seen, boxes_seen, runs_seen, studs_seen
from asbuilt.steps.propose_list import proposals_of, run_length_m
from asbuilt.steps.propose_views import good_sources, rectified

VERSION = 3
MEASURED = "measured"
TAPED_NEAR_M = 0.03  # a taped stud this near is the same one, and is believed
LEAST_VIEWS = 3
FULL_HEIGHT_M = 0.35  # a stud followed this near to a plate, or to where nothing is seen, runs to it
SAME_PLACE_M = 0.06


@dataclass(frozen=True, slots=True, kw_only=True)
class ProposeOptions:
    """``face_ids`` empty: all."""

    face_ids: tuple[str, ...] = ()
    force: bool = False
    progress: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class FaceReport:
    """What was found on one face; ``off_layout`` are (stud id, centre, distance from its mark) [m]."""

    face_id: str
    picture_count: int
    studs: int = 0
    spacing_m: float | None = None
    off_layout: tuple[tuple[str, float, float], ...] = ()
    layout_reason: str = ""
    boxes: int = 0
    runs: int = 0
    run_length_m: float = 0.0
    recomputed: bool = False
    seconds: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class ProposeReport:
    """What was found on all faces."""

    faces: tuple[FaceReport, ...]

    def to_json(self) -> dict:
        """As plain values."""
        return asdict(self)


def run(record: Record, options: ProposeOptions = ProposeOptions()) -> ProposeReport:
    """Look for studs, boxes and runs on the faces that changed since the last time.

    Raises
    ------
    RecordError
        If nothing is placed yet.
    NotInRecordError
        If there is no face of a name.
    """
    faces = [record.get(Face, face_id) for face_id in options.face_ids]
    faces = faces or [f for f in record.all(Face) if f.kind == "wall"]
    started_at = now()
    sites = covered_sites(record)
    report = ProposeReport(faces=tuple(_face(record, sites[face.id], options) for face in faces))
    if any(f.recomputed for f in report.faces):
        record.add_step_report("propose", started_at, report.to_json())
    return report


def _face(record: Record, site: Site, options: ProposeOptions) -> FaceReport:
    clock, face = time.monotonic(), site.face
    chosen = good_sources(site, sources_of(record, site))
    openings, markers = record.all(Opening, face_id=face.id), record.all(Marker, face_id=face.id)
    input_hash = _input_hash(site, chosen, [*openings, *markers])
    kept = record.find(ProposalRun, face.id)
    if kept and kept.input_hash == input_hash and not options.force:
        report = dict(kept.report)
        report["off_layout"] = tuple(tuple(o) for o in report["off_layout"])
        return FaceReport(**report)
    patch, views = rectified(record, site, chosen, options.progress)
    seen = Seen(face=face, patch=patch, views=views, openings=openings, markers=markers)
    if len(views) < LEAST_VIEWS:
        studs, mouths, runs, coils = [], [], [], []
    else:
        first = studs_seen(seen, ())
        layout = layout_of(face, first)
        likely = () if not layout else marks_of(layout, face.length_m)
        studs = studs_seen(seen, likely) if likely else first
        mouths = boxes_seen(seen, studs)
        runs, coils = runs_seen(seen, studs, mouths)
    rows, stud_report = _stud_rows(record, site, seen, studs)
    proposals = proposals_of(seen, studs, mouths, runs, coils)
    report = FaceReport(
        face_id=face.id, picture_count=len(views), boxes=len(mouths), runs=sum(bool(p.sheath) for p in proposals),
        run_length_m=round(sum(run_length_m(p.points_m) for p in proposals if p.sheath), 2), **stud_report,
    )  # fmt: skip
    write(record, face, rows, proposals, ProposalRun(
        id=face.id, created_at=now(), input_hash=input_hash, report=asdict(report)))  # fmt: skip
    return replace(report, recomputed=True, seconds=round(time.monotonic() - clock, 1))


def _input_hash(site: Site, chosen: Sequence[tuple[Source, float]], plan: Sequence) -> str:
    pose = site.building_from_face
    parts = [VERSION, asdict(site.face), pose.rotation.tolist(), pose.translation_m.tolist()]
    parts += [asdict(p) for p in plan] + [asdict(s.placement) for s, _ in chosen]
    return hashlib.sha256(json.dumps(parts, sort_keys=True).encode()).hexdigest()


def layout_of(face: Face, studs: Sequence[Upright]) -> Regular | FailedEstimate:
    """The layout that the long studs follow: the one of the plan if they do, else any usual one."""
    centers = [s.center_m for s in studs if s.top_m - s.bottom_m > 0.5 * face.height_m]
    given = fit_regular(centers, spacings_m=(face.spacing_m,))
    return given if given else fit_regular(centers)


def marks_of(layout: Regular, length_m: float) -> list[float]:
    """Where a layout asks for studs on a face [m]."""
    first = layout.start_m % layout.spacing_m
    return [float(m) for m in np.arange(first, length_m, layout.spacing_m)]


def _stud_rows(record: Record, site: Site, seen: Seen, studs: Sequence[Upright]) -> tuple[list[Stud], dict]:
    """Rows of the measured studs, and what the layout makes of them."""
    face = site.face
    taped = [s for s in record.all(Stud, face_id=face.id) if s.source != MEASURED]
    sigma_m = float(np.median([v.sigma_m for v in seen.views])) if seen.views else 0.003
    rows = []
    for number, upright in enumerate(studs, 1):
        if any(abs(s.center_m - upright.center_m) < TAPED_NEAR_M for s in taped):
            continue
        full = upright.top_m > face.height_m - FULL_HEIGHT_M or upright.top_m - upright.bottom_m > 0.5 * face.height_m
        rows.append(
            Stud(
                id=f"{face.id}-seen-{number:02d}", face_id=face.id, center_m=round(upright.center_m, 5),
                sigma_m=round(float(np.hypot(upright.scatter_m, sigma_m)), 5), width_m=face.stud_width_m,
                bottom_m=0.0 if upright.bottom_m < FULL_HEIGHT_M else round(upright.bottom_m, 3),
                top_m=None if full else round(upright.top_m, 3), source=MEASURED,
            )
        )  # fmt: skip
    layout = layout_of(face, studs)
    if not layout:
        return rows, {"studs": len(studs), "layout_reason": layout.reason}
    off = tuple(
        (r.id, r.center_m, round(_off_mark(r.center_m, layout), 4))
        for r in rows
        if abs(_off_mark(r.center_m, layout)) > OFF_LAYOUT_M and not _framing(r, face, seen.openings)
    )
    return rows, {"studs": len(studs), "spacing_m": layout.spacing_m, "off_layout": off}


def _off_mark(center_m: float, layout: Regular) -> float:
    half = layout.spacing_m / 2
    return (center_m - layout.start_m + half) % layout.spacing_m - half


def _framing(stud: Stud, face: Face, openings: Sequence[Opening]) -> bool:
    """Whether a stud belongs to a corner or to an opening, and follows no layout for that."""
    sides = [0.0, face.length_m, *(e for o in openings for e in (o.left_m, o.right_m))]
    return any(abs(stud.center_m - side) < SAME_STUD_M / 1.5 for side in sides)


def write(record: Record, face: Face, studs: list[Stud], proposals: list[Proposal], done: ProposalRun) -> None:
    """Replace what was only proposed; what a person decided stays, and is not proposed again."""
    who = "measured in the pictures"
    with record.transaction():
        decided = [p for p in record.all(Proposal, face_id=face.id) if p.state != PROPOSED]
        taken = {p.id for p in decided}
        for old in record.all(Proposal, face_id=face.id, state=PROPOSED):
            record.remove(Proposal, old.id, author=who)
        for new in proposals:
            if not any(_same(new, d) for d in decided):
                record.put(replace(new, id=_free(new.id, taken)), author=who)
        kept = {s.id for s in studs}
        for old in record.all(Stud, face_id=face.id, source=MEASURED):
            if old.id not in kept:
                record.remove(Stud, old.id, author=who)
        record.put(*studs, author=who)
        record.put(done)


def _free(name: str, taken: set[str]) -> str:
    free, number = name, 2
    while free in taken:
        free, number = f"{name}-{number}", number + 1
    taken.add(free)
    return free


def _same(new: Proposal, old: Proposal) -> bool:
    if new.kind != old.kind:
        return False
    a, b = np.array(new.points_m)[:, :2], np.array(old.points_m)[:, :2]
    apart = np.linalg.norm(a[:, None] - b[None], axis=2).min(axis=1)
    return float((apart < SAME_PLACE_M).mean()) > 0.6
