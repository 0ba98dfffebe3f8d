"""What the offline viewer needs to answer by itself: every face with its things, courses and coverage."""

from __future__ import annotations

import base64
from collections.abc import Iterator, Sequence
from dataclasses import asdict

import numpy as np

from asbuilt.answers import coverage as cover_rules
from asbuilt.answers import drill_wording, wording
from asbuilt.answers.coverage import FaceCoverage, coverage_of
from asbuilt.answers.doubts import HARMLESS, outdated
from asbuilt.answers.drill import CLOSE_CHANCE, GUESSED_CHANCE, HIT_CHANCE
from asbuilt.answers.find import find
from asbuilt.answers.landmarks import marks_on
from asbuilt.answers.routes import expected_routes
from asbuilt.answers.stretches import BEYOND
from asbuilt.answers.things import Thing, far_link
from asbuilt.answers.touch import normal_points
from asbuilt.answers.unconfirmed import UNCONFIRMED_M, reach_of
from asbuilt.answers.view import FaceView, View, view_of
from asbuilt.record import Event, Item, Record, Sighting
from asbuilt.record.kinds import KINDS
from asbuilt.record.proposal_row import PROPOSED, Proposal
from asbuilt.sheets.elevation import elevation_sheet
from asbuilt.sheets.svg import svg
from asbuilt.steps.sight import SOLE_PLATE_M, TOP_PLATE_M

DIGITS = 9  # significant: a nanometre on a metre
LAYERS = ("count", "obliquity", "light", "sharpness", "resolution", "error")
LONGEST_RUN = 65_535
BOUNDLESS_M = 1e9


def viewer_data(record: Record, files: dict[str, str], elevations: dict[str, str], left_out: Sequence[str]) -> dict:
    """Everything the viewer knows, as plain values.

    Parameters
    ----------
    files : dict
        Picture id to the file that shows it; pictures without one are only named.
    elevations : dict
        Face id to the file of its elevation picture.
    left_out : sequence of str
        What is not in this copy, for people.
    """
    view = view_of(record)
    return {
        "building": view.building.name,
        "unit": view.building.unit,
        "about": _about(view),
        "left_out": list(left_out),
        "words": words(),
        "nodes": base64.b64encode(normal_points().astype("<f8").tobytes()).decode(),
        "sole_plate_m": SOLE_PLATE_M,
        "top_plate_m": TOP_PLATE_M,
        "limits": {"hit_chance": HIT_CHANCE, "close_chance": CLOSE_CHANCE, "guessed": BEYOND,
                   "guessed_chance": GUESSED_CHANCE, "unconfirmed_m": UNCONFIRMED_M},
        "circuits": {c.id: _circuit(view, c) for c in view.circuits.values()},
        "panels": list(_panels(view)),
        "pictures": _pictures(view, files),
        "cameras": list(_cameras(view)),
        "faces": [_face(record, view, face_id, elevations.get(face_id)) for face_id in view.faces],
        "finds": list(_finds(record, view)),
    }


def words() -> dict:
    """The fixed sentences of answers, which the viewer takes over as they are."""
    named = {**vars(wording), **vars(drill_wording)}
    fixed = {name: value for name, value in named.items() if name.isupper() and isinstance(value, str)}
    return fixed | {"POOR": wording.COVER[1], "WELL": wording.COVER[2], "CAUTIONS": list(wording.CAUTIONS)}


def _about(view: View) -> str:
    days = sorted(p.taken_at[:10] for p in view.pictures.values() if p.taken_at and p.stage == "open")
    when = " to ".join(dict.fromkeys([days[0], days[-1]])) if days else "on a day that is not known"
    return f"What is inside the walls of {view.building.name}, from pictures taken {when}, before they were covered."


def _circuit(view: View, circuit) -> dict:
    panel = view.panels[circuit.panel_id].name if circuit.panel_id in view.panels else ""
    return {"number": circuit.number, "name": circuit.name, "amps": circuit.amps, "volts": circuit.volts,
            "panel": panel}  # fmt: skip


