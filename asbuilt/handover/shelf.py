"""Reading the files of a package wherever it lies: a folder, a ZIP, or a ZIP that is damaged.

A ZIP whose directory is broken is read by walking from file to file, so that one damaged
byte in it never hides the rest.
"""

from __future__ import annotations

import hashlib
import io
import re
import shutil
import struct
import zipfile
from collections import Counter
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import BinaryIO, Protocol

from asbuilt.handover.bag import SEAL, structure_hash
from asbuilt.handover.errors import PackageError

CHUNK_BYTES = 1 << 20
LOCAL_HEADER = struct.Struct("<4s5H3I2H")
LOCAL_MARK = b"PK\x03\x04"
STORED = zipfile.ZIP_STORED


class Shelf(Protocol):
    """The files of a package by their names within it.

    ``faults`` are (name, what is wrong) of the container itself.
    """

    faults: list[tuple[str, str]]

    def names(self) -> list[str]: ...

    def open(self, name: str) -> BinaryIO: ...

    def size(self, name: str) -> int: ...

    def has_folder(self, name: str) -> bool: ...


def shelf_of(path: str | Path) -> Shelf:
    """The files of a folder or a ZIP.

    Raises
    ------
    PackageError
        If there is neither.
    """
    path = Path(path)
    if path.is_dir():
        return FolderShelf(path)
    if not path.is_file():
        raise PackageError(f"{path} is not there; name a package (a folder or a ZIP) or a record folder")
    try:
        if zipfile.is_zipfile(path):
            return ZipShelf(path)
    except (zipfile.BadZipFile, OSError, ValueError, struct.error):
        pass
    walked = WalkedShelf(path)
    if not walked.names():
        raise PackageError(f"{path} is neither a folder nor a ZIP; name a package or a record folder")
    return walked


def hashes_of(shelf: Shelf, name: str, algorithms: Sequence[str]) -> dict[str, str]:
    """Hex digests of a file by algorithm, read once.

    Raises
    ------
    OSError
        If it cannot be read.
    """
    digests = {a: hashlib.new(a) for a in algorithms}
    with shelf.open(name) as stream:
        while chunk := stream.read(CHUNK_BYTES):
            for digest in digests.values():
                digest.update(chunk)
    return {a: d.hexdigest() for a, d in digests.items()}


def read(shelf: Shelf, name: str, most_bytes: int = 1 << 30) -> bytes:
    """A whole file."""
    with shelf.open(name) as stream:
        return stream.read(most_bytes)


def copy_out(shelf: Shelf, name: str, target: Path) -> None:
    """Copy a file of a package to disk."""
    target.parent.mkdir(parents=True, exist_ok=True)
    with shelf.open(name) as stream, open(target, "wb") as out:
        shutil.copyfileobj(stream, out, CHUNK_BYTES)


class FolderShelf:
    """Files of a folder; links are not followed."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.faults: list[tuple[str, str]] = []

    def names(self) -> list[str]:
        """Names relative to the folder, with ``/``."""
        return sorted(
            p.relative_to(self.path).as_posix() for p in self.path.rglob("*") if p.is_file() and not p.is_symlink()
        )

    def open(self, name: str) -> BinaryIO:
        """A file, to be read."""
        return open(self.path / name, "rb")

    def size(self, name: str) -> int:
        """Its size [bytes]."""
        return (self.path / name).stat().st_size

    def has_folder(self, name: str) -> bool:
        """Whether there is such a folder, empty or not."""
        return (self.path / name).is_dir()


class ZipShelf:
    """Files of a ZIP, without the one folder they all lie in."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.zip = zipfile.ZipFile(path)
        members = [m for m in self.zip.infolist() if not m.is_dir()]
        self.prefix = _common_folder([m.filename for m in members])
        self.members = {m.filename.removeprefix(self.prefix): m for m in members}
        ordered = sorted(self.zip.infolist(), key=lambda m: m.header_offset)
        ends = [m.header_offset for m in ordered[1:]] + [self.zip.start_dir]
        self.ends = {id(m): end for m, end in zip(ordered, ends, strict=True)}
        self.faults = list(self._faults())

    def names(self) -> list[str]:
        """Names within the one folder."""
        return sorted(self.members)

    def size(self, name: str) -> int:
        """Its size [bytes]."""
        return self.members[name].file_size

    def has_folder(self, name: str) -> bool:
        """Whether there is such a folder, empty or not."""
        return any(m.filename.startswith(f"{self.prefix}{name}/") for m in self.zip.infolist())

    def open(self, name: str) -> BinaryIO:
        """A file, to be read; a stored one straight from where it lies, whatever its header says."""
        member = self.members[name]
        if member.compress_type == STORED and not member.flag_bits & 0x08:
            return _Slice(self.path, self.ends[id(member)] - member.compress_size, member.compress_size)
        try:
            return _Guarded(self.zip.open(member))
        except (zipfile.BadZipFile, NotImplementedError, RuntimeError, EOFError) as error:
            raise OSError(f"cannot be read from the ZIP: {error}") from error

    def _faults(self) -> Iterator[tuple[str, str]]:
        with open(self.path, "rb") as stream:
            for name, member in self.members.items():
                stream.seek(member.header_offset)
                head = stream.read(LOCAL_HEADER.size + len(member.orig_filename.encode()))
                if head[:4] != LOCAL_MARK or head[LOCAL_HEADER.size :] != member.orig_filename.encode():
                    yield name, "the ZIP's header of this file is damaged; its content is read all the same"
        comment = self.zip.comment.decode("latin-1")
        if comment or _tail_bytes(self.path):
            yield from self._seal_faults(comment)

    def _seal_faults(self, comment: str) -> Iterator[tuple[str, str]]:
        seal = re.fullmatch(re.escape(SEAL) + "([0-9a-f]{128})", comment)
        if seal is None:
            if _is_close(comment):
                yield self.path.name, "the ZIP's own end is damaged"
        elif structure_hash(self.path, self.zip) != seal[1]:
            yield self.path.name, "the ZIP's own directory or a header in it is damaged"


