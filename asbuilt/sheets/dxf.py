"""A drawing as DXF at full size, for any CAD program: layers by discipline, one unit per millimetre or inch.

x is the offset from the left end of the face, y the height. Everything that belongs to one
thing carries its id and name as extended data of the application ASBUILT.
"""

from __future__ import annotations

import io
import math
from collections.abc import Callable, Iterable

import ezdxf
from ezdxf import units
from ezdxf.colors import RGB
from ezdxf.document import Drawing as DxfDocument
from ezdxf.enums import TextEntityAlignment
from ezdxf.layouts import Modelspace

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
from asbuilt.sheets.pens import PENS

APP = "ASBUILT"
# Layer of a drawing -> discipline, major group (two to four letters each), colour number, what it holds.
LAYERS = {
    "power": ("E-POWR", 5, "power wiring and boxes"),
    "low voltage": ("E-COMM", 6, "low voltage and data"),
    "plumbing": ("P-PIPE", 3, "water, waste and gas"),
    "special": ("F-SPCL", 1, "sprinkler, radiant, tendons, shear panels"),
    "other": ("M-OTHR", 8, "other things"),
    "far side": ("A-FARS", 9, "things of the wall's other face"),
    "studs": ("A-WALL-STUD", 32, "framing"),
    "openings": ("A-WALL-OPNG", 7, "doors, windows and other openings"),
    "outline": ("A-WALL-FULL", 7, "the face"),
    "ground": ("A-WALL-FULL", 7, "the face"),
    "coverage": ("A-ANNO-NREC", 8, "what the pictures do not show: not recorded, not empty"),
    "markers": ("A-ANNO-MARK", 8, "marker sheets"),
    "heights": ("A-ANNO-DIMS", 8, "heights and tape"),
    "tape": ("A-ANNO-DIMS", 8, "heights and tape"),
    "bays": ("A-ANNO-NUMB", 8, "bay numbers"),
    "title block": ("A-ANNO-TTLB", 7, "title and legend"),
}
OTHER = ("A-ANNO", 8, "notes")
# Pens that mean something of their own go onto layers beside those of their things.
PEN_LAYERS = {
    "band": ("ERRB", "where it may be, at 95 %"),
    "band unsure": ("ERRB", "where it may be, at 95 %"),
    "run unsure": ("UNSN", "courses that were not seen"),
}
ON_SCREEN_ONLY = ("run core",)  # the white inside of a line that is drawn as two
DASHED = "DASHED"
ALIGN = {"start": TextEntityAlignment.LEFT, "middle": TextEntityAlignment.CENTER, "end": TextEntityAlignment.RIGHT}
LETTER_SHARE = 0.72  # height of a capital to the em


def dxf(drawing: Drawing, unit: str) -> bytes:
    """Write a drawing as DXF (AutoCAD 2010), at full size.

    Parameters
    ----------
    drawing : Drawing
    unit : str
        in or ft: drawn in inches; mm or m: in millimetres.
    """
    document = new_document(unit)
    _Writer(document, per_m(unit)).write(drawing.parts, OTHER, None)
    return saved(document)


def new_document(unit: str) -> DxfDocument:
    """An empty DXF document in inches or millimetres."""
    document = ezdxf.new("R2010", setup=True)
    document.units = units.IN if unit in ("in", "ft") else units.MM
    document.header["$MEASUREMENT"] = 0 if unit in ("in", "ft") else 1
    document.appids.add(APP)
    return document


def per_m(unit: str) -> float:
    """Drawing units in a metre."""
    return 1 / 0.0254 if unit in ("in", "ft") else 1000.0


def saved(document: DxfDocument) -> bytes:
    """A DXF document as bytes."""
    out = io.StringIO()
    document.write(out)
    return out.getvalue().encode("utf-8")


def use_layer(document: DxfDocument, name: str, color: int, text: str) -> str:
    """The layer of that name, made where it is not there yet."""
    if name not in document.layers:
        layer = document.layers.add(name, color=color)
        layer.description = text
    return name


