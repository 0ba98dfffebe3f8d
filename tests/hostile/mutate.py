"""Damage to files, drawn from a seed: bits, bytes, runs, lengths, and parts of other files."""

from __future__ import annotations

import random
import struct
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from PIL import Image
from pillow_heif import register_heif_opener

from tests.clips import framed_wall, walk_along, write_clip

EXTREMES = (0, 1, 0x7F, 0x80, 0xFF, 0x7FFF, 0xFFFF, 0x7FFFFFFF, 0x80000000, 0xFFFFFFFF)


def seeds(folder: Path) -> list[Path]:
    """Small whole files of each kind to begin with."""
    register_heif_opener()
    folder.mkdir(parents=True, exist_ok=True)
    image = Image.fromarray(framed_wall(320, 200))
    exif = Image.Exif()
    exif[0x0112], exif[0x010F], exif[0x9003] = 6, "Maker", "2026:03:14 10:00:00"
    made = []
    for name, options in (("a.jpg", {"exif": exif}), ("b.jpg", {"progressive": True, "exif": exif}),
                          ("c.png", {"exif": exif}), ("d.heic", {"exif": exif})):  # fmt: skip
        image.save(folder / name, **options)
        made.append(folder / name)
    image.convert("P").save(folder / "e.png")
    images = walk_along(framed_wall(700, 200), 12, 6, 160, 96)
    for name in ("f.mp4", "g.mp4"):
        options = {"movflags": "frag_keyframe+empty_moov"} if name == "g.mp4" else {}
        write_clip(folder / name, images, np.arange(12) / 10, codec_options={"preset": "ultrafast", "g": "4"},
                   container_options=options)  # fmt: skip
        made.append(folder / name)
    return [*made, folder / "e.png"]


def mutated(whole: bytes, others: Sequence[bytes], dice: random.Random) -> bytes:
    """A damaged copy: one to four kinds of damage, one after another."""
    data = bytearray(whole)
    for _ in range(dice.choice((1, 1, 2, 4))):
        dice.choice(DAMAGES)(data, others, dice)
    return bytes(data)


def _flip_bits(data: bytearray, others: Sequence[bytes], dice: random.Random) -> None:
    for _ in range(dice.choice((1, 3, 20, 200))):
        if data:
            data[dice.randrange(len(data))] ^= 1 << dice.randrange(8)


def _noise(data: bytearray, others: Sequence[bytes], dice: random.Random) -> None:
    at, length = _span(data, dice)
    data[at : at + length] = dice.randbytes(length)


def _cut(data: bytearray, others: Sequence[bytes], dice: random.Random) -> None:
    del data[dice.randrange(len(data) + 1) :]


def _drop(data: bytearray, others: Sequence[bytes], dice: random.Random) -> None:
    at, length = _span(data, dice)
    del data[at : at + length]


def _repeat(data: bytearray, others: Sequence[bytes], dice: random.Random) -> None:
    at, length = _span(data, dice)
    data[at:at] = data[at : at + length] * dice.choice((1, 2, 30))


def _splice(data: bytearray, others: Sequence[bytes], dice: random.Random) -> None:
    other = dice.choice(others)
    at, length = _span(data, dice)
    start = dice.randrange(len(other))
    data[at : at + length] = other[start : start + dice.randrange(1, 4000)]


def _extreme(data: bytearray, others: Sequence[bytes], dice: random.Random) -> None:
    """A length or a count that cannot be; mostly in the head, where those stand."""
    for _ in range(dice.choice((1, 2, 6))):
        size = dice.choice((1, 2, 4))
        if len(data) <= size:
            return
        at = dice.randrange(min(len(data) - size, dice.choice((64, 800, len(data)))) or 1)
        value = dice.choice(EXTREMES) & ((1 << 8 * size) - 1)
        data[at : at + size] = struct.pack(">I", value)[4 - size :]


def _sizes(data: bytearray, others: Sequence[bytes], dice: random.Random) -> None:
    """Other sizes behind the names of the parts that hold them."""
    for name, skip in ((b"IHDR", 4), (b"ispe", 8), (b"tkhd", 80), (b"avc1", 28), (b"stsz", 12), (b"\xff\xc0", 5),
                       (b"\xff\xc2", 5), (b"stco", 8), (b"iloc", 8)):  # fmt: skip
        at = data.find(name)
        if at >= 0 and dice.random() < 0.6:
            at += skip
            data[at : at + 2] = struct.pack(">H", dice.choice(EXTREMES) & 0xFFFF)


DAMAGES = (_flip_bits, _noise, _cut, _drop, _repeat, _splice, _extreme, _sizes)


def _span(data: bytearray, dice: random.Random) -> tuple[int, int]:
    at = dice.randrange(len(data) + 1)
    return at, dice.choice((1, 4, 16, 200, 4000))
