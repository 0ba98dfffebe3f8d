"""A drawing on a PDF page at a stated scale: line widths in millimetres of paper, shapes in metres of wall."""

from __future__ import annotations

import io
import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass

from reportlab.lib.colors import HexColor
from reportlab.lib.units import mm
from reportlab.lib.utils import ImageReader
from reportlab.pdfgen.canvas import FILL_EVEN_ODD, Canvas
from reportlab.platypus import Flowable

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
from asbuilt.sheets.labels import text_width_m
from asbuilt.sheets.paper import BOLD, REGULAR, register_fonts
from asbuilt.sheets.pens import PAPER, PENS, Pen

PT_PER_M = 1000 * mm
LEAST_SQUEEZE = 0.8
LEAST_TEXT_PT = 4.5  # smaller print is no longer read from paper (common practice, no source)


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """1 of paper to ``denominator`` of wall, and how it is said."""

    denominator: int
    words: str


# The scales on an architect's rule, and the metric ones, the largest first.
_PER_FOOT = {12: "1", 16: "3/4", 24: "1/2", 32: "3/8", 48: "1/4", 64: "3/16", 96: "1/8", 192: "1/16"}
INCH_SCALES = tuple(Scale(denominator=n, words=f"{text} in = 1 ft (1:{n})") for n, text in _PER_FOOT.items())
METRIC_SCALES = tuple(Scale(denominator=n, words=f"1:{n}") for n in (10, 20, 25, 50, 100, 200))


def scale_for(width_m: float, height_m: float, width_pt: float, height_pt: float, unit: str) -> Scale:
    """The largest usual scale at which an extent fits an area of the page."""
    scales = INCH_SCALES if unit in ("in", "ft") else METRIC_SCALES
    needed = max(width_m * PT_PER_M / width_pt, height_m * PT_PER_M / height_pt)
    return next((s for s in scales if s.denominator >= needed), scales[-1])


class DrawingFlowable(Flowable):
    """A drawing among the text of a page, at a scale."""

    def __init__(self, drawing: Drawing, denominator: float) -> None:
        super().__init__()
        self.drawing, self.denominator = drawing, denominator
        self.width = drawing.width_m * PT_PER_M / denominator
        self.height = drawing.height_m * PT_PER_M / denominator

    def draw(self) -> None:
        """Draw it with its lower left corner here."""
        draw_drawing(self.canv, self.drawing, 0.0, 0.0, self.denominator)


def draw_drawing(canvas: Canvas, drawing: Drawing, left_pt: float, bottom_pt: float, denominator: float) -> None:
    """Draw onto a page, the drawing's lower left corner at a place [pt].

    A Raster is drawn where its source is the path of a file, and left out otherwise.
    """
    register_fonts()
    canvas.saveState()
    canvas.translate(left_pt, bottom_pt)
    path = canvas.beginPath()
    path.rect(0, 0, drawing.width_m * PT_PER_M / denominator, drawing.height_m * PT_PER_M / denominator)
    canvas.clipPath(path, stroke=0, fill=0)
    _Writer(canvas, drawing, PT_PER_M / denominator).write(drawing.parts)
    canvas.restoreState()


