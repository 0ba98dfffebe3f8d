"""Which parts of a face were recorded, as the drawing needs it."""

from __future__ import annotations

import numpy as np

from asbuilt.record import Coverage, Face, Record

NOT_RECORDED, SEEN_BUT_POOR, WELL_RECORDED = 0, 1, 2


def coverage_classes(record: Record, face: Face) -> tuple[np.ndarray | None, float]:
    """Class of every cell of a face, row 0 at the floor, and the cell's side [m]; None if never worked out."""
    row = record.find(Coverage, face.id)
    if row is None:
        return None, 0.0
    raise NotImplementedError
