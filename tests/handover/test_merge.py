"""What is added to a copy comes back; nothing here is overwritten; what differs is shown."""

from __future__ import annotations

import shutil
from dataclasses import replace

import pytest
from click.testing import CliRunner

from asbuilt.cli import main
from asbuilt.handover import merge as m
from asbuilt.handover.errors import PackageError
from asbuilt.handover.merge import merge
from asbuilt.handover.opening import open_package
from asbuilt.handover.package import hand_over
from asbuilt.handover.share import ShareOptions
from asbuilt.handover.verify import verify
from asbuilt.record import Event, Item, Marker, Media, Picture, Position, Record, Sighting
from asbuilt.record.media import store_original
from asbuilt.record.wiring import Cable, Feed
from tests.handover.conftest import WITHOUT_PICTURES, whole_content


@pytest.fixture
def copy(record, tmp_path) -> Record:
    """A full copy of the record that a contractor opened."""
    hand_over(record, tmp_path / "package", WITHOUT_PICTURES)
    open_package(tmp_path / "package", tmp_path / "copy")
    with Record.open(tmp_path / "copy", author="Plumber") as opened:
        yield opened


def _new_item(record: Record, item_id: str, label: str, picture_id: str) -> None:
    record.put(Item(id=item_id, kind="pipe", label=label, face_id="kiln"))
    record.put(Sighting(id=f"{item_id}-s", target_id=item_id, picture_id=picture_id, place="p", x_px=10, y_px=20))
    covariance = tuple(tuple(1e-5 * (i == j) for j in range(3)) for i in range(3))
    record.put(
        Position(id=f"{item_id}/p", item_id=item_id, place="p", order_idx=0, face_id="kiln", offset_m=1.0, height_m=1.0,
                 depth_m=0.05, covariance=covariance, method="intersected", picture_count=2)
    )  # fmt: skip


def _new_photo(record: Record, name: str, content: bytes) -> str:
    path = record.folder.parent / name
    path.write_bytes(content)
    stored = store_original(record, path)
    media = Media(id=stored.sha256, name=name, kind="photo", byte_count=stored.byte_count, path=stored.path)
    picture = Picture(id=stored.sha256[:10], media_id=stored.sha256, kind="photo", width_px=100, height_px=80)
    record.put(media, picture)
    return picture.id


def _states(report) -> dict[tuple[str, str], str]:
    return {(r.table, r.row_id): r.state for r in report.rows}


def test_new_things_and_pictures_come_in_with_who_and_when(record, copy):
    picture_id = _new_photo(copy, "leak.jpg", b"a new picture")
    _new_item(copy, "new1", "capped stub", picture_id)
    report = merge(record, copy.folder)
    assert _states(report) == {("items", "new1"): m.ADDED, ("sightings", "new1-s"): m.ADDED}
    assert record.get(Item, "new1").label == "capped stub"
    assert [p.offset_m for p in record.all(Position, item_id="new1")] == [1.0]
    media = record.get(Media, record.get(Picture, picture_id).media_id)
    assert (record.folder / media.path).read_bytes() == b"a new picture"
    entry = next(e for e in record.history(5) if e["row_id"] == "new1")
    assert entry["author"].startswith("Plumber on 20") and entry["author"].endswith("merged by tester")
    assert verify(record.folder).findings == ()


@pytest.mark.parametrize("form", ["folder", "zip", "record"])
def test_a_copy_comes_back_in_any_form(record, copy, form, tmp_path):
    copy.put(Event(id="e9", kind="altered", date="2026-09-09", face_id="kiln"))
    source = copy.folder
    if form != "record":
        source = tmp_path / ("back.zip" if form == "zip" else "back")
        hand_over(copy, source, WITHOUT_PICTURES)
    assert _states(merge(record, source)) == {("events", "e9"): m.ADDED}
    assert record.get(Event, "e9").kind == "altered"


def test_a_second_merge_brings_nothing(record, copy):
    _new_item(copy, "new1", "stub", record.all(Picture)[0].id)
    merge(record, copy.folder)
    before = whole_content(record.folder)
    report = merge(record, copy.folder)
    assert report.rows == () and report.picture_count == 0
    after = whole_content(record.folder)
    assert {t for t in before[0] if before[0][t] != after[0][t]} <= {"step_reports"}


