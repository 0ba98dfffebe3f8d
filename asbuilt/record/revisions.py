"""How often and when last a part of the record was changed, for what is printed from it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from asbuilt.record.rows import table_name
from asbuilt.record.store import Record


@dataclass(frozen=True, slots=True, kw_only=True)
class Revision:
    """``number`` counts the changes of rows, so that a reprint can be told from the last."""

    number: int
    changed_at: str  # ISO 8601; empty where nothing was ever written


def revision_of(record: Record, classes: Iterable[type]) -> Revision:
    """The revision of all rows of some types."""
    names = [table_name(cls) for cls in classes]
    marks = ", ".join("?" * len(names))
    sql = f"SELECT count(*) AS number, max(at) AS last FROM history WHERE table_name IN ({marks})"
    row = next(iter(record.db.query(sql, names)))
    return Revision(number=row["number"], changed_at=row["last"] or "")
