"""The door card of a panel: schedule and circuit directory on one piece of paper, as PDF.

Black on white with one light grey, so that a grey printer loses nothing: a spare is written
out, an empty space is crossed, the poles of one breaker share one frame.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from reportlab.pdfgen.canvas import Canvas

from asbuilt.answers.circuit_text import described
from asbuilt.answers.directory import Breaker, Schedule
from asbuilt.sheets.paper import BOLD, MARGIN_PT, PAPERS_PT, PROVE, REGULAR, fits, pdf_of, set_lines, wrapped

HEADER_PT, FOOTER_PT = 38.0, 26.0
ROWS_ON_A_CARD = 21  # 42 positions, the common panel
# Readable at arm's length (common practice, no source): nothing that names a circuit is below 7 pt.
LARGEST_PT, LEAST_PT = 12.0, 7.0
NUMBER_PT, AMPS_PT = 24.0, 27.0  # widths of the two outer columns of a position
TALLEST_ROW_PT = 40.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """One frame on the card: the rows it spans on its side, and what is written in it."""

    row: int
    positions: tuple[int, ...]
    number: str
    amps: str
    name: str
    under: str  # smaller, below the name
    kind: str  # breaker, spare, space, nothing recorded, no such space


def schedule_pdf(panels: Sequence[Schedule], building: str, printed_on: str, paper: str = "card") -> bytes:
    """Door cards of panels, one or more pages each.

    Parameters
    ----------
    panels : sequence of Schedule
    building : str
        Its name.
    printed_on : str
        The day of printing.
    paper : str
        card (half letter), letter, a5 or a4.
    """
    size_pt = PAPERS_PT[paper]

    def draw(canvas: Canvas) -> None:
        for panel in panels:
            left_over = _panel(canvas, panel, building, printed_on, size_pt)
            if left_over:
                _back(canvas, panel, left_over, size_pt)

    return pdf_of(draw, size_pt, f"Panel schedule, {building}")


def _panel(canvas: Canvas, panel: Schedule, building: str, printed_on: str, size_pt) -> list[Breaker]:
    """The pages of one panel; gives the breakers whose words did not fit."""
    left_over: list[Breaker] = [*panel.loose]
    for first in range(0, max(len(panel.rows), 1), ROWS_ON_A_CARD):
        rows = panel.rows[first : first + ROWS_ON_A_CARD]
        _header(canvas, panel, building, size_pt)
        for side in (0, 1):
            cells = cells_of(panel, rows, side)
            left_over += _side(canvas, panel, cells, side, len(rows), size_pt)
        _footer(canvas, panel, printed_on, bool(left_over), size_pt)
        canvas.showPage()
    return list(dict.fromkeys(left_over))


def _header(canvas: Canvas, panel: Schedule, building: str, size_pt) -> None:
    width_pt, height_pt = size_pt
    top_pt, room_pt = height_pt - MARGIN_PT, width_pt - 2 * MARGIN_PT
    canvas.setFillGray(0)
    name_pt = next((s for s in (15.0, 13.0, 11.0, 9.0) if fits(panel.name, 0.62 * room_pt, s, BOLD)), 8.0)
    canvas.setFont(BOLD, name_pt)
    canvas.drawString(MARGIN_PT, top_pt - 14, panel.name)
    building_pt = next((s for s in (9.0, 8.0, 7.0) if fits(building, 0.36 * room_pt, s)), 6.0)
    canvas.setFont(REGULAR, building_pt)
    canvas.drawRightString(width_pt - MARGIN_PT, top_pt - 14, building)
    set_lines(canvas, MARGIN_PT, top_pt - 17, wrapped(facts_of(panel), room_pt, 7.5)[:2], 7.5)


def facts_of(panel: Schedule) -> str:
    """The line under a panel's name: rating, main, feeder, spares and spaces."""
    facts = [
        f"{panel.amps:g} A" if panel.amps else "amperes not recorded",
        f"{panel.volts:g} V" if panel.volts else "",
        panel.main,
        f"fed from {panel.fed_from}" if panel.fed_from else "",
        f"feeder {panel.feeder}" if panel.feeder else "",
        f"{panel.space_count} spaces, {len(panel.spaces)} empty" if panel.space_count else "spaces not recorded",
        f"{len(panel.spares)} spare" if panel.spares else "",
    ]
    return ", ".join(filter(None, facts))