def test_what_both_sides_made_under_one_id_gets_a_new_id_everywhere(record, copy):
    picture_id = record.all(Picture)[0].id
    _new_item(record, "t40", "mine", picture_id)
    _new_item(copy, "t40", "theirs", picture_id)
    copy.put(Cable(id="k1", comes_from="t40", item_ids=("t40",)), Feed(id="f1", circuit_id="2", comes_from="main",
                                                                    goes_to="t40"))  # fmt: skip
    report = merge(record, copy.folder)
    assert _states(report)["items", "t40"] == m.RENAMED
    assert (record.get(Item, "t40").label, record.get(Item, "t40-2").label) == ("mine", "theirs")
    assert {s.target_id for s in record.all(Sighting) if s.id.startswith("t40-s")} == {"t40", "t40-2"}
    assert record.get(Cable, "k1").item_ids == ("t40-2",)
    assert record.get(Cable, "k1").comes_from == "t40-2"
    assert record.get(Feed, "f1").goes_to == "t40-2"
    assert [p.item_id for p in record.all(Position, item_id="t40-2")] == ["t40-2"]
    assert verify(record.folder).findings == ()


def test_nothing_here_is_overwritten(record, copy):
    items = record.all(Item)
    a, b, c, d = (i.id for i in items[:4])
    for target, label in ((copy, "theirs"), (record, "mine")):
        target.put(replace(target.get(Item, a), label=label))  # both
    copy.put(replace(copy.get(Item, b), label="theirs"))  # there only
    for sighting in copy.all(Sighting, target_id=c):
        copy.remove(Sighting, sighting.id)
    copy.clear(Position, item_id=c)
    copy.remove(Item, c)
    record.put(replace(record.get(Item, d), label="mine"))  # here only
    before = whole_content(record.folder)[0]
    report = merge(record, copy.folder)
    states = _states(report)
    assert (states["items", a], states["items", b], states["items", c]) == (m.BOTH, m.CHANGED, m.REMOVED)
    assert ("items", d) not in states
    assert next(r for r in report.rows if r.row_id == a).fields == (("label", "mine", "theirs"),)
    after = whole_content(record.folder)[0]
    assert {t for t in before if before[t] != after[t]} <= {"step_reports"}


def test_changes_are_taken_over_only_when_asked_and_only_where_nobody_changed_here(record, copy):
    a, b = (i.id for i in record.all(Item)[:2])
    copy.put(replace(copy.get(Item, a), label="better words"), replace(copy.get(Item, b), label="theirs"))
    record.put(replace(record.get(Item, b), label="mine"))
    old = record.get(Item, a).label
    report = merge(record, copy.folder, take_changes=True)
    assert (_states(report)["items", a], _states(report)["items", b]) == (m.TAKEN, m.BOTH)
    assert (record.get(Item, a).label, record.get(Item, b).label) == ("better words", "mine")
    entry = next(e for e in record.history(5) if e["row_id"] == a)
    assert old in entry["before"] and "better words" in entry["after"] and "Plumber" in entry["author"]


def test_a_change_of_something_removed_here_is_shown(record, copy):
    event = Event(id="e1", kind="opened", date="2026-07-01")
    record.put(event)
    shutil.rmtree(copy.folder / "media")
    report = merge(record, copy.folder)
    assert report.rows == ()  # they never had it
    copy.put(Event(id="e2", kind="opened", date="2026-07-02"))
    merge(record, copy.folder)
    record.remove(Event, "e2")
    copy.put(Event(id="e2", kind="closed", date="2026-07-02"))
    assert _states(merge(record, copy.folder, dry_run=True)) == {("events", "e2"): m.ADDED}


def test_a_marker_sheet_that_both_put_up_is_shown_not_renamed(record, copy):
    record.put(Marker(id=99, face_id="kiln", offset_m=1.0, height_m=1.0))
    copy.put(Marker(id=99, face_id="street", offset_m=2.0, height_m=1.0))
    assert _states(merge(record, copy.folder)) == {("markers", "99"): m.BOTH}
    assert record.get(Marker, 99).face_id == "kiln"


