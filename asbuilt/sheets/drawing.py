"""What a drawing is made of: a few shapes in metres, each drawn with a named pen.

x is the offset along the face from its left end, y the height above the datum, up. A
drawing knows nothing of files or screens; the writers (``svg`` and its neighbours) turn
it into one.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

Point = tuple[float, float]  # (offset_m, height_m)


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """A straight line [m]."""

    start_m: Point
    end_m: Point
    pen: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Strokes:
    """Many separate straight lines of one pen: hatching, ruler marks [m]."""

    segments_m: tuple[tuple[Point, Point], ...]
    pen: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Polyline:
    """A line through points, closed to an area if asked [m]."""

    points_m: tuple[Point, ...]
    pen: str
    closed: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Region:
    """An area bounded by rings, holes counted out by the even-odd rule [m]."""

    rings_m: tuple[tuple[Point, ...], ...]
    pen: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Rect:
    """An upright rectangle, its corners rounded by ``round_m`` [m]."""

    left_m: float
    bottom_m: float
    width_m: float
    height_m: float
    pen: str
    round_m: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Circle:
    """A circle [m]."""

    center_m: Point
    radius_m: float
    pen: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Text:
    """A line of text; ``size_m`` is its em, ``anchor`` start, middle or end.

    ``at_m`` lies on the baseline; ``turn_rad`` turns it counter-clockwise.
    """

    at_m: Point
    text: str
    size_m: float
    pen: str = "text"
    anchor: str = "start"
    turn_rad: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Raster:
    """A picture stretched over an upright rectangle; ``source`` is an address or a data URI."""

    left_m: float
    bottom_m: float
    width_m: float
    height_m: float
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Parts that belong together: a layer, or one thing (``key`` is its id, ``title`` its name).

    ``anchor_m`` marks words: a viewer that goes closer may keep them at one size about it.
    """

    parts: tuple[Part, ...]
    layer: str = ""
    key: str = ""
    title: str = ""
    anchor_m: Point | None = None


Part = Line | Strokes | Polyline | Region | Rect | Circle | Text | Raster | Group


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawing:
    """A sheet: its extent in metres, a title for readers who cannot see it, and its parts."""

    left_m: float
    bottom_m: float
    right_m: float
    top_m: float
    title: str
    description: str = ""
    parts: tuple[Part, ...] = field(default=())

    @property
    def width_m(self) -> float:
        """Extent from left to right [m]."""
        return self.right_m - self.left_m

    @property
    def height_m(self) -> float:
        """Extent from bottom to top [m]."""
        return self.top_m - self.bottom_m

    def layers(self) -> list[str]:
        """Names of the layers, in drawing order, each once."""
        return list(dict.fromkeys(p.layer for p in walk(self.parts) if isinstance(p, Group) and p.layer))


def walk(parts: tuple[Part, ...]) -> Iterator[Part]:
    """Every part, groups before what is in them."""
    for part in parts:
        yield part
        if isinstance(part, Group):
            yield from walk(part.parts)
