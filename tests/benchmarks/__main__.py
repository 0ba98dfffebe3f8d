"""All benchmarks in one run, as Markdown tables, ratios first.

    python -m tests.benchmarks [--quick] [--only NAME ...] [--out FILE]

Sizes are those of one sitting: a quarter of an hour on two quiet cores. The modules' own commands take larger ones.

A module here takes part when it has ``rows(quick) -> list[Row]``, or an adapter has it in
``adapters.py``. Every ratio is against a peer in the same run. One that cannot run is listed with
the reason, and the others go on.
"""

from __future__ import annotations

import argparse
import datetime
import importlib
import multiprocessing
import os
import pkgutil
import platform
import time
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import av
import cv2
import numpy as np
import psutil
import scipy

import tests.benchmarks as here
from tests.benchmarks.adapters import ADAPTERS
from tests.benchmarks.row import Row, as_markdown

RESULTS = Path(__file__).parent / "RESULTS.md"
# The order in which a reader wants them; others follow.
FIRST = ("accuracy", "placing", "intake", "long_inputs", "elevation", "answers", "drill_paths", "overlay", "viewer")


def names() -> list[str]:
    """Modules that give rows, in order."""
    found = {m.name for m in pkgutil.iter_modules(here.__path__)} - {"__main__", "adapters", "row"}
    takes_part = {n for n in found if n in ADAPTERS or hasattr(importlib.import_module(f"{here.__name__}.{n}"), "rows")}
    return [n for n in FIRST if n in takes_part] + sorted(takes_part - set(FIRST))


def rows_of(name: str, quick: bool) -> list[Row]:
    """A module's rows; its trouble as the only one where it cannot run.

    In a process of its own: what one left in memory must not slow the next.
    """
    with ProcessPoolExecutor(1, mp_context=multiprocessing.get_context("fork")) as pool:
        try:
            return pool.submit(_work, name, quick).result()
        except Exception as error:  # the other tables are still wanted
            return [Row(what="could not be measured", value=f"{type(error).__name__}: {error}", holds=False)]


def _work(name: str, quick: bool) -> list[Row]:
    module = importlib.import_module(f"{here.__name__}.{name}")
    return list((ADAPTERS.get(name) or module.rows)(quick))


def machine() -> str:
    """What this was measured on."""
    info = Path("/proc/cpuinfo")
    lines = info.read_text().splitlines() if info.exists() else []
    model = next((line.split(":", 1)[1].strip() for line in lines if line.startswith("model name")), platform.machine())
    versions = f"PyAV {av.__version__}, OpenCV {cv2.__version__}, NumPy {np.__version__}, SciPy {scipy.__version__}"
    return (
        f"{model}, {os.cpu_count()} cores, {psutil.virtual_memory().total / 2**30:.0f} GiB memory, "
        f"{platform.system()} {platform.release()}, Python {platform.python_version()}, {versions}"
    )


def main() -> None:
    """Run, print, and write the file."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--quick", action="store_true", help="smaller sizes; for a look, not for quoting")
    parser.add_argument("--only", nargs="+", metavar="NAME", choices=names(), help="others stay as they are in FILE")
    parser.add_argument("--out", type=Path, default=RESULTS, help="the file to write  [default: beside this module]")
    chosen = parser.parse_args()
    text = chosen.out.read_text("utf-8") if chosen.only and chosen.out.exists() else ""
    sections = {name: part for name in names() if (part := section_of(text, name))}
    started = time.monotonic()
    for name in chosen.only or names():
        sections[name] = measured(name, chosen.quick)
        print(f"{sections[name]}\n", flush=True)
        # What is measured is kept, whatever comes after.
        chosen.out.write_text("\n".join([head(), *(sections[n] for n in names() if n in sections)]), "utf-8")
    print(f"took {time.monotonic() - started:.0f} s")


def head() -> str:
    """What stands above the tables."""
    return (
        "# Benchmarks\n\n"
        "Written by `python -m tests.benchmarks`. Ratios are against the named peer in the same run: below 1 is less "
        "than the peer; `<` where the peer was stopped. On a machine that also did other work (see the load of each "
        "table) wall times are too long; ratios and processor times are disturbed less.\n\n"
        f"Machine: {machine()}.\n"
    )


def measured(name: str, quick: bool) -> str:
    """A benchmark's table, with when it was measured and how busy the machine was."""
    before, started = os.getloadavg()[0], time.monotonic()
    table = as_markdown(title_of(name), rows_of(name, quick))
    now = f"{datetime.datetime.now():%Y-%m-%d %H:%M}"
    took = f"took {time.monotonic() - started:.0f} s; load before {before:.1f}, after {os.getloadavg()[0]:.1f}"
    return f"{table}\n{'Quick, ' if quick else ''}{now}, {took}.\n"


def title_of(name: str) -> str:
    """The heading of a benchmark's table."""
    return name.replace("_", " ")


def section_of(text: str, name: str) -> str:
    """A benchmark's part of a file that was written before; empty where there is none."""
    start = f"## {title_of(name)}\n"
    if start not in text:
        return ""
    return start + text.split(start, 1)[1].split("\n## ", 1)[0].rstrip("\n") + "\n"


if __name__ == "__main__":
    main()
