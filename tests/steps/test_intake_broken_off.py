"""Intake that is killed, stopped or loses its decoder: nothing is lost, nothing comes twice."""

from __future__ import annotations

import itertools
import os
import signal
import sqlite3
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

from asbuilt.errors import MediaError
from asbuilt.record import Media, Picture, Record
from asbuilt.steps import intake, intake_scan
from asbuilt.steps.scanner import Scanner
from tests.clips import write_walk

ROOT = Path(__file__).parents[2]
FRAME_COUNT = 3600


@pytest.fixture(scope="module")
def clip(tmp_path_factory):
    return write_walk(tmp_path_factory.mktemp("clip") / "walk.mp4", FRAME_COUNT, 8000)


@pytest.fixture(scope="module")
def whole(clip, tmp_path_factory):
    """What an undisturbed run keeps."""
    with Record.create(tmp_path_factory.mktemp("whole") / "r", "House") as record:
        intake.run(record, [clip])
        return [p.pts_s for p in record.all(Picture)]


def check_complete(folder, whole):
    with Record.open(folder) as record:
        (media,) = record.all(Media)
        assert media.state == "done"
        times_s = sorted(p.pts_s for p in record.all(Picture))
        stored = [p for p in (folder / "media").rglob("*") if p.is_file() and not p.name.startswith(".incoming")]
        assert len(stored) == 1 and stored[0].stat().st_size == media.byte_count
    assert len(set(times_s)) == len(times_s)
    assert times_s[0] == whole[0]
    # Where it went on, the choice may shift by a frame or two, the spacing may not.
    assert max(np.diff(times_s)) <= max(np.diff(whole)) * 1.5
    assert len(times_s) == pytest.approx(len(whole), abs=3)


def start(folder, *files):
    command = [sys.executable, "-c", "from asbuilt.cli import main; main()", "add", str(folder), *map(str, files)]
    return subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, cwd=ROOT, start_new_session=True)


def wait_for(folder, process, condition):
    deadline = time.monotonic() + 60
    while time.monotonic() < deadline:
        assert process.poll() is None, "the run ended before it could be broken off"
        if condition():
            return
        time.sleep(0.01)
    raise AssertionError("what was waited for never came")


def pictures_committed(folder) -> int:
    try:
        with sqlite3.connect(f"file:{folder / 'record.db'}?mode=ro", uri=True) as db:
            return db.execute("SELECT count(*) FROM pictures").fetchone()[0]
    except sqlite3.Error:
        return 0


def children_of(pid) -> list[int]:
    return [int(p) for p in Path(f"/proc/{pid}/task/{pid}/children").read_text().split()]


def is_running(pid) -> bool:
    try:
        return Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0] != "Z"
    except OSError:
        return False


@pytest.mark.parametrize("moment", ["copying", "first batch", "later"])
def test_killed_and_run_again_nothing_is_lost_and_nothing_comes_twice(tmp_path, clip, whole, moment):
    folder = tmp_path / "r"
    Record.create(folder, "House").close()
    process = start(folder, clip)
    conditions = {
        "copying": lambda: any((folder / "media").iterdir()),
        "first batch": lambda: pictures_committed(folder) > 0,
        "later": lambda: pictures_committed(folder) > len(whole) // 2,
    }
    wait_for(folder, process, conditions[moment])
    scanning = children_of(process.pid)
    process.kill()  # SIGKILL: nothing can be tidied up
    process.wait()
    before = pictures_committed(folder)
    with Record.open(folder) as record:
        assert [m.state for m in record.all(Media)] in ([], ["scanning"])
        report = intake.run(record, [clip])
    assert [f.outcome for f in report.files] == ["added"]
    assert pictures_committed(folder) > before
    check_complete(folder, whole)
    deadline = time.monotonic() + 10
    while any(map(is_running, scanning)) and time.monotonic() < deadline:
        time.sleep(0.05)
    assert not any(map(is_running, scanning)), "the scanning process outlived the run"


