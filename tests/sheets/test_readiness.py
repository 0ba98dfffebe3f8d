"""Readiness and trim-out: joined from what is on record, printed whole, nothing hidden."""

from __future__ import annotations

import io
import subprocess

import cv2
import numpy as np
import pytest
from click.testing import CliRunner
from PIL import Image

from asbuilt.answers.checks.rule import ASK, CANNOT_TELL, DOES_NOT
from asbuilt.answers.checks.run import run_checks
from asbuilt.answers.coverage import before_cover_up
from asbuilt.answers.readiness import readiness, readiness_text
from asbuilt.answers.trimout import trim_out, trim_text
from asbuilt.cli import main
from asbuilt.record import (
    Circuit,
    Control,
    Device,
    Face,
    Feed,
    Item,
    Panel,
    Record,
    Room,
    Sighting,
)
from asbuilt.record.taped import write_taped
from asbuilt.sheets.crops import SIDE_PX, crop
from asbuilt.sheets.readiness import readiness_pdf
from asbuilt.sheets.trimout import trimout_pdf
from asbuilt.steps import coverage
from tests.answers.checks.bench import bench, box, cable, detail, m, taped
from tests.truth import truth_record


def _words(pdf: bytes) -> str:
    text = subprocess.run(["pdftotext", "-raw", "-", "-"], input=pdf, capture_output=True, check=True).stdout.decode()
    return " ".join(text.split())


@pytest.fixture(scope="module")
def room(tmp_path_factory):
    """The sample room's truth with coverage; its pictures have no originals here."""
    with truth_record(tmp_path_factory.mktemp("room") / "r", covered=False) as record:
        coverage.run(record)
        record.put(Item(id="lost", kind="device box", label="lost box", face_id="kiln"))
        yield record


# Readiness.


def test_each_face_joins_its_coverage_its_checks_its_open_items_and_its_items(room):
    answer = readiness(room)
    states = {s.face_id: s for s in before_cover_up(room).faces}
    checks = run_checks(room)
    assert [f.face_id for f in answer.faces] == list(states)
    for face in answer.faces:
        assert face.coverage == states[face.face_id]
        assert list(face.does_not_meet) == checks.findings(DOES_NOT, face_id=face.face_id)
        assert list(face.cannot_tell) == checks.findings(CANNOT_TELL, face_id=face.face_id)
        assert [line.number for line in face.items] == list(range(1, len(face.items) + 1))


def test_no_finding_is_lost_between_the_faces(room):
    answer = readiness(room)
    listed = [f for face in answer.faces for f in (*face.does_not_meet, *face.cannot_tell)] + list(answer.elsewhere)
    found = run_checks(room).findings(DOES_NOT, CANNOT_TELL)
    assert sorted(map(repr, listed)) == sorted(map(repr, found))
    assert len(answer.left_out) == len(run_checks(room).left_out) > 0


def test_what_is_not_located_not_tagged_or_not_photographed_is_open(room):
    face = readiness(room, "kiln").faces[0]
    lost = [text for text in face.open_items if "lost box" in text]
    assert len(lost) == 3
    assert any("not located" in text for text in lost)
    assert any("no photo of it on record" in text for text in lost)
    assert any("no circuit on record" in text for text in lost)
    assert "open" in face.sentence


def test_readiness_never_says_that_a_wall_may_be_closed(room):
    text = readiness_text(readiness(room)).lower()
    assert ASK.lower() in text
    for word in ("may be closed", "ready to", "all clear", "safe", "approved", "passed"):
        assert word not in text


def test_the_paper_holds_every_item_finding_and_shortfall(room):
    answer = readiness(room)
    pdf = readiness_pdf(room, answer, "2026-04-01")
    text = _words(pdf)
    for face in answer.faces:
        assert face.title in text and face.sentence in text
        for line in face.items:
            assert f"{line.number} {line.name}" in text
        for short in face.coverage.shortfalls:
            assert short.text.removesuffix(f": {short.reason}") in text
        for found in (*face.does_not_meet, *face.cannot_tell):
            assert found.text in text, found
        for open_ in face.open_items:
            assert open_ in text
    assert "no photo on record" in text  # nothing stands in for a picture that is not there


