"""Jobs for a batch: which records to place, and what lies ready for which record."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path

from asbuilt.library.errors import LibraryError
from asbuilt.library.shelf import record_folders
from asbuilt.library.task import ADD, PLACE, Job

PLAN, CLICKS = "plan.toml", "clicks.json"


def place_jobs(library: Path, names: Sequence[str] = (), author: str = "", again: bool = False) -> list[Job]:
    """A job for each record of a library, or for those named.

    Raises
    ------
    LibraryError
        If there is none of that name.
    """
    found = list(record_folders(library))
    for name in names:
        if name not in found:
            raise LibraryError(f"{library} holds no record {name!r}; see: asbuilt library list {library}")
    chosen = [f for f in found if f in names] if names else found
    return [
        Job(what=PLACE, name=f, folder=str((library / f).resolve()), author=author, again=again) for f in chosen
    ]  # fmt: skip


def add_jobs(library: Path, source: Path, author: str = "", stage: str | None = None) -> list[Job]:
    """A job for each folder below ``source`` that holds files: they go to the record of the same name.

    Raises
    ------
    LibraryError
        If ``source`` is no folder, lies inside the library, or has nothing in it.
    """
    if not source.is_dir():
        raise LibraryError(f"{source} is not a folder; it must hold a folder of files for each building")
    if source.resolve().is_relative_to(library.resolve()):
        raise LibraryError(f"{source} lies inside {library}; keep what comes in apart from the records")
    jobs = [_add_job(library, source, folder, author, stage) for folder in sorted(_folders(source))]
    jobs = [job for job in jobs if job.files or job.plan]
    if not jobs:
        raise LibraryError(f"{source} holds no folder with files; make one for each building, named as its record")
    return jobs


def _folders(source: Path) -> Iterable[Path]:
    return (p for p in source.rglob("*") if p.is_dir() and not p.name.startswith("."))


def _add_job(library: Path, source: Path, folder: Path, author: str, stage: str | None) -> Job:
    name = folder.relative_to(source).as_posix()
    files = sorted(p for p in folder.iterdir() if p.is_file() and not p.name.startswith("."))
    plan, clicks = (str((folder / n).resolve()) if (folder / n).is_file() else "" for n in (PLAN, CLICKS))
    media = tuple(str(p.resolve()) for p in files if p.suffix.lower() not in (".toml", ".json"))
    return Job(what=ADD, name=name, folder=str((library / name).resolve()), author=author, files=media, plan=plan,
               clicks=clicks, stage=stage)  # fmt: skip
