"""Pictures of a shared copy: written anew without anything that the files said of themselves.

Each picture becomes a photo of its own under its own id, at full size, so that every marked
pixel and every camera position still fits. Pictures that are not passed on stay as rows
without a file, because the days they were taken on are part of every answer.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np

from asbuilt.handover.pictures import WITHHELD, Shown, chosen_pictures, jpeg
from asbuilt.handover.share_rows import Chosen
from asbuilt.record import Coverage, Media, Picture, Record, Sighting
from asbuilt.record.elevation_row import Elevation
from asbuilt.record.elevations import overview_path

PLACEHOLDER = b"The pictures that refer to this file were left out of this copy of the record.\n"
BLUR_CELLS = 24  # what is left of the longer side of a blurred picture
FULL_SIDE_PX = 100_000


class SharedPictures:
    """Writes the pictures of a shared copy into a folder and makes their rows."""

    def __init__(
        self,
        record: Record,
        folder: Path,
        chosen: Chosen,
        with_pictures: bool,
        drop: frozenset[str],
        blur: frozenset[str],
    ) -> None:
        self.record, self.folder, self.chosen = record, folder, chosen
        self.with_pictures, self.drop, self.blur = with_pictures, drop, blur
        self.shown = Shown(record)
        self.needed = self._needed()
        self.media: list[Media] = []
        self.pictures: list[Picture] = []
        self.kept_count = 0

    def _needed(self) -> list[Picture]:
        """Pictures that the faces of the copy are seen in, or in which their items were marked."""
        faces = self.chosen.face_ids
        ids = {i for c in self.record.all(Coverage, id=sorted(faces)) for i in c.layers.get("picture_ids", ())}
        marked = {s.picture_id for s in self.record.all(Sighting) if s.target_id in self.chosen.item_ids}
        return [
            p for p in self.record.all(Picture)
            if p.id in ids or p.face_id in faces or (not self.chosen.is_part and (p.id in marked or p.kind == "photo"))
        ]  # fmt: skip

    def rows(self) -> tuple[list[Media], list[Picture]]:
        """Media and pictures of the copy, their files written."""
        wanted = {p.id for p in chosen_pictures(self.record)} - self.drop if self.with_pictures else set()
        passed = [p for p in self.needed if p.id in wanted]
        for picture, image in self.shown.pictures(passed):
            self._keep(picture, _blurred(image) if picture.id in self.blur else image)
        kept = {p.id for p in self.pictures}
        self.kept_count = len(kept)
        withheld = [p for p in self.needed if p.id not in kept]
        if withheld:
            media = self._store(PLACEHOLDER, ".txt", "left out of this copy", withheld[0])
            self.pictures += [_bare(p, media, (*p.flags, WITHHELD)) for p in withheld]
        order = {p.id: n for n, p in enumerate(self.needed)}
        self.pictures.sort(key=lambda p: order[p.id])
        return self.media, self.pictures

    def _keep(self, picture: Picture, image: np.ndarray) -> None:
        media = self._store(jpeg(image, FULL_SIDE_PX), ".jpg", f"{picture.id}.jpg", picture)
        self.pictures.append(_bare(picture, media, picture.flags))

    def _store(self, data: bytes, suffix: str, name: str, picture: Picture) -> Media:
        sha = hashlib.sha256(data).hexdigest()
        path = f"media/{sha[:2]}/{sha[2:]}{suffix}"
        (self.folder / path).parent.mkdir(parents=True, exist_ok=True)
        (self.folder / path).write_bytes(data)
        media = Media(id=sha, name=name, kind="photo", byte_count=len(data), path=path, taken_at=_day(picture),
                      width_px=picture.width_px, height_px=picture.height_px, state="done")  # fmt: skip
        if sha not in {m.id for m in self.media}:
            self.media.append(media)
        return media

    def elevations(self) -> list[Elevation]:
        """Elevation pictures of the copy, their files copied; they show what the pictures show."""
        found = []
        if not self.with_pictures or self.drop or self.blur or self.chosen.layers_left_out:
            return found
        for row in self.record.all(Elevation):
            if row.face_id in self.chosen.face_ids and overview_path(self.record, row).is_file():
                for path in (self.record.folder / row.folder).rglob("*.jpg"):
                    target = self.folder / path.relative_to(self.record.folder)
                    target.parent.mkdir(parents=True, exist_ok=True)
                    target.write_bytes(path.read_bytes())
                found.append(row)
        return found

    def left_out(self) -> Iterator[str]:
        """What of the pictures is not in the copy, in words."""
        count = len(self.record.all(Picture)) - self.kept_count
        if count:
            yield f"{count} pictures" + ("" if self.kept_count else ": all of them")
        if self.blur:
            yield f"{len(self.blur)} pictures are blurred"
        yield from self.shown.faults


def _bare(picture: Picture, media: Media, flags: tuple[str, ...]) -> Picture:
    """A picture as a photo of its own, with the day but not the time it was taken."""
    return replace(picture, media_id=media.id, kind="photo", pts_s=None, taken_at=_day(picture), flags=flags)


def _day(picture: Picture) -> str | None:
    return picture.taken_at[:10] if picture.taken_at else None


def _blurred(image: np.ndarray) -> np.ndarray:
    """A picture in which nothing can be made out: a few cells of colour, smoothed."""
    height, width = image.shape[:2]
    scale = BLUR_CELLS / max(height, width)
    size = (max(1, round(width * scale)), max(1, round(height * scale)))
    cells = cv2.resize(image, size, interpolation=cv2.INTER_AREA)
    return cv2.resize(cells, (width, height), interpolation=cv2.INTER_LINEAR)
