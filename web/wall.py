"""At the wall: one hand, a tape in the other; the answer at a glance."""

from __future__ import annotations

from dataclasses import asdict

from flask import Blueprint

from asbuilt.record import Face
from asbuilt.web.asking import answer_data, asked_place
from asbuilt.web.home import rooms_with_faces
from asbuilt.web.pages import Page, get_or_404, page, record

blueprint = Blueprint("wall", __name__)


@page(blueprint, "/wall")
def choose() -> Page:
    """Which wall are you standing at?"""
    return Page(template="wall_choose.html", data={"rooms": rooms_with_faces(record())})


@page(blueprint, "/wall/<face_id>")
def at_wall(face_id: str) -> Page:
    """Big offset and height, and the answer."""
    found = get_or_404(Face, face_id, "face")
    place = asked_place(found)
    data = {"face": asdict(found), "answer": answer_data(record(), found, place) if place else None}
    return Page(template="wall.html", data=data, drawn={"place": place})
