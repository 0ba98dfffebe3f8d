"""The error along a wall as a drawing: what a spot sighted there would be good for, and what one more mark gains."""

from __future__ import annotations

from collections.abc import Sequence

from shapely import box, unary_union

from asbuilt.sheets.drawing import Drawing, Group, Line, Part, Polyline, Rect, Strokes, Text
from asbuilt.sheets.hatch import hatched
from asbuilt.sheets.rulers import TAPE_WIDTH_M, tape
from asbuilt.sources import COVER_95
from asbuilt.steps.place_error import ErrorAt, FaceError
from asbuilt.units import format_length

HEIGHT_M = 1.5  # of the chart, on the scale of the wall
LINES_M = (0.00635, 0.0127, 0.0254, 0.0508, 0.1016, 0.2032)  # 1/4, 1/2, 1, 2, 4 and 8 in
LEAST_TOP = 3  # lines that a chart has at least
LABEL_M = 0.12
LEFT_M, MARGIN_M, LEGEND_STEP_M = 0.75, 0.12, 1.35
PENS = ("run cable", "run pipe", "run conduit")  # low, middle, high on the wall


def error_chart(found: FaceError, length_m: float, references_m: Sequence[float], unit: str) -> Drawing:
    """Draw the 95 % error of the offset along one wall at three heights.

    Parameters
    ----------
    found : FaceError
    length_m : float
        Of the wall.
    references_m : sequence of float
        Offsets of the taped references.
    unit : str
        in, ft, mm or m.
    """
    known = [e.sigma_offset_m * COVER_95.value for e in found.along if e.pictures]
    scale = _Scale(max(known, default=0.0))
    parts: list[Part] = [Rect(left_m=0, bottom_m=0, width_m=length_m, height_m=HEIGHT_M, pen="bay")]
    parts += _grid(scale, length_m, unit)
    heights = sorted({round(e.height_m, 3) for e in found.along})
    parts.append(_unseen(found.along, length_m))
    for n, (pen, height_m) in enumerate(zip(PENS, heights, strict=False)):
        parts += _curve(scale, [e for e in found.along if abs(e.height_m - height_m) < 0.01], pen, unit)
        parts += _legend(n * LEGEND_STEP_M, pen, height_m, unit)
    ticks = tuple(((x, 0.0), (x, 0.14)) for x in references_m)
    parts.append(Group(parts=(Strokes(segments_m=ticks, pen="outline"),), title="taped references"))
    if found.worst_offset_m is not None:
        parts += _worst(scale, found)
    parts.append(tape(length_m, -0.1, unit))
    return Drawing(
        left_m=-LEFT_M,
        bottom_m=-0.1 - TAPE_WIDTH_M - MARGIN_M / 2,
        right_m=max(length_m, len(heights) * LEGEND_STEP_M) + MARGIN_M,
        top_m=HEIGHT_M + 3 * MARGIN_M,
        title=f"Error along {found.title}",
        description=_spoken(found, unit),
        parts=tuple(parts),
    )


class _Scale:
    """How high an error lies on the chart: by its square root, so that small ones can be told apart."""

    def __init__(self, most_m: float) -> None:
        needed = next((n for n, line_m in enumerate(LINES_M, start=1) if line_m >= most_m), len(LINES_M))
        self.lines_m = LINES_M[: max(needed, LEAST_TOP)]

    def up(self, error_m: float) -> float:
        """Metres above the foot of the chart; what is beyond the top line stays on it."""
        return HEIGHT_M * min(error_m / self.lines_m[-1], 1.0) ** 0.5


def _grid(scale: _Scale, length_m: float, unit: str) -> list[Part]:
    parts: list[Part] = []
    for error_m in scale.lines_m:
        up_m = scale.up(error_m)
        words = format_length(error_m, unit).removeprefix("0 ft ")
        parts.append(Line(start_m=(0, up_m), end_m=(length_m, up_m), pen="centre line"))
        at_m = (-0.05, up_m - 0.04)
        parts.append(Text(at_m=at_m, text=f"+/- {words}", size_m=LABEL_M, pen="text plain", anchor="end"))
    return parts


def _unseen(along: Sequence[ErrorAt], length_m: float) -> Part:
    """Where no placed picture shows the wall, for any of the heights."""
    offsets = sorted({e.offset_m for e in along})
    half_m = (offsets[1] - offsets[0]) / 2 if len(offsets) > 1 else length_m / 2
    dark = [x for x in offsets if all(e.pictures == 0 for e in along if e.offset_m == x)]
    area = unary_union([box(max(x - half_m, 0), 0, min(x + half_m, length_m), HEIGHT_M) for x in dark])
    return hatched(area, "not recorded", "coverage")


def _legend(left_m: float, pen: str, height_m: float, unit: str) -> list[Part]:
    up_m = HEIGHT_M + 1.6 * MARGIN_M
    words = f"{format_length(height_m, unit, 0.05)} up"
    return [
        Line(start_m=(left_m, up_m), end_m=(left_m + 0.3, up_m), pen=pen),
        Text(at_m=(left_m + 0.36, up_m - 0.04), text=words, size_m=LABEL_M, pen="text plain"),
    ]


def _curve(scale: _Scale, along: Sequence[ErrorAt], pen: str, unit: str) -> list[Part]:
    """One height: a line through what is known, broken where nothing is."""
    parts: list[Part] = []
    piece: list[tuple[float, float]] = []
    for error in [*sorted(along, key=lambda e: e.offset_m), None]:
        if error is not None and error.pictures:
            piece.append((error.offset_m, scale.up(error.sigma_offset_m * COVER_95.value)))
            continue
        if len(piece) > 1:
            parts.append(Polyline(points_m=tuple(piece), pen=pen))
        piece = []
    return [Group(parts=tuple(parts), title=f"error at {format_length(along[0].height_m, unit)} up")]


def _worst(scale: _Scale, found: FaceError) -> list[Part]:
    x, up_m = found.worst_offset_m, scale.up(found.worst_m * COVER_95.value)
    with_mark_m = found.worst_m if found.worst_with_mark_m is None else found.worst_with_mark_m
    down_m = scale.up(with_mark_m * COVER_95.value)
    ring = Polyline(points_m=((x, up_m), (x, down_m)), pen="outline")
    square = Rect(left_m=x - 0.04, bottom_m=up_m - 0.04, width_m=0.08, height_m=0.08, pen="outline")
    return [Group(parts=(ring, square), title="the worst place, and what a taped mark there would make of it")]


def _spoken(found: FaceError, unit: str) -> str:
    if found.worst_m is None:
        return "No placed picture shows this wall."
    low = min(e.sigma_offset_m for e in found.along if e.pictures)
    worst = format_length(found.worst_m * COVER_95.value, unit)
    best = format_length(low * COVER_95.value, unit)
    return f"From +/- {best} to +/- {worst} at 95 %, worst at {format_length(found.worst_offset_m, unit, 0.05)}."
