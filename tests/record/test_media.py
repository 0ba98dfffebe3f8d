"""Originals in the media store."""

from __future__ import annotations

import hashlib
import os
import shutil
import stat
import time

import pytest

from asbuilt.errors import MediaError, RecordError
from asbuilt.record import Media, Record
from asbuilt.record.media import clear_stale_incoming, known_media, media_path, store_original

# FIPS 180-4 example: SHA-256 of "abc".
ABC_SHA256 = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


@pytest.fixture
def record(tmp_path):
    with Record.create(tmp_path / "r", "House") as made:
        yield made


@pytest.fixture
def original(tmp_path):
    path = tmp_path / "Photo 1.JPG"
    path.write_bytes(b"abc")
    return path


def put_row(record, stored) -> Media:
    media = Media(id=stored.sha256, name="x", kind="photo", byte_count=stored.byte_count, path=stored.path)
    record.put(media)
    return media


def stored_files(record):
    return [p for p in (record.folder / "media").rglob("*") if p.is_file()]


def test_original_is_stored_whole_under_its_hash(record, original):
    stored = store_original(record, original)
    assert stored.sha256 == ABC_SHA256
    assert stored.path == f"media/{ABC_SHA256[:2]}/{ABC_SHA256[2:]}.jpg"
    assert (record.folder / stored.path).read_bytes() == b"abc"
    assert not (record.folder / stored.path).stat().st_mode & (stat.S_IWUSR | stat.S_IWGRP | stat.S_IWOTH)
    assert original.read_bytes() == b"abc"


def test_same_content_under_another_name_is_stored_once(record, original, tmp_path):
    first = store_original(record, original)
    again = tmp_path / "copy.jpeg"
    again.write_bytes(b"abc")
    assert store_original(record, again) == first  # before there is a row: found by its name in the store
    media = put_row(record, first)
    assert known_media(record, again) == media
    assert store_original(record, again) == first
    assert len(stored_files(record)) == 1


def test_same_size_is_not_same_content(record, original, tmp_path):
    put_row(record, store_original(record, original))
    other = tmp_path / "other.jpg"
    other.write_bytes(b"abd")
    assert known_media(record, other) is None
    assert store_original(record, other).sha256 == hashlib.sha256(b"abd").hexdigest()
    assert len(stored_files(record)) == 2


def test_record_folder_can_be_moved(record, original, tmp_path):
    media = put_row(record, store_original(record, original))
    record.close()
    shutil.move(tmp_path / "r", tmp_path / "elsewhere")
    with Record.open(tmp_path / "elsewhere") as moved:
        assert media_path(moved, media).read_bytes() == b"abc"


def test_missing_original_says_what_to_do(record, original):
    media = put_row(record, store_original(record, original))
    (record.folder / media.path).unlink()
    with pytest.raises(MediaError, match="missing from the record .*media folder back"):
        media_path(record, media)
    store_original(record, original)  # adding it again heals that
    assert media_path(record, media).read_bytes() == b"abc"


def test_folder_and_missing_file_are_refused(record, tmp_path):
    with pytest.raises(MediaError, match="is a folder"):
        store_original(record, tmp_path)
    with pytest.raises(MediaError, match=r"gone\.jpg cannot be read"):
        store_original(record, tmp_path / "gone.jpg")


def test_a_full_disk_leaves_nothing_half_written(record, original, monkeypatch):
    def full(handle):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(RecordError, match="No space left"):
        store_original(record, original)
    assert stored_files(record) == []


def test_only_leftovers_of_dead_runs_are_cleared(record):
    old, fresh = record.folder / "media" / ".incoming-old", record.folder / "media" / ".incoming-new"
    for path in (old, fresh):
        path.write_bytes(b"half")
    two_hours_ago = time.time() - 7200
    os.utime(old, (two_hours_ago, two_hours_ago))
    assert clear_stale_incoming(record) == 1
    assert not old.exists() and fresh.exists()


def test_odd_suffixes_are_left_off(record, tmp_path):
    for name in ("x.jp g", "x.JPEG2000LONG", "noext", "x.j\n"):
        (tmp_path / name).write_bytes(name.encode())
        assert store_original(record, tmp_path / name).path.count(".") == 0
