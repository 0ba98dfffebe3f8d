"""A building described by one TOML plan file: read into a record, and written back.

A plan describes each row that it names in full: a key left out means its default. Rows of
the record that it does not name stay, and are listed. Loading is all or nothing.
"""

from __future__ import annotations

from dataclasses import MISSING, dataclass, fields
from pathlib import Path
from typing import Any

from asbuilt.errors import PlanError
from asbuilt.record.plan_checks import Rows, closure_notes
from asbuilt.record.plan_keys import TABLE, TABLES
from asbuilt.record.plan_rows import Entries, Where, read_row, suggest
from asbuilt.record.plan_table import Key, Table
from asbuilt.record.store import Record
from asbuilt.record.taped import write_taped
from asbuilt.record.toml_text import TomlText, read_toml
from asbuilt.record.types import Building

LARGEST_PLAN_BYTES = 5_000_000  # our choice: a plan typed by hand is a thousandth of this


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanReport:
    """What loading a plan did; each name reads like ``face north``."""

    added: tuple[str, ...] = ()
    changed: tuple[str, ...] = ()
    removed: tuple[str, ...] = ()
    same_count: int = 0
    not_in_plan: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


def load_plan(record: Record, path: str | Path, remove_missing: bool = False) -> PlanReport:
    """Bring a record in step with a plan file, in one transaction.

    Parameters
    ----------
    record : Record
    path : path
        The TOML file.
    remove_missing : bool
        Also take out what the record has and the plan does not.

    Raises
    ------
    PlanError
        If the plan is wrong; the text names file, line and field. Nothing was changed.
    """
    path = Path(path)
    try:
        text = _read_file(path)
        with record.transaction():
            return _load(record, text, remove_missing)
    except PlanError as error:
        raise PlanError(f"{path.name} {error}" if str(error).startswith("line ") else f"{path.name}: {error}") from None


def _read_file(path: Path) -> str:
    try:
        data = path.read_bytes()
    except OSError as error:
        raise PlanError(f"cannot be read: {error.strerror}") from error
    if len(data) > LARGEST_PLAN_BYTES:
        raise PlanError("larger than 5 MB; that is not a plan")
    try:
        return data.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        raise PlanError(f"line {line}: not UTF-8 text; save it as UTF-8") from None


def _load(record: Record, text: str, remove_missing: bool) -> PlanReport:
    toml = read_toml(text, tables=TABLE)
    _check_tables(toml)
    entries = Entries()
    unit = record.building.unit
    for table in TABLES:
        content = toml.data.get(table.name, [])
        for index, raw in enumerate([content] if table.cls is Building else content):
            if table.cls is Building and not raw:
                continue
            where = _where(toml, table.name, index, raw)
            entries.add(read_row(table, raw, unit, list(entries.rows[table.cls].values()), where, record), where)
        if table.cls is Building and entries.rows[Building]:
            unit = next(iter(entries.rows[Building].values())).unit
    rows = entries.checked(record, unit, alone=remove_missing)
    return _write(record, rows, entries.rows, remove_missing, unit)


def _check_tables(toml: TomlText) -> None:
    for name, content in toml.data.items():
        line = toml.line(name)
        at = f"line {line}: " if line else ""
        if name not in TABLE:
            raise PlanError(f"{at}{name!r} is not a part of a plan{suggest(name, TABLE)}")
        if name == "building":
            if not isinstance(content, dict):
                raise PlanError(f"{at}there is one building: write [building] once")
        elif not isinstance(content, list) or not all(isinstance(entry, dict) for entry in content):
            raise PlanError(f"{at}write [[{name}]], with two brackets, above each {name}")


def _where(toml: TomlText, table: str, index: int, raw: dict) -> Where:
    """Gives ``line 12, face 'north', length``: the line of the key, or else of its table."""
    label = raw.get("id", raw.get("number", raw.get("name")))

    def where(key: str | None = None) -> str:
        line = toml.line(table, index) if key is None else toml.line(table, index, key)
        named = f"{table} {label!r}" if label is not None else f"{table} {index + 1}"
        return ", ".join(filter(None, [f"line {line}" if line else "", named, key]))

    return where


def _write(record: Record, rows: Rows, planned: Rows, remove_missing: bool, unit: str) -> PlanReport:
    added, changed, absent, same_count = [], [], [], 0
    for table in TABLES:
        known = {row.id: row for row in record.all(table.cls)}
        for row in rows[table.cls].values():
            if known.get(row.id) == row:
                same_count += row.id in planned[table.cls]
            else:
                record.put(row)
                (changed if row.id in known else added).append(_label(table, row.id))
        if table.cls is not Building and table.whole:
            absent += [(table, row_id) for row_id in known if row_id not in planned[table.cls]]
    for table, row_id in reversed(absent) if remove_missing else ():
        record.remove(table.cls, row_id)
    write_taped(record)
    left = tuple(_label(table, row_id) for table, row_id in absent)
    return PlanReport(
        added=tuple(added),
        changed=tuple(changed),
        removed=left if remove_missing else (),
        same_count=same_count,
        not_in_plan=() if remove_missing else left,
        notes=tuple(closure_notes(rows, unit)),
    )


def _label(table: Table, row_id) -> str:
    return table.name if table.cls is Building else f"{table.name} {row_id}"


def export_plan(record: Record) -> str:
    """The described building as a plan file; loading it into a new record gives the same rows."""
    unit = record.building.unit
    parts = []
    for table in TABLES:
        earlier: list = []
        for row in _in_order(record, table):
            brackets = "[building]" if table.cls is Building else f"[[{table.name}]]"
            lines = [f"{key.name} = {text}" for key, text in _spoken(table, row, earlier, unit)]
            parts.append("\n".join([brackets, *lines]) + "\n")
            earlier.append(row)
    return "\n".join(parts)


def spoken_rows(record: Record, table: Table) -> list[dict[str, str]]:
    """The rows of a table as people read them: key to text, empty where all is default."""
    unit, rows = record.building.unit, _in_order(record, table)
    spoken = [{"id": str(row.id)} | {key.name: text for key, text in _spoken(table, row, [], unit)} for row in rows]
    said = [key.name for key in table.keys if any(key.name in words for words in spoken)]
    return [{name: words.get(name, "").strip('"') for name in dict.fromkeys(["id", *said])} for words in spoken]


def _in_order(record: Record, table: Table) -> list:
    rows = record.all(table.cls)
    ordered = any(key.attr == "order_idx" for key in table.keys)
    return sorted(rows, key=lambda row: row.order_idx) if ordered else rows


def _spoken(table: Table, row, earlier: list, unit: str) -> list[tuple[Key, str]]:
    """The keys that must be written for a row to be read back, with their values as TOML."""
    required = {key.attr: getattr(row, key.attr) for key in table.keys if key.required}
    silent = _defaults(table) | table.fill(required, earlier)
    return [
        (key, key.kind.write(getattr(row, key.attr), unit))
        for key in table.keys
        if key.required or getattr(row, key.attr) != silent[key.attr]
    ]


def _defaults(table: Table) -> dict[str, Any]:
    return {f.name: None if f.default is MISSING else f.default for f in fields(table.cls)}
