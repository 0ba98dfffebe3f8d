"""Rules on breakers, the conductors behind them and the panel they sit in."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from asbuilt.answers.checks.rule import (
    CANNOT_TELL,
    CODE,
    DOES_NOT,
    HINT,
    MEETS,
    PRACTICE,
    Figure,
    Figures,
    Finding,
    Rule,
)
from asbuilt.answers.checks.site import Site, finding
from asbuilt.answers.circuits import pair_of
from asbuilt.answers.conductors import (
    ALUMINUM,
    COPPER,
    Conductors,
    conductors,
    largest_breaker,
    next_standard,
    standard_breakers,
    usual_sizes,
)
from asbuilt.answers.directory import name_doubts, positions_of
from asbuilt.record import Circuit
from asbuilt.record.tables import table


def _size_figures() -> tuple[Figure, ...]:
    """One figure for each size: small conductors by 240.4(D), larger ones by the 60 C column."""
    small = [
        Figure(name=f"{row['awg']:g}-{material}", value=row[f"{material}_amps"], unit="A",
               text=f"largest breaker on {row['awg']:g} AWG {material}, 240.4(D)")
        for row in table("small_conductors_nec2020")
        for material in (COPPER, ALUMINUM)
        if row[f"{material}_amps"] is not None
    ]  # fmt: skip
    known = {row["awg"] for row in table("small_conductors_nec2020")}
    large = [
        Figure(name=f"{row['awg']:g}-copper", value=row["amps_60c"], unit="A",
               text=f"60 C ampacity of {row['awg']:g} AWG copper, Table 310.16")
        for row in table("conductors_nec2020")
        if row["awg"] not in known
    ]  # fmt: skip
    return tuple(small + large)


def conductor_breaker(site: Site, figures: Figures) -> Iterator[Finding]:
    """Each circuit's breaker against the size of each of its cables."""
    for circuit in site.wiring.circuits.values():
        cables = [(lead, lead.wire) for lead in site.wiring.leads.values() if lead.circuit_id == circuit.id]
        known = [(site.of_lead(lead), wire) for lead, wire in cables if wire is not None]
        if (stated := conductors(circuit.cable)) is not None:
            known.insert(0, (site.of_circuit(circuit.id), stated))
        for who, wire in known:
            result, text = _breaker_on(circuit, wire, figures)
            yield finding("conductor-breaker", result, who, text)
        if not known and not (circuit.state == "spare" and not cables):
            yield finding("conductor-breaker", CANNOT_TELL, site.of_circuit(circuit.id), "no conductor size on record")


def _breaker_on(circuit: Circuit, wire: Conductors, figures: Figures) -> tuple[str, str]:
    most = figures.get(f"{wire.awg}-{wire.material}") if wire.awg is not None else None
    if circuit.amps is None:
        return CANNOT_TELL, f"{wire.size}, breaker size not on record"
    words = f"{wire.size} {wire.material} on a {circuit.amps:g} A breaker"
    if most is None:
        return CANNOT_TELL, f"{words}: no figure at hand for this size"
    words += f", figure {most:g} A"
    if circuit.amps <= most:
        return MEETS, words
    if largest_breaker(wire) is None and circuit.amps <= next_standard(most, 2023):
        return CANNOT_TELL, f"{words}: the next standard size up may be allowed, 240.4(B)"
    return DOES_NOT, f"{words}; motors and welders have rules of their own"


def breaker_size(site: Site, figures: Figures) -> Iterator[Finding]:
    """Each breaker against the standard ratings."""
    edition = int(figures["edition"])
    for circuit in site.wiring.circuits.values():
        who = site.of_circuit(circuit.id)
        if circuit.amps is None:
            yield finding("breaker-size", CANNOT_TELL, who, "breaker size not on record")
        elif circuit.amps in standard_breakers(edition):
            yield finding("breaker-size", MEETS, who, f"{circuit.amps:g} A is a standard rating")
        else:
            yield finding("breaker-size", DOES_NOT, who, f"{circuit.amps:g} A is not among the standard ratings")


def sheath_colour(site: Site, figures: Figures) -> Iterator[Finding]:
    """The colour of a sheath against the size written beside it."""
    circuits = [(site.of_circuit(c.id), conductors(c.cable)) for c in site.wiring.circuits.values() if c.cable]
    power = [lead for lead in site.wiring.leads.values() if lead.use == "power" and lead.words]
    leads = [(site.of_lead(lead), lead.wire) for lead in power]
    for who, wire in circuits + leads:
        if wire is None or wire.awg is None:
            continue
        sizes = usual_sizes(wire.colour)
        if not sizes:
            text = f"{wire.size}, sheath {wire.colour or 'colour not on record'}: no habit to compare with"
            yield finding("sheath-colour", CANNOT_TELL, who, text)
        else:
            usual = " or ".join(map(str, sizes))
            text = f"{wire.size}, {wire.colour} sheath; {wire.colour} is commonly {usual} AWG"
            yield finding("sheath-colour", MEETS if wire.awg in sizes else DOES_NOT, who, text)


def breaker_positions(site: Site, figures: Figures) -> Iterator[Finding]:
    """The positions of a breaker against its poles, its volts and the spaces of its panel."""
    for circuit in site.wiring.circuits.values():
        result, text = _positions(site, circuit, figures)
        yield finding("breaker-positions", result, site.of_circuit(circuit.id), text)


