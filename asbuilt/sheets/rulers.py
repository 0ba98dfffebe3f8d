"""The tape along the bottom of a face and the heights at its left, in feet or millimetres."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from asbuilt.sheets.drawing import Group, Line, Rect, Strokes, Text

FOOT_M, INCH_M = 0.3048, 0.0254  # exact by definition
TAPE_WIDTH_M = 0.15
LABEL_M = 0.085


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """One graduation; ``level`` 0 is the shortest, 2 the longest and labelled."""

    at_m: float
    level: int
    label: str = ""


def marks(length_m: float, unit: str) -> list[Mark]:
    """Graduations from 0 to a length: inches and feet, or 50 mm and half metres.

    Parameters
    ----------
    length_m : float
    unit : str
        in or ft give feet and inches; mm or m give millimetres.
    """
    return list(_metric(length_m) if unit in ("mm", "m") else _imperial(length_m))


def _imperial(length_m: float) -> Iterator[Mark]:
    for inch in range(int(length_m / INCH_M + 1e-9) + 1):
        feet, rest = divmod(inch, 12)
        level = 2 if rest == 0 else 1 if rest % 6 == 0 else 0
        yield Mark(at_m=inch * INCH_M, level=level, label=f"{feet} ft" if rest == 0 else "")


def _metric(length_m: float) -> Iterator[Mark]:
    for step in range(int(length_m / 0.05 + 1e-9) + 1):
        mm = step * 50
        level = 2 if mm % 500 == 0 else 1 if mm % 100 == 0 else 0
        yield Mark(at_m=mm / 1000, level=level, label=str(mm) if level == 2 else "")


def tape(length_m: float, top_m: float, unit: str) -> Group:
    """A tape laid along the bottom of a face, its zero at the left end."""
    graduations = marks(length_m, unit)
    parts: list = [Rect(left_m=0, bottom_m=top_m - TAPE_WIDTH_M, width_m=length_m, height_m=TAPE_WIDTH_M, pen="tape")]
    for pen, levels in (("tape mark", (0, 1)), ("tape mark long", (2,))):
        parts.append(
            Strokes(
                segments_m=tuple(
                    ((m.at_m, top_m), (m.at_m, top_m - (0.02, 0.035, 0.05)[m.level]))
                    for m in graduations
                    if m.level in levels
                ),
                pen=pen,
            )
        )
    baseline_m = top_m - TAPE_WIDTH_M + 0.025
    for mark in graduations:
        if mark.label and mark.at_m < length_m - 0.06:
            anchor = "start" if mark.at_m == 0 else "middle"
            inset_m = 0.015 if mark.at_m == 0 else 0.0
            parts.append(
                Text(at_m=(mark.at_m + inset_m, baseline_m), text=mark.label, size_m=LABEL_M,
                     pen="text plain", anchor=anchor)
            )  # fmt: skip
    return Group(parts=tuple(parts), layer="tape", title="Tape from the left end")


def heights(height_m: float, right_m: float, unit: str, grid_to_m: float) -> Group:
    """Heights above the datum at the left of a face, each with a faint line across it."""
    labelled = [m for m in marks(height_m, unit) if m.label]
    parts: list = [Line(start_m=(right_m, 0), end_m=(right_m, height_m), pen="rule")]
    parts.append(Strokes(segments_m=tuple(((0.0, m.at_m), (grid_to_m, m.at_m)) for m in labelled), pen="grid"))
    for mark in marks(height_m, unit):
        if mark.level:
            parts.append(
                Line(start_m=(right_m - (0.03 if mark.level == 1 else 0.05), mark.at_m),
                     end_m=(right_m, mark.at_m), pen="tape mark")
            )  # fmt: skip
    for mark in labelled:
        parts.append(
            Text(at_m=(right_m - 0.065, mark.at_m - LABEL_M * 0.35), text=mark.label, size_m=LABEL_M,
                 pen="text plain", anchor="end")
        )  # fmt: skip
    return Group(parts=tuple(parts), layer="heights", title="Heights above the datum floor")
