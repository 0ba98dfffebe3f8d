"""Orientation of real and published stills, checked against what their makers say.

Sources: the test images of Pillow 13.0.0 (orientation tag n in ``hopper_orientation_n``), of
pillow-heif 1.8.1 (photos of real phones and cameras) and of imagesize 2.0.1; the meaning of the
eight tag values: Exif 2.32 (CIPA DC-008), table 6, "Orientation".
"""

from __future__ import annotations

import numpy as np
import pytest
from PIL import Image

from asbuilt.record.facts import photo_facts
from asbuilt.record.photos import decode_photo, open_photo
from tests.outside.fetch import unpacked

pytestmark = pytest.mark.outside

# The eight ways an image can lie, by the tag that undoes each: what is done to the stored pixels.
UPRIGHT_BY_TAG = {
    1: lambda a: a,
    2: lambda a: a[:, ::-1],
    3: lambda a: a[::-1, ::-1],
    4: lambda a: a[::-1],
    5: lambda a: a.swapaxes(0, 1),
    6: lambda a: a.swapaxes(0, 1)[:, ::-1],
    7: lambda a: a.swapaxes(0, 1)[::-1, ::-1],
    8: lambda a: a.swapaxes(0, 1)[::-1],
}


@pytest.fixture(scope="module")
def pillow_images():
    return unpacked("pillow", "13.0.0", "Tests/images") / "Tests/images"


@pytest.fixture(scope="module")
def heif_images():
    return unpacked("pillow-heif", "1.8.1", "tests/images") / "tests/images"


def stored(path) -> np.ndarray:
    with Image.open(path) as image:
        return np.asarray(image.convert("RGB"))[:, :, ::-1].astype(int)


def small(image: np.ndarray, size=(32, 32)) -> np.ndarray:
    return np.asarray(Image.fromarray(image.astype(np.uint8)).resize(size), dtype=int)


@pytest.mark.parametrize("suffix", ["jpg", "webp"])
@pytest.mark.parametrize("tag", range(2, 9))
def test_the_tag_is_applied_once_and_no_other_way_fits_better(pillow_images, tag, suffix):
    path = pillow_images / f"hopper_orientation_{tag}.{suffix}"
    shown = decode_photo(path, path.name)
    np.testing.assert_array_equal(shown, UPRIGHT_BY_TAG[tag](stored(path)))
    # And upright is what people mean by it: of all eight ways to turn what is shown, leaving it
    # alone comes closest to the untagged picture of the same person.
    reference = small(decode_photo(pillow_images / "hopper.jpg", "hopper.jpg"))
    differences = {t: np.abs(small(turn(shown)) - reference).mean() for t, turn in UPRIGHT_BY_TAG.items()}
    assert min(differences, key=differences.get) == 1
    assert sorted(differences.values())[1] > 2 * differences[1]


@pytest.mark.parametrize("tag", range(2, 9))
def test_tiff_scans_of_one_page_all_come_out_the_same_way_up(pillow_images, tag):
    first = decode_photo(pillow_images / "g4_orientation_1.tif", "g4_orientation_1.tif")
    turned = decode_photo(pillow_images / f"g4_orientation_{tag}.tif", f"g4_orientation_{tag}.tif")
    # The eight files were scanned into fax code one by one: some specks differ, the page does not.
    assert turned.shape == first.shape
    assert (turned != first).mean() < 0.004
    assert min((turn(first) != first).mean() for t, turn in UPRIGHT_BY_TAG.items() if 1 < t < 5) > 0.02


def test_a_png_with_an_orientation_is_turned(pillow_images):
    path = pillow_images / "exif_imagemagick_orientation.png"
    with Image.open(path) as image:
        tag = image.getexif()[0x0112]
    assert tag != 1
    np.testing.assert_array_equal(decode_photo(path, path.name), UPRIGHT_BY_TAG[tag](stored(path)))


@pytest.mark.parametrize(
    ("name", "width_px", "height_px", "tag_in_file"),
    [
        # A portrait photo of a phone: its container asks for a quarter turn and so does its EXIF.
        ("heif_other/arrow.heic", 3024, 4032, 6),
        # A camera's: turned by the container alone, without an EXIF orientation.
        ("heif_special/guitar_cw90.hif", 4672, 7008, None),
    ],
)
def test_a_turned_heic_is_never_turned_twice(heif_images, name, width_px, height_px, tag_in_file):
    path = heif_images / name
    with Image.open(path) as image:
        assert image.info.get("original_orientation") == tag_in_file
        assert image.size == (width_px, height_px)  # the decoder turns it itself
    # A second quarter turn would swap the sides.
    assert decode_photo(path, path.name).shape == (height_px, width_px, 3)


def test_rotated_jpeg_has_its_published_size():
    folder = unpacked("imagesize", "2.0.1", "test/images") / "test/images"
    assert decode_photo(folder / "test-rotated.jpg", "test-rotated.jpg").shape == (802, 670, 3)


@pytest.mark.parametrize(
    ("name", "focal_mm", "f35_mm"),
    [("arrow.heic", 3.99, 28), ("pug.heic", 5.7, 26), ("../heif_special/xiaomi.heic", 4.03, 48)],
)
def test_phone_photos_state_their_lens(heif_images, name, focal_mm, f35_mm):
    path = heif_images / "heif_other" / name
    with open_photo(path, path.name) as image:
        facts = photo_facts(image, *image.size)
        diagonal_px = float(np.hypot(*image.size))
    assert facts.meta["focal_length_mm"] == pytest.approx(focal_mm, abs=0.01)
    assert facts.meta["focal_length_35mm"] == f35_mm
    # 43.27 mm: diagonal of a full frame, by which phones state the equivalent.
    assert facts.focal_prior_px == pytest.approx(f35_mm / 43.27 * diagonal_px, rel=1e-4)
    assert facts.taken_at is not None and facts.device


def test_a_lens_of_half_a_millimetre_is_not_believed(heif_images):
    path = heif_images / "heif_other/spatial_photo.heic"  # a headset: states 0.596 mm, 18 mm equivalent
    with open_photo(path, path.name) as image:
        facts = photo_facts(image, *image.size)
    assert facts.meta["focal_length_mm"] == pytest.approx(0.596, abs=0.001)
    assert facts.focal_prior_px == pytest.approx(18 / 43.27 * float(np.hypot(2560, 2560)), rel=1e-4)
    # Latitude and longitude are both noughts there: no place.
    assert (facts.latitude_deg, facts.longitude_deg) == (None, None)