def test_stopped_by_hand_says_so_and_goes_on_without_the_file(tmp_path, clip, whole):
    folder = tmp_path / "r"
    Record.create(folder, "House").close()
    process = start(folder, clip)
    wait_for(folder, process, lambda: pictures_committed(folder) > 0)
    os.killpg(process.pid, signal.SIGINT)  # as a terminal does: to all of them
    _, told = process.communicate(timeout=90)
    assert process.returncode == 130
    assert "Traceback" not in told.decode() and "stopped" in told.decode()
    done = start(folder)  # no file named: finishes what is there
    assert "walk.mp4" in done.communicate(timeout=120)[0].decode()
    assert done.returncode == 0
    check_complete(folder, whole)


def test_every_break_between_two_batches_is_mended(tmp_path, clip, whole, monkeypatch):
    scan = Scanner.scan

    for batches in (1, 2, 3):
        folder = tmp_path / str(batches)

        def cut_off(self, *args, batches=batches):
            yield from itertools.islice(scan(self, *args), batches)
            raise KeyboardInterrupt

        with Record.create(folder, "House") as record:
            monkeypatch.setattr(Scanner, "scan", cut_off)
            monkeypatch.setattr(intake_scan, "COMMIT_EVERY_S", 0.0)  # each batch
            with pytest.raises(KeyboardInterrupt):
                intake.run(record, [clip])
            monkeypatch.setattr(Scanner, "scan", scan)
            intake.run(record, [])
        check_complete(folder, whole)


def test_a_decoder_that_dies_takes_only_its_file_along(tmp_path, clip):
    with Scanner() as scanner:
        events = scanner.scan(clip, clip.name, 0.0, None)
        next(events)
        os.kill(scanner._process.pid, signal.SIGSEGV)
        with pytest.raises(MediaError, match="brought its decoder down"):
            for _ in events:
                pass
        assert scanner.look(clip, clip.name)["kind"] == "video"  # a fresh one took over


def test_a_decoder_that_hangs_is_given_up(tmp_path, clip):
    with Scanner(patience_s=1.5) as scanner:
        scanner.look(clip, clip.name)
        os.kill(scanner._process.pid, signal.SIGSTOP)
        started = time.monotonic()
        with pytest.raises(MediaError, match="kept its decoder busy"):
            scanner.look(clip, clip.name)
        assert time.monotonic() - started < 10


def test_time_in_which_everything_was_stopped_is_not_held_against_the_decoder(tmp_path, clip):
    """The whole tree is stopped for much longer than patience lasts, as when a laptop sleeps."""
    code = (
        "import sys; from pathlib import Path; from asbuilt.steps import scanner; p = Path(sys.argv[1])\n"
        "with scanner.Scanner(patience_s=1.0) as s:\n"
        "    s.look(p, p.name)\n"
        "    events = s.scan(p, p.name, 0.0, None)\n"
        "    next(events); print('scanning', flush=True); print('done' if [*events][-1].get('done') else 'cut off')\n"
    )
    process = subprocess.Popen([sys.executable, "-c", code, str(clip)], stdout=subprocess.PIPE, text=True,
                               stderr=subprocess.PIPE, cwd=ROOT, start_new_session=True)  # fmt: skip
    assert process.stdout.readline() == "scanning\n"
    os.killpg(process.pid, signal.SIGSTOP)
    time.sleep(8)
    os.kill(process.pid, signal.SIGCONT)  # the one that waits comes back first, its decoder later
    time.sleep(0.3)
    os.killpg(process.pid, signal.SIGCONT)
    told, trouble = process.communicate(timeout=60)
    assert told == "done\n", trouble


def test_frames_before_a_crash_are_kept_and_the_clip_says_so(tmp_path, clip, monkeypatch):
    scan = Scanner.scan

    def crash(self, *args):
        for number, event in enumerate(scan(self, *args)):
            yield event
            if number == 1:
                os.kill(self._process.pid, signal.SIGKILL)

    monkeypatch.setattr(Scanner, "scan", crash)
    with Record.create(tmp_path / "r", "House") as record:
        report = intake.run(record, [clip])
        assert report.files[0].outcome == "halted" and report.files[0].picture_count > 5
        assert "it brought its decoder down" in report.not_looked_at[0]
        assert record.all(Media)[0].state == "halted"
