"""Blunders among the references: found, named with the likely cause, and left out.

A reference whose taped place, print scale or corners disagree with everything else is taken
out of the solution; where it really is, is then read from the pictures alone, which tells a
mistyped reading from swapped sheets, a sheet that moved, or one printed at the wrong scale.
Testing one suspect at a time against the rest is Baarda's data snooping (Baarda 1968).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from asbuilt.geometry.bundle import blocks_of, minimise
from asbuilt.geometry.bundle_problem import PixelObservations, Problem, Unknowns
from asbuilt.geometry.cameras import Lens
from asbuilt.steps.place_named import SCALE_OFF, SLIP_M, Blunder, Measured, named, near
from asbuilt.steps.place_setup import Site, is_taped, marker_sigmas
from asbuilt.steps.place_strays import Strays
from asbuilt.units import format_inches

SUSPECT = 5.0  # sigmas of a taped place, a print scale or the rms of a sheet's corners; our choice
MOST_SUSPECTS = 3
NO_TELLING = 50.0  # a fall of the cost this much larger than another's tells the culprit; our choice
USUAL_SQUARED = 0.7  # of a whitened corner coordinate that is right
COMMON_SCALE_OFF = 0.006
ON_FACE_M = 0.1
NO_STRAYS = Strays()
MOST_LEFT_OUT = 0.5  # never drop more than this share of the sheets


@dataclass(frozen=True, slots=True, kw_only=True)
class Settled:
    """What is left when the blunders are out.

    ``dropped`` maps a marker's index to the groups of pictures in which it is not to be used;
    ``site`` has the print scale and the doubted sigmas put right.
    """

    site: Site
    dropped: dict[int, set[int]]
    blunders: list[Blunder]


def settle(
    problem: Problem,
    u: Unknowns,
    site: Site,
    group_of_camera: np.ndarray,
    everything: PixelObservations,
    astray: Strays = NO_STRAYS,
) -> Settled:
    """Find the blunders of a converged problem.

    Parameters
    ----------
    problem : Problem
    u : Unknowns
        Its minimum.
    site : Site
    group_of_camera : ndarray of int, shape (N,)
        Which clip, or the stills, a camera belongs to.
    everything : PixelObservations
        All corners seen, those of the strays as well.
    astray : Strays
        Sheets that were left out beforehand.
    """
    blunders: list[Blunder] = []
    scale = _common_scale(problem, u)
    if scale is not None:
        blunders.append(_scale_blunder(scale))
        site = replace(site, markers=[replace(m, size_m=m.size_m * scale) for m in site.markers])
        problem = replace(problem, marker_half_m=problem.marker_half_m * scale)
        u = minimise(replace(u, marker_log_scale=np.zeros_like(u.marker_log_scale)), problem, 12, 1e-3).unknowns
    dropped = astray.dropped(group_of_camera.tolist())
    cleared: set[int] = set()
    for _ in range(max(1, int(MOST_LEFT_OUT * len(site.markers)))):
        suspects = _suspects(problem, u, site, group_of_camera, cleared)
        if not suspects:
            break
        tried = sorted((_left_out(problem, u, s, group_of_camera) for s in suspects), key=lambda t: t.cost)
        best = tried[0]
        if not _really_off(best, site, everything, group_of_camera):
            cleared.add(best.marker)
            continue
        printed = _small_print(tried, u)
        best = printed or best
        if printed is None and len(tried) > 1 and tried[1].cost - best.cost < NO_TELLING:
            apart_m = _apart(best, site, everything, group_of_camera)
            blunders.append(_doubt(site, best.marker, tried[1].marker, apart_m))
            site = _widened(site, (best.marker, tried[1].marker), apart_m)
            problem = replace(problem, marker_sigma_m=marker_sigmas(site))
            u = minimise(u, problem, 15, 1e-3).unknowns
            cleared |= {best.marker, tried[1].marker}
            continue
        dropped.setdefault(best.marker, set()).update(best.groups)
        problem, u = best.problem, best.unknowns
    while True:
        found = {m: _measure(problem, u, site, everything, m, g, group_of_camera) for m, g in dropped.items()}
        fit = [m for m in found if _fits_after_all(site, m, found[m])]
        if not fit:
            break
        dropped = {m: g for m, g in dropped.items() if m not in fit}
        problem = replace(problem, corners=_less(everything, dropped, group_of_camera))
        u = minimise(u, problem, 12, 1e-3).unknowns
    blunders += named(problem, site, found, astray.swapped)
    return Settled(site=site, dropped=dropped, blunders=blunders)


def _common_scale(problem: Problem, u: Unknowns) -> float | None:
    """The one wrong scale at which all sheets are printed, if they are: a printer that fits to the page."""
    seen = np.unique(problem.corners.thing_idx)
    if len(seen) < 3:
        return None
    scale = u.marker_log_scale[seen]
    middle = float(np.median(scale))
    if abs(middle) < COMMON_SCALE_OFF or np.mean(np.abs(scale - middle) < 0.5 * abs(middle)) < 0.7:
        return None
    return float(np.exp(middle))


def _scale_blunder(scale: float) -> Blunder:
    text = (
        f"the marker sheets are printed at {100 * scale:.1f} % of true size (a printer set to fit the page?); "
        "their size is taken from the taped distances instead"
    )
    return Blunder(kind="print scale", references=("all sheets",), text=text)


@dataclass(frozen=True, slots=True, kw_only=True)
class LeftOut:
    """What becomes of the solution without one suspect; ``cost`` as if nothing had been taken away."""

    marker: int
    groups: set[int]
    problem: Problem
    unknowns: Unknowns
    cost: float


def _suspects(
    problem: Problem, u: Unknowns, site: Site, group_of_camera, cleared: set[int]
) -> list[tuple[int, set[int]]]:
    """The most suspicious sheets and their neighbours, each with the groups of pictures to leave it out of.

    A neighbour may be the culprit: of two sheets that disagree, either can bear the residual.
    """
    if not len(problem.corners):
        return []
    blocks = blocks_of(u, problem)
    rms = np.sqrt(np.mean(blocks["corners"].residual ** 2, axis=1))
    groups = group_of_camera[problem.corners.camera_idx]
    scored = []
    for marker in np.unique(problem.corners.thing_idx):
        mine = problem.corners.thing_idx == marker
        by_group = {int(g): float(np.median(rms[mine & (groups == g)])) for g in np.unique(groups[mine])}
        off_m = float(np.abs(u.marker_place_m[marker] - problem.marker_prior_m[marker])[[0, 2]].max())
        taped = off_m / problem.marker_sigma_m[marker, 0] if off_m > SLIP_M else 0.0
        printed = SUSPECT * float(np.abs(u.marker_log_scale[marker])) / SCALE_OFF
        score = max(taped, printed, *by_group.values())
        if score > SUSPECT and marker not in cleared:
            bad = {g for g, value in by_group.items() if value > SUSPECT}
            whole = max(taped, printed) > SUSPECT or not bad or bad == set(by_group)
            scored.append((score, int(marker), set(by_group) if whole else bad))
    scored.sort(key=lambda s: -s[0])
    chosen = {marker: bad for score, marker, bad in scored[:MOST_SUSPECTS] if score > 0.4 * scored[0][0]}
    if scored:
        for marker in _neighbours(site, scored[0][1]):
            mine = groups[problem.corners.thing_idx == marker]
            if marker not in chosen and len(mine):
                chosen[marker] = {int(g) for g in mine}
    return list(chosen.items())


def _neighbours(site: Site, marker: int) -> list[int]:
    """The two taped sheets nearest to one on its face."""
    own = site.markers[marker]
    beside = [
        (abs(m.offset_m - own.offset_m), k) for k, m in enumerate(site.markers)
        if k != marker and m.face_id == own.face_id and is_taped(m) and is_taped(own)
    ]  # fmt: skip
    return [k for _, k in sorted(beside)[:2]]


def _left_out(problem: Problem, u: Unknowns, suspect: tuple[int, set[int]], group_of_camera) -> LeftOut:
    marker, groups = suspect
    corners = _without(problem.corners, marker, groups, group_of_camera)
    less = replace(problem, corners=corners)
    found = minimise(u, less, 8, 1e-3)
    usual = USUAL_SQUARED * 8 * (len(problem.corners) - len(corners))
    return LeftOut(marker=marker, groups=groups, problem=less, unknowns=found.unknowns, cost=found.cost + usual)


def _without(corners: PixelObservations, marker: int, groups: set[int], group_of_camera) -> PixelObservations:
    inside = np.isin(group_of_camera[corners.camera_idx], list(groups))
    return corners.only(~((corners.thing_idx == marker) & inside))


def _less(corners: PixelObservations, dropped: dict[int, set[int]], group_of_camera) -> PixelObservations:
    for marker, groups in dropped.items():
        corners = _without(corners, marker, groups, group_of_camera)
    return corners


def _fits_after_all(site: Site, marker: int, seen: dict[int, Measured]) -> bool:
    """Whether a sheet that was left out lies where it was taped, once the others that were wrong are out too.

    The first suspect of several blunders may be a good sheet that they had bent.
    """
    own = site.markers[marker]
    return (
        bool(seen)
        and is_taped(own)
        and all(near(site, own, m) and abs(m.scale - 1) <= SCALE_OFF for m in seen.values())
    )


def _small_print(tried: list[LeftOut], u: Unknowns) -> LeftOut | None:
    """Of suspects about as likely as the first, the only one that was solved to be of another size."""
    likely = [t for t in tried if t.cost - tried[0].cost < NO_TELLING]
    printed = [t for t in likely if abs(np.expm1(u.marker_log_scale[t.marker])) > SCALE_OFF]
    return printed[0] if len(printed) == 1 else None


def _really_off(left_out: LeftOut, site: Site, everything, group_of_camera) -> bool:
    """Whether the pictures, without a suspect, put it elsewhere than taped, see it move, or of another size."""
    marker = site.markers[left_out.marker]
    seen = _measure(
        left_out.problem, left_out.unknowns, site, everything, left_out.marker, left_out.groups, group_of_camera
    )
    if not seen:
        return True  # on none of the faces: nowhere near where it was taped
    scale_off = any(abs(m.scale - 1) > SCALE_OFF for m in seen.values())
    return scale_off or not is_taped(marker) or any(not near(site, marker, m) for m in seen.values())


def _apart(left_out: LeftOut, site: Site, everything, group_of_camera) -> float:
    """How far the pictures put a left-out sheet from where it was taped [m]."""
    marker = site.markers[left_out.marker]
    seen = _measure(
        left_out.problem, left_out.unknowns, site, everything, left_out.marker, left_out.groups, group_of_camera
    )
    apart = [float(np.hypot(m.center_m[0] - marker.offset_m, m.center_m[2] - marker.height_m)) for m in seen.values()]
    return max([*apart, 0.05])


def _doubt(site: Site, marker: int, other: int, apart_m: float) -> Blunder:
    """Two sheets that disagree, with nothing to tell which is wrong."""
    a, b = site.markers[marker].id, site.markers[other].id
    text = (
        f"marker sheets {a} and {b} disagree by about {format_inches(apart_m, 1)} and nothing else tells "
        "which is wrong; tape both again: until then every error near them is widened"
    )
    return Blunder(kind="disagree", references=(f"marker {a}", f"marker {b}"), text=text)


def _widened(site: Site, doubted: tuple[int, int], apart_m: float) -> Site:
    """The site with both trusted only as far as they disagree."""
    markers = [replace(m, sigma_m=apart_m) if k in doubted else m for k, m in enumerate(site.markers)]
    return replace(site, markers=markers)


def _measure(problem, u: Unknowns, site: Site, everything, marker: int, groups, group_of_camera) -> dict[int, Measured]:
    """Where each group's pictures see the sheet that was left out, by group."""
    found = {}
    for group in groups:
        rows = np.flatnonzero((everything.thing_idx == marker) & (group_of_camera[everything.camera_idx] == group))
        corners = _corners_building_m(problem, u, everything, rows)
        measured = None if corners is None else _on_a_face(u, site, corners, problem.marker_half_m[marker])
        if measured is not None:
            found[group] = measured
    return found


