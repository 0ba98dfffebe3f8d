"""Pixels of pictures, single frames at exact times, viewing copies."""

from __future__ import annotations

import gc
import io
from dataclasses import replace

import av
import numpy as np
import pytest
from PIL import Image, TiffImagePlugin

import asbuilt.record.video as video
from asbuilt.errors import MediaError
from asbuilt.record import Media, Picture, Record
from asbuilt.record.media import store_original
from asbuilt.record.photos import decode_photo
from asbuilt.record.pixels import ensure_frame, ensure_frames, frame_id, iter_pictures, picture_jpeg, read_picture
from tests.clips import number_in, numbered, write_clip


@pytest.fixture
def record(tmp_path):
    with Record.create(tmp_path / "r", "House") as made:
        yield made


def add_video(record, path) -> Media:
    stored = store_original(record, path)
    media = Media(id=stored.sha256, name=path.name, kind="video", byte_count=stored.byte_count, path=stored.path)
    record.put(media)
    return media


@pytest.fixture
def clip(record, tmp_path):
    """40 s at 5 frames a second with a key frame every 2 s; frame i shows the number i."""
    images = [numbered(i) for i in range(200)]
    path = write_clip(tmp_path / "c.mp4", images, np.arange(200) / 5, codec_options={"g": "10", "bf": "2"})
    return add_video(record, path)


def test_frame_nearest_a_time_is_found_near_and_far(record, clip):
    asked_s = [30.29, 0.0, 12.11, 12.09, 39.9, 500.0, 0.09]
    found = ensure_frames(record, clip, asked_s)
    assert [p.pts_s for p in found] == pytest.approx([30.2, 0.0, 12.2, 12.0, 39.8, 39.8, 0.0])
    for picture in found:
        assert number_in(read_picture(record, picture)) == round(picture.pts_s * 5)
    assert all(p.kept_for == "sighting" and (p.width_px, p.height_px) == (160, 80) for p in found)


def test_a_frame_is_kept_once(record, clip):
    first = ensure_frame(record, clip, 12.11)
    assert ensure_frame(record, clip, 12.19) == first
    assert first.id == frame_id(clip, 12.2) == f"{clip.id[:10]}-0012200"
    assert len(record.all(Picture)) == 1


def test_many_pictures_decode_each_clip_once(record, clip, monkeypatch):
    pictures = ensure_frames(record, clip, np.arange(0, 39, 0.7))
    opened = []
    decode = video.decode_frames
    monkeypatch.setattr(video, "decode_frames", lambda *a: opened.append(1) or decode(*a))
    seen = list(iter_pictures(record, reversed(pictures)))
    assert len(opened) == 1
    assert [p.pts_s for p, _ in seen] == sorted(p.pts_s for p in pictures)
    for picture, image in seen:
        assert number_in(image) == round(picture.pts_s * 5)


def test_a_stream_without_an_index_gives_exact_frames(record, tmp_path):
    images = [numbered(i) for i in range(150)]
    path = write_clip(tmp_path / "c.ts", images, np.arange(150) / 5, codec_options={"g": "75"})
    with video.open_video(path, path.name) as (container, stream):
        start_s = video.start_of(container)
        times_s = [f.time_s for f in video.decode_frames(container, stream, start_s)]
    assert times_s[0] == pytest.approx(0, abs=0.1) and start_s > 0.1  # players show such a stream from 0
    media = replace(add_video(record, path), meta={"start_s": start_s})
    record.put(media)
    for idx in (149, 3, 80, 74, 75):
        picture = ensure_frame(record, media, times_s[idx])
        assert picture.pts_s == times_s[idx]
        assert number_in(read_picture(record, picture)) == idx


def test_an_index_that_calls_every_frame_a_key_frame_is_seen_through(record, tmp_path):
    images = [numbered(i) for i in range(200)]
    path = write_clip(tmp_path / "c.mp4", images, np.arange(200) / 5, codec_options={"g": "100"})
    # Without its table of key frames an MP4 claims that each frame is one.
    path.write_bytes(path.read_bytes().replace(b"stss", b"free"))
    media = add_video(record, path)
    for idx in (70, 140, 199):
        picture = ensure_frame(record, media, idx / 5)
        assert picture.pts_s == pytest.approx(idx / 5)
        assert number_in(read_picture(record, picture)) == idx