def _panels(view: View) -> Iterator[dict]:
    for panel in [*view.panels.values(), None]:
        own = [c for c in view.circuits.values() if c.panel_id == (panel.id if panel else None)]
        if panel is None and not own:
            continue
        own.sort(key=lambda c: (int("".join(filter(str.isdigit, c.number.split("+")[0])) or 10**6), c.number))
        rating = ", ".join(f"{v:g} {u}" for v, u in ((panel.amps, "A"), (panel.volts, "V")) if v) if panel else ""
        yield {"name": panel.name if panel else "No panel given", "about": rating, "rows": [_row(c) for c in own]}


def _row(circuit) -> list[str]:
    breaker = f"{circuit.amps:g} A" if circuit.amps else ""
    poles = f"{circuit.poles} poles" if circuit.poles > 1 else ""
    rating = ", ".join(p for p in (breaker, poles) if p)
    return [circuit.number, circuit.name, rating, circuit.cable, circuit.feeds, circuit.state]


def _pictures(view: View, files: dict[str, str]) -> dict:
    found = {}
    for p in view.pictures.values():
        name = view.media_names.get(p.media_id, p.id)
        found[p.id] = {
            "name": name if p.pts_s is None else f"{name} at {p.pts_s:.2f} s", "taken_at": p.taken_at or "",
            "stage": p.stage, "width_px": p.width_px, "height_px": p.height_px, "file": files.get(p.id),
        }  # fmt: skip
    return found


def _cameras(view: View) -> Iterator[dict]:
    bank = view.bank
    for i, picture_id in enumerate(bank.ids):
        yield {
            "id": picture_id, "rotation": _numbers(bank.rotation[i]), "translation_m": _numbers(bank.translation_m[i]),
            "center_m": _numbers(bank.center_m[i]), "lens": _numbers(bank.lens[i]),
            "size_px": [int(v) for v in bank.size_px[i]],
        }  # fmt: skip


def _face(record: Record, view: View, face_id: str, elevation: str | None) -> dict:
    face = view.face(face_id)
    own, pose, coverage = face.face, face.building_from_face, coverage_of(record, face_id)
    sightings: dict[str, list[Sighting]] = {}
    for s in record.all(Sighting, target="item"):
        sightings.setdefault(s.target_id, []).append(s)
    drawing = elevation_sheet(record, face_id, picture_layer=elevation)
    things = view.things_on(face_id)
    doubts = outdated(view, {t.item.id: t.positions for t in things})
    return {
        "id": own.id, "title": own.title, "kind": own.kind, "room": face.room.name,
        "length_m": own.length_m, "height_m": own.height_m,
        "stud_depth_m": own.stud_depth_m, "spacing_m": own.spacing_m, "exterior": own.exterior,
        "open_behind": own.open_behind, "sheathing_m": own.sheathing_m, "covering_m": face.covering_m,
        "covered_on": face.covered_on or "", "studs": [asdict(s) for s in face.studs],
        "stud_edges": [list(edges) for edges in face.framing.studs_m],
        "bays": [{"number": b.number, "left_m": b.left.center_m, "right_m": b.right.center_m} for b in face.bays],
        "openings": [
            {"kind": o.kind, "left_m": o.left_m, "right_m": o.right_m, "bottom_m": o.bottom_m, "top_m": o.top_m}
            for o in face.openings
        ],
        "pose": {"rotation": _numbers(pose.rotation), "translation_m": _numbers(pose.translation_m)},
        "far": _far(view, face), "events": list(_events(view, face)),
        "marks": [{"name": n, "offset_m": x, "sigma_m": s} for n, x, s in marks_on(view, face)],
        "expected": [r.to_json() for r in expected_routes(view, face_id)], "shares": list(coverage.shares()),
        "cover": _cover(coverage), "proposals": list(_proposals(record, face_id)),
        "things": [_thing(t, sightings.get(t.item.id, []), doubts.get(t.item.id, "")) for t in things],
        "svg": svg(drawing),
    }  # fmt: skip


