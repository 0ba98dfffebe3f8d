"""Small true-scale copies of the pictures that could show a face: evened, compared with one another."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from tqdm import tqdm

from asbuilt.geometry.cameras import Camera
from asbuilt.geometry.rectify import Patch, center_face_m, rectify_map
from asbuilt.imaging.blend import shrunk, shrunk_px, warp
from asbuilt.imaging.exposure import Exposure, Samples
from asbuilt.imaging.seams import Views
from asbuilt.record.pixels import iter_pictures
from asbuilt.record.store import Record
from asbuilt.steps.elevation_align import Windows, profiles_of
from asbuilt.steps.elevation_site import CELL_M, Site
from asbuilt.steps.elevation_views import NODE_CELLS, Candidate

BLOCK_CELLS = 8  # exposure is compared over squares of 4 in
# A view that shows what most others do not is likely to show something in front of the wall.
# Found by looking at pictures.
STRAY_LEVELS, STRAY_UNIT_LEVELS, STRAY_MOST = 24.0, 12.0, 4.0
STRAY_VIEWS = 4  # fewer views than this cannot outvote one
STRAY_STRIP_CELLS = 64
# In rendered rooms views that are placed rightly correlate with the middle of all by 0.71 and more;
# moved by 6 in along the wall, half of them by less than 0.6.
DOUBTFUL_BELOW = 0.55
DOUBTFUL_CELLS = 400
PLAIN_SPREAD = 4.0  # product of the two standard deviations, in grey levels squared: nothing to compare


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Copies:
    """Small copies of the candidates at CELL_M, with samples of their colours and their costs."""

    views: Views
    samples: Samples
    candidates: list[Candidate]  # those of which anything could be read, in the views' order
    cell_costs: list[np.ndarray]  # each within its box
    radius2: list[np.ndarray]  # likewise
    profiles: list[dict[int, np.ndarray]]  # across the studs, by number of the window
    doubtful: tuple[int, ...] = ()  # views that show something else than the others, nearly all over

    def cost(self, number: int) -> np.ndarray:
        """Cost of a view within its box; inf where it shows nothing."""
        return self.cell_costs[number]


def small_copies(record: Record, site: Site, found: Sequence[Candidate], windows: Windows, progress: bool) -> Copies:
    """Read every candidate once; keep a copy of it at two pixels per inch and what it shows of the studs."""
    patch = site.patch(CELL_M)
    views, kept, costs, samples, radii, profiles = Views(patch.rows, patch.cols), [], [], [], [], []
    by_id = {c.source.picture.id: c for c in found}
    pictures = iter_pictures(record, [c.source.picture for c in found])
    bar = tqdm(pictures, total=len(found), desc=f"{site.face.id}: looking", unit="picture", disable=not progress)
    for picture, image in bar:
        candidate = by_id[picture.id]
        cost = _at_cells(candidate.cost, patch)
        copied = _copy(site, candidate.source.camera, image, patch, np.isfinite(cost))
        if copied is None:
            continue
        row, col, colors, valid, radius2 = copied
        samples.append(_samples(len(views), row, col, colors, valid, radius2, patch.cols))
        views.add(row, col, colors, valid)
        part = cost[row : row + valid.shape[0], col : col + valid.shape[1]]
        costs.append(np.where(valid, part, np.inf).astype(np.float32))
        kept.append(candidate)
        radii.append(radius2.astype(np.float16))
        profiles.append(profiles_of(site, windows, candidate.source.camera, image))
    return Copies(
        views=views, samples=_join(samples), candidates=kept, cell_costs=costs, radius2=radii, profiles=profiles
    )  # fmt: skip


def _at_cells(nodes: np.ndarray, patch: Patch) -> np.ndarray:
    """Node values at every cell; inf near nodes that are inf."""
    size = (nodes.shape[1] * NODE_CELLS, nodes.shape[0] * NODE_CELLS)
    finite = np.where(np.isfinite(nodes), nodes, np.nan)
    full = cv2.resize(finite, size, interpolation=cv2.INTER_LINEAR)
    full = full[NODE_CELLS : NODE_CELLS + patch.rows, NODE_CELLS : NODE_CELLS + patch.cols]
    return np.where(np.isfinite(full), full, np.inf)


def _copy(site: Site, camera: Camera, image: np.ndarray, patch: Patch, offered: np.ndarray):
    """(row, col, colours, valid, radius2) of what a picture shows of a patch, or None for nothing."""
    distance_m = -center_face_m(camera, site.building_from_face)[1] + site.depth_m
    factor = max(1, int(camera.lens.focal_px / distance_m * patch.px_m))
    map_x, map_y = rectify_map(camera, site.building_from_face, patch)
    small = shrunk(image, factor)
    colors, valid = warp(small, shrunk_px(map_x, factor), shrunk_px(map_y, factor), sharp=False)
    valid &= offered
    if not valid.any():
        return None
    rows, cols = np.flatnonzero(valid.any(axis=1)), np.flatnonzero(valid.any(axis=0))
    box = np.s_[rows[0] : rows[-1] + 1, cols[0] : cols[-1] + 1]
    radius2 = radius2_of(camera, map_x[box], map_y[box])
    return rows[0], cols[0], colors[box], valid[box], radius2


def radius2_of(camera: Camera, x_px: np.ndarray, y_px: np.ndarray) -> np.ndarray:
    """Squared distance of pixels from a picture's centre as a share of half its diagonal."""
    lens = camera.lens
    half2 = (lens.width_px**2 + lens.height_px**2) / 4
    return ((x_px - (lens.width_px - 1) / 2) ** 2 + (y_px - (lens.height_px - 1) / 2) ** 2) / np.float32(half2)


