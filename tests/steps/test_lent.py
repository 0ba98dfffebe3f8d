"""Large clips, looked at where they lie before they are copied: usable at once, whole in the end, whatever happens."""

from __future__ import annotations

import os
import shutil
from contextlib import suppress
from pathlib import Path

import numpy as np
import pytest

from asbuilt.handover.backup import backup
from asbuilt.handover.opening import open_package
from asbuilt.handover.package import HandoverOptions, hand_over
from asbuilt.handover.verify import verify
from asbuilt.record import Face, Item, Media, Picture, Record, Room, Sighting, lent
from asbuilt.record import media as store
from asbuilt.record.lent import quick_sha256
from asbuilt.record.media import file_sha256, media_path
from asbuilt.record.pixels import ensure_frame, iter_pictures, read_picture
from asbuilt.record.unfinished import not_looked_at
from asbuilt.steps import intake, intake_scan, intake_video
from asbuilt.steps.filing import file_by_hand
from tests.clips import framed_wall, walk_along, write_clip

QUIET = intake.IntakeOptions(progress=False)
PLAIN = HandoverOptions(without=frozenset({"viewer", "binder", "drawings"}))


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """10 s along a wall."""
    images = walk_along(framed_wall(2000, 400), 300, 4, 320, 180)
    path = tmp_path_factory.mktemp("clip") / "walk.mp4"
    return write_clip(path, images, np.arange(300) / 30, codec_options={"preset": "ultrafast", "g": "60"})


@pytest.fixture
def clip(made, tmp_path):
    return Path(shutil.copy(made, tmp_path / "walk.mp4"))


@pytest.fixture(scope="module")
def whole_s(made, tmp_path_factory):
    """When the pictures are that a clip copied first gives."""
    with Record.create(tmp_path_factory.mktemp("whole") / "r", "House") as record:
        intake.run(record, [made], QUIET)
        return sorted(p.pts_s for p in record.all(Picture))


@pytest.fixture
def record(tmp_path, monkeypatch):
    monkeypatch.setattr(intake_video, "LENT_FROM_BYTES", 0)
    with Record.create(tmp_path / "r", "House") as made:
        made.put(Room(id="studio", name="Studio"))
        made.put(Face(id="north", room_id="studio", title="North", length_m=4, height_m=2.7))
        yield made


@pytest.fixture
def lent_only(record, clip, monkeypatch):
    """The record as it is when copying begins, and breaks off."""
    broken_off_at(record, [clip], monkeypatch, intake_video, "store_original")
    return record


def broken_off_at(record, paths, monkeypatch, module, name, after=False):
    """Run intake until a function is called, or has been."""
    function = getattr(module, name)

    def stop(*args, **kwargs):
        if after:
            function(*args, **kwargs)
        raise KeyboardInterrupt

    with monkeypatch.context() as broken:
        broken.setattr(module, name, stop)
        with pytest.raises(KeyboardInterrupt):
            intake.run(record, paths, QUIET)


def check_whole(record, clip, whole_s):
    (media,) = record.all(Media)
    assert media.state == "done" and media.id == file_sha256(clip) and media.name == "walk.mp4"
    assert media_path(record, media).read_bytes() == clip.read_bytes()
    assert not media_path(record, media).is_symlink()
    found_s = [p.pts_s for p in record.all(Picture) if p.kept_for == "coverage"]
    assert sorted(found_s) == whole_s
    assert {p.media_id for p in record.all(Picture)} == {media.id}
    assert not not_looked_at(record) and not verify(record.folder).findings
    assert [p for p in (record.folder / "media").rglob("*") if not p.is_dir()] == [media_path(record, media)]


def test_before_it_is_copied_other_programs_see_its_first_pictures(lent_only, clip):
    with Record.open(lent_only.folder) as other:
        pictures = other.all(Picture)
        (media,) = other.all(Media)
        assert media.state == "copying" and len(pictures) >= 5
        for picture in (pictures[0], pictures[-1]):
            assert read_picture(other, picture).shape == (180, 320, 3)
    (line,) = not_looked_at(lent_only)
    assert line.startswith("walk.mp4: still being copied into the record, and not looked at but for its first")
    found = verify(lent_only.folder)
    assert [f.text for f in found.findings] == [line] and not found.faults
    assert str(clip.parent).encode() not in b"".join(p.read_bytes() for p in lent_only.folder.glob("record.db*"))


def test_in_the_end_it_is_as_if_it_had_been_copied_first(record, clip, whole_s):
    before = (clip.read_bytes(), clip.stat().st_mtime_ns)
    report = intake.run(record, [clip], QUIET)
    assert [f.outcome for f in report.files] == ["added"] and report.files[0].picture_count == len(whole_s)
    check_whole(record, clip, whole_s)
    assert (clip.read_bytes(), clip.stat().st_mtime_ns) == before
    assert intake.run(record, [clip], QUIET).files[0].outcome == "known"


