"""Voltage drop of the second profile: millivolts per ampere and metre, by conductor area."""

from __future__ import annotations

from collections.abc import Iterator

from asbuilt.answers.checks.rule import CANNOT_TELL, CODE, Figure, Figures, Finding, Rule, at_most
from asbuilt.answers.checks.site import Site, finding
from asbuilt.answers.circuits import feed_order, path_to
from asbuilt.answers.conductors import COPPER, conductors
from asbuilt.answers.lengths import lead_length
from asbuilt.answers.voltage import load_through
from asbuilt.record import Circuit

AREAS_MM2 = (1.0, 1.5, 2.5, 4.0, 6.0, 10.0, 16.0)


def millivolts(area_mm2: float, figures: Figures) -> float:
    """Millivolts per ampere and metre of a two-core copper cable: the record's own, else from the resistivity."""
    return figures.get(f"mv-{area_mm2:g}", 0.0) or 2000 * figures["resistivity"] / area_mm2


def drop(site: Site, figures: Figures) -> Iterator[Finding]:
    """The drop at the worst box of each circuit whose feed order is on record."""
    for circuit in site.wiring.circuits.values():
        steps, _ = feed_order(site.wiring, circuit, site.wiring.feeds.get(circuit.id, []))
        if steps:
            yield _worst(site, circuit, [s.to_id for s in steps], figures)


def _worst(site: Site, circuit: Circuit, places: list[str], figures: Figures) -> Finding:
    who, found, missing = site.of_circuit(circuit.id), [], ""
    for place in places:
        told = _at(site, circuit, place, figures)
        if isinstance(told, str):
            missing = told
        else:
            found.append((*told, site.wiring.place_name(place)))
    if not found or not circuit.volts:
        return finding("uk-voltage-drop", CANNOT_TELL, who, missing or "its volts are not on record")
    lights = any("light" in d.kind.lower() for p in places for d in site.wiring.devices.get(p, ()))
    most = figures["lighting_share"] if lights else figures["other_share"]
    volts, sigma_v, name = max(found)
    result = at_most(volts / circuit.volts, sigma_v / circuit.volts, most)
    text = f"{volts:.1f} V ({100 * volts / circuit.volts:.1f} %) at {name}, figure {100 * most:g} %"
    if missing and result != "does not meet":
        result, text = CANNOT_TELL, f"{text}; not worked out everywhere: {missing}"
    return finding("uk-voltage-drop", result, who, text)


def _at(site: Site, circuit: Circuit, place: str, figures: Figures) -> tuple[float, float] | str:
    """Volts lost on the way to a box and one sigma of them from the lengths, or what is not on record."""
    wiring, volts, variance = site.wiring, 0.0, 0.0
    if not circuit.volts:
        return "its volts are not on record"
    for step in path_to(wiring, circuit, place):
        lead = wiring.leads.get(step.cable_id or "")
        wire = (lead.wire or conductors(circuit.cable)) if lead else None
        if wire is None or wire.area_mm2 is None or wire.material != COPPER:
            return f"the copper area of the cable to {step.to_name} is not on record"
        length = lead_length(wiring, lead)
        if length.total_m is None:
            return f"the length of cable {lead.id} is not known"
        per_m = millivolts(wire.area_mm2, figures) / 1000 * load_through(wiring, circuit, step) / circuit.volts
        volts += per_m * length.total_m
        variance += (per_m * length.sigma_m) ** 2
    return (volts, variance**0.5) if volts else f"no load is on record on the way to {wiring.place_name(place)}"


RULES = (
    Rule(
        id="uk-voltage-drop", title="Voltage drop, BS 7671", standing=CODE, clause="BS 7671 525, Appendix 4",
        edition="18th edition",
        source="pages quoting 3 % for lighting and 5 % for other uses from the public supply; a published calculator's "
        "resistivity, which gives 18 mV/A/m at 2.5 mm2 as printed tables do. Give a table's own figures where at hand",
        compares="the drop at the farthest loads on record with a share of the circuit's volts",
        figures=(
            Figure(name="lighting_share", value=0.03, unit="1", text="3 % where a circuit feeds lighting"),
            Figure(name="other_share", value=0.05, unit="1", text="5 % for other uses"),
            Figure(name="resistivity", value=0.0225, unit="1", text="ohm mm2/m of copper, warm"),
            *(Figure(name=f"mv-{area:g}", value=0.0, unit="1",
                     text=f"mV/A/m of {area:g} mm2; 0: worked out from the resistivity") for area in AREAS_MM2),
        ),
        regions=("uk",), find=drop,
    ),
)  # fmt: skip
