"""The source map of an elevation: which picture each spot came from, how finely, squarely and surely."""

from __future__ import annotations

import zlib
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from asbuilt.geometry.cameras import Camera
from asbuilt.geometry.rectify import view_of
from asbuilt.imaging.exposure import Exposure
from asbuilt.imaging.seams import NOTHING
from asbuilt.record.elevation_row import Elevation
from asbuilt.record.frames import camera_of, quat_xyzw
from asbuilt.record.store import Record
from asbuilt.record.types import PLACED, Picture, Placement
from asbuilt.steps.elevation_site import CELL_M, INCH_M, Site, Source

SIGMA_PX = 1.5  # a careful click (common practice, no source)
ERROR_STEP_M = 0.0002
NO_PICTURE = 65535
LAYERS = {
    "picture_low": "number of the picture in picture_ids, low byte",
    "picture_high": "the same, high byte; 65535: not seen",
    "resolution": "px per inch of that picture there",
    "obliquity": "degrees off square-on",
    "error": "one-sigma error of a spot on the plane read off there, in 0.2 mm",
}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Chosen:
    """Which source shows each cell (row 0 at the top, as in the picture), and how to even it."""

    site: Site
    sources: Sequence[Source]
    labels: np.ndarray  # (rows, cols) of cells of CELL_M
    exposure: Exposure
    doubtful: tuple[str, ...] = ()  # ids of pictures that did not agree with the others and were not used

    @property
    def shown(self) -> list[int]:
        """Numbers of the sources that show anything, rising."""
        return [int(n) for n in np.unique(self.labels) if n != NOTHING]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SourceMap:
    """What is known of each cell; ``resolution_px_per_m`` is NaN where nothing was seen."""

    layers: np.ndarray  # (5, rows, cols) uint8, row 0 at the floor
    resolution_px_per_m: np.ndarray

    def packed(self) -> bytes:
        """As the row stores it."""
        return zlib.compress(self.layers.tobytes(), 6)


def map_sources(chosen: Chosen) -> SourceMap:
    """Look up every cell in the picture that shows it."""
    site, cells = chosen.site, chosen.site.patch(CELL_M)
    points = cells.points_face_m(np.arange(cells.rows), np.arange(cells.cols)).reshape(-1, 3)
    labels = chosen.labels.ravel()
    number = np.full(len(labels), NO_PICTURE)
    resolution, slope, sigma = (np.full(len(labels), np.nan) for _ in range(3))
    for place, source_number in enumerate(chosen.shown):
        index = np.flatnonzero(labels == source_number)
        source = chosen.sources[source_number]
        view = view_of(source.camera, site.building_from_face, points[index])
        number[index], resolution[index], slope[index] = place, view.resolution_px_per_m, view.slope
        sigma[index] = site.read_off_sigma_m(source, points[index], SIGMA_PX)
    angle = np.rad2deg(np.arctan(slope))
    layers = [number & 255, number >> 8, resolution * INCH_M, angle, np.ceil(sigma / ERROR_STEP_M)]
    stack = np.stack([np.clip(np.rint(np.nan_to_num(layer)), 0, 255) for layer in layers]).astype(np.uint8)
    stack = stack.reshape(len(layers), cells.rows, cells.cols)[:, ::-1]
    return SourceMap(layers=np.ascontiguousarray(stack), resolution_px_per_m=resolution)


def source_map(elevation: Elevation) -> dict[str, np.ndarray]:
    """The layers of a stored row by name, each uint8 of shape (rows, cols), row 0 at the floor."""
    flat = np.frombuffer(zlib.decompress(elevation.grid), np.uint8)
    return dict(zip(LAYERS, flat.reshape(len(LAYERS), elevation.rows, elevation.cols), strict=True))


def picture_numbers(elevation: Elevation) -> np.ndarray:
    """For each cell, the place in ``layers["picture_ids"]`` of the picture that shows it, (rows, cols).

    NO_PICTURE where nothing was seen; row 0 at the floor.
    """
    layers = source_map(elevation)
    return layers["picture_low"].astype(int) + 256 * layers["picture_high"].astype(int)


def camera_rows(chosen: Chosen) -> dict[str, dict]:
    """The cameras that a face was painted with, as its row stores them by picture.

    They are those that were placed, moved so that the pictures agree; the places of things are
    worked out with the placed ones.
    """
    rows = {}
    for source in (chosen.sources[n] for n in chosen.shown):
        pose = source.camera.camera_from_building
        rows[source.picture.id] = {
            "quat_xyzw": quat_xyzw(pose.rotation),
            "translation_m": pose.translation_m.tolist(),
            "lens": source.camera.lens.params.tolist(),
        }
    return rows


def painted_with(record: Record, elevation: Elevation) -> dict[str, Camera]:
    """The cameras that lead from a spot of an elevation to the pixel that is shown there, by picture id."""
    return {
        picture_id: camera_of(Placement(id=picture_id, status=PLACED, **row), record.get(Picture, picture_id))
        for picture_id, row in elevation.layers["cameras"].items()
    }