def _far(view: View, face: FaceView) -> dict | None:
    if face.far is None:
        return None
    other = view.face(face.far.id)
    offset_sum_m, height_shift_m = far_link(face.face, face.far)
    return {"id": face.far.id, "title": face.far.title, "room": other.room.name, "covering_m": other.covering_m,
            "offset_sum_m": offset_sum_m, "height_shift_m": height_shift_m}  # fmt: skip


def _events(view: View, face: FaceView) -> Iterator[dict]:
    """Events that may make the record of a face doubtful, with their extent on this face.

    Those of the far face are turned round; where no extent is given it is without bounds.
    """
    for event in face.events:
        yield from _event(event, 0.0, 1.0, 0.0)
    if face.far is not None:
        offset_sum_m, height_shift_m = far_link(face.face, face.far)
        for event in view.face(face.far.id).events:
            if event.face_id == face.far.id:
                yield from _event(event, offset_sum_m, -1.0, height_shift_m)


def _event(event: Event, offset_sum_m: float, sign: float, height_shift_m: float) -> Iterator[dict]:
    if event.kind in HARMLESS:
        return
    sides = [offset_sum_m + sign * (x if x is not None else bound)
             for x, bound in ((event.left_m, -sign * BOUNDLESS_M), (event.right_m, sign * BOUNDLESS_M))]  # fmt: skip
    bottom, top = (z - height_shift_m if z is not None else bound
                   for z, bound in ((event.bottom_m, -BOUNDLESS_M), (event.top_m, BOUNDLESS_M)))  # fmt: skip
    yield {"id": event.id, "kind": event.kind, "date": event.date, "note": event.note, "left_m": min(sides),
           "right_m": max(sides), "bottom_m": bottom, "top_m": top}  # fmt: skip


def _cover(coverage: FaceCoverage) -> dict:
    rows, cols = coverage.classes.shape
    # Why a cell is poor is only ever asked of cells that are.
    poor = coverage.classes < cover_rules.WELL
    layers = {name: _runs(np.where(poor, coverage.layers[name], 0)) for name in LAYERS} if coverage.worked_out else {}
    return {
        "cell_m": coverage.cell_m, "rows": rows, "cols": cols, "worked_out": coverage.worked_out,
        "classes": _runs(coverage.classes), "best": _runs(coverage.best + 1), "layers": layers,
        "picture_ids": list(coverage.picture_ids),
        "limits": {"obliquity": cover_rules.WELL_OBLIQUITY_DEG, "sharpness": cover_rules.WELL_SHARPNESS,
                   "light": cover_rules.WELL_LIGHT, "resolution": cover_rules.WELL_PX_PER_INCH,
                   "count": cover_rules.WELL_COUNT, "sigma_m": cover_rules.WELL_SIGMA_M,
                   "error_step_m": cover_rules.ERROR_STEP_M},
    }  # fmt: skip


