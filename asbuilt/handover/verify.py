"""Checking a package or a record folder: files against their hashes, the database, the links between."""

from __future__ import annotations

import re
import sqlite3
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass
from pathlib import Path

from asbuilt.handover import words
from asbuilt.handover.bagcheck import check_bag
from asbuilt.handover.errors import PackageError
from asbuilt.handover.findings import DAMAGED, MISSING, NOTE, UNEXPECTED, Finding
from asbuilt.handover.shelf import FolderShelf, Shelf, copy_out, hashes_of, read, shelf_of
from asbuilt.handover.signing import SIGNATURE_NAME, SIGNED_NAME, SigningUnavailableError, is_good, read_signature
from asbuilt.record import Media
from asbuilt.record.snapshot import copy_as_it_lies, copy_faults, open_copy
from asbuilt.record.store import DATABASE_NAME
from asbuilt.record.types import COPYING
from asbuilt.record.unfinished import not_looked_at

IN_PACKAGE = "data/record/"
LEAVABLE = ("derived/", "incoming/")  # of a record folder: what can be made again, what is not in it yet


@dataclass(frozen=True, slots=True, kw_only=True)
class VerifyReport:
    """What was looked at and what was found; ``kind`` is package or record."""

    kind: str
    path: str
    file_count: int
    byte_count: int
    findings: tuple[Finding, ...]

    @property
    def faults(self) -> tuple[Finding, ...]:
        """Findings that are more than notes."""
        return tuple(f for f in self.findings if f.state != NOTE)

    def to_json(self) -> dict:
        """As plain values."""
        return asdict(self) | {"fault_count": len(self.faults)}


def verify(
    path: str | Path,
    progress: Callable[[int], object] = lambda byte_count: None,
    public_key: bytes | None = None,
) -> VerifyReport:
    """Look at every file of a package or a record folder, whatever else is broken.

    Parameters
    ----------
    path : path
        A package (folder or ZIP) or a record folder.
    progress : callable
        Told the bytes of every file that was read.
    public_key : bytes, optional
        Whose signature a package must carry.

    Raises
    ------
    PackageError
        If it is neither.
    """
    shelf = shelf_of(path)
    names = shelf.names()
    if isinstance(shelf, FolderShelf) and DATABASE_NAME in names and "bagit.txt" not in names:
        findings, kind = list(_record_findings(shelf, "", progress)), "record"
        names = [n for n in names if not n.startswith(LEAVABLE)]
    elif _is_bag(names):
        findings, kind = list(_package_findings(shelf, progress, public_key)), "package"
    else:
        raise PackageError(f"{path} is neither a package nor a record; name a folder or ZIP that asbuilt wrote")
    return VerifyReport(kind=kind, path=str(path), file_count=len(names),
                        byte_count=sum(shelf.size(n) for n in names), findings=_once(findings))  # fmt: skip


def _is_bag(names: list[str]) -> bool:
    tops = {n.split("/", 1)[0] for n in names}
    signs = ("bagit.txt" in tops, any(t.startswith("manifest-") for t in tops), "data" in tops)
    return sum(signs) >= 2 or any(n.startswith(IN_PACKAGE) for n in names)  # what a torn ZIP still shows


def _once(findings: list[Finding]) -> tuple[Finding, ...]:
    return tuple(dict.fromkeys(findings))


def _package_findings(
    shelf: Shelf, progress: Callable[[int], object], public_key: bytes | None
) -> Iterator[Finding]:
    for name, text in shelf.faults:
        yield Finding(state=DAMAGED, name=name, text=text)
    # A bag of some other program is held to the format only.
    own = any(n.startswith(IN_PACKAGE) for n in shelf.names())
    yield from check_bag(shelf, progress, strict_tags=own)
    yield from _signature_findings(shelf, public_key)
    if own:
        yield from _record_findings(shelf, IN_PACKAGE, lambda byte_count: None, hashed=True)


