"""Plan files: read, refused with file, line and field, written back without loss."""

from __future__ import annotations

import math
from dataclasses import fields, replace
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from asbuilt.errors import AsbuiltError, PlanError
from asbuilt.record import (
    Building,
    Circuit,
    Covering,
    Face,
    Marker,
    Opening,
    Panel,
    Record,
    ReferencePoint,
    Room,
    Stud,
)
from asbuilt.record.plan import export_plan, load_plan
from asbuilt.record.plan_keys import TABLES

SAMPLE = Path(__file__).parents[2] / "sample_media" / "plan.toml"
PLANNED = (Building, Room, Face, Stud, Opening, Covering, Marker, ReferencePoint, Panel, Circuit)

SHED = """\
[building]
name = "Shed"
unit = "in"

[[room]]
id = "shed"

[[face]]
id = "north"
room = "shed"
length = "12 ft"
height = 96
stud = "2x6"

[[opening]]
face = "north"
kind = "window"
left = "4' 0-1/2\\""
right = 80
bottom = "1 m"
top = "1910 mm"

[[marker]]
id = 7
face = "north"
offset = "6 ft 1-1/4 in"
height = "4 ft"

[[circuit]]
number = "1+3"
name = "heater"
amps = 30
"""


LAMP = 'amps = 30\n[[circuit]]\nname = "lamp"\n'


@pytest.fixture
def record(tmp_path):
    with Record.create(tmp_path / "house", "House", author="someone") as made:
        yield made


