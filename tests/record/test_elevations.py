"""Tiles of elevation pictures: what goes in comes out, at every size, or fails in one line."""

from __future__ import annotations

import json

import cv2
import numpy as np
import pytest

from asbuilt.errors import MediaError, NotInRecordError
from asbuilt.record import Face, Record, Room
from asbuilt.record.elevation_row import Elevation
from asbuilt.record.elevations import (
    OVERVIEW_PX,
    TILE_PX,
    TileWriter,
    elevation_id,
    elevation_of,
    forget_older,
    level_size,
    overview_path,
    read_elevation,
    read_region,
    tile_path,
)


@pytest.fixture
def record(tmp_path):
    with Record.create(tmp_path / "house", "House") as opened:
        opened.put(Room(id="r", name="Room"), Face(id="north", room_id="r", title="North", length_m=4, height_m=2.5))
        yield opened


def _row(width_px: int, height_px: int, levels: int, depth_m: float = 0.0, folder: str = "0mm-aa") -> Elevation:
    return Elevation(
        id=elevation_id("north", depth_m), face_id="north", created_at="2026-03-14T10:00:00+00:00", depth_m=depth_m,
        scale_px_per_m=400.0, width_px=width_px, height_px=height_px, tile_px=TILE_PX, levels=levels,
        folder=f"derived/elevations/north/{folder}", seen_share=1.0, cell_m=0.0127, rows=1, cols=1,
    )  # fmt: skip


def _smooth(rows: int, cols: int) -> np.ndarray:
    x, y = np.meshgrid(np.linspace(0, 255, cols), np.linspace(0, 255, rows))
    return np.stack([x, y, 255 - x], axis=-1).round().astype(np.uint8)


def _written(record: Record, row: Elevation) -> np.ndarray:
    image, writer = _smooth(row.height_px, row.width_px), TileWriter(record, row)
    for col in range(0, row.width_px, 2 * TILE_PX):
        writer.add(col, image[:, col : col + 2 * TILE_PX])
    writer.finish({"face": "North"})
    record.put(row)
    return image


def test_a_picture_comes_back_at_every_level(record):
    row = _row(1301, 777, 3)
    image = _written(record, row)
    assert [level_size(row, k) for k in range(3)] == [(777, 1301), (389, 651), (195, 326)]
    assert np.abs(read_elevation(record, row).astype(int) - image).max() <= 6  # what JPEG takes
    for level in (1, 2):
        small = read_elevation(record, row, level)
        wanted = cv2.resize(image, small.shape[1::-1], interpolation=cv2.INTER_AREA)
        assert small.shape[:2] == level_size(row, level)
        assert np.abs(small.astype(int) - wanted)[:-2, :-2].max() <= 8
    part = read_region(record, row, 0, slice(400, 600), slice(500, 1100))
    np.testing.assert_array_equal(part, read_elevation(record, row)[400:600, 500:1100])
    overview = cv2.imread(str(overview_path(record, row)))
    assert overview.shape[:2] == (777, 1301) and max(overview.shape) <= OVERVIEW_PX
    about = overview_path(record, row).with_name("about.json")
    assert json.loads(about.read_text("utf-8")) == {"face": "North"}


def test_asking_for_what_is_not_there_says_so(record):
    row = _row(600, 300, 2)
    _written(record, row)
    for level, r, c in ((0, 0, 2), (0, 1, 0), (2, 0, 0), (-1, 0, 0), (0, -1, 0)):
        with pytest.raises(NotInRecordError, match="has no tile"):
            tile_path(record, row, level, r, c)
    tile_path(record, row, 0, 0, 1).unlink()
    with pytest.raises(NotInRecordError, match="make it again"):
        read_elevation(record, row)
    tile_path(record, row, 0, 0, 0).write_bytes(b"not a picture")
    with pytest.raises(MediaError, match="damaged"):
        read_region(record, row, 0, slice(0, 10), slice(0, 10))


def test_an_unfinished_picture_is_nowhere_to_be_seen(record):
    row = _row(600, 300, 1)
    writer = TileWriter(record, row)
    writer.add(0, _smooth(300, 600))
    assert not (record.folder / row.folder).exists()
    writer.drop()
    assert not list((record.folder / row.folder).parent.iterdir())


def test_older_pictures_of_the_same_plane_are_cleared_away_and_others_kept(record):
    old, deep = _row(100, 80, 1, folder="0mm-old"), _row(100, 80, 1, depth_m=0.04, folder="40mm-x")
    for row in (old, deep):
        _written(record, row)
    new = _row(100, 80, 1, folder="0mm-new")
    _written(record, new)
    forget_older(record, new)
    place = record.folder / "derived/elevations/north"
    assert sorted(p.name for p in place.iterdir()) == ["0mm-new", "40mm-x"]
    assert elevation_of(record, "north") == new and elevation_of(record, "north", 0.04) == deep
    assert elevation_of(record, "north", 0.05) is None
