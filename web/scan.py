"""Finding the wall by its marker sheet or its label: a phone sends what it sees."""

from __future__ import annotations

import io
import re
import warnings

import cv2
import numpy as np
import segno
from flask import Blueprint, abort, current_app, jsonify, request, url_for
from PIL import Image, ImageOps, UnidentifiedImageError

from asbuilt.imaging.markers import detect_markers
from asbuilt.record import Face, Marker, Record
from asbuilt.units import format_length
from asbuilt.web.home import rooms_with_faces
from asbuilt.web.pages import Page, page, record, unit

blueprint = Blueprint("scan", __name__)
MOST_BYTES = 8 * 1024 * 1024
MOST_PIXELS = 60_000_000
LOOKED_AT_PX = 2000
LABEL = re.compile(r"/wall/([A-Za-z0-9_+.-]{1,64})$")  # how every label's text ends


@page(blueprint, "/wall/labels")
def labels() -> Page:
    """A label for each wall, to be printed and stuck beside the door or inside the panel."""
    rooms = rooms_with_faces(record())
    texts = {f["id"]: label_text(f["id"]) for room in rooms for f in room["faces"]}
    codes = {
        key: segno.make_qr(text, error="m").svg_inline(scale=4, border=2, omitsize=True) for key, text in texts.items()
    }
    return Page(template="labels.html", data={"rooms": rooms}, drawn={"codes": codes})


def label_text(face_id: str) -> str:
    """What a label holds: the address of the wall's page, where the network has one, else its end."""
    address = current_app.config.get("LAN_ADDRESS")
    start = f"http://{address}:{current_app.config['PORT']}" if address else ""
    return start + url_for("wall.at_wall", face_id=face_id)


@blueprint.post("/wall/scan")
def scan():
    """Which wall a photo shows: by a label, else by the marker sheet nearest the middle."""
    request.max_content_length = MOST_BYTES
    gray = _decoded(request.get_data(cache=False))
    found = _by_label(record(), gray) or _by_sheet(record(), gray)
    if found is None:
        abort(404, "no wall label and no known marker sheet can be made out; go closer, hold still, and try again")
    return jsonify(found)


def _decoded(data: bytes) -> np.ndarray:
    """A sent photo as displayed, grey, made smaller; anything else is refused before it is unpacked."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            with Image.open(io.BytesIO(data), formats=("JPEG", "PNG", "WEBP")) as image:
                if image.width * image.height > MOST_PIXELS:
                    abort(400, "that picture is too large; send a smaller one")
                image.draft("L", (LOOKED_AT_PX, LOOKED_AT_PX))
                shown = ImageOps.exif_transpose(image).convert("L")
                shown.thumbnail((LOOKED_AT_PX, LOOKED_AT_PX))
                return np.asarray(shown)
    except (UnidentifiedImageError, OSError, ValueError, SyntaxError, Image.DecompressionBombError, Warning):
        abort(400, "that is no picture this page can read; send a JPEG or PNG")


def _by_label(rec: Record, gray: np.ndarray) -> dict | None:
    try:
        text, _, _ = cv2.QRCodeDetector().detectAndDecode(gray)
    except cv2.error:
        return None
    named = LABEL.search(text or "")
    face = rec.find(Face, named[1]) if named else None
    if face is None:
        return None
    return {"url": url_for("wall.at_wall", face_id=face.id), "words": f"{face.title}, by its label"}


def _by_sheet(rec: Record, gray: np.ndarray) -> dict | None:
    """The known sheet nearest the middle; the place asked about is then the sheet's own."""
    middle = np.array(gray.shape[::-1]) / 2
    seen = sorted(detect_markers(gray), key=lambda m: float(np.linalg.norm(m.corners_px.mean(axis=0) - middle)))
    for mark in seen:
        marker = rec.find(Marker, mark.id)
        face = rec.find(Face, marker.face_id) if marker and marker.face_id else None
        if face is None:
            continue
        where = {}
        if marker.offset_m is not None:
            where["at"] = format_length(marker.offset_m, unit())
        if where and marker.height_m is not None:
            where["height"] = format_length(marker.height_m, unit())
        url = url_for("wall.at_wall", face_id=face.id, **where)
        return {"url": url, "words": f"{face.title}, by marker sheet {marker.id}"}
    return None
