"""Batches over many records: here on this machine's cores, and through a real Dask scheduler with two workers."""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import signal
import socket
import subprocess
import sys
import threading
import time
from pathlib import Path

import psutil
import pytest

from asbuilt.errors import RecordError
from asbuilt.library.incoming import add_jobs, place_jobs
from asbuilt.library.spread import Spread, run
from asbuilt.library.task import do
from asbuilt.record import Media, Placement, Record
from asbuilt.record.claim import claimed
from tests.library.conftest import SAMPLE

ASBUILT = [sys.executable, "-c", "from asbuilt.cli import main; main()"]

HOLDS = """
import sys, time
from asbuilt.record.claim import claimed
with claimed(sys.argv[1]):
    print(1, flush=True)
    time.sleep(60)
"""


def by_name(outcomes) -> dict:
    return {o.name: o for o in outcomes}


def placed_in(folder: Path) -> int:
    with Record.open(folder) as record:
        assert record.db.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
        return len(record.all(Placement))


def test_a_failing_record_does_not_stop_the_rest_and_what_is_done_is_not_done_again(library):
    first = by_name(run(place_jobs(library), Spread(jobs=2)))
    assert {n: o.outcome for n, o in first.items()} == {
        "a": "done", "b": "done", "north/c": "done", "broken": "failed",
    }  # fmt: skip
    assert "not a database" in first["broken"].text
    assert all(placed_in(library / n) == 2 for n in ("a", "b", "north/c"))
    with Record.open(library / "b") as record:
        marker = record.db["markers"].rows.__next__()
        record.db.execute("UPDATE markers SET sigma_m = 0.003 WHERE id = ?", [marker["id"]])
    again = by_name(run(place_jobs(library), Spread(jobs=2)))
    assert {n for n, o in again.items() if o.outcome == "nothing to do"} == {"a", "north/c"}
    assert again["b"].outcome == "done"


def test_a_killed_process_is_tried_again(library):
    shutil.rmtree(library / "broken")
    killed = threading.Event()

    def kill_one():
        while not killed.is_set():
            for child in psutil.Process().children():
                with contextlib.suppress(psutil.Error):
                    if "asbuilt.library.task" in child.cmdline() and child.cpu_times().user > 1:
                        child.kill()
                        killed.set()
                        return
            time.sleep(0.02)

    killer = threading.Thread(target=kill_one)
    killer.start()
    outcomes = list(run(place_jobs(library, again=True), Spread(jobs=1)))
    killed.set()
    killer.join()
    assert [o.outcome for o in outcomes] == ["done"] * 3, outcomes
    assert sorted(o.tries for o in outcomes) == [1, 1, 2]


def test_only_one_works_on_a_record(library):
    other = subprocess.Popen([sys.executable, "-c", HOLDS, str(library / "a")], stdout=subprocess.PIPE)
    try:
        other.stdout.readline()
        with pytest.raises(RecordError, match="worked on by another"), claimed(library / "a"):
            pass
        (job,) = place_jobs(library, ["a"])
        assert [o.outcome for o in run([job], Spread(jobs=1))] == ["failed"]
    finally:
        other.kill()
        other.wait()
        other.stdout.close()
    with claimed(library / "a"):  # the system let go of it with the process
        pass


def test_trouble_with_the_storage_is_raised_to_be_tried_again(library):
    (job,) = place_jobs(library, ["a"])
    shutil.rmtree(library / "a" / "derived", ignore_errors=True)
    (library / "a" / "derived").write_text("in the way")
    with pytest.raises(RecordError):
        do({"what": job.what, "name": job.name, "folder": job.folder})


def test_files_go_to_the_records_of_their_folders_names_once(tmp_path):
    source, library = tmp_path / "in", tmp_path / "buildings"
    for name in ("mill", "north/lot-1", "bad", "empty"):
        (source / name).mkdir(parents=True)
    for name, photo in (("mill", "open_01.jpg"), ("north/lot-1", "open_02.jpg")):
        shutil.copy(SAMPLE / photo, source / name)
        shutil.copy(SAMPLE / "plan.toml", source / name)
    (source / "bad" / "x.jpg").write_bytes(b"no photo")
    outcomes = by_name(run(add_jobs(library, source), Spread(jobs=2)))
    assert {n: o.outcome for n, o in outcomes.items()} == {"mill": "done", "north/lot-1": "done", "bad": "failed"}
    with Record.open(library / "north" / "lot-1") as record:
        assert [m.name for m in record.all(Media)] == ["open_02.jpg"]
        assert record.db["faces"].count == 4
    again = by_name(run(add_jobs(library, source), Spread(jobs=2)))
    assert {n: o.outcome for n, o in again.items()} == {
        "mill": "nothing to do", "north/lot-1": "nothing to do", "bad": "failed",
    }  # fmt: skip


