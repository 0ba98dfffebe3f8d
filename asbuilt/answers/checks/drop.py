"""The rule on voltage drop: an informational note, held against the loads on record."""

from __future__ import annotations

from collections.abc import Iterator

from asbuilt.answers.checks.rule import CANNOT_TELL, DOES_NOT, Figure, Figures, Finding, Rule, at_most
from asbuilt.answers.checks.site import Site, finding
from asbuilt.answers.circuits import feed_order
from asbuilt.answers.voltage import BRANCH_LIMIT, DropAnswer, voltage_drop
from asbuilt.record import Circuit

NOTE = "informational note of a code, no rule"


def drop(site: Site, figures: Figures) -> Iterator[Finding]:
    """The drop at the worst box of each circuit whose feed order is on record."""
    for circuit in site.wiring.circuits.values():
        steps, _ = feed_order(site.wiring, circuit, site.wiring.feeds.get(circuit.id, []))
        if steps:
            yield _worst(site, circuit, [s.to_id for s in steps], figures["most_share"])


def _worst(site: Site, circuit: Circuit, places: list[str], most: float) -> Finding:
    answers = [voltage_drop(site.view.record, circuit.id, place) for place in places]
    known = [a for a in answers if isinstance(a, DropAnswer)]
    who = site.of_circuit(circuit.id)
    if not known:
        return finding("voltage-drop", CANNOT_TELL, who, answers[0].reason)
    a = max(known, key=lambda a: max(a.share_k, a.share_resistance))
    share, sigma = max(a.share_k, a.share_resistance), a.sigma_v / a.volts
    text = (
        f"{a.drop_k_v:.1f} V ({100 * a.share_k:.1f} %) by the K method, {a.drop_resistance_v:.1f} V by Chapter 9 "
        f"at {a.name}, for {a.load}, figure {100 * most:g} %"
    )
    missing = len(answers) - len(known)
    result = at_most(share, sigma, most)
    if missing and result != DOES_NOT:
        result, text = CANNOT_TELL, f"{text}; {missing} of its places cannot be worked out"
    return finding("voltage-drop", result, who, text)


RULES = (
    Rule(
        id="voltage-drop", title="Voltage drop", standing=NOTE, clause="NFPA 70 210.19(A) informational note",
        edition="2020", source="a published worked example that names the limit as a note",
        compares="the drop at the farthest loads on record with a share of the circuit's volts",
        figures=(Figure(name="most_share", value=BRANCH_LIMIT.value, unit="1", text="3 % on a branch circuit"),),
        regions=("us",), find=drop,
    ),
)  # fmt: skip