def _write(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "plan.toml"
    path.write_text(text, "utf-8")
    return path


def _rows(record: Record) -> dict:
    return {cls: {row.id: row for row in record.all(cls)} for cls in PLANNED}


def test_a_plan_says_what_people_write_in_metres(record, tmp_path):
    report = load_plan(record, _write(tmp_path, SHED))
    assert report.added == ("room shed", "face north", "opening north-window", "marker 7", "circuit 1+3")
    assert report.changed == ("building",)
    assert record.building.name == "Shed"
    face = record.get(Face, "north")
    assert (face.length_m, face.height_m, face.stud_depth_m) == (3.6576, 2.4384, 0.1397)
    assert (face.title, face.order_idx, face.corner_rad) == ("north", 0, math.pi / 2)
    opening = record.get(Opening, "north-window")
    assert (opening.left_m, opening.right_m, opening.bottom_m, opening.top_m) == (1.2319, 2.032, 1.0, 1.91)
    marker = record.get(Marker, 7)
    assert (marker.offset_m, marker.height_m, marker.size_m) == (1.86055, 1.2192, 0.1524)
    circuit = record.get(Circuit, "1+3")
    assert (circuit.poles, circuit.amps, circuit.state) == (2, 30.0, "planned")


def test_plain_numbers_are_in_the_plans_own_unit(record, tmp_path):
    load_plan(
        record,
        _write(tmp_path, SHED.replace('unit = "in"', 'unit = "ft"').replace("= 96", "= 8").replace("= 80", "= 6")),
    )
    assert record.get(Face, "north").height_m == 2.4384
    assert record.building.unit == "ft"


def test_loading_twice_changes_nothing(record, tmp_path):
    path = _write(tmp_path, SHED)
    load_plan(record, path)
    before, count = _rows(record), len(record.history(1000))
    report = load_plan(record, path)
    assert (report.added, report.changed, report.removed) == ((), (), ())
    assert report.same_count == 6
    assert _rows(record) == before
    assert len(record.history(1000)) == count


def test_a_changed_value_is_changed_with_its_history(record, tmp_path):
    load_plan(record, _write(tmp_path, SHED))
    report = load_plan(record, _write(tmp_path, SHED.replace("6 ft 1-1/4 in", "6 ft 1-1/2 in")))
    assert report.changed == ("marker 7",)
    newest = record.history(1)[0]
    assert (newest["action"], newest["table_name"], newest["row_id"], newest["author"]) == (
        "change", "markers", "7", "someone",
    )  # fmt: skip
    assert '"offset_m": 1.86055' in newest["before"] and '"offset_m": 1.8669' in newest["after"]


def test_a_key_taken_out_of_the_plan_falls_back_to_its_default(record, tmp_path):
    load_plan(record, _write(tmp_path, SHED))
    load_plan(record, _write(tmp_path, SHED.replace('offset = "6 ft 1-1/4 in"\n', "")))
    assert record.get(Marker, 7).offset_m is None


def test_a_silent_plan_keeps_the_day_a_face_was_covered(record, tmp_path):
    path = _write(tmp_path, SHED)
    load_plan(record, path)
    face = record.get(Face, "north")
    record.put(replace(face, cover_up_date="2026-04-20"))
    load_plan(record, path)
    assert record.get(Face, "north").cover_up_date == "2026-04-20"


def test_what_the_plan_does_not_name_stays_unless_asked(record, tmp_path):
    load_plan(record, _write(tmp_path, SHED))
    shorter = SHED[: SHED.index("[[marker]]")]
    report = load_plan(record, _write(tmp_path, shorter))
    assert report.not_in_plan == ("marker 7", "circuit 1+3")
    assert record.find(Marker, 7) is not None
    report = load_plan(record, _write(tmp_path, shorter), remove_missing=True)
    assert report.removed == ("marker 7", "circuit 1+3")
    assert record.find(Marker, 7) is None
    assert [h["action"] for h in record.history(2)] == ["remove", "remove"]


@pytest.mark.parametrize(
    ("old", "new", "line", "words"),
    [
        ('length = "12 ft"', 'lenght = "12 ft"', 11, "lenght: a face has no such field; did you mean 'length'?"),
        ('length = "12 ft"', 'length = "twelve"', 11, "face 'north', length: 'twelve' is not a length"),
        ('length = "12 ft"', "", 8, "face 'north': length is missing"),
        ('length = "12 ft"', "length = 0", 8, "length_m must be more than 0"),
        ('room = "shed"', 'room = "barn"', 10, "face 'north', room: there is no room 'barn'; known: shed"),
        ('stud = "2x6"', 'stud = "2x5"', 13, "or name the lumber: 2x2, 2x3, 2x4"),
        ('right = 80', "right = 8", 15, "left must be less than right"),
        ('right = 80', "right = 800", 19, "right: 66 ft 8 in is not on face north, which is 12 ft 0 in long"),
        ('offset = "6 ft 1-1/4 in"', 'offset = "61 ft 1-1/4 in"', 26, "marker 7, offset: 61 ft 1-1/4 in is not on"),
        ("id = 7", "id = 7.5", 24, "marker 7.5, id: 7.5 is not a whole number"),
        ("id = 7", "id = true", 24, "id: True is not a number"),
        ("amps = 30", 'amps = "plenty"', 32, "circuit '1+3', amps: 'plenty' is not a number"),
        ("amps = 30", 'state = "dead"', 29, "state 'dead' is not one of"),
        ("[[marker]]", "[marker]", 23, "write [[marker]], with two brackets, above each marker"),
        ("[[marker]]", "[[markre]]", 23, "'markre' is not a part of a plan; did you mean 'marker'?"),
        ("[building]", "[[building]]", 1, "write [building] once"),
        ('unit = "in"', 'unit = "cubit"', 1, "unit 'cubit' is not in, ft, mm or m"),
        ("id = 7", "id = = 7", 24, "not TOML"),
        ('name = "heater"', 'name = "heater"\ncover_up = 2026-01-01', 32, "a circuit has no such field"),
        ("amps = 30", f"{LAMP}number = 3", 35, "number: breaker position 3 is taken by 'heater'"),
        ("amps = 30", f"{LAMP}number = '1+3'", 33, "there are two of circuit '1+3'"),
    ],
)  # fmt: skip
def test_an_error_names_file_line_and_field_and_changes_nothing(record, tmp_path, old, new, line, words):
    assert old in SHED
    with pytest.raises(PlanError) as caught:
        load_plan(record, _write(tmp_path, SHED.replace(old, new, 1)))
    message = str(caught.value)
    assert message.startswith((f"plan.toml line {line},", f"plan.toml line {line}:")), message
    assert words in message
    assert "\n" not in message
    assert _rows(record)[Face] == {} and record.building.name == "House"


def test_lines_are_right_after_texts_over_several_lines(record, tmp_path):
    text = SHED.replace('name = "Shed"', 'name = "Shed"\nnote = """\n[[face]]\nlength = 1\n"""')
    with pytest.raises(PlanError, match=r"^plan.toml line 15, face 'north', length:"):
        load_plan(record, _write(tmp_path, text.replace('length = "12 ft"', 'length = "x"')))


def test_tables_written_in_one_line_are_read_too(record, tmp_path):
    text = 'room = [{id = "shed"}]\nface = [{id = "north", room = "shed", length = 10, height = 0}]\n'
    with pytest.raises(PlanError, match=r"^plan.toml line 2, face 'north': face north: height_m must be"):
        load_plan(record, _write(tmp_path, text))
    load_plan(record, _write(tmp_path, text.replace("height = 0", "height = 8")))
    assert record.get(Face, "north").height_m == 0.2032


@pytest.mark.parametrize(
    ("content", "words"),
    [(b"\xff\xfe\x00", "not UTF-8"), (b"[" * 100_000, "not"), (b"a = 1\n\x00", "line 2"), (b"x" * 5_000_001, "5 MB")],
)
def test_a_file_that_is_no_plan_is_one_clear_line(record, tmp_path, content, words):
    path = tmp_path / "plan.toml"
    path.write_bytes(content)
    with pytest.raises(PlanError, match=words) as caught:
        load_plan(record, path)
    assert "\n" not in str(caught.value) and len(str(caught.value)) < 300


def test_a_missing_file_is_one_clear_line(record, tmp_path):
    with pytest.raises(PlanError, match="none.toml: cannot be read: No such file"):
        load_plan(record, tmp_path / "none.toml")


def test_a_plan_with_a_byte_order_mark_and_carriage_returns_is_read(record, tmp_path):
    path = tmp_path / "plan.toml"
    path.write_bytes(b"\xef\xbb\xbf" + SHED.replace("\n", "\r\n").encode())
    load_plan(record, path)
    assert record.get(Marker, 7).offset_m == 1.86055


FAR = """
[[room]]
id = "other"
[[face]]
id = "south"
room = "other"
length = "12 ft"
height = 97
stud = "2x6"
far_face = "north"
far_offset_sum = "12 ft 2 in"
far_height_shift = -1
"""


def test_the_two_faces_of_a_wall_name_each_other(record, tmp_path):
    path = _write(tmp_path, SHED + FAR)
    load_plan(record, path)
    north, south = record.get(Face, "north"), record.get(Face, "south")
    assert (north.far_face_id, south.far_face_id) == ("south", "north")
    assert north.far_offset_sum_m == south.far_offset_sum_m == 3.7084
    assert (south.far_height_shift_m, north.far_height_shift_m) == (-0.0254, 0.0254)
    assert load_plan(record, path).changed == ()


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('far_offset_sum = "12 ft 2 in"\n', "", "far_offset_sum: say what offset here plus offset on north make"),
        ('far_face = "north"', 'far_face = "south"', "south is not free"),
        ('stud = "2x6"\nfar', 'stud = "2x4"\nfar', "stud: differs from that of north"),
        ('far_face = "north"', 'far_face = "west"', "there is no face 'west'"),
    ],
)
def test_faces_that_cannot_be_one_wall_are_refused(record, tmp_path, old, new, words):
    text = SHED + FAR
    assert old in text
    with pytest.raises(PlanError, match=words):
        load_plan(record, _write(tmp_path, text.replace(old, new)))