MOMENTS = {
    "linked, no row yet": (lent, "replace", False),
    "a row, no pictures": (intake_video, "_first_look", False),
    "before copying": (intake_video, "store_original", False),
    "while copying": (store.os, "fsync", False),
    "copied, no row of it": (intake_video, "settle", False),
    "within the change of rows": (lent.Record, "clear", False),
    "the row, the link still there": (intake_video, "settle", True),
    "before the scan": (intake_video, "scan_clip", False),
    "before its end": (intake_scan, "end_first_look", False),
}


@pytest.mark.parametrize("named", [True, False])
@pytest.mark.parametrize("moment", MOMENTS)
def test_broken_off_at_any_moment_it_opens_verifies_and_goes_on(record, clip, whole_s, monkeypatch, moment, named):
    broken_off_at(record, [clip], monkeypatch, *MOMENTS[moment])
    with Record.open(record.folder) as again:
        assert not verify(record.folder).faults
        intake.run(again, [clip] if named or not again.all(Media) else [], QUIET)
        for link in lent.stray_links(again):
            os.utime(link, (0, 0), follow_symlinks=False)
        store.clear_stale_incoming(again)
        check_whole(again, clip, whole_s)


def test_what_was_marked_and_filed_on_first_pictures_stays(lent_only, clip, whole_s):
    first = lent_only.all(Picture)
    lent_only.put(Item(id="i", kind="device box"))
    lent_only.put(Sighting(id="s", target="item", target_id="i", picture_id=first[1].id, x_px=5.0, y_px=5.0))
    asked = ensure_frame(lent_only, lent_only.all(Media)[0], 3.21)
    file_by_hand(lent_only, [first[2].id], "north")
    intake.run(lent_only, [], QUIET)
    (media,) = lent_only.all(Media)
    for picture in (first[1], first[2], asked):
        after = lent_only.get(Picture, picture.id)
        assert (after.media_id, after.pts_s) == (media.id, picture.pts_s)
        assert read_picture(lent_only, after).shape == (180, 320, 3)
    assert lent_only.get(Picture, first[2].id).face_id == "north"
    times_s = [p.pts_s for p in lent_only.all(Picture)]
    assert len(times_s) == len(set(times_s))
    assert ensure_frame(lent_only, media, 3.21).id == asked.id


def test_pictures_that_are_being_read_while_it_is_copied_are_read_on(lent_only, clip):
    pictures = lent_only.all(Picture)
    intake_video.settle(lent_only, lent_only.all(Media)[0], *_stored(lent_only, clip))
    assert len(list(iter_pictures(lent_only, pictures))) == len(pictures)


def _stored(record, clip) -> tuple[str, str]:
    stored = store.store_original(record, clip)
    return stored.sha256, stored.path


@pytest.mark.parametrize("how", ["gone", "changed"])
def test_a_source_that_is_away_is_told_and_the_pictures_stay(lent_only, clip, tmp_path, whole_s, how):
    moved = Path(shutil.copy(clip, tmp_path / "elsewhere.mp4"))
    clip.unlink() if how == "gone" else clip.write_bytes(clip.read_bytes()[:-1])
    pictures = lent_only.all(Picture)
    report = intake.run(lent_only, [], QUIET)
    assert [(f.outcome, f.picture_count) for f in report.files] == [("halted", len(pictures))]
    assert lent_only.all(Picture) == pictures
    (line,) = not_looked_at(lent_only)
    assert "its original was never copied into the record" in line and "add the file again" in line
    assert line in report.lines() and not verify(lent_only.folder).faults
    assert [f.outcome for f in intake.run(lent_only, [moved], QUIET).files] == ["added"]
    check_whole(lent_only, moved, whole_s)


def test_a_file_changed_while_it_is_copied_is_not_taken_for_itself(record, clip, monkeypatch):
    copying = intake_video.store_original

    def changed_meanwhile(*args):
        clip.write_bytes(clip.read_bytes() + b"\0" * 9)
        return copying(*args)

    monkeypatch.setattr(intake_video, "store_original", changed_meanwhile)
    report = intake.run(record, [clip], QUIET)
    assert report.files[0].outcome == "halted" and "was changed while it was being copied" in report.files[0].text
    assert [m.state for m in record.all(Media)] == ["copying"] and not verify(record.folder).faults
    assert not [p for p in (record.folder / "media").rglob("*") if p.is_file() and not p.is_symlink()]
    monkeypatch.setattr(intake_video, "store_original", copying)
    assert intake.run(record, [clip], QUIET).files[0].outcome == "added"
    assert [m.id for m in record.all(Media)] == [file_sha256(clip)] and not not_looked_at(record)


def test_copies_say_that_it_is_not_in_them(lent_only, clip, tmp_path):
    wanted = ("walk.mp4 (still being copied into the record)",)
    assert backup(lent_only, tmp_path / "copy").missing == wanted
    assert hand_over(lent_only, tmp_path / "package", PLAIN).missing == wanted
    for path in (tmp_path / "copy", tmp_path / "package"):
        found = verify(path)
        assert not found.faults and "never copied into the record" in found.findings[0].text
        assert not [p for p in path.rglob("*") if p.is_symlink() or p.suffix == ".mp4"]
        assert str(clip.parent).encode() not in b"".join(p.read_bytes() for p in path.rglob("record.*"))
    open_package(tmp_path / "package", tmp_path / "opened")
    with Record.open(tmp_path / "opened") as opened:
        assert intake.run(opened, [], QUIET).files[0].outcome == "halted"
        assert len(opened.all(Picture)) == len(lent_only.all(Picture))


