"""The longest usual screw that keeps short of everything recorded, after error."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from asbuilt.answers import drill_wording, wording
from asbuilt.answers.gaps import Clearance, clearances
from asbuilt.answers.reply import Reply
from asbuilt.answers.things import Thing
from asbuilt.answers.touch import Bit
from asbuilt.record.kinds import EDGE_RULE_M

INCH_M = 0.0254
USUAL_INCHES = (1, 1.25, 1.625, 2, 2.5, 3, 3.5, 4, 5, 6)  # common practice, no source
USUAL_MM = (25, 30, 35, 40, 45, 50, 60, 70, 80, 90, 100, 120, 140, 160)
SHORT_OF_M = 0.00635  # keep 1/4 in short of the nearest thing


@dataclass(frozen=True, slots=True, kw_only=True)
class ScrewAnswer(Reply):
    """The longest usual screw through the finished face that stays short of everything recorded."""

    longest_m: float | None
    limit: str  # what stops the next longer one
    text: str


def rule_depth_m(covering_m: float) -> float:
    """From the finished face to cable that keeps the rule's distance from the stud edge [m].

    A cable bored or stapled nearer than this must be behind a steel plate, so a plate may
    be met where the cable is nearer.
    """
    return covering_m + float(EDGE_RULE_M)


def longest_screw(
    passed: Sequence[tuple[Thing, Clearance]],
    bit: Bit,
    covering_m: float,
    back_m: float,
    from_face: str,
    unit: str,
    known: bool,
) -> ScrewAnswer:
    """The longest usual screw at a place.

    Parameters
    ----------
    passed : sequence of (Thing, Clearance)
        Everything near, with its clearance from the path.
    back_m : float
        From the stud face to the back of the cavity; no screw goes through it [m].
    from_face : str
        What to call the face that the screw goes through.
    known : bool
        Whether the place is recorded; without a record no length is named.
    """
    if not known:
        return ScrewAnswer(longest_m=None, limit="", text=drill_wording.NO_SCREW_UNKNOWN)
    # Only what lies within reach aside can limit the depth.
    near = [t for t, c in passed if t.kind.name != "blocking"
            and c.plane_gap_m - wording.COVER_95 * c.plane_sigma_m < SHORT_OF_M]  # fmt: skip
    usual = [i * INCH_M for i in USUAL_INCHES] if unit in ("in", "ft") else [mm / 1000 for mm in USUAL_MM]
    longest, limit = None, ""
    for length_m in usual:
        limit = _stopped_by(near, replace(bit, tip_m=length_m - covering_m), back_m)
        if limit:
            break
        longest = length_m
    return ScrewAnswer(longest_m=longest, limit=limit, text=drill_wording.screw(longest, limit, from_face, unit))


def _stopped_by(things: Sequence[Thing], bit: Bit, back_m: float) -> str:
    for thing, clearance in zip(things, clearances(things, bit), strict=True):
        if clearance.gap_m - wording.COVER_95 * clearance.sigma_m < SHORT_OF_M:
            return wording.thing_name(thing.item.kind, thing.item.label)
    return drill_wording.BACK if bit.tip_m > back_m - SHORT_OF_M else ""
