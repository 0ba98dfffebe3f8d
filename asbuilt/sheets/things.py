"""What the drawing needs to know of a thing: its place, its layer, its words."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from asbuilt.answers.stretches import Stretch
from asbuilt.answers.things import Thing
from asbuilt.sheets.drawing import Point
from asbuilt.sources import COVER_95

GANG_STEP_M = 0.046  # 1-13/16 in from device to device: common practice, no source
LAYERS = {"live": "power", "wet": "plumbing", "gas": "plumbing", "specialist": "special"}
FAR_LAYER = "far side"


def error_95_m(cov: np.ndarray) -> tuple[float, float]:
    """Half widths of the 95 % error in offset and height [m], from a covariance of (offset, height, depth)."""
    sigma = np.sqrt(np.maximum(np.diag(cov), 0.0))
    return COVER_95.value * float(sigma[0]), COVER_95.value * float(sigma[1])


def layer_of(thing: Thing) -> str:
    """The layer a thing is drawn on."""
    if thing.on_far_face:
        return FAR_LAYER
    if thing.kind.name == "low voltage cable":
        return "low voltage"
    if thing.kind.name in ("blocking", "nail plate"):
        return "studs"
    return LAYERS.get(thing.kind.hazard, "other")


def spots_of(thing: Thing) -> list[Point]:
    """The measured spots of a thing on the face [m]."""
    return [(float(s.point_m[0]), float(s.point_m[1])) for s in thing.spots]


def ways_of(stretches: Sequence[Stretch]) -> dict[tuple[int, int], list[Stretch]]:
    """Stretches that follow on each other, by (group, alternative)."""
    ways: dict[tuple[int, int], list[Stretch]] = {}
    for stretch in stretches:
        ways.setdefault((stretch.group, stretch.alternative), []).append(stretch)
    return ways


def describe(thing: Thing) -> str:
    """One line for people who point at a thing or have it read out."""
    words = [thing.kind.name]
    if thing.item.label:
        words.append(thing.item.label)
    if thing.circuit is not None:
        words.append(f"circuit {thing.circuit.number} {thing.circuit.name}")
    if thing.on_far_face:
        words.append("of the other face")
    return ", ".join(words)


def tag_text(thing: Thing) -> str:
    """What the tag of a thing says: circuit number and name, or the kind where no circuit belongs."""
    if thing.circuit is not None:
        name = thing.circuit.name if thing.kind.is_run else ""
        return f"{thing.circuit.number} {name}".strip()
    if thing.kind.hazard == "live" and thing.kind.name != "panel":
        return "circuit ?"
    return thing.kind.name
