"""Paper for lists: sizes, embedded fonts that come with the PDF library, words broken into lines."""

from __future__ import annotations

import io
from collections.abc import Callable
from functools import cache

from reportlab import rl_config
from reportlab.lib.units import inch, mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas

# A door card is half a letter sheet; sizes in points.
PAPERS_PT = {
    "card": (5.5 * inch, 8.5 * inch),
    "letter": (8.5 * inch, 11 * inch),
    "a5": (148 * mm, 210 * mm),
    "a4": (210 * mm, 297 * mm),
}
MARGIN_PT = 0.3 * inch  # what common printers leave blank, no source
REGULAR, BOLD = "Vera", "VeraBd"
# Pictures and pages go into the file as they are: written as text they take a fifth more room and most of the time.
rl_config.useA85 = 0
PROVE = "A label is not proof. Prove dead with a contact tester before touching any conductor."


@cache
def register_fonts() -> None:
    """Make the fonts known that are embedded, so that a sheet looks the same in twenty years."""
    for name in (REGULAR, BOLD):
        pdfmetrics.registerFont(TTFont(name, f"{name}.ttf"))
    pdfmetrics.registerFontFamily(REGULAR, normal=REGULAR, bold=BOLD, italic=REGULAR, boldItalic=BOLD)


def pdf_of(draw: Callable[[Canvas], None], size_pt: tuple[float, float], title: str) -> bytes:
    """A PDF drawn by a function; the same content gives the same bytes."""
    register_fonts()
    out = io.BytesIO()
    canvas = Canvas(out, pagesize=size_pt, pageCompression=1, invariant=1)
    canvas.setTitle(title)
    draw(canvas)
    canvas.save()
    return out.getvalue()


def wrapped(text: str, width_pt: float, size_pt: float, font: str = REGULAR) -> list[str]:
    """A text in lines no wider than ``width_pt``; a word too long for a line is broken."""
    register_fonts()
    lines: list[str] = []
    for word in text.split():
        candidate = f"{lines[-1]} {word}" if lines else word
        if lines and stringWidth(candidate, font, size_pt) <= width_pt:
            lines[-1] = candidate
            continue
        while stringWidth(word, font, size_pt) > width_pt and len(word) > 1:
            cut = next(n for n in range(len(word) - 1, 0, -1) if n == 1 or fits(word[:n], width_pt, size_pt, font))
            lines.append(word[:cut])
            word = word[cut:]
        lines.append(word)
    return lines


def fits(text: str, width_pt: float, size_pt: float, font: str = REGULAR) -> bool:
    """Whether a text is no wider than ``width_pt``."""
    return stringWidth(text, font, size_pt) <= width_pt


def set_lines(
    canvas: Canvas, x_pt: float, top_pt: float, lines: list[str], size_pt: float, font: str = REGULAR
) -> float:
    """Write lines downward from ``top_pt`` and give the height under the last one."""
    canvas.setFont(font, size_pt)
    for line in lines:
        top_pt -= 1.2 * size_pt
        canvas.drawString(x_pt, top_pt + 0.25 * size_pt, line)
    return top_pt
