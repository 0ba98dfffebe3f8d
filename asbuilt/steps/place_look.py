"""What the placing step reads out of the pictures: marker sheets, feature tracks, features of stills."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace

import cv2
import numpy as np
from tqdm import tqdm

from asbuilt.geometry.cameras import Lens
from asbuilt.imaging.markers import MarkerSeen, detect_markers
from asbuilt.imaging.ties import Described, describe
from asbuilt.imaging.tracks import TrackBuilder, Tracks
from asbuilt.record import Media, Picture, Record
from asbuilt.record.pixels import iter_pictures

DARK_LUMA = 60.0  # a mean below this of 255 is stretched before looking; our choice
GAIN_MAX = 6.0
DARK_CORNER_PX = 0.4  # sheets in a dark stretch of a rendered H.264 clip scatter that much more in size


@dataclass(frozen=True, slots=True, kw_only=True)
class Looked:
    """Pictures in working order (frames by clip and time, then stills) and what is in them."""

    pictures: list[Picture]
    lens_ids: list[str]
    lenses: dict[str, Lens]
    markers: list[list[MarkerSeen]]
    tracks: Tracks
    stills: dict[int, Described] = field(default_factory=dict)
    record: Record

    def describe(self, picture_idx: set[int]) -> dict[int, Described]:
        """Features of more of the pictures, decoded again."""
        index = {self.pictures[i].id: i for i in picture_idx}
        chosen = [self.pictures[i] for i in sorted(picture_idx)]
        return {
            index[p.id]: describe(even_light(cv2.cvtColor(image, cv2.COLOR_BGR2GRAY)))
            for p, image in iter_pictures(self.record, chosen)
        }


def lens_key(picture: Picture, media: Media) -> str:
    """Pictures of one clip, or stills of one device, size, turn and zoom, share a lens."""
    if picture.kind == "frame":
        return f"clip {media.id[:10]}"
    focal = "unknown" if media.focal_prior_px is None else f"{media.focal_prior_px:.0f}"
    turn = media.meta.get("orientation") or 0
    return f"stills {media.device or 'unknown device'} {picture.width_px}x{picture.height_px} turn {turn} focal {focal}"


def look(record: Record, pictures: list[Picture], media: dict[str, Media], quiet: bool = False) -> Looked:
    """Decode every picture once and gather what placing needs.

    Parameters
    ----------
    record : Record
    pictures : list of Picture
        To be placed.
    media : dict
        Media by id.
    quiet : bool
        No progress bar.
    """
    frames = sorted((p for p in pictures if p.kind == "frame"), key=lambda p: (p.media_id, p.pts_s))
    ordered = frames + [p for p in pictures if p.kind != "frame"]
    lens_ids = [lens_key(p, media[p.media_id]) for p in ordered]
    lenses = {
        key: Lens.from_prior(p.width_px, p.height_px, media[p.media_id].focal_prior_px)
        for key, p in zip(lens_ids, ordered, strict=True)
    }
    index = {p.id: i for i, p in enumerate(ordered)}
    markers: list[list[MarkerSeen]] = [[] for _ in ordered]
    stills: dict[int, Described] = {}
    builder: TrackBuilder | None = None
    clip = None
    bar = tqdm(total=len(ordered), desc="looking", unit="picture", disable=quiet)
    with ThreadPoolExecutor(max_workers=1) as beside:
        waiting = []
        for picture, image in iter_pictures(record, ordered):
            i = index[picture.id]
            plain = cv2.cvtColor(image, cv2.COLOR_BGR2GRAY)
            gray = even_light(plain)
            waiting.append((i, beside.submit(_sheets, gray, gray is not plain)))
            if picture.kind == "frame":
                lens = lenses[lens_ids[i]]
                builder = builder or TrackBuilder(normalise=lens.normalised, focal_px=lens.focal_px)
                builder.normalise, builder.focal_px = lens.normalised, lens.focal_px
                builder.add(i, gray, new_clip=picture.media_id != clip)
                clip = picture.media_id
            else:
                stills[i] = describe(gray)
            while len(waiting) > 4:
                k, found = waiting.pop(0)
                markers[k] = found.result()
            bar.update()
        for k, found in waiting:
            markers[k] = found.result()
    bar.close()
    tracks = builder.finish() if builder else Tracks(
        picture_idx=np.zeros(0, int), track_idx=np.zeros(0, int), xy_px=np.zeros((0, 2)), breaks=()
    )  # fmt: skip
    return Looked(pictures=ordered, lens_ids=lens_ids, lenses=lenses, markers=markers, tracks=tracks,
                  stills=stills, record=record)  # fmt: skip


def _sheets(gray: np.ndarray, was_dark: bool) -> list[MarkerSeen]:
    found = detect_markers(gray, smoothed_in_code=was_dark)
    return [replace(m, sigma_px=float(np.hypot(m.sigma_px, DARK_CORNER_PX))) for m in found] if was_dark else found


def even_light(gray: np.ndarray) -> np.ndarray:
    """A dark picture stretched so that its texture can be followed; others unchanged."""
    mean = float(gray[::8, ::8].mean())
    if mean >= DARK_LUMA or mean < 1:
        return gray
    return cv2.convertScaleAbs(gray, alpha=min(GAIN_MAX, 110.0 / mean))
