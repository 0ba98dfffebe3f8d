"""Tiles of elevation pictures on disk: a pyramid of JPEG files in plain folders.

``derived/elevations/FACE/PLANE-HASH/LEVEL/ROW_COL.jpg``: level 0 is full size, each level
after it half the size of the one before, tiles counted from the top left. ``overview.jpg`` is
the whole picture small enough for any program; ``about.json`` says what it shows and where.
"""

from __future__ import annotations

import json
import os
import shutil
from pathlib import Path

import cv2
import numpy as np

from asbuilt.errors import MediaError, NotInRecordError
from asbuilt.record.elevation_row import Elevation
from asbuilt.record.store import Record

TILE_PX = 512
STRIP_PX = 2 * TILE_PX  # columns worked on at a time
OVERVIEW_PX = 4096
JPEG_QUALITY = 90
FOLDER = Path("derived") / "elevations"


def elevation_id(face_id: str, depth_m: float) -> str:
    """Id of the elevation of a face at a depth: one for each tenth of a millimetre."""
    return f"{face_id}+{round(depth_m * 1e4) / 10:g}mm"


def elevation_of(record: Record, face_id: str, depth_m: float = 0.0) -> Elevation | None:
    """The elevation of a face on a plane, or None where there is none yet."""
    return record.find(Elevation, elevation_id(face_id, depth_m))