def test_a_stopped_batch_goes_on_where_it_was(library):
    shutil.rmtree(library / "broken")
    command = [*ASBUILT, "library", "place", str(library), "--jobs", "1"]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
                               start_new_session=True)  # fmt: skip
    first = process.stdout.readline()
    os.killpg(process.pid, signal.SIGINT)
    _, errors = process.communicate(timeout=60)
    assert first.startswith("a: done") and process.returncode == 130, errors
    rest = subprocess.run([*command, "--json"], capture_output=True, text=True, timeout=300)
    assert rest.returncode == 0, rest.stderr
    told = {o["name"]: o["outcome"] for o in json.loads(rest.stdout)}
    assert told.pop("a") == "nothing to do" and set(told.values()) <= {"done", "nothing to do"}
    assert "done" in told.values()


@pytest.fixture
def cluster(tmp_path):
    """A scheduler and two workers, each started by its own command; yields its address and the workers by name."""
    from distributed import Client

    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    dask = [sys.executable, "-m", "dask"]
    address = f"tcp://127.0.0.1:{port}"
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL, "start_new_session": True}
    started = [
        subprocess.Popen([*dask, "scheduler", "--host", "127.0.0.1", "--port", str(port), "--no-dashboard",
                          "--no-show"], **quiet)
    ]  # fmt: skip
    workers = {}
    for name in ("one", "two"):
        workers[name] = subprocess.Popen(
            [*dask, "worker", address, "--name", name, "--nthreads", "1", "--no-dashboard", "--local-directory",
             str(tmp_path / name)], **quiet)  # fmt: skip
    started += workers.values()
    try:
        with Client(address, timeout=60, set_as_default=False) as client:
            client.wait_for_workers(2, timeout=60)
        yield address, workers
    finally:
        for process in started:
            with contextlib.suppress(ProcessLookupError):
                os.killpg(process.pid, signal.SIGKILL)
            process.wait()


def kill_a_busy_worker(address: str, workers: dict, told: list) -> None:
    """Kill the first worker that is seen to work on a record, with all its processes, so that it stays away."""
    from distributed import Client

    with Client(address, timeout=60, set_as_default=False) as client:
        names = {a: w["name"] for a, w in client.scheduler_info()["workers"].items()}
        while not told:
            for worker, tasks in client.processing().items():
                if tasks:
                    time.sleep(0.5)  # into the work
                    os.killpg(workers[names[worker]].pid, signal.SIGKILL)
                    told.append(names[worker])
                    return
            time.sleep(0.02)


def test_two_dask_workers_share_the_records_and_one_that_is_killed_loses_nothing(library, cluster):
    address, workers = cluster
    told: list = []
    killer = threading.Thread(target=kill_a_busy_worker, args=(address, workers, told))
    killer.start()
    command = [*ASBUILT, "library", "place", str(library), "--scheduler", address, "--json"]
    done = subprocess.run(command, capture_output=True, text=True, timeout=300)
    lost = list(told)
    told.append("")
    killer.join()
    assert lost, f"no worker was seen at work: {done.stdout} {done.stderr}"
    outcomes = {o["name"]: o["outcome"] for o in json.loads(done.stdout)}
    assert done.returncode == 1, done.stderr  # one record is broken
    assert outcomes.pop("broken") == "failed"
    assert outcomes == dict.fromkeys(("a", "b", "north/c"), "done")
    assert all(placed_in(library / n) == 2 for n in outcomes)
    again = subprocess.run(command, capture_output=True, text=True, timeout=300)
    assert {o["outcome"] for o in json.loads(again.stdout)} == {"nothing to do", "failed"}


def test_without_a_scheduler_at_the_address_one_line_says_so(library):
    command = [*ASBUILT, "library", "place", str(library), "--scheduler", "tcp://127.0.0.1:1"]
    code = "import asbuilt.library.spread as s; s.WORKER_PATIENCE_S = 1; from asbuilt.cli import main; main()"
    done = subprocess.run([sys.executable, "-c", code, *command[3:]], capture_output=True, text=True, timeout=120)
    assert done.returncode == 1
    assert done.stderr.strip().splitlines()[-1].startswith("asbuilt: no Dask scheduler answers at tcp://127.0.0.1:1")
