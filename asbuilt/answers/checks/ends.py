"""Rules that the record agrees with itself: ends of cables, feed order, switches."""

from __future__ import annotations

import re
from collections.abc import Iterator

from asbuilt.answers.checks.rule import CANNOT_TELL, DOES_NOT, MEETS, PRACTICE, RECORD, Figures, Finding, Rule, worst
from asbuilt.answers.checks.site import Site, finding
from asbuilt.answers.circuits import feed_order
from asbuilt.answers.control import controlled
from asbuilt.answers.wiring import UNKNOWN, WORDS, End, Lead

OPEN_WORDS = {"open", "loose", "uncapped", "bare"}  # said of an end that nothing closes


def open_ends(site: Site, figures: Figures) -> Iterator[Finding]:
    """Both ends of each cable: in a box or panel, capped, coiled, or out of the face."""
    for lead in site.wiring.leads.values():
        ends = [_end(end) for end in lead.ends]
        result = worst(r for r, _ in ends)
        text = "; ".join(dict.fromkeys(t for r, t in ends if r == result))
        yield finding("open-ends", result, site.of_lead(lead), text)


def _end(end: End) -> tuple[str, str]:
    if end.kind == WORDS:
        said_open = set(re.findall(r"[a-z]+", end.text.lower())) & OPEN_WORDS
        return DOES_NOT if said_open else MEETS, f"an end is given as {end.text!r}"
    return (CANNOT_TELL, "an end is not on record") if end.kind == UNKNOWN else (MEETS, f"an end is in {end.text}")


def feed_orders(site: Site, figures: Figures) -> Iterator[Finding]:
    """The feed order of each circuit: it starts at a panel and reaches each of its boxes once."""
    for circuit in site.wiring.circuits.values():
        boxes = [b for b in site.wiring.boxes.values() if b.circuit_id == circuit.id]
        feeds = site.wiring.feeds.get(circuit.id, [])
        if not feeds and not boxes:
            continue
        steps, problems = feed_order(site.wiring, circuit, feeds)
        reached = {s.to_id for s in steps}
        missed = [site.wiring.place_name(b.id) for b in boxes if b.id not in reached]
        if not feeds:
            result, text = CANNOT_TELL, f"the feed order of its {_boxes(boxes)} is not on record"
        elif problems or missed:
            result, text = DOES_NOT, "; ".join([*problems, *(f"nothing feeds {name}" for name in missed)])
        else:
            result, text = MEETS, f"reaches its {_boxes(boxes)}"
        yield finding("feed-order", result, site.of_circuit(circuit.id), text)


def _boxes(boxes: list) -> str:
    return "box" if len(boxes) == 1 else f"{len(boxes)} boxes"


def switches(site: Site, figures: Figures) -> Iterator[Finding]:
    """The switches of each outlet: 3-way ones in pairs, with travellers enough."""
    for load in controlled(site.view.record):
        who = site.of_item(load.load_id)
        several = [s for s in load.switches if s.way != "single"]
        if load.problems:
            yield finding("switches", DOES_NOT, who, "; ".join(load.problems))
        elif any(s.cable_id is None for s in several):
            yield finding("switches", CANNOT_TELL, who, "the cable with the travellers is not on record")
        else:
            yield finding("switches", MEETS, who, f"worked from {', '.join(s.switch_name for s in load.switches)}")


def circuit_of_ends(site: Site, figures: Figures) -> Iterator[Finding]:
    """A cable's circuit against the circuits of the boxes at its ends."""
    for lead in site.wiring.leads.values():
        for end in lead.ends:
            box = site.wiring.items.get(end.place_id)
            if box is None or box.kind == "panel" or lead.use != "power":
                continue
            yield finding("circuit-of-ends", *_same_circuit(site, lead, box.circuit_id, end))


def _same_circuit(site: Site, lead: Lead, circuit_id: str | None, end: End) -> tuple[str, dict, str]:
    who = site.of_lead(lead)
    if lead.circuit_id is None or circuit_id is None:
        return CANNOT_TELL, who, f"its circuit or that of {end.text} is not on record"
    numbers = [site.wiring.circuits[c].number for c in (lead.circuit_id, circuit_id)]
    text = f"circuit {numbers[0]}, ends in {end.text} of circuit {numbers[1]}"
    # A box may hold several circuits; only where nothing else of this circuit is in it is it odd.
    expected = circuit_id == lead.circuit_id or lead.circuit_id in site.wiring.fed_circuits.get(end.place_id, ())
    return (MEETS if expected else DOES_NOT), who, text


RULES = (
    Rule(
        id="open-ends", title="Open ends", standing=PRACTICE, clause="", edition="",
        source="forums on rough-in: ends in boxes, or capped and folded back out of the way of the board cutter",
        compares="whether both ends of each cable are in a box or panel or noted as capped or coiled", find=open_ends,
    ),
    Rule(
        id="feed-order", title="Feed order is whole", standing=RECORD, clause="", edition="",
        source="the record itself", compares="the feed order of a circuit with its boxes", find=feed_orders,
    ),
    Rule(
        id="circuit-of-ends", title="Cable and boxes on one circuit", standing=RECORD, clause="", edition="",
        source="the record itself", compares="the circuit of a cable with those of the boxes at its ends",
        find=circuit_of_ends,
    ),
    Rule(
        id="switches", title="Switches in pairs", standing=PRACTICE, clause="", edition="",
        source="common practice, no source: 3-way switches come in pairs, with two travellers and a common between",
        compares="the switches of each outlet with each other", find=switches,
    ),
)  # fmt: skip
