"""What a file says about itself: when, with what and where it was taken. Doubted throughout."""

from __future__ import annotations

import io
import math
import re
from dataclasses import dataclass, field
from datetime import UTC, datetime

import av
import exifread
from PIL import Image

# Diagonal of a 36 x 24 mm picture; phones compare their lens by it (CIPA DCG-001 3.2).
FULL_FRAME_DIAGONAL_MM = math.hypot(36, 24)
# Outside these a stated 35 mm equivalent is no lens that anyone photographs a room with.
LEAST_F35_MM, MOST_F35_MM = 8.0, 400.0
EXIF_HEADER = b"Exif\x00\x00"
MAX_TEXT = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class Facts:
    """What was read, empty or None where nothing credible was."""

    width_px: int
    height_px: int
    taken_at: str | None = None
    device: str = ""
    focal_prior_px: float | None = None
    latitude_deg: float | None = None
    longitude_deg: float | None = None
    meta: dict = field(default_factory=dict)


def focal_prior_px(f35_mm: float | None, width_px: int, height_px: int) -> float | None:
    """Focal length of a lens from its 35 mm equivalent, which is measured along the diagonal [px]."""
    if f35_mm is None or not LEAST_F35_MM <= f35_mm <= MOST_F35_MM:
        return None
    return f35_mm * math.hypot(width_px, height_px) / FULL_FRAME_DIAGONAL_MM


def photo_facts(image: Image.Image, width_px: int, height_px: int) -> Facts:
    """Facts of an opened still that is shown ``width_px`` x ``height_px``."""
    tags = _exif_tags(image)
    f35_mm = _number(tags, "EXIF FocalLengthIn35mmFilm")
    latitude, longitude = _place(tags)
    meta = {
        "format": image.format,
        "focal_length_mm": _number(tags, "EXIF FocalLength"),
        "focal_length_35mm": f35_mm,
        "orientation": _integer(tags, "Image Orientation"),
    }
    return Facts(
        width_px=width_px,
        height_px=height_px,
        taken_at=_photo_time(tags),
        device=_device(_text(tags, "Image Make"), _text(tags, "Image Model")),
        focal_prior_px=focal_prior_px(f35_mm, width_px, height_px),
        latitude_deg=latitude,
        longitude_deg=longitude,
        meta={name: value for name, value in meta.items() if value is not None},
    )


def video_facts(container: av.container.InputContainer, stream: av.VideoStream, shown: tuple[int, int]) -> Facts:
    """Facts of an opened video that is shown at the size ``shown`` [px]."""
    said = {**container.metadata, **stream.metadata}
    said = {key.lower(): str(value)[:MAX_TEXT] for key, value in said.items()}
    f35_mm = _plain_number(_ending(said, "focal_length.35mm_equivalent"))
    latitude, longitude = _iso_6709(_ending(said, "location.iso6709") or said.get("location", ""))
    make = _ending(said, "quicktime.make") or said.get("make", "")
    model = _ending(said, "quicktime.model") or said.get("model", "")
    kind = stream.codec_context.format
    meta = {
        "codec": stream.codec_context.name,
        "bits": kind.components[0].bits if kind is not None else None,
        "focal_length_35mm": f35_mm,
    }
    return Facts(
        width_px=shown[0],
        height_px=shown[1],
        taken_at=_video_time(_ending(said, "quicktime.creationdate") or said.get("creation_time", "")),
        device=_device(make, model),
        focal_prior_px=focal_prior_px(f35_mm, *shown),
        latitude_deg=latitude,
        longitude_deg=longitude,
        meta={name: value for name, value in meta.items() if value is not None},
    )


def _exif_tags(image: Image.Image) -> dict:
    if image.format == "TIFF":
        stream = image.fp
        stream.seek(0)
    elif not image.info.get("exif"):
        return {}
    else:
        stream = io.BytesIO(image.info.get("exif", b"").removeprefix(EXIF_HEADER))
    try:
        return exifread.process_file(stream, details=False)
    except Exception:  # whatever broken tags lead the reader to: the picture itself is still good
        return {}


def _text(tags: dict, name: str) -> str:
    value = getattr(tags.get(name), "values", "")
    return " ".join(value.replace("\x00", " ").split())[:MAX_TEXT] if isinstance(value, str) else ""


def _number(tags: dict, name: str) -> float | None:
    values = getattr(tags.get(name), "values", None)
    try:
        number = float(values[0])
    except (TypeError, ValueError, IndexError, ZeroDivisionError, OverflowError):
        return None
    return number if math.isfinite(number) and number > 0 else None


def _integer(tags: dict, name: str) -> int | None:
    number = _number(tags, name)
    return None if number is None else int(number)


def _device(make: str, model: str) -> str:
    return model if model.lower().startswith(make.lower()) else f"{make} {model}".strip()


def _photo_time(tags: dict) -> str | None:
    said = _text(tags, "EXIF DateTimeOriginal") or _text(tags, "Image DateTime")
    try:
        taken = datetime.strptime(said[:19], "%Y:%m:%d %H:%M:%S")
    except ValueError:
        return None
    fraction = re.fullmatch(r"\d{1,6}", _text(tags, "EXIF SubSecTimeOriginal"))
    if fraction:
        taken = taken.replace(microsecond=int(fraction.group().ljust(6, "0")))
    offset = _text(tags, "EXIF OffsetTimeOriginal")
    return taken.isoformat() + (offset if re.fullmatch(r"[+-]\d\d:\d\d", offset) else "")


def _video_time(said: str) -> str | None:
    try:
        taken = datetime.fromisoformat(said)
    except ValueError:
        return None
    # Containers count from 1904 or 1970; a clock that was never set leaves that day.
    if taken.year < 1980:
        return None
    return (taken if taken.tzinfo else taken.replace(tzinfo=UTC)).isoformat()


def _place(tags: dict) -> tuple[float | None, float | None]:
    latitude = _degrees(tags, "GPS GPSLatitude", "S", 90.0)
    longitude = _degrees(tags, "GPS GPSLongitude", "W", 180.0)
    # A receiver without a fix writes noughts.
    return (None, None) if not latitude and not longitude else (latitude, longitude)


def _degrees(tags: dict, name: str, negative: str, most: float) -> float | None:
    try:
        degrees, minutes, seconds = (float(v) for v in tags[name].values)
    except (KeyError, TypeError, ValueError, ZeroDivisionError, AttributeError, OverflowError):
        return None
    value = degrees + minutes / 60 + seconds / 3600
    if not 0 <= value <= most:
        return None
    return -value if _text(tags, name + "Ref") == negative else value


def _iso_6709(said: str) -> tuple[float | None, float | None]:
    match = re.match(r"([+-]\d{1,2}(?:\.\d+)?)([+-]\d{1,3}(?:\.\d+)?)", said)
    if not match:
        return None, None
    latitude, longitude = float(match[1]), float(match[2])
    return (latitude, longitude) if abs(latitude) <= 90 and abs(longitude) <= 180 else (None, None)


def _ending(said: dict[str, str], ending: str) -> str:
    return next((value for key, value in said.items() if key.endswith(ending)), "")


def _plain_number(said: str) -> float | None:
    try:
        number = float(said)
    except ValueError:
        return None
    return number if math.isfinite(number) else None