def test_the_best_marked_picture_is_cut_out_round_the_mark():
    image = np.full((800, 1200, 3), 90, np.uint8)
    cv2.circle(image, (900, 300), 12, (0, 0, 255), -1)
    cut = np.asarray(Image.open(io.BytesIO(crop(image, 900, 300))))
    assert cut.shape == (SIDE_PX, SIDE_PX, 3)
    red = np.argwhere((cut[..., 0] > 150) & (cut[..., 1] < 80))
    assert np.allclose(red.mean(axis=0), SIDE_PX / 2, atol=4)
    at_the_edge = np.asarray(Image.open(io.BytesIO(crop(image, 1199, 0))))
    assert at_the_edge.shape == (SIDE_PX, SIDE_PX, 3)


def test_readiness_of_one_face_is_written_by_the_command(room, tmp_path):
    out = tmp_path / "kiln.pdf"
    run = CliRunner().invoke(main, ["readiness", str(room.folder), "--face", "kiln", "--pdf", str(out)])
    assert run.exit_code == 0, run.output
    assert "lost box" in run.output and "lost box" in _words(out.read_bytes())
    wrong = CliRunner().invoke(main, ["readiness", str(room.folder), "--face", "cellar"])
    assert wrong.exit_code == 1 and "cellar" in wrong.output


# Trim-out.


@pytest.fixture
def house(tmp_path):
    """Two rooms; boxes out of order; feeds, a 3-way pair and a coil."""
    second = Room(id="a", name="Annex", order_idx=1, closed=False, finished_floor_thickness_m=m("3/4 in"))
    rows = [
        second, Face(id="west", room_id="a", title="West face", length_m=m("10 ft"), height_m=m("8 ft")),
        Panel(id="main", name="Main panel"), Circuit(id="2", panel_id="main", number="2", name="lamps in the annex"),
        box("b2", label="right of the door", note="deep ring needed"), taped("b2", 100, 16, "-1/2 in"),
        box("b1", label="left of the door", gangs=2), taped("b1", 20, 16, "-1/2 in"),
        box("b9", label="annex lamp", circuit_id="2", face_id="west"), taped("b9", 40, 80, "-1/2 in", face_id="west"),
        Item(id="b5", kind="device box", label="somewhere", circuit_id="1"),
        detail("b1", set_out_m=m("3/8 in"), made_up=False),
        Device(id="d1", item_id="b1", kind="duplex receptacle"),
        Device(id="d2", item_id="b1", gang=2, kind="3-way switch"),
        cable("C1", "12/2", "main", "b1"), cable("C2", "12/2", "b1", "b2", coil_m=m("3 ft")),
        cable("T1", "14/3", "b1", "b2", circuit_id="2"), cable("L1", "14/2", "b2", "b9", circuit_id="2"),
        Feed(id="f1", circuit_id="1", comes_from="main", goes_to="b1"),
        Feed(id="f2", circuit_id="1", comes_from="b1", goes_to="b2"),
        Control(id="k1", switch_id="b1", load_id="b9", way="3-way", gang=2, cable_id="T1"),
        Control(id="k2", switch_id="b2", load_id="b9", way="3-way", cable_id="T1"),
        Control(id="k3", switch_id="b2", load_id="b9", cable_id="L1"),
    ]  # fmt: skip
    with bench(tmp_path / "house", *rows) as record:
        write_taped(record)
        yield record


def test_boxes_come_in_walking_order_room_by_room_from_the_left(house):
    rooms = trim_out(house)
    assert [(r.room, [b.item_id for b in r.boxes]) for r in rooms] == [
        ("Room", ["b1", "b2"]), ("Annex", ["b9"]), ("on no face", ["b5"]),
    ]  # fmt: skip
    assert [b.number for r in rooms for b in r.boxes] == [1, 2, 3, 4]
    assert [r.count_before for r in rooms] == [2, 1, 1]


