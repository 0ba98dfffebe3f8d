"""Copying to the disk: read once, and there when it is said to be."""

from __future__ import annotations

import os
import zlib
from collections.abc import Callable
from pathlib import Path
from typing import BinaryIO

CHUNK_BYTES = 1 << 18  # stays in the processor's cache between reading, writing and hashing


def copy_through(source: Path, out: BinaryIO, *takers: Callable[[memoryview], object]) -> int:
    """Copy a file into an open one and give every piece of it to the takers as well; its size [bytes]."""
    buffer, count = bytearray(CHUNK_BYTES), 0
    with open(source, "rb", buffering=0) as stream:
        while got := stream.readinto(buffer):
            chunk = memoryview(buffer)[:got]
            out.write(chunk)
            for take in takers:
                take(chunk)
            count += got
    return count


def start_to_disk(out: BinaryIO, start: int, byte_count: int) -> None:
    """Have the system begin to write a stretch of a file to the disk, without waiting for it."""
    out.flush()
    if hasattr(os, "posix_fadvise"):
        os.posix_fadvise(out.fileno(), start, byte_count, os.POSIX_FADV_DONTNEED)


def to_disk(path: Path) -> None:
    """Wait until a file, or the names in a folder, are on the disk."""
    if path.is_dir() and os.name == "nt":
        return  # there a folder cannot be opened
    descriptor = os.open(path, os.O_RDONLY if path.is_dir() else os.O_RDWR)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


class Crc:
    """The CRC-32 of a ZIP, piece by piece."""

    def __init__(self) -> None:
        self.value = 0

    def update(self, chunk: memoryview) -> None:
        """Take in the next piece."""
        self.value = zlib.crc32(chunk, self.value)
