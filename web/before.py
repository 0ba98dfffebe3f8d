"""Before the walls are covered: readiness face by face, and what the rough-in rules find."""

from __future__ import annotations

from datetime import date

from flask import Blueprint, Response, request

from asbuilt.answers.checks.page import grouped, summary
from asbuilt.answers.checks.rule import MEETS, RESULTS
from asbuilt.answers.checks.run import RULES, RuleResult, figure_text, run_checks
from asbuilt.answers.readiness import grouped_findings, readiness
from asbuilt.record import Face, Picture
from asbuilt.sheets.crops import CROP_SHARE
from asbuilt.sheets.readiness import readiness_pdf
from asbuilt.web.pages import Page, get_or_404, page, record, unit

blueprint = Blueprint("before", __name__)
PDF = "application/pdf"


@page(blueprint, "/readiness")
def faces() -> Page:
    """Every face in one line, and what lies on no face."""
    answer = readiness(record())
    drawn = {"elsewhere_groups": grouped_findings(answer.elsewhere)}
    return Page(template="readiness.html", data=answer.to_json(), drawn=drawn)


@page(blueprint, "/readiness/<face_id>")
def face(face_id: str) -> Page:
    """One face: coverage, findings, open items, and every item with its photo."""
    get_or_404(Face, face_id, "face")
    answer = readiness(record(), face_id)
    (found,) = answer.faces
    data = found.to_json() | {"note": answer.note}
    sizes = {p.id: p for p in record().all(Picture, id=[i.photo.picture_id for i in found.items if i.photo])}
    views = {i.item_id: _view_px(sizes[i.photo.picture_id], i.photo) for i in found.items if i.photo}
    groups = grouped_findings((*found.does_not_meet, *found.cannot_tell))
    return Page(template="readiness_face.html", data=data,
                drawn={"groups": groups, "views": views, "sizes": sizes, "items_": data["items"]})  # fmt: skip


def _view_px(picture: Picture, photo) -> list[float]:
    """The square of a picture to show round an item, as on paper: left, top, side, side."""
    side = min(CROP_SHARE * max(picture.width_px, picture.height_px), picture.width_px, picture.height_px)
    left = min(max(photo.x_px - side / 2, 0.0), picture.width_px - side)
    top = min(max(photo.y_px - side / 2, 0.0), picture.height_px - side)
    return [round(v, 1) for v in (left, top, side, side)]


@blueprint.get("/readiness.pdf")
def faces_pdf() -> Response:
    """A page for each face, to print."""
    return _printed(None)


@blueprint.get("/readiness/<face_id>/sheet.pdf")
def face_pdf(face_id: str) -> Response:
    """One face, to print."""
    get_or_404(Face, face_id, "face")
    return _printed(face_id)


def _printed(face_id: str | None) -> Response:
    answer = readiness(record(), face_id)
    return Response(readiness_pdf(record(), answer, date.today().isoformat(), paper()), mimetype=PDF)


def paper() -> str:
    """The paper to print on: A4 where lengths are metric, letter elsewhere."""
    return "letter" if unit() in ("in", "ft") else "a4"


@page(blueprint, "/checks")
def checks() -> Page:
    """What the rules find, the most pressing first; ``face`` narrows it, ``all`` adds what meets its figure."""
    face_id = request.args.get("face") or None
    if face_id is not None:
        get_or_404(Face, face_id, "face")
    everything = "all" in request.args
    answer = run_checks(record())
    shown = [found for rule in answer.rules if (found := _rule(rule, everything, face_id))["results"]]
    counts = {r: len(answer.findings(r, face_id=face_id)) for r in RESULTS}
    titles = {f.id: f.title for f in sorted(record().all(Face), key=lambda f: f.order_idx)}
    drawn = {"shown": shown, "counts": counts, "titles": titles, "face_id": face_id, "everything": everything,
             "told": summary(answer)}  # fmt: skip
    return Page(template="checks.html", data=answer.to_json(), drawn=drawn)


def _rule(rule: RuleResult, everything: bool, face_id: str | None) -> dict:
    found = [f for f in rule.findings if face_id is None or f.face_id == face_id]
    results = [
        (result, text, subjects)
        for result in RESULTS
        if everything or result != MEETS
        for text, subjects in grouped(f for f in found if f.result == result)
    ]
    own = [f"{f.name} {figure_text(f, unit())}" for f in rule.figures if f.own]
    met = sum(f.result == MEETS for f in found)
    return {"rule": rule, "results": results, "own": own, "met": 0 if everything else met}


@page(blueprint, "/checks/rules")
def rules() -> Page:
    """Every rule with its clause, edition, source and figures, and whether it is looked at here."""
    answer = run_checks(record())
    why = {rule.rule_id: rule.why for rule in answer.left_out}
    used = {rule.rule_id: rule.figures for rule in answer.rules}
    listed = [
        {"id": r.id, "title": r.title, "standing": r.standing, "cited": r.cited, "source": r.source,
         "compares": r.compares, "left_out": why.get(r.id, ""),
         "figures": [f"{f.name}: {figure_text(f, unit())} ({f.text})" + (", own figure" if f.own else "")
                     for f in used.get(r.id, ())]}
        for r in RULES
    ]  # fmt: skip
    return Page(template="rules.html", data={"rules": listed, "ask": answer.ask, "region": answer.region})
