"""Clips whose decoder gives up partway: halted, gone on with, and what cannot be decoded listed as not looked at."""

from __future__ import annotations

import itertools
import re

import av
import numpy as np
import pytest
from click.testing import CliRunner

from asbuilt.answers.coverage import before_cover_up
from asbuilt.answers.readiness import readiness, readiness_text
from asbuilt.answers.text import coverage_text
from asbuilt.cli import main
from asbuilt.errors import MediaError
from asbuilt.handover.verify import verify
from asbuilt.record import Face, Media, Picture, Record, Room
from asbuilt.record.unfinished import not_looked_at
from asbuilt.steps import intake, intake_scan, scan
from asbuilt.steps.filing import file_by_hand
from asbuilt.steps.scanner import Scanner
from tests.clips import write_walk

FRAME_COUNT, KEY_FRAME_EVERY_S = 1200, 2.0
QUIET = intake.IntakeOptions(progress=False)


@pytest.fixture(scope="module")
def clip(tmp_path_factory):
    """40 s along a wall."""
    return write_walk(tmp_path_factory.mktemp("clip") / "walk.mp4", FRAME_COUNT, 3000)


@pytest.fixture(scope="module")
def whole(clip, tmp_path_factory):
    """When the pictures are that an undisturbed run keeps."""
    with Record.create(tmp_path_factory.mktemp("whole") / "r", "House") as record:
        intake.run(record, [clip], QUIET)
        return times_s(record)


@pytest.fixture
def record(tmp_path):
    with Record.create(tmp_path / "r", "House") as made:
        made.put(Room(id="studio", name="Studio"))
        made.put(Face(id="north", room_id="studio", title="North", length_m=4, height_m=2.7))
        yield made


@pytest.fixture
def broken_at(monkeypatch):
    """A decoder that dies wherever it comes upon one of some moments; a list to be changed."""
    moments_s: list[float] = []

    def scan_until_broken(self, path, name, *places):
        began_s = None
        for event in scan.scan_video(str(path), name, *places):
            began_s = event["at_s"] if began_s is None else began_s
            if any(began_s <= moment_s <= event["at_s"] for moment_s in moments_s):
                raise MediaError(f"{name} brought its decoder down")
            yield event

    monkeypatch.setattr(scan, "EVENT_EVERY_S", -1.0)  # each frame is told
    monkeypatch.setattr(Scanner, "scan", scan_until_broken)
    return moments_s


def times_s(record) -> list[float]:
    return sorted(p.pts_s for p in record.all(Picture) if p.kept_for == "coverage")


def the_media(record) -> Media:
    (media,) = record.all(Media)
    return media


def test_the_first_time_it_is_halted_and_everything_that_lists_open_work_says_so(record, clip, whole, broken_at):
    broken_at[:] = [20.0]
    report = intake.run(record, [clip], QUIET)
    (outcome,) = report.files
    assert outcome.outcome == "halted" and outcome.picture_count > 10 and not report.refused
    media = the_media(record)
    assert media.state == "halted" and 19.9 < media.meta["halted"]["at_s"] < 20
    assert times_s(record) == [t for t in whole if t <= media.meta["kept_to_s"]]
    (line,) = not_looked_at(record)
    assert line.startswith("walk.mp4: halted at 20.0 s of 40.0 s, what follows was not looked at: it brought its")
    assert "asbuilt add RECORD" in line
    assert line in report.lines() and report.not_looked_at == (line,)
    assert line in coverage_text(before_cover_up(record)) and line in readiness_text(readiness(record))
    found = verify(record.folder)
    assert [f.text for f in found.findings] == [line] and not found.faults
    told = CliRunner().invoke(main, ["pictures", str(record.folder)]).output
    assert line in told.splitlines()


def test_trouble_that_passes_leaves_nothing_out(record, clip, whole, broken_at):
    broken_at[:] = [20.0]
    intake.run(record, [clip], QUIET)
    broken_at.clear()
    report = intake.run(record, [], QUIET)
    assert [f.outcome for f in report.files] == ["added"]
    assert the_media(record).state == "done" and not not_looked_at(record)
    assert np.diff(times_s(record)).max() <= 1.5 * np.diff(whole).max()
    assert len(times_s(record)) == pytest.approx(len(whole), abs=3)


