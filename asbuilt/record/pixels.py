"""Pixels of a picture, as displayed; viewing copies are cached, originals stay untouched."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterable, Iterator
from pathlib import Path

import cv2
import numpy as np

from asbuilt.errors import MediaError
from asbuilt.record.lent import FRAMES_AS
from asbuilt.record.media import media_path
from asbuilt.record.photos import decode_photo
from asbuilt.record.store import Record
from asbuilt.record.types import Media, Picture
from asbuilt.record.video import SAME_FRAME_S, Frame, frames_at

JPEG_QUALITY = 88
# Mean luma that brightening for viewing aims at; mid grey. Common practice, no source.
VIEWING_LUMA = 110.0
MAX_GAIN = 16.0


def photo_id(media_id: str) -> str:
    """Id of the picture that a photo is."""
    return media_id[:10]


def frame_id(media: Media, pts_s: float) -> str:
    """Id of a video frame: the start of its file's hash, or quick digest, and its time in milliseconds."""
    return f"{media.meta.get(FRAMES_AS, media.id)[:10]}-{round(pts_s * 1000):07d}"


def read_picture(record: Record, picture: Picture) -> np.ndarray:
    """A picture as displayed.

    Returns
    -------
    ndarray of shape (H, W, 3)
        BGR, uint8.

    Raises
    ------
    MediaError
        If the original is missing or cannot be decoded.
    """
    return next(iter_pictures(record, [picture]))[1]


def iter_pictures(record: Record, pictures: Iterable[Picture]) -> Iterator[tuple[Picture, np.ndarray]]:
    """Pictures with their pixels, each video opened once and read forward.

    Photos and clips come in the order of their first picture, frames of a clip in time order.
    """
    by_media: dict[str, list[Picture]] = {}
    for picture in pictures:
        by_media.setdefault(picture.media_id, []).append(picture)
    for media_id, group in by_media.items():
        # While they were gone through, a lent original may have been copied, and its row with it.
        media = record.find(Media, media_id) or record.get(Media, record.get(Picture, group[0].id).media_id)
        if media.kind == "photo":
            image = decode_photo(media_path(record, media), media.name)
            yield from ((picture, image) for picture in group)
        else:
            yield from _frames(record, media, sorted(group, key=lambda p: p.pts_s))


def _frames(record: Record, media: Media, pictures: list[Picture]) -> Iterator[tuple[Picture, np.ndarray]]:
    times_s = [p.pts_s for p in pictures]
    found = frames_at(media_path(record, media), media.name, times_s, media.meta.get("start_s", 0.0))
    for picture, frame in zip(pictures, found, strict=True):
        if abs(frame.time_s - picture.pts_s) > SAME_FRAME_S:
            raise MediaError(f"{media.name}: the frame at {picture.pts_s:.3f} s no longer decodes; add the file again")
        yield picture, frame.bgr()


def ensure_frames(record: Record, media: Media, times_s: Iterable[float]) -> list[Picture]:
    """The frames nearest some times of a video, kept for a sighting where not yet kept.

    Returns
    -------
    list of Picture
        One for each time, in the order given.
    """
    if media.kind != "video":
        raise MediaError(f"{media.name} is a photo: it has no frame at a time")
    wanted_s = list(times_s)
    rising_s = sorted(set(wanted_s))
    start_s = media.meta.get("start_s", 0.0)
    frames = frames_at(media_path(record, media), media.name, rising_s, start_s)
    with record.transaction():
        found = {wanted: _keep(record, media, frame) for wanted, frame in zip(rising_s, frames, strict=True)}
    return [found[t] for t in wanted_s]


def ensure_frame(record: Record, media: Media, time_s: float) -> Picture:
    """The frame nearest a time of a video; see :func:`ensure_frames` for many at once."""
    return ensure_frames(record, media, [time_s])[0]


def _keep(record: Record, media: Media, frame: Frame) -> Picture:
    known = record.find(Picture, frame_id(media, frame.time_s))
    if known is not None:
        return known
    width_px, height_px = frame.shown_size
    picture = Picture(
        id=frame_id(media, frame.time_s),
        media_id=media.id,
        kind="frame",
        pts_s=frame.time_s,
        width_px=width_px,
        height_px=height_px,
        taken_at=media.taken_at,
        kept_for="sighting",
    )
    record.put(picture)
    return picture


def picture_jpeg(record: Record, picture: Picture, max_side_px: int = 1600, brighten: bool = False) -> bytes:
    """A picture as JPEG for viewing, no longer side above ``max_side_px``; never larger than it is.

    ``brighten`` lifts a dark picture so that a person can see what is in it; the original and
    all measuring stay with the pixels as they were taken. Copies are cached under ``derived/``.
    """
    cache = _cache_path(record, picture, max_side_px, brighten)
    if cache.is_file():
        return cache.read_bytes()
    image = _shrink(read_picture(record, picture), max_side_px)
    if brighten:
        image = brightened(image)
    done, data = cv2.imencode(".jpg", image, [cv2.IMWRITE_JPEG_QUALITY, JPEG_QUALITY])
    if not done:
        raise MediaError(f"picture {picture.id} cannot be written as JPEG")
    _write_cache(cache, data.tobytes())
    return data.tobytes()


def brightened(image: np.ndarray) -> np.ndarray:
    """A dark image lifted to a mean luma a person can read: (H, W, 3) uint8 in and out."""
    luma = float(cv2.cvtColor(image, cv2.COLOR_BGR2GRAY).mean())
    gain = min(VIEWING_LUMA / max(luma, 1.0), MAX_GAIN)
    return cv2.convertScaleAbs(image, alpha=gain) if gain > 1 else image


def _shrink(image: np.ndarray, max_side_px: int) -> np.ndarray:
    scale = max_side_px / max(image.shape[:2])
    if scale >= 1:
        return image
    size = (max(1, round(image.shape[1] * scale)), max(1, round(image.shape[0] * scale)))
    return cv2.resize(image, size, interpolation=cv2.INTER_AREA)


def _cache_path(record: Record, picture: Picture, max_side_px: int, brighten: bool) -> Path:
    name = f"{picture.id}-{max_side_px}{'-bright' if brighten else ''}.jpg"
    return record.folder / "derived" / "pictures" / name


def _write_cache(path: Path, data: bytes) -> None:
    # A record on a read-only disk can still be looked at, only more slowly.
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=path.parent)
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
        os.replace(name, path)
    except OSError:
        return
