"""Clicks become items and sightings, all of a file or nothing."""

from __future__ import annotations

import json
from pathlib import Path

import av
import numpy as np
import pytest
from click.testing import CliRunner
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image

from asbuilt.cli import main
from asbuilt.errors import AsbuiltError, SightingError
from asbuilt.record import Circuit, Item, Media, Picture, Record, Sighting
from asbuilt.record.clicks import load_clicks
from asbuilt.record.media import store_original
from asbuilt.record.pixels import photo_id
from asbuilt.record.plan import load_plan

SAMPLE = Path(__file__).parents[2] / "sample_media"


def _add_media(record: Record, path: Path, kind: str, width_px: int, height_px: int) -> Media:
    stored = store_original(record, path)
    media = Media(
        id=stored.sha256,
        name=path.name,
        kind=kind,
        byte_count=stored.byte_count,
        path=stored.path,
        width_px=width_px,
        height_px=height_px,
        state="done",
    )
    record.put(media)
    if kind == "photo":
        record.put(
            Picture(id=photo_id(media.id), media_id=media.id, kind="photo", width_px=width_px, height_px=height_px)
        )
    return media


def _photo(folder: Path, name: str, shade: int) -> Path:
    Image.new("RGB", (80, 60), (shade, shade, shade)).save(folder / name)
    return folder / name


def _video(folder: Path) -> Path:
    """Ten frames, 5 per second, 64 x 48."""
    path = folder / "walk.mp4"
    with av.open(str(path), "w") as container:
        stream = container.add_stream("mpeg4", rate=5)
        stream.width, stream.height, stream.pix_fmt = 64, 48, "yuv420p"
        for shade in range(10):
            frame = av.VideoFrame.from_ndarray(np.full((48, 64, 3), shade * 20, np.uint8), format="rgb24")
            container.mux(stream.encode(frame))
        container.mux(stream.encode())
    return path


@pytest.fixture
def record(tmp_path):
    with Record.create(tmp_path / "house", "House", author="sam") as made:
        _add_media(made, _photo(tmp_path, "a.png", 100), "photo", 80, 60)
        _add_media(made, _photo(tmp_path, "b.png", 101), "photo", 80, 60)
        _add_media(made, _video(tmp_path), "video", 64, 48)
        made.put(Circuit(id="c2", number="2", name="bench"), Circuit(id="c13", number="1+3", name="kiln"))
        yield made


def _entry(**changed) -> dict:
    entry = {"file": "a.png", "u": 10.5, "v": 20.25, "kind": "box", "circuit": "2", "label": "by the door",
             "thing": "t1", "place": "p1", "order": 0}  # fmt: skip
    return {name: value for name, value in {**entry, **changed}.items() if value is not ...}


FRAME = {"file": ..., "video": "walk.mp4", "time_s": 0.8}
TWO = [_entry(), _entry(**FRAME, u=30, v=40)]


def _load(record: Record, entries, tmp_path: Path):
    path = tmp_path / "clicks.json"
    path.write_text(json.dumps(entries) if not isinstance(entries, str) else entries, "utf-8")
    return load_clicks(record, path)


def test_clicks_become_items_and_sightings(record, tmp_path):
    report = _load(record, {"note": "by hand", "clicks": TWO}, tmp_path)
    assert (report.items_added, report.sightings_added, report.picture_count) == (1, 2, 2)
    item = record.get(Item, "t1")
    assert (item.kind, item.circuit_id, item.label, item.state) == ("device box", "c2", "by the door", "confirmed")
    photo, frame = record.all(Sighting)
    assert (photo.target_id, photo.place, photo.x_px, photo.y_px, photo.author) == ("t1", "p1", 10.5, 20.25, "sam")
    kept = record.get(Picture, frame.picture_id)
    assert kept.pts_s == pytest.approx(0.8, abs=0.001) and kept.kept_for == "sighting"
    assert (frame.x_px, frame.y_px, frame.place) == (30, 40, "p1")


def test_loading_twice_changes_nothing(record, tmp_path):
    _load(record, TWO, tmp_path)
    items, seen, count = record.all(Item), record.all(Sighting), len(record.history(1000))
    report = _load(record, TWO, tmp_path)
    assert (report.items_added, report.items_changed, report.sightings_added, report.sightings_changed) == (0, 0, 0, 0)
    assert report.same_count == 2
    assert (record.all(Item), record.all(Sighting)) == (items, seen)
    assert len(record.history(1000)) == count


