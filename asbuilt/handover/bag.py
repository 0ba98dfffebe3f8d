"""Writing a bag (BagIt 1.0, RFC 8493): a folder or a ZIP whose every file has its SHA-512 listed.

Files are read once, hashed and copied in the same pass, and the whole stands under a temporary
name until it is finished and on the disk, so that nothing that looks like a package is a part
of one. In a ZIP nothing is compressed: pictures would not shrink, and a damaged byte stays one
damaged byte.
"""

from __future__ import annotations

import hashlib
import os
import re
import shutil
import zipfile
from collections.abc import Callable, Iterable
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path

from asbuilt.handover.disk import Crc, copy_through, start_to_disk, to_disk
from asbuilt.handover.errors import PackageError
from asbuilt.handover.signing import SIGNATURE_NAME

WORKERS = 4  # hashing and copying both let go of the interpreter; more gain nothing on common disks
ALGORITHM = "sha512"
DECLARATION = "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"
SEAL = "asbuilt structure sha-512 "


class BagWriter:
    """A bag in the making; use :func:`new_bag`, add payload, then ``finish``.

    ``progress`` is told the bytes of every file that is done.
    """

    def __init__(self, target: Path, progress: Callable[[int], object]) -> None:
        self.target = target
        self.progress = progress
        self.pool = ThreadPoolExecutor(WORKERS)
        self.hashes: dict[str, Future] = {}
        self.sizes: dict[str, int] = {}

    def add_file(self, name: str, source: str | Path) -> None:
        """Add a file of this disk under ``data/``."""
        name = self._payload_name(name)
        self.sizes[name] = Path(source).stat().st_size
        self._put_file(name, Path(source))

    def add_bytes(self, name: str, data: bytes) -> None:
        """Add a file from memory under ``data/``."""
        self.add_stream(name, [data])

    def add_stream(self, name: str, chunks: Iterable[bytes]) -> None:
        """Add a file under ``data/`` piece by piece."""
        self._put_stream(self._payload_name(name), chunks)

    def finish(self, info: Iterable[tuple[str, str]], sign: Callable[[bytes], bytes] | None = None) -> None:
        """Write the tag files and give the bag its name.

        Parameters
        ----------
        info : iterable of (str, str)
            Labels and values for ``bag-info.txt``; size and count are added.
        sign : callable, optional
            Makes ``signature.txt`` of the tag manifest.
        """
        manifest = "".join(f"{self.hashes[n].result()}  {_encoded(n)}\n" for n in sorted(self.hashes))
        count, total = len(self.sizes), sum(self.sizes.values())
        lines = [*info, ("Payload-Oxum", f"{total}.{count}"), ("Bag-Size", _size_words(total))]
        tags = {
            "bagit.txt": DECLARATION,
            "bag-info.txt": "".join(f"{label}: {_one_line(value)}\n" for label, value in lines if value),
            f"manifest-{ALGORITHM}.txt": manifest,
        }
        tag_hashes = {n: hashlib.new(ALGORITHM, text.encode()).hexdigest() for n, text in tags.items()}
        tags[f"tagmanifest-{ALGORITHM}.txt"] = tag_manifest(tag_hashes)
        for name, text in tags.items():
            self._put_tag(name, text.encode())
        if sign is not None:
            self._put_tag(SIGNATURE_NAME, sign(tags[f"tagmanifest-{ALGORITHM}.txt"].encode()))
        self._seal()
        self.pool.shutdown()

    def abandon(self) -> None:
        """Take away what was written."""
        self.pool.shutdown(cancel_futures=True)
        self._remove()

    def _payload_name(self, name: str) -> str:
        name = f"data/{name}"
        if name in self.hashes:
            raise PackageError(f"{name} would be in the package twice")
        return name

    def _put_file(self, name: str, source: Path) -> None:
        raise NotImplementedError

    def _put_stream(self, name: str, chunks: Iterable[bytes]) -> None:
        raise NotImplementedError

    def _put_tag(self, name: str, data: bytes) -> None:
        raise NotImplementedError

    def _seal(self) -> None:
        raise NotImplementedError

    def _remove(self) -> None:
        raise NotImplementedError


class FolderBag(BagWriter):
    """A bag as a folder."""

    def __init__(self, target: Path, progress: Callable[[int], object]) -> None:
        super().__init__(target, progress)
        self.partial = target.with_name(f".{target.name}.partial")
        shutil.rmtree(self.partial, ignore_errors=True)
        (self.partial / "data").mkdir(parents=True)

    def _place(self, name: str) -> Path:
        path = self.partial / name
        path.parent.mkdir(parents=True, exist_ok=True)
        return path

    def _put_file(self, name: str, source: Path) -> None:
        self.hashes[name] = self.pool.submit(self._copy, self._place(name), source, self.sizes[name])

    def _copy(self, path: Path, source: Path, byte_count: int) -> str:
        digest = hashlib.new(ALGORITHM)
        with open(path, "wb") as out:
            start_to_disk(out, 0, copy_through(source, out, digest.update))
        self.progress(byte_count)
        return digest.hexdigest()

    def _put_stream(self, name: str, chunks: Iterable[bytes]) -> None:
        digest, total = hashlib.new(ALGORITHM), 0
        with open(self._place(name), "wb") as stream:
            for chunk in chunks:
                digest.update(chunk)
                total += stream.write(chunk)
        self.hashes[name], self.sizes[name] = _known(digest.hexdigest()), total
        self.progress(total)

    def _put_tag(self, name: str, data: bytes) -> None:
        (self.partial / name).write_bytes(data)

    def _seal(self) -> None:
        paths = [self.partial, *self.partial.rglob("*")]
        for path in paths:
            if path.is_file():
                path.chmod(0o644)
        list(self.pool.map(to_disk, paths))
        if self.target.is_dir():
            self.target.rmdir()  # an empty folder, as checked at the start
        os.replace(self.partial, self.target)
        to_disk(self.target.parent)

    def _remove(self) -> None:
        shutil.rmtree(self.partial, ignore_errors=True)


