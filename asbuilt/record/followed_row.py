"""The row of one sighting that was found again, or not, in other placed pictures."""

from __future__ import annotations

from dataclasses import dataclass, field

from asbuilt.record.field_checks import finite


@dataclass(frozen=True, slots=True, kw_only=True)
class Followed:
    """A sighting of a tube: its middle line under the click, and its pixels in other pictures.

    Worked out anew when the sighting is moved (``click_px``) or pictures are placed anew
    (``solution_id``). ``along`` is the tube's unit direction; without one no tube was found
    under the click. ``pictures`` are, by picture id, [x, y, along x, along y].
    """

    id: str  # the sighting's
    solution_id: str
    click_px: tuple[float, ...]
    x_px: float
    y_px: float
    along: tuple[float, ...] = ()
    pictures: dict = field(default_factory=dict)

    def __post_init__(self) -> None:
        finite(self, "x_px", "y_px")
