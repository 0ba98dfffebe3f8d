"""Decoding stills: one image, as displayed, with limits for files nobody vouches for."""

from __future__ import annotations

import warnings
from pathlib import Path

import numpy as np
import pillow_heif
from PIL import Image, ImageOps, UnidentifiedImageError

from asbuilt.errors import MediaError

pillow_heif.register_heif_opener()
Image.init()

# Pillow refuses twice its own limit (about 179 million pixels); between once and twice it only
# warns, and a 108-megapixel phone photo is no attack. What it says of odd tags concerns nobody.
warnings.filterwarnings("ignore", category=Image.DecompressionBombWarning)
warnings.filterwarnings("ignore", category=UserWarning, module=r"PIL\.")

# Others are refused unread: some of their decoders start other programs.
FORMATS = ("JPEG", "PNG", "TIFF", "HEIF", "WEBP", "BMP")
DNG_VERSION_TAG, SUBFILE_TYPE_TAG = 50706, 254
# Smaller is an icon or a preview; nothing on a wall can be measured in it.
MIN_SIDE_PX = 64


def open_photo(path: str | Path, name: str) -> Image.Image:
    """Open a still without decoding it; ``name`` is what errors call it.

    Raises
    ------
    MediaError
        If it is no still of a known format, or its size is out of bounds.
    """
    try:
        image = Image.open(path, formats=FORMATS)
    except UnidentifiedImageError as error:
        raise MediaError(f"{name} is neither a photo (JPEG, PNG, HEIC, TIFF) nor a video that can be read") from error
    except Image.DecompressionBombError as error:
        raise MediaError(f"{name} claims too many pixels to be a photo; not opened") from error
    except MemoryError as error:
        raise MediaError(f"{name} needs more memory than a photo should; not opened") from error
    except Exception as error:  # decoders raise whatever a damaged header leads them to
        raise MediaError(f"{name} is damaged: {_one_line(error)}") from error
    if min(image.size) < MIN_SIDE_PX:
        raise MediaError(f"{name} is only {image.width} x {image.height} pixels: too small to measure in")
    if _is_dng_thumbnail(image):
        raise MediaError(f"{name} is a raw file without a full-size preview; export it as JPEG first")
    return image


def decode_photo(path: str | Path, name: str) -> np.ndarray:
    """Decode a still as it is meant to be seen, its orientation applied exactly once.

    Returns
    -------
    ndarray of shape (H, W, 3)
        BGR, uint8.

    Raises
    ------
    MediaError
        If it cannot be decoded whole.
    """
    with open_photo(path, name) as image:
        try:
            # The HEIF decoder has turned the picture already, and its EXIF is set to 1 then;
            # asking again would be harmless today and wrong with a decoder that forgets to.
            if image.format != "HEIF":
                image = ImageOps.exif_transpose(image)
            rgb = np.asarray(_eight_bit(image).convert("RGB"))
        except MemoryError as error:
            raise MediaError(f"{name} needs more memory than a photo should; not opened") from error
        except Exception as error:  # decoders raise whatever damaged data leads them to
            raise MediaError(f"{name} is damaged: {_one_line(error)}") from error
    return np.ascontiguousarray(rgb[:, :, ::-1])


def _eight_bit(image: Image.Image) -> Image.Image:
    if image.mode.startswith("I;16"):
        return Image.fromarray((np.asarray(image) >> 8).astype(np.uint8))
    return image


def _is_dng_thumbnail(image: Image.Image) -> bool:
    tags = getattr(image, "tag_v2", None)
    return tags is not None and DNG_VERSION_TAG in tags and tags.get(SUBFILE_TYPE_TAG) == 1 and max(image.size) < 1000


def _one_line(error: Exception) -> str:
    return " ".join(str(error).split())[:120] or type(error).__name__
