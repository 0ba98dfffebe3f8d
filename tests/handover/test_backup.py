"""A backup is a record itself, of one moment, whatever else is going on."""

from __future__ import annotations

import shutil
import threading

import pytest
from click.testing import CliRunner

from asbuilt.cli import main
from asbuilt.errors import RecordError
from asbuilt.handover.backup import backup
from asbuilt.handover.verify import verify
from asbuilt.record import Event, Item, Record
from tests.handover.conftest import whole_content


def test_a_backup_holds_everything(record, tmp_path):
    report = backup(record, tmp_path / "copy")
    assert report.copied_count == report.media_count > 10
    assert whole_content(tmp_path / "copy") == whole_content(record.folder)
    assert verify(tmp_path / "copy").findings == ()


def test_a_second_backup_copies_only_what_is_new(record, tmp_path):
    backup(record, tmp_path / "copy")
    media = sorted(p for p in (tmp_path / "copy" / "media").rglob("*") if p.is_file())
    media[0].chmod(0o644)
    media[0].write_bytes(b"torn")
    with Record.open(tmp_path / "copy"):  # somebody looked into it, which leaves files beside it
        record.put(Event(id="e1", kind="opened", date="2026-08-01"))
    report = backup(record, tmp_path / "copy")
    assert report.copied_count == 1
    assert whole_content(tmp_path / "copy") == whole_content(record.folder)


def test_a_backup_while_others_write_is_of_one_moment(record, tmp_path):
    stop = threading.Event()

    def write() -> None:
        with Record.open(record.folder, author="other") as mine:
            number = 0
            while not stop.is_set():
                mine.put(*[Event(id=f"{side}{number}", kind="inspected", date="2026-05-01") for side in "ab"])
                number += 1

    writer = threading.Thread(target=write)
    writer.start()
    counts = []
    try:
        for _ in range(5):
            backup(record, tmp_path / "copy")
            assert verify(tmp_path / "copy").findings == ()
            with Record.open(tmp_path / "copy") as copy:
                ids = [e.id for e in copy.all(Event)]
            assert sorted(i[1:] for i in ids if i[0] == "a") == sorted(i[1:] for i in ids if i[0] == "b")
            counts.append(len(ids))
    finally:
        stop.set()
        writer.join()
    assert counts[-1] > counts[0]  # the writer was never held up for good


def test_a_place_that_holds_something_else_is_refused(record, tmp_path):
    (tmp_path / "other").mkdir()
    (tmp_path / "other" / "letter.txt").write_text("dear")
    with pytest.raises(RecordError, match="no backup"):
        backup(record, tmp_path / "other")
    with Record.create(tmp_path / "another", "Another house", author="x"):
        pass
    with pytest.raises(RecordError, match="another record"):
        backup(record, tmp_path / "another")
    with pytest.raises(RecordError, match="the record itself"):
        backup(record, record.folder)


def test_a_broken_off_backup_keeps_the_earlier_one(record, tmp_path, monkeypatch):
    backup(record, tmp_path / "copy")
    before = whole_content(tmp_path / "copy")
    shutil.rmtree(tmp_path / "copy" / "media")
    item = record.all(Item)[0]
    record.db.execute("UPDATE items SET note = 'later' WHERE id = ?", [item.id])
    monkeypatch.setattr("asbuilt.handover.backup.shutil.copyfile", _fail)
    with pytest.raises(RecordError, match="cannot back up"):
        backup(record, tmp_path / "copy")
    assert whole_content(tmp_path / "copy")[0] == before[0]


def _fail(source, target):
    raise OSError(28, "No space left on device")


def test_the_command_says_what_it_did(record, tmp_path):
    run = CliRunner().invoke(main, ["backup", str(record.folder), str(tmp_path / "copy")])
    assert run.exit_code == 0, run.output
    assert "12 originals, 12 of them copied now" in run.output
    path = record.folder / record.db.execute("SELECT path FROM media LIMIT 1").fetchone()[0]
    path.unlink()
    run = CliRunner().invoke(main, ["backup", str(record.folder), str(tmp_path / "copy")])
    assert run.exit_code == 1
    assert "not in the copy" in run.output
