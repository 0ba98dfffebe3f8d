"""Run hostile input and print the counts: ``python -m tests.hostile [KIND ...] --seed N``."""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from pathlib import Path

from tests.hostile.media import look_at_mutants, take_mutants_in
from tests.hostile.plans import load_made_plans
from tests.hostile.viewer import attack
from tests.truth import truth_record

MEDIA = Path(__file__).parents[2] / "sample_media"


def _viewer(folder: Path, count: int, seed: int):
    truth_record(folder / "house", frame_step=48, media_folder=MEDIA).close()
    return attack(folder / "house", count, seed)


KINDS = {
    "media": (5000, look_at_mutants),
    "intake": (300, take_mutants_in),
    "plans": (500, lambda folder, count, seed: load_made_plans(count, seed)),
    "viewer": (300, _viewer),
}


def main() -> int:
    """Print what was tried of each kind and every failure; 1 if there was one."""
    parser = argparse.ArgumentParser(prog="python -m tests.hostile")
    parser.add_argument("kinds", nargs="*", choices=[*KINDS, "all"], default="all")
    parser.add_argument("--count", type=int, help="of each kind")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--folder", type=Path, help="where to work")
    options = parser.parse_args()
    failed = 0
    for kind, (usual, run) in KINDS.items():
        if kind in options.kinds or "all" in options.kinds:
            started = time.monotonic()
            with tempfile.TemporaryDirectory(dir=options.folder) as folder:
                counts, failures = run(Path(folder), options.count or usual, options.seed)
            told = ", ".join(f"{n} {what}" for what, n in sorted(counts.items()))
            seconds = time.monotonic() - started
            print(f"{kind}: {told}; {len(failures)} failures, seed {options.seed} ({seconds:.0f} s)")
            for failure in failures:
                print(f"  FAILED {failure}", flush=True)
            failed += len(failures)
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
