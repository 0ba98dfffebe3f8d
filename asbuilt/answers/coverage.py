"""What of a face the placed pictures show, in three classes, and what is missing."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from scipy import ndimage

from asbuilt.answers import wording
from asbuilt.answers.reply import Reply
from asbuilt.answers.stretches import BEYOND
from asbuilt.answers.view import FaceView, View, view_of
from asbuilt.record.store import Record
from asbuilt.record.types import Coverage, Item, Placement
from asbuilt.record.unfinished import not_looked_at
from asbuilt.steps.coverage import ERROR_STEP_M, layers_of

NOT_RECORDED, POOR, WELL, OPENING = 0, 1, 2, 3
# What a picture must offer for a 3/8 in cable to be made out and followed (common practice,
# no source): four pixels across it, not from the side, not in the dark, not blurred.
WELL_PX_PER_INCH = 8
POOR_PX_PER_INCH = 3
WELL_OBLIQUITY_DEG = 55
WELL_LIGHT = 26  # of 255
WELL_SHARPNESS = 64  # of 255
WELL_COUNT = 2  # one picture alone gives no depth
WELL_SIGMA_M = 0.0075  # 5/8 in at 95 %: a screw aimed at the middle of a stud still meets it (our choice)
HOLE_CELLS = 5  # every hole of 6 in by 6 in is listed, also where errors of placing make it look smaller
SAME_HEIGHT_M = 0.1524  # 6 in: bays that fall short as high as that are listed together (our choice)
OVERLAP_CELLS = 2  # a hole that reaches this far past the middle of a stud is not listed in the next bay as well


@dataclass(frozen=True, slots=True, kw_only=True)
class Shortfall(Reply):
    """A part of a bay, or of bays side by side, that is not well recorded."""

    face_id: str
    bay: int | None
    last_bay: int | None
    left_m: float
    right_m: float
    bottom_m: float
    top_m: float
    recorded: str  # "not recorded" or "seen but poor"
    reason: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class AreaCover(Reply):
    """How a rectangle of a face is recorded."""

    state: str  # the worst class in it
    well_share: float
    poor_share: float
    picture_ids: tuple[str, ...]
    first_date: str
    last_date: str
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FaceCoverage:
    """The coverage of one face: cell classes and layers, row 0 at the floor."""

    view: View
    face: FaceView
    cell_m: float
    classes: np.ndarray  # (rows, cols)
    layers: dict[str, np.ndarray]
    picture_ids: tuple[str, ...]
    best: np.ndarray  # (rows, cols), number of the best picture, -1 none
    worked_out: bool

    def window(self, left_m: float, bottom_m: float, right_m: float, top_m: float) -> tuple[slice, slice]:
        """The rows and columns of a rectangle; at least one cell."""
        rows, cols = self.classes.shape
        first_col, first_row = _cell(left_m, self.cell_m, cols), _cell(bottom_m, self.cell_m, rows)
        last_col = max(_cell(right_m - 1e-9, self.cell_m, cols), first_col)
        last_row = max(_cell(top_m - 1e-9, self.cell_m, rows), first_row)
        return slice(first_row, last_row + 1), slice(first_col, last_col + 1)

    def area(self, left_m: float, bottom_m: float, right_m: float, top_m: float) -> AreaCover:
        """How a rectangle of the face is recorded: by the worst of its cells."""
        window = self.window(left_m, bottom_m, right_m, top_m)
        classes = self.classes[window]
        inside = classes[classes != OPENING]
        numbers = self.best[window]
        ids = tuple(self.picture_ids[n] for n in _frequent(numbers[numbers >= 0])) if self.picture_ids else ()
        dates = sorted(d for d in (self.view.pictures[i].taken_at for i in ids) if d)
        worst = int(inside.min()) if inside.size else WELL
        return AreaCover(
            state=wording.COVER[worst],
            well_share=_well_share(inside),
            poor_share=float((inside == POOR).mean()) if inside.size else 0.0,
            picture_ids=ids,
            first_date=dates[0][:10] if dates else "",
            last_date=dates[-1][:10] if dates else "",
            reason="" if worst >= WELL else self.reason(window, classes == worst),
        )

    def well_share(self, left_m: float, bottom_m: float, right_m: float, top_m: float) -> float:
        """What share of a rectangle of the face is well recorded, openings left out."""
        classes = self.classes[self.window(left_m, bottom_m, right_m, top_m)]
        return _well_share(classes[classes != OPENING])

    def reason(self, window: tuple[slice, slice], mask: np.ndarray) -> str:
        """Why the cells of ``mask`` inside ``window`` are not well recorded."""
        if not self.worked_out:
            return wording.NO_COVERAGE
        values = {name: layer[window][mask] for name, layer in self.layers.items()}
        if (values["count"] == 0).mean() > 0.5:
            return wording.NO_PICTURE
        middle = {name: float(np.median(v[values["count"] > 0])) for name, v in values.items()}
        sigma_m = middle["error"] * ERROR_STEP_M
        return wording.poor_reason(
            obliquity_deg=middle["obliquity"] if middle["obliquity"] > WELL_OBLIQUITY_DEG else None,
            blurred=middle["sharpness"] < WELL_SHARPNESS,
            dark=middle["light"] < WELL_LIGHT,
            px_per_inch=middle["resolution"] if middle["resolution"] < WELL_PX_PER_INCH else None,
            single=middle["count"] < WELL_COUNT,
            error=wording.error(sigma_m, self.view.building.unit) if sigma_m > WELL_SIGMA_M else None,
        )

    def shares(self) -> tuple[float, float, float]:
        """Shares of the face (openings left out) that are well, poorly and not recorded."""
        inside = self.classes[self.classes != OPENING]
        return tuple(float((inside == c).mean()) if inside.size else 0.0 for c in (WELL, POOR, NOT_RECORDED))

    def sigma_m(self) -> np.ndarray:
        """One-sigma error stated for a spot clicked in each cell [m]."""
        return self.layers["error"] * ERROR_STEP_M


def _well_share(inside: np.ndarray) -> float:
    return float((inside == WELL).mean()) if inside.size else 1.0


def _cell(value_m: float, cell_m: float, count: int) -> int:
    return min(max(math.floor(value_m / cell_m), 0), count - 1)


def _frequent(numbers: np.ndarray) -> list[int]:
    values, counts = np.unique(numbers, return_counts=True)
    return values[np.argsort(-counts, kind="stable")].tolist()


def coverage_of(record: Record, face_id: str) -> FaceCoverage:
    """The stored coverage of a face; where none was worked out everything is not recorded.

    A cell whose best picture is no longer placed counts as not recorded.
    """
    return coverage_in(view_of(record), face_id)


def coverage_in(view: View, face_id: str) -> FaceCoverage:
    """The same of one version of the record."""
    if face_id not in view.coverage:
        view.coverage[face_id] = _load(view, face_id)
    return view.coverage[face_id]


def _load(view: View, face_id: str) -> FaceCoverage:
    face = view.face(face_id)
    row = view.record.find(Coverage, face_id)
    if row is None:
        shape = (int(np.ceil(face.face.height_m / 0.0254)), int(np.ceil(face.face.length_m / 0.0254)))
        empty = np.broadcast_to(np.uint8(0), shape)
        return FaceCoverage(view=view, face=face, cell_m=0.0254, classes=empty, layers={"error": empty},
                            picture_ids=(), best=np.broadcast_to(-1, shape), worked_out=False)  # fmt: skip
    layers, picture_ids = layers_of(row), tuple(row.layers["picture_ids"])
    best = layers["picture_low"].astype(int) + 256 * layers["picture_high"].astype(int)
    placed = np.array([i in view.placements for i in picture_ids] + [False])
    best = np.where(placed[np.minimum(best, len(picture_ids))], np.minimum(best, len(picture_ids)), -1)
    classes = _classes(layers, best)
    for o in face.openings:
        rows = slice(_cell(o.bottom_m, row.cell_m, row.rows), _cell(o.top_m, row.cell_m, row.rows))
        cols = slice(_cell(o.left_m, row.cell_m, row.cols), _cell(o.right_m, row.cell_m, row.cols))
        classes[rows, cols] = OPENING
    return FaceCoverage(view=view, face=face, cell_m=row.cell_m, classes=classes, layers=layers,
                        picture_ids=picture_ids, best=best, worked_out=True)  # fmt: skip


def _classes(layers: dict[str, np.ndarray], best: np.ndarray) -> np.ndarray:
    seen = (best >= 0) & (layers["resolution"] >= POOR_PX_PER_INCH)
    well = seen & (layers["resolution"] >= WELL_PX_PER_INCH) & (layers["obliquity"] <= WELL_OBLIQUITY_DEG)
    well &= (layers["light"] >= WELL_LIGHT) & (layers["sharpness"] >= WELL_SHARPNESS)
    well &= (layers["count"] >= WELL_COUNT) & (layers["error"] * ERROR_STEP_M <= WELL_SIGMA_M)
    return np.where(well, WELL, np.where(seen, POOR, NOT_RECORDED)).astype(np.uint8)


def shortfalls(coverage: FaceCoverage) -> Iterator[Shortfall]:
    """What to photograph again, bay by bay from the left, each from the floor up.

    Every square of HOLE_CELLS that is not well recorded lies in one of them, whether it lies in
    one bay or across a stud, and whether all of it is missing or some of it is seen but poor.
    What is the same in bays side by side is listed once.
    """
    groups: list[list[Shortfall]] = []
    for found in _by_bay(coverage):
        same = next((g for g in groups if _goes_on(g[-1], found)), None)
        if same is None:
            groups.append([found])
        else:
            same.append(found)
    for group in groups:
        yield group[0] if len(group) == 1 else _joined(coverage, group)


def _goes_on(before: Shortfall, after: Shortfall) -> bool:
    """Whether a bay falls short as the one to its left does: as high, and for the same reason."""
    if after.bay is None or before.last_bay != after.bay - 1 or before.recorded != after.recorded:
        return False
    apart_m = abs(before.bottom_m - after.bottom_m), abs(before.top_m - after.top_m)
    return max(apart_m) <= SAME_HEIGHT_M and re.sub(r"\d+", "", before.reason) == re.sub(r"\d+", "", after.reason)


def _joined(coverage: FaceCoverage, group: Sequence[Shortfall]) -> Shortfall:
    wide = replace(
        group[0], bay=group[0].bay, last_bay=group[-1].bay, left_m=group[0].left_m, right_m=group[-1].right_m,
        bottom_m=min(s.bottom_m for s in group), top_m=max(s.top_m for s in group),
    )  # fmt: skip
    return replace(wide, text=wording.shortfall(wide, coverage.face.face, coverage.view.building.unit))


def _by_bay(coverage: FaceCoverage) -> Iterator[Shortfall]:
    unwell = (coverage.classes == NOT_RECORDED) | (coverage.classes == POOR)
    side = np.minimum(HOLE_CELLS, unwell.shape)
    holes = ndimage.binary_opening(unwell, np.ones(side, bool))
    for number, first, last in _bay_columns(coverage):
        from_col, to_col = max(first - OVERLAP_CELLS, 0), min(last + OVERLAP_CELLS, holes.shape[1])
        labels, _ = ndimage.label(holes[:, from_col:to_col])
        own = labels[:, first - from_col : last - from_col]
        for n, (rows, cols) in enumerate(ndimage.find_objects(labels), start=1):
            # What reaches in by less than that is listed with the bay it comes from.
            if (own == n).any(axis=0).sum() >= min(OVERLAP_CELLS + 1, last - first):
                window = rows, slice(cols.start + from_col, cols.stop + from_col)
                yield _shortfall(coverage, number, window, labels[rows, cols] == n)


def _bay_columns(coverage: FaceCoverage) -> list[tuple[int | None, int, int]]:
    """Number, first column and the one after the last of every bay; together they are the whole face."""
    bays, count = coverage.face.bays, coverage.classes.shape[1]
    if not bays or coverage.classes.max() == NOT_RECORDED:
        return [(None, 0, count)]
    starts = [0, *(_cell(b.left.center_m, coverage.cell_m, count) for b in bays[1:]), count]
    return [(b.number, *ends) for b, ends in zip(bays, pairwise(starts), strict=True)]


def _shortfall(coverage: FaceCoverage, bay: int | None, window: tuple[slice, slice], mask: np.ndarray) -> Shortfall:
    face, (rows, cols) = coverage.face.face, window
    left, right = cols.start * coverage.cell_m, min(cols.stop * coverage.cell_m, face.length_m)
    bottom, top = rows.start * coverage.cell_m, min(rows.stop * coverage.cell_m, face.height_m)
    missing = mask & (coverage.classes[window] == NOT_RECORDED)
    share = float(missing.sum() / mask.sum())
    if share in (0.0, 1.0):
        reason = coverage.reason(window, mask)
    else:
        reason = wording.partly(share, coverage.reason(window, missing), coverage.reason(window, mask & ~missing))
    found = Shortfall(face_id=face.id, bay=bay, last_bay=bay, left_m=left, right_m=right, bottom_m=bottom, top_m=top,
                      recorded=wording.COVER[NOT_RECORDED if share else POOR], reason=reason, text="")  # fmt: skip
    return replace(found, text=wording.shortfall(found, face, coverage.view.building.unit))


@dataclass(frozen=True, slots=True, kw_only=True)
class FaceState(Reply):
    """One face before cover-up: how much is recorded, what is missing, go or not yet."""

    face_id: str
    title: str
    go: bool
    sentence: str
    well_share: float
    poor_share: float
    not_recorded_share: float
    placed_count: int
    not_placed: tuple[str, ...]  # pictures filed here that could not be placed, each with its reason
    shortfalls: tuple[Shortfall, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class CoverageAnswer(Reply):
    """All faces in one walk round each room, and what else is open."""

    faces: tuple[FaceState, ...]
    not_looked_at: tuple[str, ...]  # film that may show more, or would have
    loose_ends: tuple[str, ...]


def before_cover_up(record: Record) -> CoverageAnswer:
    """The list to work through before the walls are closed."""
    view = view_of(record)
    faces = tuple(_state(record, view, face_id) for face_id in view.faces)
    return CoverageAnswer(
        faces=faces, not_looked_at=tuple(not_looked_at(record)), loose_ends=tuple(loose_ends(view))
    )


def _state(record: Record, view: View, face_id: str) -> FaceState:
    coverage = coverage_of(record, face_id)
    found = tuple(shortfalls(coverage))
    well, poor, missing = coverage.shares()
    filed = {p.id for p in view.pictures.values() if p.face_id == face_id}
    refused = [p for p in record.all(Placement, status="not placed") if p.id in filed]
    title = coverage.face.face.title
    return FaceState(
        face_id=face_id, title=title, go=not found, sentence=wording.go_or_not(title, len(found)),
        well_share=well, poor_share=poor, not_recorded_share=missing, placed_count=len(coverage.picture_ids),
        not_placed=tuple(f"{p.id}: {p.reason}" for p in refused), shortfalls=found,
    )  # fmt: skip


def loose_ends(view: View) -> Iterator[str]:
    """Boxes with no circuit, runs with no end, circuits with no item."""
    tagged = set()
    for face_id in view.faces:
        for thing in view.things_on(face_id):
            tagged.add(thing.item.circuit_id)
            if thing.on_far_face:
                continue
            if thing.kind.name in ("device box", "junction box") and thing.circuit is None:
                yield wording.no_circuit(thing.item, view.faces[face_id].title)
            if any(s.status == BEYOND for s in thing.course):
                yield wording.no_end(thing.item, view.faces[face_id].title)
    for item in view.record.all(Item):
        tagged.add(item.circuit_id)
    for circuit in view.circuits.values():
        if circuit.id not in tagged and circuit.state != "spare":
            yield wording.no_item(circuit)
