"""A process of its own that works on a record, to be killed, stopped or watched."""

from __future__ import annotations

import os
import select
import signal
import sqlite3
import sys
import time
import traceback
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

from asbuilt.errors import AsbuiltError

DONE, REFUSED, CRASHED = 0, 3, 4
COMMITTED_TABLES = ("media", "pictures", "items", "sightings", "history")


class Child:
    """A forked process that runs ``work(folder, confirm)``.

    It starts at the work itself, with everything imported, so that a random moment is one of
    the work. What it confirms can be read until it is gone.
    """

    def __init__(self, work: Callable[[Path, Callable[[str], None]], None], folder: Path) -> None:
        self.reading, writing = os.pipe()
        sys.stdout.flush()
        sys.stderr.flush()
        self.started = time.monotonic()
        self.pid = os.fork()
        if self.pid == 0:
            _become(work, folder, writing)
        os.close(writing)
        self.status: int | None = None
        self.seconds = 0.0

    def wait(self, timeout_s: float) -> bool:
        """Whether it ended by itself within that time."""
        deadline = self.started + timeout_s
        while self.status is None:
            pid, status = os.waitpid(self.pid, os.WNOHANG)
            if pid:
                self.status, self.seconds = os.waitstatus_to_exitcode(status), time.monotonic() - self.started
            elif time.monotonic() > deadline:
                return False
            else:
                time.sleep(0.002)
        return True

    def stop(self) -> None:
        """Hold it where it is."""
        os.kill(self.pid, signal.SIGSTOP)

    def kill(self) -> None:
        """End it at once, wherever it is."""
        os.kill(self.pid, signal.SIGKILL)
        _, status = os.waitpid(self.pid, 0)
        self.status = os.waitstatus_to_exitcode(status)

    def lines(self) -> list[str]:
        """What it confirmed, and ``! ...``: why it gave up."""
        data = b""
        # A scanning process may outlive it and hold the pipe for a moment.
        while select.select([self.reading], [], [], 0.05)[0]:
            chunk = os.read(self.reading, 1 << 16)
            if not chunk:
                break
            data += chunk
        os.close(self.reading)
        return data.decode().split("\n")[:-1]


def _become(work: Callable, folder: Path, writing: int) -> None:
    code = CRASHED
    signal.signal(signal.SIGTERM, signal.SIG_DFL)
    try:
        nothing = os.open(os.devnull, os.O_RDWR)
        for stream in (0, 1, 2):
            os.dup2(nothing, stream)

        def confirm(text: str) -> None:
            os.write(writing, f"{text}\n".encode())

        try:
            work(folder, confirm)
            code = DONE
        except (AsbuiltError, sqlite3.Error, OSError) as error:  # the commands print these as one line
            code = REFUSED
            confirm(f"! {type(error).__name__}: {error}".replace("\n", " / "))
        except BaseException:
            confirm("! " + traceback.format_exc().replace("\n", " / "))
    finally:
        os._exit(code)


def committed(folder: Path) -> set[tuple[str, str]]:
    """Rows that stand in the database at this moment, as (table, id)."""
    try:
        with closing(sqlite3.connect(f"file:{folder / 'record.db'}?mode=ro", uri=True)) as db:
            return {(t, str(i)) for t in COMMITTED_TABLES for (i,) in db.execute(f"SELECT id FROM {t}")}
    except sqlite3.OperationalError:  # busy with recovery: then nothing is claimed
        return set()
