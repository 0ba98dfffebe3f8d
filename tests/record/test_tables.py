"""Tables of published figures: read as numbers, each with a line that says where it comes from."""

from __future__ import annotations

from importlib import resources

import pytest

from asbuilt.record.tables import table

DATA = resources.files("asbuilt.record").joinpath("data")
NAMES = sorted(p.name for p in DATA.iterdir() if p.name.endswith(".csv"))


def test_there_are_tables():
    assert len(NAMES) >= 6


@pytest.mark.parametrize("name", NAMES)
def test_every_table_has_its_line_of_sources_and_plain_values(name):
    assert f"| `{name}` |" in DATA.joinpath("SOURCES.md").read_text("utf-8")
    rows = table(name.removesuffix(".csv"))
    assert rows and all(set(row) == set(rows[0]) for row in rows)
    assert all(value is None or isinstance(value, (float, str)) for row in rows for value in row.values())


def test_an_empty_cell_is_nothing_not_nought():
    six = next(row for row in table("conductors_nec2020") if row["awg"] == 6)
    assert six["ohm_per_kft_solid"] is None and six["ohm_per_kft_stranded"] == 0.491
