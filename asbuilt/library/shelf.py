"""The records below a folder, kept in a catalogue that reads only what changed."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import astuple, dataclass
from itertools import repeat
from multiprocessing import get_context
from pathlib import Path

from tqdm import tqdm

from asbuilt.answers.reply import Reply
from asbuilt.library.entry import CIRCUIT, Entry, read_entry, stamp_of
from asbuilt.library.errors import LibraryError
from asbuilt.record.catalogue import Catalogue
from asbuilt.record.kinds import kind_named
from asbuilt.record.store import DATABASE_NAME

# With fewer records to read, starting processes costs more than it brings.
WORTH_SPREADING = 64
CHUNK = 16
AMPS = re.compile(r"\b(\d+(?:\.\d+)?)\s*(?:amperes?|amps?|a)\b", re.IGNORECASE)
# Words of a spoken question that name no thing.
LITTLE_WORDS = {"a", "all", "an", "and", "any", "for", "in", "is", "of", "on", "record", "records", "that", "the",
                "to", "which", "with"}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordFound(Reply):
    """A record with the things in it that were asked for."""

    folder: str
    name: str
    things: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class SearchAnswer(Reply):
    """Records that hold what was asked; ``not_read`` could not be looked into."""

    asked: str
    looked_in: int
    found: tuple[RecordFound, ...]
    not_read: tuple[Entry, ...]


def record_folders(library: str | Path) -> Iterator[str]:
    """Folders of the records below a folder, relative to it, in order.

    Raises
    ------
    LibraryError
        If it is no folder.
    """
    library = Path(library)
    if not library.is_dir():
        raise LibraryError(f"{library} is not a folder; name the folder that holds the records")
    for here, folders, files in os.walk(library):
        if DATABASE_NAME in files:
            folders.clear()  # what is inside a record is its own
            yield Path(here).relative_to(library).as_posix()
        folders.sort()


@contextmanager
def catalogue_of(library: str | Path) -> Iterator[Catalogue]:
    """The catalogue of a library, brought up to date with its records."""
    library = Path(library)
    stamps = {folder: stamp_of(library / folder) for folder in record_folders(library)}
    with Catalogue(library) as catalogue:
        known = catalogue.stamps()
        catalogue.forget(set(known) - set(stamps))
        stale = [folder for folder, stamp in stamps.items() if known.get(folder) != stamp]
        bar = tqdm(_read(library, stale), total=len(stale), desc="reading", unit="record", disable=None, delay=1)
        for entry, things in bar:
            # Opening an old record brings its schema up to date, which changes its stamp.
            catalogue.put(entry.folder, stamp_of(library / entry.folder), entry.to_json(), map(astuple, things))
        yield catalogue


def _read(library: Path, folders: list[str]) -> Iterator:
    if len(folders) < WORTH_SPREADING:
        yield from (read_entry(library, folder) for folder in folders)
        return
    with ProcessPoolExecutor(os.cpu_count(), mp_context=get_context("spawn")) as pool:
        yield from pool.map(read_entry, repeat(library), folders, chunksize=CHUNK)


def entries(library: str | Path) -> list[Entry]:
    """Every record of a library."""
    with catalogue_of(library) as catalogue:
        return [Entry(**e) for e in catalogue.entries()]


def search(
    library: str | Path,
    text: str = "",
    circuit: str | None = None,
    amps: float | None = None,
    kind: str | None = None,
) -> SearchAnswer:
    """Records with one circuit or item that has all that is asked.

    Parameters
    ----------
    library : path
    text : str
        Words, each the beginning of one in the thing's number, name, label, kind, load or wall;
        "50 A" in it means the rating, "circuit" that a circuit is meant.
    circuit : str, optional
        Words of a circuit's number, name or load; only circuits are found.
    amps : float, optional
        Rating of the circuit [A].
    kind : str, optional
        Kind of item.

    Raises
    ------
    LibraryError
        If nothing is asked, or two ratings are.
    """
    asked = " ".join(t for t in (text, f"circuit {circuit}" if circuit else "", kind or "",
                                 f"{amps:g} A" if amps is not None else "") if t)  # fmt: skip
    spoken = [float(a) for a in AMPS.findall(text)]
    ratings = {*spoken, *([] if amps is None else [amps])}
    if len(ratings) > 1:
        raise LibraryError(f"{asked!r} names more than one rating; ask for one at a time")
    words = [w for w in AMPS.sub(" ", f"{text} {circuit or ''}").lower().split() if w not in LITTLE_WORDS]
    only_circuits = circuit is not None or bool({"circuit", "circuits"} & set(words))
    words = [w for w in words if w not in ("circuit", "circuits")]
    if not (words or ratings or kind or only_circuits):
        raise LibraryError("say what to look for: some words, --circuit, --amps or --kind")
    with catalogue_of(library) as catalogue:
        all_entries = [Entry(**e) for e in catalogue.entries()]
        rows = catalogue.things(
            words, what=CIRCUIT if only_circuits else None, kind=None if kind is None else kind_named(kind).name,
            amps=next(iter(ratings), None),
        )  # fmt: skip
    return _answer(asked, all_entries, rows)


def _answer(asked: str, all_entries: list[Entry], rows: list[dict]) -> SearchAnswer:
    things: dict[str, list[str]] = {}
    for row in rows:
        things.setdefault(row["folder"], []).append(row["text"])
    found = (
        RecordFound(folder=e.folder, name=e.name, things=tuple(things[e.folder]))
        for e in all_entries
        if e.folder in things
    )
    return SearchAnswer(
        asked=asked, looked_in=sum(not e.trouble for e in all_entries), found=tuple(found),
        not_read=tuple(e for e in all_entries if e.trouble),
    )  # fmt: skip