def test_photo_has_no_frame_at_a_time(record, tmp_path):
    media = Media(id="ab", name="p.jpg", kind="photo", byte_count=1, path="media/ab")
    with pytest.raises(MediaError, match="p.jpg is a photo"):
        ensure_frame(record, media, 1.0)


def test_sixteen_bits_keep_their_brightness(tmp_path):
    ramp = np.linspace(0, 65535, 256 * 100).reshape(100, 256).astype(np.uint16)
    Image.fromarray(ramp).save(tmp_path / "r.png")
    Image.fromarray(ramp).save(tmp_path / "r.tiff")
    for name in ("r.png", "r.tiff"):
        np.testing.assert_array_equal(decode_photo(tmp_path / name, name)[:, :, 0], ramp >> 8)


@pytest.mark.parametrize(("size", "usable"), [((256, 171), False), ((1616, 1080), True)])
def test_a_raw_file_is_used_by_its_preview_if_that_is_large(tmp_path, size, usable):
    tags = TiffImagePlugin.ImageFileDirectory_v2()
    tags[50706], tags[254] = b"\x01\x04\x00\x00", 1  # DNGVersion; NewSubfileType: a preview
    Image.new("RGB", size, (9, 99, 199)).save(tmp_path / "p.dng", format="TIFF", tiffinfo=tags)
    if usable:
        assert decode_photo(tmp_path / "p.dng", "p.dng").shape == (size[1], size[0], 3)
    else:
        with pytest.raises(MediaError, match="raw file without a full-size preview"):
            decode_photo(tmp_path / "p.dng", "p.dng")


def test_decoded_frames_are_let_go_without_the_garbage_collector(tmp_path):
    path = write_clip(tmp_path / "c.mp4", [numbered(i) for i in range(90)], np.arange(90) / 30)
    gc.collect()
    gc.disable()
    try:
        with video.open_video(path, path.name) as (container, stream):
            for frame in video.decode_frames(container, stream, 0.0):
                assert frame.luma().shape == (80, 160) and frame.bgr().shape == (80, 160, 3)
            alive = sum(isinstance(thing, av.VideoFrame) for thing in gc.get_objects())
    finally:
        gc.enable()
    assert alive < 30  # of 90; what decoder threads hold


def test_colours_are_bgr(tmp_path):
    Image.new("RGB", (100, 80), (250, 10, 60)).save(tmp_path / "p.png")
    assert decode_photo(tmp_path / "p.png", "p.png")[40, 50].tolist() == [60, 10, 250]


@pytest.fixture
def dark_photo(record, tmp_path):
    rng = np.random.default_rng(2)
    Image.fromarray(rng.integers(0, 12, (600, 2000, 3), np.uint8)).save(tmp_path / "d.png")
    stored = store_original(record, tmp_path / "d.png")
    media = Media(id=stored.sha256, name="d.png", kind="photo", byte_count=stored.byte_count, path=stored.path)
    picture = Picture(id="d", media_id=media.id, kind="photo", width_px=2000, height_px=600)
    record.put(media, picture)
    return picture


def shown(data: bytes) -> np.ndarray:
    with Image.open(io.BytesIO(data)) as image:
        assert image.format == "JPEG"
        return np.asarray(image)


def test_viewing_copy_is_small_and_brightened_only_on_request(record, dark_photo):
    before = read_picture(record, dark_photo)
    plain, bright = picture_jpeg(record, dark_photo, 500), picture_jpeg(record, dark_photo, 500, brighten=True)
    assert shown(plain).shape == (150, 500, 3)
    assert shown(plain).mean() == pytest.approx(before.mean(), abs=1.5)
    assert 60 < shown(bright).mean() < 140
    np.testing.assert_array_equal(read_picture(record, dark_photo), before)
    assert shown(picture_jpeg(record, dark_photo, 9000)).shape == (600, 2000, 3)  # never enlarged


def test_viewing_copy_comes_from_the_cache_even_when_the_stick_is_out(record, dark_photo):
    first = picture_jpeg(record, dark_photo, 400)
    for path in (record.folder / "media").rglob("*.png"):
        path.unlink()
    assert picture_jpeg(record, dark_photo, 400) == first
    with pytest.raises(MediaError, match="missing"):
        picture_jpeg(record, dark_photo, 401)
