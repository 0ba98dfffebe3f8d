"""The first look at a clip: pictures to go on with before it is scanned, gone after unless used."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from asbuilt.errors import MediaError
from asbuilt.record import Media, Picture, Record, Sighting
from asbuilt.record.pixels import read_picture
from asbuilt.steps import intake, intake_video
from asbuilt.steps.scanner import Scanner

WALK = Path(__file__).parents[2] / "sample_media" / "walk.mp4"
QUIET = intake.IntakeOptions(progress=False)


@pytest.fixture
def record(tmp_path):
    with Record.create(tmp_path / "r", "R") as made:
        yield made


@pytest.fixture
def after_the_first_look(record, monkeypatch):
    """The record as it is when the scan begins."""

    def stop(*_):
        raise KeyboardInterrupt

    with monkeypatch.context() as broken:
        broken.setattr(Scanner, "scan", stop)
        with pytest.raises(KeyboardInterrupt):
            intake.run(record, [WALK], QUIET)
    return record


def test_before_the_scan_there_are_readable_pictures_along_the_whole_clip(after_the_first_look):
    record = after_the_first_look
    pictures = sorted(record.all(Picture, kept_for="first look"), key=lambda p: p.pts_s)
    length_s = record.all(Media)[0].meta.get("length_s") or max(p.pts_s for p in pictures)
    assert len(pictures) >= 5 and pictures[0].pts_s < 1
    assert np.diff([p.pts_s for p in pictures]).max() < max(3.0, length_s / 4)
    for picture in (pictures[0], pictures[-1]):
        assert read_picture(record, picture).shape == (picture.height_px, picture.width_px, 3)


def test_after_the_scan_only_used_ones_are_left(after_the_first_look, tmp_path, monkeypatch):
    record = after_the_first_look
    first = record.all(Picture, kept_for="first look")
    used = first[2]
    record.put(Sighting(id="s", target="item", target_id="none", picture_id=used.id, x_px=5.0, y_px=5.0))
    intake.run(record, [], QUIET)
    monkeypatch.setattr(intake_video, "_first_look", lambda *_: None)
    with Record.create(tmp_path / "plain", "P") as plain:
        intake.run(plain, [WALK], QUIET)
        expected = {p.id: p for p in plain.all(Picture)}
    found = {p.id: p for p in record.all(Picture)}
    assert used.id in found
    found.pop(used.id) if used.id not in expected else None
    assert {i: replace(p, kept_for="coverage") for i, p in found.items()} == expected


def test_a_clip_that_cannot_be_looked_at_first_is_scanned_all_the_same(record, monkeypatch):
    def fail(*_):
        raise MediaError("no")

    monkeypatch.setattr(Scanner, "first_look", fail)
    assert intake.run(record, [WALK], QUIET).files[0].picture_count > 100
