"""A catalogue of many records: what each held when it was last read. It can be thrown away and made again."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable, Sequence
from pathlib import Path

from sqlite_utils import Database

CATALOGUE_NAME = "library.db"
_SCHEMA = """
CREATE TABLE IF NOT EXISTS entries (folder TEXT PRIMARY KEY, stamp TEXT NOT NULL, entry TEXT NOT NULL);
CREATE TABLE IF NOT EXISTS things (
    folder TEXT NOT NULL REFERENCES entries(folder) ON DELETE CASCADE,
    what TEXT NOT NULL, kind TEXT NOT NULL, amps REAL, text TEXT NOT NULL, words TEXT NOT NULL
);
CREATE INDEX IF NOT EXISTS things_folder ON things(folder);
CREATE INDEX IF NOT EXISTS things_amps ON things(amps);
"""


class Catalogue:
    """The catalogue in a folder, or in memory where the folder cannot be written."""

    def __init__(self, folder: Path) -> None:
        try:
            self.db = self._connect(folder / CATALOGUE_NAME)
        except sqlite3.Error:
            self.db = self._connect(":memory:")

    @staticmethod
    def _connect(path: str | Path) -> Database:
        connection = sqlite3.connect(path, timeout=30, isolation_level=None)
        try:
            connection.executescript("PRAGMA foreign_keys = ON;" + _SCHEMA)
            connection.execute("BEGIN IMMEDIATE")  # tells now whether it can be written
            connection.execute("COMMIT")
        except sqlite3.Error:
            connection.close()
            raise
        return Database(connection)

    def close(self) -> None:
        """Close the database connection."""
        self.db.close()

    def __enter__(self) -> Catalogue:
        return self

    def __exit__(self, *exc) -> None:
        self.close()

    def stamps(self) -> dict[str, str]:
        """Folder to the stamp it had when it was read."""
        return dict(self.db.execute("SELECT folder, stamp FROM entries").fetchall())

    def entries(self) -> list[dict]:
        """Every entry, by folder."""
        return [json.loads(row[0]) for row in self.db.execute("SELECT entry FROM entries ORDER BY folder")]

    def put(self, folder: str, stamp: str, entry: dict, things: Iterable[Sequence]) -> None:
        """Note a record anew; ``things`` are rows of (what, kind, amps, text, words)."""
        with self.db.atomic():
            self.forget([folder])
            self.db.execute("INSERT INTO entries VALUES (?, ?, ?)", [folder, stamp, json.dumps(entry)])
            self.db.conn.executemany("INSERT INTO things VALUES (?, ?, ?, ?, ?, ?)", ([folder, *t] for t in things))

    def forget(self, folders: Iterable[str]) -> None:
        """Leave out records that are no longer there."""
        self.db.conn.executemany("DELETE FROM entries WHERE folder = ?", ([f] for f in folders))

    def things(
        self, words: Sequence[str], what: str | None = None, kind: str | None = None, amps: float | None = None
    ) -> list[dict]:
        """Things that have all that is asked; each word begins one of theirs (``words`` is kept with spaces round)."""
        clauses, values = ["1"], []
        for column, value in (("what", what), ("kind", kind), ("amps", amps)):
            if value is not None:
                clauses.append(f"{column} = ?")
                values.append(value)
        for word in words:
            clauses.append("instr(words, ?)")
            values.append(f" {word}")
        sql = f"SELECT folder, what, kind, amps, text FROM things WHERE {' AND '.join(clauses)} ORDER BY folder, rowid"
        return list(self.db.query(sql, values))
