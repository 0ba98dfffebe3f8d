"""The panel card: a small card for the panel door that says what is on record and where the record lies.

Its QR code holds plain text, not a web address: it can still be read when every service of
today is gone.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import segno
from reportlab.lib.units import inch
from reportlab.pdfgen.canvas import Canvas

from asbuilt.answers.directory import Breaker, schedules
from asbuilt.handover.opendata import short_fingerprint
from asbuilt.record import Picture, Record
from asbuilt.sheets.paper import BOLD, MARGIN_PT, PAPERS_PT, PROVE, pdf_of, set_lines, wrapped

QR_PT = 2.5 * inch
# 89 modules and a rim: each 0.65 mm on the card, which phones read from a hand's breadth (common practice, no source).
LARGEST_VERSION = 18
QUIET_MODULES = 4
LARGEST_PT, LEAST_PT = 8.5, 5.0
GAP_PT = 10.0
NO_PLACE = "________________________________"
FOOT = "Evidence for looking, not permission to drill."


@dataclass(frozen=True, slots=True, kw_only=True)
class Card:
    """What the card says; ``kept_at`` is where the package lies, in the owner's words."""

    building: str
    recorded_on: str
    kept_at: str
    mark: str
    circuits: tuple[str, ...]


def card_of(record: Record, mark: str, kept_at: str = "") -> Card:
    """The card of a record whose fingerprint is ``mark``."""
    days = sorted(p.taken_at[:10] for p in record.all(Picture, stage="open") if p.taken_at)
    panels = schedules(record)
    lines = []
    for panel in panels:
        lines += [f"{panel.name}:"] if len(panels) > 1 else []
        lines += [_line(b) for b in panel.breakers]
    return Card(building=record.building.name, recorded_on=" to ".join(dict.fromkeys([*days[:1], *days[-1:]])),
                kept_at=kept_at, mark=short_fingerprint(mark), circuits=tuple(lines))  # fmt: skip


def _line(b: Breaker) -> str:
    amps = f" {b.amps:g} A" if b.amps else ""
    return f"{b.number} {b.name}{amps}" + (f": {b.feeds}" if b.feeds else "")


def summary(card: Card) -> str:
    """The text of the QR code: as many circuits as fit, all else in full."""
    head = [card.building, "Record of what is inside the walls", f"Recorded: {card.recorded_on or 'day not known'}",
            f"Kept at: {card.kept_at or 'see the card'}", f"Fingerprint: {card.mark}"]  # fmt: skip
    for count in range(len(card.circuits), -1, -1):
        more = len(card.circuits) - count
        rest = [f"and {more} more, see the card"] if more else []
        text = "\n".join([*head, *card.circuits[:count], *rest, FOOT])
        if _fits(text):
            return text
    return head[-1]


def _fits(text: str) -> bool:
    try:
        segno.make_qr(text, error="m", version=LARGEST_VERSION, encoding="utf-8", boost_error=False)
    except segno.DataOverflowError:
        return False
    return True


def card_pdf(card: Card, printed_on: str, paper: str = "card") -> bytes:
    """The card as PDF.

    Parameters
    ----------
    paper : str
        card (half a letter sheet), a5, letter or a4.
    """
    size_pt = PAPERS_PT[paper]

    def draw(canvas: Canvas) -> None:
        _page(canvas, card, printed_on, size_pt)
        canvas.showPage()

    return pdf_of(draw, size_pt, f"Panel card, {card.building}")


def _page(canvas: Canvas, card: Card, printed_on: str, size_pt: tuple[float, float]) -> None:
    left, right, top = MARGIN_PT, size_pt[0] - MARGIN_PT, size_pt[1] - MARGIN_PT
    top = set_lines(canvas, left, top, wrapped(card.building, right - left, 15, BOLD), 15, BOLD)
    day = card.recorded_on or "on a day that is not known"
    about = f"What is inside these walls was recorded {day}, before they were covered."
    top = set_lines(canvas, left, top - 2, wrapped(about, right - left, 8.5), 8.5) - GAP_PT
    _qr(canvas, summary(card), left, top - QR_PT)
    aside = left + QR_PT + GAP_PT
    facts = (("The package lies", card.kept_at or NO_PLACE), ("Fingerprint of the record", card.mark),
             ("The code beside", "is plain text: what stands on this card, for a phone without a network"))  # fmt: skip
    at = top
    for name, value in facts:
        at = set_lines(canvas, aside, at, [name], 8, BOLD)
        at = set_lines(canvas, aside, at, wrapped(value, right - aside, 8.5), 8.5) - 5
    bottom = _cautions(canvas, printed_on, left, right)
    _directory(canvas, card.circuits, left, right, top - QR_PT - GAP_PT, bottom + GAP_PT)


def _qr(canvas: Canvas, text: str, left_pt: float, bottom_pt: float) -> None:
    """The code as one path of squares, with its quiet rim inside the given square."""
    matrix = segno.make_qr(text, error="m", encoding="utf-8", boost_error=False).matrix
    count = len(matrix)
    module = QR_PT / (count + 2 * QUIET_MODULES)
    path = canvas.beginPath()
    for row, cells in enumerate(matrix):
        for col, dark in enumerate(cells):
            if dark:
                x = left_pt + (col + QUIET_MODULES) * module
                path.rect(x, bottom_pt + (count - 1 - row + QUIET_MODULES) * module, module, module)
    canvas.setFillGray(0)
    canvas.drawPath(path, stroke=0, fill=1)


def _cautions(canvas: Canvas, printed_on: str, left: float, right: float) -> float:
    lines = wrapped(f"{PROVE} {FOOT}", right - left, 7.5, BOLD)
    top = MARGIN_PT + (len(lines) + 1) * 9.5
    top_of_text = set_lines(canvas, left, top, lines, 7.5, BOLD)
    set_lines(canvas, left, top_of_text, [f"Printed {printed_on}."], 6.5)
    return top


def _directory(canvas: Canvas, circuits: Sequence[str], left: float, right: float, top: float, bottom: float) -> None:
    """The circuits in two columns, as large as all of them fit."""
    if not circuits:
        set_lines(canvas, left, top, ["No circuit is on record yet."], LARGEST_PT)
        return
    top = set_lines(canvas, left, top, ["Circuits, by breaker"], 8, BOLD) - 2
    width = (right - left - GAP_PT) / 2
    size = LARGEST_PT
    while True:
        blocks = [wrapped(c, width, size) for c in circuits]
        height = 1.2 * size * sum(map(len, blocks))
        if height <= 2 * (top - bottom) - 1.2 * size * max(map(len, blocks)) or size <= LEAST_PT:
            break
        size -= 0.25
    at, x = top, left
    for lines in blocks:
        if at - 1.2 * size * len(lines) < bottom and x == left:
            at, x = top, left + width + GAP_PT
        at = set_lines(canvas, x, at, lines, size)
