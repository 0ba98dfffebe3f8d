"""Jobs over many records, spread over the cores of this machine or over others through Dask."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor, as_completed
from dataclasses import asdict, dataclass, replace
from threading import Lock

from asbuilt.library.errors import LibraryError
from asbuilt.library.task import Job, Outcome, do, failure

# A worker machine that is asked for is waited for this long [s].
WORKER_PATIENCE_S = 30.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """How to spread: ``scheduler`` is the address of a Dask scheduler, else this machine's cores do it."""

    jobs: int | None = None
    scheduler: str | None = None
    retries: int = 2


def run(jobs: Sequence[Job], spread: Spread | None = None) -> Iterator[Outcome]:
    """Outcomes as they come; one that fails does not stop the others.

    Raises
    ------
    LibraryError
        If no machine can be reached to work on them.
    """
    spread = spread or Spread()
    if not jobs:
        return iter(())
    return _on_machines(jobs, spread) if spread.scheduler else _on_cores(jobs, spread)


def _on_cores(jobs: Sequence[Job], spread: Spread) -> Iterator[Outcome]:
    # A process a record: one that is killed takes no other with it, and memory goes back to the system.
    children = _Children()
    with ThreadPoolExecutor(spread.jobs or os.cpu_count() or 1) as pool:
        waiting = {pool.submit(children.do, job, spread.retries): job for job in jobs}
        try:
            for future in as_completed(waiting):
                yield future.result()
        finally:
            pool.shutdown(wait=False, cancel_futures=True)
            children.stop()


class _Children:
    """The processes at work; ``stop`` ends them all."""

    def __init__(self) -> None:
        self.running: set[subprocess.Popen] = set()
        self.lock = Lock()
        self.stopped = False

    def do(self, job: Job, retries: int) -> Outcome:
        tries, final = 0, False
        while not final and not self.stopped and tries <= retries:
            outcome, final = self._try(job)
            tries += 1
        return replace(outcome, tries=tries) if tries else failure(job.name, "stopped")

    def _try(self, job: Job) -> tuple[Outcome, bool]:
        with self.lock:
            process = subprocess.Popen(
                [sys.executable, "-m", "asbuilt.library.task"],
                stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, encoding="utf-8",
            )  # fmt: skip
            self.running.add(process)
        try:
            told, errors = process.communicate(json.dumps(asdict(job)))
        finally:
            self.running.discard(process)
        try:
            answer = json.loads(told.splitlines()[-1])
        except (IndexError, ValueError):
            last = "".join(errors.splitlines()[-1:])
            return failure(job.name, f"its process ended with exit code {process.returncode}: {last}"), False
        final = "outcome" in answer
        return Outcome(**answer["outcome" if final else "try_again"]), final

    def stop(self) -> None:
        with self.lock:
            self.stopped = True
            for process in list(self.running):
                process.terminate()


def _on_machines(jobs: Sequence[Job], spread: Spread) -> Iterator[Outcome]:
    try:
        from distributed import Client, as_completed
    except ImportError:
        raise LibraryError("spreading over machines needs the extra: pip install 'asbuilt[dask]'") from None
    try:
        client = Client(spread.scheduler, timeout=WORKER_PATIENCE_S, set_as_default=False)
    except (OSError, ValueError) as error:
        text = f"no Dask scheduler answers at {spread.scheduler}; start one with: dask scheduler"
        raise LibraryError(text) from error
    with client:
        try:
            client.wait_for_workers(1, timeout=WORKER_PATIENCE_S)
        except TimeoutError as error:
            text = f"the scheduler at {spread.scheduler} has no workers; start one with: dask worker {spread.scheduler}"
            raise LibraryError(text) from error
        waiting = {client.submit(do, asdict(job), retries=spread.retries, pure=False): job for job in jobs}
        for future in as_completed(waiting, loop=client.loop):
            yield _result(future, waiting[future])


def _result(future, job: Job) -> Outcome:
    error = future.exception()
    if error is None:
        return Outcome(**future.result())
    if type(error).__name__ == "KilledWorker":
        return failure(job.name, "every machine that worked on it was lost")
    return failure(job.name, error)
