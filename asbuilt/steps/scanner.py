"""The other end of :mod:`asbuilt.steps.scan`: hands files to a scanning process and minds it."""

from __future__ import annotations

import json
import os
import queue
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

from asbuilt.errors import MediaError

# A healthy photo takes under a second and a video speaks several times a second; on a slow disk or a
# busy machine many times that is still no reason to give up. Counted is the time that the
# process really worked, or this many times as much by the clock.
PATIENCE_S = 60.0
STARVED = 5
# Waited in slices: one that took much longer than it is means that this process was itself stopped
# (a machine asleep, SIGSTOP to all), and that time is not held against the decoder.
SLICE_S = 0.5


class Scanner:
    """One scanning process, started when first needed and again after a file that broke it.

    Close it, or use it as a context manager.
    """

    def __init__(self, patience_s: float = PATIENCE_S) -> None:
        self.patience_s = patience_s
        self._process: subprocess.Popen | None = None
        self._lines: queue.Queue[str | None] = queue.Queue()

    def look(self, path: Path, name: str) -> dict:
        """Kind, facts and first measures of a file.

        Raises
        ------
        MediaError
            If it is no photo or video that can be used.
        """
        return next(self._ask({"job": "look", "path": str(path.resolve()), "name": name}))

    def first_look(self, path: Path, name: str, start_s: float) -> Iterator[list[dict]]:
        """Frames of a video to go on with until it is scanned; see :func:`asbuilt.steps.scan.first_look`.

        Raises
        ------
        MediaError
            If it cannot be opened.
        """
        job = {"job": "first look", "path": str(path.resolve()), "name": name, "start_s": start_s}
        return (answer["shown"] for answer in self._ask(job))

    def scan(
        self, path: Path, name: str, start_s: float, resume_at_s: float | None = None, not_before_s: float | None = None
    ) -> Iterator[dict]:
        """What is decided on the frames of a video, as it goes; see :func:`asbuilt.steps.scan.scan_video`."""
        job = {"job": "scan", "path": str(path.resolve()), "name": name}
        return self._ask(job | {"start_s": start_s, "resume_at_s": resume_at_s, "not_before_s": not_before_s})

    def close(self) -> None:
        """End the process."""
        if self._process is not None:
            self._process.kill()
            self._process.wait()
            self._process.stdin.close()
            self._process = None

    def __enter__(self) -> Scanner:
        return self

    def __exit__(self, *exc) -> None:
        self.close()

    def _ask(self, job: dict) -> Iterator[dict]:
        self._start()
        finished = False
        try:
            self._send(job)
            while not finished:
                answer = self._next_answer(job["name"])
                finished = "done" in answer or "error" in answer
                if "error" in answer:
                    raise MediaError(answer["error"])
                yield answer
        finally:
            if not finished:  # the rest must not be taken for the answer to the next job
                self.close()

    def _send(self, job: dict) -> None:
        try:
            self._process.stdin.write(json.dumps(job) + "\n")
            self._process.stdin.flush()
        except BrokenPipeError:
            raise MediaError(f"{job['name']}: the decoder could not be started") from None

    def _next_answer(self, name: str) -> dict:
        line = self._next_line()
        if line == "":
            self.close()
            raise MediaError(f"{name} kept its decoder busy for over {self.patience_s:.0f} s")
        if line is None:
            self.close()
            raise MediaError(f"{name} brought its decoder down")
        return json.loads(line)

    def _next_line(self) -> str | None:
        """The next line, None where the process has ended, nothing at all where patience has."""
        worked_before_s, waited_s = _worked_s(self._process.pid), 0.0
        while True:
            began = time.monotonic()
            try:
                return self._lines.get(timeout=SLICE_S)
            except queue.Empty:
                waited_s += min(time.monotonic() - began, 2 * SLICE_S)
            if waited_s < self.patience_s:
                continue
            worked_s = _worked_s(self._process.pid) - worked_before_s
            if worked_s >= self.patience_s or waited_s >= STARVED * self.patience_s:
                return ""

    def _start(self) -> None:
        if self._process is not None and self._process.poll() is None:
            return
        self._lines = queue.Queue()
        self._process = subprocess.Popen(
            [sys.executable, "-m", "asbuilt.steps.scan"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
            encoding="utf-8",
        )
        threading.Thread(target=_read, args=(self._process.stdout, self._lines), daemon=True).start()


def _worked_s(pid: int) -> float:
    """How long a process has worked [s]; by the clock where the system does not tell."""
    try:
        fields = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
        return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")
    except (OSError, ValueError, IndexError):
        return time.monotonic()


def _read(stream, lines: queue.Queue) -> None:
    with stream:
        for line in stream:
            lines.put(line)
    lines.put(None)
