"""Tags and names of the things on a face, put where they cover least."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from asbuilt.answers.stretches import SEEN
from asbuilt.answers.things import Thing
from asbuilt.sheets.drawing import Group, Line, Part, Point, Rect, Text
from asbuilt.sheets.labels import LabelSpace, text_width_m
from asbuilt.sheets.things import spots_of, tag_text

TAG_TEXT_M, NAME_TEXT_M = 0.085, 0.075
TAG_HEIGHT_M = TAG_TEXT_M * 1.35


def tags(things: Sequence[Thing], space: LabelSpace) -> list[tuple[Thing, Group]]:
    """A tag for every thing and, where there is room, the name of every compact one."""
    for thing in things:
        if thing.block is not None:
            space.block(_outline(thing))
    compact = [(t, _block_tag(t, space)) for t in things if t.block is not None]
    return compact + [(t, _run_tag(t, space)) for t in things if t.block is None]


def block_runs(things: Sequence[Thing], space: LabelSpace) -> None:
    """Take the places runs pass through, so that words placed later keep off them."""
    for thing in things:
        for stretch in thing.course:
            start, end = stretch.start_m[:2], stretch.end_m[:2]
            for x, z in np.linspace(start, end, 2 + int(math.dist(start, end) / 0.1)):
                space.block((x - 0.02, z - 0.02, x + 0.02, z + 0.02))


def _outline(thing: Thing) -> tuple[float, float, float, float]:
    block = thing.block
    x, z = float(block.center_m[0]), float(block.center_m[1])
    return (x - block.half_width_m, z - block.half_height_m, x + block.half_width_m, z + block.half_height_m)


def _tag(text: str, spot: Point, at: Point) -> list[Part]:
    width_m = _tag_width_m(text)
    parts: list[Part] = []
    if math.dist(spot, at) > TAG_HEIGHT_M:
        parts.append(Line(start_m=spot, end_m=at, pen="tag leader"))
    parts.append(
        Rect(left_m=at[0] - width_m / 2, bottom_m=at[1] - TAG_HEIGHT_M / 2, width_m=width_m, height_m=TAG_HEIGHT_M,
             pen="tag", round_m=0.02)
    )  # fmt: skip
    baseline_m = at[1] - TAG_TEXT_M * 0.35
    parts.append(Text(at_m=(at[0], baseline_m), text=text, size_m=TAG_TEXT_M, pen="text tag", anchor="middle"))
    return parts


def _tag_width_m(text: str) -> float:
    return text_width_m(text, TAG_TEXT_M) + 0.05


def _block_tag(thing: Thing, space: LabelSpace) -> Group:
    text, block = tag_text(thing), thing.block
    width_m = _tag_width_m(text)
    x, z = float(block.center_m[0]), float(block.center_m[1])
    aside_m, above_m = block.half_width_m + width_m / 2 + 0.03, block.half_height_m + TAG_HEIGHT_M / 2 + 0.03
    around = [(1, 0), (-1, 0), (0, 1), (0, -1), (1, 1), (-1, -1)]
    at = space.place([(x + dx * aside_m, z + dz * above_m) for dx, dz in around], width_m, TAG_HEIGHT_M)
    tag = Group(parts=tuple(_tag(text, (x, z), at)), anchor_m=at)
    name = Group(parts=tuple(_name(thing, space)), anchor_m=(x, z))
    return Group(parts=(tag, name), key=thing.item.id)


def _name(thing: Thing, space: LabelSpace) -> list[Part]:
    """The label of a compact thing under or over it, if that is free."""
    left, bottom, right, top = _outline(thing)
    x, width_m = (left + right) / 2, text_width_m(thing.item.label, NAME_TEXT_M)
    for z in (bottom - 0.075, top + 0.055):
        if thing.item.label and space.free((x, z), width_m, NAME_TEXT_M):
            space.block((x - width_m / 2, z - NAME_TEXT_M / 2, x + width_m / 2, z + NAME_TEXT_M / 2))
            return [Text(at_m=(x, z - 0.025), text=thing.item.label, size_m=NAME_TEXT_M, anchor="middle")]
    return []


def _run_tag(thing: Thing, space: LabelSpace) -> Group:
    text = tag_text(thing)
    left, bottom, right, top = space.bounds
    points = np.clip(_longest_seen(thing), (left, bottom), (right, top))
    candidates = [_along(points, share) for share in (0.5, 0.35, 0.65, 0.2, 0.8)]
    width_m = _tag_width_m(text)
    sides = ((1, 0), (-1, 0), (0, 1), (0, -1))
    aside = [(x + dx * (width_m / 2 + 0.05), z + dz * 0.14) for x, z in candidates[:3] for dx, dz in sides]
    at = space.place(candidates + aside, width_m, TAG_HEIGHT_M)
    nearest = min(candidates, key=lambda c: math.dist(c, at))
    return Group(parts=tuple(_tag(text, nearest, at)), key=thing.item.id, anchor_m=at)


def _longest_seen(thing: Thing) -> np.ndarray:
    """The longest unbroken part of a run that was seen, else its spots; shape (N, 2) [m]."""
    lines: list[list[np.ndarray]] = []
    for stretch in (s for s in thing.course if s.status == SEEN):
        if lines and np.allclose(lines[-1][-1], stretch.start_m[:2], atol=1e-6):
            lines[-1].append(stretch.end_m[:2])
        else:
            lines.append([stretch.start_m[:2], stretch.end_m[:2]])
    if not lines:
        return np.array(spots_of(thing))
    return np.array(max(lines, key=lambda line: sum(math.dist(a, b) for a, b in pairwise(line))))


def _along(points_m: np.ndarray, share: float) -> Point:
    """The point at a share of the length of a polyline."""
    reach = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(points_m, axis=0), axis=1))])
    at = share * reach[-1]
    return float(np.interp(at, reach, points_m[:, 0])), float(np.interp(at, reach, points_m[:, 1]))
