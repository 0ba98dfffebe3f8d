"""asbuilt elevation: what it prints, in words and as JSON, and how it fails."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from asbuilt.cli import main
from tests.truth import truth_record

MEDIA = Path(__file__).parents[2] / "sample_media"
FACE = "kiln"


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    place = tmp_path_factory.mktemp("cli") / "room"
    truth_record(place, media_folder=MEDIA, frame_step=500).close()  # photos, and next to no frames
    return str(place)


def _run(*words: str):
    return CliRunner().invoke(main, ["elevation", *words])


def test_it_says_what_it_made_and_where_and_then_that_nothing_changed(folder):
    first = _run(folder, "--face", FACE, "--scale", "3")
    assert first.exit_code == 0, first.output
    assert "3 px per inch from" in first.output and "made in" in first.output
    assert "not recorded" in first.output and "or better in 95 % of it" in first.output
    overview = first.output.split()[-1]
    assert (Path(folder) / overview).is_file()
    again = _run(folder, "--face", FACE, "--scale", "3")
    assert "unchanged" in again.output and overview in again.output
    assert "made in" in _run(folder, "--face", FACE, "--scale", "3", "--again").output


def test_a_second_plane_is_made_at_a_depth_or_where_cable_usually_lies(folder):
    asked = _run(folder, "--face", FACE, "--scale", "2", "--depth", "1 1/2 in", "--json")
    planes = json.loads(asked.output)["planes"]
    assert [p["depth_m"] for p in planes] == [0.0, pytest.approx(0.0381)]
    usual = json.loads(_run(folder, "--face", FACE, "--scale", "2", "--json", "--depth").output)["planes"][1]
    assert 0.02 < usual["depth_m"] < 0.1 and usual["elevation_id"] != planes[1]["elevation_id"]
    assert set(usual) >= {"face_id", "scale_px_per_m", "seen_share", "picture_count", "sigma_m", "folder"}


def test_wrong_words_fail_in_one_line(folder):
    for words, told in (
        ((folder, "--face", "nowhere"), "no face 'nowhere'"),
        ((folder, "--depth", "deep"), "deep"),
        ((folder, "--scale", "0"), "--scale"),
    ):
        result = _run(*words)
        assert result.exit_code != 0 and told in str(result.exception) + result.output
