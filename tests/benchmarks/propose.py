"""How much of rendered rooms `asbuilt propose` finds, and how much of what it proposes is there.

    python -m tests.benchmarks.propose RECORD TRUTH.json [RECORD TRUTH.json ...] [--face FACE]

RECORD is a placed record of a rendered room (made with `asbuilt new`, `plan load`, `add`,
`place`), TRUTH.json what the renderer knows of it. A run counts as visible where three pictures
of those looked at show it: inside their frames, with no stud in the way.
"""

from __future__ import annotations

import argparse
import json
import time
from collections import Counter
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from scipy.spatial import cKDTree

from asbuilt.record import Marker, Opening, Record
from asbuilt.record.proposal_row import Proposal
from asbuilt.steps import coverage, propose
from asbuilt.steps.elevation import sites_of, sources_of
from asbuilt.steps.propose_face import Seen, boxes_seen, runs_seen, studs_seen
from asbuilt.steps.propose_list import proposals_of
from asbuilt.steps.propose_views import good_sources, rectified

INCH_M = 0.0254
SAME_STUD_M, SAME_BOX_M, SAME_RUN_M = 0.019, 0.05, INCH_M
VISIBLE_VIEWS = 3
LEAST_STUD_SHARE = 0.3  # a stud of which less is in the pictures cannot be asked for


def found_on(seen: Seen) -> tuple[list, list[Proposal]]:
    """Studs and proposals of a face."""
    first = studs_seen(seen, ())
    layout = propose.layout_of(seen.face, first)
    studs = studs_seen(seen, propose.marks_of(layout, seen.face.length_m)) if layout else first
    mouths = boxes_seen(seen, studs)
    return studs, proposals_of(seen, studs, mouths, *runs_seen(seen, studs, mouths))


def score(seen: Seen, studs: Sequence, proposals: Sequence[Proposal], truth: dict[str, Any]) -> Counter:
    """Counts and lengths of one face, to be added up over faces."""
    wall = next(w for w in truth["walls"] if w["id"] == seen.face.id)
    total = Counter()
    _score_studs(total, seen, studs, wall)
    _score_boxes(total, seen, [p for p in proposals if not p.sheath], truth)
    _score_runs(total, seen, [p for p in proposals if p.sheath], wall, truth)
    return total


def _score_studs(total: Counter, seen: Seen, studs: Sequence, wall: dict) -> None:
    errors, used = [], set()
    for stud in studs:
        near = [
            (abs(s["x"] - stud.center_m), k)
            for k, s in enumerate(wall["studs"])
            if s["z0"] - 0.2 < (stud.bottom_m + stud.top_m) / 2 < s["z1"] + 0.2 and k not in used
        ]
        if near and min(near)[0] < SAME_STUD_M:
            used.add(min(near)[1])
            errors.append(min(near)[0])
        else:
            total["studs invented"] += 1
    wanted = {k for k, s in enumerate(wall["studs"]) if _stud_share(seen, s) > LEAST_STUD_SHARE}
    total["studs asked"] += len(wanted)
    total["studs found"] += len(wanted & used)
    total["studs measured"] += len(errors)
    total["studs within 1/4 in"] += sum(e < INCH_M / 4 for e in errors)
    total["studs within 3/8 in"] += sum(e < 0.375 * INCH_M for e in errors)


def _stud_share(seen: Seen, stud: dict) -> float:
    heights = np.linspace(stud["z0"] + 0.02, stud["z1"] - 0.02, 20)
    points = np.stack([np.full(20, stud["x"]), np.zeros(20), heights], axis=1)
    return float((_seen_by(seen, points, []) >= VISIBLE_VIEWS).mean())


def _score_boxes(total: Counter, seen: Seen, boxes: Sequence[Proposal], truth: dict) -> None:
    known = [b for b in truth["boxes"] if b["wall"] == seen.face.id]
    points = np.array([[b["x"], b["y_front"], b["z"]] for b in known]).reshape(-1, 3)
    visible = _seen_by(seen, points, []) >= VISIBLE_VIEWS
    used = set()
    for box in boxes:
        offset, height, _ = box.points_m[0]
        near = [(float(np.hypot(b["x"] - offset, b["z"] - height)), k) for k, b in enumerate(known) if k not in used]
        if not near or min(near)[0] > SAME_BOX_M:
            total["boxes invented"] += 1
            continue
        distance, k = min(near)
        used.add(k)
        total["boxes true"] += 1
        total["boxes within 3/8 in"] += distance < 0.375 * INCH_M
        total["boxes gangs right"] += (box.gangs or 0) == known[k]["gangs"]
    total["boxes asked"] += int(visible.sum())
    total["boxes found"] += sum(bool(visible[k]) for k in used)


