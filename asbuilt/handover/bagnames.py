"""File names of a bag that some computers cannot keep apart, or make by themselves."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from unicodedata import normalize

from asbuilt.handover.findings import NOTE, Finding

# What file managers leave in folders.
SYSTEM_NAMES = frozenset({".ds_store", "thumbs.db", "desktop.ini"})


def name_notes(names: Iterable[str]) -> Iterator[Finding]:
    """What may go wrong with names when a bag is copied elsewhere (RFC 8493, section 6)."""
    first: dict[str, str] = {}
    for name in sorted(names):
        other = first.setdefault(normalize("NFC", name).casefold(), name)
        if other != name:
            text = f"some computers take it for {other}, and keep only one of them"
            yield Finding(state=NOTE, name=name, text=text)
        if name.rpartition("/")[2].casefold() in SYSTEM_NAMES:
            yield Finding(state=NOTE, name=name, text="a computer left it here by itself, or may change it")