@pytest.mark.parametrize("named", [True, False])
def test_the_second_time_that_place_is_left_out_and_listed(record, clip, whole, broken_at, named):
    broken_at[:] = [20.0]
    intake.run(record, [clip], QUIET)
    report = intake.run(record, [clip] if named else [], QUIET)
    assert [f.outcome for f in report.files] == ["added"]
    media = the_media(record)
    (left_out,) = media.meta["left_out"]
    assert media.state == "done" and "halted" not in media.meta
    assert 19 < left_out["from_s"] < 20 and 24 <= left_out["to_s"] <= 24 + KEY_FRAME_EVERY_S
    kept_s = times_s(record)
    assert not [t for t in kept_s if left_out["from_s"] < t < left_out["to_s"]]
    assert [t for t in kept_s if t <= left_out["from_s"]] == [t for t in whole if t <= left_out["from_s"]]
    after_s = [t for t in kept_s if t >= left_out["to_s"]]
    assert after_s[0] == left_out["to_s"] and np.diff(after_s).max() <= 1.5 * np.diff(whole).max()
    assert after_s[-1] == pytest.approx(whole[-1], abs=0.5)
    (line,) = report.not_looked_at
    assert line.startswith(f"walk.mp4: {left_out['from_s']:.1f} s to {left_out['to_s']:.1f} s not looked at: it")
    assert line in report.lines() and line in coverage_text(before_cover_up(record))
    assert intake.run(record, [], QUIET).files == ()


def test_a_long_bad_stretch_is_left_out_as_one(record, clip, broken_at):
    broken_at[:] = np.arange(10, 21, 0.5).tolist()
    for _ in range(2):
        intake.run(record, [clip], QUIET)
    media = the_media(record)
    (left_out,) = media.meta["left_out"]
    assert media.state == "done"
    assert 9 < left_out["from_s"] < 10 and 20.5 < left_out["to_s"] < 40
    assert times_s(record)[-1] > 39


def test_of_two_bad_places_the_second_is_halted_at_first_too(record, clip, broken_at):
    broken_at[:] = [10.0, 30.0]
    intake.run(record, [clip], QUIET)
    assert the_media(record).meta["halted"]["at_s"] == pytest.approx(10, abs=0.1)
    intake.run(record, [], QUIET)
    assert the_media(record).state == "halted"
    assert the_media(record).meta["halted"]["at_s"] == pytest.approx(30, abs=0.1)
    assert len(not_looked_at(record)) == 2
    intake.run(record, [], QUIET)
    assert the_media(record).state == "done" and len(the_media(record).meta["left_out"]) == 2
    assert len(not_looked_at(record)) == 2


def test_what_is_bad_to_its_end_is_left_out_to_its_end(record, clip, broken_at):
    broken_at[:] = [*(np.arange(900, FRAME_COUNT) / 30)]  # every frame from there
    for _ in range(2):
        report = intake.run(record, [clip], QUIET)
    assert the_media(record).state == "done"
    assert "s to its end not looked at" in report.not_looked_at[0]
    assert 29 < times_s(record)[-1] < 30


def test_bad_from_the_first_frame_on_nothing_is_used(record, clip, broken_at):
    broken_at[:] = [*(np.arange(FRAME_COUNT) / 30)]
    first = intake.run(record, [clip], QUIET)
    assert first.files[0].outcome == "halted" and not times_s(record)
    shown = record.all(Picture)
    assert shown and all(p.kept_for == "first look" for p in shown)
    intake.run(record, [], QUIET)
    assert the_media(record).state == "done" and not record.all(Picture)
    assert "0.0 s to its end not looked at" in not_looked_at(record)[0]