def _is_close(comment: str) -> bool:
    """Whether a comment is, or was, the seal of a package; any other comment is somebody else's."""
    wanted = SEAL + "0" * 128
    alike = sum(a == b for a, b in zip(comment[: len(SEAL)], SEAL, strict=False))
    return not comment or len(comment) == len(wanted) or alike > len(SEAL) // 2


def _tail_bytes(path: Path) -> bool:
    """Whether anything follows the plain end of a ZIP."""
    with open(path, "rb") as stream:
        stream.seek(-22, io.SEEK_END)
        return stream.read(4) != b"PK\x05\x06"


def _common_folder(names: Sequence[str]) -> str:
    """The one folder of a packed bag; a name that damage moved out of it counts as one vote only."""
    tops: Counter[str] = Counter()
    for name in names:
        first, _, rest = name.partition("/")
        if first == "data" and rest:
            tops[""] += 1
        elif rest.startswith("data/"):
            tops[f"{first}/"] += 1
    return tops.most_common(1)[0][0] if tops else ""


class WalkedShelf:
    """Stored files of a ZIP without a usable directory, found one after another."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.places: dict[str, tuple[int, int]] = {}
        self.faults = [(path.name, "the ZIP's own directory is damaged; its files were found one by one")]
        found = list(self._walk())
        prefix = _common_folder([name for name, _, _ in found])
        self.places = {name.removeprefix(prefix): (start, count) for name, start, count in found}

    def names(self) -> list[str]:
        """Names within the one folder."""
        return sorted(self.places)

    def size(self, name: str) -> int:
        """Its size [bytes]."""
        return self.places[name][1]

    def has_folder(self, name: str) -> bool:
        """Whether a file lies in such a folder."""
        return any(n.startswith(f"{name}/") for n in self.places)

    def open(self, name: str) -> BinaryIO:
        """A file, to be read."""
        return _Slice(self.path, *self.places[name])

    def _walk(self) -> Iterator[tuple[str, int, int]]:
        end, at = self.path.stat().st_size, 0
        with open(self.path, "rb") as stream:
            while (at := _next_header(stream, at, end)) is not None:
                stream.seek(at)
                head = stream.read(LOCAL_HEADER.size)
                if len(head) < LOCAL_HEADER.size:
                    return
                _, _, _, method, _, _, _, packed, size, name_length, extra_length = LOCAL_HEADER.unpack(head)
                name = stream.read(name_length).decode("utf-8", "replace")
                if size == 0xFFFFFFFF:  # the real sizes stand in the extra field
                    extra = stream.read(extra_length)
                    if len(extra) < 20:
                        at += 4
                        continue
                    size, packed = struct.unpack_from("<QQ", extra, 4)
                start = at + LOCAL_HEADER.size + name_length + extra_length
                if method == STORED and size == packed and start + size <= end:
                    yield name, start, size
                    at = start + size
                else:
                    at += 4


def _next_header(stream: BinaryIO, at: int, end: int) -> int | None:
    """Where the next file's header begins."""
    while at < end:
        stream.seek(at)
        chunk = stream.read(CHUNK_BYTES)
        found = chunk.find(LOCAL_MARK)
        if found >= 0:
            return at + found
        if len(chunk) < CHUNK_BYTES:
            return None
        at += len(chunk) - 3
    return None


class _Slice(io.RawIOBase):
    """A stretch of a file as a file."""

    def __init__(self, path: Path, start: int, byte_count: int) -> None:
        super().__init__()
        self.stream = open(path, "rb")
        self.stream.seek(max(start, 0))
        self.left = byte_count

    def readable(self) -> bool:
        return True

    def read(self, size: int = -1) -> bytes:
        chunk = self.stream.read(self.left if size is None or size < 0 else min(size, self.left))
        self.left -= len(chunk)
        return chunk

    def close(self) -> None:
        self.stream.close()
        super().close()


class _Guarded(io.RawIOBase):
    """A packed member whose damage shows as an OSError."""

    def __init__(self, member: zipfile.ZipExtFile) -> None:
        super().__init__()
        self.member = member

    def readable(self) -> bool:
        return True

    def read(self, size: int = -1) -> bytes:
        try:
            return self.member.read(size)
        except (zipfile.BadZipFile, EOFError, ValueError, zipfile.zlib.error) as error:
            raise OSError(f"cannot be unpacked: {error}") from error

    def close(self) -> None:
        self.member.close()
        super().close()