def _positions(site: Site, circuit: Circuit, figures: Figures) -> tuple[str, str]:
    positions = positions_of(circuit.number)
    panel = site.wiring.panels.get(circuit.panel_id or "")
    if not positions:
        return CANNOT_TELL, f"its number {circuit.number!r} is no breaker position"
    if len(positions) != circuit.poles:
        return DOES_NOT, f"{circuit.poles} poles at {len(positions)} positions ({circuit.number})"
    if any(b - a != figures["step"] for a, b in zip(positions, positions[1:], strict=False)):
        return DOES_NOT, f"the poles of one breaker are not next to each other on one side ({circuit.number})"
    if circuit.volts is not None and circuit.poles == 1 and circuit.volts >= figures["two_pole_volts"]:
        return DOES_NOT, f"{circuit.volts:g} V from one pole"
    if panel is None or panel.spaces is None:
        return CANNOT_TELL, "how many spaces its panel has is not on record"
    if max(positions) > panel.spaces:
        return DOES_NOT, f"position {max(positions)} in a panel of {panel.spaces} spaces"
    return MEETS, f"position {circuit.number} of {panel.spaces} spaces"


def multiwire_off(site: Site, figures: Figures) -> Iterator[Finding]:
    """Whether the halves of a shared-neutral pair are switched off together."""
    for one, other in _pairs(site):
        tied = one.tied if one.tied is not None else other.tied
        result = {True: MEETS, False: DOES_NOT, None: CANNOT_TELL}[tied]
        said = {True: "tied", False: "not tied", None: "not on record whether they are tied"}[tied]
        yield finding("multiwire-off", result, site.of_circuit(one.id), f"shares a neutral with {other.number}: {said}")


def multiwire_legs(site: Site, figures: Figures) -> Iterator[Finding]:
    """Whether the halves of a shared-neutral pair sit on different legs."""
    for one, other in _pairs(site):
        legs = [{(n - 1) // 2 % 2 for n in positions_of(c.number)} for c in (one, other)]
        words = f"positions {one.number} and {other.number}"
        if one.panel_id != other.panel_id or one.panel_id is None or not all(len(leg) == 1 for leg in legs):
            result, words = CANNOT_TELL, f"{words}: not two single poles of one panel"
        else:
            apart = legs[0] != legs[1]
            result = MEETS if apart else DOES_NOT
            words += " are on different legs" if apart else " are on one leg: the neutral carries both loads"
        yield finding("multiwire-legs", result, site.of_circuit(one.id), words)


def _pairs(site: Site) -> Iterable[tuple[Circuit, Circuit]]:
    done = set()
    for circuit in site.wiring.circuits.values():
        other = pair_of(site.wiring, circuit)
        if other is not None and circuit.id not in done:
            done |= {circuit.id, other.id}
            yield circuit, other


def directory(site: Site, figures: Figures) -> Iterator[Finding]:
    """The wording of the directory: every circuit told apart by place and purpose."""
    circuits = list(site.wiring.circuits.values())
    for circuit in circuits:
        sure, doubts = name_doubts(circuit, circuits)
        result = DOES_NOT if sure else CANNOT_TELL if doubts else MEETS
        text = "; ".join([*sure, *doubts]) or f"described as {circuit.name!r}"
        yield finding("directory", result, site.of_circuit(circuit.id), text)


RULES = (
    Rule(
        id="conductor-breaker", title="Conductor size against breaker", standing=CODE,
        clause="NFPA 70 240.4(D), Table 310.16 at 60 C for NM cable (334.80)", edition="2020",
        source="a cable maker's size table (240.4(D)); two published copies of Table 310.16; the next size up of "
        "240.4(B) from memory, not read",
        compares="the breaker's amperes with what its smallest conductor is listed for",
        figures=_size_figures(), regions=("us",), find=conductor_breaker,
    ),
    Rule(
        id="breaker-size", title="Standard breaker sizes", standing=CODE, clause="NFPA 70 240.6(A)", edition="2023",
        source="two published lists of the standard ratings; 10 A since the 2023 edition",
        compares="the breaker's amperes with the standard ratings",
        figures=(Figure(name="edition", value=2023, unit="1", text="edition whose ratings are used"),),
        regions=("us",), find=breaker_size,
    ),
    Rule(
        id="sheath-colour", title="Sheath colour against stated size", standing=HINT, clause="", edition="",
        source="trade press: cable makers' habit since about 2001, voluntary",
        compares="the colour of a sheath with the size written beside it", regions=("us",), find=sheath_colour,
    ),
    Rule(
        id="breaker-positions", title="Breaker positions, poles and spaces", standing=PRACTICE, clause="", edition="",
        source="common practice, no source: odd positions left, even right, poles one under the other",
        compares="the positions of a breaker with its poles, its volts and its panel's spaces",
        figures=(
            Figure(name="step", value=2, unit="1", text="from one pole's position to the next"),
            Figure(name="two_pole_volts", value=200, unit="1", text="volts from which two poles are needed"),
        ),
        regions=("us",), find=breaker_positions,
    ),
    Rule(
        id="multiwire-off", title="Shared neutral: both poles off together", standing=CODE, clause="NFPA 70 210.4(B)",
        edition="2020", source="trade press on common disconnecting means; the number 210.4(B) from memory, not read",
        compares="whether both halves of a shared-neutral pair are tied", regions=("us",), find=multiwire_off,
    ),
    Rule(
        id="multiwire-legs", title="Shared neutral: on different legs", standing=PRACTICE, clause="", edition="",
        source="common practice, no source: positions 1 and 2 of a single-phase panel on one leg, 3 and 4 on the other",
        compares="the legs of the two halves of a shared-neutral pair", regions=("us",), find=multiwire_legs,
    ),
    Rule(
        id="directory", title="Circuit directory", standing=CODE, clause="NFPA 70 408.4(A)", edition="2020",
        source="two pages reporting the clause: distinguishable, spares described, no occupant's name",
        compares="the wording of each circuit with that of the others", regions=("us",), find=directory,
    ),
)  # fmt: skip
