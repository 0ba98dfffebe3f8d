"""Film that nobody has looked at: clips not taken in to their end, and stretches left out of them.

What was not looked at shows nothing and excludes nothing, so every list of what is open names it.
"""

from __future__ import annotations

from collections.abc import Iterator

from asbuilt.errors import MediaError
from asbuilt.record.media import media_path
from asbuilt.record.store import Record
from asbuilt.record.types import COPYING, DAMAGED, HALTED, SCANNING, Media

ADD_AGAIN = "asbuilt add RECORD"


def not_looked_at(record: Record) -> list[str]:
    """A line for every clip or stretch of film that was not looked at, and what to do about it."""
    return [line for media in record.all(Media, kind="video") for line in _lines(record, media)]


def _lines(record: Record, media: Media) -> Iterator[str]:
    if media.state == COPYING:
        yield _being_copied(record, media)
    for stretch in media.meta.get("dropped", ()):
        if stretch["reason"] == DAMAGED:
            yield f"{media.name}: {_from_to(stretch)} not looked at: the file is damaged there; film that again"
    for stretch in media.meta.get("left_out", ()):
        yield f"{media.name}: {_from_to(stretch)} not looked at: it {stretch['reason']} there twice; film that again"
    length = f" of {media.meta['stated_s']:.1f} s" if media.meta.get("stated_s") else ""
    if media.state == HALTED:
        halted = media.meta["halted"]
        yield (
            f"{media.name}: halted at {halted['at_s']:.1f} s{length}, what follows was not looked at: it "
            f"{halted['reason']}; to go on from there: {ADD_AGAIN}"
        )
    elif media.state == SCANNING:
        reached_s = media.meta.get("kept_to_s", 0.0)
        yield f"{media.name}: looked at to {reached_s:.1f} s{length} so far; if no intake is at work on it: {ADD_AGAIN}"
    elif media.meta.get("trouble"):
        yield f"{media.name}: {media.meta['trouble']}"


def _being_copied(record: Record, media: Media) -> str:
    try:
        media_path(record, media)
    except MediaError as error:
        return str(error)
    return (
        f"{media.name}: still being copied into the record, and not looked at but for its first pictures; if no "
        f"intake is at work on it: {ADD_AGAIN}"
    )


def _from_to(stretch: dict) -> str:
    to = "its end" if stretch["to_s"] is None else f"{stretch['to_s']:.1f} s"
    return f"{stretch['from_s']:.1f} s to {to}"