class ZipBag(BagWriter):
    """A bag as an uncompressed ZIP with one folder in it.

    The archive's comment carries the SHA-512 of everything in it that is no file's content,
    so that damage to the archive itself is found as well.
    """

    def __init__(self, target: Path, progress: Callable[[int], object]) -> None:
        super().__init__(target, progress)
        self.partial = target.with_name(f".{target.name}.partial")
        self.folder = target.stem
        self.zip = zipfile.ZipFile(self.partial, "w", zipfile.ZIP_STORED, allowZip64=True)

    def _put_file(self, name: str, source: Path) -> None:
        """Give a file its place in the archive; it is filled beside the others."""
        member = zipfile.ZipInfo.from_file(source, f"{self.folder}/{name}", strict_timestamps=False)
        member.external_attr = 0o644 << 16
        member.file_size = member.compress_size = self.sizes[name]
        member.CRC = 0  # until it is filled
        member.header_offset = self.zip.start_dir
        self.zip.start_dir += len(member.FileHeader()) + member.file_size
        self.zip.filelist.append(member)
        self.zip.NameToInfo[member.filename] = member
        self.hashes[name] = self.pool.submit(self._fill, member, source)

    def _fill(self, member: zipfile.ZipInfo, source: Path) -> str:
        digest, crc = hashlib.new(ALGORITHM), Crc()
        with open(self.partial, "rb+") as out:
            out.seek(member.header_offset + len(member.FileHeader()))
            if copy_through(source, out, digest.update, crc.update) != member.file_size:
                raise PackageError(f"{source} changed while it was packed; try again")
            member.CRC = crc.value
            out.seek(member.header_offset)
            out.write(member.FileHeader())
            start_to_disk(out, member.header_offset, member.file_size)
        self.progress(member.file_size)
        return digest.hexdigest()

    def _put_stream(self, name: str, chunks: Iterable[bytes]) -> None:
        digest, total = hashlib.new(ALGORITHM), 0
        with self.zip.open(self._member(name), "w", force_zip64=True) as out:
            for chunk in chunks:
                digest.update(chunk)
                total += out.write(chunk)
        self.hashes[name], self.sizes[name] = _known(digest.hexdigest()), total
        self.progress(total)

    def _put_tag(self, name: str, data: bytes) -> None:
        self.zip.writestr(self._member(name), data)

    def _member(self, name: str) -> zipfile.ZipInfo:
        member = zipfile.ZipInfo(f"{self.folder}/{name}")
        member.external_attr = 0o644 << 16
        return member

    def _seal(self) -> None:
        self.zip.comment = (SEAL + "0" * 128).encode()
        self.zip.close()
        with zipfile.ZipFile(self.partial) as archive:
            seal = structure_hash(self.partial, archive)
        with open(self.partial, "rb+") as stream:
            stream.seek(-128, os.SEEK_END)
            stream.write(seal.encode())
        to_disk(self.partial)
        os.replace(self.partial, self.target)
        to_disk(self.target.parent)

    def _remove(self) -> None:
        self.zip.close()
        self.partial.unlink(missing_ok=True)


def new_bag(target: str | Path, progress: Callable[[int], object] = lambda byte_count: None) -> BagWriter:
    """Start a bag: a ZIP where the name ends in .zip, else a folder.

    Raises
    ------
    PackageError
        If something is there already or nothing can be written there.
    """
    target = Path(target)
    if target.exists() and (not target.is_dir() or any(target.iterdir())):
        raise PackageError(f"{target} is there already; choose another name, or remove it first")
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        kind = ZipBag if target.suffix.lower() == ".zip" else FolderBag
        return kind(target, progress)
    except OSError as error:
        raise PackageError(f"cannot write a package at {target}: {error.strerror or error}") from error


def structure_hash(path: str | Path, archive: zipfile.ZipFile) -> str:
    """SHA-512 of what in a ZIP is no member's content and not the archive's comment.

    Members must follow each other without gaps, as this module writes them.
    """
    members = sorted(archive.infolist(), key=lambda m: m.header_offset)
    ends = [m.header_offset for m in members[1:]] + [archive.start_dir]
    end_of_file = Path(path).stat().st_size - len(archive.comment)
    digest, at = hashlib.new(ALGORITHM), 0
    with open(path, "rb") as stream:
        for member, end in zip(members, ends, strict=True):
            start = max(end - member.compress_size, at)
            stream.seek(at)
            digest.update(stream.read(start - at))
            at = end
        stream.seek(at)
        digest.update(stream.read(max(end_of_file - at, 0)))
    return digest.hexdigest()


def tag_manifest(hashes: dict[str, str]) -> str:
    """The text of a tag manifest."""
    return "".join(f"{hashes[n]}  {_encoded(n)}\n" for n in sorted(hashes))


def _encoded(name: str) -> str:
    """A path as a manifest writes it (RFC 8493, 2.1.3)."""
    return name.replace("%", "%25").replace("\r", "%0D").replace("\n", "%0A")


def _one_line(value: str) -> str:
    return re.sub(r"\s+", " ", value).strip()


def _size_words(byte_count: int) -> str:
    for unit, size in (("GB", 10**9), ("MB", 10**6), ("kB", 10**3)):
        if byte_count >= size:
            return f"{byte_count / size:.1f} {unit}"
    return f"{byte_count} bytes"


def _known(value: str) -> Future:
    done: Future = Future()
    done.set_result(value)
    return done
