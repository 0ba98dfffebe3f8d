"""Marker sheets: printed at true size and found again by the detector."""

from __future__ import annotations

import subprocess

import cv2
import numpy as np
import pytest
from click.testing import CliRunner

from asbuilt.cli.markers import command
from asbuilt.sheets.markers import MarkerSheetError, marker_sheets_pdf, parse_ids

DPI = 150


def rendered(pdf: bytes, folder, page: int) -> np.ndarray:
    path = folder / "sheets.pdf"
    path.write_bytes(pdf)
    subprocess.run(
        ["pdftoppm", "-r", str(DPI), "-f", str(page), "-l", str(page), "-singlefile", "-gray", "-png", path,
         folder / "page"], check=True, timeout=60,
    )  # fmt: skip
    return cv2.imread(str(folder / "page.png"), cv2.IMREAD_GRAYSCALE)


def found(gray: np.ndarray) -> tuple[list[int], np.ndarray]:
    detector = cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11))
    quads, ids, _ = detector.detectMarkers(gray)
    corners = np.array([q[0] for q in quads]).reshape(-1, 1, 2).astype(np.float32)
    criteria = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 50, 1e-3)
    return list(ids.ravel()), cv2.cornerSubPix(gray, corners, (9, 9), (-1, -1), criteria).reshape(-1, 4, 2)


@pytest.mark.parametrize(
    ("paper", "size_m", "paper_px"),
    [("letter", 0.1524, (1650, 1275)), ("a4", 0.1524, (1754, 1240)), ("a4", 0.1, (1754, 1240))],
)
def test_printed_square_measures_what_it_should(tmp_path, paper, size_m, paper_px):
    gray = rendered(marker_sheets_pdf([3, 586], size_m, paper), tmp_path, 2)
    assert np.abs(np.subtract(gray.shape, paper_px)).max() <= 1
    ids, corners = found(gray)
    assert ids == [586]
    sides_px = np.linalg.norm(corners[0] - np.roll(corners[0], 1, axis=0), axis=1)
    np.testing.assert_allclose(sides_px / DPI * 0.0254, size_m, rtol=0.005)
    assert corners[0][0][1] < corners[0][2][1] and corners[0][0][0] < corners[0][1][0]  # upright


def test_six_inch_ruler_measures_six_inches(tmp_path):
    gray = rendered(marker_sheets_pdf([1]), tmp_path, 1)
    dark = gray < 200
    lengths = [run for row in dark[gray.shape[0] * 2 // 3 :] for run in _runs(row)]
    assert max(lengths) / DPI == pytest.approx(6.0, abs=0.03)


def _runs(row: np.ndarray) -> np.ndarray:
    edges = np.flatnonzero(np.diff(np.concatenate([[0], row.astype(np.int8), [0]])))
    return edges[1::2] - edges[::2]


def test_nothing_is_printed_in_the_white_rim(tmp_path):
    gray = rendered(marker_sheets_pdf([7]), tmp_path, 1)
    _, corners = found(gray)
    (left, top), (right, bottom) = corners[0].min(axis=0), corners[0].max(axis=0)
    rim_px = (right - left) / 8
    outer = gray[
        int(top - rim_px) + 2 : int(bottom + rim_px) - 1, int(left - rim_px) + 2 : int(right + rim_px) - 1
    ].copy()
    inset = int(rim_px) - 4
    outer[inset:-inset, inset:-inset] = 255
    assert outer.min() == 255


def test_sheet_too_large_for_the_paper_is_refused():
    with pytest.raises(MarkerSheetError, match="at most"):
        marker_sheets_pdf([1], 0.25, "letter")


@pytest.mark.parametrize(("text", "ids"), [("1-3", [1, 2, 3]), ("5", [5]), ("2, 4-5,2", [2, 4, 5]), ("586", [586])])
def test_ids_are_read_as_people_write_them(text, ids):
    assert parse_ids(text) == ids


@pytest.mark.parametrize("text", ["", "a", "3-1", "587", "-4", "1,,2", "99999"])
def test_ids_that_make_no_sense_are_refused(text):
    with pytest.raises(MarkerSheetError, match="ids"):
        parse_ids(text)


def test_command_writes_a_page_per_id_and_never_overwrites(tmp_path):
    out = tmp_path / "sheets.pdf"
    result = CliRunner().invoke(command, [str(out), "--ids", "20-22"])
    assert result.exit_code == 0 and "3 marker sheets" in result.output
    info = subprocess.run(["pdfinfo", out], capture_output=True, text=True, check=True, timeout=60).stdout
    assert "Pages:           3" in info
    again = CliRunner().invoke(command, [str(out)])
    assert isinstance(again.exception, MarkerSheetError)
