"""Copying to the disk: hashed on the way, and there when it is said to be."""

from __future__ import annotations

import hashlib
import os
from pathlib import Path

CHUNK_BYTES = 1 << 18  # stays in the processor's cache between reading, writing and hashing


def copy_hashed(source: Path, target: Path, algorithm: str) -> str:
    """Copy a file and return the hex digest of what was written; it is not yet waited for on the disk."""
    digest, buffer = hashlib.new(algorithm), bytearray(CHUNK_BYTES)
    with open(source, "rb", buffering=0) as stream, open(target, "wb") as out:
        while count := stream.readinto(buffer):
            chunk = memoryview(buffer)[:count]
            out.write(chunk)
            digest.update(chunk)
        out.flush()
        start_to_disk(out.fileno())
    return digest.hexdigest()


def start_to_disk(descriptor: int, start: int = 0) -> None:
    """Have the system begin to write what it holds of a file from ``start`` on, without waiting for it."""
    if hasattr(os, "posix_fadvise"):
        os.posix_fadvise(descriptor, start, 0, os.POSIX_FADV_DONTNEED)


def to_disk(path: Path) -> None:
    """Wait until a file, or the names in a folder, are on the disk."""
    if path.is_dir() and os.name == "nt":
        return  # there a folder cannot be opened
    descriptor = os.open(path, os.O_RDONLY if path.is_dir() else os.O_RDWR)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