def level_size(elevation: Elevation, level: int) -> tuple[int, int]:
    """Rows and columns of a level [px]."""
    return -(-elevation.height_px // 2**level), -(-elevation.width_px // 2**level)


def tile_path(record: Record, elevation: Elevation, level: int, row: int, col: int) -> Path:
    """File of one tile.

    Raises
    ------
    NotInRecordError
        If the elevation has no such tile, or its file is gone.
    """
    rows, cols = level_size(elevation, level) if 0 <= level < elevation.levels else (0, 0)
    path = record.folder / elevation.folder / str(level) / f"{row}_{col}.jpg"
    within = 0 <= row < -(-rows // elevation.tile_px) and 0 <= col < -(-cols // elevation.tile_px)
    if not within or not path.is_file():
        raise NotInRecordError(f"elevation {elevation.id} has no tile {level}/{row}_{col}; make it again")
    return path


def overview_path(record: Record, elevation: Elevation) -> Path:
    """File of the whole picture, at most OVERVIEW_PX long."""
    return record.folder / elevation.folder / "overview.jpg"


def read_region(record: Record, elevation: Elevation, level: int, rows: slice, cols: slice) -> np.ndarray:
    """A part of a level, (h, w, 3) BGR uint8; slices within its size."""
    out = np.zeros((rows.stop - rows.start, cols.stop - cols.start, 3), np.uint8)
    size = elevation.tile_px
    for row in range(rows.start // size, -(-rows.stop // size)):
        for col in range(cols.start // size, -(-cols.stop // size)):
            tile = _read(tile_path(record, elevation, level, row, col))
            top, left = row * size, col * size
            a = np.s_[max(rows.start, top) : min(rows.stop, top + tile.shape[0])]
            b = np.s_[max(cols.start, left) : min(cols.stop, left + tile.shape[1])]
            into = np.s_[a.start - rows.start : a.stop - rows.start, b.start - cols.start : b.stop - cols.start]
            out[into] = tile[a.start - top : a.stop - top, b.start - left : b.stop - left]
    return out


def read_elevation(record: Record, elevation: Elevation, level: int = 0) -> np.ndarray:
    """A whole level, (rows, cols, 3) BGR uint8."""
    rows, cols = level_size(elevation, level)
    return read_region(record, elevation, level, slice(0, rows), slice(0, cols))


class TileWriter:
    """Writes the tiles of one elevation, strip by strip; nothing counts before :meth:`finish`.

    Parameters
    ----------
    record : Record
    elevation : Elevation
        Says folder, size, tile size and number of levels.
    """

    def __init__(self, record: Record, elevation: Elevation) -> None:
        self.elevation = elevation
        self.place = record.folder / elevation.folder
        self.work = self.place.with_name(self.place.name + ".part")
        shutil.rmtree(self.work, ignore_errors=True)
        (self.work / "0").mkdir(parents=True)

    def add(self, col: int, strip: np.ndarray) -> None:
        """Full-height columns (rows, w, 3) from column ``col`` on, which starts a tile."""
        size = self.elevation.tile_px
        for top in range(0, strip.shape[0], size):
            for left in range(0, strip.shape[1], size):
                tile = strip[top : top + size, left : left + size]
                _write(self.work / "0" / f"{top // size}_{(col + left) // size}.jpg", tile)

    def finish(self, about: dict) -> None:
        """Make the smaller levels and the overview, then put the folder in its place."""
        for level in range(1, self.elevation.levels):
            self._halve(level)
        self._overview()
        (self.work / "about.json").write_text(json.dumps(about, indent=2), "utf-8")
        shutil.rmtree(self.place, ignore_errors=True)
        os.replace(self.work, self.place)

    def drop(self) -> None:
        """Forget what was written."""
        shutil.rmtree(self.work, ignore_errors=True)

    def _halve(self, level: int) -> None:
        size = self.elevation.tile_px
        rows, cols = level_size(self.elevation, level)
        (self.work / str(level)).mkdir()
        for row in range(-(-rows // size)):
            for col in range(-(-cols // size)):
                finer = self._four(level - 1, row, col)
                odd = finer.shape[0] % 2, finer.shape[1] % 2
                even = np.pad(finer, ((0, odd[0]), (0, odd[1]), (0, 0)), mode="edge")
                half = cv2.resize(even, (even.shape[1] // 2, even.shape[0] // 2), interpolation=cv2.INTER_AREA)
                _write(self.work / str(level) / f"{row}_{col}.jpg", half)

    def _four(self, level: int, row: int, col: int) -> np.ndarray:
        """The up to four tiles of a level that one of the next level shows."""
        lines = []
        for r in (2 * row, 2 * row + 1):
            paths = [self.work / str(level) / f"{r}_{c}.jpg" for c in (2 * col, 2 * col + 1)]
            tiles = [_read(path) for path in paths if path.is_file()]
            if tiles:
                lines.append(np.hstack(tiles))
        return np.vstack(lines)

    def _overview(self) -> None:
        e = self.elevation
        level = next(k for k in range(e.levels) if max(level_size(e, k)) <= OVERVIEW_PX or k == e.levels - 1)
        rows, cols = level_size(e, level)
        lines = []
        for r in range(-(-rows // e.tile_px)):
            paths = [self.work / str(level) / f"{r}_{c}.jpg" for c in range(-(-cols // e.tile_px))]
            lines.append(np.hstack([_read(path) for path in paths]))
        _write(self.work / "overview.jpg", np.vstack(lines))


def forget_older(record: Record, elevation: Elevation) -> None:
    """Delete folders of the same plane that no row speaks of any more."""
    prefix = Path(elevation.folder).name.rpartition("-")[0]
    kept = {Path(e.folder).name for e in record.all(Elevation, face_id=elevation.face_id)}
    for path in (record.folder / elevation.folder).parent.glob(f"{prefix}-*"):
        if path.name not in kept:
            shutil.rmtree(path, ignore_errors=True)


def _read(path: Path) -> np.ndarray:
    image = cv2.imdecode(np.frombuffer(path.read_bytes(), np.uint8), cv2.IMREAD_COLOR)
    if image is None:
        raise MediaError(f"{path} is damaged; make the elevation again")
    return image


def _write(path: Path, image: np.ndarray) -> None:
    done, data = cv2.imencode(".jpg", image, [cv2.IMWRITE_JPEG_QUALITY, JPEG_QUALITY])
    if not done:
        raise MediaError(f"{path} cannot be written as JPEG")
    path.write_bytes(data.tobytes())
