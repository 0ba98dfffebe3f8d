"""The benchmark table: who takes part, ratios first, and one that fails does not hide the others."""

from __future__ import annotations

import sys

from tests.benchmarks import __main__ as table
from tests.benchmarks.row import Row, as_markdown


def test_every_benchmark_with_rows_takes_part_once():
    found = table.names()
    assert len(found) == len(set(found)) >= 7
    assert {"intake", "long_inputs", "library", "elevation", "answers"} <= set(found)
    assert "row" not in found and "adapters" not in found


def test_ratios_come_first_and_what_does_not_hold_stands_out():
    text = as_markdown("T", [Row(what="w", ratio=1.234, peer="p", value="1 | 2", must="m", holds=False), Row(what="x")])
    header, _, first, second = text.splitlines()[2:6]
    assert header.startswith("| ratio |")
    assert first == "| 1.23 | p | w | 1 / 2 | m | **no** |"
    assert second == "|  |  | x |  |  |  |"


def test_one_that_cannot_run_is_listed_and_the_others_are_written(tmp_path, monkeypatch):
    def broken(quick):
        raise OSError("no disk")

    monkeypatch.setitem(table.ADAPTERS, "answers", broken)
    monkeypatch.setitem(table.ADAPTERS, "overlay", lambda quick: [Row(what="seen", value=str(quick))])
    out = tmp_path / "r.md"
    monkeypatch.setattr(sys, "argv", ["benchmarks", "--quick", "--only", "answers", "overlay", "--out", str(out)])
    table.main()
    text = out.read_text("utf-8")
    assert "OSError: no disk" in text and "| seen | True |" in text
    assert "cores" in text and "Quick run" in text
