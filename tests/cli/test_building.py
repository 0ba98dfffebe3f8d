"""A building described command by command is the same as one described by a plan file."""

from __future__ import annotations

import json

import pytest
from click.testing import CliRunner

from asbuilt.cli import main
from asbuilt.record import Circuit, Covering, Face, Item, Marker, Opening, Panel, Record, ReferencePoint, Room, Stud
from asbuilt.record.plan import export_plan, load_plan

COMMANDS = [
    ["room", "add", "shed", "--finished-floor", "3/4 in"],
    ["face", "add", "north", "--room", "shed", "--length", "12 ft", "--height", "96", "--stud", "2x6"],
    ["opening", "add", "--face", "north", "--kind", "window", "--left", "4' 0-1/2\"", "--right", "80",
     "--bottom", "1 m", "--top", "1910 mm"],
    ["covering", "add", "--face", "north", "--material", "gypsum board", "--thickness", "1/2in"],
    ["stud", "add", "--face", "north", "--center", "16 in"],
    ["marker", "add", "7", "--face", "north", "--offset", "6 ft 1-1/4 in", "--height", "4 ft", "--depth", "-1/2 in"],
    ["reference", "add", "nail", "--face", "north", "--offset", "3 ft", "--height", "4 ft"],
    ["panel", "add", "main", "--face", "north", "--amps", "100"],
    ["circuit", "add", "1+3", "--name", "heater", "--amps", "30", "--panel", "main"],
]  # fmt: skip

PLAN = """\
[[room]]
id = "shed"
finished_floor = "3/4 in"

[[face]]
id = "north"
room = "shed"
length = "12 ft"
height = 96
stud = "2x6"

[[opening]]
face = "north"
kind = "window"
left = "4 ft 0-1/2 in"
right = 80
bottom = "1 m"
top = "1910 mm"

[[covering]]
face = "north"
material = "gypsum board"
thickness = "1/2 in"

[[stud]]
face = "north"
center = 16

[[marker]]
id = 7
face = "north"
offset = "6 ft 1-1/4 in"
height = "4 ft"
depth = "-1/2 in"

[[reference]]
id = "nail"
face = "north"
offset = "3 ft"
height = "4 ft"

[[panel]]
id = "main"
face = "north"
amps = 100

[[circuit]]
number = "1+3"
name = "heater"
amps = 30
panel = "main"
"""


def _run(*words: str, code: int = 0):
    result = CliRunner().invoke(main, list(words))
    assert result.exit_code == code, result.output
    return result


@pytest.fixture
def house(tmp_path):
    Record.create(tmp_path / "house", "House").close()
    return str(tmp_path / "house")


def _build(house: str) -> None:
    for table, verb, *words in COMMANDS:
        _run(table, verb, house, *words)


def test_commands_and_a_plan_file_make_the_same_building(house, tmp_path):
    _build(house)
    (tmp_path / "plan.toml").write_text(PLAN)
    with Record.open(house) as by_hand, Record.create(tmp_path / "other", "House") as by_plan:
        load_plan(by_plan, tmp_path / "plan.toml")
        for cls in (Room, Face, Opening, Covering, Stud, Marker, ReferencePoint, Panel, Circuit):
            assert by_hand.all(cls) == by_plan.all(cls) != [], cls
        assert by_hand.get(Marker, 7).depth_m == -0.0127


