"""Random drill paths over a rendered room as the tool itself recorded it, against its truth.

    asbuilt demo studio && python -m tests.benchmarks.drill_paths studio
    python -m tests.benchmarks.drill_paths RECORD --truth truth.json --paths 10000

Must hold: no path that truly hits a recorded thing is answered "nothing recorded here", and at
most 10 % of the paths farther than 2 in from everything are answered "too close to call". The
coverage stored in the record is used; work it out first with ``asbuilt coverage RECORD``.
"""

from __future__ import annotations

import argparse
import json
from pathlib import Path

import numpy as np

from asbuilt.record.store import Record
from asbuilt.record.types import Item, Position
from asbuilt.steps import coverage
from tests.answers import drill_paths
from tests.truth import truth


def true_ids(record: Record, room: dict) -> dict[str, str]:
    """Item id to the id of the true thing: by the place that was clicked, else by what lies nearest."""
    clicked, found = {c["place"]: c["id"] for c in room["click_places"]}, {}
    for item in record.all(Item):
        spots = record.all(Position, item_id=item.id, status="measured")
        named = {clicked[p.place] for p in spots if p.place in clicked}
        if len(named) == 1:
            found[item.id] = named.pop()
        elif spots:
            p = spots[len(spots) // 2]
            near = [c for c in room["click_places"] if c["wall"] == p.face_id]
            away = [(c["p_wall"][0] - p.offset_m) ** 2 + (c["p_wall"][2] - p.height_m) ** 2 for c in near]
            found[item.id] = near[int(np.argmin(away))]["id"]
    return found


def main() -> None:
    """Print one line of JSON for paths spread evenly, one for paths aimed at things; exit 1 where it does not hold."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("record")
    parser.add_argument("--truth", type=Path, help="The truth of the room; without it, that of the sample.")
    parser.add_argument("--paths", type=int, default=10_000)
    parser.add_argument("--seed", type=int, default=11)
    chosen = parser.parse_args()
    room = json.loads(chosen.truth.read_text("utf-8")) if chosen.truth else truth()
    holds = True
    with Record.open(chosen.record) as record:
        coverage.run(record)
        known = set(true_ids(record, room).values())
        for name, aimed in (("spread", 0.0), ("aimed", 0.9)):
            rng = np.random.default_rng(chosen.seed)
            results = drill_paths.random_paths(record, chosen.paths, rng, aimed, known, room)
            told = drill_paths.summary(results)
            holds = holds and told["true_hits_called_nothing"] == 0
            holds = holds and (aimed > 0 or told["far_too_close"] <= 0.10)
            print(json.dumps({"paths_are": name, "known": len(known)} | told), flush=True)
    raise SystemExit(0 if holds else 1)


if __name__ == "__main__":
    main()
