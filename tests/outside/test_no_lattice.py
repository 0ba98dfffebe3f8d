"""Photos that show no open wall: no lattice is found in them, and nothing breaks.

Sources: sample pictures of OpenCV (source archive of opencv-python 5.0.0.93, samples/data: buildings,
boards, faces, streets, printed pages) and real phone and camera photos (pillow-heif 1.8.1, tests/images).
None shows studs. Small ones are enlarged, so that they are not refused for their size alone.
"""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from asbuilt.errors import AsbuiltError
from asbuilt.imaging.lattice import LEAST_SIDE_PX, find_lattice
from asbuilt.record.photos import decode_photo
from tests.outside.fetch import unpacked

pytestmark = pytest.mark.outside

KINDS = (".jpg", ".png", ".heic", ".hif", ".avif")
LONGEST_PX = 2400  # larger ones only take longer


def pictures(folder):
    for path in sorted(folder.rglob("*")):
        if path.suffix.lower() in KINDS:
            try:
                yield path.name, decode_photo(path, path.name)
            except (AsbuiltError, OSError, ValueError):
                continue  # broken on purpose: reading those is another test's matter


def sized(image: np.ndarray) -> np.ndarray:
    factor = max(1, int(np.ceil(LEAST_SIDE_PX / min(image.shape[:2]))))
    factor = min(factor, LONGEST_PX / max(image.shape[:2])) if max(image.shape[:2]) > LONGEST_PX else factor
    way = cv2.INTER_AREA if factor < 1 else cv2.INTER_CUBIC
    return cv2.resize(image, None, fx=factor, fy=factor, interpolation=way)


@pytest.mark.parametrize(
    ("package", "version", "inner", "at_least"),
    [("opencv-python", "5.0.0.93", "opencv/samples/data", 60), ("pillow-heif", "1.8.1", "tests/images", 20)],
)
def test_real_photos_without_studs_are_refused(package, version, inner, at_least):
    count, wrong = 0, []
    for name, image in pictures(unpacked(package, version, inner) / inner):
        if min(image.shape[:2]) < 64:
            continue
        count += 1
        found = find_lattice(sized(image))
        if found:
            wrong.append(name)
        else:
            assert found.reason
    assert count >= at_least
    assert wrong == []
