"""An overlay drawn onto its photo as a JPEG, for paper and for people without the viewer."""

from __future__ import annotations

import io

import numpy as np
from PIL import Image, ImageChops, ImageDraw, ImageFont

from asbuilt.sheets.today import Overlay, Shown

# Dark core and light rim, so that a line is seen on white paint and on wood alike.
COLORS = {"seen": (0, 110, 190), "unsure": (0, 110, 190), "stud": (120, 95, 40)}
BAND_SHARE = 70  # of 255
MISSING_VEIL, MISSING_INK = (225, 229, 233, 130), (40, 48, 56, 230)
DASH_PX = 14.0
QUALITY = 90
HATCHED = "Hatched: not recorded, which is not empty. Broken lines: course not seen, one of these."
CAUTION = "A record to look with, not leave to drill. Prove dead; follow local code."


def overlay_jpeg(pixels: np.ndarray, overlay: Overlay, words: str) -> bytes:
    """Draw an overlay onto its photo.

    Parameters
    ----------
    pixels : ndarray of shape (H, W, 3)
        The photo as displayed, BGR uint8.
    overlay : Overlay
    words : str
        A line under the picture: the fit.

    Returns
    -------
    bytes
        A JPEG as large as the photo, with a strip of words beneath.
    """
    photo = Image.fromarray(np.ascontiguousarray(pixels[:, :, ::-1]))
    size = max(photo.width, photo.height) / 1000  # widths are given for a picture of 1000 px
    veil = Image.new("RGBA", photo.size, (0, 0, 0, 0))
    pen = ImageDraw.Draw(veil)
    for shown in overlay.shown:
        veil.paste((*COLORS[shown.status], BAND_SHARE), mask=_even_odd(shown.band_px, photo.size))
    veil.paste(MISSING_VEIL, mask=_even_odd(overlay.missing_px, photo.size))
    for line in overlay.hatch_px:
        pen.line(list(line), fill=MISSING_INK, width=max(1, round(1.4 * size)))
    photo = Image.alpha_composite(photo.convert("RGBA"), veil)
    pen = ImageDraw.Draw(photo)
    for shown in overlay.shown:
        _lines(pen, shown, size)
    font = ImageFont.load_default(size=15 * size)
    for shown in overlay.shown:
        if shown.at_px is not None and shown.tag:
            at = (shown.at_px[0] + 6 * size, shown.at_px[1] - 8 * size)
            pen.text(at, shown.tag, font=font, fill="white", stroke_width=round(2.5 * size), stroke_fill=(20, 30, 40))
    return _with_strip(photo.convert("RGB"), (words, HATCHED, CAUTION), font, size)


def _even_odd(rings, size_px: tuple[int, int]) -> Image.Image:
    """The area of rings, holes counted out, as a mask."""
    mask = Image.new("1", size_px, 0)
    for ring in rings:
        one = Image.new("1", size_px, 0)
        ImageDraw.Draw(one).polygon(list(ring), fill=1)
        mask = ImageChops.logical_xor(mask, one)
    return mask


def _lines(pen: ImageDraw.ImageDraw, shown: Shown, size: float) -> None:
    width = (1.2 if shown.status == "stud" else 3.0) * size
    for line in shown.lines_px:
        pieces = _dashes(line, DASH_PX * size) if shown.status == "unsure" else [line]
        for piece in pieces:
            pen.line([tuple(p) for p in piece], fill="white", width=round(width + 2 * size), joint="curve")
            pen.line([tuple(p) for p in piece], fill=COLORS[shown.status], width=max(1, round(width)), joint="curve")


def _dashes(line, dash_px: float) -> list[list[tuple[float, float]]]:
    """Every other piece of a line cut to equal lengths."""
    points = np.asarray(line, dtype=float)
    reach = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))])
    cuts = np.arange(0, reach[-1], dash_px)
    return [
        [
            (float(np.interp(at, reach, points[:, 0])), float(np.interp(at, reach, points[:, 1])))
            for at in (a, a + dash_px * 0.6)
        ]
        for a in cuts
    ]


def _with_strip(photo: Image.Image, lines: tuple[str, ...], font, size: float) -> bytes:
    line_px = round(24 * size)
    out = Image.new("RGB", (photo.width, photo.height + line_px * len(lines) + round(12 * size)), (255, 254, 251))
    out.paste(photo, (0, 0))
    pen = ImageDraw.Draw(out)
    for n, line in enumerate(lines):
        pen.text((10 * size, photo.height + 6 * size + n * line_px), line, font=font, fill=(24, 35, 47))
    stream = io.BytesIO()
    out.save(stream, "JPEG", quality=QUALITY)
    return stream.getvalue()
