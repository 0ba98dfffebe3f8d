"""The record as open data: a CSV file for each table, one JSON of everything, and back from it."""

from __future__ import annotations

import base64
import csv
import hashlib
import io
import json
import math
from collections.abc import Iterable, Iterator
from functools import cache

from asbuilt import __version__
from asbuilt.handover.columns import column, columns, meaning
from asbuilt.handover.errors import PackageError
from asbuilt.record import Record, now
from asbuilt.record.rows import field_kinds, table_name
from asbuilt.record.snapshot import raw_rows, table_names
from asbuilt.record.types import TYPES

FORMAT, FORMAT_VERSION = "asbuilt record", 1
PRIVATE_TABLES = ("_sqlite_migrations",)  # of no use outside the database
ROWS_AT_ONCE = 500


@cache
def _kinds(table: str) -> dict[str, type]:
    """Column kinds of a type's table; empty for tables without a type."""
    return next((field_kinds(cls) for cls in TYPES if table_name(cls) == table), {})


def plain_row(table: str, row: dict) -> dict:
    """A database row as JSON values: structures unfolded, bytes in base64, true and false."""
    kinds = _kinds(table)
    return {name: _plain(value, kinds.get(name)) for name, value in row.items()}


def _plain(value, kind):
    if isinstance(value, bytes):
        return base64.b64encode(value).decode()
    if value is not None and kind is dict:
        return _finite(json.loads(value))
    if value is not None and kind is bool:
        return bool(value)
    return _finite(value)


def _finite(value):
    """JSON knows no infinity; in the reports of steps it means that there was no number."""
    if isinstance(value, float) and not math.isfinite(value):
        return None
    if isinstance(value, dict):
        return {k: _finite(v) for k, v in value.items()}
    return [_finite(v) for v in value] if isinstance(value, list) else value


def database_row(table: str, row: dict) -> dict:
    """The database row of JSON values: the inverse of :func:`plain_row`."""
    kinds = _kinds(table)
    return {name: _stored(value, kinds.get(name)) for name, value in row.items()}


def _stored(value, kind):
    if value is None:
        return None
    if kind is bytes:
        return base64.b64decode(value)
    if kind is dict:
        return json.dumps(value, separators=(",", ":"))
    return int(value) if kind is bool else value


def json_chunks(record: Record) -> Iterator[bytes]:
    """The JSON of everything, piece by piece; one row a line."""
    head = {"format": FORMAT, "format_version": FORMAT_VERSION, "made_by": f"asbuilt {__version__}", "made_at": now()}
    yield (json.dumps(head, ensure_ascii=False)[:-1] + ',\n"tables": {').encode()
    for number, table in enumerate(table_names(record)):
        yield f"{',' if number else ''}\n{json.dumps(table)}: [".encode()
        for first, lines in enumerate(_batches(_lines(record, table))):
            yield (("," if first else "") + "\n" + ",\n".join(lines)).encode()
        yield b"]"
    yield b"\n}}\n"


def _lines(record: Record, table: str) -> Iterator[str]:
    for row in raw_rows(record, table):
        yield json.dumps(plain_row(table, row), ensure_ascii=False, allow_nan=False)


def _batches(lines: Iterable[str]) -> Iterator[list[str]]:
    batch: list[str] = []
    for line in lines:
        batch.append(line)
        if len(batch) == ROWS_AT_ONCE:
            yield batch
            batch = []
    if batch:
        yield batch


def fingerprint(record: Record) -> str:
    """SHA-256 over every row of the record: two records agree in it only if they hold the same."""
    digest = hashlib.sha256()
    for table in table_names(record):
        if table not in PRIVATE_TABLES:
            digest.update(f"{table}\n".encode())
            for line in _lines(record, table):
                digest.update(f"{line}\n".encode())
    return digest.hexdigest()


def short_fingerprint(whole: str) -> str:
    """The first 20 digits of a fingerprint in groups, for paper."""
    return " ".join(whole[i : i + 4] for i in range(0, 20, 4))


def tables_of_json(data: bytes) -> list[tuple[str, list[dict]]]:
    """Database rows by table from the JSON of everything.

    Raises
    ------
    PackageError
        If it is not one.
    """
    try:
        whole = json.loads(data)
        if whole["format"] != FORMAT or whole["format_version"] != FORMAT_VERSION:
            raise PackageError(f"the JSON is {whole['format']!r} version {whole['format_version']}, not ours")
        return [(table, [database_row(table, row) for row in rows]) for table, rows in whole["tables"].items()]
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        raise PackageError(f"the JSON of everything cannot be read: {error}") from error


def csv_tables(record: Record) -> Iterator[tuple[str, Iterator[bytes]]]:
    """Each table's name with its CSV, piece by piece; bytes are left to the JSON and the database."""
    for table in table_names(record):
        if table not in PRIVATE_TABLES:
            yield table, _csv_chunks(record, table)


def _csv_chunks(record: Record, table: str) -> Iterator[bytes]:
    kinds = _kinds(table)
    names = [c[1] for c in record.db.execute(f'PRAGMA table_info("{table}")').fetchall()]
    names = [n for n in names if kinds.get(n) is not bytes]
    yield _csv([[column(table, n).header for n in names]])
    batch: list[list] = []
    for row in raw_rows(record, table):
        batch.append([_cell(row[n], kinds.get(n)) for n in names])
        if len(batch) == ROWS_AT_ONCE:
            yield _csv(batch)
            batch = []
    yield _csv(batch)


def _cell(value, kind):
    if value is None:
        return ""
    if kind is bool:
        return "true" if value else "false"
    return repr(value) if isinstance(value, float) else value  # repr reads back to the very same number


def _csv(rows: Iterable[list]) -> bytes:
    out = io.StringIO()
    csv.writer(out, lineterminator="\r\n").writerows(rows)  # as RFC 4180 has it
    return out.getvalue().encode()


TABLES_README = """\
THE TABLES
==========

One CSV file for each table of the record: UTF-8, commas, the first line names the columns,
with the unit in brackets. An empty cell means that there is no value. Numbers have all
their digits. Columns that hold a list are written as JSON, such as [1.0, 2.0].

Where things are: every offset runs along a face from its LEFT end as seen from inside the
room, every height runs up from the floor that was measured from, every depth runs from the
STUD FACE into the wall (negative: standing out towards the room). To get the depth from the
finished wall, add the thickness of what covers the face (coverings.csv).

How sure: "covariance" in positions.csv is the 3x3 table of variances of (offset, height,
depth). The error at 95 % of the offset is 1.96 times the square root of its first number.

A thing that is not in these tables may still be in the wall. Whether a place was looked at
at all stands in the coverage, not here.

"""


def tables_readme() -> str:
    """What the CSV files are, table by table and column by column."""
    parts = [TABLES_README]
    for cls in TYPES:
        parts.append(f"{table_name(cls)}.csv\n    {meaning(cls)}\n")
        parts.append("    Columns: " + ", ".join(c.header for c in columns(cls)) + "\n\n")
    parts.append("history.csv\n    Every change of a fact: when, by whom, the row before and after, as JSON.\n\n")
    parts.append("step_reports.csv\n    What each step of the work did, as JSON.\n")
    return "".join(parts)
