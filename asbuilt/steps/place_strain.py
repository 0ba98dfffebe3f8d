"""A solution that bends its sheets out of their places is wrong somewhere: say so, and widen every error by it.

A blunder that was not found, or a false minimum (a stretch tied by one sheet at a time), leaves
taped sheets inches from where they were taped, out of the wall, or of another size. The
covariance knows nothing of that: it holds only near the right minimum.
"""

from __future__ import annotations

import numpy as np

from asbuilt.geometry.bundle import Bundle
from asbuilt.geometry.bundle_problem import Problem, Unknowns
from asbuilt.geometry.resection import MIN_POINTS
from asbuilt.record.types import STUD_LINE
from asbuilt.steps.place_named import SLIP_M, Blunder
from asbuilt.steps.place_setup import Site
from asbuilt.units import format_inches

STRAINED_SCALE = 0.010  # blur and printers look like half of it; our choice
# A size off by a share puts a face off by up to that share of this: twice the usual range, as rendered rooms showed.
REACH_M = 5.0
STUDS_M = 0.0254 / 4  # studs wander so far, many of them alike; rendered rooms placed by them bear it out
MARKS_TO_TELL = 3  # clicked marks of one picture, of which more than half must fit


def strained(u: Unknowns, problem: Problem, site: Site) -> tuple[float, tuple[int, ...]]:
    """How far taped sheets that are in use are bent [m], 0 if none is, and their numbers."""
    worst_m, ids = 0.0, []
    for k in np.unique(problem.corners.thing_idx):
        off_m = float(np.abs(u.marker_place_m[k] - problem.marker_prior_m[k]).max())
        if problem.marker_sigma_m[k].max() > SLIP_M:
            off_m = 0.0  # not taped, or already doubted
        scale_off = float(np.abs(np.expm1(u.marker_log_scale[k])))
        if off_m > SLIP_M or scale_off > STRAINED_SCALE:
            worst_m = max(worst_m, off_m, scale_off * REACH_M)
            ids.append(site.markers[k].id)
    return worst_m, tuple(sorted(ids))


def strained_marks(bundle: Bundle, problem: Problem, site: Site) -> tuple[float, tuple[str, ...]]:
    """How far taped marks are bent [m], or lie from where pictures show them, 0 if none is, and their ids."""
    u, clicks = bundle.unknowns, problem.clicks
    if not len(clicks):
        return 0.0, ()
    face = problem.reference_face_idx
    places = np.einsum("kij,kj->ki", u.face_rotation[face], u.reference_place_m) + u.face_translation_m[face]
    turned = np.einsum("nij,nj->ni", u.camera_rotation[clicks.camera_idx], places[clicks.thing_idx])
    distance_m = (turned + u.camera_translation_m[clicks.camera_idx])[:, 2]
    focal_px = u.lens[problem.camera_lens_idx[clicks.camera_idx], 0]
    missed_m = np.linalg.norm(bundle.residuals["clicks"], axis=1) * clicks.sigma_px * distance_m / focal_px
    bent_m = np.abs(u.reference_place_m - problem.reference_prior_m).max(axis=1)
    bent_m[problem.reference_sigma_m.max(axis=1) > SLIP_M] = 0.0  # not taped, or already doubted
    off_m = {int(k): float(bent_m[k]) for k in np.unique(clicks.thing_idx) if bent_m[k] > SLIP_M}
    for camera in np.unique(clicks.camera_idx):
        own = np.flatnonzero(clicks.camera_idx == camera)
        if len(own) >= MARKS_TO_TELL and np.median(missed_m[own]) > SLIP_M:
            off_m |= {int(clicks.thing_idx[n]): float(missed_m[n]) for n in own if missed_m[n] > SLIP_M}
    return max(off_m.values(), default=0.0), tuple(sorted(site.references[k].id for k in off_m))


def carried_by_marks(problem: Problem) -> bool:
    """Whether no sheet was used and some pictures without four marks of their own were placed along tracks."""
    if len(problem.corners) or not len(problem.tracks):
        return False
    clicked = np.bincount(problem.clicks.camera_idx, minlength=len(problem.camera_lens_idx))
    return bool((clicked < MIN_POINTS).any())


def carried_by_studs(problem: Problem, site: Site) -> bool:
    """Whether no sheet was used, and studs on the layout of the plan were."""
    return not len(problem.corners) and any(site.references[k].kind == STUD_LINE for k in problem.clicks.thing_idx)


def studs_blunder() -> Blunder:
    """What to tell of a walkthrough that counted studs carry."""
    text = (
        f"placed by studs counted from known places: no error is told less than {format_inches(2 * STUDS_M, 2)} at "
        "95 %, as the studs may stand off their layout; check a few places with a tape; two marker sheets a wall do "
        "better"
    )
    return Blunder(kind="studs alone", references=(), text=text)


def marks_blunder() -> Blunder:
    """What to tell of a walkthrough that marks alone carry."""
    text = (
        "placed by taped marks alone, most pictures only along what they share with others: check a few places with "
        "a tape; two marker sheets a wall do better"
    )
    return Blunder(kind="marks alone", references=(), text=text)


def widened(bundle: Bundle, strain_m: float) -> np.ndarray:
    """A bundle's covariance with cameras and faces no surer than the strain; one shared shift of all faces."""
    covariance = bundle.covariance.copy()
    cameras, lenses, faces, markers = (int(v) for v in bundle.unknowns.starts[:4])
    moved = np.arange(cameras, lenses).reshape(-1, 6)[:, 3:].ravel()
    covariance[moved, moved] += strain_m**2
    for axis in (3, 4, 5):
        shared = np.arange(faces, markers).reshape(-1, 6)[:, axis]
        covariance[np.ix_(shared, shared)] += strain_m**2
    return covariance


def strain_blunder(strain_m: float, ids: tuple[int, ...], marks: tuple[str, ...] = ()) -> Blunder:
    """What to tell and what to do."""
    names = ("marker sheets " + ", ".join(map(str, ids)) if ids else "") + (" and " if ids and marks else "")
    names += "taped marks " + ", ".join(marks) if marks else ""
    text = (
        f"{names} do not fit with the rest, by up to {format_inches(strain_m, 1)}, and nothing tells "
        "which is wrong: every error is widened by that; tape them again, and film those walls once more with two "
        "sheets in view at a time"
    )
    return Blunder(kind="strained", references=(*(f"marker {i}" for i in ids), *marks), text=text)
