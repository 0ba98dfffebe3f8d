"""The joint solution against Ceres Solver: the same pictures and tracks, time and agreement in one run.

    python -m tests.benchmarks.bundle

pycolmap's bundle adjustment is Ceres's. It has no place for sheets, walls, corners, taped marks or
their covariance, so the two are compared on what both can state: pictures and tracks, lenses
known, the same robust cost, the same start. What the whole costs in ours stands beside it.
"""

from __future__ import annotations

import time
from collections.abc import Callable

import numpy as np

from asbuilt.geometry.bundle import minimise, solve
from tests.benchmarks.row import Row, as_markdown
from tests.geometry.joint import TRACK_SIGMA_PX, draw, make_scene, start_of
from tests.outside.ceres import TOLERANCE, adjust, apart_m, reconstruction_of, tracks_alone

SIZE_PX = (1920, 1080)
ROUNDS = 3
MOST_APART_M = 1e-4


def _seconds(work: Callable[[], object]) -> tuple[float, object]:
    """The least processor time of some rounds, and what came out."""
    least, found = np.inf, None
    for _ in range(ROUNDS):
        started = time.process_time()
        found = work()
        least = min(least, time.process_time() - started)
    return least, found


def rows(quick: bool) -> list[Row]:
    """Time against Ceres and how far apart the camera centres end."""
    found = []
    for seed, every, at_once in ((1, 4, 40),) if quick else ((1, 2, 60), (1, 1, 60), (1, 1, 240)):
        scene, rng = make_scene(seed, every=every, at_once=at_once), np.random.default_rng(seed)
        problem, truth = draw(scene, rng)
        begin = start_of(problem, truth, rng)
        only, start = tracks_alone(problem, begin, truth.lens)
        ours_s, ours = _seconds(lambda only=only, start=start: minimise(start, only, 60, TOLERANCE))
        makes = [reconstruction_of(only, start, SIZE_PX) for _ in range(ROUNDS)]
        theirs_s, theirs = _seconds(lambda makes=makes: adjust(makes.pop(), TRACK_SIGMA_PX))
        whole_s, _ = _seconds(lambda problem=problem, begin=begin: solve(begin, problem))
        size = f"{len(start.camera_rotation)} pictures, {len(start.point_m)} tracks, {len(only.tracks)} sightings"
        apart = apart_m(ours.unknowns, theirs).max()
        found += [
            Row(what=f"tracks alone: {size}", ratio=ours_s / theirs_s, peer="Ceres (pycolmap)",
                value=f"{ours_s:.2f} s against {theirs_s:.2f} s of processor time"),
            Row(what="camera centres, ours from Ceres's", value=f"{1e6 * apart:.1f} um at most",
                must=f"{1e6 * MOST_APART_M:.0f} um", holds=bool(apart < MOST_APART_M)),
            Row(what="the whole, with sheets, walls, marks and the joint covariance", value=f"{whole_s:.2f} s"),
        ]  # fmt: skip
    return found


if __name__ == "__main__":
    print(as_markdown("bundle", rows(quick=False)))
