"""Damage is found and named, wherever it is, and never hides or blocks the rest."""

from __future__ import annotations

import zipfile
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from asbuilt.cli import main
from asbuilt.handover.errors import PackageError
from asbuilt.handover.opening import open_package
from asbuilt.handover.verify import verify
from tests.handover.conftest import whole_content


def _flip(path: Path, at: int, rng: np.random.Generator) -> None:
    data = bytearray(path.read_bytes())
    data[at] ^= int(rng.integers(1, 256))
    path.write_bytes(data)


def _named(path: Path) -> set[str]:
    return {f.name for f in verify(path).faults}


def test_a_whole_package_has_no_fault(package):
    report = verify(package)
    assert report.kind == "package"
    assert report.findings == ()


def test_each_of_100_flipped_bytes_in_a_folder_is_named(packages, tmp_path, record):
    """Half of them anywhere, by bytes; half in a file of its own, so that small files are hit as well."""
    rng = np.random.default_rng(1)
    files = sorted(p for p in packages["folder"].rglob("*") if p.is_file() and p.stat().st_size)
    sizes = np.array([p.stat().st_size for p in files])
    anywhere = rng.choice(len(files), 50, p=sizes / sizes.sum())
    chosen = [*anywhere, *rng.choice(len(files), 50, replace=False)]
    for number in chosen:
        path = files[number]
        whole = path.read_bytes()
        try:
            _flip(path, int(rng.integers(len(whole))), rng)
            name = path.relative_to(packages["folder"]).as_posix()
            assert name in _named(packages["folder"])
        finally:
            path.write_bytes(whole)


def test_each_of_100_flipped_bytes_in_a_zip_is_named(packages, tmp_path):
    """Three in four in a file's content, the others in what the ZIP itself consists of."""
    rng = np.random.default_rng(2)
    whole = packages["zip"].read_bytes()
    with zipfile.ZipFile(packages["zip"]) as archive:
        members = archive.infolist()
        spans = []
        for m in members:
            with archive.open(m):
                start = m.header_offset + 30 + len(m.filename.encode()) + _extra_length(whole, m.header_offset)
            spans.append((start, start + m.file_size, m.filename.split("/", 1)[1]))
    owner = np.full(len(whole), -1)
    for number, (start, end, _) in enumerate(spans):
        owner[start:end] = number
    inside, outside = np.flatnonzero(owner >= 0), np.flatnonzero(owner < 0)
    tail = len(whole) - rng.integers(1, 160, 5)
    for at in [*rng.choice(inside, 75), *rng.choice(outside, 20), *tail]:
        damaged = tmp_path / packages["zip"].name
        damaged.write_bytes(whole)
        _flip(damaged, int(at), rng)
        name = spans[owner[at]][2] if owner[at] >= 0 else damaged.name
        assert name in _named(damaged), int(at)


def _extra_length(data: bytes, at: int) -> int:
    return int.from_bytes(data[at + 28 : at + 30], "little")


def test_many_damaged_files_are_all_named(package, tmp_path):
    if package.is_file():
        pytest.skip("the folder shows it")
    rng = np.random.default_rng(3)
    names = ["bagit.txt", "data/record.json", "data/tables/items.csv", "data/record/record.db", "manifest-sha512.txt"]
    for name in names:
        _flip(package / name, 20, rng)
    (package / "data" / "tables" / "README.txt").unlink()
    (package / "data" / "stray.txt").write_text("?")
    found = {f.name: f.state for f in verify(package).faults}
    assert set(names) <= set(found)
    assert found["data/tables/README.txt"] == "missing"
    assert found["data/stray.txt"] == "unexpected"


def test_a_damaged_database_is_made_anew_from_the_json(package, tmp_path, record_folder):
    _damage_member(package, "data/record/record.db", 5000)
    report = open_package(package, tmp_path / "again")
    assert report.rebuilt
    assert [f.name for f in report.faults] == ["data/record/record.db"]
    assert whole_content(tmp_path / "again") == whole_content(record_folder)


def test_a_damaged_original_comes_back_as_it_is_and_is_named(package, tmp_path, record_folder):
    with_media = sorted(p for p in (record_folder / "media").rglob("*") if p.is_file())
    name = with_media[0].relative_to(record_folder).as_posix()
    _damage_member(package, f"data/record/{name}", 3)
    report = open_package(package, tmp_path / "again")
    assert not report.rebuilt
    assert [f.name for f in report.faults] == [f"data/record/{name}"]
    rows, files = whole_content(tmp_path / "again")
    wanted_rows, wanted = whole_content(record_folder)
    assert rows == wanted_rows
    assert {n for n in wanted if files[n] != wanted[n]} == {name}
    assert [f.name for f in verify(tmp_path / "again").faults] == [name]


