"""What files say about themselves, and what is not believed."""

from __future__ import annotations

import io
from fractions import Fraction

import numpy as np
import piexif
import pytest
from PIL import Image

from asbuilt.record.facts import focal_prior_px, photo_facts, video_facts
from asbuilt.record.photos import open_photo
from asbuilt.record.video import open_video
from tests.clips import corners, write_clip


def facts_of(tmp_path, exif: dict, size=(300, 200)):
    path = tmp_path / "photo.jpg"
    Image.new("RGB", size).save(path, exif=piexif.dump(exif))
    with open_photo(path, path.name) as image:
        return photo_facts(image, *size)


def test_focal_prior_follows_from_the_diagonal():
    # 24 x 36 mm has a diagonal of 43.2666 mm: on a 3:2 picture 36 mm of focal length is its width.
    assert focal_prior_px(36.0, 3600, 2400) == pytest.approx(3600)
    assert focal_prior_px(26.0, 4032, 3024) == pytest.approx(26 / 43.2666 * 5040, rel=1e-5)


@pytest.mark.parametrize("nonsense", [None, 0.0, 1.0, 7.9, 401.0, 65535.0])
def test_a_lens_nobody_photographs_rooms_with_gives_no_prior(nonsense):
    assert focal_prior_px(nonsense, 4032, 3024) is None


def test_time_has_offset_and_fraction(tmp_path):
    exif = {
        piexif.ExifIFD.DateTimeOriginal: b"2026:03:14 10:22:41",
        piexif.ExifIFD.OffsetTimeOriginal: b"-04:00",
        piexif.ExifIFD.SubSecTimeOriginal: b"07",
    }
    assert facts_of(tmp_path, {"Exif": exif}).taken_at == "2026-03-14T10:22:41.070000-04:00"
    exif[piexif.ExifIFD.OffsetTimeOriginal] = b"EST"
    assert facts_of(tmp_path, {"Exif": exif}).taken_at == "2026-03-14T10:22:41.070000"
    exif[piexif.ExifIFD.DateTimeOriginal] = b"0000:00:00 00:00:00"
    assert facts_of(tmp_path, {"Exif": exif}).taken_at is None


def test_device_lens_and_place(tmp_path):
    gps = {
        piexif.GPSIFD.GPSLatitudeRef: b"S",
        piexif.GPSIFD.GPSLatitude: ((33, 1), (30, 1), (3600, 100)),
        piexif.GPSIFD.GPSLongitudeRef: b"E",
        piexif.GPSIFD.GPSLongitude: ((151, 1), (15, 1), (0, 1)),
    }
    exif = {piexif.ExifIFD.FocalLength: (399, 100), piexif.ExifIFD.FocalLengthIn35mmFilm: 28}
    zeroth = {piexif.ImageIFD.Make: b"Sample", piexif.ImageIFD.Model: b"Sample Camera 01"}
    facts = facts_of(tmp_path, {"0th": zeroth, "Exif": exif, "GPS": gps})
    assert facts.device == "Sample Camera 01"
    assert facts.meta["focal_length_mm"] == pytest.approx(3.99)
    assert facts.focal_prior_px == pytest.approx(28 * np.hypot(300, 200) / np.hypot(36, 24))
    assert (facts.latitude_deg, facts.longitude_deg) == (pytest.approx(-33.51), pytest.approx(151.25))


@pytest.mark.parametrize(
    "position",
    [
        {piexif.GPSIFD.GPSLatitude: ((0, 0), (0, 0), (0, 0))},
        {piexif.GPSIFD.GPSLatitude: ((200, 1), (0, 1), (0, 1))},
        {piexif.GPSIFD.GPSLatitude: ((0, 1), (0, 1), (0, 1)), piexif.GPSIFD.GPSLongitude: ((0, 1), (0, 1), (0, 1))},
    ],
)
def test_places_that_are_none(tmp_path, position):
    assert facts_of(tmp_path, {"GPS": position}).latitude_deg is None


@pytest.mark.filterwarnings("ignore::UserWarning")
def test_broken_exif_leaves_the_picture_usable(tmp_path):
    good = piexif.dump({"0th": {piexif.ImageIFD.Make: b"Sample"}})
    for cut in range(8, len(good), 3):
        buffer = io.BytesIO()
        Image.new("RGB", (300, 200)).save(buffer, "JPEG", exif=good[:cut] + b"\xff" * 12)
        (tmp_path / "p.jpg").write_bytes(buffer.getvalue())
        with open_photo(tmp_path / "p.jpg", "p.jpg") as image:
            assert photo_facts(image, 300, 200).width_px == 300


def test_clip_states_time_device_place_and_lens(tmp_path):
    said = {
        "creation_time": "2026-03-14T14:13:41.000000Z",
        "com.apple.quicktime.creationdate": "2026-03-14T10:13:41-0400",
        "com.apple.quicktime.make": "Sample",
        "com.apple.quicktime.model": "Camera 02",
        "com.apple.quicktime.location.ISO6709": "+46.7547+033.3361+012.000/",
        "com.apple.quicktime.camera.focal_length.35mm_equivalent": "26",
    }
    clip = write_clip(
        tmp_path / "clip.mov",
        [corners()] * 2,
        [0, 0.1],
        metadata=said,
        container_options={"movflags": "use_metadata_tags"},
    )
    with open_video(clip, clip.name) as (container, stream):
        facts = video_facts(container, stream, (320, 180))
    assert facts.taken_at == "2026-03-14T10:13:41-04:00"
    assert facts.device == "Sample Camera 02"
    assert (facts.latitude_deg, facts.longitude_deg) == (46.7547, 33.3361)
    assert facts.focal_prior_px == pytest.approx(26 * np.hypot(320, 180) / np.hypot(36, 24))
    assert (facts.meta["codec"], facts.meta["bits"]) == ("h264", 8)


def test_a_clock_that_was_never_set_gives_no_time(tmp_path):
    for at in ("1904-01-01T00:00:00Z", "1970-01-01T00:00:00Z"):
        clip = write_clip(tmp_path / "c.mkv", [corners()], [0], metadata={"creation_time": at})
        with open_video(clip, clip.name) as (container, stream):
            assert video_facts(container, stream, (320, 180)).taken_at is None


def test_pixel_aspect_reaches_the_shown_size(tmp_path):
    clip = write_clip(tmp_path / "c.mkv", [corners()], [0], pixel_aspect=Fraction(4, 3))
    from asbuilt.record.video import decode_frames

    with open_video(clip, clip.name) as (container, stream):
        frame = next(decode_frames(container, stream, 0.0))
    assert frame.shown_size == (427, 180) and frame.bgr().shape == (180, 427, 3)
