"""A record on disk: one folder, one SQLite file, the untouched originals."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import TypeVar

from sqlite_utils import Database

from asbuilt import __version__
from asbuilt.errors import NotInRecordError, RecordError
from asbuilt.record.migrations import migrations
from asbuilt.record.rows import columns, field_kinds, from_values, table_name, to_row
from asbuilt.record.types import TYPES, Building, Item, ReferencePoint, Sighting

T = TypeVar("T")
DATABASE_NAME = "record.db"
# Worked out by a step from other rows: the step's report is their history.
DERIVED = {"media", "pictures", "placements", "solutions", "positions", "coverage", "elevations", "proposal_runs"}


def now() -> str:
    """The present time as ISO 8601 with the local offset."""
    return datetime.now(UTC).astimezone().isoformat(timespec="seconds")


class Record:
    """An open record. Use one per thread; close it, or use it as a context manager."""

    def __init__(self, folder: Path, db: Database, author: str = "") -> None:
        self.folder = folder
        self.db = db
        self.author = author
        self.memo: dict = {}  # what readers worked out of this open record, gone with it

    @classmethod
    def create(cls, folder: str | Path, name: str, unit: str = "in", author: str = "") -> Record:
        """Make a new record folder.

        Raises
        ------
        RecordError
            If the folder already holds a record or cannot be written.
        """
        folder = Path(folder)
        if (folder / DATABASE_NAME).exists():
            raise RecordError(f"{folder} already holds a record; open it, or choose another folder")
        building = Building(name=name, unit=unit)
        try:
            (folder / "media").mkdir(parents=True, exist_ok=True)
            record = cls._connect(folder, author)
        except (OSError, sqlite3.Error) as error:
            raise RecordError(f"cannot write a record into {folder}: {error}") from error
        record.put(building)
        return record

    @classmethod
    def open(cls, folder: str | Path, author: str = "") -> Record:
        """Open an existing record and bring its schema up to date.

        Raises
        ------
        RecordError
            If there is no record there, or it cannot be read.
        """
        folder = Path(folder)
        if not (folder / DATABASE_NAME).is_file():
            raise RecordError(f"{folder} is not a record (no {DATABASE_NAME}); make one with: asbuilt new {folder}")
        try:
            return cls._connect(folder, author)
        except (OSError, sqlite3.Error) as error:
            raise RecordError(f"cannot open the record in {folder}: {error}") from error

    @classmethod
    def _connect(cls, folder: Path, author: str) -> Record:
        connection = sqlite3.connect(folder / DATABASE_NAME, timeout=30, isolation_level=None)
        connection.execute("PRAGMA foreign_keys = ON")
        db = Database(connection)
        if db.journal_mode != "wal":
            db.enable_wal()
        if migrations.pending(db):
            migrations.apply(db)
        return cls(folder, db, author)

    def close(self) -> None:
        """Close the database connection."""
        self.db.close()

    def __enter__(self) -> Record:
        return self

    def __exit__(self, *exc) -> None:
        self.close()

    @contextmanager
    def transaction(self) -> Iterator[None]:
        """Everything inside is written together or not at all; may be nested.

        Raises
        ------
        RecordError
            If the disk refuses, another program holds the record too long, or a row would
            refer to one that is not there.
        """
        connection = self.db.conn
        if connection.in_transaction:
            with self.db.atomic():
                yield
            return
        try:
            # Immediate: waits for another writer before anything is read, not after.
            connection.execute("BEGIN IMMEDIATE")
            yield
            self._commit()
        except sqlite3.OperationalError as error:
            raise RecordError(f"cannot write the record in {self.folder}: {error}; nothing was changed") from error
        finally:
            connection.rollback()  # does nothing after a commit

    @contextmanager
    def moment(self) -> Iterator[None]:
        """Everything inside is read as it stands at one moment, whatever others write meanwhile."""
        if self.db.conn.in_transaction:
            yield
            return
        self.db.conn.execute("BEGIN")
        try:
            yield
        finally:
            self.db.conn.rollback()

    def _commit(self) -> None:
        try:
            self.db.conn.execute("COMMIT")
        except sqlite3.IntegrityError as error:
            child, rowid, parent, _ = self.db.execute("PRAGMA foreign_key_check").fetchone()
            row_id = self.db.execute(f"SELECT id FROM {child} WHERE rowid = ?", [rowid]).fetchone()[0]
            raise RecordError(
                f"{row_id} of {child} would refer to {parent} that are not there; change or remove it first"
            ) from error

    @property
    def building(self) -> Building:
        """The building this record is about."""
        return self.all(Building)[0]

    def all(self, cls: type[T], **where) -> list[T]:
        """Every row of a type, in the order of entry (markers: of their numbers), whose columns equal ``where``.

        A list, tuple or set as value means any of its members.
        """
        self._check_columns(cls, where)
        return [from_values(cls, row) for row in self._select(cls, columns(cls), where)]

    def values(self, cls: type, names: Sequence[str], **where) -> list[tuple]:
        """Some columns of the same rows, as the database holds them: quicker where there are many."""
        self._check_columns(cls, (*names, *where))
        return list(self._select(cls, ", ".join(names), where))

    def _select(self, cls: type, names: str, where: dict) -> sqlite3.Cursor:
        clauses, values = [], []
        for name, value in where.items():
            if value is None:
                clauses.append(f"{name} IS NULL")
            elif isinstance(value, (list, tuple, set, frozenset)):
                clauses.append(f"{name} IN (SELECT value FROM json_each(?))")
                values.append(json.dumps(sorted(value)))
            else:
                clauses.append(f"{name} = ?")
                values.append(value)
        sql = f"SELECT {names} FROM {table_name(cls)}"
        if clauses:
            sql += " WHERE " + " AND ".join(clauses)
        return self.db.execute(sql + " ORDER BY rowid", values)

    def find(self, cls: type[T], row_id) -> T | None:
        """The row of that id, or None."""
        row = self.db.execute(f"SELECT {columns(cls)} FROM {table_name(cls)} WHERE id = ?", [row_id]).fetchone()
        return from_values(cls, row) if row else None

    def get(self, cls: type[T], row_id) -> T:
        """The row of that id.

        Raises
        ------
        NotInRecordError
            If there is none; the text lists some that there are.
        """
        found = self.find(cls, row_id)
        if found is None:
            ids = [str(r["id"]) for r in self.db.query(f"SELECT id FROM {table_name(cls)} LIMIT 12")]
            known = ", ".join(ids) if ids else "there is none yet"
            raise NotInRecordError(f"no {cls.__name__.lower()} {row_id!r} in {self.folder}; known: {known}")
        return found

    def put(self, *objects, author: str | None = None) -> None:
        """Write objects, new or changed, in one transaction, with their history."""
        with self.transaction():
            for obj in objects:
                self._put_one(obj, self.author if author is None else author)

    def _put_one(self, obj, author: str) -> None:
        table, row = table_name(type(obj)), to_row(obj)
        if table not in DERIVED:
            before = self.find(type(obj), obj.id)
            if before == obj:
                return
            old = None if before is None else json.dumps(to_row(before))
            self._log("add" if before is None else "change", table, obj.id, old, json.dumps(row), author)
        names = list(row)
        updates = ", ".join(f"{n} = excluded.{n}" for n in names if n != "id")
        self.db.execute(
            f"INSERT INTO {table} ({', '.join(names)}) VALUES ({', '.join('?' * len(names))}) "
            f"ON CONFLICT(id) DO UPDATE SET {updates}",
            list(row.values()),
        )

    def remove(self, cls: type, row_id, author: str | None = None) -> None:
        """Take a row out; its last state stays in the history.

        Raises
        ------
        NotInRecordError
            If there is no such row.
        RecordError
            If other rows still refer to it.
        """
        table, obj = table_name(cls), self.get(cls, row_id)
        if cls in (Item, ReferencePoint) and (seen := self.all(Sighting, target_id=row_id)):
            raise RecordError(f"{table} {row_id} has {len(seen)} sightings; remove those first")
        with self.transaction():
            self.db.execute(f"DELETE FROM {table} WHERE id = ?", [row_id])
            if table not in DERIVED:
                who = self.author if author is None else author
                self._log("remove", table, row_id, json.dumps(to_row(obj)), None, who)

    def clear(self, cls: type, **where) -> None:
        """Empty a derived table, or the part of it whose columns equal ``where``."""
        self._check_columns(cls, where)
        if table_name(cls) not in DERIVED:
            raise RecordError(f"{table_name(cls)} holds facts, not results; remove them one by one")
        clause = " AND ".join(f"{name} = ?" for name in where) or "1"
        self.db.execute(f"DELETE FROM {table_name(cls)} WHERE {clause}", list(where.values()))

    def add_step_report(self, step: str, started_at: str, report: dict) -> None:
        """Note what a step did."""
        self.db.execute(
            "INSERT INTO step_reports (step, version, started_at, finished_at, report) VALUES (?, ?, ?, ?, ?)",
            [step, __version__, started_at, now(), json.dumps(report)],
        )

    def last_report(self, step: str) -> dict | None:
        """What a step noted the last time, or None."""
        rows = list(self.db.query("SELECT report FROM step_reports WHERE step = ? ORDER BY id DESC LIMIT 1", [step]))
        return json.loads(rows[0]["report"]) if rows else None

    def history(self, limit: int = 100) -> list[dict]:
        """The newest changes first."""
        return list(self.db.query("SELECT * FROM history ORDER BY id DESC LIMIT ?", [limit]))

    def _log(self, action: str, table: str, row_id, before, after, author: str) -> None:
        self.db.execute(
            "INSERT INTO history (at, author, action, table_name, row_id, before, after) VALUES (?, ?, ?, ?, ?, ?, ?)",
            [now(), author, action, table, str(row_id), before, after],
        )

    @staticmethod
    def _check_columns(cls: type, names: Iterable[str]) -> None:
        if cls not in TYPES:
            raise RecordError(f"{cls.__name__} is not a type of the record")
        for name in names:
            if name not in field_kinds(cls):
                raise RecordError(f"{cls.__name__} has no {name}")
