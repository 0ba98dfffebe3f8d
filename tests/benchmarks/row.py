"""One figure of a benchmark, the same for all of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """A figure; ``ratio`` is against ``peer`` in the same run, ``holds`` is against ``must`` where there is one.

    ``bound``: the peer was stopped, so that the ratio is at most this.
    """

    what: str
    ratio: float | None = None
    bound: bool = False
    peer: str = ""
    value: str = ""
    must: str = ""
    holds: bool | None = None


def as_markdown(title: str, rows: Sequence[Row]) -> str:
    """A table, ratios first."""
    lines = [f"## {title}", "", "| ratio | against | what | figure | must hold | holds |", "|---|---|---|---|---|---|"]
    for row in rows:
        ratio = "" if row.ratio is None else f"{'< ' if row.bound else ''}{row.ratio:.2f}"
        holds = {None: "", True: "yes", False: "**no**"}[row.holds]
        cells = (ratio, row.peer, row.what, row.value, row.must, holds)
        lines.append("| " + " | ".join(c.replace("|", "/") for c in cells) + " |")
    return "\n".join([*lines, ""])
