"""Boxes and other compact items of a face, each with the rim of its 95 % error."""

from __future__ import annotations

from asbuilt.answers.things import Thing
from asbuilt.sheets.drawing import Circle, Group, Part, Rect, Strokes
from asbuilt.sheets.things import GANG_STEP_M, describe, error_95_m

BOX_PENS = {"device box": "box", "junction box": "box", "panel": "box panel", "blocking": "blocking",
            "nail plate": "nail plate"}  # fmt: skip


def box_shape(thing: Thing) -> Group:
    """A compact item at its real size over the rim of its 95 % error."""
    block = thing.block
    x, z = float(block.center_m[0]), float(block.center_m[1])
    half_w, half_h = block.half_width_m, block.half_height_m
    error_x_m, error_z_m = error_95_m(block.cov)
    parts: list[Part] = [
        Rect(left_m=x - half_w - error_x_m, bottom_m=z - half_h - error_z_m, width_m=2 * (half_w + error_x_m),
             height_m=2 * (half_h + error_z_m), pen="band"),
    ]  # fmt: skip
    if thing.kind.name == "coil":
        parts += [
            Circle(center_m=(x, z), radius_m=min(half_w, half_h) * share, pen="coil") for share in (1.0, 0.8, 0.6)
        ]
    else:
        pen = "box far" if thing.on_far_face else BOX_PENS.get(thing.kind.name, "box plain")
        parts.append(Rect(left_m=x - half_w, bottom_m=z - half_h, width_m=2 * half_w, height_m=2 * half_h, pen=pen))
        parts += _inside(thing, x - half_w, z - half_h, x + half_w, z + half_h)
    return Group(parts=tuple(parts), key=thing.item.id, title=describe(thing))


def _inside(thing: Thing, left_m: float, bottom_m: float, right_m: float, top_m: float) -> list[Part]:
    """Gang lines of a device box, the cross of a junction box."""
    if thing.kind.name == "junction box":
        cross = (((left_m, bottom_m), (right_m, top_m)), ((left_m, top_m), (right_m, bottom_m)))
        return [Strokes(segments_m=cross, pen="gang line")]
    gangs = thing.item.gangs or 1
    if thing.kind.name != "device box" or gangs < 2:
        return []
    first_m = (left_m + right_m) / 2 - (gangs - 2) * GANG_STEP_M / 2
    lines = [first_m + i * GANG_STEP_M for i in range(gangs - 1)]
    return [Strokes(segments_m=tuple(((x, bottom_m), (x, top_m)) for x in lines), pen="gang line")]
