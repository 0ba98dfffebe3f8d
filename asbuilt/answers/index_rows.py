"""The measured items of a record as plain arrays, read in pieces so that memory stays small."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from asbuilt.record.kinds import KINDS
from asbuilt.record.store import Record

ROWS_AT_A_TIME = 50_000
KIND_NAMES = tuple(KINDS)

_ROWS = """
SELECT p.item_id, p.face_id, i.kind, i.circuit_id, p.offset_m, p.height_m,
       max(p.covariance ->> '$[0][0]', p.covariance ->> '$[1][1]'),
       coalesce(i.width_m, 0), coalesce(i.height_m, 0), coalesce(i.gangs, 1)
FROM positions p JOIN items i ON i.id = p.item_id
WHERE p.status = 'measured' AND i.state != 'removed'
ORDER BY p.item_id, p.order_idx
"""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlacedItems:
    """Spots in order, item after item, and the items they belong to."""

    # by spot
    face: np.ndarray
    offset_m: np.ndarray
    height_m: np.ndarray
    sigma_m: np.ndarray
    # by item
    ids: np.ndarray
    starts: np.ndarray  # its first spot
    lasts: np.ndarray  # its last spot
    kind: np.ndarray  # number in KIND_NAMES
    circuit: np.ndarray  # number of its circuit, -1 none
    width_m: np.ndarray  # 0 where not noted
    high_m: np.ndarray
    gangs: np.ndarray

    def of_kind(self, holds: Callable[[str], bool]) -> np.ndarray:
        """For each item whether its kind is one for which ``holds``."""
        return np.array([bool(holds(name)) for name in KIND_NAMES])[self.kind]

    def half_sizes_m(self) -> tuple[np.ndarray, np.ndarray]:
        """Half width and half height of each item, the usual ones of its kind where not noted."""
        usual_w = np.array([KINDS[k].width_m for k in KIND_NAMES])[self.kind] * np.maximum(self.gangs, 1)
        usual_h = np.array([KINDS[k].height_m for k in KIND_NAMES])[self.kind]
        width = np.where(self.width_m > 0, self.width_m, usual_w)
        return width / 2, np.where(self.high_m > 0, self.high_m, usual_h) / 2


def read_items(record: Record, faces: dict[str, int]) -> PlacedItems:
    """Every measured spot on one of those faces; ``faces`` gives each its number."""
    kinds = {name: number for number, name in enumerate(KIND_NAMES)}
    circuits: dict[str | None, int] = {None: -1}
    ids: list[str] = []
    spots, items, starts, count = [], [], [], 0
    cursor = record.db.execute(_ROWS)
    while rows := cursor.fetchmany(ROWS_AT_A_TIME):
        rows = [row for row in rows if row[1] in faces]
        spots.append(np.array([(faces[r[1]], r[4], r[5], r[6]) for r in rows], float).reshape(-1, 4))
        last = ids[-1] if ids else None
        for number, row in enumerate(rows, start=count):
            if row[0] != last:
                last = row[0]
                ids.append(last)
                starts.append(number)
                items.append((kinds[row[2]], circuits.setdefault(row[3], len(circuits) - 1), *row[7:]))
        count += len(rows)
    spot = np.concatenate(spots) if spots else np.zeros((0, 4))
    item = np.array(items, float).reshape(-1, 5)
    first = np.array(starts, int)
    return PlacedItems(
        face=spot[:, 0].astype(np.int32), offset_m=spot[:, 1], height_m=spot[:, 2],
        sigma_m=np.sqrt(np.maximum(spot[:, 3], 0)), ids=np.array(ids, dtype=object), starts=first,
        lasts=np.append(first[1:], count) - 1, kind=item[:, 0].astype(np.int16), circuit=item[:, 1].astype(np.int32),
        width_m=item[:, 2], high_m=item[:, 3], gangs=item[:, 4],
    )  # fmt: skip
