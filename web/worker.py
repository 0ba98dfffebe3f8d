"""One worker for a viewer: starts the work process, listens to it, tells the pages."""

from __future__ import annotations

import json
import logging
import subprocess
import sys
import threading
from collections.abc import Iterable
from dataclasses import asdict, dataclass, replace
from pathlib import Path

AFTER_INTAKE = ("intake", "place", "locate", "coverage", "elevation")
NOTES_KEPT = 40


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkState:
    """What is going on; ``version`` grows with every change."""

    version: int = 0
    running: bool = False
    step: str = ""
    name: str = ""
    share: float | None = None
    notes: tuple[str, ...] = ()


class Worker:
    """Runs the tasks that pages ask for, one process at a time, in the order asked."""

    def __init__(self, folder: Path, author: str) -> None:
        self.folder, self.author = folder, author
        self._wanted: list[str] = []
        self._state = WorkState()
        self._changed = threading.Condition()
        self._process: subprocess.Popen | None = None
        self._stopped = False

    @property
    def state(self) -> WorkState:
        """The newest state."""
        return self._state

    def ask(self, *tasks: str) -> None:
        """Have tasks done; one that waits already is not done twice."""
        with self._changed:
            self._wanted += [t for t in tasks if t not in self._wanted]
            if self._state.running or self._stopped:
                return
            self._set(running=True, step="Starting", name="", share=None, notes=())
        threading.Thread(target=self._work, daemon=True).start()

    def wait_for_change(self, version: int, timeout_s: float) -> WorkState:
        """The state once it is newer than ``version``, or as it is after a while."""
        with self._changed:
            self._changed.wait_for(lambda: self._state.version != version, timeout_s)
            return self._state

    def stop(self) -> None:
        """End the process; what it finished is kept, the rest is done another time."""
        with self._changed:
            self._stopped = True
            process = self._process
        if process is not None:
            process.terminate()
            process.wait(timeout=10)

    def _set(self, **changes) -> None:
        """Change the state; the lock must be held."""
        self._state = replace(self._state, version=self._state.version + 1, **changes)
        self._changed.notify_all()

    def _work(self) -> None:
        while True:
            with self._changed:
                tasks, self._wanted = self._wanted, []
                if not tasks or self._stopped:
                    self._set(running=False, step="", name="", share=None)
                    return
            if not self._run(tasks):
                self._note("The work stopped before its end; what was finished is kept. Start it again.")

    def _run(self, tasks: list[str]) -> bool:
        """Run one process to its end; whether it got there."""
        command = [sys.executable, "-m", "asbuilt.web.work", str(self.folder), self.author, *tasks]
        process = subprocess.Popen(
            command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, stdin=subprocess.DEVNULL, text=True
        )
        with self._changed:
            self._process = process
        threading.Thread(target=_log, args=(process.stderr,), daemon=True).start()
        done = False
        for line in process.stdout:
            done = self._hear(line) or done
        process.wait()
        return done and process.returncode == 0

    def _hear(self, line: str) -> bool:
        """Take in one line of the process; whether it was the last."""
        try:
            facts = json.loads(line)
        except ValueError:
            return False
        if "note" in facts:
            self._note(facts["note"])
        elif "step" in facts:
            with self._changed:
                self._set(step=facts["step"], name=facts["name"], share=facts["share"])
        return bool(facts.get("done"))

    def _note(self, text: str) -> None:
        with self._changed:
            self._set(notes=(*self._state.notes, text)[-NOTES_KEPT:])


def _log(complaints: Iterable[str]) -> None:
    """Pass on what a work process complains about to whoever runs the viewer."""
    text = "".join(complaints).strip()
    if text:
        logging.getLogger(__name__).error("the work process: %s", text)


def state_data(state: WorkState) -> dict:
    """A state as plain values."""
    return asdict(state)
