"""What a rough-in rule is, and how a measure with an error is held against a figure.

A rule compares what the record says with a published or customary figure. Its result is one
of three, and never a verdict: the figure may not be adopted where the building stands.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from asbuilt.answers.reply import Reply
from asbuilt.sources import COVER_95

if TYPE_CHECKING:
    from asbuilt.answers.checks.site import Site

MEETS, DOES_NOT, CANNOT_TELL = "meets", "does not meet", "cannot tell"
RESULTS = (DOES_NOT, CANNOT_TELL, MEETS)  # the most pressing first
ASK = "Check with your local code and inspector."
CODE, PRACTICE, HINT, RECORD = "code, as reported", "common practice", "common practice, a hint", "the record itself"
# Lengths that differ by less than this are one length: ten times what a float loses at 10 m.
SAME_M = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """A number that a rule compares with: in metres (m), amperes (A), in^3 (in3) or plain (1)."""

    name: str
    value: float
    unit: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding(Reply):
    """What one rule found of one thing."""

    rule_id: str
    result: str
    subject_id: str
    subject: str
    text: str  # what was compared with what
    face_id: str | None = None
    offset_m: float | None = None
    height_m: float | None = None


Figures = Mapping[str, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """One rule.

    ``standing`` says what it rests on: a code as reported, common practice, or only that the
    record agrees with itself. ``needs`` is the occupancy it is for, empty for any.
    """

    id: str
    title: str
    standing: str
    clause: str  # clause and number only; no code's prose
    edition: str
    source: str
    compares: str
    figures: tuple[Figure, ...] = ()
    regions: tuple[str, ...] = ("us", "uk")
    needs: str = ""
    find: Callable[[Site, Figures], Iterable[Finding]]

    @property
    def cited(self) -> str:
        """Clause and edition, or what stands in for them."""
        return f"{self.clause}, {self.edition}" if self.edition else self.clause or self.standing


def at_least(value_m: float, sigma_m: float, least_m: float) -> str:
    """Whether a measure is at least a figure, its error at 95 % taken into account."""
    reach_m = COVER_95.value * sigma_m
    if value_m - reach_m >= least_m - SAME_M:
        return MEETS
    return DOES_NOT if value_m + reach_m < least_m - SAME_M else CANNOT_TELL


def at_most(value_m: float, sigma_m: float, most_m: float) -> str:
    """Whether a measure is at most a figure, its error at 95 % taken into account."""
    return at_least(-value_m, sigma_m, -most_m)


def worst(results: Iterable[str]) -> str:
    """The most pressing of some results."""
    return min(results, key=RESULTS.index)
