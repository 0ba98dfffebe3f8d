"""The benchmark table: who takes part, ratios first, and one that fails does not hide the others."""

from __future__ import annotations

import sys
import time

import cv2
import numpy as np

from tests.benchmarks import __main__ as table
from tests.benchmarks import placing
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
    assert "cores" in text and "Quick, " in text


def test_one_measured_again_takes_its_own_place_and_leaves_the_others(tmp_path, monkeypatch):
    out = tmp_path / "r.md"
    for name, value in (("overlay", "first"), ("answers", "a"), ("overlay", "second")):
        monkeypatch.setitem(table.ADAPTERS, name, lambda quick, value=value: [Row(what="w", value=value)])
        monkeypatch.setattr(sys, "argv", ["benchmarks", "--only", name, "--out", str(out)])
        table.main()
    text = out.read_text("utf-8")
    assert "first" not in text and text.count("## ") == 2
    assert text.index("| w | a |") < text.index("| w | second |")


def test_a_peer_that_was_stopped_gives_a_bound_and_says_how_far_it_was():
    peer = placing.Peer(seconds=50.0, finished=False, reached="7 of 40 pictures registered")
    row = placing._against(peer, 10.0, "placing")
    assert "7 of 40 pictures registered" in row.value
    assert as_markdown("T", [row]).splitlines()[4].startswith("| < 0.20 | pycolmap's time |")


def test_a_peer_is_stopped_after_its_time(tmp_path, monkeypatch):
    for n in range(2):
        cv2.imwrite(str(tmp_path / f"{n}.jpg"), np.full((40, 60, 3), 90 + n, np.uint8))
    (tmp_path / "work").mkdir()
    monkeypatch.setattr(placing, "map_images", _tell_and_wait)
    peer = placing.colmap(tmp_path, tmp_path / "work", most_s=0.5)
    assert not peer.finished and peer.reached == "waiting" and 0.4 < peer.seconds < 5


def _tell_and_wait(images, folder):
    (folder / placing.REACHED).write_text("waiting", "utf-8")
    time.sleep(60)
