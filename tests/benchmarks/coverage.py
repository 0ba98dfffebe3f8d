"""Coverage of a rendered room against the renderer's own count of what each picture shows.

    python -m tests.benchmarks.coverage RECORD TRUTH.json [--rendered COVERAGE.npz] [--face FACE ...]

RECORD is a placed record of a rendered room, TRUTH.json its truth. Without COVERAGE.npz what each
picture shows of the plane of the studs is counted here, from the cameras that rendered the
pictures. COVERAGE.npz, the renderer's own count, holds for each face, by cells of
``step`` [m] (x, z) of the stud-face plane, arrays FACE_pictures, FACE_good (neither dark nor
blurred), FACE_good_under_60 (of those, at less than 60 degrees) and FACE_best_px_per_in.
Prints one line of JSON a face: the holes of 6 in by 6 in of each kind and how many are not
listed, and what share of the face is called missing although two or more of the placed
pictures show it well: on the plane of the studs, and of that where a cable in the cavity would be seen too.
Pictures that could not be placed record nothing.
"""

from __future__ import annotations

import argparse
import json
from dataclasses import asdict
from pathlib import Path

import numpy as np

from asbuilt.answers.coverage import coverage_of, shortfalls
from asbuilt.record import Picture, Record
from asbuilt.steps import coverage
from asbuilt.steps.sight import CELL_M
from tests.coverage_truth import Truth, judge, rendered_eyes, rendered_wall, shown_by

NAMES = ("pictures", "good", "good_under_60", "best_px_per_in")

# Four spots in each cell of the coverage. On a coarser grid a column of spots that lies a millimetre
# inside the side of a stud stands for two inches of wall.
STEP_M = CELL_M / 2


def truth_of(told, face_id: str) -> Truth:
    """What is stored of one face."""
    return Truth(step_m=float(told["step"]), **{name: told[f"{face_id}_{name}"] for name in NAMES})


def counted(record: Record, room: dict, face_id: str) -> Truth:
    """What all open pictures that were taken truly show of the plane of the studs, placed or not."""
    taken = [p.id for p in record.all(Picture, stage="open")]
    return shown_by(rendered_eyes(record, taken, room, face_id), rendered_wall(room, face_id), STEP_M, False)


def main() -> None:
    """Measure every face."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("record", type=Path)
    parser.add_argument("truth", type=Path)
    parser.add_argument("--rendered", type=Path)
    parser.add_argument("--face", action="append")
    chosen = parser.parse_args()
    room = json.loads(chosen.truth.read_text("utf-8"))
    told = np.load(chosen.rendered) if chosen.rendered else None
    with Record.open(chosen.record) as record:
        coverage.run(record)
        for face_id in chosen.face or [w["id"] for w in room["walls"]]:
            cover = coverage_of(record, face_id)
            truth = truth_of(told, face_id) if told else counted(record, room, face_id)
            eyes = list(rendered_eyes(record, cover.picture_ids, room, face_id))
            wall, well = rendered_wall(room, face_id), {}
            for name, into in (("on the plane", False), ("and in the cavity", True)):
                placed = shown_by(eyes, wall, truth.step_m, into).well
                well[name] = np.zeros_like(truth.well)  # the truth may have a broken cell more at the end
                well[name][: len(placed), : placed.shape[1]] = placed & truth.well[: len(placed), : placed.shape[1]]
            found = judge(cover, list(shortfalls(cover)), truth, well)
            print(json.dumps({"face": face_id} | asdict(found)), flush=True)


if __name__ == "__main__":
    main()
