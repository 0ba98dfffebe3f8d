"""asbuilt new."""

from __future__ import annotations

from click.testing import CliRunner

from asbuilt.cli import main
from asbuilt.record import Record


def test_makes_a_record_that_opens(tmp_path, monkeypatch):
    monkeypatch.setenv("ASBUILT_AUTHOR", "someone")
    result = CliRunner().invoke(main, ["new", str(tmp_path / "house"), "--name", "Our house", "--unit", "mm"])
    assert result.exit_code == 0, result.output
    with Record.open(tmp_path / "house") as record:
        assert (record.building.name, record.building.unit) == ("Our house", "mm")
        assert record.history()[0]["author"] == "someone"


def test_the_folder_names_the_building_by_default(tmp_path):
    CliRunner().invoke(main, ["new", str(tmp_path / "barn")])
    with Record.open(tmp_path / "barn") as record:
        assert (record.building.name, record.building.unit) == ("barn", "in")


def test_refuses_to_write_over_a_record(tmp_path):
    CliRunner().invoke(main, ["new", str(tmp_path / "house")])
    result = CliRunner().invoke(main, ["new", str(tmp_path / "house"), "--name", "Other"])
    assert result.exit_code == 1
    assert "already holds a record" in result.stderr
    with Record.open(tmp_path / "house") as record:
        assert record.building.name == "house"
