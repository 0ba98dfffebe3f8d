"""Review: what the pictures propose, one after another, to accept, move, join or reject."""

from __future__ import annotations

import math
from dataclasses import asdict

from flask import Blueprint, abort, jsonify, redirect, request, url_for

from asbuilt.answers.sheath_hint import USUAL, disagreement, size_hint
from asbuilt.errors import AsbuiltError
from asbuilt.record import Circuit, Face, Picture, Placement, Stud
from asbuilt.record.frames import building_from_faces, camera_of
from asbuilt.record.proposal_row import PROPOSED, Proposal, ProposalRun
from asbuilt.steps import propose_confirm
from asbuilt.steps.propose_review import seen_in, walking_order
from asbuilt.units import format_error, format_length
from asbuilt.web.pages import Page, get_or_404, page, record, unit, wants_json

blueprint = Blueprint("review", __name__)
SHEATHED = ("cable", "coil")  # what colour a pipe is says nothing of a wire


@page(blueprint, "/review")
def review() -> Page:
    """The proposals of all walls that nobody has decided on, in walking order."""
    faces = {f.id: f for f in record().all(Face)}
    waiting = walking_order(record())
    asked = request.args.get("at", "")
    current = next((k for k, p in enumerate(waiting) if p.id == asked), 0)
    data = {
        "waiting": [_words(p, faces[p.face_id]) for p in waiting],
        "at": current,
        "decided": sum(p.state != PROPOSED for p in record().all(Proposal)),
        "looked": {r.id: r.report for r in record().all(ProposalRun)},
        "off_layout": _off_layout(faces),
        "circuits": [
            {
                "id": c.id,
                "words": f"{c.number} {c.name}",
                "disagrees": {color: words for color in USUAL if (words := disagreement(color, c))},
            }
            for c in record().all(Circuit)
        ],
    }
    return Page(template="review.html", data=data)


@page(blueprint, "/review/<proposal_id>/views")
def views(proposal_id: str) -> Page:
    """The pictures that show a proposal best, and where in them it lies."""
    proposal = get_or_404(Proposal, proposal_id, "proposal")
    found = [asdict(v) | {"image": url_for("pictures.image", picture_id=v.picture_id, size=1600)}
             for v in seen_in(record(), proposal)]  # fmt: skip
    return Page(template="_review_view.html", data={"id": proposal_id, "views": found})


@blueprint.post("/review/<proposal_id>/<action>")
def decide(proposal_id: str, action: str):
    """Accept, reject, move or join a proposal."""
    get_or_404(Proposal, proposal_id, "proposal")
    try:
        if action == "accept":
            numbers = propose_confirm.accept(record(), proposal_id, request.form.get("circuit_id") or None)
        elif action == "reject":
            numbers = propose_confirm.reject(record(), proposal_id)
        elif action == "move":
            right_m, up_m = _moved(proposal_id)
            numbers = propose_confirm.move(record(), proposal_id, right_m, up_m)
        elif action == "join":
            numbers = propose_confirm.join(record(), proposal_id, request.form.get("other", ""))
        else:
            abort(404, "a proposal can be accepted, rejected, moved or joined")
    except AsbuiltError as error:
        abort(409, str(error))
    if wants_json():
        return jsonify({"id": proposal_id, "changes": numbers, "proposals": [_told(proposal_id)]})
    return redirect(url_for("review.review"), 303)


@blueprint.post("/review/undo")
def undo():
    """Take the changes of one decision back."""
    try:
        numbers = [int(n) for n in request.form.getlist("change")]
    except ValueError:
        abort(400, "name the changes to take back by their numbers")
    if not numbers:
        abort(400, "there is nothing to take back")
    try:
        restored = propose_confirm.undo(record(), numbers)
    except AsbuiltError as error:
        abort(409, str(error))
    return jsonify({"restored": restored, "proposals": [_told(name) for name in restored]})


def _moved(proposal_id: str) -> tuple[float, float]:
    """How far along the face a drag in a picture moves a proposal [m]."""
    proposal = record().get(Proposal, proposal_id)
    picture = get_or_404(Picture, request.form.get("picture_id", ""), "picture")
    placement = record().find(Placement, picture.id)
    try:
        ends = [float(request.form[name]) for name in ("from_x_px", "from_y_px", "to_x_px", "to_y_px")]
    except (KeyError, ValueError):
        abort(400, "a move goes from one point of the picture to another")
    if placement is None or placement.status != "placed" or not all(math.isfinite(v) for v in ends):
        abort(400, "that picture is not placed, so nothing can be moved in it")
    camera, pose = camera_of(placement, picture), building_from_faces(record())[proposal.face_id]
    depth_m = sum(p[2] for p in proposal.points_m) / len(proposal.points_m)
    start, stop = (propose_confirm.on_plane(camera, pose, depth_m, x, y) for x, y in (ends[:2], ends[2:]))
    if start is None or stop is None:
        abort(400, "that point of the picture is not on this wall")
    return float(stop[0] - start[0]), float(stop[1] - start[1])


def _told(proposal_id: str) -> dict:
    proposal = record().get(Proposal, proposal_id)
    return _words(proposal, record().get(Face, proposal.face_id))


def _words(p: Proposal, face: Face) -> dict:
    """A proposal in the words and lengths of the page."""
    offsets, heights = [x for x, _, _ in p.points_m], [z for _, z, _ in p.points_m]
    at, to = min(offsets), max(offsets)
    if p.kind in ("device box", "panel"):
        what = p.kind if p.gangs is None else f"{p.kind}, {p.gangs} gang"
        where = f"{format_length(offsets[0], unit())} from the left, {format_length(heights[0], unit())} up"
    else:
        looks = {"": "", "unsure": ", colour unsure"}.get(p.sheath, f", looks {p.sheath}")
        length_m = sum(math.dist(a[:2], b[:2]) for a, b in zip(p.points_m, p.points_m[1:], strict=False))
        what = f"{p.kind}{looks}, {format_length(length_m, unit())} long"
        where = f"{format_length(at, unit())} to {format_length(to, unit())} from the left, "
        where += f"{format_length(min(heights), unit())} to {format_length(max(heights), unit())} up"
    return {
        "id": p.id, "kind": p.kind, "run": p.kind not in ("device box", "panel"), "face": face.title,
        "face_id": face.id, "what": what, "where": where, "error": format_error(p.sigma_m, unit()),
        "ends": _ends(p), "hint": " ".join(w for w in (size_hint(p.sheath) if p.kind in SHEATHED else "", p.note) if w),
        "sheath": p.sheath if p.kind in SHEATHED else "",
    }  # fmt: skip


def _ends(p: Proposal) -> str:
    if not (p.comes_from or p.goes_to):
        return ""
    names = [record().find(Proposal, end) for end in (p.comes_from, p.goes_to)]
    words = [f"in the box at {format_length(box.points_m[0][0], unit())}" if box else end
             for box, end in zip(names, (p.comes_from, p.goes_to), strict=True)]  # fmt: skip
    return f"Ends: {words[0]}; {words[1]}"


def _off_layout(faces: dict[str, Face]) -> list[str]:
    """Studs that stand off their marks, in words."""
    found = []
    for done in record().all(ProposalRun):
        for stud_id, center_m, off_m in done.report.get("off_layout", ()):
            stud = record().find(Stud, stud_id)
            if stud is not None and done.id in faces:
                side = "right" if off_m > 0 else "left"
                found.append(f"{faces[done.id].title}: stud at {format_length(center_m, unit(), stud.sigma_m)}, "
                             f"{format_length(abs(off_m), unit())} to the {side} of its mark")  # fmt: skip
    return found
