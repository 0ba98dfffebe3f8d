"""What a person clicked in the pictures: read from a file, checked, kept as items and sightings.

The file is JSON, a list of entries or an object whose ``clicks`` is one. An entry holds

``file``, or ``video`` and ``time_s``
    The picture, by the name it came with (or its id), or the video and the time in it [s].
``u``, ``v``
    The pixel as displayed, (0, 0) = centre of the top left pixel, u right, v down.
``thing``, ``kind``, ``circuit``, ``label``
    The item that was seen: its id, what it is, its circuit's number if any, what people call it.
``place``, ``order``
    The spot of the item: one ``place`` in several pictures is one and the same spot, ``order``
    counts along a run.

Names of things and places hold for the whole record, so that a second file can go on where
the first one stopped. Reading a file twice changes nothing.
"""

from __future__ import annotations

import difflib
import json
from pathlib import Path
from typing import Any

from asbuilt.errors import SightingError
from asbuilt.record.store import Record
from asbuilt.record.tagging import Click, ClicksReport, add_clicks

LARGEST_CLICKS_BYTES = 50_000_000  # our choice: a quarter of a million clicks
LARGEST = 1e12  # no pixel, second or count of a walk is larger
FIELDS = ("file", "video", "time_s", "u", "v", "kind", "circuit", "label", "thing", "place", "order")


def load_clicks(record: Record, path: str | Path) -> ClicksReport:
    """Take in a file of clicks; all of it or nothing.

    Raises
    ------
    SightingError
        If the file or an entry is wrong; the text names the entry.
    """
    return add_clicks(record, read_clicks(path))


def read_clicks(path: str | Path) -> list[Click]:
    """The entries of a file of clicks, each checked by itself.

    Raises
    ------
    SightingError
    """
    path = Path(path)
    try:
        if path.stat().st_size > LARGEST_CLICKS_BYTES:
            raise SightingError(f"{path.name}: larger than 50 MB; split it")
        data = json.loads(path.read_text("utf-8-sig"))
    except OSError as error:
        raise SightingError(f"{path.name}: cannot be read: {error.strerror}") from error
    except json.JSONDecodeError as error:
        raise SightingError(f"{path.name} line {error.lineno}: not JSON: {error.msg}") from None
    except (UnicodeDecodeError, RecursionError):
        raise SightingError(f"{path.name}: not a JSON text") from None
    entries = data.get("clicks") if isinstance(data, dict) else data
    if not isinstance(entries, list):
        raise SightingError(f"{path.name}: no list of clicks in it")
    return [_click(f"{path.name} entry {number}", entry) for number, entry in enumerate(entries, start=1)]


def _click(where: str, entry: Any) -> Click:
    if not isinstance(entry, dict):
        raise SightingError(f"{where}: {entry!r} is not an entry")
    where += f" ({entry['place']})" if isinstance(entry.get("place"), str) else ""
    for name in entry:
        if name not in FIELDS:
            near = difflib.get_close_matches(name, FIELDS, n=1)
            hint = f"did you mean {near[0]!r}?" if near else f"an entry may hold: {', '.join(FIELDS)}"
            raise SightingError(f"{where}: {name!r} is not a field of a click; {hint}")
    is_video = entry.get("video") is not None
    if is_video == (entry.get("file") is not None):
        raise SightingError(f"{where}: say either file, or video and time_s")
    circuit = entry.get("circuit")
    return Click(
        where=where,
        file=_text(where, entry, "video" if is_video else "file"),
        time_s=_number(where, entry, "time_s") if is_video else None,
        x_px=_number(where, entry, "u"),
        y_px=_number(where, entry, "v"),
        kind=_text(where, entry, "kind"),
        thing=_text(where, entry, "thing"),
        place=_text(where, entry, "place"),
        circuit=None if circuit in (None, "") else str(circuit),
        label=str(entry.get("label") or ""),
        order_idx=_order(where, entry) if "order" in entry else 0,
    )


def _text(where: str, entry: dict, name: str) -> str:
    value = entry.get(name)
    if not isinstance(value, str) or not value.strip():
        raise SightingError(f"{where}: {name} is {'missing' if value is None else f'{value!r}, not a text'}")
    return value


def _number(where: str, entry: dict, name: str) -> float:
    value = entry.get(name)
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not abs(value) < LARGEST:
        raise SightingError(f"{where}: {name} is {'missing' if value is None else f'{value!r}, not a number'}")
    return float(value)


def _order(where: str, entry: dict) -> int:
    number = _number(where, entry, "order")
    if number != int(number):
        raise SightingError(f"{where}: order is {number}; count the spots along a run in whole numbers")
    return int(number)
