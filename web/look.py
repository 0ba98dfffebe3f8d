"""What a spot of a picture looks like, to fill the tagging form in ahead of the hand."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from flask import Blueprint, abort, jsonify, request

from asbuilt.answers.conductors import conductors, usual_sizes
from asbuilt.imaging.sheath import Look, look_at
from asbuilt.record import Circuit, Picture, Record
from asbuilt.record.pixels import picture_jpeg
from asbuilt.web.pages import get_or_404, record

blueprint = Blueprint("look", __name__)
LOOKED_AT_PX = 3200
SHEATHS = ("white", "yellow", "orange", "black")
# What a colour and a shape are most often: common practice, no source. Blue runs are left
# open, being tubing for wires as often as for water.
USUAL_KIND = {("blue", False): "device box", ("red", True): "pipe"} | {(c, True): "cable" for c in SHEATHS}


@dataclass(frozen=True, slots=True, kw_only=True)
class Guess:
    """What the form is filled with; empty where nothing can be said."""

    kind: str = ""
    cable: str = ""
    circuit_id: str = ""
    words: str = ""


@blueprint.get("/pictures/<picture_id>/look")
def look(picture_id: str):
    """Kind, sheath and circuit as they appear at ``x_px``, ``y_px``; a person decides."""
    picture = get_or_404(Picture, picture_id, "picture")
    x_px, y_px = (request.args.get(name, type=float) for name in ("x_px", "y_px"))
    if x_px is None or y_px is None:
        abort(400, "say which place: x_px and y_px")
    jpeg = picture_jpeg(record(), picture, max_side_px=LOOKED_AT_PX)
    image = cv2.imdecode(np.frombuffer(jpeg, np.uint8), cv2.IMREAD_COLOR)
    share = image.shape[1] / picture.width_px
    found = look_at(image, (x_px + 0.5) * share - 0.5, (y_px + 0.5) * share - 0.5)
    told = guess(record(), found) if found else Guess()
    return jsonify({"kind": told.kind, "cable": told.cable, "circuit_id": told.circuit_id, "words": told.words})


def guess(rec: Record, found: Look) -> Guess:
    """What a look usually means."""
    kind = USUAL_KIND.get((found.colour, found.is_run), "")
    if kind != "cable":
        return Guess(kind=kind, words=f"Looks {found.colour}." if kind else "")
    sizes = usual_sizes(found.colour)
    fitting = [c for c in rec.all(Circuit) if c.state != "spare" and _size(c) in sizes]
    words = f"Looks {found.colour}: commonly {' or '.join(map(str, sizes))} AWG. A habit of makers, not proof."
    only = fitting[0].id if len(fitting) == 1 else ""
    return Guess(kind=kind, cable=found.colour, circuit_id=only, words=words)


def _size(circuit: Circuit) -> int | None:
    wire = conductors(circuit.cable)
    return wire.awg if wire else None
