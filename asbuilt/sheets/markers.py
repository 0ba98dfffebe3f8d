"""Marker sheets to print: AprilTag 36h11 squares at true size, one to a page, as PDF.

The bits come from OpenCV's dictionary and are drawn as one vector outline, so no printer
resampling moves an edge and no hairline runs between two black cells.
"""

from __future__ import annotations

import io
import re
from collections.abc import Sequence

import cv2
import numpy as np
from reportlab.lib.units import inch, mm
from reportlab.pdfgen.canvas import Canvas
from reportlab.pdfgen.pathobject import PDFPathObject
from shapely import box, unary_union

from asbuilt.errors import AsbuiltError
from asbuilt.units import format_length

PAPERS_PT = {"letter": (8.5 * inch, 11 * inch), "a4": (210 * mm, 297 * mm)}
CELLS = 8  # 6x6 bits and a black border one cell wide
QUIET_CELLS = 1  # white rim that the detector needs round the black square
TOP_PT, SIDE_PT = 0.35 * inch, 0.25 * inch  # what common printers leave blank, no source
FOOT_PT = 2.75 * inch  # digits, ruler and fields under the square
ID_COUNT = 587  # codes of the 36h11 family


class MarkerSheetError(AsbuiltError, ValueError):
    """A marker sheet cannot be drawn as asked."""


def parse_ids(text: str) -> list[int]:
    """``1-4,9`` as [1, 2, 3, 4, 9].

    Raises
    ------
    MarkerSheetError
        If the text is not a list of ids from 0 to 586.
    """
    ids: list[int] = []
    for word in text.replace(" ", "").split(","):
        match = re.fullmatch(r"(\d{1,4})(?:-(\d{1,4}))?", word)
        if match is None:
            raise MarkerSheetError(f"ids {text!r}: {word!r} is neither a number nor a range; write for example 1-12")
        first = int(match[1])
        last = first if match[2] is None else int(match[2])
        if last < first or last >= ID_COUNT:
            raise MarkerSheetError(f"ids {text!r}: {word!r} must go up and stay below {ID_COUNT}")
        ids.extend(range(first, last + 1))
    return list(dict.fromkeys(ids))


def marker_sheets_pdf(ids: Sequence[int], size_m: float = 0.1524, paper: str = "letter") -> bytes:
    """Marker sheets as a PDF, one page for each id.

    Parameters
    ----------
    ids : sequence of int
    size_m : float
        Outer edge of the black square [m].
    paper : str
        letter or a4.

    Returns
    -------
    bytes
        The PDF.

    Raises
    ------
    MarkerSheetError
        If the square and its white rim do not fit on the paper.
    """
    width_pt, height_pt = PAPERS_PT[paper]
    size_pt = size_m * 1000 * mm
    rim_pt = size_pt * QUIET_CELLS / CELLS
    largest_pt = min((width_pt - 2 * SIDE_PT), (height_pt - TOP_PT - FOOT_PT)) / (1 + 2 * QUIET_CELLS / CELLS)
    if not 0 < size_pt <= largest_pt:
        raise MarkerSheetError(
            f"a black square of {format_length(size_m, 'in')} does not fit on {paper} paper with its white rim; "
            f"at most {int(largest_pt / inch * 4) / 4:g} in"
        )
    out = io.BytesIO()
    canvas = Canvas(out, pagesize=(width_pt, height_pt), pageCompression=1)
    canvas.setTitle(f"Marker sheets, AprilTag 36h11, {format_length(size_m, 'in')} black square")
    for marker_id in ids:
        _page(canvas, marker_id, size_pt, rim_pt, width_pt, height_pt)
        canvas.showPage()
    canvas.save()
    return out.getvalue()


def marker_cells(marker_id: int) -> np.ndarray:
    """Black cells of a marker, shape (8, 8), row 0 at the top."""
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    return cv2.aruco.generateImageMarker(dictionary, marker_id, CELLS) == 0


def _page(canvas: Canvas, marker_id: int, size_pt: float, rim_pt: float, width_pt: float, height_pt: float) -> None:
    left_pt = (width_pt - size_pt) / 2
    bottom_pt = height_pt - TOP_PT - rim_pt - size_pt
    _square(canvas, marker_id, left_pt, bottom_pt, size_pt)
    _center_ticks(canvas, left_pt + size_pt / 2, bottom_pt + size_pt / 2, size_pt / 2 + rim_pt)
    foot_top_pt = bottom_pt - rim_pt
    canvas.setFillGray(0)
    canvas.setFont("Helvetica-Bold", 72)
    canvas.drawRightString(width_pt - 0.5 * inch, foot_top_pt - 0.95 * inch, str(marker_id))
    canvas.setFont("Helvetica", 11)
    canvas.drawRightString(width_pt - 0.5 * inch, foot_top_pt - 0.12 * inch, "marker sheet")
    _fields(canvas, 0.5 * inch, foot_top_pt - 0.2 * inch)
    _check_rulers(canvas, 0.5 * inch, foot_top_pt - 1.55 * inch)
    _instructions(canvas, size_pt, foot_top_pt - 2.3 * inch)


