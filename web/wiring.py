"""What belongs to what: what goes dead with a breaker, loads, cables, the sheet for fitting devices, the door card."""

from __future__ import annotations

from datetime import date

from flask import Blueprint, Response, abort, request

from asbuilt.answers.cables import cable_schedule
from asbuilt.answers.circuit_text import APART, PROVE, length_text
from asbuilt.answers.circuits import circuit_answer, goes_dead
from asbuilt.answers.control import controlled
from asbuilt.answers.directory import schedules
from asbuilt.answers.load import panel_loads
from asbuilt.answers.trimout import count_text, trim_out, where_text
from asbuilt.record import Circuit
from asbuilt.record.wiring import CABLE_USES
from asbuilt.sheets.cables import cables_pdf
from asbuilt.sheets.schedule import schedule_pdf
from asbuilt.sheets.trimout import trimout_pdf
from asbuilt.web.before import PDF, paper
from asbuilt.web.pages import Page, get_or_404, page, record, unit

blueprint = Blueprint("wiring", __name__)


@page(blueprint, "/circuits/<circuit_id>")
def circuit(circuit_id: str) -> Page:
    """What goes dead with a circuit's breaker, its feed order, and what its switches work; kept apart."""
    found = get_or_404(Circuit, circuit_id, "circuit")
    order = circuit_answer(record(), found.id)
    boxes = {s.to_id for s in order.steps} | set(order.not_in_order)
    worked = [c for c in controlled(record()) if c.load_id in boxes or {s.switch_id for s in c.switches} & boxes]
    data = {
        "number": found.number,
        "name": found.name,
        "dead": goes_dead(record(), found.id).to_json(),
        "feed": order.to_json(),
        "switched": [c.to_json() for c in worked],
        "prove": PROVE,
        "apart": APART,
    }
    return Page(template="circuit.html", data=data)


@page(blueprint, "/load")
def load() -> Page:
    """The loads that were noted, per circuit and panel, and what that does not say."""
    return Page(template="load.html", data={"panels": [p.to_json() for p in panel_loads(record())]})


@page(blueprint, "/cables")
def cables() -> Page:
    """Every cable with its kind, both ends, length and test; ``use`` narrows it."""
    use = _use()
    rows = cable_schedule(record(), use)
    listed = [row.to_json() | {"length_text": length_text(row, unit())} for row in rows]
    return Page(template="cables.html", data={"cables": listed, "use": use, "uses": list(CABLE_USES)})


@blueprint.get("/cables.pdf")
def cables_sheet() -> Response:
    """The same, to print."""
    rows, name, today = cable_schedule(record(), _use()), record().building.name, date.today().isoformat()
    return Response(cables_pdf(rows, name, unit(), today, paper()), mimetype=PDF)


def _use() -> str | None:
    use = request.args.get("use") or None
    if use is not None and use not in CABLE_USES:
        abort(400, f"cables are for {' or '.join(CABLE_USES)}")
    return use


@page(blueprint, "/trimout")
def trimout() -> Page:
    """Every box in walking order, room by room."""
    rooms = [
        room.to_json()
        | {"count_text": count_text(room),
           "boxes": [b.to_json() | {"where": where_text(b, unit())} for b in room.boxes]}
        for room in trim_out(record())
    ]  # fmt: skip
    return Page(template="trimout.html", data={"rooms": rooms})


@blueprint.get("/trimout.pdf")
def trimout_sheet() -> Response:
    """The same, to tick off on paper."""
    name, today = record().building.name, date.today().isoformat()
    return Response(trimout_pdf(trim_out(record()), name, unit(), today, paper()), mimetype=PDF)


@blueprint.get("/circuits/card.pdf")
def card() -> Response:
    """The card for the panel door, with its date and revision."""
    panels = schedules(record())
    if not panels:
        abort(404, "no panel and no circuit is in this record yet")
    return Response(schedule_pdf(panels, record().building.name, date.today().isoformat()), mimetype=PDF)