class _Writer:
    def __init__(self, canvas: Canvas, drawing: Drawing, pt_per_m: float) -> None:
        self.canvas, self.scale = canvas, pt_per_m
        self.left_m, self.bottom_m = drawing.left_m, drawing.bottom_m
        self.by_type: dict[type, Callable[..., None]] = {
            Line: self.line, Strokes: self.strokes, Polyline: self.polyline, Region: self.region,
            Rect: self.rect, Circle: self.circle, Text: self.text, Raster: self.raster, Group: self.group,
        }  # fmt: skip

    def write(self, parts: Iterable[Part]) -> None:
        for part in parts:
            self.by_type[type(part)](part)

    def xy(self, point_m: Point) -> tuple[float, float]:
        """Place on the page [pt] of a place on the wall."""
        return (point_m[0] - self.left_m) * self.scale, (point_m[1] - self.bottom_m) * self.scale

    def use(self, pen: Pen) -> dict[str, int]:
        """Set a pen; which of stroke and fill it does."""
        if pen.stroke is not None:
            self.canvas.setStrokeColor(HexColor(pen.stroke))
            self.canvas.setStrokeAlpha(1)
            self.canvas.setLineWidth(pen.width_mm * mm)
            self.canvas.setDash([d * mm for d in pen.dash_mm])
        if pen.fill is not None:
            self.canvas.setFillColor(HexColor(pen.fill))
            self.canvas.setFillAlpha(pen.fill_share)
        return {"stroke": int(pen.stroke is not None), "fill": int(pen.fill is not None)}

    def line(self, part: Line) -> None:
        self.strokes(Strokes(segments_m=((part.start_m, part.end_m),), pen=part.pen))

    def strokes(self, part: Strokes) -> None:
        self.use(PENS[part.pen])
        self.canvas.lines([(*self.xy(a), *self.xy(b)) for a, b in part.segments_m])

    def path(self, rings_m: Iterable[Iterable[Point]], closed: bool):
        path = self.canvas.beginPath()
        for ring in rings_m:
            first, *rest = [self.xy(p) for p in ring]
            path.moveTo(*first)
            for point in rest:
                path.lineTo(*point)
            if closed:
                path.close()
        return path

    def polyline(self, part: Polyline) -> None:
        does = self.use(PENS[part.pen])
        self.canvas.setLineJoin(1)
        self.canvas.setLineCap(0 if PENS[part.pen].dash_mm else 1)
        fill = does["fill"] if part.closed else 0
        self.canvas.drawPath(self.path([part.points_m], part.closed), stroke=does["stroke"], fill=fill)
        self.canvas.setLineJoin(0)
        self.canvas.setLineCap(0)

    def region(self, part: Region) -> None:
        if part.rings_m:
            does = self.use(PENS[part.pen])
            self.canvas.drawPath(self.path(part.rings_m, True), **does, fillMode=FILL_EVEN_ODD)

    def rect(self, part: Rect) -> None:
        does = self.use(PENS[part.pen])
        x, y = self.xy((part.left_m, part.bottom_m))
        width, height = part.width_m * self.scale, part.height_m * self.scale
        if part.round_m:
            self.canvas.roundRect(x, y, width, height, part.round_m * self.scale, **does)
        else:
            self.canvas.rect(x, y, width, height, **does)

    def circle(self, part: Circle) -> None:
        self.canvas.circle(*self.xy(part.center_m), part.radius_m * self.scale, **self.use(PENS[part.pen]))

    def text(self, part: Text) -> None:
        pen, size_pt = PENS[part.pen], max(part.size_m * self.scale, LEAST_TEXT_PT)
        self.canvas.saveState()
        self.canvas.translate(*self.xy(part.at_m))
        self.canvas.rotate(math.degrees(part.turn_rad))
        if pen.halo:
            self._letters(part, pen, size_pt, rim=True)
        self._letters(part, pen, size_pt, rim=False)
        self.canvas.restoreState()

    def _letters(self, part: Text, pen: Pen, size_pt: float, rim: bool) -> None:
        canvas, font = self.canvas, BOLD if pen.bold else REGULAR
        canvas.setDash()
        canvas.setFillAlpha(1)
        canvas.setFillColor(HexColor(pen.fill or PAPER))
        canvas.setStrokeColor(HexColor(PAPER))
        canvas.setLineWidth(0.22 * size_pt)
        canvas.setLineJoin(1)
        width = canvas.stringWidth(part.text, font, size_pt)
        # The drawing left this much room, reckoned for a narrower font.
        room = text_width_m(part.text, size_pt / self.scale) * self.scale
        squeeze = min(1.0, max(room / width, LEAST_SQUEEZE)) if width else 1.0
        width *= squeeze
        letters = canvas.beginText({"start": 0.0, "middle": -width / 2, "end": -width}[part.anchor], 0)
        letters.setFont(font, size_pt)
        letters.setHorizScale(100 * squeeze)
        letters.setTextRenderMode(1 if rim else 0)  # the rim lies under the letters, not on them
        letters.textOut(part.text)
        letters.setTextRenderMode(0)
        canvas.drawText(letters)
        canvas.setLineJoin(0)

    def raster(self, part: Raster) -> None:
        if part.source.startswith("data:") or "://" in part.source:
            return
        x, y = self.xy((part.left_m, part.bottom_m))
        size = {"width": part.width_m * self.scale, "height": part.height_m * self.scale}
        with open(part.source, "rb") as stream:
            self.canvas.drawImage(ImageReader(io.BytesIO(stream.read())), x, y, **size)

    def group(self, part: Group) -> None:
        self.write(part.parts)
