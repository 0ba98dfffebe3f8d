"""Accuracy of what placing and locating say, against the truth of rooms, case by case.

    python -m tests.benchmarks.accuracy [ROOM ...] [--seeds 11 12 13] [--cases marked marks studs still] [--jobs N]

A ROOM is a folder as the sample building's: plan.toml, walk*.mp4, open_*, truth.json and, for the
cases without sheets, references.json. Without one, ``sample_media`` is measured. Spots on cables and
pipes are clicked 1.5 px off (one sigma an axis) in one, three or all of the pictures that show them.
Simulated rooms (``--seeds``) have geometry, tracks and noise but no pixels: nothing is found again there.
"""

from __future__ import annotations

import argparse
import json
import os
import tempfile
import time
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np

from tests.benchmarks.accuracy_limits import nssda_horizontal_m, oiml_r35_mpe_m
from tests.rooms.evaluate import Accuracy, accuracy

CLICK_PX = 1.5
REPOSITORY = Path(__file__).parents[2]
SAMPLE = REPOSITORY / "sample_media"
SAMPLE_TRUTH = REPOSITORY / "tests" / "data" / "sample_truth.json"
MARKS_PER_FACE = 9
MARK_PICTURES = 2
SIMULATED_MARKS = 9
LIMITS_IN = {"marked": (1 / 16, 5 / 32), "marks": (3 / 16, 1 / 2), "studs": (3 / 16, 1 / 2), "still": (1 / 8, 3 / 8)}
# How many of the pictures that show a spot it is clicked in: negative spread evenly, 0 all.
COUNTS = {1: "1 picture", 3: "3 pictures, any", -3: "3 pictures, spread", 0: "all pictures"}
DEPTH_LIMIT_IN = (1 / 4, 5 / 8)


def room_truth(room: Path) -> dict:
    """The truth of a room folder."""
    path = room / "truth.json"
    return json.loads((path if path.exists() else SAMPLE_TRUTH).read_text())


def rendered(room: Path, case: str, folder: Path, counts: dict[int, str] = COUNTS) -> list[str]:
    """The rows of one case of one rendered room."""
    from tests.benchmarks.accuracy_rooms import make_marked, make_marks, stills
    from tests.benchmarks.accuracy_studs import make_studs

    truth = room_truth(room)
    started = time.process_time()
    if case == "still":
        errors = [stills(room, truth, folder)]
        names = ["one still, 6 marks"]
    else:
        make = {"marked": make_marked, "marks": make_marks, "studs": make_studs}[case]
        record, note = make(room, truth, folder)
        names, errors = clicked(record, truth, note, counts)
    head = f"{room.name}, {case} ({time.process_time() - started:.0f} s CPU)"
    return [head, *(row_of(n, e, case) for n, e in zip(names, errors, strict=True))]


def clicked(record, truth: dict, note: str, counts: dict[int, str] = COUNTS) -> tuple[list[str], list]:
    """Names and errors of spots of a placed record, clicked in so many of their pictures."""
    from tests.benchmarks.accuracy_rooms import click_spots, spot_errors

    names, errors = [note], [None]
    for count, name in counts.items():
        before, after = click_spots(record, truth, count, CLICK_PX, np.random.default_rng(5))
        errors += [spot_errors(before, truth), spot_errors(after, truth), spot_errors(after, truth, again=True)]
        names += [f"{name}: clicks alone", f"{name}: looked again", f"{name}: found again"]
    return names, errors


