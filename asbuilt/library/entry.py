"""What a library knows of one record: its state in a few numbers, and what can be searched for."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from asbuilt.answers.coverage import coverage_of, shortfalls
from asbuilt.answers.reply import Reply
from asbuilt.answers.view import View, view_of
from asbuilt.errors import AsbuiltError
from asbuilt.record import PLACED, Item, Media, Position, Record
from asbuilt.record.store import DATABASE_NAME

# Part of the stamp: raising it makes every catalogue read its records anew.
ENTRY_VERSION = 1
NO_FACES, NO_PICTURES, HALF_IN, NOT_PLACED, PLACED_STATE, UNREADABLE = (
    "no walls yet", "no pictures yet", "half taken in", "not placed", "placed", "cannot be read",
)  # fmt: skip
STATES = (NO_FACES, NO_PICTURES, HALF_IN, NOT_PLACED, PLACED_STATE, UNREADABLE)
CIRCUIT, ITEM = "circuit", "item"


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry(Reply):
    """One record; ``gaps`` are parts of its faces to photograph again, None where coverage is not worked out.

    ``byte_count`` counts the originals and the database, not what can be made again.
    """

    folder: str  # below the library
    name: str = ""
    state: str
    rooms: int = 0
    faces: int = 0
    pictures: int = 0
    placed: int = 0
    items: int = 0
    circuits: int = 0
    gaps: int | None = None
    byte_count: int = 0
    trouble: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Searchable(Reply):
    """A circuit or an item: what is shown of it, and the words it is found by (a space before each)."""

    what: str
    kind: str
    amps: float | None
    text: str
    words: str


def stamp_of(folder: Path) -> str:
    """Changes whenever the record's database was written."""
    parts = [str(ENTRY_VERSION)]
    for name in (DATABASE_NAME, DATABASE_NAME + "-wal"):
        try:
            found = (folder / name).stat()
        except OSError:
            continue
        if found.st_size:
            parts.append(f"{found.st_mtime_ns} {found.st_size}")
    return " ".join(parts)


def read_entry(library: Path, folder: str) -> tuple[Entry, list[Searchable]]:
    """A record's entry and what can be searched for in it; trouble with it is in the entry."""
    try:
        with Record.open(library / folder) as record:
            view = view_of(record)
            return _entry(record, view, folder), [*_circuits(view), *_items(view)]
    except (AsbuiltError, OSError, ValueError, LookupError, TypeError) as error:
        text = str(error) if isinstance(error, AsbuiltError) else f"{type(error).__name__}: {error}"
        return Entry(folder=folder, state=UNREADABLE, trouble=" ".join(text.split())), []


def _entry(record: Record, view: View, folder: str) -> Entry:
    media = record.all(Media)
    placed = sum(p.status == PLACED for p in view.placements.values())
    worked_out = record.db["coverage"].count > 0
    gaps = sum(1 for face_id in view.faces for _ in shortfalls(coverage_of(record, face_id))) if worked_out else None
    return Entry(
        folder=folder, name=view.building.name, state=_state(view, media, placed), rooms=len(view.rooms),
        faces=len(view.faces), pictures=len(view.pictures), placed=placed, items=record.db["items"].count,
        circuits=len(view.circuits), gaps=gaps,
        byte_count=sum(m.byte_count for m in media) + (record.folder / DATABASE_NAME).stat().st_size,
    )  # fmt: skip


def _state(view: View, media: list[Media], placed: int) -> str:
    if not view.faces:
        return NO_FACES
    if not view.pictures:
        return NO_PICTURES
    if any(m.state != "done" for m in media):
        return HALF_IN
    return PLACED_STATE if placed else NOT_PLACED


def _circuits(view: View) -> Iterator[Searchable]:
    for c in view.circuits.values():
        amps = "" if c.amps is None else f", {c.amps:g} A"
        feeds = f", feeds {c.feeds}" if c.feeds else ""
        words = words_of(c.number, c.name, c.feeds, c.cable, c.protection, c.state)
        yield Searchable(what=CIRCUIT, kind=CIRCUIT, amps=c.amps, text=f"circuit {c.number} {c.name}{amps}{feeds}",
                         words=words)  # fmt: skip


def _items(view: View) -> Iterator[Searchable]:
    face_of = {p.item_id: p.face_id for p in view.record.all(Position)}
    for i in view.record.all(Item):
        if i.state == "removed":
            continue
        face = view.faces.get(face_of.get(i.id) or i.face_id)
        circuit = view.circuits.get(i.circuit_id)
        on = f", circuit {circuit.number} {circuit.name}" if circuit else ""
        where = f", {face.title}" if face else ", no place measured"
        words = words_of(i.kind, i.label, circuit.name if circuit else "", face.title if face else "")
        yield Searchable(what=ITEM, kind=i.kind, amps=circuit.amps if circuit else None,
                         text=f"{i.kind} {i.label}".strip() + where + on, words=words)  # fmt: skip


def words_of(*texts: str) -> str:
    """Lower-case words, a space before each."""
    return "".join(f" {word}" for text in texts for word in re.findall(r"[\w/+.-]+", (text or "").lower()))
