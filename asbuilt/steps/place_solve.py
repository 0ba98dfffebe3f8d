"""The joint solution of a walkthrough: first poses, a first bundle, ties of stills, the final bundle."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from asbuilt.errors import FailedEstimate
from asbuilt.geometry.bundle import Bundle, minimise, solve
from asbuilt.geometry.bundle_problem import PixelObservations, Problem, Unknowns
from asbuilt.geometry.bundle_rows import track_rows
from asbuilt.geometry.cameras import Camera, Lens
from asbuilt.geometry.frames import BUILDING, Rigid3, camera_frame
from asbuilt.geometry.initial import Chain
from asbuilt.steps.place_blunders import Settled, settle
from asbuilt.steps.place_look import Looked
from asbuilt.steps.place_named import Blunder
from asbuilt.steps.place_problem import Assembled, Posed, assemble, cameras_of, recamera
from asbuilt.steps.place_setup import Site, corners_of, inside_test, known_points, planes_of
from asbuilt.steps.place_strain import (
    STUDS_M,
    carried_by_marks,
    carried_by_studs,
    marks_blunder,
    strain_blunder,
    strained,
    strained_marks,
    studs_blunder,
)
from asbuilt.steps.place_strays import strays
from asbuilt.steps.place_ties import resect_stills, tie_chains, tie_points

TRACK_SIGMA_PX = 0.6  # followed corners scatter 0.3 px about the epipolar line on rendered walks; they also drift
TRACK_OUTLIER_PX = 2.5
TIE_OUTLIER_PX = 5.0
FEW_TRACKS = 60  # observations per picture in the first bundle
SOME_TRACKS = 250  # and in the final one


@dataclass(frozen=True, slots=True, kw_only=True)
class Solved:
    """A joint solution and what its indices mean.

    ``camera_of`` maps a picture index to its camera index or -1; ``reasons`` says why not.
    ``strain_m`` is how far sheets and marks are bent that nothing explains: no error is less than that.
    """

    looked: Looked
    site: Site
    problem: Problem
    bundle: Bundle
    camera_of: np.ndarray
    lens_ids: tuple[str, ...]
    reasons: list[str]
    blunders: list[Blunder]
    strain_m: float = 0.0


def solve_site(looked: Looked, site: Site, clicks: PixelObservations) -> Solved | FailedEstimate:
    """Place every picture that can be placed.

    Returns
    -------
    Solved or FailedEstimate
        The latter when no picture at all could be placed.
    """
    roughly = _roughly_without_blunders(looked, site, clicks)
    if not roughly:
        return roughly
    posed, reasons, blunders = roughly
    looked, site = posed.looked, posed.site
    posed = _with_stills(posed)
    final = assemble(posed, few_tracks=SOME_TRACKS)
    better = minimise(final.start, final.problem, max_iterations=12, tolerance=1e-3)
    problem = _without_outliers(final.problem, better.unknowns)
    bundle = solve(better.unknowns, problem, max_iterations=25, tolerance=1e-6)
    if not bundle:
        return bundle
    camera_of = cameras_of(final.picture_idx, len(looked.pictures))
    strain_m, ids = strained(bundle.unknowns, problem, site)
    marks_m, marks = strained_marks(bundle, problem, site)
    strain_m = max(strain_m, marks_m)
    blunders = blunders + ([strain_blunder(strain_m, ids, marks)] if ids or marks else [])
    if carried_by_studs(problem, site):
        strain_m, blunders = max(strain_m, STUDS_M), [*blunders, studs_blunder()]
    elif carried_by_marks(problem):
        blunders = [*blunders, marks_blunder()]
    return Solved(looked=looked, site=site, problem=problem, bundle=bundle, camera_of=camera_of, strain_m=strain_m,
                  lens_ids=final.lens_ids, reasons=reasons, blunders=blunders)  # fmt: skip


def _roughly_without_blunders(
    looked: Looked, site: Site, clicks: PixelObservations
) -> tuple[Posed, list[str], list[Blunder]] | FailedEstimate:
    """A first solution without the sheets that are wrong, why pictures have none, and what was wrong."""
    groups = groups_of(looked, np.arange(len(looked.pictures)))
    astray = strays(looked, site, groups)
    left_out = Settled(site=site, dropped=astray.dropped(groups.tolist()), blunders=[])
    posed, reasons = first_poses(_without_sheets(looked, left_out), site, clicks)
    if not posed.cameras:
        return FailedEstimate("no picture shows a taped marker sheet or enough known points: four, or three twice")
    first, rough = _roughly(posed)
    everything = recamera(corners_of(site, looked), cameras_of(first.picture_idx, len(looked.pictures)))
    settled = settle(first.problem, rough, site, groups[first.picture_idx], everything, astray)
    if settled.blunders or settled.dropped != left_out.dropped:
        posed, reasons = first_poses(_without_sheets(looked, settled), settled.site, clicks)
        if not posed.cameras:
            return FailedEstimate("no picture shows a taped marker sheet that agrees with the others")
        first, rough = _roughly(posed)
    return _moved(posed, first, rough), reasons, settled.blunders


def _roughly(posed: Posed) -> tuple[Assembled, Unknowns]:
    """A first bundle on few tracks, robust scales from wide to narrow."""
    first = assemble(posed, few_tracks=FEW_TRACKS)
    rough = minimise(first.start, first.problem, max_iterations=25, tolerance=1e-3, widen=20.0)
    rough = minimise(rough.unknowns, first.problem, max_iterations=15, tolerance=1e-3, widen=3.0)
    return first, minimise(rough.unknowns, first.problem, max_iterations=10, tolerance=1e-3).unknowns


def _without_sheets(looked: Looked, settled: Settled) -> Looked:
    """What was seen, less the sheets that are left out."""
    groups = groups_of(looked, np.arange(len(looked.pictures)))
    gone = {settled.site.markers[k].id: dropped for k, dropped in settled.dropped.items()}
    markers = [
        [m for m in seen if groups[i] not in gone.get(m.id, ())] for i, seen in enumerate(looked.markers)
    ]  # fmt: skip
    return replace(looked, markers=markers)


def groups_of(looked: Looked, picture_idx: np.ndarray) -> np.ndarray:
    """A number for each clip and one for the stills, per camera; the same whatever pictures are asked for."""
    names = np.array([p.media_id if p.kind == "frame" else "stills" for p in looked.pictures])
    return np.unique(names, return_inverse=True)[1][picture_idx]


def first_poses(looked: Looked, site: Site, clicks: PixelObservations) -> tuple[Posed, list[str]]:
    """Poses from known points and along the tracks; reasons for the pictures without one."""
    corners = corners_of(site, looked)
    tracks = PixelObservations(
        camera_idx=looked.tracks.picture_idx, thing_idx=looked.tracks.track_idx, xy_px=looked.tracks.xy_px,
        sigma_px=np.full(len(looked.tracks.track_idx), TRACK_SIGMA_PX),
    )  # fmt: skip
    lenses = [looked.lenses[key] for key in looked.lens_ids]
    known = known_points(site, corners, clicks, len(looked.pictures))
    seen = Posed(looked=looked, site=site, cameras={}, corners=corners, clicks=clicks, tracks=tracks,
                 point_m=np.zeros((0, 3)))  # fmt: skip
    chain = Chain(lenses=lenses, planes=planes_of(site), known=known, tracks=tracks, inside=inside_test(site),
                  straighten=lambda chain: _straighten(chain, seen))  # fmt: skip
    chain.run()
    return _posed(chain, seen), chain.reasons


def _posed(chain: Chain, seen: Posed) -> Posed:
    points, usable = chain.points()
    points[~usable] = np.nan
    cameras = {
        int(i): _camera(int(i), chain.lenses[i], chain.rotation[i], chain.translation_m[i])
        for i in np.flatnonzero(chain.posed)
    }
    return replace(seen, cameras=cameras, point_m=points)


def _straighten(chain: Chain, seen: Posed) -> None:
    """Solve the posed cameras of a chain together before it grows on."""
    posed = _posed(chain, seen)
    first = assemble(posed, few_tracks=FEW_TRACKS)
    u = minimise(first.start, first.problem, max_iterations=10, tolerance=1e-2, widen=10.0).unknowns
    cameras = _moved(replace(posed, tracks=PixelObservations()), first, u).cameras
    lenses, rotation, translation_m = list(chain.lenses), chain.rotation.copy(), chain.translation_m.copy()
    solved = {seen.looked.lens_ids[i]: camera.lens for i, camera in cameras.items()}
    for i, key in enumerate(seen.looked.lens_ids):
        lenses[i] = solved.get(key, lenses[i])
    for i, camera in cameras.items():
        pose = camera.camera_from_building
        rotation[i], translation_m[i] = pose.rotation, pose.translation_m
    chain.moved(lenses, rotation, translation_m)


def _camera(i: int, lens: Lens, rotation: np.ndarray, translation_m: np.ndarray) -> Camera:
    pose = Rigid3(target=camera_frame(str(i)), source=BUILDING, rotation=rotation, translation_m=translation_m)
    return Camera(lens=lens, camera_from_building=pose)


def _moved(posed: Posed, assembled: Assembled, u: Unknowns) -> Posed:
    """The posed pictures as a solution moved them; every track placed again from them."""
    cameras = dict(posed.cameras)
    for k, i in enumerate(assembled.picture_idx):
        picture = posed.looked.pictures[i]
        lens_params = u.lens[assembled.problem.camera_lens_idx[k], :7]
        lens = Lens.from_params(picture.width_px, picture.height_px, lens_params)
        cameras[int(i)] = _camera(int(i), lens, u.camera_rotation[k], u.camera_translation_m[k])
    moved = replace(posed, cameras=cameras, unknowns=u, lens_ids=assembled.lens_ids)
    if len(posed.tracks):
        points, good = tie_points(posed.tracks, cameras, set(cameras))
        points[~good] = np.nan
        moved = replace(moved, point_m=points)
    return moved


def _with_stills(posed: Posed) -> Posed:
    """Stills tied to the solved frames: placed anew by what they share, their matches added as tracks."""
    looked, site = posed.looked, posed.site
    ties = tie_chains(looked, planes_of(site), posed.cameras)
    if not len(ties):
        return posed
    known = known_points(site, posed.corners, posed.clicks, len(looked.pictures))
    cameras = posed.cameras | resect_stills(looked, ties, posed.cameras, known, inside_test(site))
    points, good = tie_points(ties, cameras, set(cameras))
    ties = ties.only(good[ties.thing_idx])
    names = ("camera_idx", "thing_idx", "xy_px", "sigma_px")
    shifted = replace(ties, thing_idx=ties.thing_idx + len(posed.point_m))
    together = PixelObservations(**{n: np.concatenate([getattr(posed.tracks, n), getattr(shifted, n)]) for n in names})
    return replace(posed, cameras=cameras, tracks=together, point_m=np.concatenate([posed.point_m, points]))


def _without_outliers(problem: Problem, u: Unknowns) -> Problem:
    """The problem without track observations that do not fit; tracks left with one are dropped."""
    if not len(problem.tracks):
        return problem
    tracks = problem.tracks
    off_px = np.linalg.norm(track_rows(u, problem).residual, axis=1) * tracks.sigma_px
    limit_px = np.where(tracks.sigma_px > TRACK_SIGMA_PX, TIE_OUTLIER_PX, TRACK_OUTLIER_PX)
    kept = tracks.only(off_px < limit_px)
    seen = np.bincount(kept.thing_idx, minlength=len(problem.point_prior_m))
    return replace(problem, tracks=kept.only(seen[kept.thing_idx] >= 2))
