"""Records and packages of the sample room, made once."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from asbuilt.handover.package import HandoverOptions, hand_over
from asbuilt.record import Record
from asbuilt.record.elevation_row import Elevation
from asbuilt.steps import coverage
from tests.truth import truth_record

# The invented originals are no pictures.
WITHOUT_PICTURES = HandoverOptions(without=frozenset({"viewer", "binder", "drawings"}))
MEDIA = Path(__file__).parents[2] / "sample_media"


@pytest.fixture(scope="session")
def record_folder(tmp_path_factory) -> Path:
    """A record with invented originals of a few bytes; not to be changed."""
    folder = tmp_path_factory.mktemp("handover") / "record"
    with truth_record(folder, sigma_m=0.006, frame_step=48) as record:
        coverage.run(record)
    return folder


@pytest.fixture
def record(record_folder, tmp_path) -> Record:
    """A copy of it, to be changed."""
    shutil.copytree(record_folder, tmp_path / "record")
    with Record.open(tmp_path / "record", author="tester") as opened:
        yield opened


@pytest.fixture(scope="session")
def packages(record_folder, tmp_path_factory) -> dict[str, Path]:
    """Its package as a folder and as a ZIP; not to be changed."""
    base = tmp_path_factory.mktemp("packages")
    found = {"folder": base / "house", "zip": base / "house.zip"}
    with Record.open(record_folder) as opened:
        for path in found.values():
            hand_over(opened, path, WITHOUT_PICTURES)
    return found


@pytest.fixture(params=["folder", "zip"])
def package(request, packages, tmp_path) -> Path:
    """A package of either kind, to be damaged."""
    source = packages[request.param]
    target = tmp_path / source.name
    if source.is_dir():
        shutil.copytree(source, target)
    else:
        shutil.copyfile(source, target)
    return target


def whole_content(folder: Path) -> tuple[dict, dict]:
    """Every row of every table with the schema, and every original and elevation picture, of a record folder."""
    with Record.open(folder) as opened:
        names = [n for (n,) in opened.db.execute("SELECT name FROM sqlite_master WHERE type = 'table'").fetchall()]
        rows = {n: opened.db.execute(f'SELECT * FROM "{n}" ORDER BY rowid').fetchall() for n in sorted(names)}
        schema = opened.db.execute("SELECT type, name, tbl_name, sql FROM sqlite_master").fetchall()
        rows["schema"] = sorted(schema, key=str)
        kept = {e.folder for e in opened.all(Elevation)}
    files = {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for name in ("media", *kept)
        for path in (folder / name).rglob("*")
        if path.is_file()
    }
    return rows, files
