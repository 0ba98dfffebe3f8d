"""The store: what goes in comes out, every change is remembered, and nothing is ever half there."""

from __future__ import annotations

import dataclasses
import json
import math
import os
import shutil
import signal
import sqlite3
import subprocess
import sys
import threading
import typing
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlite_utils import Database, Migrations

from asbuilt.errors import NotInRecordError, RecordError
from asbuilt.record import (
    NOT_PLACED,
    PLACED,
    Building,
    Circuit,
    Face,
    Item,
    Marker,
    Media,
    Opening,
    Picture,
    Placement,
    Position,
    Record,
    ReferencePoint,
    Room,
    Sighting,
)
from asbuilt.record.migrations import migrations
from asbuilt.record.proposal_row import STATES, Proposal
from asbuilt.record.rows import field_kinds, from_row, table_name, to_row
from asbuilt.record.types import CIRCUIT_STATES, FACE_KINDS, REGIONS, TYPES
from asbuilt.record.wiring import (
    CABLE_USES,
    CONTROL_WAYS,
    HOLE_KINDS,
    MEMBERS,
    TESTED,
    Cable,
    Control,
    Device,
    Feed,
    Hole,
    Verification,
)

ROOM = Room(id="shed", name="Shed")
FACE = Face(id="north", room_id="shed", title="North", length_m=4.0, height_m=2.4)
MARKER = Marker(id=7, face_id="north", offset_m=1.86055, height_m=1.2192)


@pytest.fixture
def record(tmp_path):
    with Record.create(tmp_path / "house", "House", unit="mm", author="sam") as made:
        made.put(ROOM, FACE)
        yield made


def test_a_new_record_is_a_folder_with_a_database_and_a_place_for_originals(tmp_path):
    Record.create(tmp_path / "a" / "house", "House").close()
    assert (tmp_path / "a" / "house" / "record.db").is_file() and (tmp_path / "a" / "house" / "media").is_dir()
    with Record.open(tmp_path / "a" / "house") as record:
        assert record.building == Building(name="House", unit="in")
        assert record.db.journal_mode == "wal"


def test_what_is_no_record_is_refused_in_one_line(tmp_path):
    with pytest.raises(RecordError, match="is not a record .* asbuilt new"):
        Record.open(tmp_path)
    (tmp_path / "record.db").write_bytes(b"this is no database at all" * 100)
    with pytest.raises(RecordError, match="cannot open the record"):
        Record.open(tmp_path)
    with pytest.raises(RecordError, match="already holds a record"):
        Record.create(tmp_path, "House")
    with pytest.raises(RecordError, match="the name is empty"):
        Record.create(tmp_path / "other", "  ")
    assert not (tmp_path / "other").exists()


def test_rows_are_found_by_their_columns(record):
    record.put(MARKER, replace(MARKER, id=8, offset_m=None), replace(MARKER, id=3))
    record.put(*(Item(id=name, kind="other") for name in ("c", "a", "b")))
    assert [i.id for i in record.all(Item)] == ["c", "a", "b"]  # in the order of entry
    assert [m.id for m in record.all(Marker, offset_m=None)] == [8]
    assert [m.id for m in record.all(Marker, id=(3, 8))] == [3, 8]
    assert record.all(Marker, face_id="south") == []
    assert record.find(Marker, 99) is None and record.get(Marker, 7) == MARKER
    with pytest.raises(NotInRecordError, match="no marker 99 .* known: 3, 7, 8"):
        record.get(Marker, 99)
    with pytest.raises(NotInRecordError, match="there is none yet"):
        record.get(Circuit, "x")
    with pytest.raises(RecordError, match="Marker has no colour"):
        record.all(Marker, colour="red")
    with pytest.raises(RecordError, match="Marker has no id; DROP"):
        record.all(Marker, **{"id; DROP TABLE markers": 1})
    with pytest.raises(RecordError, match="int is not a type of the record"):
        record.all(int)
    assert record.values(Marker, ("id", "offset_m"), id=(8, 3)) == [(3, MARKER.offset_m), (8, None)]
    with pytest.raises(RecordError, match="Marker has no id; DROP"):
        record.values(Marker, ("id; DROP TABLE markers",))


