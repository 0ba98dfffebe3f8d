"""Sharing less: a copy of a record with only what somebody needs, and without what tells on people.

The copy is a record of its own, with the same ids. What is left out is listed in words, and
every wall on which something was left out is marked so, because there "nothing recorded"
would no longer be true: its answers read *not recorded*.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from asbuilt import __version__
from asbuilt.errors import NotInRecordError
from asbuilt.handover.merge_rows import SHARED_STEP, birth_mark
from asbuilt.handover.share_pictures import SharedPictures
from asbuilt.handover.share_rows import Chosen, shared_rows
from asbuilt.record import Building, Event, Face, Item, Media, Picture, Record, now
from asbuilt.record.kinds import KINDS, Kind
from asbuilt.record.rows import table_name, to_row
from asbuilt.record.snapshot import build_database, open_copy
from asbuilt.record.store import DATABASE_NAME
from asbuilt.record.types import TYPES

LAYERS = ("power", "low voltage", "plumbing", "special", "framing", "other")
_BY_HAZARD = {"live": "power", "wet": "plumbing", "gas": "plumbing", "specialist": "special"}
_BY_KIND = {"low voltage cable": "low voltage", "blocking": "framing", "nail plate": "framing", "staple": "framing"}
ALWAYS = (
    "where the pictures were taken (coordinates), and the time of day",
    "makes, models and numbers of cameras and phones, and everything else that the files said of themselves",
    "the original files: pictures are written anew, videos are left out but for single frames",
    "names of files and of people: who recorded, marked, changed and tested",
    "the note on the building, the history of changes, the reports of the steps",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class ShareOptions:
    """What goes into a shared copy.

    ``faces`` and ``layers``: only these; empty means all. ``drop`` and ``blur`` name pictures
    by id or file name. ``hide`` are words to strike from every label, name and note.
    """

    faces: tuple[str, ...] = ()
    layers: tuple[str, ...] = ()
    pictures: bool = True
    drop: tuple[str, ...] = ()
    blur: tuple[str, ...] = ()
    hide: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Shared:
    """The database of a shared copy, the folder with its pictures, and what was left out, in words."""

    database: Path
    folder: Path
    left_out: tuple[str, ...]


def layer_of_kind(kind: Kind) -> str:
    """The layer that a kind of item belongs to."""
    return _BY_KIND.get(kind.name) or _BY_HAZARD.get(kind.hazard, "other")


def make_shared(record: Record, folder: Path, options: ShareOptions) -> Shared:
    """Write a shared copy of a record into a folder.

    Raises
    ------
    NotInRecordError
        If a face, layer or picture is named that there is not.
    """
    chosen, kept_as_well = _chosen(record, options)
    pictures = SharedPictures(record, folder, chosen, options.pictures, _named(record, options.drop),
                              _named(record, options.blur))  # fmt: skip
    rows = shared_rows(record, chosen, pictures)
    rows[Event] += _marks(rows[Face], rows[Event], chosen)
    rows = {cls: [_struck(row, options.hide) for row in found] for cls, found in rows.items()}
    database = folder / DATABASE_NAME
    tables = [(table_name(cls), [to_row(row) for row in rows[cls]]) for cls in TYPES]
    told = {"of": birth_mark(record)}  # so that what is added to the copy can be brought back
    report = {"step": SHARED_STEP, "version": __version__, "started_at": now(), "finished_at": now(),
              "report": json.dumps(told)}  # fmt: skip
    build_database(database, [*tables, ("history", [_birth(rows[Building][0])]), ("step_reports", [report])])
    left_out = tuple(_left_out(record, options, chosen, pictures, kept_as_well))
    return Shared(database=database, folder=folder, left_out=left_out)


def _chosen(record: Record, options: ShareOptions) -> tuple[Chosen, list[str]]:
    faces = {f.id: f for f in record.all(Face)}
    for name in options.faces:
        if name not in faces:
            raise NotInRecordError(f"no face {name!r} in this record; its faces are: {', '.join(faces)}")
    for name in options.layers:
        if name not in LAYERS:
            raise NotInRecordError(f"no layer {name!r}; layers are: {', '.join(LAYERS)}")
    wanted = set(options.faces or faces)
    pairs = {(f.id, f.far_face_id) for f in faces.values() if f.far_face_id}
    across = {b for pair in pairs for a, b in (pair, pair[::-1]) if a in wanted} - wanted
    items = {i.id for i in record.all(Item) if i.state != "removed"}
    if options.layers:
        kinds = {name for name, kind in KINDS.items() if layer_of_kind(kind) in options.layers}
        items = {i.id for i in record.all(Item, id=sorted(items)) if i.kind in kinds}
    removed = tuple(layer for layer in LAYERS if options.layers and layer not in options.layers)
    chosen = Chosen(face_ids=frozenset(wanted | across), item_ids=frozenset(items), layers_left_out=removed,
                    is_part=bool(options.faces or options.layers))  # fmt: skip
    return chosen, sorted(across)


def _named(record: Record, names: Sequence[str]) -> frozenset[str]:
    """Ids of the pictures that ids and file names mean."""
    found: set[str] = set()
    for name in names:
        media = {m.id for m in record.all(Media, name=name)}
        ids = {p.id for p in record.all(Picture) if p.id == name or p.media_id in media}
        if not ids:
            raise NotInRecordError(f"no picture {name!r} in this record; name its id or the file it came with")
        found |= ids
    return frozenset(found)


def _marks(faces: Sequence[Face], events: Sequence[Event], chosen: Chosen) -> Iterator[Event]:
    """Where layers are left out every face is marked, so that nothing there reads as nothing recorded."""
    if not chosen.layers_left_out:
        return
    taken = {e.id for e in events}
    for face in faces:
        event_id = next(i for i in (f"copy-{face.id}", f"copy-of-record-{face.id}") if i not in taken)
        yield Event(id=event_id, kind=f"copied without its {_and(chosen.layers_left_out)}", date=now()[:10],
                    face_id=face.id, note="Ask the owner of the whole record.")  # fmt: skip


def _and(words: Sequence[str]) -> str:
    return " and ".join(filter(None, [", ".join(words[:-1]), words[-1]]))


def _struck(row, hide: Sequence[str]):
    """A row with words struck from its texts; ids stay, and what is looked up by them."""
    if not hide:
        return row
    changes = {}
    for name in ("name", "title", "label", "note", "feeds", "comes_from", "goes_to", "method", "result"):
        value = getattr(row, name, None)
        if isinstance(value, str) and any(word.lower() in value.lower() for word in hide):
            changes[name] = strike(value, hide)
    return replace(row, **changes) if changes else row


def strike(text: str, hide: Sequence[str]) -> str:
    """A text with words struck out, whatever their case."""
    for word in filter(None, hide):
        at = text.lower().find(word.lower())
        while at >= 0:
            text = text[:at] + "[...]" + text[at + len(word) :]
            at = text.lower().find(word.lower(), at + 5)
    return text


def _birth(building: Building) -> dict:
    """The one entry of the copy's history."""
    return {"id": 1, "at": now(), "author": "", "action": "add", "table_name": "buildings", "row_id": building.id,
            "before": None, "after": json.dumps(to_row(building))}  # fmt: skip


