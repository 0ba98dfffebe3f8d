"""The ordered schema changes of ``record.db``; each runs in one transaction."""

from __future__ import annotations

from importlib import resources

from sqlite_utils import Database, Migrations

migrations = Migrations("asbuilt")


def _run_sql(db: Database, name: str) -> None:
    text = resources.files("asbuilt.record").joinpath("schema", name).read_text("utf-8")
    for statement in text.split(";\n"):
        if statement.strip():
            db.execute(statement)


@migrations()
def first(db: Database) -> None:
    """Every table of the first version."""
    _run_sql(db, "0001_first.sql")


@migrations()
def wiring(db: Database) -> None:
    """Cables with both ends, feed order, control, boxes, holes, tests, taped places, own rule figures."""
    _run_sql(db, "0002_wiring.sql")


@migrations()
def elevations(db: Database) -> None:
    """True-scale pictures of faces."""
    _run_sql(db, "0003_elevations.sql")


@migrations()
def proposals(db: Database) -> None:
    """What the pictures propose, apart from the items."""
    _run_sql(db, "0004_proposals.sql")


@migrations()
def followed(db: Database) -> None:
    """Sightings found again in other pictures."""
    _run_sql(db, "0005_followed.sql")
