"""Constants that are not ours to choose, each with where it comes from.

A constant without a source cannot be made: importing the module that tries it fails.
What is only our choice or habit says ``common practice, no source`` and why.
"""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Sourced:
    """A number with its unit, its spread and where it comes from.

    Parameters
    ----------
    value : float
        In ``unit``.
    unit : str
        ``m``, ``px``, ``1`` for a plain ratio.
    sigma : float
        One standard deviation in ``unit``; 0 for what is exact or defined.
    source : str
        Publication and clause, or ``common practice, no source: `` and the reason.

    Raises
    ------
    ValueError
        If there is no source or unit, or the numbers are not finite.
    """

    value: float
    unit: str
    sigma: float = 0.0
    source: str

    def __post_init__(self) -> None:
        if not self.source.strip():
            raise ValueError(f"the constant {self.value} {self.unit} has no source")
        if not self.unit.strip():
            raise ValueError(f"the constant {self.value} has no unit; a plain ratio has the unit '1'")
        if not (math.isfinite(self.value) and math.isfinite(self.sigma) and self.sigma >= 0):
            raise ValueError(f"the constant {self.value} {self.unit} with sigma {self.sigma} is not a measure")

    def __float__(self) -> float:
        return float(self.value)


_PS20 = "American Softwood Lumber Standard PS 20, dressed sizes, dry"


def _lumber(inches: float) -> Sourced:
    return Sourced(value=round(inches * 0.0254, 10), unit="m", source=_PS20)


STUD_WIDTH_M = _lumber(1.5)
STUD_DEPTHS_M = {
    "2x2": _lumber(1.5),
    "2x3": _lumber(2.5),
    "2x4": _lumber(3.5),
    "2x6": _lumber(5.5),
    "2x8": _lumber(7.25),
    "2x10": _lumber(9.25),
    "2x12": _lumber(11.25),
}

TAPE_SIGMA_M = Sourced(
    value=0.0015875,
    unit="m",
    source="1/16 in, the tolerance of a metal tape of 7 to 30 ft, NIST Handbook 44 s. 5.52, taken as one sigma",
)
COVER_95 = Sourced(value=1.96, unit="1", source="two-sided 95 % of the normal distribution, 1.959964 rounded")
LONGEST_LENGTH_M = Sourced(
    value=1000.0, unit="m", source="common practice, no source: no face of a building is longer; catches a wrong unit"
)
CLICK_SIGMA_PX = Sourced(
    value=1.5, unit="px", source="common practice, no source: a careful click on a zoomed picture lands this near"
)
