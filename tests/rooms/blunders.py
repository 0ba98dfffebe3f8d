"""Mistakes people make with marker sheets, planted one sheet each."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from tests.rooms.building import IN_M
from tests.rooms.contents import Markers

TAPE_SLIP_M = 6 * IN_M
SMALL_PRINT = 0.97
BLUNDERS = ("tape", "swap", "moved", "small print")


@dataclass(frozen=True, slots=True, kw_only=True)
class Blunder:
    """A mistake that was planted: its kind, the sheets concerned (indices) and its size."""

    kind: str
    markers: tuple[int, ...]
    amount: float  # [m], or the scale of a print


def _slip(markers: Markers, which: int, rng: np.random.Generator) -> tuple[Markers, float]:
    """An offset or a height written down 6 in wrong."""
    written = markers.taped_xz_m.copy()
    amount = float(rng.choice([-1, 1])) * TAPE_SLIP_M
    written[which, rng.integers(2)] += amount
    return replace(markers, taped_xz_m=written), amount


def _swapped(markers: Markers, first: int, second: int) -> Markers:
    """Two sheets' readings, faces included, written down for each other."""
    written, faces = markers.taped_xz_m.copy(), markers.taped_face_idx.copy()
    written[[first, second]] = written[[second, first]]
    faces[[first, second]] = faces[[second, first]]
    return replace(markers, taped_xz_m=written, taped_face_idx=faces)


def _moved(markers: Markers, which: int, rng: np.random.Generator) -> tuple[Markers, float]:
    """A sheet that stands 8 to 16 in further along in the last clip."""
    if len(markers.corners_face_m) < 2:
        raise ValueError("a sheet can only move between two clips: clips=2")
    corners = markers.corners_face_m.copy()
    amount = float(rng.choice([-1, 1]) * rng.uniform(8, 16)) * IN_M
    corners[-1, which, :, 0] += amount
    return replace(markers, corners_face_m=corners), amount


def _printed_small(markers: Markers, which: int) -> Markers:
    """A sheet printed at 97 %, its centre where it was."""
    corners, size = markers.corners_face_m.copy(), markers.size_m.copy()
    centers = corners[:, which].mean(axis=1, keepdims=True)
    corners[:, which] = centers + SMALL_PRINT * (corners[:, which] - centers)
    size[which] *= SMALL_PRINT
    return replace(markers, corners_face_m=corners, size_m=size)


def plant(markers: Markers, kinds: tuple[str, ...], rng: np.random.Generator) -> tuple[Markers, tuple[Blunder, ...]]:
    """Make mistakes, each with a sheet of its own (a swap with two).

    Parameters
    ----------
    kinds : tuple of str
        Out of ``BLUNDERS``.
    """
    if unknown := set(kinds) - set(BLUNDERS):
        raise ValueError(f"unknown blunders: {sorted(unknown)}")
    order = [int(m) for m in rng.permutation(len(markers.ids))]
    done = []
    for kind in kinds:
        which = (order.pop(),)
        amount = 0.0
        if kind == "tape":
            markers, amount = _slip(markers, which[0], rng)
        elif kind == "swap":
            which += (order.pop(),)
            markers = _swapped(markers, *which)
        elif kind == "moved":
            markers, amount = _moved(markers, which[0], rng)
        else:
            markers, amount = _printed_small(markers, which[0]), SMALL_PRINT
        done.append(Blunder(kind=kind, markers=which, amount=amount))
    return markers, tuple(done)
