"""Answers about circuits in words for the screen."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from asbuilt.answers.cables import CableRow
from asbuilt.answers.circuits import CircuitAnswer, DeadAnswer, FeedStep
from asbuilt.answers.control import Controlled
from asbuilt.answers.directory import Breaker, Schedule
from asbuilt.answers.load import PanelLoad
from asbuilt.answers.voltage import DropAnswer
from asbuilt.units import format_error, format_length

PROVE = "A label is not proof. Prove dead with a contact tester before touching any conductor."
APART = "Feed order, routes and switches are kept apart: none is worked out from another."


def schedule_text(panels: Sequence[Schedule]) -> str:
    """The schedule of every panel: positions in pairs, then what stands beside them."""
    return "\n\n".join(["\n".join(_schedule_lines(p)) for p in panels] or ["no panel and no circuit yet"])


def _schedule_lines(panel: Schedule) -> Iterator[str]:
    by_id = {b.circuit_id: b for b in panel.breakers}
    facts = [f"{panel.amps:g} A" if panel.amps else "", f"{panel.volts:g} V" if panel.volts else "", panel.main,
             f"feeder {panel.feeder}" if panel.feeder else "", f"fed from {panel.fed_from}" if panel.fed_from else "",
             f"{panel.space_count} spaces" if panel.space_count else "number of spaces not on record"]  # fmt: skip
    yield f"{panel.name}: {', '.join(filter(None, facts))}"
    left = [_side_text(row[0], by_id) for row in panel.rows]
    width = max(map(len, left), default=0)
    for row, words in zip(panel.rows, left, strict=True):
        yield f"{row[0]['position']:>3} {words:<{width}} | {row[1]['position']:>3} {_side_text(row[1], by_id)}".rstrip()
    yield from (f"  no position: {b.number} {b.name}" for b in panel.loose)
    changed = f", last changed {panel.changed_at[:10]}" if panel.changed_at else ""
    yield f"revision {panel.revision}{changed}"
    yield from (f"  {b.number}: {doubt}" for b in panel.breakers for doubt in b.doubts)


def _side_text(side: dict, by_id: dict[str, Breaker]) -> str:
    breaker = by_id.get(side["circuit_id"])
    if breaker is None:
        return side["what"]
    if side["continued"]:
        return f"  (with {breaker.number})"
    facts = [f"{breaker.amps:g} A" if breaker.amps else "", breaker.cable, breaker.protection,
             f"shares neutral with {breaker.shares_neutral_with}" if breaker.shares_neutral_with else "",
             f"tested {breaker.tested_on}" if breaker.tested_on else ""]  # fmt: skip
    return ", ".join(filter(None, [described(breaker), *facts]))


def described(breaker: Breaker) -> str:
    """What a breaker is for, in the words of the directory."""
    name = breaker.name if breaker.state != "spare" or "spare" in breaker.name.lower() else f"spare: {breaker.name}"
    return f"{name}: {breaker.feeds}" if breaker.feeds else name


def circuit_text(answer: CircuitAnswer, controls: Sequence[Controlled]) -> str:
    """The feed order of a circuit, what only its cables join, and what is switched."""
    lines = [f"circuit {answer.number} {answer.name}"]
    if answer.feed_recorded:
        lines.append("feed order:")
        lines += [_step_line(step) for step in answer.steps]
    else:
        lines.append("feed order: not on record")
    if answer.not_in_order:
        lines.append(f"not in the feed order: {len(answer.not_in_order)} of its boxes")
    lines += [f"does not fit: {problem}" for problem in answer.problems]
    if answer.joints:
        lines.append("cables whose two ends are known (which end feeds is not said by them):")
        lines += [f"  {j.cable_id}: {j.first_name} - {j.last_name} ({j.how})" for j in answer.joints]
    for load in controls:
        ways = ", ".join(f"{s.switch_name}{'' if s.way == 'single' else f' ({s.way})'}" for s in load.switches)
        lines.append(f"{load.load_name} is worked from {ways}")
    return "\n".join([*lines, APART])


def _step_line(step: FeedStep) -> str:
    cable = f", cable {step.cable_id}" if step.cable_id else ""
    home = " (home run)" if step.level == 1 else ""
    return f"{'  ' * step.level}{step.from_name} -> {step.to_name}{cable}{home}"


def dead_text(answer: DeadAnswer) -> str:
    """What goes dead with a breaker."""
    lines = [f"Switch off breaker {'; '.join(answer.breakers)}."]
    lines += [f"{why}." for why in answer.why_together]
    lines.append("On record as going dead:" if answer.places else "Nothing is on record as going dead.")
    for place in answer.places:
        face = f", {place.face_id} face" if place.face_id else ""
        lines.append(f"  {place.name}{face} ({place.how})")
    lines += [f"Mind: {warning}." for warning in answer.warnings]
    return "\n".join([*lines, PROVE])


def cables_text(rows: Sequence[CableRow], unit: str) -> str:
    """The cable schedule: id, kind, ends, length, test."""
    return "\n".join(_cable_line(row, unit) for row in rows) or "no cable is on record yet"


def _cable_line(row: CableRow, unit: str) -> str:
    tested = f"tested {row.tested_on} {row.test_result}".strip() if row.tested_on else "no test on record"
    facts = [row.words or "kind not on record", f"{row.from_text} - {row.to_text}", length_text(row, unit),
             f"circuit {row.circuit_number}" if row.circuit_number else "", tested]  # fmt: skip
    return f"{row.cable_id}{f' {row.label}' if row.label else ''}: {'; '.join(filter(None, facts))}"


def length_text(row: CableRow, unit: str) -> str:
    """The length of a cable with its error, and what is in it."""
    length = row.length
    if length.total_m is None:
        return f"length: {length.basis}"
    at_least = "" if length.whole else "at least "
    text = f"{at_least}{format_length(length.total_m, unit, length.sigma_m)} {format_error(length.sigma_m, unit)}"
    coil = f", {format_length(length.coil_m, unit)} of it coiled" if length.coil_m else ""
    return f"{text}, {length.basis}{coil}"


def drop_text(answer: DropAnswer, unit: str) -> str:
    """The voltage drop at a box by both methods."""
    error = 1.96 * answer.sigma_v
    lines = [
        f"{answer.name}, circuit {answer.circuit_id}, {answer.volts:g} V, {answer.load}",
        f"  K method:  {answer.drop_k_v:.1f} V, {100 * answer.share_k:.1f} %",
        f"  Chapter 9: {answer.drop_resistance_v:.1f} V, {100 * answer.share_resistance:.1f} %",
        f"  +/- {error:.1f} V at 95 % from the lengths alone",
    ]
    for s in answer.steps:
        length = f"{format_length(s.length_m, unit, s.sigma_m)} {format_error(s.sigma_m, unit)}"
        lines.append(f"  {s.cable_id} to {s.to_name}: {s.size}, {length}, {s.amps:.1f} A, {s.drop_k_v:.2f} V")
    lines.append("3 % on a branch circuit and 5 % in all are informational notes of the code, no rules.")
    return "\n".join([*lines, *(f"Mind: {note}." for note in answer.notes)])


def load_text(panels: Sequence[PanelLoad]) -> str:
    """The connected load of every panel."""
    return "\n\n".join("\n".join(_load_lines(p)) for p in panels) or "no panel and no circuit yet"


def _load_lines(panel: PanelLoad) -> Iterator[str]:
    supply = f" of {panel.supply_va:g} VA" if panel.supply_va else ""
    legs = " and ".join(f"{va:g}" for va in panel.legs_va)
    yield f"{panel.name}: {panel.load_va:g} VA noted{supply}, legs {legs} VA"
    for c in panel.circuits:
        share = f", {100 * c.share:.0f} % of {c.rating_va:g} VA" if c.share is not None else ""
        devices = "device" if c.unnoted_count == 1 else "devices"
        unnoted = f"; {c.unnoted_count} {devices} without a load on record" if c.unnoted_count else ""
        yield f"  {c.number} {c.name}: {c.load_va:g} VA noted{share}{unnoted}"
    spare = ", ".join(panel.spare_positions) or "none"
    spaces = panel.empty_spaces if panel.empty_spaces is not None else "not on record"
    yield f"  spare breakers: {spare}; empty spaces: {spaces}"
    yield f"  {panel.limits}"
