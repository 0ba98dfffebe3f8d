"""Rules on what bored holes and notches leave of a stud or plate; exact decimals throughout."""

from __future__ import annotations

from collections.abc import Iterator

from asbuilt.answers.checks.rule import (
    CANNOT_TELL,
    CODE,
    DOES_NOT,
    MEETS,
    Figure,
    Figures,
    Finding,
    Rule,
    at_least,
    at_most,
)
from asbuilt.answers.checks.site import Site, finding
from asbuilt.record import Face, Hole


def largest_bore_m(stud_depth_m: float, share: float) -> float:
    """The largest hole of a share of the stud's depth, exact: never a rounded fraction of an inch [m]."""
    return share * stud_depth_m


def plate_free_bore_m(stud_depth_m: float, least_m: float) -> float:
    """The largest centred hole that leaves ``least_m`` to both edges [m]."""
    return max(stud_depth_m - 2 * least_m, 0.0)


def carries_load(face: Face) -> bool | None:
    """Whether the stricter share holds: exterior and bearing walls; None where it is not on record."""
    return True if face.exterior else face.bearing


def hole_size(site: Site, figures: Figures) -> Iterator[Finding]:
    """The diameter of each bored hole in a stud against the depth of the stud; a bit's size is exact."""
    for hole, face in _holes(site, "bored", "stud"):
        strict_m = largest_bore_m(face.stud_depth_m, figures["bearing_share"])
        loose_m = largest_bore_m(face.stud_depth_m, figures["other_share"])
        result, text = _shared(site, face, hole, 0.0, strict_m, loose_m, loose=hole.doubled)
        yield finding("hole-size", result, _of(site, hole), text)


def notch_size(site: Site, figures: Figures) -> Iterator[Finding]:
    """The depth of each notch in a stud against the depth of the stud."""
    for hole, face in _holes(site, "notch", "stud"):
        strict_m, loose_m = (figures[name] * face.stud_depth_m for name in ("bearing_share", "other_share"))
        result, text = _shared(site, face, hole, hole.sigma_m, strict_m, loose_m, loose=False)
        yield finding("notch-size", result, _of(site, hole), text)


def _shared(site, face: Face, hole: Hole, sigma_m: float, strict_m: float, loose_m: float, loose: bool):
    bearing = False if loose else carries_load(face)
    words = f"{hole.kind} {site.measure(hole.size_m, sigma_m)} in a stud {site.length(face.stud_depth_m)} deep"
    if bearing is not None:
        most_m = strict_m if bearing else loose_m
        kind = "bearing or exterior wall" if bearing else "doubled studs" if loose else "wall that bears nothing"
        return at_most(hole.size_m, sigma_m, most_m), f"{words}, figure {_decimal(site, most_m)} ({kind})"
    both = {at_most(hole.size_m, sigma_m, strict_m), at_most(hole.size_m, sigma_m, loose_m)}
    figures = f"{_decimal(site, strict_m)}, or {_decimal(site, loose_m)} if the wall bears nothing"
    return both.pop() if len(both) == 1 else CANNOT_TELL, f"{words}, figure {figures}: which is not on record"


def _decimal(site: Site, value_m: float) -> str:
    """An exact limit, which no fraction of an inch is: 2.100 in, not 2-1/8."""
    return f"{value_m / 0.0254:.3f} in" if site.unit in ("in", "ft") else f"{value_m * 1000:.1f} mm"


def hole_edge(site: Site, figures: Figures) -> Iterator[Finding]:
    """The wood left between a bored hole and the nearest edge of the stud."""
    for hole, face in _holes(site, "bored", "stud"):
        if hole.depth_m is None:
            most_m = (face.stud_depth_m - hole.size_m) / 2
            result = DOES_NOT if most_m < figures["least"] else CANNOT_TELL
            text = f"how deep its centre lies is not on record; at best it leaves {site.length(most_m)}"
        else:
            left_m = min(hole.depth_m, face.stud_depth_m - hole.depth_m) - hole.size_m / 2
            result = at_least(left_m, hole.sigma_m, figures["least"])
            text = f"leaves {site.measure(left_m, hole.sigma_m)} to the edge"
        yield finding("hole-edge", result, _of(site, hole), f"{text}, figure {site.length(figures['least'])}")


def plate_cut(site: Site, figures: Figures) -> Iterator[Finding]:
    """Holes and notches in top plates: how much of the plate's width is cut."""
    for hole, face in [*_holes(site, "bored", "plate"), *_holes(site, "notch", "plate")]:
        if hole.height_m < face.height_m / 2:
            continue  # a sole plate
        share = hole.size_m / face.stud_depth_m
        bearing = carries_load(face)
        result = MEETS if share <= figures["most_share"] else DOES_NOT if bearing else CANNOT_TELL
        tie = "" if result == MEETS else "; a metal tie across the cut is not on record"
        text = f"cuts {100 * share:.0f} % of a plate {site.length(face.stud_depth_m)} wide"
        yield finding("plate-cut", result, _of(site, hole), f"{text}, figure {100 * figures['most_share']:.0f} %{tie}")


def _holes(site: Site, kind: str, member: str) -> list[tuple[Hole, Face]]:
    return [(h, site.view.faces[h.face_id]) for h in site.wiring.holes if (h.kind, h.member) == (kind, member)]


def _of(site: Site, hole: Hole) -> dict:
    return {"subject_id": hole.id, "subject": f"{hole.kind} {hole.id}", "face_id": hole.face_id,
            "offset_m": hole.offset_m, "height_m": hole.height_m}  # fmt: skip


_WAC = "a state's building regulations and a printed page of the code (whose 5/8 in sentence is misprinted there)"
_SHARES = "exact share of the real stud depth; published fractions (2-1/8, 3-5/16, 1-7/16 in) are rounded up past it"

RULES = (
    Rule(
        id="hole-size", title="Bored hole against the stud", standing=CODE, clause="IRC R602.6", edition="2018",
        source=_WAC, compares="the diameter of a bored hole with the depth of its stud",
        figures=(
            Figure(name="bearing_share", value=0.40, unit="1", text=f"bearing and exterior walls; {_SHARES}"),
            Figure(name="other_share", value=0.60, unit="1", text=f"other walls, and doubled studs; {_SHARES}"),
        ),
        regions=("us",), find=hole_size,
    ),
    Rule(
        id="hole-edge", title="Wood left beside a bored hole", standing=CODE, clause="IRC R602.6", edition="2018",
        source=_WAC, compares="the wood between a bored hole and the nearest edge of the stud",
        figures=(Figure(name="least", value=0.625 * 0.0254, unit="m", text="5/8 in (16 mm)"),),
        regions=("us",), find=hole_edge,
    ),
    Rule(
        id="notch-size", title="Notch against the stud", standing=CODE, clause="IRC R602.6", edition="2018",
        source=_WAC, compares="the depth of a notch with the depth of its stud",
        figures=(
            Figure(name="bearing_share", value=0.25, unit="1", text="bearing and exterior walls"),
            Figure(name="other_share", value=0.40, unit="1", text="other walls"),
        ),
        regions=("us",), find=notch_size,
    ),
    Rule(
        id="plate-cut", title="Cut top plate", standing=CODE, clause="IRC R602.6.1", edition="2018",
        source="a printed page of the code", compares="what a hole or notch cuts of a plate with half its width",
        figures=(Figure(name="most_share", value=0.5, unit="1", text="more than half needs a metal tie"),),
        regions=("us",), find=plate_cut,
    ),
)  # fmt: skip