def test_a_package_from_elsewhere_cannot_make_links(lent_only, clip, tmp_path):
    hand_over(lent_only, tmp_path / "package", PLAIN)
    (media,) = lent_only.all(Media)
    folder = tmp_path / "package" / "data" / "record"
    (folder / "media").mkdir(exist_ok=True)
    (folder / media.path).symlink_to(clip)
    open_package(tmp_path / "package", tmp_path / "opened")
    assert not [p for p in (tmp_path / "opened").rglob("*") if p.is_symlink() or p.suffix == ".mp4"]


def test_a_link_in_a_folder_from_elsewhere_counts_only_for_the_very_file(lent_only, clip):
    """Whoever made it would have to know size and time of a file here, to the nanosecond."""
    (media,) = lent_only.all(Media)
    assert media_path(lent_only, media)
    os.utime(clip, ns=(0, clip.stat().st_mtime_ns + 1))
    report = intake.run(lent_only, [], QUIET)
    assert report.files[0].outcome == "halted"
    assert not [p for p in (lent_only.folder / "media").rglob("*") if p.is_file() and not p.is_symlink()]


def test_two_files_of_one_quick_digest_are_two_clips(record, clip, tmp_path):
    # An empty box of 4 MiB at the end (ISO/IEC 14496-12, 8.1.2), and a byte of it that is not among the blocks read.
    box = bytearray((4 << 20).to_bytes(4, "big") + b"free" + bytes((4 << 20) - 8))
    clip.write_bytes(clip.read_bytes() + box)
    other = tmp_path / "other.mp4"
    whole = bytearray(clip.read_bytes())
    whole[next(n for n in range(len(whole) - (3 << 20), len(whole)) if _spared(len(whole), n))] ^= 1
    other.write_bytes(whole)
    assert quick_sha256(clip) == quick_sha256(other) and file_sha256(clip) != file_sha256(other)
    for _ in range(2):
        intake.run(record, [clip, other], QUIET)
    assert {m.id for m in record.all(Media, state="done")} == {file_sha256(clip), file_sha256(other)}
    counts = [len(record.all(Picture, media_id=m.id)) for m in record.all(Media)]
    assert counts[0] == counts[1] > 10 and len({p.id for p in record.all(Picture)}) == sum(counts)


def _spared(byte_count: int, at: int) -> bool:
    last, count = byte_count - lent.QUICK_BLOCK_BYTES, lent.QUICK_BLOCKS
    starts = [last * n // (count - 1) for n in range(count)]
    return not any(start <= at < start + lent.QUICK_BLOCK_BYTES for start in starts)


def test_two_programs_that_take_in_the_same_clip_end_with_one(record, clip, whole_s, monkeypatch):
    scan, others = intake_video.settle, []

    def after_another(*args):
        if not others:
            others.append(True)
            with Record.open(record.folder) as other:
                intake.run(other, [clip], QUIET)
        return scan(*args)

    monkeypatch.setattr(intake_video, "settle", after_another)
    assert intake.run(record, [clip], QUIET).files[0].outcome == "added"
    check_whole(record, clip, whole_s)


def test_the_same_clip_under_two_names_is_one(record, clip, tmp_path, whole_s):
    other = Path(shutil.copy(clip, tmp_path / "copy.mp4"))
    report = intake.run(record, [clip, other], QUIET)
    assert [f.outcome for f in report.files] == ["added", "added"]
    check_whole(record, clip, whole_s)


def test_on_a_disk_without_links_it_is_copied_first(record, clip, whole_s, monkeypatch):
    def refuse(*_):
        raise OSError(95, "Operation not supported")

    monkeypatch.setattr(Path, "symlink_to", refuse)
    intake.run(record, [clip], QUIET)
    check_whole(record, clip, whole_s)


def test_of_several_clips_all_have_pictures_before_the_first_is_copied(record, clip, tmp_path, monkeypatch):
    other = write_clip(tmp_path / "o.mp4", walk_along(framed_wall(900), 60, 5), np.arange(60) / 30)
    with suppress(AssertionError):
        broken_off_at(record, [clip, other], monkeypatch, intake_video, "store_original")
    assert {p.media_id for p in record.all(Picture)} == {m.id for m in record.all(Media)}
    assert len(record.all(Media)) == 2


def test_a_missing_original_comes_back_with_the_file(record, clip, whole_s):
    intake.run(record, [clip], QUIET)
    media_path(record, record.all(Media)[0]).unlink()
    assert "is back" in intake.run(record, [clip], QUIET).files[0].text
    check_whole(record, clip, whole_s)


def test_a_moment_is_read_as_it_stood(record):
    with Record.open(record.folder) as other, record.moment():
        assert not record.all(Item)
        other.put(Item(id="i", kind="device box"))
        assert not record.all(Item)
    assert record.all(Item)
