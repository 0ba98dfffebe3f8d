"""The commands that answer, as a person types them."""

from __future__ import annotations

import json

import pytest
from click.testing import CliRunner

from asbuilt.cli import main
from tests.truth import truth_record


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    path = tmp_path_factory.mktemp("cli") / "studio"
    truth_record(path, frame_step=12).close()
    return str(path)


def _run(*args: str) -> tuple[int, str]:
    result = CliRunner().invoke(main, list(args))
    return result.exit_code, result.output


def test_coverage_lists_what_to_photograph_again(folder):
    code, text = _run("coverage", folder)
    assert code == 0
    assert "Kiln face: not yet" in text and "no placed picture shows it" in text
    _, as_json = _run("coverage", folder, "--json")
    answer = json.loads(as_json)
    assert [f["face_id"] for f in answer["faces"]] == ["street", "kiln", "garden", "partition"]


def test_behind_speaks_feet_inches_and_millimetres(folder):
    for offset in ("6' 3-1/2", "75 1/2in", "1.918m"):
        code, text = _run("behind", folder, "kiln", offset, "--height", "2ft")
        assert code == 0 and "kiln outlet 50 A" in text
    answer = json.loads(_run("behind", folder, "kiln", "75.5", "--json")[1])
    assert answer["offset_m"] == pytest.approx(75.5 * 0.0254)


def test_drill_says_one_of_four_things(folder):
    _run("coverage", folder)
    args = ("drill", folder, "kiln", "--at", "8ft 2in", "--height", "41in", "--bit", "3/8in")
    assert "HIT EXPECTED" in _run(*args, "--depth", "3-1/2in")[1]
    shallow = _run(*args, "--depth", "1-1/2in")[1]
    assert "NOTHING RECORDED HERE" in shallow
    from_stud = json.loads(_run(*args, "--depth", "1in", "--from", "stud", "--json")[1])
    assert from_stud["tip_m"] == pytest.approx(0.0254)
    outside = json.loads(_run(*args, "--depth", "4in", "--from", "outside", "--json")[1])
    assert outside["inside_offset_m"] == pytest.approx((14 * 12 + 0.5 - 8 * 12 - 2) * 0.0254, abs=2e-3)
    code, text = _run("drill", folder, "partition", "--at", "3ft", "--height", "3ft", "--from", "outside")
    assert code == 1 and "not on record as an outside wall" in text
    places = json.loads(_run(*args, "--depth", "3-1/2in", "--instead", "8in", "--json")[1])["instead"]
    assert places and all(p["clearance_m"] > 0 for p in places)


def test_a_pattern_comes_from_a_file_whose_bad_line_is_named(folder, tmp_path):
    rail = tmp_path / "rail.txt"
    rail.write_text("# a rail\n0, 0\n16in, 0\n32in, 1/2in\n")
    args = ("drill", folder, "street", "--at", "3ft", "--height", "6ft", "--holes", str(rail), "--shift", "6in")
    code, text = _run(*args)
    assert code == 0 and "3 holes" in text and "Best within the allowed range" in text
    assert len(json.loads(_run(*args, "--json")[1])["holes"]) == 3
    rail.write_text("0, 0\nsixteen, 0\n")
    code, text = _run(*args)
    assert code == 1 and "rail.txt, line 2" in text


def test_find_and_pole_answer(folder):
    assert "spare coil" in _run("find", folder, "--kind", "coil")[1]
    assert "stud 1, centre" in _run("pole", folder, "garden", "--height", "4ft")[1]
    assert json.loads(_run("pole", folder, "garden", "--json")[1])["face_id"] == "garden"


def test_an_event_makes_answers_doubtful_until_it_is_removed(folder):
    code, text = _run("event", "add", folder, "opened", "--face", "kiln", "--left", "3ft", "--right", "5ft",
                      "--day", "2026-05-02", "--note", "leak")  # fmt: skip
    assert code == 0 and "event-1" in text
    assert "DOUBTFUL: the wall was opened on 2026-05-02" in _run("behind", folder, "kiln", "4ft")[1]
    assert "event-1" in _run("event", "list", folder)[1]
    assert _run("event", "remove", folder, "event-1")[0] == 0
    assert "DOUBTFUL" not in _run("behind", folder, "kiln", "4ft")[1]


@pytest.mark.parametrize(
    ("args", "words"),
    [
        (("event", "add", "{}", "exploded"), "not a kind of event"),
        (("event", "add", "{}", "opened", "--day", "yesterday"), "is not a day"),
        (("event", "add", "{}", "opened", "--face", "attic"), "attic"),
        (("event", "add", "{}", "opened", "--face", "kiln", "--left", "5ft", "--right", "4ft"), "empty"),
        (("behind", "{}", "attic", "6ft"), "its faces are: street, kiln"),
        (("behind", "{}", "kiln", "60ft"), "not on face kiln"),
        (("behind", "{}", "kiln", "six feet"), "six feet"),
        (("find", "{}"), "say what to find"),
        (("drill", "{}", "kiln", "--at", "6ft", "--height", "4ft", "--bit", "0in"), "bit"),
        (("drill", "{}", "kiln", "--at", "6ft", "--height", "4ft", "--rule", "folklore"), "no rule"),
    ],
)
def test_a_mistake_is_one_clear_line_and_exit_code_1(folder, args, words):
    code, text = _run(*(a.format(folder) for a in args))
    assert code == 1
    assert words in text and len(text.strip().splitlines()) == 1