def test_a_moved_click_is_changed_with_its_history(record, tmp_path):
    _load(record, TWO, tmp_path)
    report = _load(record, [_entry(u=11.5), TWO[1]], tmp_path)
    assert (report.sightings_added, report.sightings_changed, report.same_count) == (0, 1, 1)
    newest = record.history(1)[0]
    assert '"x_px": 10.5' in newest["before"] and '"x_px": 11.5' in newest["after"]


def test_what_the_record_knows_of_an_item_beyond_the_clicks_stays(record, tmp_path):
    record.put(Item(id="t1", kind="cable", cable="12/2 yellow", note="by hand", gangs=2))
    _load(record, TWO, tmp_path)
    item = record.get(Item, "t1")
    assert (item.kind, item.cable, item.note, item.gangs) == ("device box", "12/2 yellow", "by hand", 2)


@pytest.mark.parametrize(
    ("second", "words"),
    [
        (
            _entry(place="p2", file="c.png"),
            "entry 2 (p2): there is no photo c.png in the record; add it first, or did you mean",
        ),
        (_entry(place="p2", **{**FRAME, "video": "x.mov"}), "no video x.mov in the record"),
        (_entry(place="p2", file=...), "say either file, or video and time_s"),
        (_entry(place="p2", video="walk.mp4"), "say either file, or video and time_s"),
        (_entry(place="p2", **{**FRAME, "time_s": ...}), "time_s is missing"),
        (_entry(place="p2", **{**FRAME, "time_s": 90}), "walk.mp4 has no frame at 90 s; the nearest is at 1.800 s"),
        (_entry(place="p2", u=79.5), "pixel (79.5, 20.25) is outside a.png, which is 80 x 60 as displayed"),
        (_entry(place="p2", v=-0.6), "is outside a.png"),
        (_entry(place="p2", **FRAME, v=48), "is outside walk.mp4, which is 64 x 48"),
        (_entry(place="p2", thing="t2", kind="boxx"), "'boxx' is not a kind of item"),
        (_entry(place="p2", thing="t2", circuit="9"), "there is no circuit '9'; known: 2, 1+3"),
        (_entry(place="p2", kind="pipe"), "kind, circuit or label of 't1' differ from what clicks.json entry 1"),
        (_entry(thing="t2"), "place 'p1' is a spot of 't1' already, not of 't2'"),
        (_entry(file="b.png", order=1), "order is 1 here and 0 in clicks.json entry 1 (p1)"),
        (_entry(), "place 'p1' is clicked twice in one picture"),
        (_entry(place="p2", u="10"), "u is '10', not a number"),
        (_entry(place="p2", u=True), "u is True, not a number"),
        (_entry(place="p2", u=float("nan")), "u is nan, not a number"),
        (_entry(place="p2", thing=...), "thing is missing"),
        (_entry(place="p2", thing="two words"), "must be letters, digits"),
        (_entry(place="p2", colour="red"), "'colour' is not a field of a click"),
        (_entry(place="p2", cirucit="2"), "did you mean 'circuit'?"),
        (17, "entry 2: 17 is not an entry"),
    ],
)
def test_a_wrong_entry_is_named_in_one_line_and_nothing_is_written(record, tmp_path, second, words):
    pictures = record.all(Picture)
    with pytest.raises(SightingError) as caught:
        _load(record, [_entry(), second], tmp_path)
    message = str(caught.value)
    assert message.startswith("clicks.json entry 2") and words in message and "\n" not in message
    assert record.all(Item) == [] and record.all(Sighting) == []
    assert record.all(Picture) == pictures


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("{", "line 1: not JSON"),
        ('{"a": 1}', "no list of clicks"),
        ("[" * 100_000, "clicks.json"),
        ("\x00", "not JSON"),
    ],
)
def test_a_file_that_is_no_list_of_clicks_is_one_line(record, tmp_path, text, words):
    with pytest.raises(SightingError, match=words) as caught:
        _load(record, text, tmp_path)
    assert "\n" not in str(caught.value)
    with pytest.raises(SightingError, match="none.json: cannot be read"):
        load_clicks(record, tmp_path / "none.json")


