"""Videos into the record: the original whole, and a row for each frame worth keeping.

No frame is written as a file: a row holds the clip and the exact time, and the pixels are
decoded again when they are wanted. So taking a clip in costs little more than decoding it.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from tqdm import tqdm

from asbuilt.errors import MediaError
from asbuilt.record.media import media_path, plain_name, store_original
from asbuilt.record.pixels import frame_id
from asbuilt.record.store import Record
from asbuilt.record.types import Media, Picture, Placement, Sighting
from asbuilt.steps.filing import stage_at
from asbuilt.steps.scanner import Scanner

# A clip of which less than this share of the stated length decodes is reported as cut off.
WHOLE_SHARE = 0.9
FIRST_LOOK = "first look"  # what a frame is kept for until the clip is scanned


def add_video(record: Record, scanner: Scanner, path: Path, stage: str | None, progress: bool) -> Media:
    """Take a video in, or go on with one that an earlier run left.

    Raises
    ------
    MediaError
        If it cannot be used.
    """
    found = scanner.look(path, plain_name(path))
    stored = store_original(record, path)
    media = record.find(Media, stored.sha256)
    if media is None:
        facts = found["facts"]
        stage = stage or stage_at(record, facts["taken_at"])
        media = Media(
            id=stored.sha256,
            name=plain_name(path),
            kind="video",
            byte_count=stored.byte_count,
            path=stored.path,
            state="scanning",
            **facts | {"meta": facts["meta"] | {"stage": stage}},
        )
        record.put(media)
        _first_look(record, scanner, media)
    return resume_video(record, scanner, media, progress) if media.state == "scanning" else media


def _first_look(record: Record, scanner: Scanner, media: Media) -> None:
    try:
        shown = scanner.first_look(media_path(record, media), media.name, media.meta["start_s"])
    except MediaError:
        return  # scanning it will tell what is wrong with it
    record.put(*(replace(_picture(media, s), kept_for=FIRST_LOOK) for s in shown))


def _end_first_look(record: Record, media: Media) -> None:
    """Take out the frames of the first look that nobody used; the scan has chosen better ones."""
    for picture in record.all(Picture, media_id=media.id, kept_for=FIRST_LOOK):
        if not record.all(Sighting, picture_id=picture.id) and record.find(Placement, picture.id) is None:
            record.clear(Picture, id=picture.id)


def resume_video(record: Record, scanner: Scanner, media: Media, progress: bool) -> Media:
    """Scan a clip from where it was left, or from its start; its row when done.

    Raises
    ------
    MediaError
        If its original is missing.
    """
    path, reached_s = media_path(record, media), media.meta.get("kept_to_s")
    media = _forget_after(media, reached_s)
    with tqdm(desc=media.name, unit="s", disable=None if progress else True, bar_format=_bar_format()) as bar:
        bar.update(round(reached_s or 0, 1))
        try:
            for event in scanner.scan(path, media.name, media.meta["start_s"], reached_s):
                media = _commit(record, media, event)
                bar.total = event["length_s"]
                bar.update(round(event["at_s"], 1) - bar.n)
        except MediaError as error:
            media = _with_meta(media, trouble=f"{error}; the frames before that are kept")
            with record.transaction():
                record.put(replace(media, state="done"))
                _end_first_look(record, media)
            if not record.all(Picture, media_id=media.id):
                raise
    return media


def _commit(record: Record, media: Media, event: dict) -> Media:
    kept = [_picture(media, d) for d in event["decided"] if d["type"] == "kept"]
    dropped = [{k: v for k, v in d.items() if k != "type"} for d in event["decided"] if d["type"] == "dropped"]
    media = _with_meta(media, dropped=[*media.meta.get("dropped", ()), *dropped])
    if kept:
        media = _with_meta(media, kept_to_s=kept[-1].pts_s)
    if event.get("done"):
        media = replace(_with_meta(media, length_s=event["at_s"], **_trouble(event)), state="done")
    with record.transaction():
        record.put(*(p for p in kept if _is_new(record.find(Picture, p.id))), media)
        if media.state == "done":
            _end_first_look(record, media)
    return media


def _is_new(known: Picture | None) -> bool:
    return known is None or known.kept_for == FIRST_LOOK


def _picture(media: Media, kept: dict) -> Picture:
    return Picture(
        id=frame_id(media.id, kept["time_s"]),
        media_id=media.id,
        kind="frame",
        pts_s=kept["time_s"],
        width_px=media.width_px,
        height_px=media.height_px,
        taken_at=media.taken_at,
        stage=media.meta["stage"],
        sharpness=kept["sharpness"],
        light=kept["light"],
        flags=tuple(kept["flags"]),
    )


def _trouble(event: dict) -> dict:
    stated_s, reached_s = event["length_s"], event["at_s"]
    if stated_s is None or reached_s >= WHOLE_SHARE * stated_s - 1:
        return {}
    return {"trouble": f"only {reached_s:.1f} s of the {stated_s:.1f} s it states could be decoded"}


def _forget_after(media: Media, time_s: float | None) -> Media:
    # What lay behind the last kept frame is looked at again and would be listed twice.
    dropped = [d for d in media.meta.get("dropped", ()) if time_s is not None and d["to_s"] <= time_s]
    return _with_meta(media, dropped=dropped)


def _with_meta(media: Media, **more) -> Media:
    return replace(media, meta=dict(media.meta) | more)


def _bar_format() -> str:
    return "{l_bar}{bar}| {n_fmt}/{total_fmt} s [{elapsed}<{remaining}]"
