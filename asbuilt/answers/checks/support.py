"""Rules on how cables are held: support spacing, support at boxes, stapled before foam, bundling."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from asbuilt.answers.checks.rule import (
    CANNOT_TELL,
    CODE,
    DOES_NOT,
    MEETS,
    PRACTICE,
    Figure,
    Figures,
    Finding,
    Rule,
    at_most,
    worst,
)
from asbuilt.answers.checks.site import FaceRun, Site, finding
from asbuilt.answers.conductors import Conductors, adjusted_ampacity, ampacity
from asbuilt.answers.course import JOIN_M
from asbuilt.answers.wiring import BOX, Lead
from asbuilt.record import Hole
from asbuilt.record.kinds import KINDS

STAPLE_NEAR_M = 0.05  # a staple this near a cable's line holds it (common practice, no source)


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """Where along a run on one face it is held [m from its first spot], one sigma of each, and by what."""

    run: FaceRun
    length_m: float
    staples: tuple[tuple[float, float], ...]
    holes: tuple[tuple[float, float], ...]
    boxes: tuple[tuple[float, float, str], ...]  # place, sigma, id of the box

    @property
    def supports(self) -> list[tuple[float, float]]:
        """Staples and bored holes, from the first spot on."""
        return sorted([*self.staples, *self.holes])


def held(site: Site, run: FaceRun) -> Held:
    """Project staples, bored holes and boxes onto the line of a run."""
    points = np.array([s.point_m for s in run.spots])
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))])
    staples = []
    for _, spot in site.on_face(run.face.face.id, "staple"):
        place_m, away_m = _project(points, along, spot.point_m)
        if away_m < STAPLE_NEAR_M:
            staples.append((place_m, float(max(spot.sigma_m[:2]))))
    holes = [(_project(points, along, s.point_m)[0], float(max(s.sigma_m[:2]))) for _, s in run.crossings()]
    lead = site.lead_of_run.get(run.item.id)
    ids = [end.place_id for end in (lead.ends if lead else ()) if end.kind == BOX]
    boxes = [found for box_id in ids if (found := _box(site, run, points, along, box_id))]
    return Held(run=run, length_m=float(along[-1]), staples=tuple(staples), holes=tuple(holes), boxes=tuple(boxes))


def _project(points: np.ndarray, along: np.ndarray, point_m: np.ndarray) -> tuple[float, float]:
    """(distance along a line, distance from it) of a point, seen square-on."""
    best = (0.0, np.inf)
    for i, (a, b) in enumerate(pairwise(points)):
        d = (b - a)[:2]
        share = float(np.clip((point_m - a)[:2] @ d / max(d @ d, 1e-12), 0, 1))
        away_m = float(np.linalg.norm((a + share * (b - a) - point_m)[:2]))
        if away_m < best[1]:
            best = (float(along[i] + share * (along[i + 1] - along[i])), away_m)
    return best


def _box(site: Site, run: FaceRun, points: np.ndarray, along: np.ndarray, box_id: str):
    """(place, sigma, id) where a run enters a box: before its first spot, or after its last; None if far."""
    known = site.spot_of(box_id)
    if known is None or known[0] != run.face.face.id:
        return None
    item, spot = site.wiring.items[box_id], known[1]
    kind = KINDS[item.kind]
    half = np.array([item.width_m or kind.width_m, item.height_m or kind.height_m]) / 2
    gaps = [float(np.hypot(*np.maximum(np.abs((p - spot.point_m)[:2]) - half, 0))) for p in (points[0], points[-1])]
    if min(gaps) > JOIN_M:
        return None
    sigma_m = float(max(spot.sigma_m[:2]))
    return (-gaps[0], sigma_m, box_id) if gaps[0] <= gaps[1] else (float(along[-1]) + gaps[1], sigma_m, box_id)


def _held_runs(site: Site) -> Iterator[tuple[Lead | None, Held]]:
    for run in site.runs:
        if run.item.kind == "cable" and run.face.face.kind == "wall" and len(run.spots) > 1:
            yield site.lead_of_run.get(run.item.id), held(site, run)


def support_spacing(site: Site, figures: Figures) -> Iterator[Finding]:
    """The widest gap between the supports of each cable; boxes and bored holes count as support."""
    most_m = figures["most"]
    for lead, h in _held_runs(site):
        places = sorted([*h.supports, *((p, s) for p, s, _ in h.boxes)])
        places = [(0.0, 0.0), *places, (h.length_m, 0.0)] if not places else _closed(places, h.length_m)
        gaps = [(b[0] - a[0], float(np.hypot(a[1], b[1]))) for a, b in pairwise(places)]
        gap_m, sigma_m = max(gaps)
        result = worst(at_most(g, s, most_m) for g, s in gaps)
        words = f"widest gap on record {site.measure(gap_m, sigma_m)}, figure {site.length(most_m)}"
        if result != MEETS and not h.staples:
            result, words = _no_staples(lead, gap_m, site)
        yield finding("support-spacing", result, site.of_item(h.run.item.id, h.run.spots[0], h.run.face.face.id), words)


def _closed(places: list[tuple[float, float]], length_m: float) -> list[tuple[float, float]]:
    """The supports with the ends of what was seen, beyond which nothing is known."""
    first = [(0.0, 0.0)] if places[0][0] > 0 else []
    last = [(length_m, 0.0)] if places[-1][0] < length_m else []
    return [*first, *places, *last]


def _no_staples(lead: Lead | None, gap_m: float, site: Site) -> tuple[str, str]:
    if lead is not None and lead.stapled is False:
        return DOES_NOT, f"noted as not stapled; {site.length(gap_m, 0.02)} without a bored hole or box"
    noted = "noted as stapled, but not where" if lead is not None and lead.stapled else "no staple of it is on record"
    return CANNOT_TELL, noted


def support_at_box(site: Site, figures: Figures) -> Iterator[Finding]:
    """How far from each box the first support of each cable into it is."""
    for lead, h in _held_runs(site):
        for place_m, sigma_m, box_id in h.boxes:
            away = [(abs(p - place_m), float(np.hypot(s, sigma_m))) for p, s in h.supports]
            who = site.of_item(box_id)
            name = f"{site.of_lead(lead)['subject']}" if lead else h.run.item.id
            if not away:
                yield finding("support-at-box", CANNOT_TELL, who, f"{name}: no support of it near the box is on record")
                continue
            result, text = _first_support(site, box_id, *min(away), figures)
            if result == DOES_NOT and not h.staples:
                result, text = CANNOT_TELL, f"{text}; no staple of it is on record"
            yield finding("support-at-box", result, who, f"{name}: {text}")


def _first_support(site: Site, box_id: str, away_m: float, sigma_m: float, figures: Figures) -> tuple[str, str]:
    near_m, far_m = figures["no_clamp"], figures["most"]
    text = f"first support {site.measure(away_m, sigma_m)} from the box"
    box, detail = site.wiring.items[box_id], site.wiring.details.get(box_id)
    material = detail.material.lower() if detail else ""
    if (box.gangs or 1) > 1 or (detail and detail.clamps) or material == "metal":
        return at_most(away_m, sigma_m, far_m), f"{text}, figure {site.length(far_m)}"
    if material == "plastic" and detail.clamps is False and box.gangs == 1:
        return at_most(away_m, sigma_m, near_m), f"{text}, figure {site.length(near_m)} (single gang, no clamps)"
    both = {at_most(away_m, sigma_m, near_m), at_most(away_m, sigma_m, far_m)}
    figure = f"figure {site.length(near_m)} or {site.length(far_m)}"
    if len(both) == 1:
        return both.pop(), f"{text}, {figure}"
    return CANNOT_TELL, f"{text}, {figure}: its gangs, clamps and material are not on record"


def foam_stapled(site: Site, figures: Figures) -> Iterator[Finding]:
    """Cables on faces that are to be foamed: fixed before, so that foam cannot push them out."""
    for run in site.runs:
        if run.item.kind not in ("cable", "low voltage cable") or "foam" not in run.face.face.insulation.lower():
            continue
        lead = site.lead_of_run.get(run.item.id)
        staples = held(site, run).staples if len(run.spots) > 1 else ()
        stated = lead.stapled if lead else None
        if staples or stated:
            result, text = MEETS, f"{len(staples)} staples on record" if staples else "noted as stapled"
        else:
            result = DOES_NOT if stated is False else CANNOT_TELL
            text = "noted as not stapled" if stated is False else "whether it is stapled is not on record"
        text += f"; the face is to be filled with {run.face.face.insulation}"
        yield finding("foam-stapled", result, site.of_item(run.item.id, run.spots[0], run.face.face.id), text)


def bundling(site: Site, figures: Figures) -> Iterator[Finding]:
    """Cables together through one sealed hole: adjusted ampacity against their breakers."""
    for hole in site.wiring.holes:
        if len(hole.cable_ids) <= figures["most_cables"]:
            continue
        who = {"subject_id": hole.id, "subject": f"hole {hole.id}", "face_id": hole.face_id,
               "offset_m": hole.offset_m, "height_m": hole.height_m}  # fmt: skip
        words = f"{len(hole.cable_ids)} cables through one hole"
        if hole.sealed is False:
            yield finding("bundling", MEETS, who, f"{words}, not sealed")
            continue
        result, text = _bundled(site, hole)
        if hole.sealed is None and result != MEETS:
            result, text = CANNOT_TELL, f"{text}; whether it is sealed is not on record"
        yield finding("bundling", result, who, f"{words}: {text}")


def _bundled(site: Site, hole: Hole) -> tuple[str, str]:
    leads = [site.wiring.leads.get(c) for c in hole.cable_ids]
    wires = [lead.wire if lead else None for lead in leads]
    circuits = [site.wiring.circuits.get(lead.circuit_id or "") if lead else None for lead in leads]
    if any(w is None or w.awg is None or w.count is None for w in wires):
        return CANNOT_TELL, "the conductors of one of them are not on record"
    if any(c is None or c.amps is None for c in circuits):
        return CANNOT_TELL, "the breaker of one of them is not on record"
    # A third conductor may be a neutral that carries only the difference, and then does not count.
    most, least = sum(w.count for w in wires), sum(min(w.count, 2) for w in wires)
    results = []
    for wire, circuit in zip(wires, circuits, strict=True):
        strict, mild = (_bundled_ampacity(wire.awg, count) for count in (most, least))
        if strict is None or mild is None:
            return CANNOT_TELL, f"no figure at hand for {most} conductors of {wire.size}"
        result = MEETS if circuit.amps <= strict else DOES_NOT if circuit.amps > mild else CANNOT_TELL
        results.append((result, f"{wire.size} of {most} current-carrying: {strict:g} A, breaker {circuit.amps:g} A"))
    verdict = worst(r for r, _ in results)
    return verdict, next(text for r, text in results if r == verdict)


def _bundled_ampacity(awg: int, carrying_count: int) -> float | None:
    """Adjusted from the 90 C column, and never above the 60 C column."""
    adjusted, cap = adjusted_ampacity(awg, carrying_count), ampacity(Conductors(awg=awg))
    return None if adjusted is None or cap is None else min(adjusted, cap)


_NM_SUPPORT = "a model code's table with the same figures; the clause as quoted on a code forum (2008 text)"

RULES = (
    Rule(
        id="support-spacing", title="Support spacing", standing=CODE, clause="NFPA 70 334.30", edition="2020",
        source=_NM_SUPPORT, compares="the widest gap between staples, bored holes and boxes along an NM cable",
        figures=(Figure(name="most", value=54 * 0.0254, unit="m", text="4-1/2 ft (1.4 m)"),),
        regions=("us",), find=support_spacing,
    ),
    Rule(
        id="support-at-box", title="Support near boxes", standing=CODE,
        clause="NFPA 70 334.30; 314.17 exception for single-gang nonmetallic boxes", edition="2020",
        source=_NM_SUPPORT + "; 314.17 as quoted by an inspectors' forum, measured along the sheath",
        compares="how far along a cable its first support is from a box",
        figures=(
            Figure(name="most", value=12 * 0.0254, unit="m", text="12 in (300 mm) of a box with clamps"),
            Figure(name="no_clamp", value=8 * 0.0254, unit="m", text="8 in (200 mm) of a single gang without clamps"),
        ),
        regions=("us",), find=support_at_box,
    ),
    Rule(
        id="foam-stapled", title="Stapled before foam", standing=PRACTICE, clause="", edition="",
        source="insulation checklists: cables secured first, so that foam cannot push them out",
        compares="whether cables on a face to be foamed are fixed", find=foam_stapled,
    ),
    Rule(
        id="bundling", title="Cables bundled through a sealed hole", standing=CODE,
        clause="NFPA 70 334.80, 310.15(C)(1), Table 310.16", edition="2020",
        source="two published worked cases of 334.80; the number 310.15(C)(1) from memory, not read",
        compares="breakers with the adjusted 90 C ampacity, capped by the 60 C column, of cables in one sealed hole",
        figures=(Figure(name="most_cables", value=2, unit="1", text="cables that need no adjustment"),),
        regions=("us",), find=bundling,
    ),
)  # fmt: skip