def test_a_photo_may_be_named_by_its_id_where_names_are_alike(record, tmp_path):
    (tmp_path / "again").mkdir()
    other = _add_media(record, _photo(tmp_path / "again", "a.png", 50), "photo", 80, 60)
    with pytest.raises(SightingError, match="2 files are named a.png; write the id instead"):
        _load(record, [_entry()], tmp_path)
    _load(record, [_entry(file=photo_id(other.id))], tmp_path)
    assert record.all(Sighting)[0].picture_id == photo_id(other.id)


def test_a_number_in_two_panels_must_be_told_apart(record, tmp_path):
    record.put(Circuit(id="other-2", number="2", name="lamp"))
    with pytest.raises(SightingError, match="circuit '2' is in several panels; write its id: c2, other-2"):
        _load(record, [_entry()], tmp_path)
    _load(record, [_entry(circuit="other-2")], tmp_path)
    assert record.get(Item, "t1").circuit_id == "other-2"


@pytest.mark.parametrize("order", [2**63, -(2**63) - 1, 10**400, 1.5, float("inf"), float("nan"), True, "1"])
def test_an_order_that_is_no_count_is_refused(record, tmp_path, order):
    with pytest.raises(SightingError, match=r"order is "):
        _load(record, [_entry(order=order)], tmp_path)
    assert record.all(Sighting) == []


JSON = st.recursive(
    st.none() | st.booleans() | st.floats() | st.integers() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
    max_leaves=5,
)


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(field=st.sampled_from([*_entry(), "video", "time_s"]), value=JSON)
def test_any_value_in_any_field_is_taken_or_refused_in_one_line(record, tmp_path, field, value):
    try:
        _load(record, [{**_entry(), field: value}], tmp_path)
    except AsbuiltError as error:
        assert "\n" not in str(error)


def test_the_sample_clicks_are_taken_whole(tmp_path):
    entries = json.loads((SAMPLE / "clicks.json").read_text())["clicks"]
    with Record.create(tmp_path / "studio", "Studio") as record:
        load_plan(record, SAMPLE / "plan.toml")
        for path in sorted(SAMPLE.glob("open_*")):
            # The sizes as displayed, told by where the clicks lie: upright or lying.
            tall = any(e.get("file") == path.name and e["v"] > 2250 for e in entries)
            _add_media(record, path, "photo", *((2250, 3000) if tall else (3000, 2250)))
        _add_media(record, SAMPLE / "walk.mp4", "video", 1920, 1080)
        report = load_clicks(record, SAMPLE / "clicks.json")
        assert report.sightings_added == len(entries) == len(record.all(Sighting))
        assert report.items_added == len({e["thing"] for e in entries}) == len(record.all(Item))
        pictures = {p.id: p for p in record.all(Picture)}
        for sighting in record.all(Sighting):
            picture = pictures[sighting.picture_id]
            at = (sighting.x_px, sighting.y_px)
            entry = next(e for e in entries if e["place"] == sighting.place and (e["u"], e["v"]) == at)
            # Clicked times are those of frames; at 7 frames a second the next is 143 ms away.
            assert picture.pts_s == (pytest.approx(entry["time_s"], abs=0.01) if "video" in entry else None)


def test_commands_load_add_list_and_remove_sightings(record, tmp_path):
    house = str(record.folder)
    (tmp_path / "clicks.json").write_text(json.dumps(TWO))

    def run(*words: str, code: int = 0):
        result = CliRunner().invoke(main, ["sightings", words[0], house, *words[1:]])
        assert result.exit_code == code, result.output
        return result

    assert "sightings: 2 added" in run("load", str(tmp_path / "clicks.json")).stdout
    by_hand = ["--u", "5", "--v", "6", "--kind", "pipe", "--thing", "t9"]
    run("add", "--file", "b.png", *by_hand)
    run("add", "--video", "walk.mp4", "--time", "0.2", *by_hand)
    assert "say either --file, or --video and --time" in run("add", *by_hand, code=1).stderr
    listed = json.loads(run("list", "--json").stdout)
    assert [(s["target_id"], s["place"], s["x_px"]) for s in listed[2:]] == [("t9", "t9", 5.0), ("t9", "t9", 5.0)]
    assert "t9" in run("list").stdout
    run("remove", listed[2]["id"])
    assert len(record.all(Sighting)) == 3
