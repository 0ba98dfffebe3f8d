"""Random drill paths over a rendered room against its truth."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from asbuilt.answers import wording
from asbuilt.answers.coverage import coverage_of
from asbuilt.answers.drill import ROUND_THE_BIT_M, outcome_of, passages
from asbuilt.answers.touch import Bit
from asbuilt.answers.view import view_of
from asbuilt.record.types import Item
from tests.truth import truth

FAR_M = 0.0508  # 2 in


@dataclass(frozen=True, slots=True, kw_only=True)
class PathResult:
    """One path: what was answered and how near the true things are."""

    face_id: str
    bit: Bit
    outcome: str
    nearest_m: float  # true gap between bit and the nearest thing of the record; <= 0: a hit
    nearest_any_m: float  # the same to the nearest thing of the room, recorded or not


def random_paths(
    record,
    count: int,
    rng: np.random.Generator,
    aimed: float = 0.0,
    known: set[str] | None = None,
    room: dict | None = None,
) -> list[PathResult]:
    """Answer ``count`` random paths, a share ``aimed`` of them within 3 in of a true run.

    ``known`` are the true ids of what the record holds; without it, its item ids. ``room`` is
    the truth of the room; without it, that of the sample.
    """
    view, known, room = view_of(record), known or {i.id for i in record.all(Item)}, room or truth()
    shapes = {f: _shapes(room, f, known) for f in view.faces}
    everything = {f: _shapes(room, f, None) for f in view.faces}
    with_runs = [f for f in view.faces if shapes[f][0]]
    results = []
    for _ in range(count):
        at_a_run = rng.random() < aimed
        face_id = str(rng.choice(with_runs if at_a_run else list(view.faces)))
        face = view.face(face_id)
        x, z = rng.uniform(0.02, face.face.length_m - 0.02), rng.uniform(0.02, face.face.height_m - 0.02)
        if at_a_run:
            line, _ = shapes[face_id][0][rng.integers(len(shapes[face_id][0]))]
            spot = line[rng.integers(len(line))]
            x = float(np.clip(spot[0] + rng.normal(0, 0.04), 0.02, face.face.length_m - 0.02))
            z = float(np.clip(spot[2] + rng.normal(0, 0.04), 0.02, face.face.height_m - 0.02))
        bit = Bit(offset_m=x, height_m=z, radius_m=rng.uniform(0.0016, 0.016),
                  tip_m=rng.uniform(0.01, face.face.stud_depth_m))  # fmt: skip
        r = bit.radius_m + ROUND_THE_BIT_M
        cover = coverage_of(record, face_id).area(x - r, z - r, x + r, z + r)
        outcome = outcome_of(passages(view, face_id, bit), cover, ())
        results.append(
            PathResult(face_id=face_id, bit=bit, outcome=outcome, nearest_m=_true_gap(shapes[face_id], bit),
                       nearest_any_m=_true_gap(everything[face_id], bit))
        )  # fmt: skip
    return results


def _shapes(room: dict, face_id: str, known: set[str] | None):
    """True runs (line, radius) and blocks of a face, those of ``known`` ids or all."""
    lines = [(np.array(r["polyline"]), r["diameter"] / 2) for r in room["runs"]
             if r["wall"] == face_id and (known is None or r["id"] in known) and r.get("route") != "coil"]  # fmt: skip
    blocks = [(b["x"], b["z"], b["y_front"], b["size"][0] / 2, b["size"][1] / 2) for b in room["boxes"]
              if b["wall"] == face_id and (known is None or b["id"] in known)]  # fmt: skip
    return lines, blocks


def _true_gap(shapes, bit: Bit) -> float:
    best = 9.0
    for line, radius in shapes[0]:
        aside = np.hypot(line[:, 0] - bit.offset_m, line[:, 2] - bit.height_m) - bit.radius_m
        over = np.maximum(line[:, 1] - bit.tip_m, 0)
        best = min(best, float(np.hypot(np.maximum(aside, 0), over).min()) - radius)
    for x, z, front, half_w, half_h in shapes[1]:
        dx, dz = max(abs(x - bit.offset_m) - half_w, 0), max(abs(z - bit.height_m) - half_h, 0)
        best = min(best, float(np.hypot(max(np.hypot(dx, dz) - bit.radius_m, 0), max(front - bit.tip_m, 0))))
    return best


def summary(results: list[PathResult]) -> dict:
    """Shares that must hold."""
    hits = [r for r in results if r.nearest_m <= 0]
    far = [r for r in results if r.nearest_any_m > FAR_M]
    missed = [r for r in hits if r.outcome == wording.NOTHING]
    return {
        "paths": len(results),
        "true_hits": len(hits),
        "true_hits_called_nothing": len(missed),
        "far_paths": len(far),
        "far_too_close": sum(r.outcome == wording.CLOSE for r in far) / max(len(far), 1),
        "far_not_recorded": sum(r.outcome == wording.UNKNOWN for r in far) / max(len(far), 1),
        "far_hit_expected": sum(r.outcome == wording.HIT for r in far) / max(len(far), 1),
        "hits_called_not_recorded": sum(r.outcome == wording.UNKNOWN for r in hits) / max(len(hits), 1),
        "hits_called_hit": sum(r.outcome == wording.HIT for r in hits) / max(len(hits), 1),
    }
