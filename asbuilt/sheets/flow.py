"""Lists that flow over as many pages as they need: styles, tables, page heads and feet."""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from xml.sax.saxutils import escape

from reportlab.lib import colors
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import inch
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import BaseDocTemplate, Flowable, Frame, PageTemplate, Paragraph, Table, TableStyle

from asbuilt.sheets.paper import BOLD, REGULAR, register_fonts

SIDE_PT = 0.5 * inch
HEAD_PT, FOOT_PT = 0.45 * inch, 0.4 * inch
GREY = colors.Color(0.93, 0.93, 0.93)

BODY = ParagraphStyle("body", fontName=REGULAR, fontSize=8, leading=10)
SMALL = ParagraphStyle("small", fontName=REGULAR, fontSize=6.5, leading=8)
HEAD = ParagraphStyle("head", fontName=BOLD, fontSize=13, leading=16, spaceAfter=2)
PART = ParagraphStyle("part", fontName=BOLD, fontSize=9, leading=11, spaceBefore=6, spaceAfter=2, keepWithNext=1)


def words(text: str, style: ParagraphStyle = BODY) -> Paragraph:
    """A paragraph of plain text."""
    register_fonts()
    return Paragraph(escape(text), style)


def strong(text: str, rest: str = "", style: ParagraphStyle = BODY) -> Paragraph:
    """A paragraph that begins in bold."""
    register_fonts()
    return Paragraph(f"<b>{escape(text)}</b>{escape(rest)}", style)


class TickBox(Flowable):
    """An empty square to be ticked with a pencil."""

    def __init__(self, side_pt: float = 11.0) -> None:
        super().__init__()
        self.width = self.height = side_pt

    def draw(self) -> None:
        """Draw the square."""
        self.canv.setLineWidth(0.8)
        self.canv.rect(0, 0, self.width, self.height)


def ruled_table(rows: Sequence[Sequence], widths_pt: Sequence[float], repeat_head: bool = True) -> Table:
    """A table with thin rules, its first row a head on light grey that every page repeats."""
    table = Table(list(rows), colWidths=list(widths_pt), repeatRows=1 if repeat_head else 0)
    table.setStyle(
        TableStyle([
            ("GRID", (0, 0), (-1, -1), 0.4, colors.black), ("VALIGN", (0, 0), (-1, -1), "TOP"),
            ("BACKGROUND", (0, 0), (-1, 0), GREY), ("LEFTPADDING", (0, 0), (-1, -1), 3),
            ("RIGHTPADDING", (0, 0), (-1, -1), 3), ("TOPPADDING", (0, 0), (-1, -1), 2),
            ("BOTTOMPADDING", (0, 0), (-1, -1), 2),
        ])
    )  # fmt: skip
    return table


def flowed_pdf(
    story: list[Flowable],
    size_pt: tuple[float, float],
    title: str,
    foot: str,
    head: Callable[[], str] = lambda: "",
    numbered: bool = True,
) -> bytes:
    """A PDF of flowing parts with a foot and, unless it is bound into another, a page number on every page."""
    register_fonts()
    out = io.BytesIO()

    def around(canvas: Canvas, _doc) -> None:
        canvas.setFillGray(0)
        canvas.setFont(REGULAR, 7)
        canvas.drawString(SIDE_PT, FOOT_PT - 12, foot)
        if numbered:
            canvas.drawRightString(size_pt[0] - SIDE_PT, FOOT_PT - 12, f"page {canvas.getPageNumber()}")
        if head():
            canvas.drawString(SIDE_PT, size_pt[1] - HEAD_PT + 6, head())

    document = BaseDocTemplate(out, pagesize=size_pt, title=title, invariant=1, leftMargin=SIDE_PT,
                               rightMargin=SIDE_PT, topMargin=HEAD_PT, bottomMargin=FOOT_PT)  # fmt: skip
    frame = Frame(SIDE_PT, FOOT_PT, size_pt[0] - 2 * SIDE_PT, size_pt[1] - HEAD_PT - FOOT_PT, 0, 0, 0, 0)
    document.addPageTemplates([PageTemplate(frames=[frame], onPage=around)])
    document.build(story)
    return out.getvalue()
