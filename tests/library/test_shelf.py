"""Listing and searching the records below a folder."""

from __future__ import annotations

import os
import shutil
from dataclasses import replace

import pytest

from asbuilt.library import shelf
from asbuilt.library.errors import LibraryError
from asbuilt.record import Circuit, Item, Record
from asbuilt.record.catalogue import CATALOGUE_NAME
from tests.truth import truth_record


@pytest.fixture(scope="module")
def filled(tmp_path_factory):
    folder = tmp_path_factory.mktemp("filled") / "r"
    truth_record(folder, places="clicked").close()
    return folder


def test_each_record_is_listed_with_its_state_and_the_broken_one_with_its_trouble(library, filled):
    shutil.copytree(filled, library / "done")
    Record.create(library / "new", "New").close()
    found = {e.folder: e for e in shelf.entries(library)}
    assert list(found) == ["a", "b", "broken", "done", "new", "north/c"]
    assert [found[n].state for n in ("a", "broken", "done", "new")] == [
        "not placed", "cannot be read", "placed", "no walls yet",
    ]  # fmt: skip
    assert (found["a"].faces, found["a"].pictures, found["a"].placed, found["a"].gaps) == (4, 2, 0, None)
    assert found["done"].placed > 10 and found["done"].items > 20
    assert "not a database" in found["broken"].trouble
    sizes = sum(p.stat().st_size for p in (library / "a").rglob("*") if p.suffix in (".jpg", ".db"))
    assert found["a"].byte_count == sizes


def test_only_changed_records_are_read_again(library, monkeypatch):
    shelf.entries(library)
    read = []
    real = shelf.read_entry
    monkeypatch.setattr(shelf, "read_entry", lambda root, folder: read.append(folder) or real(root, folder))
    shelf.entries(library)
    assert read == []
    with Record.open(library / "b") as record:
        record.put(Circuit(id="x", number="99", name="well pump"))
    shutil.rmtree(library / "north")
    assert [e.circuits for e in shelf.entries(library) if e.folder in ("a", "b")] == [7, 8]
    assert read == ["b"]
    assert "north/c" not in [e.folder for e in shelf.entries(library)]


def test_many_records_are_read_by_several_processes_with_the_same_result(library, monkeypatch):
    alone = shelf.entries(library)
    (library / CATALOGUE_NAME).unlink()
    monkeypatch.setattr(shelf, "WORTH_SPREADING", 1)
    assert shelf.entries(library) == alone


@pytest.mark.skipif(os.geteuid() == 0, reason="root may write anywhere")
def test_a_library_that_cannot_be_written_is_listed_all_the_same(library):
    library.chmod(0o555)
    assert len(shelf.entries(library)) == 4
    assert not (library / CATALOGUE_NAME).exists()


def test_a_spoken_question_finds_the_records_with_that_circuit(library):
    with Record.open(library / "b") as record:
        kiln = next(c for c in record.all(Circuit) if c.name == "kiln")
        record.put(replace(kiln, amps=40.0))
    answer = shelf.search(library, "all records with a 50 A circuit on a kiln")
    assert [f.folder for f in answer.found] == ["a", "north/c"]
    assert answer.found[0].things == ("circuit 1+3 kiln, 50 A",)
    assert (answer.looked_in, [e.folder for e in answer.not_read]) == (3, ["broken"])
    assert [f.folder for f in shelf.search(library, circuit="kiln", amps=40).found] == ["b"]
    assert shelf.search(library, "sauna").found == ()


def test_things_are_found_by_kind_and_by_the_beginning_of_words(library):
    with Record.open(library / "a") as record:
        record.put(Item(id="g1", kind="gas pipe", label="feed of the range"))
        record.put(Item(id="g2", kind="gas pipe", label="old feed", state="removed"))
    by_kind = shelf.search(library, kind="gas pipe").found
    assert [(f.folder, f.things) for f in by_kind] == [("a", ("gas pipe feed of the range, no place measured",))]
    assert shelf.search(library, "ran gas").found == by_kind
    assert shelf.search(library, "ange").found == ()


@pytest.mark.parametrize("text", ["", "of the", "20 A or 30 A"])
def test_a_question_that_asks_nothing_or_two_ratings_is_refused(library, text):
    with pytest.raises(LibraryError):
        shelf.search(library, text)