def test_a_zip_cut_short_still_gives_what_it_holds(packages, tmp_path):
    data = packages["zip"].read_bytes()
    short = tmp_path / "house.zip"
    short.write_bytes(data[: int(len(data) * 0.9)])
    found = _named(short)
    assert "house.zip" in found
    assert "data/README.txt" not in found  # it lies in the part that is there


def test_database_and_json_both_damaged_is_refused_in_words(package, tmp_path):
    for name in ("data/record/record.db", "data/record.json"):
        _damage_member(package, name, 3)
    with pytest.raises(PackageError, match="try another copy"):
        open_package(package, tmp_path / "again")
    assert not (tmp_path / "again").exists()


def _damage_member(package: Path, name: str, at: int) -> None:
    rng = np.random.default_rng(4)
    if package.is_dir():
        _flip(package / name, at, rng)
        return
    data = package.read_bytes()
    with zipfile.ZipFile(package) as archive:
        member = archive.getinfo(f"{package.stem}/{name}")
        content = archive.read(member)
    start = data.index(content, member.header_offset)
    _flip(package, start + at, rng)


def test_a_record_folder_is_checked_too(record):
    assert verify(record.folder).findings == ()
    media = record.db.execute("SELECT name, path FROM media ORDER BY name").fetchall()
    (record.folder / media[0][1]).unlink()
    changed = record.folder / media[1][1]
    _flip(changed, 2, np.random.default_rng(5))
    (record.folder / "media" / "stray.jpg").write_bytes(b"x")
    record.db.execute("UPDATE sightings SET target_id = 'nothing' WHERE rowid = 1")
    record.db.execute("PRAGMA ignore_check_constraints = 1")
    record.db.execute("UPDATE items SET label = NULL, kind = 'cable' WHERE rowid = -1")
    record.db.execute("UPDATE faces SET length_m = -1 WHERE id = 'kiln'")
    report = verify(record.folder)
    texts = {f.name: f.text for f in report.faults}
    assert "is not there" in texts[media[0][1]]
    assert "not the file that was taken in" in texts[media[1][1]]
    database = [f.text for f in report.faults if f.name == "record.db"]
    assert any("refers to nothing of items" in t for t in database)
    assert any("face kiln: length_m must be more than 0" in t for t in database)
    assert [f.name for f in report.findings if f.state == "note"] == ["media/stray.jpg"]


def test_a_torn_database_does_not_hide_damaged_originals(record):
    path = record.folder / record.db.execute("SELECT path FROM media WHERE name = 'open_01.jpg'").fetchone()[0]
    _flip(path, 1, np.random.default_rng(6))
    record.db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    root = record.db.execute("SELECT rootpage FROM sqlite_master WHERE name = 'history'").fetchone()[0]
    size = record.db.execute("PRAGMA page_size").fetchone()[0]
    record.close()
    database = record.folder / "record.db"
    data = bytearray(database.read_bytes())
    data[(root - 1) * size : (root - 1) * size + 64] = b"\xff" * 64
    database.write_bytes(data)
    names = {f.name for f in verify(record.folder).faults}
    assert {"record.db", path.relative_to(record.folder).as_posix()} <= names


def test_the_command_says_what_is_damaged_and_fails(package):
    run = CliRunner().invoke(main, ["verify", str(package)])
    assert run.exit_code == 0
    assert run.output.rstrip().endswith("whole")
    _damage_member(package, "data/tables/items.csv", 10)
    run = CliRunner().invoke(main, ["verify", str(package)])
    assert run.exit_code == 1
    assert "damaged: data/tables/items.csv" in run.output
    assert "1 fault found" in run.output


def test_what_is_no_package_is_refused_in_words(tmp_path):
    (tmp_path / "letter.txt").write_text("dear")
    for path, words in ((tmp_path / "nowhere", "is not there"), (tmp_path / "letter.txt", "neither a folder nor a ZIP"),
                        (tmp_path, "neither a package nor a record")):  # fmt: skip
        with pytest.raises(PackageError, match=words):
            verify(path)
