"""asbuilt add, pictures and file."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from asbuilt.cli import main
from asbuilt.record import Face, Record, Room
from tests.clips import framed_wall, walk_along, write_clip

SAMPLE = Path(__file__).parents[2] / "sample_media"


@pytest.fixture
def folder(tmp_path):
    with Record.create(tmp_path / "r", "House") as record:
        record.put(Room(id="studio", name="Studio"))
        record.put(Face(id="north", room_id="studio", title="North", length_m=4, height_m=2.7))
    return str(tmp_path / "r")


@pytest.fixture
def clip(tmp_path):
    return str(write_clip(tmp_path / "walk.mp4", walk_along(framed_wall(1500), 30, 20), np.arange(30) / 10))


def run(*args, code=0):
    result = CliRunner().invoke(main, args, prog_name="asbuilt")
    assert result.exit_code == code, result.output
    return result


def test_add_tells_what_was_kept_what_was_not_and_what_to_do_next(folder, clip, tmp_path):
    (tmp_path / "note.jpg").write_text("not a photo")
    result = run("add", folder, str(SAMPLE / "open_01.jpg"), clip, str(tmp_path / "note.jpg"))
    assert "open_01.jpg: 1 picture of the open walls" in result.output
    assert "walk.mp4: " in result.output
    assert "not used: note.jpg is neither a photo (JPEG, PNG, HEIC, TIFF) nor a video" in result.output
    assert "pictures are not filed under a face yet" in result.output
    assert "already in the record" in run("add", folder, clip).output


def test_add_of_nothing_usable_fails(folder, tmp_path):
    (tmp_path / "note.jpg").write_text("not a photo")
    run("add", folder, str(tmp_path / "note.jpg"), code=1)
    assert "nothing to take in" in run("add", folder).output


def test_add_prints_json(folder, clip):
    data = json.loads(run("add", folder, clip, "--json").stdout)
    assert data["files"][0]["outcome"] == "added" and data["files"][0]["picture_count"] == len(data["unfiled_ids"])


def test_finished_walls_are_taken_in_as_such(folder):
    output = run("add", folder, str(SAMPLE / "closed_01.jpg"), "--stage", "covered").output
    assert "closed_01.jpg: 1 picture of the finished walls" in output
    assert json.loads(run("pictures", folder, "--json").stdout)[0]["stage"] == "covered"


def test_pictures_lists_all_and_names_the_unfiled(folder, clip):
    run("add", folder, str(SAMPLE / "open_01.jpg"), clip)
    pictures = json.loads(run("pictures", folder, "--json").stdout)
    assert {p["file"] for p in pictures} == {"open_01.jpg", "walk.mp4"}
    assert all(p["face_id"] is None and p["placed"] == "not tried" for p in pictures)
    output = run("pictures", folder).output
    assert output.count("not filed") == len(pictures)
    assert f"{len(pictures)} pictures are filed under no face" in output


def test_filing_by_hand_takes_pictures_off_the_unfiled_list(folder, clip):
    run("add", folder, str(SAMPLE / "open_01.jpg"), clip)
    count = len(json.loads(run("pictures", folder, "--json").stdout))
    assert "filed 1 picture under north" in run("file", folder, "open_01.jpg", "--face", "north").output
    (filed,) = json.loads(run("pictures", folder, "--face", "north", "--json").stdout)
    assert (filed["file"], filed["filed_by"], filed["room_id"]) == ("open_01.jpg", "hand", "studio")
    assert len(json.loads(run("pictures", folder, "--unfiled", "--json").stdout)) == count - 1
    run("file", folder, "walk.mp4", "--face", "north", "--to", "1")
    times_s = [p["pts_s"] for p in json.loads(run("pictures", folder, "--unfiled", "--json").stdout)]
    assert min(times_s) > 1


def test_wrong_names_get_one_line(folder):
    # The group's own entry point prints these as one line with exit code 1.
    for args, words in (
        (("file", folder, "x.jpg", "--face", "north"), "no picture and no file called 'x.jpg'"),
        (("pictures", folder, "--face", "west"), "no face 'west'"),
    ):
        result = run(*args, code=1)
        assert words in result.stderr and result.stderr.count("\n") == 1
