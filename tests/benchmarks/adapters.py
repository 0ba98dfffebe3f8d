"""Rows of the benchmarks that print figures of their own kind."""

from __future__ import annotations

import json
import shutil
import tempfile
import threading
from collections.abc import Callable
from functools import cache
from pathlib import Path

import numpy as np
from playwright.sync_api import sync_playwright
from waitress import create_server

from asbuilt.cli.demo import SAMPLE_MEDIA, make_record, read_script
from asbuilt.record import PLACED, Placement, Record
from asbuilt.steps import coverage
from asbuilt.web.factory import create_app
from tests.answers import drill_paths as paths
from tests.benchmarks import accuracy, answers, drill_paths, elevation, intake, library, overlay, viewer
from tests.benchmarks.row import Row
from tests.truth import TRUTH_PATH, truth

SCRATCH = tempfile.TemporaryDirectory(prefix="benchmarks-")
CHROMIUM = "/usr/bin/chromium"
TWO_COUNTS = {1: "1 picture", -3: "3 pictures, spread"}
CASES = {"marked": "marker sheets", "marks": "taped marks alone", "still": "single photos"}


@cache
def sample_record() -> Path:
    """The record that ``asbuilt demo`` makes, made once."""
    return made_sample()[0]


@cache
def made_sample() -> tuple[Path, float, float]:
    """That record, and the wall and processor seconds that making it took."""
    folder = Path(SCRATCH.name) / "sample"
    _, wall_s, processor_s = library.timed(lambda: make_record(str(folder), read_script(SAMPLE_MEDIA)).close())
    return folder, wall_s, processor_s


def accuracy_rows(quick: bool) -> list[Row]:
    """Errors of clicked spots of the sample room against its truth: with sheets, with marks, of single photos."""
    table = [Row(what="errors: median/95 % of offset, height and depth of so many spots")]
    for case in ("marked", "still") if quick else ("marked", "marks", "still"):
        for line in _accuracy_lines(case):
            name, _, figures = line.strip().partition("  ")
            kept = None if "limits" not in line else "NOT kept" not in line
            limits = "{:.3f}/{:.3f} in".format(*accuracy.LIMITS_IN[case])
            table.append(Row(what=f"{CASES[case]}: {name}", value=" ".join(figures.split()), holds=kept,
                             must="" if kept is None else f"offset and height {limits}"))  # fmt: skip
    return table


def _accuracy_lines(case: str) -> list[str]:
    with tempfile.TemporaryDirectory() as scratch:
        if case != "marked":
            return accuracy.rendered(accuracy.SAMPLE, case, Path(scratch), TWO_COUNTS)[1:]
        copy = shutil.copytree(sample_record(), Path(scratch) / "record")
        with Record.open(copy) as record:
            placed = f"{len(record.all(Placement, status=PLACED))} pictures placed"
            names, errors = accuracy.clicked(record, truth(), placed, TWO_COUNTS)
        return [accuracy.row_of(name, error, case) for name, error in zip(names, errors, strict=True)]


def intake_rows(quick: bool) -> list[Row]:
    """Intake against plain decoding, and memory against the length of a clip."""
    table, folder = [], Path(SCRATCH.name)
    for kind in intake.KINDS[:1] if quick else intake.KINDS:
        found = intake.measure(kind, folder, 20, repeats=2)
        table.append(Row(
            what=f"intake of {found['length_s']:.0f} s of {kind.name}", ratio=found["ratio"],
            peer="plain decoding, wall", must="1.5 or less",
            holds=found["ratio"] <= 1.5, value=f"{found['intake_s_per_min']:.0f} s a minute of video against "
            f"{found['decoding_s_per_min']:.0f}; processor time {found['processor_ratio']:.2f}",
        ))  # fmt: skip
    short, long = intake.memory_by_length(folder, 10 if quick else 20)
    growth = long["peak_mib"] / short["peak_mib"]
    table.append(Row(
        what=f"peak memory of the scanning process, {long['length_s']:.0f} s of 1080p", ratio=growth,
        peer=f"that of {short['length_s']:.0f} s", must="under 1.1", holds=growth < 1.1,
        value=f"{short['peak_mib']:.0f} and {long['peak_mib']:.0f} MiB",
    ))  # fmt: skip
    return table