def test_walls_that_do_not_close_are_pointed_out(record, tmp_path):
    faces = "".join(
        f'[[face]]\nid = "f{i}"\nroom = "r"\nlength = {length}\nheight = 96\n'
        for i, length in enumerate((144, 96, 150, 96))
    )
    report = load_plan(record, _write(tmp_path, '[[room]]\nid = "r"\n' + faces))
    assert report.notes == ("room r: its walls miss closing by 6 in; check lengths and corners",)


def test_the_sample_plan_says_what_was_taped(record):
    report = load_plan(record, SAMPLE)
    assert report.notes == ()
    assert [f.id for f in record.all(Face)] == ["street", "kiln", "garden", "partition"]
    assert [round(f.length_m / 0.0254, 6) for f in record.all(Face)] == [287.625, 168.5, 287.625, 168.5]
    assert [f.stud_depth_m for f in record.all(Face)] == [0.1397, 0.1397, 0.1397, 0.0889]
    assert len(record.all(Marker)) == 14 and record.get(Marker, 20).offset_m == pytest.approx(
        15.8125 * 0.0254, abs=1e-12
    )
    assert {c.state for c in record.all(Circuit)} == {"roughed in", "spare"}
    assert record.all(Stud) == []


def test_the_sample_plan_is_written_back_without_loss(record, tmp_path):
    load_plan(record, SAMPLE)
    text = export_plan(record)
    assert 'height = "9 ft 0-3/4 in"' in text and 'stud = "2x6"' in text
    with Record.create(tmp_path / "copy", "Other") as copy:
        load_plan(copy, _write(tmp_path, text))
        assert _rows(copy) == _rows(record)
        assert export_plan(copy) == text


