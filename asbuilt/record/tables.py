"""Small tables of published figures that ship with the package; ``data/SOURCES.md`` says whose."""

from __future__ import annotations

import csv
from functools import cache
from importlib import resources

Row = dict[str, float | str | None]


@cache
def table(name: str) -> tuple[Row, ...]:
    """The rows of ``data/NAME.csv``: numbers as numbers, an empty cell as None."""
    text = resources.files("asbuilt.record").joinpath("data", f"{name}.csv").read_text("utf-8")
    return tuple({key: _value(cell) for key, cell in row.items()} for row in csv.DictReader(text.splitlines()))


def _value(cell: str) -> float | str | None:
    if not cell:
        return None
    try:
        return float(cell)
    except ValueError:
        return cell