def _signature_findings(shelf: Shelf, public_key: bytes | None) -> Iterator[Finding]:
    """Whether the signature is good, and whose it is."""
    if SIGNATURE_NAME not in shelf.names():
        if public_key is not None:
            yield Finding(state=MISSING, name=SIGNATURE_NAME, text="the package is not signed")
        return
    try:
        signature = read_signature(read(shelf, SIGNATURE_NAME))
        good = is_good(signature, read(shelf, SIGNED_NAME) if SIGNED_NAME in shelf.names() else b"")
    except SigningUnavailableError as error:
        state = NOTE if public_key is None else DAMAGED  # who asks for a check is not told that all is well
        yield Finding(state=state, name=SIGNATURE_NAME, text=f"not checked: {error}")
        return
    except (PackageError, OSError) as error:
        yield Finding(state=DAMAGED, name=SIGNATURE_NAME, text=str(error))
        return
    whose = f"signed by {signature.signer} on {signature.signed_at} with the key {signature.key_words}"
    if not good:
        yield Finding(state=DAMAGED, name=SIGNATURE_NAME, text=f"{whose}, but it or {SIGNED_NAME} was changed since")
    elif public_key is None:
        text = f"{whose}; whose key that is was not checked: give the signer's public key"
        yield Finding(state=NOTE, name=SIGNATURE_NAME, text=text)
    elif signature.public_key != public_key:
        yield Finding(state=DAMAGED, name=SIGNATURE_NAME, text=f"{whose}, which is not the key that was given")
    else:
        yield Finding(state=NOTE, name=SIGNATURE_NAME, text=f"{whose}, as it should be")


def _record_findings(
    shelf: Shelf, prefix: str, progress: Callable[[int], object], hashed: bool = False
) -> Iterator[Finding]:
    """The database of a record, and every original that it names."""
    name = prefix + DATABASE_NAME
    if name not in shelf.names():
        yield Finding(state=MISSING, name=name, text="the record's database is not there")
        return
    with tempfile.TemporaryDirectory(prefix="asbuilt-") as scratch:
        copy = Path(scratch) / DATABASE_NAME
        if isinstance(shelf, FolderShelf) and not prefix:
            copy_as_it_lies(shelf.path / DATABASE_NAME, copy)
        else:
            copy_out(shelf, name, copy)
        for text in copy_faults(copy):
            yield Finding(state=DAMAGED, name=name, text=text)
        try:
            yield from _originals(shelf, prefix, copy, progress, hashed)
        except (sqlite3.Error, ValueError, TypeError) as error:
            yield Finding(state=DAMAGED, name=name, text=f"the list of originals cannot be read: {error}")


def _originals(
    shelf: Shelf, prefix: str, database: Path, progress: Callable[[int], object], hashed: bool
) -> Iterator[Finding]:
    names = set(shelf.names())
    chosen = hashed and _without_originals(shelf)
    is_live = isinstance(shelf, FolderShelf) and not prefix
    with open_copy(database, shelf.path if is_live else database.parent) as record:
        media, unseen = record.all(Media), not_looked_at(record)
    yield from (Finding(state=NOTE, name=prefix + DATABASE_NAME, text=text) for text in unseen)
    for m in media:
        name = prefix + m.path
        if m.state == COPYING:
            continue  # told of above: there is no original to look at yet
        if name not in names and chosen:
            yield Finding(state=NOTE, name=name, text=f"the original of {m.name} was left out of this package")
        elif name not in names:
            yield Finding(state=MISSING, name=name, text=f"the original of {m.name} is not there")
        elif shelf.size(name) != m.byte_count:
            text = f"{m.name} has {shelf.size(name)} bytes, not {m.byte_count}"
            yield Finding(state=DAMAGED, name=name, text=text)
        elif not hashed:
            yield from _content(shelf, name, m)
            progress(m.byte_count)
    known = {prefix + m.path for m in media}
    for name in sorted(n for n in names - known if n.startswith(f"{prefix}media/")):
        yield Finding(state=UNEXPECTED if hashed else NOTE, name=name, text="the record does not know this file")


def _without_originals(shelf: Shelf) -> bool:
    """Whether whoever made the package left the originals out on purpose."""
    if "bag-info.txt" not in shelf.names():
        return False
    return f"{words.ORIGINALS}: {words.NOT_HERE}".encode() in read(shelf, "bag-info.txt").splitlines()


def _content(shelf: Shelf, name: str, media: Media) -> Iterator[Finding]:
    """An original bears its SHA-256 as its id."""
    if not re.fullmatch(r"[0-9a-f]{64}", media.id):
        yield Finding(state=DAMAGED, name=name, text=f"{media.name} has no hash on record")
        return
    try:
        found = hashes_of(shelf, name, ["sha256"])["sha256"]
    except OSError as error:
        yield Finding(state=DAMAGED, name=name, text=f"{media.name} cannot be read: {error}")
        return
    if found != media.id:
        yield Finding(state=DAMAGED, name=name, text=f"{media.name} is not the file that was taken in")
