"""Random drill paths over the sample room as the tool itself recorded it, against its truth.

    asbuilt demo studio && python -m tests.benchmarks.drill_paths studio

Must hold: no path that truly hits a recorded thing is answered "nothing recorded here", and at
most 10 % of the paths farther than 2 in from everything are answered "too close to call".
"""

from __future__ import annotations

import argparse
import json

import numpy as np

from asbuilt.record.store import Record
from asbuilt.record.types import Item, Position
from asbuilt.steps import coverage
from tests.answers import drill_paths
from tests.truth import truth


def true_ids(record: Record) -> dict[str, str]:
    """Item id to the id of the true thing whose clicked place lies nearest to it."""
    found = {}
    for item in record.all(Item):
        spots = record.all(Position, item_id=item.id, status="measured")
        if spots:
            p = spots[len(spots) // 2]
            near = [c for c in truth()["click_places"] if c["wall"] == p.face_id]
            place = [(c["p_wall"][0] - p.offset_m) ** 2 + (c["p_wall"][2] - p.height_m) ** 2 for c in near]
            found[item.id] = near[int(np.argmin(place))]["id"]
    return found


def main() -> None:
    """Print one line of JSON for paths spread evenly, one for paths aimed at things."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("record")
    parser.add_argument("--paths", type=int, default=10_000)
    chosen = parser.parse_args()
    with Record.open(chosen.record) as record:
        coverage.run(record)
        known = set(true_ids(record).values())
        for name, aimed in (("spread", 0.0), ("aimed", 0.9)):
            results = drill_paths.random_paths(record, chosen.paths, np.random.default_rng(11), aimed, known)
            print(json.dumps({"paths_are": name} | drill_paths.summary(results)))


if __name__ == "__main__":
    main()