def test_adding_twice_is_refused_and_changing_says_only_what_changes(house):
    _build(house)
    assert "already in the record" in _run("marker", "add", house, "7", "--face", "north", code=1).stderr
    _run("marker", "change", house, "7", "--offset", "6 ft 1-1/2 in")
    with Record.open(house) as record:
        marker = record.get(Marker, 7)
        assert (marker.offset_m, marker.height_m, marker.depth_m) == (1.8669, 1.2192, -0.0127)


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["marker", "add", "8", "--face", "nroth"], "marker --face: there is no face 'nroth'; known: north"),
        (["marker", "add", "8", "--face", "north", "--offset", "tall"], "marker --offset: 'tall' is not a length"),
        (["marker", "add", "x", "--face", "north"], "marker --id: 'x' is not a number"),
        (["marker", "add", "8"], "Missing option '--face'"),
        (["marker", "change", "8", "--offset", "1 ft"], "no marker 8"),
        (["marker", "change", "7", "--offset", "13 ft"], "marker --offset: 13 ft 0 in is not on face north"),
        (["opening", "change", "north-window", "--left", "10 ft"], "left must be less than right"),
        (["circuit", "add", "3", "--name", "lamp", "--panel", "main"], "breaker position 3 is taken by 'heater'"),
        (["circuit", "change", "1+3", "--state", "dead"], "state 'dead' is not one of"),
        (["face", "change", "north", "--exterior", "perhaps"], "'perhaps' is neither true nor false"),
        (["covering", "change", "north-layer", "--date", "soon"], "'soon' is not a date"),
        (["face", "remove", "north"], "would refer to faces that are not there"),
        (["room", "remove", "attic"], "no room 'attic'"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_one_line_and_changes_nothing(house, words, message):
    _build(house)
    with Record.open(house) as record:
        before = export_plan(record)
    result = _run(*words[:2], house, *words[2:], code=1)
    assert message in result.stderr
    assert len(result.stderr.splitlines()) == 1
    with Record.open(house) as record:
        assert export_plan(record) == before


def test_a_part_can_be_taken_out(house):
    _build(house)
    _run("marker", "remove", house, "7")
    with Record.open(house) as record:
        assert record.all(Marker) == []


def test_parts_are_listed_for_people_and_programs(house):
    _build(house)
    assert "6 ft 1-1/4 in" in _run("marker", "list", house).stdout
    listed = json.loads(_run("marker", "list", house, "--json").stdout)
    assert listed[0]["offset_m"] == 1.86055
    assert "no reference yet" not in _run("reference", "list", house).stdout


def test_plan_commands_load_export_and_never_write_over_a_file(house, tmp_path):
    plan = tmp_path / "plan.toml"
    plan.write_text(PLAN)
    assert "added: room 1, face 1" in _run("plan", "load", house, str(plan)).stdout
    assert _run("plan", "load", house, str(plan)).stdout == "already so: 9\n"
    exported = _run("plan", "export", house).stdout
    assert "already there" not in exported and "[[marker]]" in exported
    assert "is there already" in _run("plan", "export", house, str(plan), code=1).stderr
    assert plan.read_text() == PLAN
    _run("plan", "export", house, str(plan), "--overwrite")
    assert plan.read_text() == exported
    plan.write_text(exported.replace("12 ft", "12 parsec"))
    assert "plan.toml line " in _run("plan", "load", house, str(plan), code=1).stderr


def test_circuits_are_listed_with_their_items(house):
    _build(house)
    with Record.open(house) as record:
        record.put(Item(id="b1", kind="device box", circuit_id="1+3"), Item(id="b2", kind="cable", circuit_id="1+3"))
    listed = json.loads(_run("circuits", house, "--json").stdout)
    assert [(c["number"], c["amps"], c["item_count"]) for c in listed] == [("1+3", 30.0, 2)]
    assert _run("circuits", house).stdout.splitlines()[1].split() == [
        "1+3",
        "heater",
        "30",
        "2",
        "planned",
        "main",
        "2",
    ]


def test_history_says_when_who_what_and_from_which_value(house, monkeypatch):
    monkeypatch.setenv("ASBUILT_AUTHOR", "sam")
    _build(house)
    _run("marker", "change", house, "7", "--offset", "6 ft 2 in")
    line = _run("history", house, "--limit", "1").stdout
    assert "sam  change  markers  7  offset: 6 ft 1-1/4 in -> 6 ft 2 in" in line
    newest = json.loads(_run("history", house, "--json").stdout)[0]
    assert newest["fields"] == [{"name": "offset_m", "before": 1.86055, "after": 1.8796}]
    assert newest["author"] == "sam" and newest["at"].startswith("20")
