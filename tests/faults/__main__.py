"""Run fault trials and print the counts: ``python -m tests.faults [KIND ...] --seed N``."""

from __future__ import annotations

import argparse
import signal
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from pathlib import Path

import cv2
from tqdm import tqdm

from tests.faults import places, times
from tests.faults.scene import Scene
from tests.faults.trials import Tally, Trials

STAGES = ("intake", "large clip", "placing", "elevation", "tagging", "hand-over")


def kinds(trials: Trials, stages: Sequence[str] = STAGES) -> dict[str, tuple[int, Callable[[int, Tally], None]]]:
    """Every kind of trial: how many by default, and what runs one of them by its number."""

    def each(run: Callable) -> Callable[[int, Tally], None]:
        """Stage after stage."""
        return lambda number, tally: run(trials.stages[stages[number % len(stages)]], number, tally)

    def at(run: Callable) -> Callable[[int, Tally], None]:
        return each(lambda stage, number, tally: run(trials, stage, number, tally))

    found = {
        "kills": (200, each(trials.kill)),
        "power": (40, each(trials.power_cut)),
        "missing": (20, at(places.missing_media)),
        "clock": (10, at(times.clock_backwards)),
        "two": (24, lambda number, tally: times.two_at_once(trials, number, tally)),
        "older": (20, lambda number, tally: times.older_version(trials, number, tally)),
    }
    if places.can_mount():
        found["full"] = (40, at(places.full_disk))
        found["read-only"] = (10, at(places.read_only))
    return found


def main() -> int:
    """Print a line for each kind, then every failure; 1 if there was one."""
    parser = argparse.ArgumentParser(prog="python -m tests.faults")
    parser.add_argument("kinds", nargs="*", default=["all"])
    parser.add_argument("--count", type=int, help="trials of each kind")
    parser.add_argument("--stages", nargs="+", choices=STAGES, default=STAGES, help="of work; without: all in turn")
    parser.add_argument("--only", type=int, help="run the trial of this number alone")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--folder", type=Path, help="where to work")
    options = parser.parse_args()
    cv2.setNumThreads(1)
    signal.signal(signal.SIGTERM, signal.default_int_handler)  # tells what was tried, as Ctrl-C does
    failures: list[str] = []
    with tempfile.TemporaryDirectory(dir=options.folder) as scratch:
        trials = Trials(Scene(Path(scratch) / "scene"), Path(scratch), options.seed)
        known = kinds(trials, options.stages)
        wanted = list(known) if "all" in options.kinds else options.kinds
        for kind in wanted:
            if kind not in known:
                parser.error(f"no such kind, or not possible here: {kind}; there are {', '.join(known)}")
            count, run = known[kind]
            numbers = range(options.count or count)
            started, tally = time.monotonic(), Tally()
            try:
                for number in tqdm(numbers if options.only is None else [options.only], desc=kind, unit="trial"):
                    known_failures = len(tally.failures)
                    run(number, tally)
                    tally.counts["tried"] += 1
                    for failure in tally.failures[known_failures:]:
                        print(f"FAILED {failure}", flush=True)
            except KeyboardInterrupt:
                print("stopped before its end")
            print(f"{tally.line(kind)} ({time.monotonic() - started:.0f} s)", flush=True)
            failures += tally.failures
    print(f"{len(failures)} failures, seed {options.seed}")
    return 1 if failures else 0


if __name__ == "__main__":
    sys.exit(main())