def _corners_building_m(problem: Problem, u: Unknowns, everything, rows: np.ndarray) -> np.ndarray | None:
    """The four corners from the rays of several pictures, (4, 3); None with fewer than two."""
    if len(rows) < 2:
        return None
    weight, pull = np.zeros((4, 3, 3)), np.zeros((4, 3))
    for row in rows:
        k = everything.camera_idx[row]
        lens = Lens.from_params(10**5, 10**5, u.lens[problem.camera_lens_idx[k], :7])
        rays = lens.rays(everything.xy_px[row]) @ u.camera_rotation[k]
        across = np.eye(3) - rays[:, :, None] * rays[:, None, :]
        weight += across
        pull += across @ (-u.camera_rotation[k].T @ u.camera_translation_m[k])
    return np.linalg.solve(weight + 1e-9 * np.eye(3), pull[:, :, None])[:, :, 0]


def _on_a_face(u: Unknowns, site: Site, corners_m: np.ndarray, half_m: float) -> Measured | None:
    side = np.linalg.norm(np.roll(corners_m, -1, axis=0) - corners_m, axis=1)
    for k, face in enumerate(site.faces):
        place = (corners_m.mean(axis=0) - u.face_translation_m[k]) @ u.face_rotation[k]
        if abs(place[1]) < ON_FACE_M and -0.2 < place[0] < face.length_m + 0.2:
            scale = float(side.mean() / (2 * half_m))
            return Measured(face_idx=k, center_m=place, scale=scale)
    return None
