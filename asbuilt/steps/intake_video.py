"""Videos into the record: the original whole, and a row for each frame worth keeping.

No frame is written as a file: a row holds the clip and the exact time, and the pixels are
decoded again when they are wanted. So taking a clip in costs little more than decoding it.
"""

from __future__ import annotations

from contextlib import suppress
from dataclasses import replace
from pathlib import Path

from tqdm import tqdm

from asbuilt.errors import MediaError
from asbuilt.record.lent import FRAMES_AS, lend, present, quick_sha256, settle
from asbuilt.record.media import media_path, plain_name, store_original, suffix_of
from asbuilt.record.store import Record
from asbuilt.record.types import COPYING, HALTED, SCANNING, Media, Picture
from asbuilt.steps.filing import stage_at
from asbuilt.steps.intake_scan import FIRST_LOOK, end_first_look, picture_of, scan_clip
from asbuilt.steps.scanner import Scanner

# A larger clip is looked at where it lies before it is copied: 20 GB take a minute to copy, this
# much a moment. Chosen by us.
LENT_FROM_BYTES = 32 << 20


def begin_video(record: Record, scanner: Scanner, path: Path, stage: str | None) -> Media:
    """Have first pictures of a video in the record, whether or not it is copied yet; its row.

    Raises
    ------
    MediaError
        If it cannot be used.
    """
    found = scanner.look(path, plain_name(path))
    facts = found["facts"]
    more = {"stage": stage or stage_at(record, facts["taken_at"])}
    media = Media(
        id="", name=plain_name(path), kind="video", byte_count=_size(path), path="",
        **facts | {"meta": facts["meta"] | more},
    )  # fmt: skip
    lent = lend(record, path, media, suffix_of(path)) if media.byte_count >= LENT_FROM_BYTES else None
    if lent is None:
        stored = store_original(record, path)
        known = record.find(Media, stored.sha256)
        if known is not None:
            return known
        lent = replace(media, id=stored.sha256, byte_count=stored.byte_count, path=stored.path, state=SCANNING)
    record.put(lent)
    _end_changed(record, path, lent)
    if not record.db["pictures"].count_where("media_id = ?", [lent.id]):
        _first_look(record, scanner, lent)
    return lent


def finish_video(record: Record, scanner: Scanner, media: Media, progress: bool) -> Media:
    """Copy a video that is only lent yet, and scan what was not scanned of it; its row when done or halted.

    Raises
    ------
    MediaError
        If its original is missing, or was changed meanwhile.
    """
    media = present(record, media)
    if media.state == COPYING:
        media = _copied(record, media, progress)
    return scan_clip(record, scanner, media, progress) if media.state in (SCANNING, HALTED) else media


def _size(path: Path) -> int:
    try:
        return path.stat().st_size
    except OSError as error:
        raise MediaError(f"{plain_name(path)} cannot be read: {error.strerror or error}") from error


def _end_changed(record: Record, path: Path, media: Media) -> None:
    """Take out what an earlier run saw of a file that was changed since, but for pictures that are used."""
    with record.transaction():
        for other in record.all(Media, state=COPYING):
            if other.id != media.id and (record.folder / other.path).resolve() == path.resolve():
                end_first_look(record, other)
                if not record.db["pictures"].count_where("media_id = ?", [other.id]):
                    record.clear(Media, id=other.id)


def _first_look(record: Record, scanner: Scanner, media: Media) -> None:
    with suppress(MediaError):  # scanning it will tell what is wrong with it
        for shown in scanner.first_look(media_path(record, media), media.name, media.meta["start_s"]):
            with record.transaction():
                media = present(record, media)
                known = {p.id for p in record.all(Picture, media_id=media.id)}
                record.put(*(p for p in (picture_of(media, s, FIRST_LOOK) for s in shown) if p.id not in known))


def _copied(record: Record, media: Media, progress: bool) -> Media:
    source = media_path(record, media).resolve()
    with tqdm(desc=f"copying {media.name}", unit="B", unit_scale=True, total=media.byte_count,
              disable=None if progress else True) as bar:  # fmt: skip
        stored = store_original(record, source, bar.update)
    copy = record.folder / stored.path
    if quick_sha256(copy) != media.meta[FRAMES_AS]:
        if record.find(Media, stored.sha256) is None:
            copy.unlink()
        raise MediaError(f"{media.name} was changed while it was being copied; add it again")
    return settle(record, media, stored.sha256, stored.path)
