"""Pictures for people: which of them go into a package, decoded once and made small."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import cv2
import numpy as np

from asbuilt.answers.coverage import coverage_of
from asbuilt.errors import MediaError
from asbuilt.record import Face, Picture, Record, Sighting
from asbuilt.record.pixels import brightened, iter_pictures

# A picture is worth taking along if it shows at least this part of a face best.
BEST_SHARE = 0.005
WITHHELD = "left out"  # flag of a picture whose file is not in this copy of the record
QUALITY = 82  # of a JPEG for looking at; the originals lie beside it


def chosen_pictures(record: Record) -> list[Picture]:
    """Photos, pictures in which something was marked, and those that show a part of a face best."""
    wanted = {s.picture_id for s in record.all(Sighting)}
    for face in record.all(Face):
        coverage = coverage_of(record, face.id)
        for number, picture_id in enumerate(coverage.picture_ids):
            if (coverage.best == number).mean() >= BEST_SHARE:
                wanted.add(picture_id)
    return [p for p in record.all(Picture) if (p.kind == "photo" or p.id in wanted) and WITHHELD not in p.flags]


class Shown:
    """Pictures of a record as they are shown.

    ``faults`` are those that could not be decoded, and why; ``marked`` are a face's for paper, once
    they were made: they are the same on any size of it.
    """

    def __init__(self, record: Record) -> None:
        self.record = record
        self.faults: list[str] = []
        self.marked: dict[str, list[tuple[Picture, bytes, tuple[int, int]]]] = {}

    def pictures(self, chosen: Sequence[Picture]) -> Iterator[tuple[Picture, np.ndarray]]:
        """Pictures with their pixels, (H, W, 3) BGR uint8, dark ones lifted; each file is read once."""
        by_media: dict[str, list[Picture]] = {}
        for picture in chosen:
            by_media.setdefault(picture.media_id, []).append(picture)
        for group in by_media.values():
            done: set[str] = set()
            try:
                for picture, image in iter_pictures(self.record, group):
                    done.add(picture.id)
                    yield picture, brightened(image) if "dark" in picture.flags else image
            except MediaError as error:
                lost = [p.id for p in group if p.id not in done]
                self.faults.append(f"{len(lost)} picture{'s' if len(lost) > 1 else ''} not shown: {error}")


def jpeg(image: np.ndarray, side_px: int) -> bytes:
    """A picture as JPEG, its longer side at most ``side_px``."""
    scale = side_px / max(image.shape[:2])
    if scale < 1:
        size = (max(1, round(image.shape[1] * scale)), max(1, round(image.shape[0] * scale)))
        image = cv2.resize(image, size, interpolation=cv2.INTER_AREA)
    done, data = cv2.imencode(".jpg", image, [cv2.IMWRITE_JPEG_QUALITY, QUALITY])
    if not done:
        raise MediaError("a picture cannot be written as JPEG")
    return data.tobytes()