def test_each_cable_is_named_by_what_feed_order_and_switches_say_of_it(house):
    boxes = {b.item_id: b for r in trim_out(house) for b in r.boxes}
    assert [(c.cable_id, c.role, c.other_end) for c in boxes["b1"].cables] == [
        ("C1", "feed from", "Main panel"), ("C2", "feed on to", "right of the door"),
        ("T1", "travellers to", "right of the door"),
    ]  # fmt: skip
    assert ("L1", "switch leg to", "annex lamp") in [(c.cable_id, c.role, c.other_end) for c in boxes["b2"].cables]
    assert [(c.role, c.other_end) for c in boxes["b9"].cables] == [("switch leg from", "right of the door")]
    assert boxes["b1"].works == ("gang 2: annex lamp (3-way)",)
    assert boxes["b1"].devices == ("duplex receptacle", "3-way switch") and boxes["b1"].gangs == 2


def test_finish_depth_height_and_notes_are_those_on_record(house):
    boxes = {b.item_id: b for r in trim_out(house) for b in r.boxes}
    assert boxes["b1"].finish == "1/8 in behind the finished face"
    assert boxes["b2"].finish.startswith("flush with 1/2 in of covering")
    assert boxes["b9"].finish == "covering not on record"
    assert boxes["b9"].height_m == pytest.approx(m("79-1/4 in")) and boxes["b9"].above == "finished floor"
    assert boxes["b2"].above == "datum floor"
    assert "not made up" in boxes["b1"].notes and "circuit 2 is in it too" in boxes["b1"].notes
    assert {"deep ring needed", "3 ft 0 in of C2 coiled"} <= set(boxes["b2"].notes)


def test_boxes_marked_in_pictures_of_the_finished_room_are_counted(tmp_path):
    with truth_record(tmp_path / "r") as record:
        before = trim_out(record)[0]
        assert (before.count_seen_after, before.after_pictures) == (0, True)
        covered = next(p for p in record.db.query("SELECT id FROM pictures WHERE stage = 'covered'"))["id"]
        record.put(Sighting(id="s", target_id=before.boxes[0].item_id, picture_id=covered, x_px=10, y_px=10))
        after = trim_out(record)[0]
        assert after.count_seen_after == 1 and after.boxes[0].seen_after_board
        assert after.count_before == before.count_before == len(before.boxes)


def test_the_sheet_holds_every_box_and_room_on_paper_and_on_screen(house):
    rooms = trim_out(house)
    text = _words(trimout_pdf(rooms, "Bench", "in", "2026-04-01"))
    shown = trim_text(rooms, "in")
    for r in rooms:
        assert f"{r.room}: trim-out" in text and r.room in shown
        for b in r.boxes:
            assert b.name in text and b.name in shown
            for c in b.cables:
                assert c.text in text and c.text in shown
    assert "Boxes counted after board" in text


def test_the_trim_out_command_writes_and_prints(house, tmp_path):
    out = tmp_path / "trim.pdf"
    run = CliRunner().invoke(main, ["trimout", str(house.folder), "--pdf", str(out), "--paper", "a4"])
    assert run.exit_code == 0, run.output
    assert "left of the door" in run.output and "left of the door" in _words(out.read_bytes())
    assert '"other_end": "Main panel"' in CliRunner().invoke(main, ["trimout", str(house.folder), "--json"]).output


def test_an_empty_record_gives_a_line_not_a_failure(tmp_path):
    with Record.create(tmp_path / "empty", "Empty") as record:
        assert trim_out(record) == () and "no box" in trim_text((), "in")
        assert "No box" in _words(trimout_pdf((), "Empty", "in", "2026-04-01"))
    run = CliRunner().invoke(main, ["readiness", str(tmp_path / "empty")])
    assert run.exit_code == 1 and "has no face yet; load a plan first" in run.output


def test_the_cable_schedule_on_paper_holds_every_cable_under_its_use(house, tmp_path):
    house.put(cable("D1", "Cat 6", "desk", "rack", circuit_id=None, use="low voltage", length_m=m("60 ft")))
    out = tmp_path / "cables.pdf"
    run = CliRunner().invoke(main, ["cables", str(house.folder), "--pdf", str(out)])
    assert run.exit_code == 0, run.output
    text = _words(out.read_bytes())
    assert "Cable schedule, power" in text and "Cable schedule, low voltage" in text
    for words in ("C1", "T1", "L1", "D1 Cat 6 desk rack 60 ft", "no test on record"):
        assert words in text
