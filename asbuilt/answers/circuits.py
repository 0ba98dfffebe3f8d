"""Feed order: from the panel to the first box and on; what goes dead with a breaker.

Only what was recorded as feed order is used for it. Cables whose two ends are known join
boxes, but not which of them feeds the other; they are given apart and proven by nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

from asbuilt.answers.doubts import outdated
from asbuilt.answers.reply import Reply
from asbuilt.answers.wiring import BOX, PANEL, Lead, Wiring, wiring_of
from asbuilt.errors import NotInRecordError
from asbuilt.record import Circuit, Feed, Record

BY_FEED, BY_TAG, BY_SWITCH = "by feed order", "by its circuit", "by the switch that works it"


@dataclass(frozen=True, slots=True, kw_only=True)
class FeedStep(Reply):
    """Power goes from one place to the next; ``level`` 1 leaves the panel (the home run)."""

    level: int
    from_id: str
    from_name: str
    to_id: str
    to_name: str
    cable_id: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Joint(Reply):
    """A cable whose two ends are known; which end feeds the other is not said."""

    cable_id: str
    first_id: str
    first_name: str
    last_id: str
    last_name: str
    how: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CircuitAnswer(Reply):
    """One circuit: its feed order, its home runs, what is not in the order, what contradicts."""

    circuit_id: str
    number: str
    name: str
    panel_id: str | None
    feed_recorded: bool
    steps: tuple[FeedStep, ...]
    home_runs: tuple[FeedStep, ...]
    not_in_order: tuple[str, ...]  # ids of its boxes that the feed order does not reach
    joints: tuple[Joint, ...]
    problems: tuple[str, ...]


def circuit_named(wiring: Wiring, text: str) -> Circuit:
    """A circuit by its id or its number.

    Raises
    ------
    NotInRecordError
        If there is none, or more than one of that number.
    """
    if text in wiring.circuits:
        return wiring.circuits[text]
    same = [c for c in wiring.circuits.values() if c.number == text]
    if len(same) == 1:
        return same[0]
    if same:
        raise NotInRecordError(f"circuit {text}: there are {len(same)}; name one of: {', '.join(c.id for c in same)}")
    known = ", ".join(wiring.circuits) or "there is none yet"
    raise NotInRecordError(f"no circuit {text!r} in this record; known: {known}")


def circuit_answer(record: Record, circuit_id: str) -> CircuitAnswer:
    """What is recorded of one circuit's feed order.

    Raises
    ------
    NotInRecordError
        If there is no such circuit.
    """
    wiring = wiring_of(record)
    circuit = circuit_named(wiring, circuit_id)
    feeds = wiring.feeds.get(circuit.id, [])
    steps, problems = feed_order(wiring, circuit, feeds)
    reached = {s.to_id for s in steps}
    boxes = [i.id for i in wiring.boxes.values() if i.circuit_id == circuit.id]
    return CircuitAnswer(
        circuit_id=circuit.id, number=circuit.number, name=circuit.name, panel_id=circuit.panel_id,
        feed_recorded=bool(feeds), steps=steps, home_runs=tuple(s for s in steps if s.level == 1),
        not_in_order=tuple(b for b in boxes if b not in reached) if feeds else tuple(boxes),
        joints=tuple(_joints(wiring, circuit.id)), problems=problems,
    )  # fmt: skip


def feed_order(wiring: Wiring, circuit: Circuit, feeds: list[Feed]) -> tuple[tuple[FeedStep, ...], tuple[str, ...]]:
    """The steps of a feed order from the panel on, level by level, and what contradicts in it."""
    after: dict[str, list[Feed]] = {}
    for feed in feeds:
        after.setdefault(_place(wiring, feed.comes_from), []).append(feed)
    steps: list[FeedStep] = []
    problems: list[str] = []
    seen = set(wiring.panels) & set(after)
    front, level, used = sorted(seen), 1, set()
    while front:
        reached = []
        for feed in [f for place in front for f in after.get(place, ())]:
            used.add(feed.id)
            target = _place(wiring, feed.goes_to)
            if target in seen:
                problems.append(f"{wiring.place_name(target)} is fed more than once")
                continue
            seen.add(target)
            reached.append(target)
            steps.append(_step(wiring, feed, level, target))
        front, level = reached, level + 1
    problems += [
        f"{wiring.place_name(f.goes_to)} is fed from {wiring.place_name(f.comes_from)}, which no panel feeds"
        for f in feeds
        if f.id not in used
    ]
    if any(s.level == 1 and s.from_id != circuit.panel_id for s in steps) and circuit.panel_id:
        problems.append(f"it leaves another panel than {wiring.place_name(circuit.panel_id)}")
    return tuple(steps), tuple(problems)


def _place(wiring: Wiring, place_id: str) -> str:
    return wiring.panel_of_item.get(place_id, place_id)


def _step(wiring: Wiring, feed: Feed, level: int, target: str) -> FeedStep:
    source = _place(wiring, feed.comes_from)
    return FeedStep(level=level, from_id=source, from_name=wiring.place_name(source), to_id=target,
                    to_name=wiring.place_name(target), cable_id=feed.cable_id or _only_cable(wiring, source, target),
                    )  # fmt: skip


def _only_cable(wiring: Wiring, one: str, other: str) -> str | None:
    """The cable between two places, where there is exactly one."""
    between = [lead.id for lead in wiring.leads.values() if lead.joins(one) and lead.joins(other)]
    return between[0] if len(between) == 1 else None


def _joints(wiring: Wiring, circuit_id: str):
    for lead in wiring.leads.values():
        if lead.circuit_id == circuit_id and all(e.kind in (BOX, PANEL) for e in lead.ends):
            how = " and ".join(sorted({e.how for e in lead.ends}))
            yield Joint(cable_id=lead.id, first_id=lead.first.place_id, first_name=lead.first.text,
                        last_id=lead.last.place_id, last_name=lead.last.text, how=how)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class DeadPlace(Reply):
    """A box that loses power, how that is known, and what else is in it."""

    item_id: str
    name: str
    face_id: str | None
    circuit_id: str
    how: str
    other_circuits: tuple[str, ...]  # ids that stay live in it


@dataclass(frozen=True, slots=True, kw_only=True)
class DeadAnswer(Reply):
    """What goes dead with a breaker: never proof, always to be tested."""

    circuit_ids: tuple[str, ...]  # all that go off together
    breakers: tuple[str, ...]
    why_together: tuple[str, ...]
    places: tuple[DeadPlace, ...]
    warnings: tuple[str, ...]


def goes_dead(record: Record, circuit_id: str) -> DeadAnswer:
    """What goes dead when the breaker of a circuit is switched off.

    Raises
    ------
    NotInRecordError
        If there is no such circuit.
    """
    wiring = wiring_of(record)
    start = circuit_named(wiring, circuit_id)
    circuits, why = _together(wiring, start)
    places: dict[str, DeadPlace] = {}
    for circuit in circuits:
        for item_id, how in _powered(wiring, circuit):
            places.setdefault(item_id, _dead_place(wiring, item_id, circuit, how, circuits))
    return DeadAnswer(
        circuit_ids=tuple(c.id for c in circuits), breakers=tuple(_breaker(wiring, c) for c in circuits),
        why_together=tuple(why), places=tuple(places.values()),
        warnings=tuple(_warnings(wiring, start, circuits, places)),
    )  # fmt: skip


def pair_of(wiring: Wiring, circuit: Circuit) -> Circuit | None:
    """The other half of a multiwire pair, whichever of the two names the other."""
    other = wiring.circuits.get(circuit.shares_neutral_id or "")
    return other or next((c for c in wiring.circuits.values() if c.shares_neutral_id == circuit.id), None)


def _together(wiring: Wiring, start: Circuit) -> tuple[list[Circuit], list[str]]:
    """Every circuit that loses power with one, and why."""
    found, why, queue = {start.id: start}, [], [start]
    while queue:
        circuit = queue.pop(0)
        more = []
        if (other := pair_of(wiring, circuit)) is not None and other.id not in found:
            why.append(f"circuits {circuit.number} and {other.number} share a neutral: switch off both together")
            more.append(other)
        for panel in wiring.panels.values():
            if panel.fed_from_id == circuit.id:
                own = [c for c in wiring.circuits.values() if c.panel_id == panel.id and c.id not in found]
                why.append(f"circuit {circuit.number} feeds {panel.name}, with all of its circuits")
                more += own
        for other in more:
            if other.id not in found:
                found[other.id] = other
                queue.append(other)
    return list(found.values()), why


def _powered(wiring: Wiring, circuit: Circuit):
    """(item id, how it is known) of everything a circuit powers."""
    steps, _ = feed_order(wiring, circuit, wiring.feeds.get(circuit.id, []))
    reached = [s.to_id for s in steps if s.to_id in wiring.items]
    yield from ((item_id, BY_FEED) for item_id in reached)
    tagged = [i.id for i in wiring.items.values() if i.circuit_id == circuit.id and not wiring.kind(i.id).is_run]
    yield from ((item_id, BY_TAG) for item_id in tagged)
    worked = [c.load_id for c in wiring.controls if c.switch_id in {*reached, *tagged}]
    yield from ((item_id, BY_SWITCH) for item_id in worked if item_id in wiring.items)


def circuits_in(wiring: Wiring, place_id: str) -> set[str]:
    """Every circuit that has anything in a box: its own, of the cables into it, of its feeds."""
    item = wiring.items.get(place_id)
    found = {item.circuit_id} if item and item.circuit_id else set()
    found |= {lead.circuit_id for lead in wiring.leads_at(place_id) if lead.circuit_id}
    return found | wiring.fed_circuits.get(place_id, set())


def _dead_place(wiring: Wiring, item_id: str, circuit: Circuit, how: str, off: list[Circuit]) -> DeadPlace:
    item = wiring.items[item_id]
    others = circuits_in(wiring, item_id) - {c.id for c in off}
    return DeadPlace(item_id=item_id, name=wiring.place_name(item_id), face_id=item.face_id, circuit_id=circuit.id,
                     how=how, other_circuits=tuple(sorted(others)))  # fmt: skip


def _breaker(wiring: Wiring, circuit: Circuit) -> str:
    panel = wiring.panels.get(circuit.panel_id or "")
    return f"{circuit.number} in {panel.name}" if panel else circuit.number


def _warnings(wiring: Wiring, start: Circuit, circuits: list[Circuit], places: dict[str, DeadPlace]):
    if pair := pair_of(wiring, start):
        tied = {True: "they are tied", False: "they are not tied", None: "whether they are tied is not recorded"}
        yield f"multiwire with circuit {pair.number}: {tied[start.tied if start.tied is not None else pair.tied]}"
    for place in places.values():
        if place.other_circuits:
            numbers = ", ".join(wiring.circuits[c].number for c in place.other_circuits)
            yield f"{place.name} also holds circuit {numbers}, which stays live"
    if not any(wiring.feeds.get(c.id) for c in circuits):
        yield "no feed order is recorded: this list is what was tagged with the circuit, and may be short"
    doubts = outdated(wiring.view, {i: wiring.positions[i] for i in places if i in wiring.positions})
    yield from (f"{places[item_id].name}: {text}" for item_id, text in doubts.items())
    runs = [i for i in wiring.items.values() if i.circuit_id is None and wiring.kind(i.id).hazard == "live"]
    if loose := [i for i in runs if i.kind not in ("panel",)]:
        yield f"{len(loose)} live things have no circuit on record; any of them may be on this breaker"


def downstream(record: Record, item_id: str) -> tuple[FeedStep, ...]:
    """Everything fed through a box: what goes dead if the joint in it comes apart."""
    wiring = wiring_of(record)
    found: list[FeedStep] = []
    for circuit_id, feeds in wiring.feeds.items():
        steps, _ = feed_order(wiring, wiring.circuits[circuit_id], feeds)
        through = {_place(wiring, item_id)}
        for step in steps:
            if step.from_id in through:
                through.add(step.to_id)
                found.append(step)
    return tuple(found)


def path_to(wiring: Wiring, circuit: Circuit, item_id: str) -> list[FeedStep]:
    """The steps from the panel to a box; empty where the feed order does not reach it."""
    steps, _ = feed_order(wiring, circuit, wiring.feeds.get(circuit.id, []))
    into = {s.to_id: s for s in steps}
    path: list[FeedStep] = []
    at = item_id
    while at in into:
        path.insert(0, into[at])
        at = into[at].from_id
    return path


def lead_of(wiring: Wiring, step: FeedStep) -> Lead | None:
    """The cable of a step, where it is known."""
    return wiring.leads.get(step.cable_id or "")
