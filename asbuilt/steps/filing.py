"""Filing pictures under the face they show: by order along the walk, or by hand."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from asbuilt.errors import NotInRecordError, RecordError
from asbuilt.record.store import Record
from asbuilt.record.types import Covering, Face, Media, Picture

OPEN, COVERED = "open", "covered"
BY_HAND = "hand"


def covered_on(record: Record, face: Face) -> str | None:
    """The day a face was first closed, as far as dates were given."""
    dates = [c.date for c in record.all(Covering, face_id=face.id)] + [face.cover_up_date]
    return min((d[:10] for d in dates if d), default=None)


def stage_at(record: Record, taken_at: str | None, face: Face | None = None) -> str:
    """Whether a picture taken then shows the open wall or the finished one.

    Of a face, by the day it was closed; else by the day the last wall was, if every wall has
    one. Without dates it counts as open.
    """
    faces = [face] if face is not None else record.all(Face, kind="wall")
    dates = [covered_on(record, f) for f in faces]
    if not taken_at or not dates or not all(dates):
        return OPEN
    return COVERED if taken_at[:10] > max(dates) else OPEN


def unfiled_ids(record: Record) -> list[str]:
    """Ids of the pictures that are not filed under a face, in the order they came."""
    return [r["id"] for r in record.db.query("SELECT id FROM pictures WHERE face_id IS NULL ORDER BY rowid")]


def file_by_order(record: Record) -> int:
    """File unfiled frames that lie between two frames of one face; how many that were.

    Where the walk goes on to another face in between, nothing is guessed.
    """
    changed: list[Picture] = []
    for media in record.all(Media, kind="video"):
        frames = sorted(record.all(Picture, media_id=media.id), key=lambda p: p.pts_s)
        filed_idx = [i for i, p in enumerate(frames) if p.face_id is not None]
        for first, last in zip(filed_idx, filed_idx[1:], strict=False):
            if frames[first].face_id == frames[last].face_id:
                face = record.get(Face, frames[first].face_id)
                changed += [_filed(record, p, face, "order") for p in frames[first + 1 : last]]
    record.put(*changed)
    return len(changed)


def file_by_hand(
    record: Record,
    names: Iterable[str],
    face_id: str,
    from_s: float | None = None,
    to_s: float | None = None,
    stage: str | None = None,
) -> list[Picture]:
    """File pictures under a face because a person says so.

    Parameters
    ----------
    names : iterable of str
        Picture ids, or names of files: all pictures of that file.
    from_s, to_s : float, optional
        Only frames of that part of a clip [s].
    stage : str, optional
        open or covered; None tells by the dates.

    Raises
    ------
    NotInRecordError
        If there is no such picture, file or face.
    """
    face = record.get(Face, face_id)
    if stage not in (None, OPEN, COVERED):
        raise RecordError(f"stage {stage!r} is neither open nor covered")
    pictures = [p for name in names for p in pictures_named(record, name) if _between(p, from_s, to_s)]
    if not pictures:
        raise NotInRecordError("no picture lies between those times; list them with: asbuilt pictures RECORD")
    filed = [_filed(record, p, face, BY_HAND) for p in pictures]
    filed = [replace(p, stage=stage) for p in filed] if stage else filed
    record.put(*filed)
    return filed


def pictures_named(record: Record, name: str) -> list[Picture]:
    """The picture of that id, or all pictures of the file of that name.

    Raises
    ------
    NotInRecordError
        If there is neither.
    """
    picture = record.find(Picture, name)
    if picture is not None:
        return [picture]
    media_ids = {m.id for m in record.all(Media, name=name)}
    pictures = record.all(Picture, media_id=media_ids)
    if not pictures:
        raise NotInRecordError(f"no picture and no file called {name!r}; list them with: asbuilt pictures RECORD")
    return sorted(pictures, key=lambda p: (p.media_id, p.pts_s or 0.0))


def _filed(record: Record, picture: Picture, face: Face, filed_by: str) -> Picture:
    dated = picture.taken_at and covered_on(record, face)
    stage = stage_at(record, picture.taken_at, face) if dated else picture.stage
    return replace(picture, face_id=face.id, room_id=face.room_id, filed_by=filed_by, stage=stage)


def _between(picture: Picture, from_s: float | None, to_s: float | None) -> bool:
    if from_s is None and to_s is None:
        return True
    if picture.pts_s is None:
        return False
    return (from_s is None or picture.pts_s >= from_s) and (to_s is None or picture.pts_s <= to_s)
