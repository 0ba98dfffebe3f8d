"""Cut-outs of pictures round the places where items were marked, for paper."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np

from asbuilt.answers.item_photos import ItemPhoto
from asbuilt.errors import MediaError
from asbuilt.record import Picture, Record
from asbuilt.record.pixels import brightened, iter_pictures

CROP_SHARE = 0.30  # of the picture's longer side: enough of the wall around to know it again (our choice)
SIDE_PX = 420  # a cut-out is printed about 1.7 in wide: 250 dots to the inch
QUALITY = 80


def crops_of(record: Record, photos: Sequence[ItemPhoto]) -> dict[str, bytes]:
    """A square JPEG round the marked place of each item, the place ringed; each picture is decoded once.

    A picture whose original is missing or broken is left out.
    """
    wanted: dict[str, list[ItemPhoto]] = {}
    for photo in photos:
        wanted.setdefault(photo.picture_id, []).append(photo)
    found: dict[str, bytes] = {}
    for picture in record.all(Picture, id=list(wanted)) if wanted else ():
        try:
            for _, image in iter_pictures(record, [picture]):
                for photo in wanted[picture.id]:
                    found[photo.item_id] = crop(image, photo.x_px, photo.y_px)
        except MediaError:
            continue
    return found


def crop(image: np.ndarray, x_px: float, y_px: float) -> bytes:
    """A square cut-out of an image (H, W, 3) round a pixel, which is ringed, as JPEG."""
    height, width = image.shape[:2]
    side = int(min(CROP_SHARE * max(height, width), height, width))
    left = int(np.clip(round(x_px - side / 2), 0, width - side))
    top = int(np.clip(round(y_px - side / 2), 0, height - side))
    cut = cv2.resize(brightened(image[top : top + side, left : left + side]), (SIDE_PX, SIDE_PX),
                     interpolation=cv2.INTER_AREA)  # fmt: skip
    center = (round((x_px - left) / side * SIDE_PX), round((y_px - top) / side * SIDE_PX))
    for colour, thickness in ((0, 5), (255, 2)):  # seen on light and on dark
        cv2.circle(cut, center, 26, (colour,) * 3, thickness, cv2.LINE_AA)
    return cv2.imencode(".jpg", cut, [cv2.IMWRITE_JPEG_QUALITY, QUALITY])[1].tobytes()
