"""Bringing back what somebody added to a copy of a record, without overwriting anything.

New rows and pictures come in, under the name of who made them. Where both sides made a
different thing under one id, the incoming one gets a new id. Rows that were changed or
removed in the copy are listed; a change is only taken over when that is asked for and
nobody changed the row here, and its old state stays in the history.
"""

from __future__ import annotations

import tempfile
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass, replace
from pathlib import Path

from asbuilt.errors import RecordError
from asbuilt.handover.errors import PackageError
from asbuilt.handover.merge_rows import CLASSES, NOT_RENAMED, Change, changes_in, free_id, renamed
from asbuilt.handover.opening import open_package
from asbuilt.handover.pictures import WITHHELD
from asbuilt.record import Media, Picture, Placement, Position, Record, now
from asbuilt.record.media import media_path, store_original
from asbuilt.record.rows import from_row, to_row
from asbuilt.record.snapshot import copy_as_it_lies, copy_faults, open_copy
from asbuilt.record.store import DATABASE_NAME
from asbuilt.record.types import COPYING

ADDED, RENAMED, TAKEN = "added", "added under another id", "change taken over"
CHANGED, REMOVED, BOTH, GONE = "changed there", "removed there", "changed on both sides", "changed there, removed here"


@dataclass(frozen=True, slots=True, kw_only=True)
class Merged:
    """What happened to one row; ``fields`` are (column, here, there) where the two differ."""

    state: str
    table: str
    row_id: str
    author: str
    at: str
    new_id: str = ""
    fields: tuple[tuple[str, object, object], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class MergeReport:
    """What came in, what did not, and how many pictures were copied."""

    rows: tuple[Merged, ...]
    picture_count: int
    faults: tuple[str, ...]

    @property
    def counts(self) -> Counter[str]:
        """How many rows are in each state."""
        return Counter(row.state for row in self.rows)

    def to_json(self) -> dict:
        """As plain values."""
        return asdict(self) | {"counts": dict(self.counts)}


def merge(record: Record, source: str | Path, take_changes: bool = False, dry_run: bool = False) -> MergeReport:
    """Bring what is new in a copy into the record it was made of.

    Parameters
    ----------
    source : path
        A package (folder or ZIP) or record folder of the copy.
    take_changes : bool
        Also take over rows that were changed there and not here.
    dry_run : bool
        Only say what would happen.

    Raises
    ------
    PackageError
        If it is no copy of this record, or is damaged.
    """
    with _opened(source) as copy:
        changes = changes_in(copy, record)
        rows, puts = _decide(record, changes, take_changes)
        new = _new_pictures(record, copy)
        faults: list[str] = []
        if not dry_run:
            with record.transaction():
                kept = _bring_pictures(record, copy, new, faults)
                puts = [(row, author) for row, author in puts if _has_picture(row, record)]
                for row, author in puts:
                    record.put(row, author=author)
                _bring_measures(record, copy, rows, kept)
                record.add_step_report("merge", now(), {"rows": len(puts), "pictures": len(kept)})
    return MergeReport(rows=tuple(rows), picture_count=len(new), faults=tuple(faults))


@contextmanager
def _opened(source: str | Path) -> Iterator[Record]:
    """The copy, read-only, whatever form it comes in; damaged ones are refused."""
    source = Path(source)
    with tempfile.TemporaryDirectory(prefix="asbuilt-") as scratch:
        folder, database = source, Path(scratch) / "copy.db"
        if source.is_dir() and (source / DATABASE_NAME).is_file():
            copy_as_it_lies(source / DATABASE_NAME, database)
        else:
            folder = Path(scratch) / "record"
            report = open_package(source, folder)
            if report.rebuilt:
                raise PackageError(f"{source}: its database is damaged; ask for another copy")
            database = folder / DATABASE_NAME
        faults = copy_faults(database)
        if faults:
            raise PackageError(f"{source} is damaged ({faults[0]}); ask for another copy")
        with open_copy(database, folder) as copy:
            yield copy


def _decide(record: Record, changes: list[Change], take: bool) -> tuple[list[Merged], list[tuple[object, str]]]:
    """What to say of each change, and the rows to write with the names they are written under."""
    new_ids = _new_ids(record, changes)
    rows, puts = [], []
    for change in changes:
        cls, ours = CLASSES[change.table], _here(record, change)
        state, fields = _state(change, ours, (change.table, change.row_id) in new_ids, take)
        if state is None:
            continue
        new_id = new_ids.get((change.table, change.row_id), "")
        rows.append(Merged(state=state, table=change.table, row_id=change.row_id, author=change.author, at=change.at,
                           new_id=new_id, fields=fields))  # fmt: skip
        if state in (ADDED, RENAMED, TAKEN):
            author = f"{change.author or 'unknown'} on {change.at[:10]}, merged by {record.author or 'unknown'}"
            puts.append((from_row(cls, renamed(change.theirs, change.table, new_ids)), author))
    return rows, puts


def _here(record: Record, change: Change) -> dict | None:
    row_id = int(change.row_id) if change.table == "markers" else change.row_id
    found = record.find(CLASSES[change.table], row_id)
    return None if found is None else to_row(found)


def _new_ids(record: Record, changes: list[Change]) -> dict[tuple[str, str], str]:
    """New ids for things that both sides made under one id.

    Rows that look alike but refer to things that get new ids are different things too, so
    it goes round until nothing is left to rename.
    """
    found: dict[tuple[str, str], str] = {}
    incoming = {(c.table, c.row_id) for c in changes}
    made = [(c, _here(record, c)) for c in changes if c.base is None and c.theirs is not None]
    both = [(c, ours) for c, ours in made if ours is not None and c.table not in NOT_RENAMED]
    while True:
        more = [c for c, ours in both
                if (c.table, c.row_id) not in found and renamed(c.theirs, c.table, found) != ours]  # fmt: skip
        if not more:
            return found
        for change in more:
            found[change.table, change.row_id] = free_id(
                change.row_id,
                lambda i, t=change.table: (t, i) in incoming or record.find(CLASSES[t], i) is not None,
            )


def _state(change: Change, ours: dict | None, is_renamed: bool, take: bool) -> tuple[str | None, tuple]:
    theirs = change.theirs
    if is_renamed:
        return RENAMED, ()
    if theirs == ours:
        return None, ()
    if change.base is None:
        if theirs is None:
            return None, ()
        return (ADDED, ()) if ours is None else (BOTH, _fields(ours, theirs))
    if theirs is None:
        return REMOVED, ()
    if ours is None:
        return GONE, _fields(change.base, theirs)
    if theirs == change.base:
        return None, ()
    if ours == change.base:
        return (TAKEN if take else CHANGED), _fields(ours, theirs)
    return BOTH, _fields(ours, theirs)


def _fields(ours: dict, theirs: dict) -> tuple[tuple[str, object, object], ...]:
    return tuple((name, ours.get(name), value) for name, value in theirs.items() if ours.get(name) != value)


def _new_pictures(record: Record, copy: Record) -> list[Picture]:
    known = {p.id for p in record.all(Picture)}
    return [p for p in copy.all(Picture) if p.id not in known and WITHHELD not in p.flags]


def _bring_pictures(record: Record, copy: Record, new: list[Picture], faults: list[str]) -> set[str]:
    """Copy the originals of new pictures in; the ids of the pictures that came."""
    kept: set[str] = set()
    stored: set[str] = set()
    for picture in new:
        media = copy.get(Media, picture.media_id)
        if media.id not in stored and record.find(Media, media.id) is None:
            if media.state == COPYING:
                faults.append(f"{media.name}: not brought in (it is still being copied into that record)")
                stored.add(media.id)
                continue
            try:
                file = store_original(record, media_path(copy, media))
            except RecordError:
                raise
            except Exception as error:  # a broken file of theirs must not keep the rest out
                faults.append(f"{media.name}: not brought in ({error})")
                continue
            if file.sha256 != media.id:
                faults.append(f"{media.name}: not brought in (it is not the file that was taken in there)")
                (record.folder / file.path).unlink(missing_ok=True)
                continue
            record.put(replace(media, path=file.path, byte_count=file.byte_count))
        stored.add(media.id)
        if record.find(Media, media.id) is not None:
            record.put(picture)
            kept.add(picture.id)
    return kept


def _has_picture(row, record: Record) -> bool:
    """Whether the picture that a sighting is in is here."""
    picture_id = getattr(row, "picture_id", None)
    return picture_id is None or record.find(Picture, picture_id) is not None


def _bring_measures(record: Record, copy: Record, rows: list[Merged], pictures: set[str]) -> None:
    """Places of new items as they were measured there, until they are located anew here."""
    added = {r.row_id: r.new_id or r.row_id for r in rows if r.table == "items" and r.state in (ADDED, RENAMED)}
    new_ids = {("items", old): new for old, new in added.items()}
    for position in copy.all(Position, item_id=sorted(added)):
        row = renamed(to_row(position), "positions", new_ids)
        row["id"] = f"{row['item_id']}/{row['place'] or row['order_idx']}"
        record.put(from_row(Position, row))
    solutions = {s for (s,) in record.db.execute("SELECT id FROM solutions").fetchall()}
    for placement in copy.all(Placement, id=sorted(pictures)):
        if placement.solution_id in solutions:
            record.put(placement)

