"""The key plan of the binder: rooms and faces from above, and where things are shut off."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from reportlab.lib.units import inch
from reportlab.platypus import Flowable, Spacer

from asbuilt.answers.view import View, view_of
from asbuilt.record import Item, Record
from asbuilt.record.kinds import kind_named
from asbuilt.sheets.drawing import Circle, Drawing, Line, Part, Text
from asbuilt.sheets.flow import BODY, HEAD, PART, ruled_table, strong, words
from asbuilt.sheets.pdf import DrawingFlowable, scale_for

TALLEST_PT = 4.6 * inch
TEXT_PT = 8.0
MARGIN_SHARE = 0.08
WRITE_IN = ("Electricity, main switch", "Water", "Gas (only the supplier turns it on again)", "Sprinklers, heating")


def plan_flowables(record: Record, width_pt: float) -> list[Flowable]:
    """The plan with the faces named, panels, and lines to write the shut-offs on."""
    view = view_of(record)
    story: list[Flowable] = [words("Plan of the faces", HEAD)]
    story += [
        words("Seen from above. Each face is named on the side of the room it is seen from; the dot is its LEFT end as "
              "seen from there, where every offset begins."), Spacer(0, 6),
    ]  # fmt: skip
    if any(f.kind == "wall" for f in view.faces.values()):
        story.append(_plan(view, width_pt))
    story += [Spacer(0, 6), *_shut_offs(view, record, width_pt)]
    return story


def _plan(view: View, width_pt: float) -> Flowable:
    walls = {i: f for i, f in view.faces.items() if f.kind == "wall"}
    ends = {i: view.poses[i].apply(np.array([[0.0, 0, 0], [f.length_m, 0, 0]]))[:, :2] for i, f in walls.items()}
    points = np.concatenate(list(ends.values()))
    low, high = points.min(axis=0), points.max(axis=0)
    margin = MARGIN_SHARE * max(*(high - low), 1.0)
    low, high = low - margin, high + margin
    scale = scale_for(*(high - low), width_pt, TALLEST_PT, view.building.unit)
    text_m = TEXT_PT * scale.denominator * 0.0254 / 72
    parts: list[Part] = []
    for face_id, (left, right) in ends.items():
        into = view.poses[face_id].rotate(np.array([[0.0, 1.0, 0.0]]))[0, :2]
        parts += _face(walls[face_id].title, left, right, into, text_m)
    drawing = Drawing(left_m=float(low[0]), bottom_m=float(low[1]), right_m=float(high[0]), top_m=float(high[1]),
                      title="Plan", parts=tuple(parts))  # fmt: skip
    return DrawingFlowable(drawing, scale.denominator)


def _face(title: str, left, right, into, text_m: float) -> Iterator[Part]:
    yield Line(start_m=tuple(left), end_m=tuple(right), pen="floor")
    yield Circle(center_m=tuple(left), radius_m=0.3 * text_m, pen="marker fill")
    turn = float(np.arctan2(*(right - left)[::-1]))
    if abs(turn) > np.pi / 2 + 1e-6:  # never upside down
        turn += np.pi
    letters_up = np.array([-np.sin(turn), np.cos(turn)])
    # The name stands in the room: its feet near the wall, or its head.
    away = 0.6 if letters_up @ -into > 0 else 1.4
    at = (left + right) / 2 - into * text_m * away
    yield Text(at_m=tuple(at), text=title, size_m=text_m, pen="text plain", anchor="middle", turn_rad=turn)


def _shut_offs(view: View, record: Record, width_pt: float) -> Iterator[Flowable]:
    yield words("Shut-offs", PART)
    for panel in view.panels.values():
        where = f" on {view.faces[panel.face_id].title}" if panel.face_id in view.faces else ""
        yield words(f"Panel: {panel.name}{where}.")
    wet = sorted({i.kind for i in record.all(Item) if kind_named(i.kind).hazard in ("wet", "gas", "specialist")})
    if wet:
        yield words(f"On record in the walls besides cable: {', '.join(wet)}. Know where they are shut off.")
    yield words("Write here where each is shut off, and keep it up to date:", BODY)
    rows = [[strong(h) for h in ("What", "Where it is shut off", "Tried on")]]
    rows += [[words(what), "", ""] for what in WRITE_IN]
    table = ruled_table(rows, [width_pt * share for share in (0.34, 0.5, 0.16)])
    table._argH[1:] = [0.4 * inch] * len(WRITE_IN)
    yield Spacer(0, 4)
    yield table
