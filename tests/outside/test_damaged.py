"""Damaged, hostile and mistaken files: one clear line each, and the rest goes on.

Sources: files that once crashed, hung or filled the memory of decoders, bombs and truncated
pictures among the test images of Pillow 13.0.0; corrupted, empty, truncated and 200-megapixel
HEIC files of pillow-heif 1.8.1; cut-off clips of pymediainfo 7.0.1.
"""

from __future__ import annotations

import struct
import time
import zlib

import numpy as np
import pytest
from PIL import Image

from asbuilt.record import Media, Picture, Record
from asbuilt.record.pixels import read_picture
from asbuilt.steps import intake
from tests.clips import framed_wall, walk_along, write_clip
from tests.outside.fetch import unpacked

pytestmark = [pytest.mark.outside, pytest.mark.filterwarnings("ignore::UserWarning:PIL")]

PATTERNS = ("crash-*", "timeout-*", "oom-*", "ossfuzz-*", "decompression_bomb*", "truncated_*", "broken*", "*bad*",
            "bmp/b/*.bmp", "eps/timeout-*", "photoshop-200dpi-broken.jpg", "sgi_crash.bin")  # fmt: skip


@pytest.fixture(scope="module")
def good(tmp_path_factory):
    folder = tmp_path_factory.mktemp("good")
    photo = folder / "zz_good.jpg"
    Image.fromarray(framed_wall(800, 600)).save(photo)
    clip = write_clip(folder / "zz_good.mp4", walk_along(framed_wall(1500), 20, 25), np.arange(20) / 10)
    return photo, clip


@pytest.fixture
def record(tmp_path):
    with Record.create(tmp_path / "r", "House") as made:
        yield made


def outcomes(report):
    return {f.name: f for f in report.files}


def check_whole(record, report, files):
    """Every file has its outcome, every refusal one line naming the file, every row its pixels."""
    found = outcomes(report)
    assert set(found) == {f.name for f in files}
    for outcome in found.values():
        assert outcome.outcome in ("added", "known", "refused")
        if outcome.outcome == "refused":
            assert outcome.name in outcome.text and "\n" not in outcome.text and len(outcome.text) < 300
    for picture in record.all(Picture):
        assert read_picture(record, picture).shape == (picture.height_px, picture.width_px, 3)
    assert not [p for p in (record.folder / "media").iterdir() if p.is_file()]
    stored = [p for p in (record.folder / "media").rglob("*") if p.is_file()]
    assert len(stored) == len(record.all(Media))


def test_files_that_broke_decoders_neither_stop_nor_stall_a_run(record, good):
    folder = unpacked("pillow", "13.0.0", "Tests/images") / "Tests/images"
    files = sorted({path for pattern in PATTERNS for path in folder.glob(pattern) if path.is_file()})
    assert len(files) > 60
    started = time.monotonic()
    report = intake.run(record, [*files, *good])
    assert time.monotonic() - started < 120
    check_whole(record, report, [*files, *good])
    found = outcomes(report)
    assert found["zz_good.jpg"].outcome == found["zz_good.mp4"].outcome == "added"
    # Pillow's own tests say that these raise; the last two are damaged only in what nobody needs.
    for name in ("truncated_jpeg.jpg", "truncated_image.png", "broken.png", "broken_data_stream.png"):
        assert found[name].outcome == "refused"
    for name in ("decompression_bomb.gif", "decompression_bomb_extents.gif", "decompression_bomb.ico"):
        assert found[name].outcome == "refused"
    assert found["hopper_bad_exif.jpg"].outcome == found["truncated_exif_dpi.jpg"].outcome == "added"


def test_heic_damage_and_size(record, good):
    folder = unpacked("pillow-heif", "1.8.1", "tests/images") / "tests/images"
    names = ("heif_corrupted/corrupted.heic", "heif_corrupted/corrupted.hif", "heif_corrupted/empty.heic",
             "heif_truncated/truncated.heic", "heif_special/200MP.heic",
             "heif_special/broken_thumbnail.heic")  # fmt: skip
    files = [folder / name for name in names]
    report = intake.run(record, [*files, *good])
    check_whole(record, report, [*files, *good])
    found = outcomes(report)
    assert [found[f.name].outcome for f in files[:5]] == ["refused"] * 5
    assert "too many pixels" in found["200MP.heic"].text
    assert "0 bytes" in found["empty.heic"].text
    assert found["zz_good.jpg"].outcome == "added"


def test_cut_off_and_mistaken_clips(record, good, tmp_path):
    folder = unpacked("pymediainfo", "7.0.1", "tests/data") / "tests/data"
    whole = good[1].read_bytes()
    made = {
        "half.mp4": whole[: len(whole) // 2],  # the index lies at the end of the file
        "text.mp4": b"not a clip at all\n" * 50,
        "nothing.mov": b"",
        "noise.mp4": whole[:48] + np.random.default_rng(3).bytes(20_000),
        "playlist.mp4": b"#EXTM3U\n#EXTINF:1,\nfile:///etc/passwd\n",
    }
    for name, data in made.items():
        (tmp_path / name).write_bytes(data)
    files = [tmp_path / name for name in made]
    files += [folder / "sample.mkv", folder / "mp4-with-audio.mp4", folder / "mp3.mp3", folder / "issue55.flv"]
    report = intake.run(record, [*files, *good])
    check_whole(record, report, [*files, *good])
    found = outcomes(report)
    for name in made:
        assert found[name].outcome == "refused"
    assert found["mp3.mp3"].outcome == found["issue55.flv"].outcome == "refused"
    assert found["zz_good.mp4"].outcome == "added"


def test_a_clip_cut_off_in_the_middle_gives_what_is_left_and_says_so(record, tmp_path):
    images = walk_along(framed_wall(3000), 60, 30)
    clip = write_clip(tmp_path / "walk.ts", images, np.arange(60) / 10, codec_options={"g": "10"})
    cut = tmp_path / "cut.mkv"
    whole = write_clip(tmp_path / "walk.mkv", images, np.arange(60) / 10, codec_options={"g": "10"}).read_bytes()
    cut.write_bytes(whole[: len(whole) // 2])
    holed = bytearray(clip.read_bytes())
    third = len(holed) // 3
    holed[third : third + 20_000] = b"\x55" * 20_000
    (tmp_path / "holed.ts").write_bytes(holed)
    report = intake.run(record, [cut, tmp_path / "holed.ts"])
    found = outcomes(report)
    assert found["cut.mkv"].outcome == "added" and found["cut.mkv"].picture_count > 3
    assert "could be decoded" in found["cut.mkv"].text
    assert found["holed.ts"].outcome == "added"
    last_s = max(p.pts_s for p in record.all(Picture, media_id=record.all(Media, name="holed.ts")[0].id))
    assert last_s > 4  # it went on behind the hole


def test_a_small_file_that_claims_a_huge_picture_is_not_opened(record, tmp_path):
    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    header = struct.pack(">IIBBBBB", 60_000, 60_000, 8, 2, 0, 0, 0)
    packed = zlib.compress(bytes(60_000 * 3 * 200), 9)
    bomb = tmp_path / "bomb.png"
    bomb.write_bytes(b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", packed) + chunk(b"IEND", b""))
    assert bomb.stat().st_size < 100_000
    report = intake.run(record, [bomb])
    assert report.files[0].outcome == "refused" and "too many pixels" in report.files[0].text
