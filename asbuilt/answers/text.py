"""Answers as plain text for the terminal, in the record's unit."""

from __future__ import annotations

from collections.abc import Iterator

from asbuilt.answers import drill_wording, wording
from asbuilt.answers.behind import BayAnswer, BehindAnswer
from asbuilt.answers.coverage import CoverageAnswer, FaceState
from asbuilt.answers.described import ThingAnswer
from asbuilt.answers.drill import DrillAnswer
from asbuilt.answers.find import FindAnswer
from asbuilt.answers.fixing import FixingAnswer
from asbuilt.answers.marks import PictureMark
from asbuilt.answers.pattern import HoleAnswer, PatternAnswer, PlaceInstead
from asbuilt.answers.pole import PoleAnswer
from asbuilt.answers.unconfirmed import unconfirmed_words
from asbuilt.answers.wording import COVER_95, length


def behind_text(answer: BehindAnswer) -> str:
    """The answer of ``behind`` as lines for a terminal."""
    unit = answer.unit
    lines = [wording.asked(answer.face_title, answer.room, answer.offset_m, answer.height_m, answer.within_m, unit)]
    lines += [answer.sentence, wording.record_line(answer.covering, answer.recorded_on, answer.age, answer.covered_on)]
    lines += [f"DOUBTFUL: {d.text}. {d.note}".rstrip() for d in answer.doubts]
    lines += [answer.inside] if answer.inside else []
    for bay in answer.bays:
        lines += ["", *_bay(bay, answer)]
    lines += ["", *unconfirmed_words(answer.unconfirmed, unit)] if answer.unconfirmed else []
    lines += ["", *_surroundings(answer)]
    lines += _block("Where cable runs:", [r.text for r in answer.expected])
    lines += _block("Switch off first:", [c.text for c in answer.circuits_off])
    lines += _block("To find the place:", _find(answer))
    lines += _block("Before you drill or cut:", answer.cautions)
    return "\n".join(lines)


def _bay(bay: BayAnswer, answer: BehindAnswer) -> Iterator[str]:
    unit = answer.unit
    name = "Face" if bay.number is None else f"Bay {bay.number}"
    mark = ", asked about" if bay.asked else ""
    yield f"{name} ({length(bay.left_m, unit)} to {length(bay.right_m, unit)}{mark}): {bay.outcome}"
    for thing in bay.things:
        yield from _thing(thing, answer)
    for gap in bay.gaps:
        yield f"  ? {gap.text}"


def _thing(thing: ThingAnswer, answer: BehindAnswer) -> Iterator[str]:
    unit = answer.unit
    circuit = f", {thing.circuit.text}" if thing.circuit else ""
    cable = f" {thing.cable}" if thing.cable else ""
    yield f"  - {thing.name}{cable}{circuit}"
    yield f"      {wording.place(thing, unit)}"
    sigma_m = thing.depth_error_95_m / COVER_95
    yield f"      {wording.depth(thing.depth_m, answer.covering_m, sigma_m, unit, answer.from_face)}"
    yield f"      {wording.measured(thing.method, thing.picture_count, thing.seen_on)}"
    for note in thing.notes:
        yield f"      {note}"
    if thing.pictures:
        yield f"      pictures: {'; '.join(_mark(m) for m in thing.pictures)}"


def _mark(mark: PictureMark) -> str:
    return f"{mark.name} at ({mark.x_px:.0f}, {mark.y_px:.0f}){'' if mark.sighted else ' *'}"


def _surroundings(answer: BehindAnswer) -> Iterator[str]:
    unit = answer.unit
    if answer.studs:
        studs = ", ".join(f"{length(s.center_m, unit, s.error_95_m / COVER_95)} ({s.source})" for s in answer.studs)
        yield f"Stud centres: {studs}"
    for o in answer.openings:
        sides = f"{length(o.left_m, unit)} to {length(o.right_m, unit)}"
        yield f"{o.kind.capitalize()}: {sides}, {length(o.bottom_m, unit)} to {length(o.top_m, unit)} up"
    if any(not m.sighted for bay in answer.bays for t in bay.things for m in t.pictures):
        yield f"* {wording.PREDICTED}"


