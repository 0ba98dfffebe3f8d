"""Packages are bags that another program accepts, and are never half there."""

from __future__ import annotations

import zipfile
from pathlib import Path

import bagit
import pytest

from asbuilt.handover.bag import new_bag
from asbuilt.handover.bagcheck import check_bag
from asbuilt.handover.errors import PackageError
from asbuilt.handover.package import hand_over
from asbuilt.handover.shelf import shelf_of
from tests.handover.conftest import WITHOUT_PICTURES

ODD_NAMES = ("plain.txt", "two words.txt", "Türe.txt", "deep/er/x.bin", "日本.txt", "empty")


def _unpacked(path: Path, tmp_path: Path) -> Path:
    if path.is_dir():
        return path
    with zipfile.ZipFile(path) as archive:
        assert archive.testzip() is None
        archive.extractall(tmp_path / "unpacked")
    (folder,) = (tmp_path / "unpacked").iterdir()
    return folder


def test_the_bagit_library_accepts_a_package(package, tmp_path):
    bag = bagit.Bag(str(_unpacked(package, tmp_path)))
    bag.validate()
    assert bag.version == "1.0"
    assert bag.algorithms == ["sha512"]
    assert bag.info["Title"] == "Quarry Lane Pottery"
    assert bag.info["Creator"] == "truth"


@pytest.mark.parametrize("name", ["out", "out.zip"])
def test_odd_file_names_survive(name, tmp_path):
    source = tmp_path / "source"
    source.write_bytes(b"\0" * 70_000)
    bag = new_bag(tmp_path / name)
    for odd in ODD_NAMES:
        bag.add_bytes(odd, b"" if odd == "empty" else odd.encode())
    bag.add_file("big.bin", source)
    bag.finish([("Title", "A house,\nwith a line break")])
    assert check_bag(shelf_of(tmp_path / name), strict_tags=True) == []
    folder = _unpacked(tmp_path / name, tmp_path)
    bagit.Bag(str(folder)).validate()
    assert {p.relative_to(folder / "data").as_posix() for p in (folder / "data").rglob("*") if p.is_file()} == {
        *ODD_NAMES, "big.bin",
    }  # fmt: skip


def test_percent_signs_and_line_breaks_in_names_are_written_as_the_rfc_has_it(tmp_path):
    """RFC 8493, 2.1.3; the bagit library does not undo %25, so that it is no judge of this."""
    bag = new_bag(tmp_path / "out")
    for odd in ("100%.txt", "a%0Ab.txt", "line\nbreak"):
        bag.add_bytes(odd, odd.encode())
    bag.finish([])
    lines = (tmp_path / "out" / "manifest-sha512.txt").read_text().splitlines()
    assert [line[130:] for line in lines] == ["data/100%25.txt", "data/a%250Ab.txt", "data/line%0Abreak"]
    assert check_bag(shelf_of(tmp_path / "out"), strict_tags=True) == []


def test_files_in_a_zip_are_stored_not_packed(packages):
    with zipfile.ZipFile(packages["zip"]) as archive:
        assert {m.compress_type for m in archive.infolist()} == {zipfile.ZIP_STORED}


@pytest.mark.parametrize("name", ["out", "out.zip"])
def test_a_package_that_fails_leaves_nothing(name, tmp_path, record, monkeypatch):
    monkeypatch.setattr("asbuilt.handover.package.json_schema", lambda: 1 / 0)
    before = set(tmp_path.iterdir())
    with pytest.raises(ZeroDivisionError):
        hand_over(record, tmp_path / name, WITHOUT_PICTURES)
    assert set(tmp_path.iterdir()) == before


def test_nothing_is_overwritten(record, tmp_path):
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "letter.txt").write_text("dear")
    (tmp_path / "there.zip").write_bytes(b"x")
    for name in ("full", "there.zip"):
        with pytest.raises(PackageError, match="is there already"):
            hand_over(record, tmp_path / name, WITHOUT_PICTURES)
    (tmp_path / "empty").mkdir()
    assert hand_over(record, tmp_path / "empty", WITHOUT_PICTURES).file_count > 20


def test_an_original_that_is_gone_is_named_and_the_rest_packed(record, tmp_path):
    gone = record.folder / record.db.execute("SELECT path FROM media WHERE name = 'open_03.jpg'").fetchone()[0]
    gone.unlink()
    report = hand_over(record, tmp_path / "out", WITHOUT_PICTURES)
    assert report.missing == ("open_03.jpg",)
    assert check_bag(shelf_of(tmp_path / "out")) == []
