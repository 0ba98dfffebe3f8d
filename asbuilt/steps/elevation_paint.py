"""Paint the elevation of a face at full size, strip by strip, from the chosen pictures."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from asbuilt.geometry.rectify import Patch, rectify_map
from asbuilt.imaging.blend import Canvas, feather, shrunk, shrunk_px, warp
from asbuilt.imaging.seams import NOTHING
from asbuilt.record.pixels import iter_pictures
from asbuilt.record.store import Record
from asbuilt.steps.elevation_copies import radius2_of
from asbuilt.steps.elevation_map import Chosen
from asbuilt.steps.elevation_site import CELL_M, INCH_M

FEATHER_M = 0.0254  # narrower than a stud's face
PAPER, HATCH = 232, 150  # where nothing was seen, so that it is not taken for an empty wall
HATCH_STEP_M, HATCH_WIDTH_M = 1.5 * INCH_M, 0.15 * INCH_M


def paint_strip(record: Record, chosen: Chosen, strip: Patch, tell: Callable[[], None]) -> np.ndarray:
    """Columns of the elevation, (rows, cols, 3) uint8, hatched where nothing was seen.

    Parameters
    ----------
    strip : Patch
        Full height, some columns.
    tell : callable
        Called after each picture.
    """
    margin = int(np.ceil(FEATHER_M / strip.px_m))
    labels = labels_at(chosen.labels, chosen.site.patch(CELL_M), _widened(strip, margin))
    canvas = Canvas(strip.rows, strip.cols)
    by_id = {chosen.sources[n].picture.id: n for n in shown_in(chosen, strip)}
    for picture, image in iter_pictures(record, [chosen.sources[n].picture for n in by_id.values()]):
        number = by_id[picture.id]
        _add(canvas, chosen, number, image, labels == number, margin, strip)
        tell()
    colors, seen = canvas.finish()
    seen &= labels[margin : margin + strip.rows, margin : margin + strip.cols] != NOTHING
    return np.where(seen[..., None], colors, hatched(strip)[..., None])


def shown_in(chosen: Chosen, strip: Patch) -> list[int]:
    """Numbers of the sources that show anything in some columns or right beside them."""
    margin = int(np.ceil(FEATHER_M / strip.px_m))
    wide = _widened(strip, margin)
    columns = labels_at(chosen.labels, chosen.site.patch(CELL_M), wide)
    return [int(n) for n in np.unique(columns) if n != NOTHING]


def _widened(strip: Patch, margin: int) -> Patch:
    return strip.part(-margin, -margin, strip.rows + 2 * margin, strip.cols + 2 * margin)


def labels_at(labels: np.ndarray, cells: Patch, pixels: Patch) -> np.ndarray:
    """The label of the cell that each pixel of a patch lies in; beyond the face, of the nearest cell."""
    x = pixels.left_m + (np.arange(pixels.cols) + 0.5) * pixels.px_m
    z = pixels.top_m - (np.arange(pixels.rows) + 0.5) * pixels.px_m
    col = np.clip(np.floor((x - cells.left_m) / cells.px_m), 0, cells.cols - 1).astype(int)
    row = np.clip(np.floor((cells.top_m - z) / cells.px_m), 0, cells.rows - 1).astype(int)
    return labels[row[:, None], col[None, :]]


def _add(canvas: Canvas, chosen: Chosen, number: int, image, mask: np.ndarray, margin: int, strip: Patch) -> None:
    """Add what one picture is to show of a strip; ``mask`` has ``margin`` more pixels at each edge."""
    rows, cols = np.flatnonzero(mask.any(axis=1)), np.flatnonzero(mask.any(axis=0))
    top, bottom = max(rows[0] - 2 * margin, 0), min(rows[-1] + 1, strip.rows)
    left, right = max(cols[0] - 2 * margin, 0), min(cols[-1] + 1, strip.cols)
    if top >= bottom or left >= right:
        return
    weight = feather(mask[top : bottom + 2 * margin, left : right + 2 * margin], margin)[margin:-margin, margin:-margin]
    camera = chosen.sources[number].camera
    part = strip.part(top, left, bottom - top, right - left)
    map_x, map_y = rectify_map(camera, chosen.site.building_from_face, part)
    factor = _shrink_factor(map_x, map_y)
    colors, within = warp(shrunk(image, factor), shrunk_px(map_x, factor), shrunk_px(map_y, factor))
    even = chosen.exposure.even(number, colors, radius2_of(camera, map_x, map_y))
    canvas.add(top, left, even, weight * within)


def _shrink_factor(map_x: np.ndarray, map_y: np.ndarray) -> int:
    """How many picture pixels fall on one of the elevation, as a whole number, at least 1."""
    mid = map_x.shape[0] // 2, map_x.shape[1] // 2
    step = min(8, map_x.shape[1] - 1 - mid[1])
    if step < 1:
        return 1
    a, b = (mid[0], mid[1]), (mid[0], mid[1] + step)
    return max(1, int(np.hypot(map_x[b] - map_x[a], map_y[b] - map_y[a]) / step))


def hatched(strip: Patch) -> np.ndarray:
    """Paper with slanting lines, (rows, cols) uint8, running on from strip to strip."""
    x = strip.left_m + np.arange(strip.cols) * strip.px_m
    z = strip.top_m - np.arange(strip.rows) * strip.px_m
    on_line = (x[None, :] + z[:, None]) % HATCH_STEP_M < HATCH_WIDTH_M
    return np.where(on_line, np.uint8(HATCH), np.uint8(PAPER))
