"""Wiring in a plan: items and where they were taped, ends, feeds, controls, boxes, holes, tests."""

from __future__ import annotations

import math

import pytest
from click.testing import CliRunner
from sqlite_utils import Database, Migrations

from asbuilt.cli import main
from asbuilt.errors import LengthError, PlanError
from asbuilt.record import (
    BoxDetail,
    Building,
    Cable,
    Circuit,
    Control,
    Device,
    Face,
    Feed,
    Hole,
    Item,
    Panel,
    Picture,
    Position,
    Record,
    RuleSetting,
    Sighting,
    TapedPlace,
    Verification,
)
from asbuilt.record.migrations import migrations
from asbuilt.record.plan import export_plan, load_plan
from asbuilt.record.plan_keys import TABLES
from asbuilt.record.taped import write_taped
from asbuilt.units import exact_volume, format_volume, parse_volume

PLAN = """\
[building]
name = "Shed"
unit = "in"
region = "us"
occupancy = "dwelling"

[[room]]
id = "shed"

[[face]]
id = "north"
room = "shed"
length = "12 ft"
height = 96
bearing = true
rated = false
insulation = "spray foam"

[[panel]]
id = "main"
amps = 100
main = "main breaker"

[[panel]]
id = "sub"
fed_from = "2+4"
feeder = "6/3 NM-B"

[[circuit]]
number = "2+4"
panel = "main"
name = "feeder of the sub panel"

[[circuit]]
number = "1"
panel = "main"
name = "lamps"
amps = 15
shares_neutral_with = "3"
tied = true
protection = "AFCI"

[[circuit]]
number = "3"
panel = "main"
name = "receptacles by the door"

[[item]]
id = "b1"
kind = "box"
face = "north"
circuit = "1"
gangs = 2

[[item]]
id = "l1"
kind = "device box"
face = "north"

[[item]]
id = "r1"
kind = "cable"
face = "north"
circuit = "1"
from = "main"
to = "b1"

[[taped]]
item = "b1"
face = "north"
offset = "6 ft 1 in"
height = 48
depth = "-1/2 in"

[[taped]]
item = "r1"
face = "north"
offset = 75
height = 52

[[taped]]
item = "r1"
face = "north"
offset = 75
height = 90
depth = "1-3/4 in"
sigma = "1/4 in"
sigma_depth = "1/8 in"

[[box]]
id = "b1"
volume = "20.25 in3"
material = "plastic"
clamps = false
set_out = "1/2 in"
free_conductor = "6 in"

[[device]]
item = "b1"
kind = "3-way switch"
wire = 14

[[device]]
item = "b1"
kind = "receptacle"
load_va = 180

[[cable]]
id = "C1"
circuit = "1"
type = "14/2 NM-B white"
from = "main"
to = "b1"
items = ["r1"]
coil = "2 ft"
stapled = true

[[feed]]
circuit = "1"
from = "main"
to = "b1"
cable = "C1"

[[feed]]
circuit = "1"
from = "b1"
to = "l1"

[[control]]
switch = "b1"
load = "l1"
way = "3-way"
gang = 1

[[hole]]
face = "north"
offset = 80
height = 52
depth = "1-3/4 in"
size = "3/4 in"
cables = ["C1"]
sealed = true

[[test]]
of = "1"
date = 2026-03-20
by = "the electrician"
method = "polarity"
result = "passed"

[[rule]]
id = "receptacle-spacing.most"
value = "6 ft"
"""


@pytest.fixture
def record(tmp_path):
    with Record.create(tmp_path / "house", "House", author="someone") as made:
        yield made


def _load(record, tmp_path, text, **options):
    path = tmp_path / "plan.toml"
    path.write_text(text, "utf-8")
    return load_plan(record, path, **options)