def cells_of(panel: Schedule, rows: Sequence[tuple[dict, dict]], side: int) -> list[Cell]:
    """The frames of one side; consecutive poles of one breaker share one."""
    by_id = {b.circuit_id: b for b in panel.breakers}
    cells: list[Cell] = []
    for row, sides in enumerate(rows):
        at = sides[side]
        breaker = by_id.get(at["circuit_id"])
        if breaker is not None and at["continued"] and cells and cells[-1].number == breaker.number:
            last = cells.pop()
            cells.append(replace(last, positions=(*last.positions, at["position"])))
        elif breaker is not None:
            cells.append(_breaker_cell(breaker, row, at))
        else:
            cells.append(Cell(row=row, positions=(at["position"],), number="", amps="", name=at["what"], under="",
                              kind=at["what"]))  # fmt: skip
    return cells


def _breaker_cell(breaker: Breaker, row: int, at: dict) -> Cell:
    pair = f"shares neutral with {breaker.shares_neutral_with}: off together" if breaker.shares_neutral_with else ""
    tested = f"tested {breaker.tested_on}" if breaker.tested_on else ""
    under = ", ".join(filter(None, [breaker.protection, breaker.cable, pair, tested]))
    amps = f"{breaker.amps:g} A" if breaker.amps else ""
    return Cell(row=row, positions=(at["position"],), number=breaker.number, amps=amps, name=described(breaker),
                under=under, kind=at["what"])  # fmt: skip


def _side(canvas: Canvas, panel: Schedule, cells: Sequence[Cell], side: int, row_count: int, size_pt) -> list[Breaker]:
    width_pt, height_pt = size_pt
    top_pt = height_pt - MARGIN_PT - HEADER_PT
    column_pt = (width_pt - 2 * MARGIN_PT) / 2
    row_pt = min((top_pt - MARGIN_PT - FOOTER_PT) / max(row_count, 1), TALLEST_ROW_PT)
    by_number = {b.number: b for b in panel.breakers}
    cut = []
    for cell in cells:
        left_pt = MARGIN_PT + side * column_pt
        span = len(cell.positions)
        bottom_pt = top_pt - (cell.row + span) * row_pt
        if not _cell(canvas, cell, side, left_pt, bottom_pt, column_pt, span * row_pt):
            cut.append(by_number[cell.number])
    return cut


def _cell(canvas: Canvas, cell: Cell, side: int, left_pt: float, bottom_pt: float, wide_pt: float, high_pt: float):
    """Draw one frame; gives whether its words fitted."""
    canvas.setStrokeGray(0)
    canvas.setLineWidth(0.8)
    if cell.kind not in ("breaker", "spare"):
        canvas.setFillGray(0.93)
        canvas.rect(left_pt, bottom_pt, wide_pt, high_pt, stroke=1, fill=1)
    else:
        canvas.rect(left_pt, bottom_pt, wide_pt, high_pt, stroke=1, fill=0)
    canvas.setFillGray(0)
    number_pt = left_pt if side == 0 else left_pt + wide_pt - NUMBER_PT
    amps_pt = left_pt + NUMBER_PT if side == 0 else left_pt + wide_pt - NUMBER_PT - AMPS_PT
    row_pt = high_pt / len(cell.positions)
    for i, position in enumerate(cell.positions):
        middle_pt = bottom_pt + high_pt - (i + 0.5) * row_pt
        _middle(canvas, str(position), number_pt + NUMBER_PT / 2, middle_pt, NUMBER_PT - 3, BOLD, 10)
    _middle(canvas, cell.amps, amps_pt + AMPS_PT / 2, bottom_pt + high_pt / 2, AMPS_PT - 3, REGULAR, 8)
    canvas.setLineWidth(0.4)
    edge_pt = left_pt + NUMBER_PT if side == 0 else left_pt + wide_pt - NUMBER_PT
    canvas.line(edge_pt, bottom_pt, edge_pt, bottom_pt + high_pt)
    text_pt = (left_pt + NUMBER_PT + AMPS_PT if side == 0 else left_pt) + 4
    return _words(canvas, cell, text_pt, bottom_pt, wide_pt - NUMBER_PT - AMPS_PT - 7, high_pt)


