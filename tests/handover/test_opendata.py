"""The open data says the same as the record, read by programs that know nothing of it."""

from __future__ import annotations

import csv
import io
import json
import math

import jsonschema
import pandas
import pytest
from sqlite_utils import Database

from asbuilt.handover.columns import columns, json_schema
from asbuilt.handover.opendata import fingerprint, json_chunks, tables_of_json
from asbuilt.handover.shelf import read, shelf_of
from asbuilt.record import Face, Item, Media, Picture, Record, Sighting
from asbuilt.record.rows import field_kinds, table_name
from asbuilt.record.snapshot import raw_rows
from asbuilt.record.types import TYPES


@pytest.fixture
def shelf(packages):
    return shelf_of(packages["folder"])


def _json(shelf, name):
    return json.loads(read(shelf, f"data/{name}"))


def test_the_schema_is_one_and_the_json_keeps_to_it(shelf):
    schema = _json(shelf, "record.schema.json")
    jsonschema.Draft202012Validator.check_schema(schema)
    validator = jsonschema.Draft202012Validator(schema)
    assert list(validator.iter_errors(_json(shelf, "record.json"))) == []
    assert set(schema["properties"]["tables"]["required"]) == {table_name(cls) for cls in TYPES}


@pytest.mark.parametrize(
    ("table", "name", "value"),
    [("faces", "length_m", "9 ft"), ("faces", "kind", "hedge"), ("items", "state", None), ("pictures", "flags", "dark"),
     ("sightings", "target", "nobody"), ("coverage", "grid", 5), ("faces", "wrong", 1)],
)  # fmt: skip
def test_the_schema_refuses_what_is_wrong(shelf, table, name, value):
    data = _json(shelf, "record.json")
    data["tables"][table][0][name] = value
    assert list(jsonschema.Draft202012Validator(json_schema()).iter_errors(data))


def test_the_json_gives_the_rows_back_exactly(record_folder):
    with Record.open(record_folder) as record:
        for table, rows in tables_of_json(b"".join(json_chunks(record))):
            assert rows == list(raw_rows(record, table)), table


def test_the_fingerprint_is_that_of_the_content(record):
    first = fingerprint(record)
    assert fingerprint(record) == first
    item = record.all(Item)[0]
    record.db.execute("UPDATE items SET note = 'x' WHERE id = ?", [item.id])
    assert fingerprint(record) != first
    record.db.execute("UPDATE items SET note = ? WHERE id = ?", [item.note, item.id])
    assert fingerprint(record) == first


@pytest.mark.parametrize("cls", TYPES, ids=[table_name(c) for c in TYPES])
def test_pandas_reads_equal_values(cls, shelf, record_folder):
    data = read(shelf, f"data/tables/{table_name(cls)}.csv")
    frame = pandas.read_csv(io.BytesIO(data), keep_default_na=False, dtype=str)
    headed = {c.header: c.name for c in columns(cls)}
    kinds = field_kinds(cls)
    with Record.open(record_folder) as record:
        rows = list(raw_rows(record, table_name(cls)))
    assert len(frame) == len(rows)
    assert [headed[h] for h in frame.columns] == [n for n in kinds if kinds[n] is not bytes]
    for header in frame.columns:
        name = headed[header]
        for got, row in zip(frame[header], rows, strict=True):
            assert _read(got, kinds[name]) == (row[name] if row[name] is not None else _read("", kinds[name])), name


def _read(text: str, kind: type):
    if kind is bool and text:
        return {"true": 1, "false": 0}[text]
    return kind(text) if text and kind in (int, float) else text


def test_pandas_guesses_the_types_of_numbers(shelf):
    frame = pandas.read_csv(io.BytesIO(read(shelf, "data/tables/positions.csv")))
    assert frame["offset (m)"].dtype == float
    assert frame["picture_count"].dtype == int


def test_sqlite_utils_takes_the_tables_in(shelf, record_folder):
    text = read(shelf, "data/tables/faces.csv").decode()
    db = Database(memory=True)
    db["faces"].insert_all(csv.DictReader(io.StringIO(text)), pk="id")
    with Record.open(record_folder) as record:
        for face in record.all(Face):
            assert float(db["faces"].get(face.id)["length (m)"]) == face.length_m


def test_lengths_and_ratings_have_their_unit_in_the_header(shelf):
    names = ("faces", "circuits", "sightings")
    heads = {n: read(shelf, f"data/tables/{n}.csv").decode().split("\r\n")[0] for n in names}
    assert "length (m)" in heads["faces"] and "corner (rad)" in heads["faces"]
    assert "amps (A)" in heads["circuits"] and "volts (V)" in heads["circuits"]
    assert "x (px)" in heads["sightings"]
    for cls in TYPES:
        for name in field_kinds(cls):
            if name.endswith(("_m", "_px", "_rad", "_s", "_deg")):
                assert any(c.name == name and c.unit for c in columns(cls)), name


def test_the_tables_are_explained(shelf):
    text = read(shelf, "data/tables/README.txt").decode()
    for cls in TYPES:
        assert f"\n{table_name(cls)}.csv\n" in text
    assert "LEFT end" in text and "STUD FACE" in text
    assert "may still be in the wall" in text


def test_sightings_are_web_annotations_of_the_originals(shelf, record_folder):
    page = _json(shelf, "sightings.annotations.json")
    assert page["@context"] == "http://www.w3.org/ns/anno.jsonld"
    assert page["type"] == "AnnotationPage"
    with Record.open(record_folder) as record:
        sightings, pictures = record.all(Sighting), {p.id: p for p in record.all(Picture)}
        media = {m.id: m for m in record.all(Media)}
    assert len(page["items"]) == len(sightings) > 10
    assert len({a["id"] for a in page["items"]}) == len(sightings)
    kinds = set()
    for annotation, sighting in zip(page["items"], sightings, strict=True):
        picture = pictures[sighting.picture_id]
        assert annotation["type"] == "Annotation"
        source = annotation["target"]["source"]
        assert f"data/{source}" in shelf.names()
        assert source == "record/" + media[picture.media_id].path
        rectangle = annotation["target"]["selector"][0]["value"]
        parts = dict(p.split("=") for p in rectangle.split("&"))
        left, top, width, height = map(int, parts["xywh"].removeprefix("pixel:").split(","))
        assert math.isclose(left + width / 2, sighting.x_px, abs_tol=1)
        assert math.isclose(top + height / 2, sighting.y_px, abs_tol=1)
        assert ("t" in parts) == (picture.kind == "frame")
        if picture.kind == "frame":
            assert float(parts["t"]) == pytest.approx(picture.pts_s, abs=1e-6)
        kinds.add(picture.kind)
    assert kinds == {"photo", "frame"}
