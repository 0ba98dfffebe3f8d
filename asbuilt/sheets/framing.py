"""Studs, plates, openings and bay numbers of a face."""

from __future__ import annotations

from collections.abc import Sequence

from asbuilt.geometry.studs import Bay, StudPlace, bays
from asbuilt.record import Face, Opening
from asbuilt.sheets.drawing import Circle, Group, Line, Part, Rect, Strokes, Text
from asbuilt.units import format_length

PLATE_COUNT_TOP = 2  # a double top plate over a single sole plate: common practice, no source
BAY_MARK_M = 0.062


def face_ground(face: Face) -> Group:
    """The face itself, as paper, before anything is drawn on it."""
    whole = Rect(left_m=0, bottom_m=0, width_m=face.length_m, height_m=face.height_m, pen="bay")
    return Group(parts=(whole,), layer="ground")


def framing(face: Face, studs: Sequence[StudPlace], openings: Sequence[Opening]) -> Group:
    """Plates and studs as real widths with centre lines; studs known only from the layout are dashed."""
    plate_m = face.stud_width_m
    stud_top_m = face.height_m - PLATE_COUNT_TOP * plate_m
    parts: list[Part] = []
    for left_m, right_m in _between(face.length_m, [o for o in openings if o.bottom_m < plate_m]):
        parts.append(Rect(left_m=left_m, bottom_m=0, width_m=right_m - left_m, height_m=plate_m, pen="plate"))
    for row in range(PLATE_COUNT_TOP):
        bottom_m = stud_top_m + row * plate_m
        parts.append(Rect(left_m=0, bottom_m=bottom_m, width_m=face.length_m, height_m=plate_m, pen="plate"))
    for stud in studs:
        parts.append(_stud(stud, plate_m, stud_top_m))
    centers = tuple(
        ((s.center_m, max(s.bottom_m, plate_m)), (s.center_m, stud_top_m if s.top_m is None else s.top_m))
        for s in studs
    )
    parts.append(Strokes(segments_m=centers, pen="centre line"))
    return Group(parts=tuple(parts), layer="studs", title="Studs and plates")


def _stud(stud: StudPlace, bottom_m: float, top_m: float) -> Group:
    bottom_m = max(stud.bottom_m, bottom_m)
    top_m = top_m if stud.top_m is None else stud.top_m
    pen = "stud expected" if stud.source == "layout" else "stud"
    shape = Rect(left_m=stud.center_m - stud.width_m / 2, bottom_m=bottom_m, width_m=stud.width_m,
                 height_m=top_m - bottom_m, pen=pen)  # fmt: skip
    return Group(parts=(shape,), title=f"stud ({'expected from the layout' if pen != 'stud' else stud.source})")


def _between(length_m: float, gaps: Sequence[Opening]) -> list[tuple[float, float]]:
    """What is left of 0..length when the gaps are taken out."""
    spans, start_m = [], 0.0
    for gap in sorted(gaps, key=lambda o: o.left_m):
        if gap.left_m > start_m:
            spans.append((start_m, gap.left_m))
        start_m = max(start_m, gap.right_m)
    return [*spans, (start_m, length_m)] if start_m < length_m else spans


def openings_drawn(openings: Sequence[Opening], unit: str) -> Group:
    """Openings with crossed diagonals, their name and size."""
    return Group(parts=tuple(_opening(o, unit) for o in openings), layer="openings", title="Openings")


def _opening(opening: Opening, unit: str) -> Group:
    width_m, height_m = opening.right_m - opening.left_m, opening.top_m - opening.bottom_m
    middle_m = (opening.left_m + opening.right_m) / 2
    text_m = (opening.bottom_m + opening.top_m) / 2
    size = f"{format_length(width_m, unit)} x {format_length(height_m, unit)}"
    label_m = min(0.1, width_m / max(len(size), 1) / 0.55)
    return Group(
        parts=(
            Rect(left_m=opening.left_m, bottom_m=opening.bottom_m, width_m=width_m, height_m=height_m, pen="opening"),
            Strokes(
                segments_m=(
                    ((opening.left_m, opening.bottom_m), (opening.right_m, opening.top_m)),
                    ((opening.left_m, opening.top_m), (opening.right_m, opening.bottom_m)),
                ),
                pen="opening cross",
            ),
            Group(
                parts=(
                    Text(at_m=(middle_m, text_m + 0.03), text=opening.kind, size_m=label_m * 1.15, anchor="middle"),
                    Text(
                        at_m=(middle_m, text_m - label_m), text=size, size_m=label_m, pen="text soft", anchor="middle"
                    ),
                ),
                anchor_m=(middle_m, text_m),
            ),
        ),
        key=opening.id,
        title=f"{opening.kind}, {size}",
    )


def outline(face: Face) -> Group:
    """The edge of the face, its floor line the heaviest line on the sheet."""
    corners = [(0.0, 0.0), (0.0, face.height_m), (face.length_m, face.height_m), (face.length_m, 0.0)]
    sides = tuple(zip(corners, corners[1:], strict=False))
    floor = Line(start_m=(-0.03, 0), end_m=(face.length_m + 0.03, 0), pen="floor")
    return Group(parts=(Strokes(segments_m=sides, pen="outline"), floor), layer="outline")


def bay_numbers(studs: Sequence[StudPlace], center_height_m: float) -> Group:
    """A numbered ring under each bay."""
    parts = tuple(part for bay in bays(studs) for part in _bay_number(bay, center_height_m))
    return Group(parts=parts, layer="bays", title="Bay numbers, from the left end")


def _bay_number(bay: Bay, center_height_m: float) -> tuple[Part, ...]:
    middle_m = (bay.left_edge_m + bay.right_edge_m) / 2
    return (
        Circle(center_m=(middle_m, center_height_m), radius_m=BAY_MARK_M, pen="tag"),
        Text(
            at_m=(middle_m, center_height_m - 0.028),
            text=str(bay.number),
            size_m=0.08,
            pen="text bold",
            anchor="middle",
        ),
    )