def drill_text(answer: DrillAnswer) -> str:
    """The answer of ``drill`` as lines for a terminal."""
    unit = answer.unit
    asked = drill_wording.drill_asked(
        answer.face_title, answer.offset_m, answer.height_m, answer.bit_m, answer.depth_m, _asked_from(answer), unit
    )
    lines = [asked, "", answer.outcome.upper(), answer.sentence]
    lines += [f"STOP. {answer.stop}"] if answer.stop else []
    lines += [f"DOUBTFUL: {d.text}. {d.note}".rstrip() for d in answer.doubts]
    lines += [wording.record_line(answer.covering, answer.recorded_on, answer.age, "")]
    lines += [answer.inside] if answer.inside else []
    if answer.other_side.comes_out:
        lines += [drill_wording.came_out(answer.other_side.wall_m, answer.other_side.text, unit)]
    lines += _block("Near the hole:", [t.text for t in answer.things])
    lines += _block("Nearest along the wall:", _ways(answer))
    lines += ["", *unconfirmed_words(answer.unconfirmed, unit)] if answer.unconfirmed else []
    wood = [w.text + (f", {length(w.wood_m, unit)} of wood" if w.wood_m > 0 else "") for w in answer.wood]
    lines += _block("Wood:", wood)
    lines += _block("Where cable runs:", [r.text for r in answer.expected])
    lines += _block("Screws:", [answer.screw.text, drill_wording.rule(answer.rule_depth_m, answer.from_face, unit)])
    lines += _block("Switch off first:", [c.text for c in answer.circuits_off])
    lines += _block("To find the place:", _find(answer))
    lines += _block("Look at:", [_mark(m).rstrip(" *") for m in answer.pictures])
    lines += _block("Before you drill:", answer.cautions)
    return "\n".join(lines)


def _asked_from(answer: DrillAnswer) -> str:
    return drill_wording.from_face("stud") if answer.depth_from == "stud" else answer.from_face


def pattern_text(answer: PatternAnswer) -> str:
    """The answer of ``drill_pattern`` as lines for a terminal."""
    lines = [f"{answer.face_title}: {len(answer.holes)} holes", "", answer.outcome.upper()]
    lines += [f"DOUBTFUL: {d.text}. {d.note}".rstrip() for d in answer.doubts]
    lines += [answer.inside] if answer.inside else []
    lines += [_hole(h, answer.unit) for h in answer.holes]
    lines += ["", answer.text[:1].upper() + answer.text[1:] + "."]
    if answer.best is not None:
        lines += [_hole(h, answer.unit) for h in answer.best.holes]
    lines += _block("To find the first hole:", _find(answer))
    lines += _block("Before you drill:", answer.cautions)
    return "\n".join(lines)


def _hole(hole: HoleAnswer, unit: str) -> str:
    near = f", {length(max(hole.clearance_m, 0), unit)} after error from {hole.nearest}" if hole.nearest else ""
    wood = ", in a stud" if hole.in_stud else ""
    return f"  {length(hole.offset_m, unit)}, {length(hole.height_m, unit)} up: {hole.outcome}{near}{wood}"


def instead_text(places: tuple[PlaceInstead, ...]) -> str:
    """The answer of ``places_instead`` as lines for a terminal."""
    lines = [
        "; ".join([p.text + (", in a stud" if p.in_stud else ""), *(m.text for m in p.landmarks)]) for p in places
    ]
    return "\n".join(_block("Places instead:", lines or [drill_wording.NO_PLACE]))


