"""Coils of cable hung before the studs: rings of a sheath colour that pictures agree on proud of the wall."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np

from asbuilt.imaging.follow_runs import Line
from asbuilt.imaging.jackets import SHEATHS
from asbuilt.imaging.line_proofs import called, proofs
from asbuilt.imaging.sweep import Rectified, onto_depth

COLORS = ("neutral", "yellow", "orange")
DEPTHS_M = (-0.02, -0.045, -0.07)  # a few turns lie beside each other on a nail or a hook
RADII_M = np.arange(0.09, 0.261, 0.01)  # common practice, no source
RING_M = 0.02
LEAST_VIEWS = 3
SECTORS, HELD_LEAST, SECTORS_LEAST = 24, 0.12, 0.62
MEAN_LEAST, HOLLOW_SHARE = 0.19, 0.5


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Coil:
    """A coil: ring of (x, y) [m] from the left and top of the face, depth [m], colour, evidence 0 to 1."""

    ring_m: np.ndarray
    depth_m: float
    sheath: str
    strength: float


def find_coils(
    views: Sequence[Rectified], ridged: Sequence[np.ndarray], shows: Sequence[np.ndarray], rows: int, cols: int,
    px_m: float,
) -> list[Coil]:  # fmt: skip
    """Coils before a wall.

    Parameters
    ----------
    ridged : sequence of ndarray of shape (h, w, at least len(SHEATHS))
        For each picture, ridges of each sheath colour, uint8.
    shows : sequence of ndarray of shape (h, w), bool
        For each picture, which pixels can show a coil: no paper, no opening.
    """
    picked = [SHEATHS.index(name) for name in COLORS]
    found: list[Coil] = []
    for depth_m in DEPTHS_M:
        total, count = np.zeros((rows, cols, len(COLORS)), np.float32), np.zeros((rows, cols), np.float32)
        for view, ridge, show in zip(views, ridged, shows, strict=True):
            placed = onto_depth(view, ridge[..., picked] * show[..., None], depth_m, rows, cols)
            if placed is not None:
                total[placed[0]] += placed[1] * np.float32(1 / 255)
                count[placed[0]] += onto_depth(view, show.astype(np.float32), depth_m, rows, cols)[1]
        mean = total / np.where(count >= LEAST_VIEWS, count, np.inf)[..., None]
        for k, name in enumerate(COLORS):
            found += _rings(mean[..., k], px_m, depth_m, name)
    found.sort(key=lambda c: -c.strength)
    kept: list[Coil] = []
    for coil in found:
        middle = coil.ring_m.mean(axis=0)
        if all(np.linalg.norm(middle - k.ring_m.mean(axis=0)) > RADII_M[-1] for k in kept):
            kept.append(coil)
    return [_named(coil, views, shows, px_m) for coil in kept]


def _named(coil: Coil, views: Sequence[Rectified], shows: Sequence[np.ndarray], px_m: float) -> Coil:
    count = len(coil.ring_m)
    ring = Line(
        pixels=coil.ring_m / px_m - 0.5, evidence=np.full(count, coil.strength), depth_m=np.full(count, coil.depth_m),
        sigma_depth_m=0.0,
    )  # fmt: skip
    return replace(coil, sheath=called(coil.sheath, proofs(views, shows, [(coil.sheath, ring)], px_m)[0]))


def _rings(evidence: np.ndarray, px_m: float, depth_m: float, name: str) -> list[Coil]:
    """Rings in one colour's evidence on one plane."""
    factor = 4
    small = cv2.resize(evidence, None, fx=1 / factor, fy=1 / factor, interpolation=cv2.INTER_AREA)
    found = []
    for radius_m in RADII_M:
        kernel = _ring_kernel(radius_m / px_m / factor, RING_M / px_m / factor)
        score = cv2.filter2D(small, cv2.CV_32F, kernel, borderType=cv2.BORDER_CONSTANT)
        y, x = np.unravel_index(int(score.argmax()), score.shape)
        found.append((float(score[y, x]), (x + 0.5) * factor - 0.5, (y + 0.5) * factor - 0.5, radius_m))
    _, x, y, radius_m = max(found)
    coil = _traced(evidence, x, y, radius_m, px_m, depth_m, name)
    return [] if coil is None else [coil]


def _ring_kernel(radius_px: float, thick_px: float) -> np.ndarray:
    reach = int(np.ceil(radius_px + thick_px))
    away = np.hypot(*np.mgrid[-reach : reach + 1, -reach : reach + 1])
    ring = (np.abs(away - radius_px) <= thick_px / 2 + 0.5).astype(np.float32)
    inside = (away < radius_px - thick_px).astype(np.float32)
    return ring / ring.sum() - inside / max(inside.sum(), 1)


def _traced(evidence, x: float, y: float, radius_m: float, px_m: float, depth_m: float, name: str) -> Coil | None:
    """Follow a ring round its middle, sector by sector; None if too little of it is there."""
    angles = np.arange(SECTORS) * 2 * np.pi / SECTORS
    fine = angles[:, None] + np.linspace(-0.5, 0.5, 5) * 2 * np.pi / SECTORS
    away = np.arange(radius_m - 0.04, radius_m + 0.0401, px_m) / px_m
    at_x = (x + away[None, None] * np.cos(fine[..., None])).astype(np.float32)
    at_y = (y + away[None, None] * np.sin(fine[..., None])).astype(np.float32)
    flat = at_x.reshape(1, -1), at_y.reshape(1, -1)
    values = cv2.remap(evidence, *flat, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT).reshape(at_x.shape)
    by_sector = values.mean(axis=1)  # (SECTORS, radii)
    top = by_sector.max(axis=1)
    held = top > HELD_LEAST
    hollow = _mean_inside(evidence, x, y, (radius_m - 0.05) / px_m)
    if held.mean() < SECTORS_LEAST or top.mean() < MEAN_LEAST or hollow > HOLLOW_SHARE * HELD_LEAST:
        return None
    usual = int(np.median(by_sector.argmax(axis=1)[held]))
    radii = away[np.where(held, by_sector.argmax(axis=1), usual)]
    ring = np.stack([x + radii * np.cos(angles), y + radii * np.sin(angles)], axis=1)
    closed = np.concatenate([ring, ring[:1]])
    return Coil(ring_m=(closed + 0.5) * px_m, depth_m=depth_m, sheath=name, strength=min(1.0, float(top.mean())))


def _mean_inside(evidence: np.ndarray, x: float, y: float, radius_px: float) -> float:
    mask = np.zeros(evidence.shape, np.uint8)
    cv2.circle(mask, (round(x), round(y)), max(round(radius_px), 1), 1, -1)
    return float(evidence[mask > 0].mean()) if mask.any() else 0.0