def _square(canvas: Canvas, marker_id: int, left_pt: float, bottom_pt: float, size_pt: float) -> None:
    cell_pt = size_pt / CELLS
    rows, cols = np.nonzero(marker_cells(marker_id))
    black = unary_union([box(c, CELLS - 1 - r, c + 1, CELLS - r) for r, c in zip(rows, cols, strict=True)])
    path: PDFPathObject = canvas.beginPath()
    for polygon in getattr(black, "geoms", [black]):
        for ring in (polygon.exterior, *polygon.interiors):
            points = [(left_pt + x * cell_pt, bottom_pt + y * cell_pt) for x, y in list(ring.coords)[:-1]]
            path.moveTo(*points[0])
            for point in points[1:]:
                path.lineTo(*point)
            path.close()
    canvas.setFillGray(0)
    canvas.drawPath(path, stroke=0, fill=1, fillMode=0)  # even-odd


def _center_ticks(canvas: Canvas, x_pt: float, y_pt: float, reach_pt: float) -> None:
    """Short ticks outside the white rim, in line with the centre that is to be taped."""
    canvas.setStrokeGray(0)
    canvas.setLineWidth(0.7)
    tick_pt = 0.12 * inch
    canvas.line(x_pt - reach_pt, y_pt, x_pt - reach_pt - tick_pt, y_pt)
    canvas.line(x_pt + reach_pt, y_pt, x_pt + reach_pt + tick_pt, y_pt)
    canvas.line(x_pt, y_pt + reach_pt, x_pt, y_pt + reach_pt + tick_pt)
    canvas.line(x_pt, y_pt - reach_pt, x_pt, y_pt - reach_pt - tick_pt)


def _fields(canvas: Canvas, left_pt: float, top_pt: float) -> None:
    """Lines to write the place of the square's centre on."""
    canvas.setFont("Helvetica", 11)
    canvas.setLineWidth(0.7)
    for i, words in enumerate(("face", "offset of centre, from left end", "height of centre, from floor")):
        y_pt = top_pt - (0.2 + 0.38 * i) * inch
        canvas.drawString(left_pt, y_pt, words)
        canvas.line(left_pt + 2.35 * inch, y_pt - 2, left_pt + 5.1 * inch, y_pt - 2)


def _check_rulers(canvas: Canvas, left_pt: float, y_pt: float) -> None:
    """Six inches upward of the line, 150 mm downward of it."""
    canvas.setLineWidth(0.5)
    canvas.setFont("Helvetica", 8)
    canvas.line(left_pt, y_pt, left_pt + 6 * inch, y_pt)
    for sixteenth in range(0, 6 * 8 + 1):
        x_pt = left_pt + sixteenth / 8 * inch
        long_pt = 12 if sixteenth % 8 == 0 else 8 if sixteenth % 4 == 0 else 5
        canvas.line(x_pt, y_pt, x_pt, y_pt + long_pt)
        if sixteenth % 8 == 0:
            canvas.drawString(x_pt + 2, y_pt + 9, f"{sixteenth // 8}" + (" in" if sixteenth == 0 else ""))
    for step in range(0, 151):
        x_pt = left_pt + step * mm
        long_pt = 12 if step % 50 == 0 else 8 if step % 10 == 0 else 4
        canvas.line(x_pt, y_pt, x_pt, y_pt - long_pt)
        if step % 50 == 0:
            canvas.drawString(x_pt + 2, y_pt - 17, f"{step}" + (" mm" if step == 0 else ""))


def _instructions(canvas: Canvas, size_pt: float, top_pt: float) -> None:
    canvas.setFont("Helvetica", 9)
    lines = (
        f"Print at 100 % (not fit to page): the black square is {size_pt / inch:.3g} in = {size_pt / mm:.4g} mm; "
        "hold a tape to the rulers.",
        "Hang it flat and upright on a stud's face, number at the bottom; fold back the margins, never the white rim.",
        "Then tape the square's centre (ticks) from the left end and the floor, and write both here.",
    )
    for i, line in enumerate(lines):
        canvas.drawString(0.5 * inch, top_pt - i * 11, line)