def simulated(seed: int, case: str) -> list[str]:
    """The rows of one simulated room."""
    from asbuilt.geometry.bundle_problem import PixelObservations
    from asbuilt.steps.place_solve import solve_site
    from tests.rooms.adapt import locate_items, looked_at, marks_in_two_frames, site_of
    from tests.rooms.simulate import Options, simulate

    room = simulate(seed, Options(references_per_face=SIMULATED_MARKS))
    marks = case == "marks"
    started = time.process_time()
    clicks = marks_in_two_frames(room) if marks else PixelObservations()
    solved = solve_site(looked_at(room, markers=not marks), site_of(room, not marks, marks), clicks)
    head = f"simulated {seed}, {case} ({time.process_time() - started:.0f} s CPU)"
    if not solved:
        return [head, f"  not placed: {solved.reason}"]
    placed = int((solved.camera_of >= 0).sum())
    located = [one for one in locate_items(room, solved, room.item_clicks) if one.pictures >= 3]
    errors = (
        np.array([one.error_m[[0, 2, 1]] for one in located]),
        np.array([np.sqrt(np.diag(one.covariance))[[0, 2, 1]] for one in located]),
    )
    note = f"{placed} of {len(room.pictures)} pictures placed"
    return [head, row_of(note, None, case), row_of("3 to 5 pictures: clicks alone", errors, case)]


def row_of(name: str, errors: tuple[np.ndarray, np.ndarray] | None, case: str) -> str:
    """One line: error of offset, height and depth, whether it keeps the limits, and whether the errors told hold."""
    if errors is None:
        return f"  {name}"
    error, sigma = errors
    if len(error) < 5:
        return f"  {name:<32} {len(error)} spots: too few to say"
    axes = [accuracy(error[:, k], sigma[:, k]) for k in range(3)]
    parts = [f"{axis} {_figures(one)}" for axis, one in zip(("offset", "height", "depth"), axes, strict=True)]
    median, p95 = LIMITS_IN[case]
    kept = all(_keeps(a, median, p95) for a in axes[:2]), _keeps(axes[2], *DEPTH_LIMIT_IN)
    flat_m = float(np.sqrt((error[:, :2] ** 2).sum(axis=1).mean()))
    inside = " ".join(f"{100 * a.inside_95:.0f}" for a in axes)
    return (
        f"  {name:<32}{len(error):>5}  {'  '.join(parts)}  told 95 % holds {inside} %  "
        f"95 % circle {nssda_horizontal_m(flat_m) / 0.0254:.3f} in  "
        f"limits {'kept' if kept[0] else 'NOT kept'}, depth {'kept' if kept[1] else 'NOT kept'}"
    )


def _figures(one: Accuracy) -> str:
    return f"{one.median_m / 0.0254:.3f}/{one.p95_m / 0.0254:.3f} in"


def _keeps(one: Accuracy, median_in: float, p95_in: float) -> bool:
    return one.median_m <= median_in * 0.0254 and one.p95_m <= p95_in * 0.0254


def _job(job: tuple) -> list[str]:
    kind, what, case = job
    try:
        if kind == "simulated":
            return simulated(what, case)
        with tempfile.TemporaryDirectory() as folder:
            return rendered(what, case, Path(folder))
    except Exception as error:  # one room that fails must not hide the others
        return [f"{what}, {case}", f"  FAILED: {type(error).__name__}: {error}"]


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("rooms", nargs="*", type=Path)
    parser.add_argument("--seeds", nargs="*", type=int, default=[])
    parser.add_argument("--cases", nargs="*", choices=sorted(LIMITS_IN), default=["marked"])
    parser.add_argument("--jobs", type=int, default=1)
    args = parser.parse_args()
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    rooms = args.rooms or ([] if args.seeds else [SAMPLE])
    jobs = [("rendered", room, case) for room in rooms for case in args.cases]
    jobs += [("simulated", seed, case) for seed in args.seeds for case in args.cases if case not in ("still", "studs")]
    print(f"clicks {CLICK_PX} px off; errors: median/95 %; a class III tape over 24 ft may err "
          f"{oiml_r35_mpe_m(24 * 0.3048, 'III') / 0.0254:.3f} in (OIML R 35)")  # fmt: skip
    with ProcessPoolExecutor(args.jobs) as pool:
        for lines in pool.map(_job, jobs):
            print("\n".join(lines), flush=True)


if __name__ == "__main__":
    main()
