"""A drawing as SVG: one user unit is one millimetre of wall, y down from the top of the sheet.

Only presentation attributes are used, so the text needs no style sheet, works alone in a
file and passes a strict content-security policy when put into a page.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from xml.sax.saxutils import escape, quoteattr

from asbuilt.sheets.drawing import (
    Circle,
    Drawing,
    Group,
    Line,
    Part,
    Point,
    Polyline,
    Raster,
    Rect,
    Region,
    Strokes,
    Text,
)
from asbuilt.sheets.pens import PAPER, PENS, Pen

PX_PER_MM = 96 / 25.4  # CSS pixels, exact by definition
FONT = "system-ui, 'Segoe UI', Roboto, 'DejaVu Sans', sans-serif"


def svg(drawing: Drawing, scale: float | None = None, svg_id: str = "") -> str:
    """Write a drawing as an SVG text.

    Parameters
    ----------
    drawing : Drawing
    scale : float, optional
        20 prints at 1:20. Without it the size is left to the page that shows it.
    svg_id : str
        Value of the ``id`` attribute.

    Returns
    -------
    str
        One ``svg`` element with its title and description.
    """
    writer = _Writer(drawing)
    size = ""
    if scale is not None:
        size = f' width="{_num(drawing.width_m * 1000 / scale)}mm" height="{_num(drawing.height_m * 1000 / scale)}mm"'
    ident = f" id={quoteattr(svg_id)}" if svg_id else ""
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg"{ident} role="img" '
        f'viewBox="0 0 {_num(drawing.width_m * 1000)} {_num(drawing.height_m * 1000)}"{size} '
        f'data-left-mm="{_num(drawing.left_m * 1000)}" data-top-mm="{_num(drawing.top_m * 1000)}" '
        f"font-family={quoteattr(FONT)}>"
    )
    words = f"<title>{escape(drawing.title)}</title>"
    if drawing.description:
        words += f"<desc>{escape(drawing.description)}</desc>"
    return head + words + "".join(writer.write(drawing.parts)) + "</svg>"


def _num(value: float) -> str:
    """A tenth of a millimetre is finer than any line here."""
    text = f"{value:.1f}"
    return text[:-2] if text.endswith(".0") else text


def _name(pen: str) -> str:
    """The pen as a class, for pages that show a drawing over something else."""
    return f' class="pen-{pen.replace(" ", "-")}"'


def _stroke(pen: Pen) -> str:
    if pen.stroke is None:
        return ""
    dash = ""
    if pen.dash_mm:
        dash = f' stroke-dasharray="{" ".join(_num(d * PX_PER_MM) for d in pen.dash_mm)}"'
    width = f"{pen.width_mm * PX_PER_MM:.2f}"
    return f' stroke="{pen.stroke}" stroke-width="{width}"{dash} vector-effect="non-scaling-stroke"'


def _fill(pen: Pen) -> str:
    if pen.fill is None:
        return ' fill="none"'
    share = "" if pen.fill_share >= 1 else f' fill-opacity="{pen.fill_share}"'
    return f' fill="{pen.fill}"{share}'


class _Writer:
    """Turns metres of wall into the millimetres of one sheet."""

    def __init__(self, drawing: Drawing) -> None:
        self.left_m, self.top_m = drawing.left_m, drawing.top_m
        self.by_type: dict[type, Callable[..., str]] = {
            Line: self.line, Strokes: self.strokes, Polyline: self.polyline, Region: self.region,
            Rect: self.rect, Circle: self.circle, Text: self.text, Raster: self.raster, Group: self.group,
        }  # fmt: skip

    def write(self, parts: Iterable[Part]) -> Iterable[str]:
        return (self.by_type[type(part)](part) for part in parts)

    def xy(self, point_m: Point) -> tuple[str, str]:
        """Sheet coordinates from wall coordinates."""
        return _num((point_m[0] - self.left_m) * 1000), _num((self.top_m - point_m[1]) * 1000)

    def path(self, points_m: Iterable[Point], closed: bool) -> str:
        words = [f"{x} {y}" for x, y in map(self.xy, points_m)]
        return f"M{words[0]}L{' '.join(words[1:])}" + ("Z" if closed else "")

    def line(self, part: Line) -> str:
        return self.strokes(Strokes(segments_m=((part.start_m, part.end_m),), pen=part.pen))

    def strokes(self, part: Strokes) -> str:
        path = "".join(self.path(segment, False) for segment in part.segments_m)
        return f'<path{_name(part.pen)} d="{path}" fill="none"{_stroke(PENS[part.pen])}/>' if path else ""

    def polyline(self, part: Polyline) -> str:
        pen = PENS[part.pen]
        fill = _fill(pen) if part.closed else ' fill="none"'
        joins = ' stroke-linejoin="round" stroke-linecap="round"' if not pen.dash_mm else ""
        return f'<path{_name(part.pen)} d="{self.path(part.points_m, part.closed)}"{fill}{_stroke(pen)}{joins}/>'

    def region(self, part: Region) -> str:
        pen = PENS[part.pen]
        path = "".join(self.path(ring, True) for ring in part.rings_m)
        return f'<path{_name(part.pen)} d="{path}" fill-rule="evenodd"{_fill(pen)}{_stroke(pen)}/>' if path else ""

    def rect(self, part: Rect) -> str:
        pen = PENS[part.pen]
        x, y = self.xy((part.left_m, part.bottom_m + part.height_m))
        rounded = f' rx="{_num(part.round_m * 1000)}"' if part.round_m else ""
        size = f'width="{_num(part.width_m * 1000)}" height="{_num(part.height_m * 1000)}"'
        return f'<rect{_name(part.pen)} x="{x}" y="{y}" {size}{rounded}{_fill(pen)}{_stroke(pen)}/>'

    def circle(self, part: Circle) -> str:
        pen = PENS[part.pen]
        x, y = self.xy(part.center_m)
        return f'<circle cx="{x}" cy="{y}" r="{_num(part.radius_m * 1000)}"{_fill(pen)}{_stroke(pen)}/>'

    def text(self, part: Text) -> str:
        pen = PENS[part.pen]
        x, y = self.xy(part.at_m)
        turn = f' transform="rotate({_num(-math.degrees(part.turn_rad))} {x} {y})"' if part.turn_rad else ""
        anchor = "" if part.anchor == "start" else f' text-anchor="{part.anchor}"'
        bold = ' font-weight="700"' if pen.bold else ""
        halo = ""
        if pen.halo:
            halo = (
                f' stroke="{PAPER}" stroke-width="{_num(part.size_m * 220)}" stroke-linejoin="round" '
                'paint-order="stroke"'
            )
        size = _num(part.size_m * 1000)
        return (
            f'<text x="{x}" y="{y}" font-size="{size}"{anchor}{bold}{_fill(pen)}{halo}{turn}>{escape(part.text)}</text>'
        )

    def raster(self, part: Raster) -> str:
        x, y = self.xy((part.left_m, part.bottom_m + part.height_m))
        size = f'width="{_num(part.width_m * 1000)}" height="{_num(part.height_m * 1000)}"'
        return f'<image x="{x}" y="{y}" {size} preserveAspectRatio="none" href={quoteattr(part.source)}/>'

    def group(self, part: Group) -> str:
        inner = "".join(self.write(part.parts))
        if not inner:
            return ""
        layer = f" data-layer={quoteattr(part.layer)}" if part.layer else ""
        key = f" data-key={quoteattr(part.key)}" if part.key else ""
        at = "" if part.anchor_m is None else f' data-at="{" ".join(self.xy(part.anchor_m))}"'
        title = f"<title>{escape(part.title)}</title>" if part.title else ""
        return f"<g{layer}{key}{at}>{title}{inner}</g>"
