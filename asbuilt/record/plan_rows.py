"""Rows of a plan: read from their keys as written, and checked against everything around them."""

from __future__ import annotations

import difflib
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from typing import Any

from asbuilt.errors import AsbuiltError, PlanError
from asbuilt.record.plan_checks import (
    Rows,
    check_circuits,
    check_names,
    check_places,
    pair_far_faces,
)
from asbuilt.record.plan_keys import TABLE_OF
from asbuilt.record.plan_table import Table
from asbuilt.record.store import Record
from asbuilt.record.taped import write_taped
from asbuilt.record.types import Face, Item
from asbuilt.record.wiring import TapedPlace
from asbuilt.record.wiring_checks import check_wiring

Where = Callable[..., str]  # where(key name or None) gives the words that start an error


@dataclass(slots=True)
class Entries:
    """The rows described, and for each the ``Where`` it was described at."""

    rows: Rows = field(default_factory=lambda: {cls: {} for cls in TABLE_OF})
    where: dict[tuple[type, Any], Where] = field(default_factory=dict)

    def add(self, row, where: Where) -> None:
        """Take in a row.

        Raises
        ------
        PlanError
            If there is one of its id already.
        """
        table = TABLE_OF[type(row)]
        if row.id in self.rows[table.cls]:
            raise PlanError(f"{where('id')}: there are two of {table.name} {row.id!r}; give each an id of its own")
        self.rows[table.cls][row.id] = row
        self.where[table.cls, row.id] = where

    def refuse(self, row, attr: str, text: str) -> None:
        """Raise, naming where the row was described, or only the row if the record had it before."""
        table = TABLE_OF[type(row)]
        key = table.key_of(attr).name
        where = self.where.get((table.cls, row.id), lambda name: f"{table.name} {row.id}, {name}")
        raise PlanError(f"{where(key)}: {text}")

    def checked(self, record: Record, unit: str, alone: bool = False) -> Rows:
        """All rows as they will stand: the record's (unless ``alone``) overlaid by these.

        Raises
        ------
        PlanError
            If they do not agree.
        """
        before = {
            cls: {} if alone and table.whole else {row.id: row for row in record.all(cls)}
            for cls, table in TABLE_OF.items()
        }
        rows = {cls: before[cls] | self.rows[cls] for cls in TABLE_OF}
        check_names(rows, self.refuse)
        pair_far_faces(rows, self.refuse)
        check_places(rows, unit, self.refuse)
        check_circuits(rows, self.refuse)
        check_wiring(rows, self.refuse)
        return rows


def suggest(name: str, known: Iterable[str]) -> str:
    """Words that follow an unknown name: the nearest known one, or all of them."""
    known = list(known)
    near = difflib.get_close_matches(name, known, n=1)
    return f"; did you mean {near[0]!r}?" if near else f"; it may be one of: {', '.join(known)}"


def read_keys(table: Table, raw: dict, unit: str, where: Where) -> dict[str, Any]:
    """Attributes of a row from the keys as written.

    Raises
    ------
    PlanError
        If a key is unknown or its value cannot be read.
    """
    given: dict[str, Any] = {}
    known = {key.name: key for key in table.keys}
    for name, value in raw.items():
        if name not in known:
            raise PlanError(f"{where(name)}: a {table.name} has no such field{suggest(name, known)}")
        try:
            given[known[name].attr] = known[name].kind.read(value, unit)
        except AsbuiltError as error:
            raise PlanError(f"{where(name)}: {error}") from None
    return given


def read_row(table: Table, raw: dict, unit: str, earlier: list, where: Where, record: Record):
    """One row from its keys as written.

    Parameters
    ----------
    table : Table
    raw : dict
        Key to value as written.
    unit : str
        What plain numbers mean.
    earlier : list
        Rows of the same type that come before, for orders and made-up ids.
    where : callable
    record : Record
        Looked at for what a silent plan keeps.

    Raises
    ------
    PlanError
    """
    given = read_keys(table, raw, unit, where)
    for key in table.keys:
        if key.required and key.attr not in given:
            raise PlanError(f"{where()}: {key.name} is missing ({key.help})")
    row = _guarded(lambda: table.make(given, earlier), where)
    kept = [key.attr for key in table.keys if key.kept and key.attr not in given]
    before = record.find(table.cls, row.id) if kept else None
    return row if before is None else replace(row, **{attr: getattr(before, attr) for attr in kept})


def _guarded(make: Callable[[], Any], where: Where):
    try:
        return make()
    except AsbuiltError as error:
        raise PlanError(f"{where()}: {error}") from None


def add_row(record: Record, table: Table, raw: dict):
    """Add one row described by its keys, under the same checks as a whole plan.

    Raises
    ------
    PlanError
        If it is wrong or already there.
    """
    unit, where = record.building.unit, _option_where(table)
    with record.transaction():
        row = read_row(table, raw, unit, record.all(table.cls), where, record)
        if record.find(table.cls, row.id) is not None:
            raise PlanError(f"{table.name} {row.id} is already in the record; change that one, or give another id")
        return _put_checked(record, row, where, unit)


def change_row(record: Record, table: Table, row_id, raw: dict):
    """Change what the keys say of a row that is there; the rest stays.

    Raises
    ------
    PlanError
        If the result would be wrong.
    NotInRecordError
        If there is no such row.
    """
    unit, where = record.building.unit, _option_where(table)
    given = read_keys(table, raw, unit, where)
    with record.transaction():
        before = record.get(table.cls, row_id)
        return _put_checked(record, _guarded(lambda: replace(before, **given), where), where, unit)


def remove_row(record: Record, table: Table, row_id) -> None:
    """Take a row out; its history stays.

    Raises
    ------
    NotInRecordError
        If there is no such row.
    RecordError
        If others refer to it.
    """
    with record.transaction():
        row = record.get(table.cls, row_id)
        record.remove(table.cls, row_id)
        if isinstance(row, TapedPlace):
            write_taped(record, [row.item_id])


def _option_where(table: Table) -> Where:
    return lambda key=None: f"{table.name} --{key.replace('_', '-')}" if key else table.name


def _put_checked(record: Record, row, where: Where, unit: str):
    entries = Entries()
    entries.add(row, where)
    rows = entries.checked(record, unit)
    # All faces: the far face of a wall may have been paired with this one.
    record.put(*rows[Face].values(), rows[type(row)][row.id])
    if isinstance(row, TapedPlace | Item):
        write_taped(record, [getattr(row, "item_id", row.id)])
    return rows[type(row)][row.id]
