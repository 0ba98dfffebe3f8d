"""How fast ``behind`` and ``drill`` answer, at 100, 10 000 and 1 000 000 items.

    python -m tests.benchmarks.answers [--items 1000000] [--questions 400]

Rooms are filled as densely as a real one: about 35 items, boxes with the cables that go into
them, on four faces 6 m long. A record of N items has N / 35 such rooms. The first question
builds the index; its time is given apart. Every question asks another random place, nearly always
of a face not asked about before. Memory is settled first, as ``asbuilt serve`` does.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import tempfile
import time
from pathlib import Path

import numpy as np

from asbuilt.answers.behind import behind
from asbuilt.answers.drill import drill
from asbuilt.answers.touch import normal_points
from asbuilt.cli.serve import settle_memory
from asbuilt.record.rows import table_name, to_row
from asbuilt.record.store import Record
from asbuilt.record.types import Circuit, Covering, Face, Item, Panel, Position, Room

BOXES_A_FACE, LENGTH_M, HEIGHT_M = 4, 6.0, 2.7
COV = json.loads("[[3.6e-5,0,0],[0,3.6e-5,0],[0,0,1e-4]]")


def fill(record: Record, items: int, rng: np.random.Generator) -> list[str]:
    """Put ``items`` items into a record, straight into its tables; returns the face ids."""
    faces: list[str] = []
    rows: dict[str, list[dict]] = {}

    def add(obj):
        rows.setdefault(table_name(type(obj)), []).append(to_row(obj))

    made = 0
    while made < items:
        number = len(faces) // 4
        room = f"r{number}"
        add(Room(id=room, name=f"Room {number}", order_idx=number, origin_x_m=10.0 * number))
        add(Panel(id=f"p{number}", name="panel"))
        for n in range(6):
            add(Circuit(id=f"{room}-c{n}", panel_id=f"p{number}", number=str(n + 1), name=f"circuit {n}", amps=20))
        for side in range(4):
            face = f"{room}-f{side}"
            faces.append(face)
            add(Face(id=face, room_id=room, title=face, order_idx=side, length_m=LENGTH_M, height_m=HEIGHT_M))
            add(Covering(id=f"{face}-b", face_id=face, material="board", thickness_m=0.0127))
            made += _fill_face(add, room, face, rng)
        if made >= items or len(rows.get("positions", ())) > 100_000:
            _write(record, rows)
    return faces


def _fill_face(add, room: str, face: str, rng: np.random.Generator) -> int:
    """Boxes along a face with a cable up from each and one to the next."""
    offsets = np.sort(rng.uniform(0.3, LENGTH_M - 0.3, BOXES_A_FACE))
    for n, x in enumerate(offsets):
        circuit, z = f"{room}-c{max(n - 1, 0)}", rng.choice([0.45, 1.15])
        add(Item(id=f"{face}-box{n}", kind="device box", label=f"box {n}", face_id=face, circuit_id=circuit))
        _places(add, face, f"{face}-box{n}", [(x, z, -0.015)])
        add(Item(id=f"{face}-up{n}", kind="cable", label=f"feed {n}", face_id=face, circuit_id=circuit))
        _places(add, face, f"{face}-up{n}", [(x, z + 0.1, 0.05), (x, 1.6, 0.05), (x, HEIGHT_M - 0.1, 0.05)])
    if BOXES_A_FACE > 1:
        a, b = offsets[0], offsets[1]
        add(Item(id=f"{face}-over", kind="cable", label="over", face_id=face, circuit_id=f"{room}-c0"))
        _places(add, face, f"{face}-over", [(a, 0.75, 0.07), ((a + b) / 2, 0.76, 0.07), (b, 0.75, 0.07)])
    return 2 * BOXES_A_FACE + 1


def _places(add, face: str, item: str, spots) -> None:
    for n, (x, z, y) in enumerate(spots):
        add(Position(id=f"{item}:{n}", item_id=item, place=str(n), order_idx=n, face_id=face, offset_m=float(x),
                     height_m=float(z), depth_m=float(y), covariance=COV, method="intersected",
                     picture_count=2))  # fmt: skip


def _write(record: Record, rows: dict[str, list[dict]]) -> None:
    with record.transaction():
        for table in ("rooms", "panels", "circuits", "faces", "coverings", "items", "positions"):
            batch = rows.pop(table, [])
            if batch:
                names = list(batch[0])
                sql = f"INSERT INTO {table} ({', '.join(names)}) VALUES ({', '.join('?' * len(names))})"
                record.db.conn.executemany(sql, [tuple(r.values()) for r in batch])


def measure(items: int, questions: int, seed: int = 0) -> dict:
    """Fill a record and time its answers [ms]."""
    rng = np.random.default_rng(seed)
    with tempfile.TemporaryDirectory() as folder:
        with Record.create(Path(folder) / "r", "Many rooms") as record:
            faces = fill(record, items, rng)
            started = time.perf_counter()
            behind(record, faces[0], 1.0)
            first_s = time.perf_counter() - started
            drill(record, faces[0], 1.0, 1.0, 0.006, 0.0635)
            normal_points()  # loaded once
            settle_memory()
            result = {"items": record.db["items"].count, "faces": len(faces), "first_answer_s": round(first_s, 2)}
            for name, ask in (("behind", _behind), ("drill", _drill)):
                times = np.array([ask(record, faces, rng) for _ in range(questions)]) * 1000
                for clock, column in (("", 0), ("cpu_", 1)):
                    p50, p99 = np.percentile(times[:, column], [50, 99]).round(2).tolist()
                    result |= {f"{name}_{clock}p50_ms": p50, f"{name}_{clock}p99_ms": p99}
    result["peak_memory_mb"] = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
    return result


def _behind(record: Record, faces: list[str], rng: np.random.Generator) -> tuple[float, float]:
    face, x = faces[rng.integers(len(faces))], rng.uniform(0.1, LENGTH_M - 0.1)
    started, cpu = time.perf_counter(), time.process_time()
    behind(record, face, x)
    return time.perf_counter() - started, time.process_time() - cpu


def _drill(record: Record, faces: list[str], rng: np.random.Generator) -> tuple[float, float]:
    face = faces[rng.integers(len(faces))]
    x, z = rng.uniform(0.1, LENGTH_M - 0.1), rng.uniform(0.1, HEIGHT_M - 0.1)
    started, cpu = time.perf_counter(), time.process_time()
    drill(record, face, x, z, 0.006, 0.0635)
    return time.perf_counter() - started, time.process_time() - cpu


def main() -> None:
    """Print one line of JSON for each size."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--items", type=int, nargs="*", default=[100, 10_000, 1_000_000])
    parser.add_argument("--questions", type=int, default=400)
    chosen = parser.parse_args()
    for items in chosen.items:
        load = round(os.getloadavg()[0], 1)
        print(json.dumps(measure(items, chosen.questions) | {"load_1min": load}))


if __name__ == "__main__":
    main()