@pytest.mark.parametrize("frame_count", [0, 1, 40, 400])  # the last goes further than resuming warms up
def test_broken_off_behind_what_was_left_out_it_is_not_decoded_again(
    record, clip, whole, broken_at, monkeypatch, frame_count
):
    broken_at[:] = [20.0]
    intake.run(record, [clip], QUIET)
    breaking = Scanner.scan

    def cut_off(self, path, name, start_s, resume_at_s, not_before_s):
        events = breaking(self, path, name, start_s, resume_at_s, not_before_s)
        if not_before_s is None:
            yield from events
        yield from itertools.islice(events, frame_count)
        raise KeyboardInterrupt

    with monkeypatch.context() as broken:
        broken.setattr(Scanner, "scan", cut_off)
        broken.setattr(intake_scan, "COMMIT_EVERY_S", -1.0)
        with pytest.raises(KeyboardInterrupt):
            intake.run(record, [], QUIET)
    assert the_media(record).state == "scanning" and len(not_looked_at(record)) == 2
    intake.run(record, [], QUIET)
    media = the_media(record)
    assert media.state == "done" and len(media.meta["left_out"]) == 1
    kept_s = times_s(record)
    assert len(kept_s) == len(set(kept_s))
    after_s = [t for t in kept_s if t >= media.meta["left_out"][0]["to_s"]]
    assert np.diff(after_s).max() <= 1.5 * np.diff(whole).max() and after_s[-1] > 39


def test_what_a_person_filed_during_the_first_look_stays_filed(record, clip, whole, broken_at):
    broken_at[:] = [0.0]
    intake.run(record, [clip], QUIET)
    shown = record.all(Picture)
    file_by_hand(record, ["walk.mp4"], "north", stage="covered")
    kept_too = set(whole) & {p.pts_s for p in shown}
    assert kept_too and len(shown) > len(kept_too)
    broken_at.clear()
    intake.run(record, [], QUIET)
    for before in shown:
        after = record.get(Picture, before.id)
        assert (after.face_id, after.room_id, after.filed_by, after.stage) == ("north", "studio", "hand", "covered")
        assert (after.kept_for == "coverage") == (after.sharpness is not None) == (after.pts_s in kept_too)


@pytest.mark.parametrize("suffix", [".mp4", ".mkv", ".ts", ".avi"])
def test_scanning_can_begin_behind_a_place_without_decoding_it(clip, tmp_path, suffix):
    path = tmp_path / f"c{suffix}"
    write_walk(path, 400, 2000, step_px=3)
    start_s = scan.look(str(path), path.name)["facts"]["meta"]["start_s"]
    for not_before_s in (3.1, 6.0):
        first = next(scan.scan_video(str(path), path.name, start_s, None, not_before_s))
        assert not_before_s - 0.1 <= first["at_s"] <= not_before_s + KEY_FRAME_EVERY_S + 0.1
    (event,) = scan.scan_video(str(path), path.name, start_s, None, 1000.0)
    assert event["done"] and (event["frame_count"] == 0 or suffix in (".ts", ".avi"))


def test_damage_within_a_clip_is_listed_and_odd_packets_are_not(record, clip, tmp_path):
    """Packets of 3 s overwritten; then one alone, behind which frames go on at once."""
    with av.open(str(clip)) as container:
        packets = [(p.pos, p.size, float(p.pts * p.time_base)) for p in container.demux(video=0) if p.size]
    for name, from_s, to_s in (("torn.mp4", 6.0, 9.0), ("nicked.mp4", 8.0, 8.02)):
        data = bytearray(clip.read_bytes())
        for at, size, time_s in packets:
            if from_s <= time_s < to_s:
                data[at : at + size] = bytes(size)
        (tmp_path / name).write_bytes(data)
    report = intake.run(record, [tmp_path / "torn.mp4", tmp_path / "nicked.mp4"], QUIET)
    (line,) = report.not_looked_at
    assert line in report.lines() and not [d for d in report.dropped if d.reason == "damaged"]
    damaged = re.fullmatch(r"torn.mp4: 6.0 s to ([0-9.]+) s not looked at: the file is damaged there; .*", line)
    assert float(damaged[1]) == pytest.approx(9, abs=KEY_FRAME_EVERY_S)
