"""A backup is a record itself, of one moment, whatever else is going on."""

from __future__ import annotations

import http.cookiejar
import json
import re
import shutil
import subprocess
import sys
import threading
import time
import urllib.parse
import urllib.request

import pytest
from click.testing import CliRunner

from asbuilt.cli import main
from asbuilt.errors import RecordError
from asbuilt.handover.backup import backup
from asbuilt.handover.verify import verify
from asbuilt.record import Event, Item, Picture, Record, Sighting
from tests.handover.conftest import whole_content
from tests.truth import solve

ASBUILT = (sys.executable, "-c", "from asbuilt.cli import main; main()")


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


class _Tagger(threading.Thread):
    """Somebody who tags one box after another in a viewer; ``tagged`` are those that were answered."""

    def __init__(self, url: str, picture_id: str) -> None:
        super().__init__()
        self.address = f"{url}pictures/{picture_id}"
        self.opener = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(http.cookiejar.CookieJar()))
        page = self.opener.open(self.address).read().decode()
        self.token = re.search(r'name="csrf" content="([^"]+)"', page)[1]
        self.tagged: list[str] = []
        self.done = threading.Event()

    def after_one_more(self) -> list[str]:
        """What was tagged, once another tag was answered."""
        count = len(self.tagged)
        while len(self.tagged) == count and self.is_alive():
            time.sleep(0.01)
        return list(self.tagged)

    def run(self) -> None:
        while not self.done.is_set():
            number = len(self.tagged)
            fields = {"csrf_token": self.token, "kind": "device box", "label": f"box {number}",
                      "x_px": 400 + number % 300, "y_px": 500}  # fmt: skip
            request = urllib.request.Request(
                f"{self.address}/sightings", urllib.parse.urlencode(fields).encode(), {"Accept": "application/json"}
            )
            self.tagged.append(json.load(self.opener.open(request))["item_id"])


@pytest.fixture
def viewer(record):
    """The viewer of the record, as a process of its own; its address."""
    solve(record)
    command = [*ASBUILT, "serve", str(record.folder), "--port", "0", "--no-open"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        try:
            yield re.search(r"http://\S+", process.stdout.readline())[0]
        finally:
            process.terminate()


def test_a_backup_while_the_viewer_takes_tags_holds_each_wholly_or_not_at_all(record, viewer, tmp_path):
    before = {i.id for i in record.all(Item)}
    picture = next(p for p in record.all(Picture) if p.kind == "photo")
    tagger = _Tagger(viewer, picture.id)
    tagger.start()
    counts = []
    try:
        for _ in range(3):
            answered = tagger.after_one_more()
            command = [*ASBUILT, "backup", str(record.folder), str(tmp_path / "copy")]
            subprocess.run(command, check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
            assert tagger.is_alive()
            assert verify(tmp_path / "copy").findings == ()
            with Record.open(tmp_path / "copy") as copy:
                added = [i.id for i in copy.all(Item) if i.id not in before]
                seen = {s.target_id for s in copy.all(Sighting) if s.picture_id == picture.id}
                told = {h["row_id"] for h in copy.history(limit=100_000)}
            assert set(added) <= seen & told
            assert set(answered) <= set(added)
            counts.append(len(added))
    finally:
        tagger.done.set()
        tagger.join()
    assert set(added) <= set(tagger.tagged)
    assert 0 < counts[0] < counts[-1]