def _score_runs(total: Counter, seen: Seen, runs: Sequence[Proposal], wall: dict, truth: dict) -> None:
    known = [r for r in truth["runs"] if r["wall"] == seen.face.id]
    if not known:
        return
    lines = [np.array(r["polyline"]) for r in known]
    tree = cKDTree(np.concatenate(lines)[:, [0, 2]])
    owner = np.concatenate([np.full(len(line), k) for k, line in enumerate(lines)])
    pieces = []
    for run in runs:
        points = _dense(np.array(run.points_m)[:, :2])
        apart, nearest = tree.query(points)
        true = apart < SAME_RUN_M
        step = np.linalg.norm(np.diff(points, axis=0), axis=1)
        total["proposed length"] += step.sum()
        total["proposed length true"] += step[true[1:]].sum()
        pieces.append(points)
        if true.any():
            own = known[np.bincount(owner[nearest[true]]).argmax()]
            if own["kind"] == "cable":
                total["colours named"] += run.sheath != "unsure"
                total["colours right"] += run.sheath == own["colour"]
                total["colours unsure"] += run.sheath == "unsure"
    found = cKDTree(np.concatenate(pieces)) if pieces else None
    for run, line in zip(known, lines, strict=True):
        if run["kind"] != "cable":
            continue
        visible = _seen_by(seen, line, wall["studs"]) >= VISIBLE_VIEWS
        step = np.linalg.norm(np.diff(line, axis=0), axis=1) * (visible[1:] & visible[:-1])
        near = found.query(line[1:, [0, 2]])[0] < SAME_RUN_M if found else np.zeros(len(step), bool)
        total["visible length"] += step.sum()
        total["visible length found"] += step[near].sum()


def _dense(points: np.ndarray) -> np.ndarray:
    parts = [points[:1]]
    for a, b in zip(points, points[1:], strict=False):
        count = max(1, int(np.ceil(np.linalg.norm(b - a) / 0.01)))
        parts.append(a + (b - a) * np.linspace(0, 1, count + 1)[1:, None])
    return np.concatenate(parts)


def _seen_by(seen: Seen, points: np.ndarray, studs: Sequence[dict]) -> np.ndarray:
    """By how many of the pictures each point (offset, depth, height) is seen past the studs; shape (N,)."""
    px, top_m = seen.patch.px_m, seen.patch.top_m
    count = np.zeros(len(points), int)
    for view in seen.views:
        foot = (view.foot_px[0] + 0.5) * px, top_m - (view.foot_px[1] + 0.5) * px
        share = view.distance_m / (view.distance_m + points[:, 1])
        x, z = foot[0] + (points[:, 0] - foot[0]) * share, foot[1] + (points[:, 2] - foot[1]) * share
        col, row = np.rint(x / px - 0.5).astype(int) - view.col, np.rint((top_m - z) / px - 0.5).astype(int) - view.row
        shown = (col >= 0) & (row >= 0) & (col < view.within.shape[1]) & (row < view.within.shape[0])
        shown[shown] = view.within[row[shown], col[shown]]
        low, high = np.minimum(x, points[:, 0]), np.maximum(x, points[:, 0])
        for stud in studs:
            crossed = (high > stud["x"] - INCH_M * 0.75) & (low < stud["x"] + INCH_M * 0.75)
            shown &= ~(crossed & (z > stud["z0"]) & (z < stud["z1"]))
        count += shown
    return count


def table(total: Counter) -> str:
    """The counts as shares, one line each."""

    def share(part: str, whole: float) -> str:
        return "none to judge" if not whole else f"{total[part] / whole:.1%} of {whole:.4g}"

    boxes, studs = total["boxes true"], total["studs measured"]
    lines = [
        ("stud centres found (98 %)", share("studs found", total["studs asked"])),
        ("stud centres invented (0)", f"{total['studs invented']}"),
        ("stud centres within 1/4 in (95 % marked)", share("studs within 1/4 in", studs)),
        ("stud centres within 3/8 in (95 % unmarked)", share("studs within 3/8 in", studs)),
        ("boxes found (95 %)", share("boxes found", total["boxes asked"])),
        ("boxes that are boxes (90 %)", share("boxes true", boxes + total["boxes invented"])),
        ("boxes within 3/8 in (95 %)", share("boxes within 3/8 in", boxes)),
        ("gangs right", share("boxes gangs right", boxes)),
        ("visible cable found, m (85 %)", share("visible length found", total["visible length"])),
        ("proposed run that is true, m (90 %)", share("proposed length true", total["proposed length"])),
        ("colour named rightly (95 %)", share("colours right", total["colours named"])),
        ("colour left unsure", f"{total['colours unsure']}"),
    ]
    return "\n".join(f"{name:43} {value}" for name, value in lines)


def seen_of(record: Record, face_id: str) -> Seen:
    """A face of a placed record with the pictures laid on it."""
    coverage.run(record)
    site = sites_of(record)[face_id]
    patch, views = rectified(record, site, good_sources(site, sources_of(record, site)), False)
    openings, markers = record.all(Opening, face_id=face_id), record.all(Marker, face_id=face_id)
    return Seen(face=site.face, patch=patch, views=views, openings=openings, markers=markers)


def main() -> None:
    """Print the table of each record, and of all."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("pairs", nargs="+", metavar="RECORD TRUTH")
    parser.add_argument("--face", action="append", default=[])
    told = parser.parse_args()
    everything = Counter()
    for folder, path in zip(told.pairs[::2], told.pairs[1::2], strict=True):
        truth = json.loads(Path(path).read_text("utf-8"))
        room = Counter()
        with Record.open(folder) as record:
            for wall in truth["walls"]:
                if told.face and wall["id"] not in told.face:
                    continue
                clock = time.process_time()
                seen = seen_of(record, wall["id"])
                room += score(seen, *found_on(seen), truth)
                print(f"{wall['id']}: {wall['length'] / 0.3048:.1f} ft in {time.process_time() - clock:.0f} CPU s")
        print(f"\n{folder}\n{table(room)}\n")
        everything += room
    print(f"all\n{table(everything)}")


if __name__ == "__main__":
    main()
