"""The strip under a drawing: what it is, its datum, its date, and what the lines mean."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from asbuilt.answers.stretches import SEEN
from asbuilt.answers.things import Thing
from asbuilt.sheets.drawing import Group, Line, Part, Rect, Region, Strokes, Text
from asbuilt.sheets.labels import text_width_m
from asbuilt.sheets.runs import HOLLOW, run_pen

BLOCK_HEIGHT_M = 0.82
ROW_M, SMALL_M, LARGE_M = 0.13, 0.078, 0.135
CAUTION = "Evidence for looking, not permission to drill. Prove dead; follow local code."


@dataclass(frozen=True, slots=True, kw_only=True)
class Words:
    """What the title block says."""

    building: str
    room: str
    face: str
    rows: tuple[str, ...]


def title_block(words: Words, things: Sequence[Thing], right_m: float, top_m: float, not_recorded: bool) -> Group:
    """The block from x = 0 to ``right_m`` under ``top_m``: title, facts, legend, caution."""
    bottom_m = top_m - BLOCK_HEIGHT_M
    split_m = right_m * 0.42
    facts_m = split_m + right_m * 0.02
    parts: list[Part] = [
        Rect(left_m=0, bottom_m=bottom_m, width_m=right_m, height_m=BLOCK_HEIGHT_M, pen="frame"),
        Line(start_m=(split_m, top_m), end_m=(split_m, bottom_m), pen="rule"),
        Text(at_m=(0.06, top_m - 0.18), text=words.face, size_m=LARGE_M, pen="text bold"),
        Text(at_m=(0.06, top_m - 0.31), text=f"{words.building}, {words.room}", size_m=SMALL_M * 1.1, pen="text plain"),
    ]
    row_m = min(SMALL_M, (split_m - 0.12) / text_width_m(max(words.rows, key=len), 1.0))
    parts += [
        Text(at_m=(0.06, top_m - 0.31 - ROW_M * (i + 1)), text=row, size_m=row_m, pen="text plain")
        for i, row in enumerate(words.rows)
    ]
    parts += legend(things, facts_m, top_m - 0.13, right_m - 0.05, not_recorded)
    parts.append(Line(start_m=(split_m, bottom_m + ROW_M), end_m=(right_m, bottom_m + ROW_M), pen="rule"))
    parts.append(Text(at_m=(facts_m, bottom_m + 0.04), text=CAUTION,
                      size_m=_fitting(CAUTION, right_m - facts_m - 0.03), pen="text bold"))  # fmt: skip
    return Group(parts=tuple(parts), layer="title block")


def legend(things: Sequence[Thing], left_m: float, top_m: float, right_m: float, not_recorded: bool) -> list[Part]:
    """Samples of the lines that are on this sheet, in columns."""
    samples: list[tuple[str, list[Part]]] = []
    runs = {("far side" if t.on_far_face else t.kind.name): t for t in things if t.kind.is_run}
    for name, thing in runs.items():
        sample: list[Part] = [Line(start_m=(0, 0), end_m=(0.3, 0), pen=run_pen(thing))]
        if name in HOLLOW:
            sample.append(Line(start_m=(0, 0), end_m=(0.3, 0), pen="run core"))
        samples.append((name, sample))
    if things:
        samples.append(
            ("where it may be (95 %)", [Rect(left_m=0, bottom_m=-0.04, width_m=0.3, height_m=0.08, pen="band")])
        )
    if any(s.status != SEEN for t in things for s in t.course):
        samples.append(("course not seen: one of these", [Line(start_m=(0, 0), end_m=(0.3, 0), pen="run unsure")]))
    if not_recorded:
        samples.append(("not recorded (not empty)", _hatch_sample()))
    studs: list[Part] = [
        Rect(left_m=left, bottom_m=-0.045, width_m=0.1, height_m=0.09, pen=pen)
        for left, pen in ((0.02, "stud"), (0.18, "stud expected"))
    ]
    samples.append(("stud, dashed where only expected", studs))
    rows = 4
    column_m = (right_m - left_m) / max(-(-len(samples) // rows), 1)
    size_m = min(_fitting(name, column_m - 0.42) for name, _ in samples)
    parts: list[Part] = []
    for i, (name, sample) in enumerate(samples):
        x, z = left_m + (i // rows) * column_m, top_m - (i % rows) * ROW_M
        parts += [_moved(part, x, z) for part in sample]
        parts.append(Text(at_m=(x + 0.38, z - 0.025), text=name, size_m=size_m, pen="text plain"))
    return parts


def _fitting(text: str, room_m: float) -> float:
    """The size at which a text fits a room, at most the usual small one [m]."""
    return min(SMALL_M, room_m / text_width_m(text, 1.0))


def _hatch_sample() -> list[Part]:
    ring = ((0.0, -0.045), (0.3, -0.045), (0.3, 0.045), (0.0, 0.045))
    slants = tuple(((x, -0.045), (x + 0.09, 0.045)) for x in (0.0, 0.07, 0.14, 0.21))
    return [
        Region(rings_m=(ring,), pen="not recorded"),
        Strokes(segments_m=slants, pen="not recorded hatch"),
        Region(rings_m=(ring,), pen="not recorded edge"),
    ]


def _moved(part: Part, x: float, z: float) -> Part:
    """A sample shape moved to its place."""
    if isinstance(part, Line):
        return Line(
            start_m=(part.start_m[0] + x, part.start_m[1] + z),
            end_m=(part.end_m[0] + x, part.end_m[1] + z),
            pen=part.pen,
        )
    if isinstance(part, Rect):
        return Rect(
            left_m=part.left_m + x,
            bottom_m=part.bottom_m + z,
            width_m=part.width_m,
            height_m=part.height_m,
            pen=part.pen,
        )
    if isinstance(part, Region):
        return Region(rings_m=tuple(tuple((px + x, pz + z) for px, pz in r) for r in part.rings_m), pen=part.pen)
    return Strokes(
        segments_m=tuple(((a[0] + x, a[1] + z), (b[0] + x, b[1] + z)) for a, b in part.segments_m), pen=part.pen
    )