def _middle(canvas: Canvas, text: str, x_pt: float, y_pt: float, wide_pt: float, font: str, size_pt: float) -> None:
    while size_pt > 5 and not fits(text, wide_pt, size_pt, font):
        size_pt -= 0.5
    canvas.setFont(font, size_pt)
    canvas.drawCentredString(x_pt, y_pt - 0.36 * size_pt, text)


def _words(canvas: Canvas, cell: Cell, x_pt: float, bottom_pt: float, wide_pt: float, high_pt: float) -> bool:
    """Name and small print, as large as they fit; the small print goes first if they do not."""
    font = BOLD if cell.kind == "breaker" else REGULAR
    under_pt = 5.5
    for under in (cell.under, ""):
        size_pt = LARGEST_PT
        while size_pt >= LEAST_PT:
            name = wrapped(cell.name, wide_pt, size_pt, font)
            small = wrapped(under, wide_pt, under_pt)[:2] if under else []
            need_pt = 1.2 * (len(name) * size_pt + len(small) * under_pt) + 2
            if need_pt <= high_pt:
                top_pt = bottom_pt + (high_pt + need_pt) / 2 - 1
                top_pt = set_lines(canvas, x_pt, top_pt, name, size_pt, font)
                set_lines(canvas, x_pt, top_pt, small, under_pt)
                return under == cell.under and len(small) == len(wrapped(under, wide_pt, under_pt) if under else [])
            size_pt -= 0.5
    lines = max(int((high_pt - 2) / (1.2 * LEAST_PT)), 1)
    name = wrapped(cell.name, wide_pt - 10, LEAST_PT, font)[:lines]
    set_lines(canvas, x_pt, bottom_pt + high_pt - 1, [*name[:-1], f"{name[-1]} ..."], LEAST_PT, font)
    return False


def _footer(canvas: Canvas, panel: Schedule, printed_on: str, see_back: bool, size_pt) -> None:
    width_pt, _ = size_pt
    changed = f", changed {panel.changed_at[:10]}" if panel.changed_at else ""
    revision = f"Revision {panel.revision}{changed}, printed {printed_on}."
    lines = [
        f"Odd positions left, even right.{' More on the back.' if see_back else ''} {revision}",
        *wrapped(PROVE, width_pt - 2 * MARGIN_PT, 7, BOLD),
    ]
    canvas.setFillGray(0)
    set_lines(canvas, MARGIN_PT, MARGIN_PT + FOOTER_PT - 3, lines[:1], 6.5)
    set_lines(canvas, MARGIN_PT, MARGIN_PT + FOOTER_PT - 12, lines[1:3], 7, BOLD)


def _back(canvas: Canvas, panel: Schedule, breakers: Sequence[Breaker], size_pt) -> None:
    """The full words of what did not fit on the front, and of circuits without a position."""
    width_pt, height_pt = size_pt
    top_pt = set_lines(canvas, MARGIN_PT, height_pt - MARGIN_PT, [f"{panel.name}, in full"], 11, BOLD) - 6
    for breaker in breakers:
        cell = _breaker_cell(breaker, 0, {"what": breaker.state, "position": 0})
        words = f"{breaker.number}  {cell.amps}  {cell.name}" + (f" ({cell.under})" if cell.under else "")
        lines = wrapped(words, width_pt - 2 * MARGIN_PT, 8)
        if top_pt - 10 * len(lines) < MARGIN_PT:
            canvas.showPage()
            top_pt = height_pt - MARGIN_PT
        top_pt = set_lines(canvas, MARGIN_PT, top_pt, lines, 8) - 4
    canvas.showPage()
