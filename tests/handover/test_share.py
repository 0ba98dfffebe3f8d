"""Copies for others tell nothing that was not meant to be told, and never make a wall look emptier."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from click.testing import CliRunner
from PIL import Image

from asbuilt.answers.behind import behind
from asbuilt.answers.drill import drill
from asbuilt.cli import handover as handover_command
from asbuilt.cli import main
from asbuilt.errors import NotInRecordError
from asbuilt.handover.opening import open_package
from asbuilt.handover.package import PARTS, HandoverOptions, hand_over
from asbuilt.handover.share import LAYERS, ShareOptions, layer_of_kind, strike
from asbuilt.handover.verify import verify
from asbuilt.record import Building, Face, Item, Media, Picture, Record, Sighting
from asbuilt.record.kinds import KINDS
from asbuilt.record.wiring import Verification
from asbuilt.steps import coverage
from tests.handover.conftest import MEDIA
from tests.truth import truth_record

# What the owner's record says of people, places and devices; none of it may be in a shared copy.
PRIVATE = ("Rosalind Quire", "Obadiah Tester", "Phonemaker X200", "51.50312", "-0.11953", "SN-8841-77", "secret note",
           "10:03:27", "walk.mp4", "rq_open_01", "IMG_SECRET")  # fmt: skip
QUICK = HandoverOptions(without=frozenset({"viewer", "binder", "drawings"}))


@pytest.fixture(scope="module")
def owner(tmp_path_factory) -> Path:
    """A record with real pictures that tells on people in every way a record can."""
    folder = tmp_path_factory.mktemp("share") / "record"
    with truth_record(folder, sigma_m=0.006, frame_step=90, media_folder=MEDIA) as record:
        coverage.run(record)
        record.put(replace(record.building, note="secret note: key under the mat"), author="Rosalind Quire")
        for media in record.all(Media):
            told = {"latitude_deg": 51.50312, "longitude_deg": -0.11953, "device": "Phonemaker X200"}
            record.put(replace(media, name=f"rq_{media.name}", meta={"serial": "SN-8841-77"}, **told))
        for picture in record.all(Picture):
            record.put(replace(picture, taken_at=f"{picture.taken_at[:10]}T10:03:27+00:00"))
        record.put(*[replace(s, author="Obadiah Tester") for s in record.all(Sighting)])
        record.put(Verification(id="v1", target_id="2", date="2026-04-01", tested_by="Obadiah Tester", result="good"))
        record.add_step_report("intake", "2026-03-14", {"file": "IMG_SECRET.jpg"})
        record.put(replace(record.all(Item)[0], label="Rosa's receptacle"))
    return folder


def _share(owner: Path, target: Path, options: ShareOptions, package: HandoverOptions = QUICK):
    with Record.open(owner) as record:
        return hand_over(record, target, replace(package, share=options))


@pytest.fixture(scope="module")
def whole(owner, tmp_path_factory) -> Path:
    """A shared copy of all walls, with every part of a package."""
    target = tmp_path_factory.mktemp("shared") / "copy"
    report = _share(owner, target, ShareOptions(), HandoverOptions())
    assert report.faults == () and report.missing == ()
    return target


def _texts(package: Path):
    for path in sorted(p for p in package.rglob("*") if p.is_file()):
        yield path, path.read_bytes()


def test_nothing_private_is_in_any_file(whole):
    found = [(path.name, word) for path, data in _texts(whole) for word in PRIVATE if word.encode() in data]
    assert found == []


def test_the_owners_copy_keeps_all_of_it(owner, tmp_path):
    with Record.open(owner) as record:
        hand_over(record, tmp_path / "full", QUICK)
    whole_json = (tmp_path / "full" / "data" / "record.json").read_text("utf-8")
    assert [word for word in PRIVATE if word not in whole_json] == []


def test_pictures_carry_nothing_but_pixels(whole):
    pictures = sorted((whole / "data" / "record" / "media").rglob("*.jpg"))
    assert len(pictures) > 5
    for path in [*pictures, *(whole / "data" / "viewer" / "pictures").glob("*.jpg")]:
        with Image.open(path) as image:
            assert dict(image.getexif()) == {}
            assert set(image.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}


def test_the_copy_is_a_sound_record_and_comes_back_as_it_is(whole, tmp_path):
    assert verify(whole).findings == ()
    report = open_package(whole, tmp_path / "again")
    assert report.findings == ()
    with Record.open(tmp_path / "again") as again:
        assert again.building.note == ""
        assert {m.kind for m in again.all(Media)} == {"photo"}


def test_answers_of_all_walls_are_those_of_the_owner(owner, whole, tmp_path):
    open_package(whole, tmp_path / "again")
    rng = np.random.default_rng(5)
    with Record.open(owner) as mine, Record.open(tmp_path / "again") as theirs:
        faces = mine.all(Face)
        for number in range(40):
            face = faces[number % len(faces)]
            x, z = float(rng.uniform(0, face.length_m)), float(rng.uniform(0, face.height_m))
            for ask, place in ((behind, (face.id, x, z)), (drill, (face.id, x, z, 0.006, 0.05))):
                assert _told(ask(mine, *place)) == _told(ask(theirs, *place))


def _told(answer) -> dict:
    """An answer without the names of its pictures and the times they were taken at."""
    data = json.loads(json.dumps(answer.to_json()).replace("T10:03:27+00:00", ""))
    for bay in data.get("bays", []):
        for thing in bay["things"]:
            thing["pictures"] = [(p["picture_id"], round(p["x_px"], 2)) for p in thing["pictures"]]
    if "bays" not in data:
        data["pictures"] = [(p["picture_id"], round(p["x_px"], 2)) for p in data["pictures"]]
    return data


def test_only_the_faces_asked_for_are_in_it(owner, tmp_path):
    report = _share(owner, tmp_path / "copy", ShareOptions(faces=("kiln",)))
    open_package(tmp_path / "copy", tmp_path / "again")
    with Record.open(tmp_path / "again") as again, Record.open(owner) as mine:
        assert [f.id for f in again.all(Face)] == ["kiln"]
        labels = {i.label for i in again.all(Item)}
        assert labels == {i.label for i in mine.all(Item) if i.face_id == "kiln"}
        circuits = {c for (c,) in again.db.execute("SELECT id FROM circuits").fetchall()}
        assert circuits == {i.circuit_id for i in again.all(Item)} - {None}
    data = (tmp_path / "copy" / "data" / "record.json").read_text("utf-8")
    assert "glaze shelf" not in data and "door switches" not in data
    assert any(line.startswith("faces: ") for line in report.left_out)


def test_the_other_side_of_a_wall_comes_along(tmp_path):
    with truth_record(tmp_path / "record", pictures=False) as record:
        record.put(Face(id="hall", room_id="studio", title="Hall side", kind="ceiling", order_idx=9, length_m=4.2,
                        height_m=2.7, far_face_id="partition", far_offset_sum_m=4.28))  # fmt: skip
    report = _share(tmp_path / "record", tmp_path / "copy", ShareOptions(faces=("hall",)))
    open_package(tmp_path / "copy", tmp_path / "again")
    with Record.open(tmp_path / "again") as again:
        assert {f.id for f in again.all(Face)} == {"hall", "partition"}
    assert any("NOT left out" in line and "other side of a wall" in line for line in report.left_out)


def test_where_layers_are_left_out_nothing_reads_as_nothing_recorded(owner, tmp_path):
    report = _share(owner, tmp_path / "copy", ShareOptions(layers=("plumbing",)))
    open_package(tmp_path / "copy", tmp_path / "again")
    rng = np.random.default_rng(6)
    outcomes = set()
    with Record.open(tmp_path / "again") as again:
        assert {layer_of_kind(KINDS[i.kind]) for i in again.all(Item)} == {"plumbing"}
        faces = again.all(Face)
        for number in range(100):
            face = faces[number % len(faces)]
            x, z = float(rng.uniform(0, face.length_m)), float(rng.uniform(0, face.height_m))
            found = behind(again, face.id, x, z)
            outcomes |= {found.outcome, drill(again, face.id, x, z, 0.006, 0.05).outcome}
            outcomes |= {bay.outcome for bay in found.bays}
            if found.outcome == "not recorded" and found.cover.state == "well recorded":
                assert "copied without its power" in found.sentence
    assert "not recorded" in outcomes
    assert not any(o.startswith("nothing recorded") for o in outcomes)
    assert any("answers there read \"not recorded\"" in line for line in report.left_out)
    assert any(line.startswith("NOT left out: pictures") for line in report.left_out)


def test_pictures_are_dropped_and_blurred(owner, tmp_path):
    with Record.open(owner) as record:
        names = {m.name: m.id for m in record.all(Media)}
        ids = {p.media_id: p.id for p in record.all(Picture) if p.kind == "photo"}
    options = ShareOptions(drop=("rq_open_01.jpg",), blur=(ids[names["rq_open_02.jpg"]],))
    report = _share(owner, tmp_path / "copy", options)
    open_package(tmp_path / "copy", tmp_path / "again")
    with Record.open(tmp_path / "again") as again:
        files = {p.id: again.folder / again.get(Media, p.media_id).path for p in again.all(Picture)}
        dropped, blurred = ids[names["rq_open_01.jpg"]], ids[names["rq_open_02.jpg"]]
        assert files[dropped].suffix == ".txt"
        sharp = _detail(files[ids[names["rq_open_03.jpg"]]])
        assert _detail(files[blurred]) < 0.01 * sharp
    assert "1 pictures are blurred" in report.left_out


def _detail(path: Path) -> float:
    return float(cv2.Laplacian(cv2.imread(str(path), cv2.IMREAD_GRAYSCALE), cv2.CV_64F).var())


def test_without_pictures_none_is_in_it_and_answers_keep_their_days(owner, tmp_path):
    _share(owner, tmp_path / "copy", ShareOptions(pictures=False), HandoverOptions(without=frozenset({"binder"})))
    assert not [p for p in (tmp_path / "copy").rglob("*") if p.suffix.lower() in (".jpg", ".heic", ".mp4", ".png")]
    assert b"data:image/jpeg" not in (tmp_path / "copy" / "data" / "viewer" / "phone.html").read_bytes()
    open_package(tmp_path / "copy", tmp_path / "again")
    with Record.open(owner) as mine, Record.open(tmp_path / "again") as theirs:
        a, b = (behind(r, "garden", 2.0, 1.5) for r in (mine, theirs))
        assert (a.outcome, a.sentence, a.recorded_on) == (b.outcome, b.sentence, b.recorded_on)


def test_words_are_struck_everywhere(owner, tmp_path):
    _share(owner, tmp_path / "copy", ShareOptions(hide=("rosa", "Quarry Lane")))
    for path, data in _texts(tmp_path / "copy" / "data"):
        if path.suffix != ".db":  # free pages aside, the tables are checked as text
            assert not re.search(rb"rosa's|quarry lane", data, re.IGNORECASE), path.name
    open_package(tmp_path / "copy", tmp_path / "again")
    with Record.open(tmp_path / "again") as again:
        assert again.all(Building)[0].name == "[...] Pottery"


@pytest.mark.parametrize(("text", "hide", "wanted"), [
    ("Anna's room", ["anna"], "[...]'s room"), ("ANNA anna", ["Anna"], "[...] [...]"), ("x", [""], "x"),
    ("a.b", ["."], "a[...]b"), ("....", ["."], "[...][...][...][...]"),
])  # fmt: skip
def test_striking_words(text, hide, wanted):
    assert strike(text, hide) == wanted


def test_what_is_left_out_is_said_in_the_package(whole):
    text = (whole / "data" / "left-out.txt").read_text("utf-8")
    for words in ("coordinates", "makes, models and numbers", "history of changes", "names of files and of people"):
        assert words in text
    assert "left-out.txt" in (whole / "data" / "README.txt").read_text("utf-8")
    assert "coordinates" in (whole / "data" / "viewer" / "index.html").read_text("utf-8")


def test_wrong_names_are_refused_in_words(owner, tmp_path):
    wrong = {"no face 'attic'": ShareOptions(faces=("attic",)), "no layer 'gold'": ShareOptions(layers=("gold",)),
             "no picture 'no.jpg'": ShareOptions(drop=("no.jpg",))}  # fmt: skip
    for words, options in wrong.items():
        with pytest.raises(NotInRecordError, match=words):
            _share(owner, tmp_path / "copy", options)
        assert not (tmp_path / "copy").exists()


def test_the_command_lists_what_is_left_out_and_asks_about_names(owner, tmp_path):
    without = [word for part in ("viewer", "binder", "drawings") for word in ("--without", part)]
    run = CliRunner().invoke(main, ["handover", str(owner), str(tmp_path / "copy"), "--face", "street", *without])
    assert run.exit_code == 0, run.output
    assert "left out: faces: " in run.output
    assert "does this name a person? \"Rosa's receptacle\"" in run.output
    assert tuple(handover_command.PARTS) == PARTS and tuple(handover_command.LAYERS) == LAYERS


def test_every_kind_has_a_layer():
    assert {layer_of_kind(kind) for kind in KINDS.values()} <= set(LAYERS)
    assert layer_of_kind(KINDS["gas pipe"]) == "plumbing" and layer_of_kind(KINDS["tendon"]) == "special"