def _left_out(
    record: Record, options: ShareOptions, chosen: Chosen, pictures: SharedPictures, across: Sequence[str]
) -> Iterator[str]:
    faces = {f.id: f.title for f in record.all(Face)}
    gone = [title for face_id, title in faces.items() if face_id not in chosen.face_ids]
    if gone:
        yield f"faces: {', '.join(gone)}"
    if chosen.layers_left_out:
        yield (f"layers: {', '.join(chosen.layers_left_out)}. Where nothing is drawn on a wall of this copy there may "
               "be such things: answers there read \"not recorded\"")  # fmt: skip
    if across:
        names = ", ".join(faces[i] for i in across)
        yield f"NOT left out: {names}, the other side of a wall that was asked for; its things lie in the same wall"
    yield from pictures.left_out()
    yield from ALWAYS
    if options.hide:
        yield f"{len(options.hide)} words, struck from labels and notes as [...]"
    if chosen.layers_left_out and pictures.kept_count:
        yield "NOT left out: pictures show everything that can be seen in them, also things of the layers left out"


def labels_to_look_at(record: Record) -> list[str]:
    """Labels, names and titles that may name a person, by the form of their words, for the owner to look at."""
    found = []
    for cls in TYPES:
        for name in ("label", "title", "name", "feeds"):
            for row in record.all(cls) if name in cls.__dataclass_fields__ else ():
                text = getattr(row, name)
                if cls is not Media and any(w.endswith(("'s", "\u2019s")) for w in text.split()):
                    found.append(text)
    return list(dict.fromkeys(found))


def open_shared(shared: Shared) -> Record:
    """The shared copy as a record, read-only."""
    return open_copy(shared.database, shared.folder)
