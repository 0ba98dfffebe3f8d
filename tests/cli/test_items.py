"""asbuilt items."""

from __future__ import annotations

import json

import pytest
from click.testing import CliRunner

from asbuilt.cli import main
from asbuilt.record import Circuit, Face, Item, Position, Record, Room


@pytest.fixture
def house(tmp_path):
    def spot(idx: int, offset_m: float, sigma_m: float) -> Position:
        return Position(id=f"run-{idx}", item_id="run", place=f"p{idx}", order_idx=idx, face_id="north",
                        offset_m=offset_m, height_m=1.2192, depth_m=0.04,
                        covariance=((sigma_m**2, 0, 0), (0, 1e-6, 0), (0, 0, 1e-4)),
                        method="intersected", picture_count=2)  # fmt: skip

    with Record.create(tmp_path / "house", "House") as record:
        record.put(
            Room(id="shed", name="Shed"),
            Face(id="north", room_id="shed", title="North", length_m=4.0, height_m=2.4),
            Circuit(id="c2", number="2", name="bench"),
            Item(id="run", kind="cable", label="to the bench", circuit_id="c2"),
            Item(id="box", kind="device box"),
            spot(0, 1.8288, 0.001),
            spot(1, 2.7559, 0.012),
        )
    return str(tmp_path / "house")


def test_items_are_listed_with_where_they_were_measured(house):
    lines = CliRunner().invoke(main, ["items", house]).stdout.splitlines()
    # Offsets are shown no finer than the worse of the two spots (sigma 12 mm: to 1/4 in).
    assert "6 ft 0 in to 9 ft 0-1/2 in" in lines[1] and "4 ft 0 in" in lines[1] and "north" in lines[1]
    assert lines[2].split()[:3] == ["box", "device", "box"]
    assert lines[2].count("not located") == 2


def test_items_as_json_are_in_metres(house):
    listed = json.loads(CliRunner().invoke(main, ["items", house, "--circuit", "2", "--json"]).stdout)
    assert [row["id"] for row in listed] == ["run"]
    assert listed[0]["offsets_m"] == [1.8288, 2.7559] and listed[0]["sigma_offset_m"] == pytest.approx(0.012)


def test_no_item_does_not_read_like_an_empty_wall(house):
    text = CliRunner().invoke(main, ["items", house, "--face", "south"]).stdout
    assert "does not mean that nothing is there" in text
