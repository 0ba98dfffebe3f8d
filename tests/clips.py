"""Small clips made on the spot, with known pictures at known times."""

from __future__ import annotations

import struct
from collections.abc import Iterable, Sequence
from fractions import Fraction
from pathlib import Path

import av
import cv2
import numpy as np

TIME_BASE = Fraction(1, 90000)


def write_clip(
    path: Path,
    images: Iterable[np.ndarray],
    times_s: Sequence[float],
    codec: str = "libx264",
    pixel_format: str = "yuv420p",
    container_options: dict | None = None,
    metadata: dict | None = None,
    codec_options: dict | None = None,
    pixel_aspect: Fraction | None = None,
    time_base: Fraction = TIME_BASE,
) -> Path:
    """Write BGR images (H, W, 3) uint8 with the exact times given."""
    with av.open(str(path), "w", options=container_options or {}) as container:
        container.metadata.update(metadata or {})
        stream = None
        for image, time_s in zip(images, times_s, strict=True):
            if stream is None:
                stream = container.add_stream(codec, rate=30, options=codec_options or {})
                stream.width, stream.height = image.shape[1], image.shape[0]
                stream.pix_fmt, stream.time_base = pixel_format, time_base
                stream.codec_context.time_base = time_base
                if pixel_aspect is not None:
                    stream.codec_context.sample_aspect_ratio = pixel_aspect
            frame = av.VideoFrame.from_ndarray(image, format="bgr24")
            frame.pts, frame.time_base = round(time_s / time_base), time_base
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
    return path


def with_display_matrix(source: Path, target: Path, values: Sequence[int]) -> Path:
    """The same MP4 with other values (a, b, u, c, d, v, x, y, w) in its track's display matrix.

    a, b, c, d, x and y are 16.16 fixed point, u, v and w 2.30 (ISO/IEC 14496-12, 8.3.2).
    """
    data = source.read_bytes()
    # Version 0 of the box: 44 bytes from its name to the matrix.
    place = data.index(b"tkhd") + 44
    fixed = [round(v * (1 << (30 if i % 3 == 2 else 16))) for i, v in enumerate(values)]
    target.write_bytes(data[:place] + struct.pack(">9i", *fixed) + data[place + 36 :])
    return target


def corners(width_px: int = 320, height_px: int = 180) -> np.ndarray:
    """A grey picture with a corner of its own colour each: red, green, blue, white, from top left clockwise."""
    image = np.full((height_px, width_px, 3), 90, np.uint8)
    h, w = height_px // 3, width_px // 3
    image[:h, :w], image[:h, -w:] = (0, 0, 255), (0, 255, 0)
    image[-h:, -w:], image[-h:, :w] = (255, 0, 0), (255, 255, 255)
    return image


def framed_wall(width_px: int = 4000, height_px: int = 800, seed: int = 5) -> np.ndarray:
    """A long wall of rough sheathing with upright studs and a few things on it: (H, W, 3) uint8."""
    rng = np.random.default_rng(seed)
    image = np.zeros((height_px, width_px), np.float32)
    for size in (4, 12, 40):
        grain = rng.random((height_px // size + 2, width_px // size + 2), np.float32)
        image += cv2.resize(grain, (width_px, height_px), interpolation=cv2.INTER_CUBIC) * 25
    image += 70
    for x in range(40, width_px, 150):
        cv2.rectangle(image, (x, 0), (x + 16, height_px), float(rng.integers(120, 190)), -1)
    for _ in range(width_px // 60):
        x, y = int(rng.integers(width_px)), int(rng.integers(height_px))
        cv2.rectangle(image, (x, y), (x + 30, y + 45), float(rng.integers(0, 60)), -1)
    return cv2.cvtColor(np.clip(image, 0, 255).astype(np.uint8), cv2.COLOR_GRAY2BGR)


def walk_along(
    wall: np.ndarray, count: int, step_px: float, width_px: int = 640, height_px: int = 360
) -> list[np.ndarray]:
    """What a camera sees that goes along a wall: windows of it, each ``step_px`` further right."""
    top = (wall.shape[0] - height_px) // 2
    return [wall[top : top + height_px, round(i * step_px) : round(i * step_px) + width_px] for i in range(count)]


def numbered(number: int) -> np.ndarray:
    """A picture (80, 160, 3) that carries a number as ten black or white fields."""
    bits = [(number >> bit) & 1 for bit in range(10)]
    return np.repeat(np.repeat(np.array(bits, np.uint8).reshape(2, 5) * 200 + 25, 40, 0), 32, 1)[:, :, None].repeat(
        3, 2
    )


def number_in(image: np.ndarray) -> int:
    """The number that a decoded :func:`numbered` picture carries."""
    fields = image[20::40, 16::32, 0].ravel() > 125
    return int(sum(1 << bit for bit, is_set in enumerate(fields) if is_set))


def write_walk(path: Path, frame_count: int, wall_px: int, step_px: int = 2) -> Path:
    """A small clip, 30 frames a second, along a framed wall so many pixels long; a key frame every two seconds."""
    images = walk_along(framed_wall(wall_px, 400), frame_count, step_px, 320, 180)
    options = {"preset": "ultrafast", "g": "60"}
    return write_clip(path, images, np.arange(frame_count) / 30, codec_options=options)
