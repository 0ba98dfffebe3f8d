"""Studs of which the pictures show one edge, or a short piece: in corners, seen aslant, over openings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from asbuilt.imaging.edge_bands import Edges, edges_of, peak_near
from asbuilt.imaging.sweep import Rectified
from asbuilt.imaging.uprights import LEAST_SEEN, Upright, find_uprights

SHORT_BAND_M = 0.03  # five of these do for a cripple over a header
SCATTER_M = 0.003  # pictures agree on an edge within this, or it is none
EDGE_SIGMA_M = 0.003  # of a centre that follows from one edge and the usual width
ON_MARK_M, OFF_MARK_M = 0.015, 0.024
LONG_BANDS, LONG_LEAST = 8, 0.9  # one edge alone has to be long and clear
SHOWN_SHARE = 0.4
# A faint edge in the mean of all pictures: against what lies beside it; a corner's stud stands where the plan has
# it within this sigma (our choice).
FAINT_REACH_M, FAINT_BESIDE_M, FAINT_LEAST, FAINT_RATIO, CORNER_SIGMA_M = 0.008, (0.016, 0.060), 0.45, 1.5, 0.004


def end_stud(edges: Edges, px_m: float, width_m: float, length_m: float, left: bool) -> tuple[float, int] | None:
    """Centre [m] of the stud in a corner from its one free edge, and how many pictures show it."""
    expected = (width_m if left else length_m - width_m) / px_m - 0.5
    found = _edge(edges, px_m, expected) or _faint_edge(edges, px_m, expected)
    if found is None:
        return None
    edge_m, count = found
    return (edge_m - width_m / 2 if left else edge_m + width_m / 2), count


def _edge(edges: Edges, px_m: float, expected_px: float, bands=np.s_[:]) -> tuple[float, int] | None:
    """Where the pictures agree that an edge lies near a column [m], and how many show it."""
    centers = []
    for col, own, seen in edges.views:
        at = peak_near(own[bands], seen[bands], round(expected_px) - col, px_m)
        if at is not None:
            centers.append(at + col)
    if len(centers) < LEAST_SEEN or np.std(centers) * px_m > SCATTER_M:
        return None
    return (float(np.median(centers)) + 0.5) * px_m, len(centers)


def _faint_edge(edges: Edges, px_m: float, expected_px: float) -> tuple[float, int] | None:
    """An edge too faint for any one picture, as that between a stud's face and its side lit alike, near its place.

    In a corner a stud stands for certain; only where its edge is has to be seen.
    """
    reach, beside = round(FAINT_REACH_M / px_m), np.round(np.array(FAINT_BESIDE_M) / px_m).astype(int)
    col = round(expected_px)
    if col - beside[1] < 0 or col + beside[1] >= edges.mean.shape[1]:
        beside = beside.clip(max=min(col, edges.mean.shape[1] - 1 - col))
    shown = edges.count[:, col] >= LEAST_SEEN if 0 <= col < edges.mean.shape[1] else np.zeros(0, bool)
    if shown.sum() < LONG_BANDS or beside[1] <= beside[0]:
        return None
    profile = edges.mean[shown].mean(axis=0)
    near = np.arange(col - reach, col + reach + 1)
    at = int(near[np.argmax(profile[near] * np.exp(-0.5 * ((near - expected_px) * px_m / CORNER_SIGMA_M) ** 2))])
    around = np.concatenate([profile[col - beside[1] : col - beside[0]], profile[col + beside[0] : col + beside[1]]])
    if profile[at] < FAINT_LEAST or profile[at] < FAINT_RATIO * float(np.median(around[around > 0])):
        return None
    seen_by = sum(0 <= at - c < seen.shape[1] and bool(seen[:, at - c].any()) for c, _, seen in edges.views)
    return (at + 0.5) * px_m, seen_by


def aslant(
    edges: Edges, px_m: float, top_m: float, width_m: float, barred: np.ndarray, marks_m: Sequence[float]
) -> list[Upright]:
    """Studs on marks of the layout of which only one long edge shows, which tells its side by the mark.

    Seen from aside, a stud's near side is as bright as its face, and the edge between them is lost.
    """
    mean = np.where(barred, 0, edges.mean)
    found = []
    for mark in marks_m:
        sides = [(mark - width_m / 2, 0.5), (mark + width_m / 2, -0.5)]
        trials = [t for at, turn in sides if (t := _one_sided(edges, mean, px_m, top_m, width_m, at, turn)) is not None]
        # The other side's edge would have been found as a pair; of two lone ones neither is believed.
        if len(trials) == 1 and abs(trials[0].center_m - mark) < ON_MARK_M:
            found.append(trials[0])
    return found


def _one_sided(edges, mean, px_m, top_m, width_m, at_m: float, turn: float) -> Upright | None:
    reach = round(ON_MARK_M / px_m)
    col = round(at_m / px_m - 0.5)
    if col - reach < 1 or col + reach + 1 >= mean.shape[1]:
        return None
    part = mean[:, col - reach : col + reach + 1]
    best = int(np.argmax((part > LONG_LEAST).sum(axis=0) + part.mean(axis=0)))
    held = np.flatnonzero(part[:, max(best - 1, 0) : best + 2].max(axis=1) > LONG_LEAST)
    if len(held) < LONG_BANDS:
        return None
    bands = np.s_[held[0] : held[-1] + 1]
    edge = _edge(edges, px_m, col - reach + best, bands)
    shown = sum(
        0 <= col - c < seen.shape[1] and seen[bands, col - c].sum() >= LONG_BANDS / 2 for c, _, seen in edges.views
    )
    if edge is None or edge[1] < SHOWN_SHARE * shown:
        return None
    return Upright(
        center_m=edge[0] + turn * width_m, scatter_m=EDGE_SIGMA_M, width_m=width_m,
        bottom_m=top_m - (held[-1] + 1) * edges.band_m, top_m=top_m - held[0] * edges.band_m, view_count=edge[1],
        strength=LONG_LEAST,
    )  # fmt: skip


def short_studs(
    views: Sequence[Rectified], px_m: float, top_m: float, width_m: float,
    zone_m: tuple[float, float, float, float], marks_m: Sequence[float],
) -> list[Upright]:  # fmt: skip
    """Short studs on marks of the layout inside a zone (left, right, bottom, top [m]), as over a header."""
    left, right, bottom, top = zone_m
    first_col, last_col = round(left / px_m), round(right / px_m)
    first_row, last_row = max(round((top_m - top) / px_m), 0), round((top_m - bottom) / px_m)
    cut = [c for v in views if (c := _cropped(v, first_row, last_row, first_col, last_col)) is not None]
    inside = [m - first_col * px_m for m in marks_m if left < m < right]
    if not cut or not inside or last_row <= first_row:
        return []
    edges = edges_of(cut, last_row - first_row, last_col - first_col, px_m, SHORT_BAND_M)
    found = find_uprights(edges, px_m, top_m - first_row * px_m, width_m, None, inside, only_likely=True)
    return [replace(u, center_m=u.center_m + first_col * px_m) for u in found]


def _cropped(view: Rectified, first_row: int, last_row: int, first_col: int, last_col: int) -> Rectified | None:
    """The part of a picture inside a rectangle of the face, counted from the rectangle's corner."""
    top, left = max(first_row - view.row, 0), max(first_col - view.col, 0)
    bottom, right = last_row - view.row, last_col - view.col
    colors = view.colors[top : max(bottom, 0), left : max(right, 0)]
    if min(colors.shape[:2]) < 8:
        return None
    return replace(
        view, row=view.row + top - first_row, col=view.col + left - first_col, colors=colors,
        within=view.within[top : max(bottom, 0), left : max(right, 0)],
        foot_px=(view.foot_px[0] - first_col, view.foot_px[1] - first_row),
    )  # fmt: skip