# A building made up of any values that the types allow.
IDS = st.from_regex(r"[A-Za-z0-9][A-Za-z0-9_+.\-]{0,11}", fullmatch=True)
WORDS = st.text(st.characters(blacklist_categories=["Cs"]), max_size=20)
NAMES = WORDS.filter(lambda text: text.strip())
METRES = st.floats(-100, 100)
SIZES = st.floats(0.001, 100)
DATES = st.one_of(st.none(), st.dates().map(str), st.just("2026-04-20T10:15:00+02:00"))
ANGLES = st.floats(-math.tau, math.tau)


@st.composite
def _buildings(draw) -> list:
    def several(strategy, most=3):
        return draw(st.lists(strategy, max_size=most, unique_by=lambda row: row.id))

    unit = draw(st.sampled_from(["in", "ft", "mm", "m"]))
    rows = [Building(name=draw(NAMES), unit=unit, note=draw(WORDS))]
    rooms = several(
        st.builds(Room, id=IDS, name=WORDS, order_idx=st.integers(0, 9), origin_x_m=METRES, origin_y_m=METRES,
                  floor_z_m=METRES, turn_rad=ANGLES, closed=st.booleans(), finished_floor_thickness_m=st.none() | SIZES)
    )  # fmt: skip
    faces = several(
        st.builds(Face, id=IDS, room_id=st.sampled_from([r.id for r in rooms]), title=WORDS,
                  kind=st.sampled_from(["wall", "ceiling", "floor"]), order_idx=st.integers(0, 9), length_m=SIZES,
                  height_m=SIZES, corner_rad=ANGLES, stud_depth_m=SIZES | st.just(0.1397), stud_width_m=SIZES,
                  spacing_m=SIZES, layout_from=st.sampled_from(["left", "right"]), exterior=st.booleans(),
                  open_behind=st.booleans(), sheathing_m=st.none() | SIZES, far_height_shift_m=METRES,
                  cover_up_date=DATES), most=4
    ) if rooms else []  # fmt: skip
    rows += rooms + faces
    if faces:
        face_ids = st.sampled_from([f.id for f in faces])
        shortest, lowest = min(f.length_m for f in faces), min(f.height_m for f in faces)
        along, up = st.floats(0, shortest), st.floats(0, lowest)
        rows += several(st.builds(Stud, id=IDS, face_id=face_ids, center_m=along, sigma_m=SIZES, width_m=SIZES,
                                  bottom_m=up, top_m=st.none() | up, source=WORDS))  # fmt: skip
        rows += several(
            st.builds(Opening, id=IDS, face_id=face_ids, kind=WORDS, left_m=st.just(0.0), right_m=st.just(shortest),
                      bottom_m=st.just(-0.0), top_m=st.just(lowest))
        )  # fmt: skip
        rows += several(st.builds(Covering, id=IDS, face_id=face_ids, order_idx=st.integers(0, 5), material=WORDS,
                                  thickness_m=SIZES, date=DATES))  # fmt: skip
        rows += several(
            st.builds(Marker, id=st.integers(0, 586), face_id=face_ids, size_m=SIZES, offset_m=st.none() | along,
                      height_m=st.none() | up, depth_m=METRES, sigma_m=SIZES, dictionary=WORDS)
        )  # fmt: skip
        rows += several(
            st.builds(ReferencePoint, id=IDS, face_id=face_ids, label=WORDS, kind=WORDS, offset_m=along, height_m=up,
                      depth_m=METRES, sigma_m=SIZES, sigma_depth_m=SIZES)
        )  # fmt: skip
    numbers = st.none() | st.floats(0, 1e6)
    panels = several(
        st.builds(Panel, id=IDS, name=WORDS, amps=numbers, volts=numbers, spaces=st.none() | st.integers(0, 80),
                  face_id=st.sampled_from([None, *(f.id for f in faces)]), width_m=st.none() | SIZES,
                  height_m=st.none() | SIZES)
    )  # fmt: skip
    circuits = draw(st.lists(
        st.builds(Circuit, id=IDS, number=WORDS, panel_id=st.sampled_from([None, *(p.id for p in panels)]), name=WORDS,
                  amps=numbers, volts=numbers, poles=st.integers(1, 3), cable=WORDS, feeds=WORDS,
                  state=st.sampled_from(["planned", "roughed in", "terminated", "spare"])),
        max_size=3, unique_by=(lambda c: c.id, lambda c: c.number.strip())).filter(_no_shared_position))  # fmt: skip
    return rows + panels + circuits


