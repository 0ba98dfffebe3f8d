"""See it on today's wall: the record laid over a photo of the finished wall."""

from __future__ import annotations

from dataclasses import asdict

from flask import Blueprint, Response, abort

from asbuilt.answers.power import cautions_for
from asbuilt.record import Picture
from asbuilt.record.pixels import read_picture
from asbuilt.sheets.photo import overlay_jpeg
from asbuilt.sheets.today import overlay_of
from asbuilt.web.pages import Page, get_or_404, page, record, unit

blueprint = Blueprint("today", __name__)


@page(blueprint, "/pictures/<picture_id>/today")
def today(picture_id: str) -> Page:
    """The photo with runs, boxes and studs over it, or why that cannot be done."""
    picture = get_or_404(Picture, picture_id, "picture")
    overlay = overlay_of(record(), picture)
    data = {"picture": asdict(picture), "cautions": list(cautions_for(()))}
    if not overlay:
        return Page(
            template="today.html",
            data=data | {"refused": overlay.reason, "shown": [], "words": "", "missing_px": [], "hatch_px": []},
        )
    shown = [asdict(s) for s in overlay.shown]
    extra = {
        "refused": "",
        "shown": shown,
        "words": overlay.fit.words(unit()),
        "too_uncertain": overlay.too_uncertain,
        "missing_px": overlay.missing_px,
        "hatch_px": overlay.hatch_px,
    }
    return Page(template="today.html", data=data | extra)


@blueprint.get("/pictures/<picture_id>/today.jpg")
def today_jpeg(picture_id: str) -> Response:
    """The same as one picture, to send or print."""
    picture = get_or_404(Picture, picture_id, "picture")
    overlay = overlay_of(record(), picture)
    if not overlay:
        abort(409, overlay.reason)
    return Response(
        overlay_jpeg(read_picture(record(), picture), overlay, overlay.fit.words(unit())), mimetype="image/jpeg"
    )