def test_every_change_is_in_the_history_with_time_and_author(record):
    start = len(record.history(1000))
    record.put(MARKER)
    record.put(MARKER)  # nothing new
    record.put(replace(MARKER, offset_m=1.9), author="kim")
    record.remove(Marker, 7)
    newest = record.history(1000)[: len(record.history(1000)) - start]
    assert [(h["action"], h["table_name"], h["row_id"], h["author"]) for h in newest] == [
        ("remove", "markers", "7", "sam"),
        ("change", "markers", "7", "kim"),
        ("add", "markers", "7", "sam"),
    ]
    removed, changed, added = newest
    assert json.loads(added["after"])["offset_m"] == 1.86055 and added["before"] is None
    assert json.loads(changed["before"])["offset_m"] == 1.86055 and json.loads(changed["after"])["offset_m"] == 1.9
    assert json.loads(removed["before"])["offset_m"] == 1.9 and removed["after"] is None
    assert all(h["at"][:2] == "20" and "+" in h["at"] for h in newest)


def test_derived_rows_are_replaced_without_history_and_cleared_as_a_whole(record):
    placements = [Placement(id=f"p{i}", status=NOT_PLACED, reason="blurred", method="m") for i in range(3)]
    count = len(record.history(1000))
    record.put(*placements)
    record.put(replace(placements[0], reason="dark"))
    assert [p.reason for p in record.all(Placement)] == ["dark", "blurred", "blurred"]
    record.clear(Placement, reason="blurred")
    assert [p.id for p in record.all(Placement)] == ["p0"]
    record.clear(Placement)
    assert record.all(Placement) == []
    assert len(record.history(1000)) == count
    with pytest.raises(RecordError, match="holds facts, not results"):
        record.clear(Marker)


def test_a_transaction_is_kept_whole_or_not_at_all(record):
    with pytest.raises(ZeroDivisionError), record.transaction():
        record.put(MARKER)
        record.remove(Face, "north")
        raise ZeroDivisionError
    assert record.all(Marker) == [] and record.get(Face, "north") == FACE
    assert record.history(1)[0]["table_name"] == "faces"  # the history went back with it


def test_an_inner_failure_that_is_caught_undoes_only_the_inner_part(record):
    with record.transaction():
        record.put(MARKER)
        with pytest.raises(ZeroDivisionError), record.transaction():
            record.put(replace(MARKER, id=8))
            raise ZeroDivisionError
    assert [m.id for m in record.all(Marker)] == [7]


def test_one_bad_row_among_many_writes_none(record):
    with pytest.raises(RecordError, match="8 of markers would refer to faces that are not there"):
        record.put(MARKER, replace(MARKER, id=8, face_id="nowhere"))
    assert record.all(Marker) == []


def test_rows_may_come_before_what_they_refer_to_within_one_transaction(record):
    record.put(replace(MARKER, face_id="south"), replace(FACE, id="south"))
    assert record.get(Marker, 7).face_id == "south"


def test_what_others_refer_to_cannot_be_taken_away(record):
    record.put(MARKER)
    with pytest.raises(RecordError, match="7 of markers would refer to faces"):
        record.remove(Face, "north")
    assert record.get(Face, "north") == FACE
    with pytest.raises(NotInRecordError):
        record.remove(Face, "south")


def test_what_was_sighted_cannot_be_taken_away(record):
    record.put(Media(id="m", name="a.jpg", kind="photo", byte_count=1, path="media/m"))
    record.put(Picture(id="p", media_id="m", kind="photo", width_px=10, height_px=10))
    record.put(
        Item(id="box", kind="device box"), ReferencePoint(id="nail", face_id="north", offset_m=1.0, height_m=1.0)
    )
    record.put(
        Sighting(id="s1", target_id="box", picture_id="p", x_px=1, y_px=1),
        Sighting(id="s2", target="reference", target_id="nail", picture_id="p", x_px=1, y_px=1),
    )
    for cls, row_id in ((Item, "box"), (ReferencePoint, "nail")):
        with pytest.raises(RecordError, match="has 1 sightings; remove those first"):
            record.remove(cls, row_id)
    record.remove(Sighting, "s1")
    record.remove(Item, "box")
    assert record.all(Item) == []


