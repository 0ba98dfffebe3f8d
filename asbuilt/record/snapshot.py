"""Copies of a record's database: taken while others write, read as they lie, checked, built anew."""

from __future__ import annotations

import os
import shutil
import sqlite3
from collections.abc import Iterable, Iterator
from contextlib import closing
from functools import partial
from pathlib import Path

from sqlite_utils import Database

from asbuilt.errors import RecordError
from asbuilt.record.migrations import migrations
from asbuilt.record.rows import from_row, table_name
from asbuilt.record.store import Record
from asbuilt.record.types import TYPES

# References that the schema cannot state: column of a table -> the table whose id it holds.
SOFT_LINKS = (
    ("placements", "id", "pictures", ""),
    ("coverage", "id", "faces", ""),
    ("sightings", "target_id", "items", "target = 'item'"),
    ("sightings", "target_id", "reference_points", "target = 'reference'"),
    ("placements", "solution_id", "solutions", "solution_id != ''"),
)
MOST_FINDINGS = 100  # of one kind; a torn file would list a million


def copy_database(record: Record, target: str | Path) -> None:
    """Copy the database as it stands at one moment, while others read and write it.

    The copy is one plain file that other programs can read from a read-only disk.

    Raises
    ------
    RecordError
        If it cannot be read, or the copy cannot be written.
    """
    target = Path(target)
    try:
        with closing(sqlite3.connect(target)) as copy:
            record.db.conn.backup(copy)
            copy.execute("PRAGMA journal_mode = DELETE")
        with open(target, "rb+") as stream:
            os.fsync(stream.fileno())
    except (sqlite3.Error, OSError) as error:
        raise RecordError(f"cannot copy the database of {record.folder} to {target}: {error}") from error


def copy_as_it_lies(database: str | Path, target: str | Path) -> None:
    """Copy a database without opening its record, damaged or not, for a check.

    Raises
    ------
    RecordError
        If the file itself cannot be read.
    """
    database, target = Path(database), Path(target)
    try:
        with closing(sqlite3.connect(f"{database.resolve().as_uri()}?mode=ro", uri=True)) as source:
            with closing(sqlite3.connect(target)) as copy:
                source.backup(copy)
                copy.execute("PRAGMA journal_mode = DELETE")
        return
    except sqlite3.Error:
        target.unlink(missing_ok=True)
    try:
        shutil.copyfile(database, target)  # what is wrong with it shows in the check
    except OSError as error:
        raise RecordError(f"cannot read {database}: {error.strerror or error}") from error


def open_copy(database: str | Path, folder: str | Path) -> Record:
    """A record over a copied database, read-only, with the originals of ``folder``.

    Raises
    ------
    RecordError
        If the copy cannot be opened.
    """
    return Record(Path(folder), Database(_read_only(database)))


def _read_only(database: str | Path) -> sqlite3.Connection:
    try:
        # Immutable: needs no lock files beside it, so that it opens on a read-only disk too.
        uri = f"{Path(database).resolve().as_uri()}?mode=ro&immutable=1"
        return sqlite3.connect(uri, uri=True, isolation_level=None)
    except sqlite3.Error as error:
        raise RecordError(f"cannot open the database {database}: {error}") from error


def table_names(record: Record) -> list[str]:
    """Every table of the database, those of the types first, in their order."""
    found = {n for (n,) in record.db.execute("SELECT name FROM sqlite_master WHERE type = 'table'").fetchall()}
    own = [table_name(cls) for cls in TYPES]
    return [n for n in own if n in found] + sorted(n for n in found if n not in own and not n.startswith("sqlite_"))


def raw_rows(record: Record, table: str) -> Iterator[dict]:
    """The rows of a table as the database holds them, in the order of entry."""
    cursor = record.db.execute(f'SELECT * FROM "{table}" ORDER BY rowid')
    names = [column[0] for column in cursor.description]
    return (dict(zip(names, row, strict=True)) for row in cursor)


def build_database(target: str | Path, tables: Iterable[tuple[str, Iterable[dict]]]) -> None:
    """Make a database anew from its rows, table by table.

    Raises
    ------
    RecordError
        If the rows do not fit the tables.
    """
    connection = sqlite3.connect(target, isolation_level=None)
    try:
        migrations.apply(Database(connection))
        connection.execute("BEGIN")
        for table, rows in tables:
            connection.execute(f'DELETE FROM "{table}"')
            for row in rows:
                names = ", ".join(f'"{n}"' for n in row)
                marks = ", ".join("?" * len(row))
                connection.execute(f'INSERT INTO "{table}" ({names}) VALUES ({marks})', list(row.values()))
        connection.execute("COMMIT")
    except sqlite3.Error as error:
        raise RecordError(f"cannot build the database anew: {error}") from error
    finally:
        connection.close()


def copy_faults(database: str | Path) -> list[str]:
    """What is wrong in a copied database: pages, rows, and links between rows; empty if nothing.

    A copy of an older version is brought up to date first, as opening a record does.
    """
    try:
        with closing(sqlite3.connect(database, isolation_level=None)) as connection:
            connection.text_factory = _any_text
            found = connection.execute(f"PRAGMA integrity_check({MOST_FINDINGS})").fetchall()
            if (faults := [text for (text,) in found if text != "ok"]) == []:
                connection.text_factory = str
                migrations.apply(Database(connection))
        record = open_copy(database, Path(database).parent)
    except (sqlite3.Error, UnicodeDecodeError) as error:  # the message itself may quote what is damaged
        return [f"the database cannot be read: {error}"]
    with record:
        for check in (_broken_links, *(partial(_bad_rows, cls=cls) for cls in TYPES)):
            try:
                faults += check(record)
            except (sqlite3.Error, UnicodeDecodeError) as error:
                faults.append(f"part of the database cannot be read: {error}")
    return list(dict.fromkeys(faults))


def _any_text(data: bytes) -> str:
    return data.decode("utf-8", "replace")  # a report on damage may quote it


def _asked(record: Record, sql: str) -> list[tuple]:
    return record.db.execute(sql).fetchall()


def _broken_links(record: Record) -> list[str]:
    known = set(table_names(record))
    faults = []
    for child, rowid, parent, _ in _asked(record, "PRAGMA foreign_key_check")[:MOST_FINDINGS]:
        faults.append(f"a row of {child} (number {rowid}) refers to {parent} that are not there")
    for child, column, parent, where in SOFT_LINKS:
        if not {child, parent} <= known:
            continue
        sql = f"SELECT id, {column} FROM {child} WHERE {column} NOT IN (SELECT id FROM {parent})"
        sql += f" AND {where}" if where else ""
        for row_id, value in _asked(record, sql)[:MOST_FINDINGS]:
            faults.append(f"{row_id} of {child} refers to {value} of {parent}, which is not there")
    return faults


def _bad_rows(record: Record, cls: type) -> list[str]:
    """Rows that are no longer what their type asks for, each named."""
    table, faults = table_name(cls), []
    if table not in table_names(record):
        return [f"the table {table} is missing"]
    for row in raw_rows(record, table):
        try:
            from_row(cls, row)
        except Exception as error:  # whatever damage makes of a value, the other rows are still looked at
            faults.append(f"{row.get('id')} of {table} cannot be read: {error}")
            if len(faults) >= MOST_FINDINGS:
                break
    return faults
