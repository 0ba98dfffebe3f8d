"""The story pole on paper at true scale: strips to join end to end, or one long page off a roll.

The strip carries a tape from the datum end, every mark of the face with its error at 95 %, and
a hatch wherever the pictures do not show what is behind. Neighbouring strips share a band;
the same join line is on both, so they are laid line on line, whatever the printer cut off.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from reportlab.lib.units import inch, mm
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.pdfgen.canvas import Canvas

from asbuilt.answers.pole import PoleAnswer, PoleMark
from asbuilt.answers.wording import COVER_95
from asbuilt.sheets.paper import BOLD, PAPERS_PT, REGULAR, fits, pdf_of
from asbuilt.sheets.pole_ruler import check_ruler, tape
from asbuilt.units import format_error, format_length

PT_PER_M = 1000 * mm
MARGIN_PT = 0.5 * inch  # what common printers leave blank, with something to spare; no source
OVERLAP_PT = 1.0 * inch
ROLL_PT = 190 * inch  # a PDF page may be 200 in long at most
STRIP_PT = 3.15 * inch  # one strip from its title to the ends of its labels
BAND_PT = 0.8 * inch  # the stick itself
TITLE_PT = 24.0
RULER_PT = 0.95 * inch
LABEL_PT = 6.0
LABEL_STEP_PT = 3.9 * LABEL_PT  # three lines of a label
LEADER_PT = 12.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Tile:
    """The part of a face on one strip [m], and where it is joined to its neighbours."""

    number: int
    left_m: float
    right_m: float
    joins_m: tuple[float, ...]


def tiles_of(length_m: float, strip_m: float, overlap_m: float) -> list[Tile]:
    """The strips that cover a face from its left end; neighbours share a band ``overlap_m`` wide."""
    step_m = strip_m - overlap_m
    lefts = [0.0]
    while lefts[-1] + strip_m < length_m:
        lefts.append(lefts[-1] + step_m)
    joins = [left + overlap_m / 2 for left in lefts[1:]]
    return [
        Tile(number=n + 1, left_m=left, right_m=min(left + strip_m, length_m),
             joins_m=tuple(joins[max(n - 1, 0) : n + 1]))
        for n, left in enumerate(lefts)
    ]  # fmt: skip


def pole_pdf(answer: PoleAnswer, printed_on: str, paper: str = "letter") -> bytes:
    """The story pole of a face as a PDF to print at 100 %.

    Parameters
    ----------
    answer : PoleAnswer
    printed_on : str
        The day of printing.
    paper : str
        letter or a4: strips, two to a page; roll: one long page, or more for a face over 15 ft.
    """
    strip_pt = min(answer.length_m * PT_PER_M, ROLL_PT)
    page_pt = (strip_pt + 2 * MARGIN_PT, STRIP_PT + RULER_PT + 2 * MARGIN_PT)
    if paper != "roll":
        page_pt = PAPERS_PT[paper][::-1]
        strip_pt = page_pt[0] - 2 * MARGIN_PT
    page_pt = (max(page_pt[0], 9 * inch), page_pt[1])
    rows = int((page_pt[1] - 2 * MARGIN_PT - RULER_PT) // STRIP_PT)
    tiles = tiles_of(answer.length_m, strip_pt / PT_PER_M, OVERLAP_PT / PT_PER_M)

    def draw(canvas: Canvas) -> None:
        for first in range(0, len(tiles), rows):
            top_pt = page_pt[1] - MARGIN_PT
            for tile in tiles[first : first + rows]:
                _strip(canvas, answer, tile, len(tiles), top_pt)
                top_pt -= STRIP_PT
            check_ruler(canvas, MARGIN_PT, MARGIN_PT + 0.45 * inch)
            _foot(canvas, answer, printed_on, MARGIN_PT)
            canvas.showPage()

    return pdf_of(draw, page_pt, f"Story pole, {answer.face_title}")


def _strip(canvas: Canvas, answer: PoleAnswer, tile: Tile, count: int, top_pt: float) -> None:
    unit = answer.unit
    ends = " to ".join(format_length(v, unit) for v in (tile.left_m, tile.right_m))
    part = f", strip {tile.number} of {count}" if count > 1 else ""
    canvas.setFillGray(0)
    canvas.setFont(BOLD, 9)
    canvas.drawString(MARGIN_PT, top_pt - 9, f"{answer.face_title}{part}: {ends} from the left end")
    band_top_pt = top_pt - TITLE_PT
    bottom_pt = band_top_pt - BAND_PT
    _gaps(canvas, answer, tile, bottom_pt)
    canvas.setLineWidth(0.8)
    canvas.setStrokeGray(0)
    canvas.rect(MARGIN_PT, bottom_pt, (tile.right_m - tile.left_m) * PT_PER_M, BAND_PT)
    tape(canvas, MARGIN_PT, band_top_pt, tile.left_m, tile.right_m, unit)
    marks = [m for m in answer.marks if tile.left_m <= m.offset_m <= tile.right_m]
    for mark in marks:
        _mark(canvas, mark, tile, bottom_pt)
    reaching = [m for m in answer.marks if _reach(m, tile)]
    for mark in reaching:
        _error_bar(canvas, mark, tile, bottom_pt)
    _elsewhere(canvas, [m for m in reaching if m not in marks], bool(marks), top_pt - STRIP_PT + 8, unit)
    _labels(canvas, marks, tile, bottom_pt, unit)
    for join_m in tile.joins_m:
        _join(canvas, _x_pt(tile, join_m), band_top_pt, bottom_pt, format_length(join_m, unit))


def _x_pt(tile: Tile, offset_m: float) -> float:
    return MARGIN_PT + (offset_m - tile.left_m) * PT_PER_M


def _gaps(canvas: Canvas, answer: PoleAnswer, tile: Tile, bottom_pt: float) -> None:
    """Hatch, and name, what of the strip is not well recorded."""
    for gap in answer.gaps:
        left, right = max(gap.left_m, tile.left_m), min(gap.right_m, tile.right_m)
        if left >= right:
            continue
        x, width = _x_pt(tile, left), (right - left) * PT_PER_M
        canvas.saveState()
        path = canvas.beginPath()
        path.rect(x, bottom_pt, width, BAND_PT)
        canvas.clipPath(path, stroke=0)
        canvas.setStrokeGray(0.72)
        canvas.setLineWidth(0.6)
        at = x - BAND_PT
        while at < x + width:
            canvas.line(at, bottom_pt, at + BAND_PT, bottom_pt + BAND_PT)
            at += 7
        canvas.restoreState()
        _gap_name(canvas, gap.recorded, x, width, bottom_pt + 3)


def _gap_name(canvas: Canvas, words: str, x_pt: float, width_pt: float, y_pt: float) -> None:
    if not fits(words, width_pt - 4, 7, BOLD):
        return
    words_pt = stringWidth(words, BOLD, 7)
    at = x_pt + 3
    while at + words_pt < x_pt + width_pt:
        canvas.setFillGray(1)
        canvas.rect(at - 1, y_pt - 2, words_pt + 2, 9, stroke=0, fill=1)
        canvas.setFillGray(0)
        canvas.setFont(BOLD, 7)
        canvas.drawString(at, y_pt, words)
        at += max(4 * inch, words_pt + 10)


def _mark(canvas: Canvas, mark: PoleMark, tile: Tile, bottom_pt: float) -> None:
    """A mark with the width of the thing, and its error as a bar at the lower edge of the stick."""
    x_pt, half_pt, top_pt = _x_pt(tile, mark.offset_m), mark.width_m / 2 * PT_PER_M, bottom_pt + 0.45 * BAND_PT
    left_pt, right_pt = MARGIN_PT, _x_pt(tile, tile.right_m)
    canvas.setStrokeGray(0)
    if half_pt > 0:
        canvas.setLineWidth(0.4)
        canvas.setDash(2, 1.5)
        start_pt, end_pt = max(x_pt - half_pt, left_pt), min(x_pt + half_pt, right_pt)
        canvas.rect(start_pt, bottom_pt, end_pt - start_pt, top_pt - bottom_pt - 4)
        canvas.setDash()
    canvas.setLineWidth(1.0)
    if mark.status not in ("", "seen"):
        canvas.setDash(3, 2)
    canvas.line(x_pt, bottom_pt, x_pt, top_pt)
    canvas.setDash()


def _reach(mark: PoleMark, tile: Tile) -> bool:
    return mark.offset_m - mark.error_95_m < tile.right_m and mark.offset_m + mark.error_95_m > tile.left_m


def _error_bar(canvas: Canvas, mark: PoleMark, tile: Tile, bottom_pt: float) -> None:
    """Where a thing may lie at 95 %, also on strips that its mark is not on."""
    left_m = max(mark.offset_m - mark.error_95_m, tile.left_m)
    right_m = min(mark.offset_m + mark.error_95_m, tile.right_m)
    canvas.setLineWidth(2.2)
    canvas.setStrokeGray(0.45)
    canvas.line(_x_pt(tile, left_m), bottom_pt - 2.2, _x_pt(tile, right_m), bottom_pt - 2.2)


def _elsewhere(canvas: Canvas, marks: Sequence[PoleMark], has_marks: bool, y_pt: float, unit: str) -> None:
    """Name what is marked on another strip but may lie on this one; a strip without a mark says so."""
    words = [] if has_marks else ["No mark on this strip: that does not prove it empty."]
    for m in marks:
        sigma_m = m.error_95_m / COVER_95
        words.append(
            f"May lie here too: {m.name}, {format_length(m.offset_m, unit, sigma_m)} {format_error(sigma_m, unit)}."
        )
    canvas.setFillGray(0)
    canvas.setFont(REGULAR, LABEL_PT)
    for n, line in enumerate(reversed(words)):
        canvas.drawString(MARGIN_PT, y_pt + 1.25 * LABEL_PT * n, line)


def _labels(canvas: Canvas, marks: Sequence[PoleMark], tile: Tile, bottom_pt: float, unit: str) -> None:
    """Labels under their marks, turned upright and pushed apart where marks lie close."""
    at = spread([_x_pt(tile, m.offset_m) for m in marks], LABEL_STEP_PT)
    room_pt = STRIP_PT - TITLE_PT - BAND_PT - LEADER_PT - 14
    for mark, x_pt in zip(marks, at, strict=True):
        canvas.setStrokeGray(0)
        canvas.setLineWidth(0.4)
        canvas.line(_x_pt(tile, mark.offset_m), bottom_pt - 4, x_pt, bottom_pt - 4 - LEADER_PT)
        canvas.saveState()
        canvas.translate(x_pt, bottom_pt - LEADER_PT - 6)
        canvas.rotate(-90)
        canvas.setFillGray(0)
        for n, text in enumerate(_label(mark, unit)):
            font = REGULAR if n else BOLD
            canvas.setFont(font, LABEL_PT)
            canvas.drawString(0, (0.9 - 1.2 * n) * LABEL_PT, _shortened(text, room_pt, font))
        canvas.restoreState()


def _label(mark: PoleMark, unit: str) -> list[str]:
    sigma_m = mark.error_95_m / COVER_95
    up = f"{format_length(mark.height_m, unit)} up" if mark.height_m is not None else ""
    guess = mark.status if mark.status != "seen" else ""
    place = f"{format_length(mark.offset_m, unit, sigma_m)}  {format_error(sigma_m, unit)}"
    return [place, mark.name, ", ".join(word for word in (up, guess) if word)]


def _shortened(text: str, width_pt: float, font: str) -> str:
    if fits(text, width_pt, LABEL_PT, font):
        return text
    while text and not fits(text + "\N{HORIZONTAL ELLIPSIS}", width_pt, LABEL_PT, font):
        text = text[:-1]
    return text + "\N{HORIZONTAL ELLIPSIS}"


def spread(wanted_pt: Sequence[float], step_pt: float) -> list[float]:
    """Places in order, at least a step apart, as near as can be to the wanted ones."""
    groups: list[list[float]] = []  # wanted places that are laid out together, evenly
    for x in wanted_pt:
        groups.append([x])
        while len(groups) > 1 and _first(groups[-1], step_pt) < _first(groups[-2], step_pt) + len(groups[-2]) * step_pt:
            groups[-2:] = [groups[-2] + groups[-1]]
    return [_first(group, step_pt) + n * step_pt for group in groups for n in range(len(group))]


def _first(group: Sequence[float], step_pt: float) -> float:
    return sum(group) / len(group) - (len(group) - 1) * step_pt / 2


def _join(canvas: Canvas, x_pt: float, top_pt: float, bottom_pt: float, name: str) -> None:
    canvas.setStrokeGray(0)
    canvas.setLineWidth(0.5)
    canvas.setDash(6, 2)
    canvas.line(x_pt, top_pt + 3, x_pt, bottom_pt)
    canvas.setDash()
    for y_pt, way in ((top_pt, 5.0), (bottom_pt, -5.0)):
        path = canvas.beginPath()
        path.moveTo(x_pt, y_pt)
        path.lineTo(x_pt - 3, y_pt + way)
        path.lineTo(x_pt + 3, y_pt + way)
        path.close()
        canvas.setFillGray(0)
        canvas.drawPath(path, stroke=0, fill=1)
    canvas.setFont(REGULAR, 6)
    canvas.drawCentredString(x_pt, top_pt + 6, f"join at {name}")


def _foot(canvas: Canvas, answer: PoleAnswer, printed_on: str, left_pt: float) -> None:
    unit = answer.unit
    runs = "no runs" if answer.height_m is None else f"runs where they cross {format_length(answer.height_m, unit)} up"
    lines = [
        "Story pole. Datum: the left end of the face, rough corner before covering. "
        f"Shown: studs, openings, boxes, {runs}.",
        "Grey bars: error at 95 %. Hatched: pictures do not show it well, so things may be there. Unhatched does not "
        "prove it empty.",
        "Print at 100 % (not fit to page) and hold a tape to the ruler. Lay join line on join line. "
        f"Printed {printed_on}.",
    ]
    if answer.doubts:
        lines.insert(0, f"DOUBTFUL: {'; '.join(d.text for d in answer.doubts)}.")
    canvas.setFillGray(0)
    canvas.setFont(REGULAR, 6.5)
    for n, line in enumerate(lines):
        canvas.drawString(left_pt, MARGIN_PT + 10 - 8 * n, line)
