"""Whether what a plan says of the wiring agrees with itself: ends that exist, members that exist."""

from __future__ import annotations

from collections.abc import Callable

from asbuilt.record.types import Circuit, Item, Panel
from asbuilt.record.wiring import BoxDetail, Cable, Feed, Hole, Verification

Rows = dict[type, dict]
Refuse = Callable[..., None]


def check_wiring(rows: Rows, refuse: Refuse) -> None:
    """Refuse an end, a run or a target that is not there."""
    for box in rows[BoxDetail].values():
        _needs(rows, refuse, box, "id", box.id, (Item,), "item")
    for feed in rows[Feed].values():
        for attr in ("comes_from", "goes_to"):
            _needs(rows, refuse, feed, attr, getattr(feed, attr), (Item, Panel), "box or panel")
    for cable in rows[Cable].values():
        for item_id in cable.item_ids:
            _needs(rows, refuse, cable, "item_ids", item_id, (Item,), "item")
    for hole in rows[Hole].values():
        for cable_id in hole.cable_ids:
            _needs(rows, refuse, hole, "cable_ids", cable_id, (Cable,), "cable")
    for test in rows[Verification].values():
        wanted = Circuit if test.target == "circuit" else Cable
        _needs(rows, refuse, test, "target_id", test.target_id, (wanted,), test.target)


def _needs(rows: Rows, refuse: Refuse, row, attr: str, named: str, classes: tuple[type, ...], what: str) -> None:
    if not any(named in rows[cls] for cls in classes):
        known = ", ".join([*(name for cls in classes for name in rows[cls])][:12]) or "there is none yet"
        refuse(row, attr, f"there is no {what} {named!r}; known: {known}")