def test_a_plan_says_what_belongs_to_what(record, tmp_path):
    _load(record, tmp_path, PLAN)
    assert record.building == Building(name="Shed", region="us", occupancy="dwelling")
    face = record.get(Face, "north")
    assert (face.bearing, face.rated, face.insulation) == (True, False, "spray foam")
    assert record.get(Panel, "sub").fed_from_id == "2+4" and record.get(Panel, "main").main == "main breaker"
    lamps = record.get(Circuit, "1")
    assert (lamps.shares_neutral_id, lamps.tied, lamps.protection) == ("3", True, "AFCI")
    assert record.get(Item, "b1").kind == "device box"
    assert record.get(BoxDetail, "b1").volume_m3 == pytest.approx(20.25 * 0.0254**3, rel=1e-12)
    assert [(d.id, d.gang, d.kind) for d in record.all(Device)] == [
        ("b1-device", 1, "3-way switch"), ("b1-device-2", 2, "receptacle"),
    ]  # fmt: skip
    cable = record.get(Cable, "C1")
    assert (cable.comes_from, cable.goes_to, cable.item_ids, cable.coil_m) == ("main", "b1", ("r1",), 0.6096)
    assert [(f.id, f.comes_from, f.goes_to, f.cable_id) for f in record.all(Feed)] == [
        ("1-b1", "main", "b1", "C1"), ("1-l1", "b1", "l1", None),
    ]  # fmt: skip
    assert record.all(Control)[0].way == "3-way"
    assert record.all(Hole)[0].size_m == pytest.approx(0.01905) and record.all(Hole)[0].cable_ids == ("C1",)
    assert record.get(Verification, "1-2026-03-20").tested_by == "the electrician"
    assert record.get(RuleSetting, "receptacle-spacing.most").value == "6 ft"


def test_a_taped_place_is_a_position_with_its_own_error(record, tmp_path):
    _load(record, tmp_path, PLAN)
    box, low, high = record.all(Position)
    assert (box.offset_m, box.height_m, box.depth_m) == pytest.approx((1.8542, 1.2192, -0.0127))
    assert box.method == "taped" and box.covariance[0][0] == pytest.approx(0.0015875**2)
    # Without a taped depth it is the usual one, with the spread of its kind.
    assert low.method == "usual depth" and low.depth_m == pytest.approx(0.0889 / 2)
    assert math.sqrt(low.covariance[2][2]) == pytest.approx(0.15 * 0.0889)
    assert (low.order_idx, high.order_idx) == (0, 1)
    assert math.sqrt(high.covariance[2][2]) == pytest.approx(0.003175)


def test_taking_a_taped_place_out_takes_its_position_out(record, tmp_path):
    _load(record, tmp_path, PLAN)
    shorter = PLAN.replace(PLAN[PLAN.index("[[taped]]") : PLAN.index("[[box]]")], "")
    _load(record, tmp_path, shorter, remove_missing=True)
    assert record.all(TapedPlace) == [] and record.all(Position) == []


def test_a_thing_lies_where_it_was_taped_whatever_its_sightings_gave(record, tmp_path):
    _load(record, tmp_path, PLAN)
    seen = Position(id="b1/box", item_id="b1", place="box", order_idx=0, face_id="north", offset_m=3.0, height_m=1.0,
                    depth_m=0.0, covariance=((1e-4, 0, 0), (0, 1e-4, 0), (0, 0, 1e-4)), method="intersected",
                    picture_count=2)  # fmt: skip
    record.put(seen)
    write_taped(record)
    assert [p.method for p in record.all(Position, item_id="b1")] == ["taped"]


def test_items_that_the_plan_does_not_name_are_none_of_its_business(record, tmp_path):
    _load(record, tmp_path, PLAN)
    record.put(Item(id="t9", kind="pipe"))
    report = _load(record, tmp_path, PLAN, remove_missing=True)
    assert report.removed == () and report.not_in_plan == ()
    assert record.find(Item, "t9") is not None