def elevation_rows(quick: bool) -> list[Row]:
    """The elevation of a wall against OpenCV's Stitcher on the same pictures."""
    told, table = truth(), []
    with Record.open(sample_record()) as record:
        shortest, *_, longest = sorted(told["walls"], key=lambda wall: wall["length"])
        for wall in (shortest,) if quick else (shortest, longest):
            found = elevation.measure(record, told, wall["id"])
            ours, theirs = found["elevation"], found["stitcher"]
            best = theirs["as homography"]
            stitched = "it gave up" if best is None else f"its stud edges {best.get('edge_error_p95_in')} in (95th)"
            table.append(Row(
                what=f"elevation of {wall['length'] / 0.3048:.0f} ft of wall",
                ratio=1 / found["stitcher_over_elevation"]["cpu_s_ratio"],
                peer="Stitcher (SCANS), processor time",
                value=f"{ours['cpu_s']} s; stud edges {ours.get('edge_error_p95_in')} in, places well recorded "
                f"{(ours['well recorded'] or {}).get('error_p95_in')} in (95th); {stitched}",
            ))  # fmt: skip
    return table


def answers_rows(quick: bool) -> list[Row]:
    """How fast ``behind`` and ``drill`` answer, by the size of the record."""
    sizes = (100, 10_000) if quick else (100, 10_000, 1_000_000)
    found = [answers.measure(n, 100 if quick else 400) for n in sizes]
    return [
        Row(
            what=f"{ask} at {f['items']} items", ratio=f[f"{ask}_cpu_p50_ms"] / found[0][f"{ask}_cpu_p50_ms"],
            peer="the same at 100 items, processor time",
            value=f"p50 {f[f'{ask}_p50_ms']} ms, p99 {f[f'{ask}_p99_ms']} ms; first answer {f['first_answer_s']} s",
        )
        for f in found
        for ask in ("behind", "drill")
    ]  # fmt: skip


def drill_rows(quick: bool) -> list[Row]:
    """Drill paths over the sample room, against its truth."""
    table = []
    with Record.open(sample_record()) as record:
        coverage.run(record)
        known = set(drill_paths.true_ids(record, truth()).values())
        for name, aimed in (("spread evenly", 0.0), ("aimed at things", 0.9)):
            rng = np.random.default_rng(11)
            found = paths.summary(paths.random_paths(record, 500 if quick else 5000, rng, aimed, known, truth()))
            told = (f"{k.replace('_', ' ')} {v if isinstance(v, int) else f'{v:.1%}'}" for k, v in found.items())
            table.append(Row(
                what=f"drill paths {name}", value="; ".join(told),
                must="no true hit called nothing recorded", holds=found["true_hits_called_nothing"] == 0,
            ))  # fmt: skip
    return table


def overlay_rows(quick: bool) -> list[Row]:
    """How true the record lies over photos of finished walls."""
    with Record.open(sample_record()) as record:
        found, refused = overlay.measure(record, json.loads(TRUTH_PATH.read_text("utf-8")), 3 if quick else 20)
    table = []
    for line in overlay.told(found, refused).splitlines():
        # A photo's line begins with its name in a column; the last lines with what they tell of and a colon.
        what, _, value = line.partition("  " if "  " in line else ": ")
        table.append(Row(what=f"overlay on finished walls: {what}", value=value.strip()))
    return table


def viewer_rows(quick: bool) -> list[Row]:
    """Weight, first paint and frame rate of the viewer's pages."""
    table = []
    folder = Path(SCRATCH.name) / "viewer"
    viewer.filled(folder, 100 if quick else 500)
    server = create_server(create_app(folder), host="127.0.0.1", port=0, threads=8)
    threading.Thread(target=server.run, daemon=True).start()
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        for screen in viewer.SCREENS:
            for name, value in viewer.measure(browser, f"http://127.0.0.1:{server.effective_port}", screen).items():
                what, _, unit = name.strip().rpartition(", ")
                what, unit = (what, unit) if what else (unit, "")
                table.append(Row(what=f"viewer on a {screen}: {what}", value=f"{value:.2f} {unit}".strip()))
        browser.close()
    server.close()
    return table


def library_rows(quick: bool) -> list[Row]:
    """What the sample costs as one building of many, and how listing and searching grow."""
    folder, wall_s, processor_s = made_sample()
    whole = Row(what="asbuilt demo: taking in, placing, locating, coverage",
                value=f"{processor_s:.0f} s of processor time, {wall_s:.0f} s wall")  # fmt: skip
    with tempfile.TemporaryDirectory() as scratch:
        return [whole, library.storage(folder), *library.many(Path(scratch), folder, quick)]


ADAPTERS: dict[str, Callable[[bool], list[Row]]] = {
    "accuracy": accuracy_rows,
    "intake": intake_rows,
    "elevation": elevation_rows,
    "answers": answers_rows,
    "drill_paths": drill_rows,
    "overlay": overlay_rows,
    "viewer": viewer_rows,
    "library": library_rows,
}