def test_a_record_opens_where_it_is_moved_and_where_it_is_copied(record, tmp_path):
    record.put(MARKER)
    record.close()
    shutil.copytree(tmp_path / "house", tmp_path / "stick" / "copy")
    shutil.move(tmp_path / "house", tmp_path / "moved")
    for place in (tmp_path / "moved", tmp_path / "stick" / "copy"):
        with Record.open(place) as opened:
            assert opened.get(Marker, 7) == MARKER
    text = " ".join(str(row) for row in sqlite3.connect(tmp_path / "moved" / "record.db").iterdump())
    assert str(tmp_path) not in text


def test_two_connections_see_each_others_finished_work(record, tmp_path):
    with Record.open(tmp_path / "house") as other:
        with record.transaction():
            record.put(MARKER)
            assert other.all(Marker) == []
        assert other.all(Marker) == [MARKER]


def test_two_writers_wait_for_each_other_and_lose_nothing(record, tmp_path):
    """Each adds to what it read, in a transaction; a lost update or a lock error would show."""
    record.put(Item(id="count", kind="other", note="0"))

    def add() -> None:
        with Record.open(tmp_path / "house") as own:
            for _ in range(25):
                with own.transaction():
                    item = own.get(Item, "count")
                    own.put(replace(item, note=str(int(item.note) + 1)))

    threads = [threading.Thread(target=add) for _ in range(3)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert record.get(Item, "count").note == "75"


def test_a_record_on_a_full_disk_fails_in_one_line_and_stays_whole(record):
    record.put(MARKER)
    record.db.execute("PRAGMA max_page_count = 1")  # no page more than there is
    with pytest.raises(RecordError, match="cannot write the record in .*full"):
        record.put(*(Item(id=f"i{i}", kind="other", note="x" * 3000) for i in range(200)))
    assert record.all(Item) == [] and record.get(Marker, 7) == MARKER


KILLED = """
import sys
from asbuilt.record import Item, Record
record = Record.open(sys.argv[1])
number = 0
while True:
    record.put(*(Item(id=f"i{number}-{part}", kind="other", note="x" * 500) for part in range(50)))
    if number == 0:
        print("ready", flush=True)
    number += 1
"""


@pytest.mark.parametrize("wait_s", [0.02, 0.11, 0.31])
def test_kill_9_in_the_middle_of_writing_leaves_a_record_of_whole_steps(record, tmp_path, wait_s):
    record.close()
    process = subprocess.Popen(
        [sys.executable, "-c", KILLED, str(tmp_path / "house")], stdout=subprocess.PIPE, text=True
    )
    assert process.stdout.readline() == "ready\n"
    threading.Event().wait(wait_s)
    os.kill(process.pid, signal.SIGKILL)
    process.wait()
    with Record.open(tmp_path / "house") as opened:
        assert opened.db.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
        items = opened.all(Item)
        assert items and len(items) % 50 == 0
        added = [h for h in opened.history(100_000) if h["table_name"] == "items"]
        assert {h["row_id"] for h in added} == {item.id for item in items}
        opened.put(MARKER)
        assert opened.get(Marker, 7) == MARKER


def _later_version(statements: tuple[str, ...]) -> Migrations:
    """The schema changes of a later version: ours, then one more."""
    later = Migrations("asbuilt")
    later()(migrations.pending(Database(memory=True))[0].fn)

    @later()
    def second(db: Database) -> None:
        for statement in statements:
            db.execute(statement)

    return later


def _marker_columns(folder: Path) -> list[str]:
    return [row[1] for row in sqlite3.connect(folder / "record.db").execute("PRAGMA table_info(markers)")]


def test_an_older_record_is_brought_up_to_date_when_opened(record, tmp_path, monkeypatch):
    record.put(MARKER)
    record.close()
    later = _later_version(("ALTER TABLE markers ADD COLUMN torn INTEGER NOT NULL DEFAULT 0",))
    monkeypatch.setattr("asbuilt.record.store.migrations", later)
    with Record.open(tmp_path / "house") as opened:
        assert opened.get(Marker, 7) == MARKER
    assert "torn" in _marker_columns(tmp_path / "house")
    monkeypatch.undo()
    with Record.open(tmp_path / "house") as opened:  # and an older version still reads the newer record
        assert opened.get(Marker, 7) == MARKER


def test_a_schema_change_that_fails_half_way_leaves_the_record_as_it_was(record, tmp_path, monkeypatch):
    record.put(MARKER)
    record.close()
    later = _later_version(("ALTER TABLE markers ADD COLUMN torn INTEGER", "ALTER TABLE absent ADD COLUMN x"))
    monkeypatch.setattr("asbuilt.record.store.migrations", later)
    with pytest.raises(RecordError, match="cannot open the record in .* no such table: absent"):
        Record.open(tmp_path / "house")
    monkeypatch.undo()
    assert "torn" not in _marker_columns(tmp_path / "house")
    with Record.open(tmp_path / "house") as opened:
        assert opened.get(Marker, 7) == MARKER


def test_a_database_with_no_tables_yet_gets_them_all(tmp_path):
    (tmp_path / "house" / "media").mkdir(parents=True)
    sqlite3.connect(tmp_path / "house" / "record.db").close()
    with Record.open(tmp_path / "house") as opened:
        opened.put(ROOM, FACE)
        assert opened.all(Face) == [FACE]


def test_the_tables_hold_exactly_the_fields_of_the_types(record):
    for cls in TYPES:
        info = record.db.execute(f"PRAGMA table_info({table_name(cls)})").fetchall()
        assert [row[1] for row in info] == [f.name for f in dataclasses.fields(cls)], cls
        optional = {name for name, hint in typing.get_type_hints(cls).items() if type(None) in typing.get_args(hint)}
        assert {row[1] for row in info if not row[3] and row[1] != "id"} == optional, cls
        sql_types = {float: "REAL", int: "INTEGER", bool: "INTEGER", str: "TEXT", bytes: "BLOB", dict: "TEXT"}
        assert {row[1]: row[2] for row in info} == {n: sql_types[k] for n, k in field_kinds(cls).items()}, cls


# Every type, with any values that it allows.
TEXTS = st.text(st.characters(blacklist_categories=["Cs"]), max_size=15)
IDS = st.from_regex(r"[A-Za-z0-9][A-Za-z0-9_+.\-]{0,15}", fullmatch=True)
NUMBERS = st.floats(allow_nan=False, allow_infinity=False)
PLAIN = st.recursive(
    st.none() | st.booleans() | NUMBERS | TEXTS | st.integers(-(2**53), 2**53),
    lambda inner: st.dictionaries(TEXTS, inner, max_size=3),
    max_leaves=4,
)
SPECIAL = {
    (Building, "unit"): st.sampled_from(["in", "ft", "mm", "m"]),
    (Building, "region"): st.sampled_from(REGIONS),
    (Building, "name"): TEXTS.filter(lambda t: t.strip()),
    (Face, "kind"): st.sampled_from(FACE_KINDS),
    (Face, "layout_from"): st.sampled_from(["left", "right"]),
    (Circuit, "state"): st.sampled_from(CIRCUIT_STATES),
    (Placement, "status"): st.sampled_from([PLACED, NOT_PLACED]),
    (Placement, "reason"): TEXTS.filter(bool),
    (Sighting, "target"): st.sampled_from(["item", "reference"]),
    (Opening, "left_m"): st.floats(-10, -1),
    (Opening, "right_m"): st.floats(0, 10),
    (Opening, "bottom_m"): st.floats(-10, -1),
    (Opening, "top_m"): st.floats(0, 10),
    (Device, "kind"): TEXTS.filter(lambda t: t.strip()),
    (Cable, "use"): st.sampled_from(CABLE_USES),
    (Feed, "comes_from"): TEXTS.map("from {}".format),
    (Feed, "goes_to"): TEXTS.map("to {}".format),
    (Control, "way"): st.sampled_from(CONTROL_WAYS),
    (Hole, "kind"): st.sampled_from(HOLE_KINDS),
    (Hole, "member"): st.sampled_from(MEMBERS),
    (Verification, "target"): st.sampled_from(TESTED),
    (Proposal, "state"): st.sampled_from(STATES),
}
POSITIVE = {
    "size_m",
    "scale_px_per_m",
    "cell_m",
    "sigma_m",
    "sigma_depth_m",
    "width_m",
    "thickness_m",
    "length_m",
    "height_m",
    "stud_depth_m",
    "stud_width_m",
    "spacing_m",
    "volume_m3",
}


def _values(cls: type, name: str, hint) -> st.SearchStrategy:
    if (cls, name) in SPECIAL:
        return SPECIAL[cls, name]
    options = typing.get_args(hint)
    if type(None) in options:
        return st.none() | _values(cls, name, next(o for o in options if o is not type(None)))
    if typing.get_origin(hint) is tuple:
        return st.lists(_values(cls, "", options[0]), max_size=4).map(tuple)
    if hint is float:
        return st.floats(0.001, 1e6) if name in POSITIVE else NUMBERS
    if hint is int:
        return st.integers(1, 2**31)
    if hint is str:
        return IDS if name == "id" else TEXTS
    return {bool: st.booleans(), bytes: st.binary(max_size=20), dict: st.dictionaries(TEXTS, PLAIN, max_size=3)}[hint]


def _any_of(cls: type) -> st.SearchStrategy:
    return st.builds(cls, **{name: _values(cls, name, hint) for name, hint in typing.get_type_hints(cls).items()})


@pytest.fixture(scope="module")
def loose(tmp_path_factory):
    """A record that does not mind what rows refer to."""
    with Record.create(tmp_path_factory.mktemp("loose") / "house", "House") as made:
        made.db.execute("PRAGMA foreign_keys = OFF")
        yield made


@pytest.mark.parametrize("cls", TYPES, ids=lambda cls: cls.__name__)
@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(data=st.data())
def test_every_type_comes_out_as_it_went_in(loose, cls, data):
    row = data.draw(_any_of(cls))
    assert from_row(cls, to_row(row)) == row
    loose.put(row)
    assert loose.get(cls, row.id) == row


def test_a_position_comes_out_with_its_very_numbers(record):
    record.put(Item(id="box", kind="device box"))
    position = Position(id="box-p", item_id="box", place="p", order_idx=0, face_id="north", offset_m=0.1 + 0.2,
                        height_m=math.pi, depth_m=-0.0127,
                        covariance=((1e-6, 0.0, 1e-9), (0.0, 1 / 3, 0.0), (1e-9, 0.0, 2.5)),
                        method="intersected", picture_count=2)  # fmt: skip
    record.put(position)
    found = record.get(Position, "box-p")
    assert found == position
    assert (found.offset_m, found.covariance[1][1]) == (0.30000000000000004, 0.3333333333333333)


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: replace(FACE, length_m=0.0), "length_m must be more than 0"),
        (lambda: replace(FACE, length_m=math.nan), "length_m is nan"),
        (lambda: replace(FACE, id="two words"), "must be letters, digits"),
        (lambda: replace(FACE, kind="roof"), "kind 'roof' is not one of"),
        (lambda: replace(FACE, far_height_shift_m=math.inf), "far_height_shift_m is inf"),
        (lambda: Item(id="i", kind="pipe", radius_m=math.nan), "radius_m is nan"),
        (lambda: ReferencePoint(id="r", face_id="f", offset_m=1, height_m=1, sigma_m=0), "sigmas must be more than 0"),
        (lambda: replace(MARKER, sigma_m=0.0), "size and sigma must be more than 0"),
        (
            lambda: Opening(id="o", face_id="f", kind="door", left_m=2, right_m=1, bottom_m=0, top_m=1),
            "left must be less",
        ),
        (lambda: Placement(id="p", status=NOT_PLACED), "not placed without a reason"),
        (lambda: Sighting(id="s", target_id="t", picture_id="p", x_px=math.inf, y_px=0), "x_px is inf"),
        (lambda: Picture(id="p", media_id="m", kind="photo", width_px=0, height_px=5), "has no size"),
    ],
)
def test_a_row_that_cannot_be_is_refused(make, words):
    with pytest.raises(RecordError, match=words):
        make()