def _no_shared_position(circuits) -> bool:
    taken = [position for c in circuits for position in {p.strip() for p in c.number.split("+")}]
    return len(taken) == len(set(taken))


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much])
@given(rows=_buildings())
def test_any_building_is_written_and_read_back_without_loss(rows, tmp_path_factory):
    folder = tmp_path_factory.mktemp("plan")
    with Record.create(folder / "a", "A") as first, Record.create(folder / "b", "B") as second:
        first.put(*rows)
        text = export_plan(first)
        path = _write(folder, text)
        load_plan(second, path)
        assert _rows(second) == _rows(first)
        assert export_plan(second) == text
        assert load_plan(second, path).changed == ()


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(cut=st.integers(0, 2200), junk=st.text(max_size=6))
def test_any_damaged_plan_is_read_or_refused_in_one_line(record, tmp_path, cut, junk):
    text = SAMPLE.read_text("utf-8")
    try:
        load_plan(record, _write(tmp_path, text[:cut] + junk.encode("utf-8", "replace").decode() + text[cut + 3 :]))
    except AsbuiltError as error:
        assert "\n" not in str(error)


def test_every_described_attribute_has_a_key():
    """An attribute without a key would be lost by an export."""
    for table in TABLES:
        attrs = {f.name for f in fields(table.cls)}
        if table.cls is Building:
            attrs.remove("id")  # always "building"
        assert attrs == {key.attr for key in table.keys}
        assert all(key.help for key in table.keys)
