"""What somebody changed in a copy of a record, and the ids under which it can come back."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterable
from dataclasses import dataclass

from asbuilt.handover.errors import PackageError
from asbuilt.record import Followed, Record
from asbuilt.record.rows import from_row, table_name, to_row
from asbuilt.record.types import TYPES

SHARED_STEP = "shared copy"  # the step report by which a shared copy knows whose copy it is
# What was found again in other pictures is looked for anew in the pictures as they are placed here.
CLASSES = {table_name(cls): cls for cls in TYPES if cls is not Followed}
# Columns that hold ids of another table; a column of lists holds several.
REFERENCES: dict[tuple[str, str], str] = {
    ("faces", "room_id"): "rooms", ("faces", "far_face_id"): "faces", ("studs", "face_id"): "faces",
    ("openings", "face_id"): "faces", ("coverings", "face_id"): "faces", ("markers", "face_id"): "faces",
    ("reference_points", "face_id"): "faces", ("panels", "face_id"): "faces", ("panels", "fed_from_id"): "circuits",
    ("circuits", "panel_id"): "panels", ("circuits", "shares_neutral_id"): "circuits", ("items", "face_id"): "faces",
    ("items", "circuit_id"): "circuits", ("items", "comes_from"): "items", ("items", "goes_to"): "items",
    ("positions", "item_id"): "items", ("positions", "face_id"): "faces", ("events", "face_id"): "faces",
    ("taped_places", "item_id"): "items", ("taped_places", "face_id"): "faces", ("devices", "item_id"): "items",
    ("box_details", "id"): "items", ("cables", "circuit_id"): "circuits", ("cables", "item_ids"): "items",
    ("cables", "comes_from"): "items", ("cables", "goes_to"): "items", ("feeds", "circuit_id"): "circuits",
    ("feeds", "comes_from"): "items", ("feeds", "goes_to"): "items", ("feeds", "cable_id"): "cables",
    ("controls", "switch_id"): "items", ("controls", "load_id"): "items", ("controls", "cable_id"): "cables",
    ("holes", "face_id"): "faces", ("holes", "cable_ids"): "cables", ("proposals", "face_id"): "faces",
}  # fmt: skip
TARGETS = {"item": "items", "reference": "reference_points", "circuit": "circuits", "cable": "cables"}
NOT_RENAMED = ("buildings", "markers", "rule_settings", "box_details")  # their ids mean something outside the record


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """What became of one row in the copy: as it was when the copy was made, as it is there, who did it last."""

    table: str
    row_id: str
    base: dict | None
    theirs: dict | None
    author: str
    at: str


def birth_mark(record: Record) -> str:
    """What tells a record, and every copy of it, from all others; tells nothing else."""
    first = record.db.execute("SELECT at, author, after FROM history ORDER BY id LIMIT 1").fetchone()
    return hashlib.sha256(json.dumps(first).encode()).hexdigest()


def changes_in(copy: Record, record: Record) -> list[Change]:
    """Net changes of a copy since it was made, in the order they were begun.

    Raises
    ------
    PackageError
        If it is no copy of the record.
    """
    theirs = _history(copy)
    ours = _history(record)
    shared = sum(1 for _ in _while_equal(theirs, ours))
    if shared == 0:
        reports = copy.db.execute("SELECT report FROM step_reports WHERE step = ?", [SHARED_STEP]).fetchall()
        if birth_mark(record) not in [json.loads(r).get("of") for (r,) in reports]:
            raise PackageError("that is no copy of this record: their first entries differ")
        shared = 1  # the one entry that a shared copy begins with
    by_row: dict[tuple[str, str], list[dict]] = {}
    for entry in theirs[shared:]:
        if entry["table_name"] in CLASSES:
            by_row.setdefault((entry["table_name"], entry["row_id"]), []).append(entry)
    return [_net(copy, table, row_id, entries) for (table, row_id), entries in by_row.items()]


def _history(record: Record) -> list[dict]:
    return list(record.db.query("SELECT * FROM history ORDER BY id"))


def _while_equal(one: list[dict], other: list[dict]) -> Iterable[None]:
    for a, b in zip(one, other, strict=False):
        if any(a[k] != b[k] for k in ("at", "author", "action", "table_name", "row_id", "after")):
            return
        yield None


def _net(copy: Record, table: str, row_id: str, entries: list[dict]) -> Change:
    before = entries[0]["before"]
    found = copy.find(CLASSES[table], int(row_id) if table == "markers" else row_id)
    base = None if before is None else to_row(from_row(CLASSES[table], _complete(table, json.loads(before))))
    return Change(table=table, row_id=row_id, base=base, theirs=None if found is None else to_row(found),
                  author=entries[-1]["author"], at=entries[-1]["at"])  # fmt: skip


def _complete(table: str, row: dict) -> dict:
    """A row of an older version with the columns that came later, as they are by default."""
    defaults = {
        name: f.default if isinstance(f.default, (str, int, float, bool, type(None))) else None
        for name, f in CLASSES[table].__dataclass_fields__.items()
    }
    return defaults | row


def renamed(row: dict, table: str, new_ids: dict[tuple[str, str], str]) -> dict:
    """A row with its own id and all ids it refers to under their new names."""
    found = dict(row)
    if (table, str(row["id"])) in new_ids:
        found["id"] = new_ids[table, str(row["id"])]
    for (of_table, column), target in REFERENCES.items():
        if of_table == table:
            found[column] = _mapped(found[column], lambda value, t=target: new_ids.get((t, value), value))
    if "target" in row and "target_id" in row:
        target = TARGETS.get(row["target"], "")
        found["target_id"] = new_ids.get((target, row["target_id"]), row["target_id"])
    return found


def _mapped(value, change: Callable[[str], str]):
    """An id, or the JSON text of a list of ids, changed."""
    if isinstance(value, str) and value.startswith("["):
        return json.dumps([change(v) for v in json.loads(value)], separators=(",", ":"))
    return change(value) if isinstance(value, str) else value


def free_id(wanted: str, is_taken: Callable[[str], bool]) -> str:
    """``t40-2`` for a ``t40`` that is taken."""
    number = 2
    while is_taken(f"{wanted}-{number}"):
        number += 1
    return f"{wanted}-{number}"
