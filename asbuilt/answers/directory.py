"""The schedule of a panel and its circuit directory: positions, spares, spaces, wording."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from asbuilt.answers.circuits import pair_of
from asbuilt.answers.reply import Reply
from asbuilt.answers.wiring import Wiring, wiring_of
from asbuilt.record import Circuit, Device, Feed, Panel, Record
from asbuilt.record.revisions import revision_of

# Words that tell nobody which circuit is meant unless a place or a purpose stands beside them.
VAGUE = frozenset(
    "a an and the of for to on in with various misc miscellaneous other others general gen all some new old extra "
    "light lights lighting lts plug plugs outlet outlets receptacle receptacles recept recepts rec socket sockets "
    "circuit circuits ckt power room rooms house building unknown tbd todo spare load loads stuff thing things "
    "main sub breaker appliance appliances equipment dedicated".split()
)
# A possessive that is no person.
NOT_A_PERSON = frozenset("men women children kids ladies gentlemen owner tenant staff visitor manager today".split())
_POSSESSIVE = re.compile(r"\b([A-Za-z]+)['\u2019]s\b")


@dataclass(frozen=True, slots=True, kw_only=True)
class Breaker(Reply):
    """One circuit in a schedule, with how many of its items are in the record and on which faces."""

    circuit_id: str
    number: str
    name: str
    amps: float | None
    volts: float | None
    poles: int
    cable: str
    feeds: str
    state: str
    item_count: int
    face_ids: tuple[str, ...]
    protection: str
    shares_neutral_with: str  # number of the other half of a multiwire pair
    tested_on: str
    tested_by: str
    doubts: tuple[str, ...]  # what is wrong with its wording


@dataclass(frozen=True, slots=True, kw_only=True)
class Schedule(Reply):
    """A panel; ``rows`` pairs the position at the left with the one at its right.

    A breaker of two poles stands at its first position and its name is repeated as a
    continuation at the other. ``loose`` are circuits whose number is no position. ``spares``
    are fitted breakers without a load, ``spaces`` empty positions; where the number of spaces
    is not on record an empty position is only one that nothing is recorded at.
    """

    panel_id: str | None
    name: str
    face_id: str | None
    amps: float | None
    volts: float | None
    main: str
    feeder: str
    fed_from: str
    space_count: int | None
    rows: tuple[tuple[dict, dict], ...]
    breakers: tuple[Breaker, ...]
    loose: tuple[Breaker, ...]
    spares: tuple[str, ...]
    spaces: tuple[int, ...]
    revision: int
    changed_at: str


def positions_of(number: str) -> list[int]:
    """``1+3`` as [1, 3]; empty if the text holds no positions."""
    text = number.strip()
    return [int(n) for n in re.split(r"[+,/ ]+", text)] if re.fullmatch(r"\d+([+,/ ]+\d+)*", text) else []


def name_doubts(circuit: Circuit, others: Sequence[Circuit]) -> tuple[list[str], list[str]]:
    """What is wrong with the wording of a circuit, and what may be.

    Returns
    -------
    sure, doubts : list of str
        Empty where the wording tells the circuit apart.
    """
    name, sure, doubts = circuit.name.strip(), [], []
    if circuit.state == "spare":
        return sure, doubts
    words = [w for w in re.findall(r"[a-z']+", name.lower()) if len(w) > 1 or w == "a"]
    if not name:
        sure.append("it is not described")
    elif not words:
        sure.append(f"{name!r} is only a number")
    elif all(word in VAGUE for word in words):
        sure.append(f"{name!r} does not say which: add the place or the purpose")
    alike = [c.number for c in others if c.id != circuit.id and _same(c, circuit)]
    if alike:
        sure.append(f"described like circuit {', '.join(alike)}: add what tells them apart")
    for owner in _POSSESSIVE.findall(name):
        if owner.lower() not in NOT_A_PERSON:
            doubts.append(f"{owner!r} may be a person: name the place, not who uses it")
    return sure, doubts


def _same(one: Circuit, other: Circuit) -> bool:
    same_panel = one.panel_id == other.panel_id
    spoken = [" ".join(f"{c.name} {c.feeds}".lower().split()) for c in (one, other)]
    return same_panel and bool(spoken[0]) and spoken[0] == spoken[1] and "spare" not in (one.state, other.state)


def schedules(record: Record) -> list[Schedule]:
    """The schedule of every panel, then of the circuits that belong to none."""
    wiring = wiring_of(record)
    panels: list[Panel | None] = [*wiring.panels.values()]
    if any(c.panel_id is None for c in wiring.circuits.values()):
        panels.append(None)
    return [_schedule(wiring, panel) for panel in panels]


def _schedule(wiring: Wiring, panel: Panel | None) -> Schedule:
    circuits = [c for c in wiring.circuits.values() if c.panel_id == (panel.id if panel else None)]
    own = sorted((_breaker(wiring, c, circuits) for c in circuits), key=_by_position)
    rows = _rows(own, panel)
    feeding = wiring.circuits.get(panel.fed_from_id or "") if panel else None
    revision = revision_of(wiring.record, (Panel, Circuit, Feed, Device))
    sides = [side for row in rows for side in row]
    return Schedule(
        panel_id=panel.id if panel else None, name=panel.name if panel else "No panel given",
        face_id=panel.face_id if panel else None, amps=panel.amps if panel else None,
        volts=panel.volts if panel else None, main=panel.main if panel else "", feeder=panel.feeder if panel else "",
        fed_from=_fed_from(wiring, feeding) if feeding else "", space_count=panel.spaces if panel else None,
        rows=rows, breakers=tuple(own), loose=tuple(b for b in own if not positions_of(b.number)),
        spares=tuple(b.number for b in own if b.state == "spare"),
        spaces=tuple(s["position"] for s in sides if s["what"] == "space"),
        revision=revision.number, changed_at=revision.changed_at,
    )  # fmt: skip


def _by_position(breaker: Breaker) -> tuple:
    return (positions_of(breaker.number) or [10_000], breaker.number)


def _fed_from(wiring: Wiring, circuit: Circuit) -> str:
    panel = wiring.panels.get(circuit.panel_id or "")
    return f"circuit {circuit.number}" + (f" of {panel.name}" if panel else "")


def _rows(own: Sequence[Breaker], panel: Panel | None) -> tuple[tuple[dict, dict], ...]:
    at: dict[int, dict] = {}
    for breaker in own:
        what = "spare" if breaker.state == "spare" else "breaker"
        for i, position in enumerate(positions_of(breaker.number)):
            at[position] = {"position": position, "circuit_id": breaker.circuit_id, "continued": i > 0, "what": what}
    spaces = panel.spaces if panel else None
    empty = "space" if spaces else "nothing recorded"
    last = max([*at, spaces or 0], default=0)

    def side(position: int) -> dict:
        beyond = spaces is not None and position > spaces and position not in at
        what = "no such space" if beyond else empty
        return at.get(position, {"position": position, "circuit_id": None, "continued": False, "what": what})

    return tuple((side(n), side(n + 1)) for n in range(1, last + 1, 2))


def _breaker(wiring: Wiring, circuit: Circuit, others: Sequence[Circuit]) -> Breaker:
    items = [i for i in wiring.items.values() if i.circuit_id == circuit.id]
    faces = dict.fromkeys(p.face_id for i in items for p in wiring.positions.get(i.id, ()))
    pair = pair_of(wiring, circuit)
    test = wiring.tests.get(("circuit", circuit.id))
    sure, doubts = name_doubts(circuit, others)
    return Breaker(
        circuit_id=circuit.id, number=circuit.number, name=circuit.name, amps=circuit.amps, volts=circuit.volts,
        poles=circuit.poles, cable=circuit.cable, feeds=circuit.feeds, state=circuit.state, item_count=len(items),
        face_ids=tuple(faces), protection=circuit.protection, shares_neutral_with=pair.number if pair else "",
        tested_on=test.date if test else "", tested_by=test.tested_by if test else "", doubts=(*sure, *doubts),
    )  # fmt: skip
