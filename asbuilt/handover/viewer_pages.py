"""The offline viewer: pages that open by double click, from disk, with no server and no network.

``index.html`` has its pictures in a folder beside it; ``phone.html`` is one file with smaller
pictures in it, because phones open a file but not its neighbours.
"""

from __future__ import annotations

import base64
import hashlib
import json
from collections.abc import Iterator
from html import escape
from importlib import resources

from tqdm import tqdm

from asbuilt.handover.bag import BagWriter
from asbuilt.handover.pictures import Shown, chosen_pictures, jpeg
from asbuilt.handover.viewer_data import viewer_data
from asbuilt.record import Face, Record
from asbuilt.record.elevations import elevation_of, overview_path

SCRIPTS = ("units.js", "words.js", "cover.js", "touch.js", "reach.js", "answers.js", "page.js")
FOLDER, PICTURES = "viewer/", "pictures/"
SIDE_PX, PHONE_SIDE_PX = 1600, 1000


def add_viewer(bag: BagWriter, record: Record, shown: Shown, left_out: tuple[str, ...]) -> None:
    """Put both viewers and their pictures into a package.

    Parameters
    ----------
    shown : Shown
        Decodes the pictures; keeps what could not be decoded.
    left_out : tuple of str
        What is not in this copy, for people.
    """
    files: dict[str, str] = {}
    small: dict[str, str] = {}
    chosen = chosen_pictures(record)
    bar = tqdm(shown.pictures(chosen), total=len(chosen), desc="pictures", unit="picture", leave=False, disable=None)
    for picture, image in bar:
        name = files[picture.id] = f"{PICTURES}{picture.id}.jpg"
        bag.add_bytes(FOLDER + name, jpeg(image, SIDE_PX))
        small[name] = _uri(jpeg(image, PHONE_SIDE_PX))
    elevations = {}
    for elevation in _elevations(record):
        name = elevations[elevation.face_id] = f"{PICTURES}elevation-{elevation.face_id}.jpg"
        data = overview_path(record, elevation).read_bytes()
        bag.add_bytes(FOLDER + name, data)
        small[name] = _uri(data)
    data = viewer_data(record, files, elevations, left_out)
    bag.add_bytes(f"{FOLDER}index.html", page(data, {}))
    bag.add_bytes(f"{FOLDER}phone.html", page(data, small))


def _elevations(record: Record) -> Iterator:
    for face in record.all(Face):
        elevation = elevation_of(record, face.id)
        if elevation is not None and overview_path(record, elevation).is_file():
            yield elevation


def _uri(jpeg: bytes) -> str:
    return "data:image/jpeg;base64," + base64.b64encode(jpeg).decode()


def page(data: dict, pictures: dict[str, str]) -> bytes:
    """One HTML file with everything in it but the pictures that lie beside it."""
    style, script = _text("style.css"), "\n".join(map(_text, SCRIPTS))
    policy = (
        f"default-src 'none'; script-src '{_hash(script)}'; style-src '{_hash(style)}'; img-src 'self' file: data:; "
        "base-uri 'none'; form-action 'none'"
    )
    parts = {"POLICY": policy, "TITLE": escape(data["building"]), "STYLE": style, "RECORD": _json(data),
             "PICTURES": _json(pictures), "SCRIPT": script}  # fmt: skip
    first, *rest = _text("index.html").split("@")
    # Every other piece of the template is a name to fill in, so that nothing filled in is read again.
    return "".join([first, *(parts.get(piece, piece) for piece in rest)]).encode()


def _hash(text: str) -> str:
    return "sha256-" + base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()


def _json(value: dict) -> str:
    """JSON that cannot end the script element it stands in."""
    return json.dumps(value, ensure_ascii=False, allow_nan=False, separators=(",", ":")).replace("<", "\\u003c")


def _text(name: str) -> str:
    return resources.files("asbuilt.handover").joinpath("viewer", name).read_text("utf-8")