def test_what_was_added_to_a_shared_copy_comes_back(record, tmp_path):
    options = replace(WITHOUT_PICTURES, share=ShareOptions(faces=("kiln",), pictures=False))
    hand_over(record, tmp_path / "shared", options)
    open_package(tmp_path / "shared", tmp_path / "copy")
    before = {t: len(rows) for t, rows in whole_content(record.folder)[0].items()}
    with Record.open(tmp_path / "copy", author="Plumber") as copy:
        picture_id = _new_photo(copy, "leak.jpg", b"their picture")
        _new_item(copy, "new1", "capped stub", picture_id)
        report = merge(record, copy.folder)
    assert _states(report) == {("items", "new1"): m.ADDED, ("sightings", "new1-s"): m.ADDED}
    after = {t: len(rows) for t, rows in whole_content(record.folder)[0].items()}
    grown = {t: after[t] - before[t] for t in after if after[t] != before[t]}
    assert grown == {"items": 1, "sightings": 1, "positions": 1, "media": 1, "pictures": 1, "history": 2,
                     "step_reports": 1}  # fmt: skip
    assert verify(record.folder).findings == ()


def test_a_dry_run_writes_nothing(record, copy):
    _new_item(copy, "new1", "stub", _new_photo(copy, "x.jpg", b"x"))
    before = whole_content(record.folder)
    report = merge(record, copy.folder, dry_run=True)
    assert report.counts == {m.ADDED: 2} and report.picture_count == 1
    assert whole_content(record.folder) == before


def test_another_record_is_refused(record, tmp_path):
    with Record.create(tmp_path / "other", "Another house") as other, pytest.raises(PackageError, match="no copy"):
        merge(record, other.folder)


def test_a_picture_that_was_altered_is_left_out_and_named(record, copy):
    picture_id = _new_photo(copy, "leak.jpg", b"a new picture")
    _new_item(copy, "new1", "stub", picture_id)
    path = copy.folder / copy.get(Media, copy.get(Picture, picture_id).media_id).path
    path.chmod(0o644)
    path.write_bytes(b"another picture")
    report = merge(record, copy.folder)
    assert len(report.faults) == 1 and "leak.jpg" in report.faults[0]
    assert record.find(Picture, picture_id) is None
    assert record.get(Item, "new1").label == "stub"
    assert verify(record.folder).findings == ()


def test_the_command_shows_both_sides(record, copy):
    item = record.all(Item)[0]
    for target, label in ((copy, "theirs"), (record, "mine")):
        target.put(replace(target.get(Item, item.id), label=label))
    run = CliRunner().invoke(main, ["merge", str(record.folder), str(copy.folder)])
    assert run.exit_code == 0, run.output
    assert f"changed on both sides: items {item.id}" in run.output
    assert "label: here 'mine', there 'theirs'" in run.output


def test_every_reference_of_the_schema_is_followed(record):
    """The list of references is complete: every foreign key of the database to a table that may be renamed is in it."""
    from asbuilt.handover.merge_rows import CLASSES, REFERENCES

    derived = {("pictures", "media_id"), ("pictures", "room_id"), ("pictures", "face_id"), ("elevations", "face_id"),
               ("sightings", "picture_id")}  # fmt: skip
    for table in CLASSES:
        for row in record.db.execute(f"PRAGMA foreign_key_list({table})").fetchall():
            assert (table, row[3]) in set(REFERENCES) | derived, (table, row[3])
            assert REFERENCES.get((table, row[3]), row[2]) == row[2]


def test_paths_of_a_merge_stay_inside_the_record(record, copy):
    picture_id = _new_photo(copy, "x.jpg", b"x")
    media = copy.get(Media, copy.get(Picture, picture_id).media_id)
    copy.put(replace(media, path="../../outside.jpg"))
    report = merge(record, copy.folder)
    assert len(report.faults) == 1
    assert all(".." not in m_.path for m_ in record.all(Media))
