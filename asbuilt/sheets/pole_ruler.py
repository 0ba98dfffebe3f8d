"""A tape along a strip of paper at true scale, and the ruler that tells whether it was printed so."""

from __future__ import annotations

import math

from reportlab.lib.units import inch, mm
from reportlab.pdfgen.canvas import Canvas

from asbuilt.sheets.paper import BOLD, REGULAR

PT_PER_M = 1000 * mm


def tape(canvas: Canvas, left_pt: float, top_pt: float, left_m: float, right_m: float, unit: str) -> None:
    """Graduations downward from ``top_pt``: eighths of an inch, or every 5 mm; zero is the datum end."""
    metric = unit in ("mm", "m")
    step_m, long, middle = (0.005, 20, 2) if metric else (0.0254 / 8, 8, 4)
    canvas.setStrokeGray(0)
    canvas.setFillGray(0)
    canvas.setLineWidth(0.4)
    right_pt = left_pt + (right_m - left_m) * PT_PER_M
    for n in range(math.ceil(left_m / step_m - 1e-9), math.floor(right_m / step_m + 1e-9) + 1):
        x_pt = left_pt + (n * step_m - left_m) * PT_PER_M
        length_pt = 13 if n % long == 0 else 8 if n % middle == 0 else 5
        canvas.line(x_pt, top_pt, x_pt, top_pt - length_pt)
        if n % long == 0 and x_pt < right_pt - 20:
            words, bold = _metric(n * 5) if metric else _imperial(n // 8)
            canvas.setFont(BOLD if bold else REGULAR, 7)
            canvas.drawString(x_pt + 1.5, top_pt - 13, words)


def _metric(value_mm: int) -> tuple[str, bool]:
    return str(value_mm), value_mm % 1000 == 0


def _imperial(inches: int) -> tuple[str, bool]:
    feet, rest = divmod(inches, 12)
    return (f"{feet} ft", True) if rest == 0 else (str(rest), False)


def check_ruler(canvas: Canvas, left_pt: float, y_pt: float) -> None:
    """Six inches upward of one line, 150 mm downward of it."""
    canvas.setStrokeGray(0)
    canvas.setFillGray(0)
    canvas.setLineWidth(0.5)
    canvas.setFont(REGULAR, 6.5)
    canvas.line(left_pt, y_pt, left_pt + 6 * inch, y_pt)
    for n in range(25):
        x_pt = left_pt + n / 4 * inch
        canvas.line(x_pt, y_pt, x_pt, y_pt + (10 if n % 4 == 0 else 5))
        if n % 4 == 0:
            canvas.drawString(x_pt + 2, y_pt + 5, f"{n // 4} in" if n in (0, 24) else str(n // 4))
    for n in range(16):
        x_pt = left_pt + 10 * n * mm
        canvas.line(x_pt, y_pt, x_pt, y_pt - (10 if n % 5 == 0 else 5))
        if n % 5 == 0:
            canvas.drawString(x_pt + 2, y_pt - 10, f"{10 * n} mm" if n in (0, 15) else str(10 * n))