def fixing_text(answer: FixingAnswer) -> str:
    """The answer of ``fixing`` as lines for a terminal."""
    unit = answer.unit
    up = "" if answer.height_m is None else f", {length(answer.height_m, unit)} up"
    lines = [f"{answer.face_title}: wood within {length(answer.within_m, unit)} of "
             f"{length(answer.offset_m, unit)} from the left end{up}"]  # fmt: skip
    lines += [f"DOUBTFUL: {d.text}. {d.note}".rstrip() for d in answer.doubts]
    lines += [f"{answer.covering[:1].upper()}{answer.covering[1:]}."]
    lines += [answer.inside] if answer.inside else []
    studs = ["; ".join([s.text, *(m.text for m in s.landmarks)]) for s in answer.studs]
    lines += _block("Studs:", studs or ["none on record within that range"])
    blocking = [b.text + ("; the place asked about lies on it" if b.holds_place else "") for b in answer.blocking]
    lines += _block("Blocking:", blocking or ["none recorded within that range; that does not prove there is none"])
    lines += _block("To find the place:", [answer.cross_check] if answer.cross_check else [])
    return "\n".join([*lines, "", answer.note])


def find_text(answer: FindAnswer) -> str:
    """The answer of ``find`` as lines for a terminal."""
    if not answer.found and not answer.not_located:
        return f"Nothing on record matches {answer.asked}. That does not prove there is none."
    lines: list[str] = []
    for found in answer.found:
        t = found.thing
        lines += ["", f"{t.name}{f', {t.circuit.text}' if t.circuit else ''}", f"  {found.face_title}, {found.room}"]
        covering_m = t.depth_finished_m - t.depth_m
        depth = wording.depth(t.depth_m, covering_m, t.depth_error_95_m / COVER_95, answer.unit)
        # A run has no one place: its ends say more.
        lines += [f"  {end.text}" for end in found.ends] or [f"  {wording.place(t, answer.unit)}", f"  {depth}"]
        lines += [f"  {m.text}" for m in found.landmarks]
        lines += [f"  {found.cross_check}"] if found.cross_check else []
        lines += [f"  DOUBTFUL: {d.text}" for d in found.doubts]
        lines += [f"  {note}" for note in t.notes]
        lines += [f"  pictures: {'; '.join(_mark(m) for m in t.pictures)}"] if t.pictures else []
    lines += _block("Not located:", answer.not_located)
    return "\n".join(lines[1:] if lines and not lines[0] else lines)


def pole_text(answer: PoleAnswer) -> str:
    """A story pole as a list for a terminal."""
    level = f", runs as they cross {length(answer.height_m, answer.unit)} up" if answer.height_m is not None else ""
    lines = [f"{answer.face_title}: story pole from the left end (rough corner, before covering){level}"]
    lines += [f"DOUBTFUL: {d.text}. {d.note}".rstrip() for d in answer.doubts]
    lines += [m.text for m in answer.marks]
    return "\n".join(lines + _block("Not well recorded:", [g.text for g in answer.gaps]))


def _ways(answer: DrillAnswer) -> Iterator[str]:
    for way in answer.nearest:
        yield drill_wording.way(way.direction, way.name, way.gap_m, way.error_95_m, answer.unit)


def _find(answer) -> Iterator[str]:
    yield from (m.text for m in answer.landmarks)
    if answer.cross_check:
        yield answer.cross_check


def _block(title: str, lines) -> list[str]:
    listed = [f"  - {line}" for line in lines]
    return ["", title, *listed] if listed else []


def coverage_text(answer: CoverageAnswer) -> str:
    """The before-cover-up list as lines for a terminal."""
    rows = [("face", "well", "poor", "not recorded", "pictures", "before cover-up")]
    rows += [
        (f.face_id, _share(f.well_share), _share(f.poor_share), _share(f.not_recorded_share), str(f.placed_count),
         "go" if f.go else "not yet")
        for f in answer.faces
    ]  # fmt: skip
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    lines = ["  ".join(cell.ljust(w) for cell, w in zip(row, widths, strict=True)).rstrip() for row in rows]
    for face in answer.faces:
        lines += _face_list(face)
    lines += _block("Film that was not looked at:", answer.not_looked_at)
    lines += _block("Also open:", answer.loose_ends)
    return "\n".join(lines)


def _share(value: float) -> str:
    return f"{100 * value:.0f} %"


def _face_list(face: FaceState) -> list[str]:
    return _block(face.sentence, [*(s.text for s in face.shortfalls), *(f"not placed: {p}" for p in face.not_placed)])
