"""Conductors: what a cable's words say, and the published figures of a size."""

from __future__ import annotations

import re
from dataclasses import dataclass

from asbuilt.record.tables import table

COPPER, ALUMINUM = "copper", "aluminum"
_COLOURS = ("white", "yellow", "orange", "black", "grey", "gray", "blue", "red", "green")
_AWG = re.compile(
    r"(?<![\d./])#?(\d{1,2}) ?[/-] ?([1-9])(?![\d.]| ?(?:in\b|inch|\"))"
    r"|(?<![\d./])#(\d{1,2})\b|(?<![\d./])(\d{1,2}) ?awg"
)
_SIZES = (18, 16, 14, 12, 10, 8, 6, 4, 3, 2, 1)
_MM2 = re.compile(r"(\d+(?:\.\d+)?) ?(?:mm2|mm\u00b2|sq\.? ?mm)")


@dataclass(frozen=True, slots=True, kw_only=True)
class Conductors:
    """What a cable's words say of its conductors.

    ``count`` leaves the equipment ground out: 12/2 has two. None where the words do not say.
    """

    awg: int | None = None
    area_mm2: float | None = None
    count: int | None = None
    material: str = COPPER
    colour: str = ""

    @property
    def size(self) -> str:
        """The size as people say it."""
        return f"{self.awg} AWG" if self.awg is not None else f"{self.area_mm2:g} mm2"


def conductors(words: str) -> Conductors | None:
    """Read ``12/2 NM-B yellow``, ``6 AWG black``, ``#10``, ``10-3 Al``, ``2.5 mm2``; None if no size is in it."""
    text = words.lower()
    colour = next((c for c in _COLOURS if re.search(rf"\b{c}\b", text)), "")
    material = ALUMINUM if re.search(r"\b(al|aluminum|aluminium)\b", text) else COPPER
    if area := _MM2.search(text):
        return Conductors(area_mm2=float(area[1]), material=material, colour=colour)
    found = _AWG.search(text)
    awg = next((int(part) for part in (found[1], found[3], found[4]) if part), 0) if found else 0
    if awg not in _SIZES:
        return None
    return Conductors(awg=awg, count=int(found[2]) if found[2] else None, material=material, colour=colour)


def figures(awg: int) -> dict[str, float | None] | None:
    """Published figures of a copper size (Table 310.16, Chapter 9 Tables 8 and 9), or None."""
    return next((row for row in table("conductors_nec2020") if row["awg"] == awg), None)


def ampacity(wire: Conductors) -> float | None:
    """Ampacity of the 60 C column, which is NM cable's; None where no figure is at hand [A]."""
    if wire.awg is None or wire.material != COPPER:
        return None
    row = figures(wire.awg)
    return row["amps_60c"] if row else None


def largest_breaker(wire: Conductors) -> float | None:
    """The figure of 240.4(D) for small conductors, or None for larger ones and unknown sizes [A]."""
    row = next((r for r in table("small_conductors_nec2020") if r["awg"] == wire.awg), None)
    return row[f"{wire.material}_amps"] if row else None


def standard_breakers(edition: int) -> list[float]:
    """Standard ratings of 240.6(A) in an edition of the code [A]."""
    return [r["amps"] for r in table("breakers_nec2023") if r["since_edition"] is None or edition >= r["since_edition"]]


def next_standard(amps: float, edition: int) -> float:
    """The smallest standard rating that is not less [A]."""
    return min(r for r in standard_breakers(edition) if r >= amps)


def adjusted_ampacity(awg: int, carrying_count: int) -> float | None:
    """The 90 C column less the adjustment for ``carrying_count`` current-carrying conductors bundled [A].

    The 60 C column still caps what NM cable may carry (334.80). None where no published figure
    is at hand.
    """
    row = figures(awg)
    share = next(
        (r["percent"] for r in table("adjustment_nec2020")
         if r["least_conductors"] <= carrying_count <= r["most_conductors"]), None
    )  # fmt: skip
    if row is None or share is None:
        return None
    return row["amps_90c"] * share / 100


def box_allowance_in3(awg: int) -> float | None:
    """Volume of one conductor in a box, Table 314.16(B) [in^3]; None where no figure is at hand."""
    return next((r["cubic_inches"] for r in table("box_conductors_nec2020") if r["awg"] == awg), None)


def usual_sizes(colour: str) -> list[int]:
    """Sizes that a sheath colour is commonly used for; empty for other colours."""
    return [int(r["awg"]) for r in table("sheath_colours") if r["colour"] == colour]
