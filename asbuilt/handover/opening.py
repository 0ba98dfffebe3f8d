"""Making a record of a package again, as far as the package is whole."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from asbuilt.errors import RecordError
from asbuilt.handover.bagcheck import OUTSIDE, check_bag
from asbuilt.handover.errors import PackageError
from asbuilt.handover.findings import DAMAGED, MISSING, NOTE, Finding
from asbuilt.handover.opendata import tables_of_json
from asbuilt.handover.package import JSON_NAME, RECORD
from asbuilt.handover.shelf import Shelf, copy_out, read, shelf_of
from asbuilt.record import Media
from asbuilt.record.elevation_row import Elevation
from asbuilt.record.snapshot import build_database, copy_faults, open_copy
from asbuilt.record.store import DATABASE_NAME

PAYLOAD = "data/"


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenReport:
    """What was restored; ``findings`` say what was wrong with the package.

    ``rebuilt`` tells that the database was damaged and was made anew from the JSON.
    """

    folder: str
    file_count: int
    rebuilt: bool
    findings: tuple[Finding, ...]

    @property
    def faults(self) -> tuple[Finding, ...]:
        """Findings that are more than notes."""
        return tuple(f for f in self.findings if f.state != NOTE)


def open_package(
    path: str | Path, folder: str | Path, progress: Callable[[int], object] = lambda byte_count: None
) -> OpenReport:
    """Restore the record of a package into a new folder.

    Damaged originals are restored as they are and named; a damaged database is made anew
    from the JSON of everything, where that is whole.

    Raises
    ------
    PackageError
        If it is no package, or neither its database nor its JSON can be read.
    RecordError
        If the folder is not empty or cannot be written.
    """
    folder = Path(folder)
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise RecordError(f"{folder} is there already; name a new folder for the record")
    shelf = shelf_of(path)
    if not any(n.startswith(PAYLOAD + RECORD) or n == PAYLOAD + JSON_NAME for n in shelf.names()):
        raise PackageError(f"{path} holds no record; name a package that asbuilt wrote")
    findings = [Finding(state=DAMAGED, name=name, text=text) for name, text in shelf.faults]
    findings += check_bag(shelf, progress, strict_tags=True)
    partial = folder.with_name(f".{folder.name}.partial")
    shutil.rmtree(partial, ignore_errors=True)
    try:
        partial.mkdir(parents=True)
        rebuilt = _restore_database(shelf, partial, {f.name for f in findings})
        _check_paths(partial / DATABASE_NAME)
        count = _restore_files(shelf, partial, findings)
        if folder.is_dir():
            folder.rmdir()
        os.replace(partial, folder)
    except OSError as error:
        raise RecordError(f"cannot write a record into {folder}: {error.strerror or error}") from error
    finally:
        shutil.rmtree(partial, ignore_errors=True)
    return OpenReport(folder=str(folder), file_count=count + 1, rebuilt=rebuilt, findings=tuple(findings))


def _restore_database(shelf: Shelf, folder: Path, damaged: set[str]) -> bool:
    """The database as it is, else made anew; whether it had to be."""
    name, target = PAYLOAD + RECORD + DATABASE_NAME, folder / DATABASE_NAME
    faults = ["it is not there"]
    if name in shelf.names():
        try:
            copy_out(shelf, name, target)
            faults = copy_faults(target)
        except OSError as error:
            faults = [str(error)]
    if not faults and name not in damaged:
        return False
    if PAYLOAD + JSON_NAME in shelf.names() and PAYLOAD + JSON_NAME not in damaged:
        target.unlink(missing_ok=True)
        build_database(target, tables_of_json(read(shelf, PAYLOAD + JSON_NAME)))
        return True
    if not faults:
        return False
    raise PackageError(f"neither {name} nor {PAYLOAD + JSON_NAME} can be read ({faults[0]}); try another copy")


def _check_paths(database: Path) -> None:
    """Refuse a database that would make this program read files elsewhere on this machine."""
    with open_copy(database, database.parent) as record:
        paths = [m.path for m in record.all(Media)] + [e.folder for e in record.all(Elevation)]
    for path in paths:
        if OUTSIDE.search(path) or not path.startswith(("media/", "derived/")):
            raise PackageError(f"the package's database points to {path!r}, outside the record; it was not opened")


def _restore_files(shelf: Shelf, folder: Path, findings: list[Finding]) -> int:
    """Originals and elevation pictures; how many."""
    (folder / "media").mkdir()
    prefix = PAYLOAD + RECORD
    names = [n for n in shelf.names() if n.startswith(prefix) and n != prefix + DATABASE_NAME]
    count = 0
    for name in names:
        if OUTSIDE.search(name):
            findings.append(Finding(state=DAMAGED, name=name, text="it lies outside the record and was not restored"))
            continue
        target = folder / name.removeprefix(prefix)
        try:
            copy_out(shelf, name, target)
        except OSError as error:
            target.unlink(missing_ok=True)
            findings.append(Finding(state=MISSING, name=name, text=f"it cannot be read: {error}"))
            continue
        if name.startswith(f"{prefix}media/"):
            target.chmod(0o444)
        count += 1
    return count
