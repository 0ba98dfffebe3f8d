"""A small wall to try one rule on: a room with one face, a panel and one circuit."""

from __future__ import annotations

from dataclasses import replace
from itertools import count

from asbuilt.answers.checks.run import run_checks
from asbuilt.record import (
    BoxDetail,
    Building,
    Cable,
    Circuit,
    Covering,
    Face,
    Hole,
    Item,
    Panel,
    Record,
    Room,
    TapedPlace,
)
from asbuilt.record.taped import write_taped
from asbuilt.units import parse_length as m

ROOM = Room(id="r", name="Room", closed=False)
FACE = Face(id="north", room_id="r", title="North face", length_m=m("12 ft"), height_m=m("8 ft"))  # 2x4, 16 in
BOARD = Covering(id="north-board", face_id="north", material="gypsum board", thickness_m=m("1/2 in"))
PANEL = Panel(id="main", name="Main panel", amps=100, volts=240, spaces=20)
CIRCUIT = Circuit(id="1", panel_id="main", number="1", name="bench by the window", amps=20, volts=120,
                  cable="12/2 NM-B yellow", state="roughed in")  # fmt: skip
SECOND = replace(CIRCUIT, id="2", number="2", name="lamps over the bench")
FIRM_M = 1e-4  # as good as exact, where an error is not what is tried
_COUNTER = count()


def box(item_id: str = "b1", **attrs) -> Item:
    """A device box of circuit 1."""
    return Item(**{"id": item_id, "kind": "device box", "face_id": "north", "circuit_id": "1", "gangs": 1, **attrs})


def run(item_id: str = "c1", **attrs) -> Item:
    """A cable of circuit 1."""
    return Item(**{"id": item_id, "kind": "cable", "face_id": "north", "circuit_id": "1", **attrs})


def taped(item_id: str, offset, height, depth=None, *, sigma_m: float = FIRM_M, **attrs) -> TapedPlace:
    """A place of an item, in inches or as people write lengths."""
    return TapedPlace(
        id=f"{item_id}-{next(_COUNTER)}", item_id=item_id, face_id=attrs.pop("face_id", "north"),
        order_idx=attrs.pop("order_idx", next(_COUNTER)), offset_m=m(offset), height_m=m(height),
        depth_m=None if depth is None else m(depth), sigma_m=sigma_m, sigma_depth_m=attrs.pop("sigma_depth_m", sigma_m),
    )  # fmt: skip


def cable(cable_id: str = "C1", words: str = "12/2 NM-B yellow", *ends: str, **attrs) -> Cable:
    """A described cable of circuit 1 with its two ends."""
    first, last = ends or ("main", "b1")
    return Cable(**{"id": cable_id, "circuit_id": "1", "type": words, "comes_from": first, "goes_to": last, **attrs})


def hole(size, offset=32, height=48, depth=None, **attrs) -> Hole:
    """A hole bored into a stud of the face."""
    depth_m = None if depth is None else m(depth)
    return Hole(**{"id": "h1", "face_id": "north", "offset_m": m(offset), "height_m": m(height), "depth_m": depth_m,
                   "size_m": m(size), "sigma_m": FIRM_M, **attrs})  # fmt: skip


def detail(item_id: str = "b1", volume_in3: float | None = None, **attrs) -> BoxDetail:
    """What is known of a box; volume in cubic inches."""
    return BoxDetail(id=item_id, volume_m3=None if volume_in3 is None else volume_in3 * 0.0254**3, **attrs)


def bench(folder, *rows, building: Building | None = None) -> Record:
    """A record of the small wall with more rows; a row of a known id takes its place."""
    record = Record.create(folder, "Bench")
    rows = [building or Building(name="Bench"), ROOM, FACE, BOARD, PANEL, CIRCUIT, *rows]
    record.put(*{(type(row), row.id): row for row in rows}.values())
    write_taped(record)
    return record


def results(record: Record, rule_id: str) -> dict[str, str]:
    """Subject to the result that one rule gives it."""
    found = [rule for rule in run_checks(record).rules if rule.rule_id == rule_id]
    assert found, f"{rule_id} was not looked at"
    return {f.subject_id: f.result for f in found[0].findings}
