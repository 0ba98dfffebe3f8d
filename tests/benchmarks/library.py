"""What a building costs in storage and time, and how listing and searching grow with their number.

    python -m tests.benchmarks.library

The building is the sample: its media are taken in and placed as one job of a batch. Its record is
then copied to make a library. The catalogue of many more is filled with the same entry over and
over, since copies of so many records would only measure the disk.
"""

from __future__ import annotations

import os
import shutil
import tempfile
import time
from collections.abc import Callable
from dataclasses import astuple
from pathlib import Path

from asbuilt.cli.demo import SAMPLE_MEDIA
from asbuilt.library import shelf
from asbuilt.library.entry import read_entry
from asbuilt.library.incoming import add_jobs, place_jobs
from asbuilt.library.spread import Spread, run
from asbuilt.record.catalogue import CATALOGUE_NAME, Catalogue
from tests.benchmarks.row import Row, as_markdown

BUILDINGS = 100_000
QUESTION = "50 A circuit on a kiln"


def timed(work: Callable) -> tuple[object, float, float]:
    """What ``work`` returns, and the wall and processor seconds of it and of its children."""
    wall, used = time.perf_counter(), sum(os.times()[:4])
    made = work()
    return made, time.perf_counter() - wall, sum(os.times()[:4]) - used


def one_building(folder: Path) -> tuple[Path, list[Row]]:
    """The sample taken in and placed by a batch of one, and what that cost."""
    source, library = folder / "in", folder / "one"
    (source / "sample").mkdir(parents=True)
    for pattern in ("walk.mp4", "open_*", "plan.toml", "clicks.json"):
        for path in SAMPLE_MEDIA.glob(pattern):
            shutil.copy(path, source / "sample")
    table = []
    for what, jobs in (("taking in", lambda: add_jobs(library, source)), ("placing", lambda: place_jobs(library))):
        (outcome,) = run(jobs(), Spread(jobs=1))
        assert outcome.outcome == "done", outcome
        per_all_h = outcome.processor_s * BUILDINGS / 3600
        took = f"{outcome.processor_s:.0f} s of processor time, {outcome.seconds:.0f} s wall"
        table.append(Row(what=f"{what}, one building",
                         value=f"{took}; {BUILDINGS} buildings: {per_all_h:,.0f} core hours"))  # fmt: skip
    record = library / "sample"
    return record, [*table, storage(record)]


def storage(record: Path) -> Row:
    """What a building takes up."""
    originals = sum(p.stat().st_size for p in (record / "media").rglob("*") if p.is_file())
    database = (record / "record.db").stat().st_size
    return Row(what="storage, one building", ratio=database / originals, peer="its originals: the database",
               value=f"originals {originals / 1e6:.1f} MB, database {database / 1e6:.1f} MB; {BUILDINGS} "
               f"buildings: {(originals + database) * BUILDINGS / 1e12:.1f} TB")  # fmt: skip


def small_library(folder: Path, record: Path, count: int) -> list[Row]:
    """Copies of the record's database, listed and searched."""
    for n in range(count):
        (folder / f"{n // 50:03d}" / f"{n:05d}").mkdir(parents=True)
        shutil.copy(record / "record.db", folder / f"{n // 50:03d}" / f"{n:05d}" / "record.db")
    _, first_s, processor_s = timed(lambda: shelf.entries(folder))
    _, again_s, _ = timed(lambda: shelf.entries(folder))
    found, search_s, _ = timed(lambda: shelf.search(folder, QUESTION))
    assert len(found.found) == count
    return [
        Row(what=f"listing {count} records again", ratio=again_s / first_s, peer="listing them the first time",
            value=f"first {first_s:.1f} s ({1000 * processor_s / count:.0f} ms of processor time a record; {BUILDINGS} "
            f"buildings: {processor_s / count * BUILDINGS / 3600:.1f} core hours), again {again_s:.2f} s"),
        Row(what=f"searching {count} records", value=f"{search_s:.2f} s, all found"),
    ]  # fmt: skip


def large_catalogue(folder: Path, record: Path, count: int) -> list[Row]:
    """A catalogue of many, searched alone."""
    entry, things = read_entry(record.parent, record.name)
    rows = [astuple(t) for t in things]
    with Catalogue(folder) as catalogue:
        with catalogue.db.atomic():
            for n in range(count):
                catalogue.put(f"{n:06d}", "", entry.to_json(), rows)
        size = (folder / CATALOGUE_NAME).stat().st_size
        _, list_s, _ = timed(catalogue.entries)
        by_amps, search_s, _ = timed(lambda: catalogue.things(["kiln"], what="circuit", amps=50.0))
        _, words_s, _ = timed(lambda: catalogue.things(["nowhere"]))
    assert len(by_amps) == count
    factor = BUILDINGS / count
    return [
        Row(what=f"catalogue of {count} records", value=f"{size / count / 1000:.1f} kB a record ({BUILDINGS}: "
            f"{size * factor / 1e9:.1f} GB), listed in {list_s:.1f} s ({BUILDINGS}: {list_s * factor:.0f} s)"),
        Row(what=f"search in {count} records",
            value=f"by rating and word {search_s:.2f} s, by word alone {words_s:.2f} s "
            f"({BUILDINGS}: {search_s * factor:.1f} s and {words_s * factor:.1f} s)"),
    ]  # fmt: skip


def many(folder: Path, record: Path, quick: bool) -> list[Row]:
    """Listing and searching; figures for many buildings are in proportion."""
    table = small_library(folder / "some", record, 40 if quick else 200)
    (folder / "many").mkdir()
    return table + large_catalogue(folder / "many", record, 2000 if quick else 20_000)


def main() -> None:
    """Measure all, the batch too, and print."""
    with tempfile.TemporaryDirectory() as name:
        record, table = one_building(Path(name))
        print(as_markdown("Many buildings", table + many(Path(name), record, quick=False)))


if __name__ == "__main__":
    main()
