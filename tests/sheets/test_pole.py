"""The story pole on paper: at true scale, joined line on line, and never blank where nothing is recorded."""

from __future__ import annotations

import dataclasses
import subprocess

import cv2
import numpy as np
import pytest
from click.testing import CliRunner

from asbuilt.answers.pole import pole
from asbuilt.cli import main
from asbuilt.record import Face, Item, Position, Record, Room, Stud
from asbuilt.sheets.pole import pole_pdf, spread, tiles_of

DPI = 200
COV = ((1e-6, 0.0, 0.0), (0.0, 1e-6, 0.0), (0.0, 0.0, 1e-6))


@pytest.fixture
def record(tmp_path):
    """6 m of wall in inches: studs taped at 10 in and 15 in, a cable upright at 12 in; no picture."""
    with Record.create(tmp_path / "r", "A hut") as made:
        made.put(Room(id="a", name="A"), Face(id="w", room_id="a", title="Wall", length_m=6.0, height_m=2.4))
        made.put(*(Stud(id=f"s{x}", face_id="w", center_m=x * 0.0254, sigma_m=0.001) for x in (10, 15)))
        made.put(Item(id="c", kind="cable", face_id="w", label="feed"))
        for n, z in enumerate((0.05, 1.2, 2.35)):
            made.put(Position(id=f"p{n}", item_id="c", place=f"p{n}", order_idx=n, face_id="w", offset_m=12 * 0.0254,
                              height_m=z, depth_m=0.04, covariance=COV, method="intersected",
                              picture_count=2))  # fmt: skip
        yield made


def _rendered(pdf: bytes, folder, page: int) -> np.ndarray:
    (folder / "pole.pdf").write_bytes(pdf)
    subprocess.run(
        ["pdftoppm", "-r", str(DPI), "-f", str(page), "-l", str(page), "-singlefile", "-gray", "-png",
         folder / "pole.pdf", folder / "page"], check=True, timeout=120,
    )  # fmt: skip
    return cv2.imread(str(folder / "page.png"), cv2.IMREAD_GRAYSCALE)


def _words(folder) -> str:
    return subprocess.run(["pdftotext", "-layout", folder / "pole.pdf", "-"], capture_output=True, text=True).stdout


def _runs(row: np.ndarray) -> list[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(np.concatenate([[0], row.astype(np.int8), [0]])))
    return list(zip(edges[::2], edges[1::2], strict=True))


@pytest.mark.parametrize("paper", ["letter", "a4", "roll"])
def test_the_check_ruler_measures_six_inches(record, tmp_path, paper):
    gray = _rendered(pole_pdf(pole(record, "w", 1.2), "2026-05-02", paper), tmp_path, 1)
    ruler_rows = gray[int(-1.2 * DPI) : int(-0.8 * DPI)] < 160
    longest = max((b - a for row in ruler_rows for a, b in _runs(row)), default=0)
    assert longest / DPI == pytest.approx(6.0, rel=0.005)


def test_marks_lie_where_they_are_on_the_wall(record, tmp_path):
    """The stick's left end is the datum; the cable's line is 12 in from it, the stud's 15 in, on a long page."""
    gray = _rendered(pole_pdf(pole(record, "w", 1.2), "2026-05-02", "roll"), tmp_path, 1)
    left_px = 0.5 * DPI  # the margin
    row = gray[int((0.5 + 24 / 72 + 0.7) * DPI)] < 110  # across the lower half of the stick, below the names
    dark = [(a + b) / 2 for a, b in _runs(row)]
    for inches in (12, 15):
        assert min(abs((x - left_px) / DPI - inches) for x in dark) < 0.02


def test_strips_cover_the_face_and_share_their_join_lines():
    tiles = tiles_of(6.0, 0.254, 0.0254)
    assert tiles[0].left_m == 0 and tiles[-1].right_m == 6.0
    for one, other in zip(tiles, tiles[1:], strict=False):
        assert one.right_m - other.left_m == pytest.approx(0.0254)
        assert one.joins_m[-1] == other.joins_m[0]
        assert other.left_m < other.joins_m[0] < one.right_m
    assert [t.joins_m for t in tiles_of(0.2, 0.254, 0.0254)] == [()]


def test_labels_are_pushed_apart_and_stay_in_order():
    at = spread([100.0, 101.0, 102.0, 200.0], 18.0)
    assert np.diff(at).min() >= 18.0 - 1e-9
    assert at[:3] == pytest.approx([83.0, 101.0, 119.0]) and at[3] == 200.0


def test_a_stretch_without_pictures_is_hatched_and_named(record, tmp_path):
    answer = pole(record, "w", 1.2)
    assert [(g.left_m, g.right_m, g.recorded) for g in answer.gaps] == [(0.0, 6.0, "not recorded")]
    gray = _rendered(pole_pdf(answer, "2026-05-02", "letter"), tmp_path, 1)
    strip = gray[int((0.5 + 24 / 72 + 0.25) * DPI) : int((0.5 + 24 / 72 + 0.4) * DPI), int(0.6 * DPI) : int(10 * DPI)]
    assert ((strip < 230).any(axis=0)).mean() > 0.9
    words = _words(tmp_path)
    assert "not recorded" in words and "feed" in words and "Datum: the left end" in words
    assert "join at 9-1/2 in" in words


def test_a_thing_of_uncertain_place_is_told_on_every_strip_it_may_lie_on(record, tmp_path):
    """Half a metre of error at 12 in: it may lie on the strips from 0 to 32 in, not on the last one."""
    wide = ((0.0650, 0.0, 0.0), (0.0, 1e-6, 0.0), (0.0, 0.0, 1e-6))
    for position in record.all(Position):
        record.put(dataclasses.replace(position, covariance=wide))
    answer = pole(record, "w", 1.2)
    (tmp_path / "pole.pdf").write_bytes(pole_pdf(answer, "2026-05-02", "letter"))
    pages = _words(tmp_path).split("\f")
    assert "May lie here too: cable" in pages[0] + pages[1]
    assert "May lie here too" not in pages[10]
    assert "does not prove it empty" in pages[10]


def test_the_command_writes_it_and_does_not_overwrite(record, tmp_path):
    out = tmp_path / "out.pdf"
    args = ["pole", str(record.folder), "w", "--height", "4ft", "--pdf", str(out), "--paper", "a4"]
    assert CliRunner().invoke(main, args).exit_code == 0 and out.read_bytes().startswith(b"%PDF")
    assert CliRunner().invoke(main, args).exit_code == 1
    assert CliRunner().invoke(main, [*args, "--overwrite"]).exit_code == 0