def test_wiring_is_written_back_without_loss(record, tmp_path):
    _load(record, tmp_path, PLAN)
    text = export_plan(record)
    with Record.create(tmp_path / "copy", "Other") as copy:
        _load(copy, tmp_path, text)
        for table in TABLES:
            assert copy.all(table.cls) == record.all(table.cls)
        assert copy.all(Position) == record.all(Position)
        assert export_plan(copy) == text


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('from = "b1"\nto = "l1"', 'from = "b7"\nto = "l1"', "feed 2, from: there is no box or panel 'b7'"),
        ('from = "b1"\nto = "l1"', 'from = "l1"\nto = "l1"', "'l1' cannot feed itself"),
        ('items = ["r1"]', 'items = ["r7"]', "cable 'C1', items: there is no item 'r7'; known: b1, l1, r1"),
        ('items = ["r1"]', "items = 7", "items: 7 is not a list"),
        ('cables = ["C1"]', 'cables = ["C7"]', "cables: there is no cable 'C7'"),
        ('of = "1"', 'of = "9"', "of: there is no circuit '9'"),
        ('load = "l1"', 'load = "x"', "load: there is no item 'x'"),
        ('way = "3-way"', 'way = "5-way"', "way '5-way' is not one of"),
        ('id = "b1"\nvolume', 'id = "b7"\nvolume', "there is no item 'b7'"),
        ('volume = "20.25 in3"', 'volume = "big"', "'big' is not a volume"),
        ('shares_neutral_with = "3"', 'shares_neutral_with = "8"', "shares_neutral_with: there is no circuit '8'"),
        ('kind = "cable"', 'kind = "rope"', "'rope' is not a kind of item"),
        ('region = "us"', 'region = "mars"', "region 'mars' is not one of us, uk"),
        ("offset = 80", "offset = 800", "offset: 66 ft 8 in is not on face north"),
    ],
)
def test_wiring_that_cannot_be_is_refused_in_one_line(record, tmp_path, old, new, words):
    assert old in PLAN
    with pytest.raises(PlanError) as caught:
        _load(record, tmp_path, PLAN.replace(old, new, 1))
    assert words in str(caught.value) and "\n" not in str(caught.value)
    assert record.all(Circuit) == []


def test_commands_tape_and_untape(record, tmp_path):
    _load(record, tmp_path, PLAN)
    record.put(Item(id="p1", kind="nail plate"))
    house = str(record.folder)
    words = ["taped", "add", house, "--item", "p1", "--face", "north", "--offset", "4 ft", "--height", "52"]
    assert CliRunner().invoke(main, words).exit_code == 0
    assert [p.offset_m for p in record.all(Position, item_id="p1")] == [1.2192]
    assert CliRunner().invoke(main, ["taped", "change", house, "p1-taped", "--offset", "5 ft"]).exit_code == 0
    assert [p.offset_m for p in record.all(Position, item_id="p1")] == [1.524]
    assert CliRunner().invoke(main, ["taped", "remove", house, "p1-taped"]).exit_code == 0
    assert record.all(Position, item_id="p1") == []
    words = ["cable", "add", house, "C2", "--from", "b1", "--to", "capped", "--items", "r1, p1"]
    assert CliRunner().invoke(main, words).exit_code == 0
    assert record.get(Cable, "C2").item_ids == ("r1", "p1")


def test_a_record_from_before_wiring_is_brought_up_to_date(tmp_path, monkeypatch):
    earlier = Migrations("asbuilt")
    earlier()(migrations.pending(Database(memory=True))[0].fn)
    monkeypatch.setattr("asbuilt.record.store.migrations", earlier)
    (tmp_path / "old" / "media").mkdir(parents=True)
    Record._connect(tmp_path / "old", "").db.execute(
        "INSERT INTO buildings (id, name, unit, note) VALUES ('building', 'Old', 'in', '')"
    )
    monkeypatch.undo()
    with Record.open(tmp_path / "old") as opened:
        assert opened.building == Building(name="Old")
        assert opened.all(Cable) == [] and opened.all(Picture) == [] and opened.all(Sighting) == []


def test_volumes_are_read_as_stamped_and_written_back():
    cubic_inch_m3 = 1.6387064e-5  # exact: 25.4 mm cubed
    assert parse_volume("18 in3") == pytest.approx(18 * cubic_inch_m3, rel=1e-15)
    assert parse_volume("20.3 cu. in.") == parse_volume(20.3, "ft") == pytest.approx(20.3 * cubic_inch_m3, rel=1e-15)
    assert parse_volume("295 cm3") == parse_volume(295, "mm") == 295e-6
    assert format_volume(parse_volume("20.25 in3"), "in") == "20.25 in3"
    assert format_volume(parse_volume("18 in3"), "mm") == "295 cm3"
    for value in (parse_volume("18 in3"), 1.23456789e-4, 0.1):
        for unit in ("in", "mm"):
            assert parse_volume(exact_volume(value, unit)) == value
    for wrong in ("", "0 in3", "-3 in3", "18 gallons", "1/2 in3"):
        with pytest.raises(LengthError):
            parse_volume(wrong)