def _samples(number: int, row: int, col: int, colors, valid, radius2, cols: int) -> Samples:
    """Mean colours of the whole blocks of BLOCK_CELLS cells that a copy shows."""
    size = BLOCK_CELLS
    skip_rows, skip_cols = -row % size, -col % size
    rows_n, cols_n = (valid.shape[0] - skip_rows) // size, (valid.shape[1] - skip_cols) // size
    if rows_n < 1 or cols_n < 1:
        none = np.zeros(0)
        return Samples(picture=none.astype(int), block=none.astype(int), color=np.zeros((0, 3)), radius2=none)
    cut = np.s_[skip_rows : skip_rows + rows_n * size, skip_cols : skip_cols + cols_n * size]

    def blocks(a: np.ndarray) -> np.ndarray:
        return a[cut].reshape(rows_n, size, cols_n, size, -1).mean(axis=(1, 3)).reshape(rows_n * cols_n, -1)

    whole = blocks(valid)[:, 0] == 1
    first_row, first_col = (row + skip_rows) // size, (col + skip_cols) // size
    block = (np.arange(rows_n)[:, None] + first_row) * (cols // size + 1) + np.arange(cols_n) + first_col
    return Samples(
        picture=np.full(int(whole.sum()), number), block=block.ravel()[whole],
        color=blocks(colors)[whole], radius2=blocks(radius2)[whole, 0],
    )  # fmt: skip


def _join(parts: Sequence[Samples]) -> Samples:
    names = ("picture", "block", "color", "radius2")
    if not parts:
        return Samples(picture=np.zeros(0, int), block=np.zeros(0, int), color=np.zeros((0, 3)), radius2=np.zeros(0))
    return Samples(**{name: np.concatenate([getattr(p, name) for p in parts]) for name in names})


def evened(copies: Copies, exposure: Exposure) -> Copies:
    """The copies with exposure and fall-off taken out."""
    views = Views(*copies.views.shape)
    for number, radius2 in enumerate(copies.radius2):
        box = copies.views.box(number)
        colors = exposure.even(number, copies.views.image(number), radius2.astype(np.float32))
        even = np.clip(np.rint(colors), 0, 255).astype(np.uint8)
        views.add(box[0].start, box[1].start, even, copies.views.valid(number))
    return replace(copies, views=views)


def against_strays(copies: Copies) -> Copies:
    """Add to the costs what a view shows at a cell that most others there do not.

    A thing that stands in front of the wall lands elsewhere on the face in every view, so the
    middle of many views is free of it. A view that hardly resembles that middle is most likely
    placed wrongly, and is not used at all.
    """
    cols, count = copies.views.shape[1], len(copies.views)
    extra = [np.zeros(c.shape, np.float32) for c in copies.cell_costs]
    sums = np.zeros((count, 6))
    for start in range(0, cols, STRAY_STRIP_CELLS):
        _compare(copies, range(start, min(start + STRAY_STRIP_CELLS, cols)), extra, sums)
    alike = _correlation(sums)
    doubtful = tuple(int(n) for n in np.flatnonzero((alike < DOUBTFUL_BELOW) & (sums[:, 0] >= DOUBTFUL_CELLS)))
    costs = [
        np.full_like(cost, np.inf) if number in doubtful else cost + more
        for number, (cost, more) in enumerate(zip(copies.cell_costs, extra, strict=True))
    ]
    return replace(copies, cell_costs=costs, doubtful=doubtful)


def _compare(copies: Copies, strip: range, extra: list[np.ndarray], sums: np.ndarray) -> None:
    """Compare the views with their middle over some columns; adds to the extra costs and to the sums."""
    views, rows = copies.views, copies.views.shape[0]
    inside = []
    for number in range(len(views)):
        box = views.box(number)
        left, right = max(strip.start, box[1].start), min(strip.stop, box[1].stop)
        if left < right:
            inside.append((number, box, left, right))
    if len(inside) < STRAY_VIEWS:
        return
    stack = np.full((len(inside), rows, len(strip), 3), np.nan, np.float32)
    for k, (number, box, left, right) in enumerate(inside):
        part = np.s_[:, left - box[1].start : right - box[1].start]
        colors = views.image(number)[part].astype(np.float32)
        colors[~views.valid(number)[part]] = np.nan
        stack[k, box[0], left - strip.start : right - strip.start] = colors
    votes = np.isfinite(stack[..., 0]).sum(axis=0)
    usual = np.where(votes[..., None] >= STRAY_VIEWS, _median(stack), np.nan)
    for k, (number, box, left, right) in enumerate(inside):
        off = np.abs(stack[k] - usual).mean(axis=-1)[box[0], left - strip.start : right - strip.start]
        worse = np.clip((np.nan_to_num(off) - STRAY_LEVELS) / STRAY_UNIT_LEVELS, 0, STRAY_MOST)
        extra[number][:, left - box[1].start : right - box[1].start] = worse
        sums[number] += _sums(stack[k].mean(axis=-1), usual.mean(axis=-1))


def _sums(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """Count, sums and sums of products of two images where both are known, shape (6,)."""
    known = np.isfinite(a) & np.isfinite(b)
    a, b = a[known].astype(float), b[known].astype(float)
    return np.array([len(a), a.sum(), b.sum(), a @ a, b @ b, a @ b])


def _correlation(sums: np.ndarray) -> np.ndarray:
    """Correlation of each pair of images from their sums (N, 6); 1 where nothing can be said."""
    count = np.maximum(sums[:, 0], 1)
    mean_a, mean_b = sums[:, 1] / count, sums[:, 2] / count
    spread = np.sqrt(np.maximum((sums[:, 3] / count - mean_a**2) * (sums[:, 4] / count - mean_b**2), 0))
    together = sums[:, 5] / count - mean_a * mean_b
    return np.divide(together, spread, out=np.ones(len(sums)), where=spread > PLAIN_SPREAD)


def _median(stack: np.ndarray) -> np.ndarray:
    """Median over the first axis, NaN left out; NaN where there is nothing."""
    ordered = np.sort(stack, axis=0)  # NaN comes last
    count = np.isfinite(ordered[..., :1]).sum(axis=0, keepdims=True)
    low = np.take_along_axis(ordered, np.maximum(count - 1, 0) // 2, axis=0)
    high = np.take_along_axis(ordered, np.minimum(count // 2, len(stack) - 1), axis=0)
    return (low + high)[0] / 2