def label(entity, thing_id: str, title: str) -> None:
    """Say which thing an entity belongs to."""
    entity.set_xdata(APP, [(1000, f"id={thing_id}"[:255]), (1000, f"name={title}"[:255])])


class _Writer:
    def __init__(self, document: DxfDocument, scale: float) -> None:
        self.document, self.scale = document, scale
        self.space: Modelspace = document.modelspace()
        self.by_type: dict[type, Callable] = {
            Line: self.line, Strokes: self.strokes, Polyline: self.polyline, Region: self.region,
            Rect: self.rect, Circle: self.circle, Text: self.text, Raster: self.nothing,
        }  # fmt: skip

    def write(self, parts: Iterable[Part], layer: tuple[str, int, str], thing: tuple[str, str] | None) -> None:
        for part in parts:
            if isinstance(part, Group):
                inner = LAYERS.get(part.layer, layer) if part.layer else layer
                self.write(part.parts, inner, (part.key, part.title) if part.key else thing)
                continue
            if getattr(part, "pen", "") in ON_SCREEN_ONLY:
                continue
            attributes = self.attributes(part, layer)
            for entity in self.by_type[type(part)](part, attributes):
                if thing is not None:
                    label(entity, *thing)

    def attributes(self, part: Part, layer: tuple[str, int, str]) -> dict:
        """Layer and line type of a part."""
        name, color, text = layer
        pen = getattr(part, "pen", "")
        if pen in PEN_LAYERS:
            ending, text = PEN_LAYERS[pen]
            name = f"{'-'.join(name.split('-')[:2])}-{ending}"
        found = {"layer": use_layer(self.document, name, color, text)}
        if pen and PENS[pen].dash_mm and not isinstance(part, Text):
            found["linetype"] = DASHED
        return found

    def xy(self, point_m: Point) -> tuple[float, float]:
        return point_m[0] * self.scale, point_m[1] * self.scale

    def nothing(self, _part, _attributes: dict):
        return []

    def line(self, part: Line, attributes: dict):
        yield self.space.add_line(self.xy(part.start_m), self.xy(part.end_m), attributes)

    def strokes(self, part: Strokes, attributes: dict):
        for a, b in part.segments_m:
            yield self.space.add_line(self.xy(a), self.xy(b), attributes)

    def polyline(self, part: Polyline, attributes: dict):
        yield self.space.add_lwpolyline([self.xy(p) for p in part.points_m], close=part.closed, dxfattribs=attributes)

    def region(self, part: Region, attributes: dict):
        pen = PENS[part.pen]
        rings = [[self.xy(p) for p in ring] for ring in part.rings_m]
        if pen.fill is None:
            for ring in rings:
                yield self.space.add_lwpolyline(ring, close=True, dxfattribs=attributes)
        elif rings:
            hatch = self.space.add_hatch(dxfattribs=attributes | {"hatch_style": 0})
            hatch.rgb = RGB.from_hex(pen.fill)
            hatch.transparency = 1 - pen.fill_share
            for ring in rings:
                hatch.paths.add_polyline_path(ring, is_closed=True)
            yield hatch

    def rect(self, part: Rect, attributes: dict):
        left, bottom = self.xy((part.left_m, part.bottom_m))
        right, top = self.xy((part.left_m + part.width_m, part.bottom_m + part.height_m))
        corners = [(left, bottom), (right, bottom), (right, top), (left, top)]
        yield self.space.add_lwpolyline(corners, close=True, dxfattribs=attributes)

    def circle(self, part: Circle, attributes: dict):
        yield self.space.add_circle(self.xy(part.center_m), part.radius_m * self.scale, attributes)

    def text(self, part: Text, attributes: dict):
        attributes = attributes | {"rotation": math.degrees(part.turn_rad)}
        height = LETTER_SHARE * part.size_m * self.scale
        entity = self.space.add_text(part.text, height=height, dxfattribs=attributes)
        entity.set_placement(self.xy(part.at_m), align=ALIGN[part.anchor])
        yield entity