def _runs(cells: np.ndarray) -> str:
    """Runs of equal values as pairs of 16 bits (value, how often), in base64."""
    flat = cells.ravel().astype(np.int64)
    starts = np.concatenate([[0], np.flatnonzero(np.diff(flat)) + 1])
    lengths = np.diff(np.concatenate([starts, [len(flat)]]))
    pairs: list[tuple[int, int]] = []
    for value, length in zip(flat[starts].tolist(), lengths.tolist(), strict=True):
        pairs += [(value, LONGEST_RUN)] * (length // LONGEST_RUN) + [(value, length % LONGEST_RUN)]
    return base64.b64encode(np.array(pairs, "<u2").tobytes()).decode()


def _proposals(record: Record, face_id: str) -> Iterator[dict]:
    """What the pictures propose on a face and nobody has decided on."""
    for p in record.all(Proposal, face_id=face_id, state=PROPOSED):
        yield {"id": p.id, "kind": p.kind, "sheath": p.sheath, "points": [list(point[:2]) for point in p.points_m],
               "reach_m": reach_of(p)}  # fmt: skip


def _thing(thing: Thing, sightings: Sequence[Sighting], doubt: str) -> dict:
    item = thing.item
    spot_of = {p.place: i for i, p in enumerate(thing.positions)}
    return {
        "item_id": item.id, "kind": item.kind, "label": item.label, "cable": item.cable, "state": item.state,
        "note": item.note, "doubt": doubt, "comes_from": item.comes_from, "goes_to": item.goes_to,
        "hazard": thing.kind.hazard, "is_run": thing.kind.is_run,
        "circuit_id": thing.circuit.id if thing.circuit else None,
        "on_far_face": thing.on_far_face, "method": " and ".join(sorted({p.method for p in thing.positions})),
        "picture_count": max(p.picture_count for p in thing.positions),
        "usual_depth": all(p.method == "usual depth" for p in thing.positions),
        "spots": [s.point_m.tolist() for s in thing.spots],
        "sightings": [
            {"picture_id": s.picture_id, "x_px": s.x_px, "y_px": s.y_px, "spot": spot_of.get(s.place)}
            for s in sightings
        ],
        "radius": thing.radius_m, "block": _block(thing.block), "course": [_stretch(s) for s in thing.course],
    }  # fmt: skip


def _block(block) -> dict | None:
    if block is None:
        return None
    return {"center": block.center_m.tolist(), "cov": _numbers(block.cov.ravel()),
            "half_w": _number(block.half_width_m), "half_h": _number(block.half_height_m),
            "wider": _numbers(np.array(block.wider_m).reshape(-1, 2))}  # fmt: skip


def _stretch(s) -> dict:
    # Points in full: a run that turns exactly at a stud must still lie exactly at it.
    return {"start": s.start_m.tolist(), "end": s.end_m.tolist(), "start_cov": _numbers(s.start_cov.ravel()),
            "end_cov": _numbers(s.end_cov.ravel()), "group": s.group, "alternative": s.alternative,
            "weight": _number(s.weight), "status": s.status}  # fmt: skip


def _number(value: float) -> float:
    return float(f"{float(value):.{DIGITS}g}")


def _numbers(values: np.ndarray) -> list:
    return [_numbers(v) if np.ndim(v) else _number(v) for v in values]


def _finds(record: Record, view: View) -> Iterator[dict]:
    """Every item with how to get to it, for the list that is searched."""
    unit = view.building.unit
    kinds = sorted({i.kind for i in record.all(Item) if i.state != "removed"}, key=list(KINDS).index)
    for kind in kinds:
        answer = find(record, kind=kind)
        for found in answer.found:
            t = found.thing
            sigma_m = t.depth_error_95_m / wording.COVER_95
            depth = wording.depth(t.depth_m, t.depth_finished_m - t.depth_m, sigma_m, unit)
            lines = [e.text for e in found.ends] or [wording.place(t, unit), depth]
            lines += [m.text for m in found.landmarks] + [found.cross_check] + [d.text for d in found.doubts]
            number, name = (t.circuit.number, f"circuit {t.circuit.number} {t.circuit.name}") if t.circuit else ("", "")
            where = f"{found.face_title}, {found.room}"
            text = " ".join((t.name, t.cable, name, t.comes_from, t.goes_to, where, *t.notes)).lower()
            yield {"name": t.name, "number": number, "where": where, "face_id": found.face_id, "offset_m": t.offset_m,
                   "height_m": t.height_m, "lines": [line for line in lines if line], "text": text}  # fmt: skip
        for line in answer.not_located:
            yield {"name": line, "number": "", "where": "", "face_id": None, "offset_m": None, "height_m": None,
                   "lines": [], "text": line.lower()}  # fmt: skip
