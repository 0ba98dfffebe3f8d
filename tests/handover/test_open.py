"""A package opens again as the very same record."""

from __future__ import annotations

import threading
import zipfile
from dataclasses import replace

import pytest
from click.testing import CliRunner

from asbuilt.cli import main
from asbuilt.errors import RecordError
from asbuilt.handover.errors import PackageError
from asbuilt.handover.opening import open_package
from asbuilt.handover.package import HandoverOptions, hand_over
from asbuilt.handover.share import ShareOptions
from asbuilt.handover.verify import verify
from asbuilt.record import Event, Media, Record
from asbuilt.record.elevation_row import Elevation
from tests.handover.conftest import WITHOUT_PICTURES, whole_content


def test_every_table_and_every_original_comes_back(package, record_folder, tmp_path):
    report = open_package(package, tmp_path / "again")
    assert report.findings == ()
    assert whole_content(tmp_path / "again") == whole_content(record_folder)


def test_a_restored_record_gives_the_same_package(package, tmp_path, packages):
    open_package(package, tmp_path / "again")
    with Record.open(tmp_path / "again") as again:
        hand_over(again, tmp_path / "second", WITHOUT_PICTURES)
    changing = {"data/record.json", "data/record/record.db"}  # hold when they were made
    lines = [
        {line for line in (folder / "manifest-sha512.txt").read_text().splitlines() if line.split()[1] not in changing}
        for folder in (packages["folder"], tmp_path / "second")
    ]
    assert lines[0] == lines[1]


def test_a_package_made_while_others_write_is_of_one_moment(record, tmp_path):
    """Two rows are always written together; a package never holds one of a pair."""
    stop = threading.Event()

    def write() -> None:
        with Record.open(record.folder, author="other") as mine:
            number = 0
            while not stop.is_set():
                pair = [Event(id=f"{side}{number}", kind="inspected", date="2026-05-01") for side in "ab"]
                mine.put(*pair)
                number += 1

    writer = threading.Thread(target=write)
    writer.start()
    try:
        for number in range(3):
            hand_over(record, tmp_path / f"out{number}", WITHOUT_PICTURES)
    finally:
        stop.set()
        writer.join()
    for number in range(3):
        assert verify(tmp_path / f"out{number}").findings == ()
        open_package(tmp_path / f"out{number}", tmp_path / f"again{number}")
        with Record.open(tmp_path / f"again{number}") as again:
            ids = [e.id for e in again.all(Event)]
        assert len([i for i in ids if i[0] == "a"]) == len([i for i in ids if i[0] == "b"])
    assert ids  # it did write meanwhile


def test_a_folder_that_holds_something_is_not_touched(package, tmp_path):
    (tmp_path / "again").mkdir()
    (tmp_path / "again" / "letter.txt").write_text("dear")
    with pytest.raises(RecordError, match="is there already"):
        open_package(package, tmp_path / "again")
    assert [p.name for p in (tmp_path / "again").iterdir()] == ["letter.txt"]


def test_the_commands_go_there_and_back(record, tmp_path):
    for target in ("out", "out.zip"):
        run = CliRunner().invoke(main, ["handover", str(record.folder), str(tmp_path / target), "--without", "viewer",
                                        "--without", "binder"])
        assert run.exit_code == 0, run.output
        assert "fingerprint of the record: " in run.output
        run = CliRunner().invoke(main, ["open", str(tmp_path / target), str(tmp_path / f"again-{target}")])
        assert run.exit_code == 0, run.output
    assert whole_content(tmp_path / "again-out.zip") == whole_content(record.folder)


def test_a_package_cannot_write_outside_the_new_record(record, tmp_path):
    """Names in a ZIP may say anything."""
    hand_over(record, tmp_path / "house.zip", WITHOUT_PICTURES)
    with zipfile.ZipFile(tmp_path / "house.zip") as archive:
        content = {m.filename: archive.read(m) for m in archive.infolist()}
    with zipfile.ZipFile(tmp_path / "evil.zip", "w") as archive:
        for name, data in content.items():
            archive.writestr(name, data)
        archive.writestr("house/data/record/media/../../../../outside.txt", b"gotcha")
        archive.writestr("house/data/record/../../../../outside2.txt", b"gotcha")
    report = open_package(tmp_path / "evil.zip", tmp_path / "deep" / "er" / "again")
    assert "outside the record" in " ".join(f.text for f in report.faults)
    assert list(tmp_path.rglob("outside*")) == []


def test_a_database_that_points_elsewhere_is_not_opened(record, tmp_path):
    media = record.all(Media)[0]
    record.put(replace(media, path="media/../../../../etc/hostname"))
    assert hand_over(record, tmp_path / "out", WITHOUT_PICTURES).missing == (media.name,)
    assert list(tmp_path.rglob("hostname")) == []
    with pytest.raises(PackageError, match="outside the record"):
        open_package(tmp_path / "out", tmp_path / "again")
    assert not (tmp_path / "again").exists()


def test_a_package_without_originals_says_so_and_gives_every_row_back(record, record_folder, tmp_path):
    without = HandoverOptions(without=WITHOUT_PICTURES.without | {"originals"})
    hand_over(record, tmp_path / "small.zip", without)
    report = verify(tmp_path / "small.zip")
    assert report.faults == ()
    names = {record.folder / m.path for m in record.all(Media)}
    assert len([f for f in report.findings if "was left out" in f.text]) == len(names)
    with zipfile.ZipFile(tmp_path / "small.zip") as archive:
        assert not [n for n in archive.namelist() if "/media/" in n]
        assert b"NOT in this package" in archive.read("small/data/README.txt")
    assert open_package(tmp_path / "small.zip", tmp_path / "again").faults == ()
    assert whole_content(tmp_path / "again")[0] == whole_content(record_folder)[0]
    with pytest.raises(PackageError, match="--no-pictures"):
        hand_over(record, tmp_path / "out", HandoverOptions(without=without.without, share=ShareOptions()))


def test_an_elevation_picture_comes_back_too(record, tmp_path):
    """With the record itself: it takes minutes to make anew."""
    names = [f"derived/elevations/street/0mm-1/{name}" for name in ("overview.jpg", "0/0_0.jpg")]
    for name in names:
        (record.folder / name).parent.mkdir(parents=True, exist_ok=True)
        (record.folder / name).write_bytes(name.encode())
    record.put(
        Elevation(id="street+0mm", face_id="street", created_at="2026-05-01", depth_m=0.0, scale_px_per_m=100.0,
                  width_px=700, height_px=270, tile_px=512, levels=1, folder="derived/elevations/street/0mm-1",
                  seen_share=0.9, cell_m=0.05, rows=2, cols=2, grid=bytes(range(256)))
    )  # fmt: skip
    hand_over(record, tmp_path / "out", WITHOUT_PICTURES)
    open_package(tmp_path / "out", tmp_path / "again")
    rows, files = whole_content(tmp_path / "again")
    assert (rows, files) == whole_content(record.folder)
    assert {n for n in files if n.startswith("derived/")} == set(names)
