"""Rules on boxes: fill, free conductor, set-out, made-up joints, boxes back to back."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from asbuilt.answers.box_fill import CUBIC_INCH_M3, Filling, cable_conductors, filling_in3
from asbuilt.answers.checks.rule import (
    CANNOT_TELL,
    CODE,
    DOES_NOT,
    MEETS,
    PRACTICE,
    Figure,
    Figures,
    Finding,
    Rule,
    at_least,
    at_most,
)
from asbuilt.answers.checks.site import Site, Spot, finding
from asbuilt.answers.conductors import Conductors, box_allowance_in3, conductors
from asbuilt.answers.things import far_link
from asbuilt.record import BoxDetail, Device, Item
from asbuilt.units import format_volume

# Devices that are no yoke.
NO_YOKE = ("blank", "light", "fan", "lamp", "fixture", "smoke alarm", "data jack", "outlet for")
SAME_IN3 = 1e-6  # volumes that differ by less are one volume: far below the last printed figure
STATED_SIGMA_M = 0.0008  # a set-out is read to 1/16 in; half of that as its spread (common practice, no source)


def box_fill(site: Site, figures: Figures) -> Iterator[Finding]:
    """The volume of each box against what its cables and devices need."""
    for box in site.wiring.boxes.values():
        leads = [lead for lead in site.wiring.leads_at(box.id) if lead.use == "power"]
        if _is_low_voltage(site, box, leads):
            continue
        result, text = _fill(site, box, [lead.wire for lead in leads], figures)
        yield finding("box-fill", result, site.of_item(box.id), text)


def _is_low_voltage(site: Site, box: Item, power: Sequence) -> bool:
    low = any(lead.use == "low voltage" for lead in site.wiring.leads_at(box.id))
    return not power and (low or box.circuit_id is None)


def _fill(site: Site, box: Item, wires: Sequence[Conductors | None], figures: Figures) -> tuple[str, str]:
    detail = site.wiring.details.get(box.id) or BoxDetail(id=box.id)
    if not wires:
        return CANNOT_TELL, "no cable into it is on record"
    if any(w is None or w.awg is None or w.count is None for w in wires):
        return CANNOT_TELL, "the conductors of a cable into it are not on record"
    devices = [d for d in site.wiring.devices.get(box.id, ()) if not _no_yoke(d)]
    least, most = (_needed(wires, devices, detail, largest, figures) for largest in (False, True))
    if least is None or most is None:
        return CANNOT_TELL, "no figure at hand for one of its conductors"
    need = _in3(site, most) if most - least < SAME_IN3 else f"{_in3(site, least)} to {_in3(site, most)}"
    if not site.wiring.devices.get(box.id):
        need += " without its devices, which are not on record"
    words = f"{len(wires)} cable{'s' if len(wires) > 1 else ''} need {need}"
    if detail.volume_m3 is None:
        return CANNOT_TELL, f"{words}; the volume of the box is not on record"
    volume = detail.volume_m3 / CUBIC_INCH_M3
    words += f", the box has {format_volume(detail.volume_m3, site.unit)}"
    if least > volume + SAME_IN3:
        return DOES_NOT, words
    known = bool(site.wiring.devices.get(box.id))
    return (MEETS if most <= volume + SAME_IN3 and known else CANNOT_TELL), words


def _needed(wires, devices: Sequence[Device], detail: BoxDetail, largest: bool, figures: Figures) -> float | None:
    """The least, or the most, volume that what is on record can need [in^3]."""
    cables = [(w.awg, w.count) for w in wires]
    sizes = sorted({awg for awg, _ in cables}, key=lambda awg: -awg)  # thinnest first
    yokes = []
    for device in devices:
        stated = conductors(f"#{device.wire}") or conductors(device.wire) if device.wire else None
        yokes.append(stated.awg if stated else sizes[-1 if largest else 0])
    clamps = detail.clamps if detail.clamps is not None else largest
    filling = Filling(conductors_awg=cable_conductors(cables), grounds_awg=tuple(awg for awg, _ in cables),
                      clamps=clamps, yokes_awg=tuple(yokes))  # fmt: skip
    return filling_in3(filling, lambda awg: figures.get(f"awg-{awg}"))


def _no_yoke(device: Device) -> bool:
    return any(word in device.kind.lower() for word in NO_YOKE)


def _in3(site: Site, volume_in3: float) -> str:
    return format_volume(volume_in3 * CUBIC_INCH_M3, site.unit)


def _allowances() -> tuple[Figure, ...]:
    return tuple(
        Figure(name=f"awg-{awg}", value=box_allowance_in3(awg), unit="in3", text=f"each conductor of {awg} AWG")
        for awg in (18, 14, 12, 10, 8, 6)
    )


def free_conductor(site: Site, figures: Figures) -> Iterator[Finding]:
    """The shortest conductor in each box, from where it leaves the sheath and outside the opening."""
    for box in site.wiring.boxes.values():
        detail = site.wiring.details.get(box.id)
        if _is_low_voltage(site, box, [lead for lead in site.wiring.leads_at(box.id) if lead.use == "power"]):
            continue
        values = [
            (getattr(detail, f"{name}_m", None), figures[name], words)
            for name, words in (("free_conductor", "from the sheath"), ("free_outside", "outside the opening"))
        ]
        given = [v for v in values if v[0] is not None]
        texts = [f"{site.length(value)} {words}, figure {site.length(least)}" for value, least, words in given]
        missing = [words for v, _, words in values if v is None]
        if any(at_least(value, 0.0, least) == DOES_NOT for value, least, _ in given):
            result = DOES_NOT
        else:
            result = CANNOT_TELL if missing else MEETS
        texts += [f"length {words} not on record" for words in missing]
        yield finding("free-conductor", result, site.of_item(box.id), "; ".join(texts))


def box_set_out(site: Site, figures: Figures) -> Iterator[Finding]:
    """How far each box was set out against the covering that is planned for its face."""
    for box, found in _set_outs(site):
        if isinstance(found, str):
            yield finding("box-set-out", CANNOT_TELL, site.of_item(box.id), found)
            continue
        out_m, sigma_m, covering_m = found
        result = at_most(abs(out_m - covering_m), sigma_m, figures["most_apart"])
        text = f"set out {site.measure(out_m, sigma_m)}, covering planned {site.length(covering_m)}"
        yield finding("box-set-out", result, site.of_item(box.id), text)


def box_setback(site: Site, figures: Figures) -> Iterator[Finding]:
    """How far each box would lie behind the finished face."""
    for box, found in _set_outs(site):
        if isinstance(found, str):
            yield finding("box-setback", CANNOT_TELL, site.of_item(box.id), found)
            continue
        out_m, sigma_m, covering_m = found
        back_m = covering_m - out_m
        flush, most = at_most(back_m, sigma_m, figures["flush"]), at_most(back_m, sigma_m, figures["most_back"])
        text = f"would lie {site.measure(max(back_m, 0.0), sigma_m)} behind the finished face"
        if flush == MEETS or most == DOES_NOT:
            result = MEETS if flush == MEETS else DOES_NOT
        else:
            result, text = CANNOT_TELL, f"{text}: allowed or not depends on whether the covering counts as combustible"
        yield finding("box-setback", result, site.of_item(box.id), text)


def _set_outs(site: Site) -> Iterator[tuple[Item, tuple[float, float, float] | str]]:
    """Each box with (set-out, sigma, covering) [m], or with what is missing."""
    for box in site.wiring.boxes.values():
        detail, known = site.wiring.details.get(box.id), site.spot_of(box.id)
        face_id = known[0] if known else box.face_id
        covering_m = site.view.covering_m(face_id) if face_id else 0.0
        if covering_m <= 0:
            yield box, "no covering is planned on record for its face"
        elif detail is not None and detail.set_out_m is not None:
            yield box, (detail.set_out_m, STATED_SIGMA_M, covering_m)
        elif known is None or not known[1].measured:
            yield box, "how far it was set out was not measured"
        else:
            yield box, (-float(known[1].point_m[2]), float(known[1].sigma_m[2]), covering_m)


def made_up(site: Site, figures: Figures) -> Iterator[Finding]:
    """Whether grounds and neutrals of each box are spliced before it is looked at."""
    for box in site.wiring.boxes.values():
        detail = site.wiring.details.get(box.id)
        done = detail.made_up if detail else None
        result = {True: MEETS, False: DOES_NOT, None: CANNOT_TELL}[done]
        text = {True: "made up", False: "not made up", None: "whether it is made up is not on record"}[done]
        yield finding("made-up", result, site.of_item(box.id), text)


def back_to_back(site: Site, figures: Figures) -> Iterator[Finding]:
    """Boxes on the two faces of a wall that has to resist fire."""
    for face_id, face in site.view.faces.items():
        far = site.view.far_faces.get(face_id)
        if far is None or face.rated is False or far.id < face_id:
            continue
        rated = face.rated if face.rated is not None else far.rated
        total_m, _ = far_link(face, far)
        mirrored = [(item, total_m - s.point_m[0], s) for item, s in site.on_face(far.id, "device box", "junction box")]
        for box, spot in site.on_face(face_id, "device box", "junction box"):
            yield from _apart(site, box, spot, face_id, mirrored, rated, figures["least"])


def _apart(site: Site, box: Item, spot: Spot, face_id: str, mirrored, rated, least_m: float) -> Iterator[Finding]:
    if not mirrored:
        return
    other, there_m, there = min(mirrored, key=lambda m: abs(m[1] - spot.point_m[0]))
    apart_m = abs(float(there_m - spot.point_m[0]))
    sigma_m = math.hypot(spot.sigma_m[0], there.sigma_m[0])
    result = at_least(apart_m, sigma_m, least_m)
    text = f"{site.measure(apart_m, sigma_m)} along the wall from {other.label or other.id} on the other face"
    if rated is None and result != MEETS:
        result, text = CANNOT_TELL, f"{text}; whether the wall has to resist fire is not on record"
    yield finding("back-to-back", result, site.of_item(box.id, spot, face_id), f"{text}, figure {site.length(least_m)}")


_FILL_SOURCE = "two published tables of the allowances; counting as in four published worked examples"

RULES = (
    Rule(
        id="box-fill", title="Box fill", standing=CODE, clause="NFPA 70 314.16(B)", edition="2020", source=_FILL_SOURCE,
        compares="the volume stamped into a box with what its conductors, clamps, grounds and devices need",
        figures=_allowances(), regions=("us",), find=box_fill,
    ),
    Rule(
        id="free-conductor", title="Free conductor at boxes", standing=CODE, clause="NFPA 70 300.14", edition="2023",
        source="the clause as quoted on a question-and-answer page; trade press on 2020",
        compares="the shortest conductor in a box with the least length",
        figures=(
            Figure(name="free_conductor", value=6 * 0.0254, unit="m", text="6 in from where it leaves the sheath"),
            Figure(name="free_outside", value=3 * 0.0254, unit="m", text="3 in outside an opening under 8 in"),
        ),
        regions=("us",), find=free_conductor,
    ),
    Rule(
        id="box-set-out", title="Box set-out against the covering", standing=PRACTICE, clause="", edition="",
        source="common practice: boxes set out for the board or sheathing that is really planned, tile included",
        compares="how far a box stands in front of the studs with the thickness of the planned covering",
        figures=(Figure(name="most_apart", value=0.125 * 0.0254, unit="m", text="1/8 in either way"),),
        find=box_set_out,
    ),
    Rule(
        id="box-setback", title="Box behind the finished face", standing=CODE, clause="NFPA 70 314.20", edition="2020",
        source="forum and trade pages, which disagree whether gypsum counts as combustible: this tool does not say",
        compares="how far a box would lie behind the finished face with the most that is allowed in what does not burn",
        figures=(
            Figure(name="most_back", value=0.25 * 0.0254, unit="m", text="1/4 in; flush in what burns"),
            Figure(name="flush", value=0.0625 * 0.0254, unit="m", text="counts as flush (common practice, no source)"),
        ),
        regions=("us",), find=box_setback,
    ),
    Rule(
        id="made-up", title="Boxes made up", standing=PRACTICE, clause="", edition="",
        source="an inspectors' forum: grounds and neutrals spliced, so that fill and joints can be seen at rough-in",
        compares="whether the joints of a box are made before the wall is covered", find=made_up,
    ),
    Rule(
        id="back-to-back", title="Boxes back to back in a rated wall", standing=CODE,
        clause="building code on membrane penetrations; clause not read", edition="",
        source="an inspectors' forum: 24 in apart along the wall, or listed pads",
        compares="how far apart along the wall boxes on its two faces are",
        figures=(Figure(name="least", value=24 * 0.0254, unit="m", text="24 in, or listed pads"),),
        regions=("us",), find=back_to_back,
    ),
)  # fmt: skip
