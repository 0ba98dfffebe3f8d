"""Readiness before cover-up: coverage, checks, open items and a photo of each item, face by face.

It says what is still open on record; whether a wall may be closed is not for it to say.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from asbuilt.answers import wording
from asbuilt.answers.checks.page import grouped
from asbuilt.answers.checks.rule import ASK, CANNOT_TELL, DOES_NOT, MEETS, RESULTS, Finding
from asbuilt.answers.checks.run import CheckAnswer, run_checks
from asbuilt.answers.coverage import FaceState, before_cover_up
from asbuilt.answers.doubts import outdated
from asbuilt.answers.item_photos import ItemPhoto, photos_of
from asbuilt.answers.reply import Reply
from asbuilt.answers.wiring import UNKNOWN, Wiring, wiring_of
from asbuilt.errors import NotInRecordError
from asbuilt.record import Item, Position, Record

NOT_DECIDED = f"What is listed is what the record shows as open. {ASK}"


@dataclass(frozen=True, slots=True, kw_only=True)
class ItemLine(Reply):
    """One item of a face, numbered from the left, with its photo if it has one."""

    number: int
    item_id: str
    name: str
    label: str
    circuit_number: str
    offset_m: float | None
    height_m: float | None
    photo: ItemPhoto | None


@dataclass(frozen=True, slots=True, kw_only=True)
class FaceReadiness(Reply):
    """All that is known and all that is open of one face before it is covered."""

    face_id: str
    title: str
    room: str
    covered_on: str | None
    coverings: tuple[str, ...]
    insulation: str
    coverage: FaceState
    does_not_meet: tuple[Finding, ...]
    cannot_tell: tuple[Finding, ...]
    met_count: int
    open_items: tuple[str, ...]
    items: tuple[ItemLine, ...]
    sentence: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadinessAnswer(Reply):
    """Every face in one walk, and what belongs to no face."""

    building: str
    faces: tuple[FaceReadiness, ...]
    not_looked_at: tuple[str, ...]  # film, whatever walls it shows
    elsewhere: tuple[Finding, ...]  # findings that lie on no face: circuits, panels
    left_out: tuple[str, ...]  # rules that were not looked at
    note: str = NOT_DECIDED


def readiness(record: Record, face_id: str | None = None) -> ReadinessAnswer:
    """What is open before cover-up, of one face or of all.

    Raises
    ------
    NotInRecordError
        If there is no such face.
    """
    wiring = wiring_of(record)
    if face_id is not None:
        wiring.view.face(face_id)
    checks = run_checks(record)
    covered = before_cover_up(record)
    states = {s.face_id: s for s in covered.faces}
    wanted = [f for f in wiring.view.faces if face_id in (None, f)]
    if not wanted:
        raise NotInRecordError(f"{record.folder} has no face yet; load a plan first")
    return ReadinessAnswer(
        building=record.building.name,
        faces=tuple(_face(wiring, f, states[f], checks) for f in wanted),
        not_looked_at=covered.not_looked_at,
        elsewhere=tuple(f for f in checks.findings(DOES_NOT, CANNOT_TELL) if f.face_id is None),
        left_out=tuple(f"{rule.title}: {rule.why}" for rule in checks.left_out),
    )


def _face(wiring: Wiring, face_id: str, state: FaceState, checks: CheckAnswer) -> FaceReadiness:
    view, unit = wiring.view.face(face_id), wiring.view.building.unit
    items = _items_on(wiring, face_id)
    photos = photos_of(wiring.view, [i.id for i in items])
    lines = tuple(_line(wiring, n, item, photos) for n, item in enumerate(items, start=1))
    failed, unclear = (tuple(checks.findings(r, face_id=face_id)) for r in (DOES_NOT, CANNOT_TELL))
    open_items = tuple(_open_items(wiring, face_id, items, photos, state))
    return FaceReadiness(
        face_id=face_id, title=view.face.title, room=view.room.name, covered_on=view.covered_on,
        coverings=tuple(f"{wording.length(c.thickness_m, unit)} {c.material}" for c in view.coverings),
        insulation=view.face.insulation, coverage=state, does_not_meet=failed, cannot_tell=unclear,
        met_count=len(checks.findings(MEETS, face_id=face_id)), open_items=open_items, items=lines,
        sentence=_sentence(len(state.shortfalls), len(failed), len(unclear), len(open_items)),
    )  # fmt: skip


def _sentence(again: int, failed: int, unclear: int, open_: int) -> str:
    counts = [(again, "to photograph again"), (failed, DOES_NOT), (unclear, CANNOT_TELL), (open_, "open")]
    said = [f"{count} {words}" for count, words in counts if count]
    return ", ".join(said) if said else "nothing open on record"


def _items_on(wiring: Wiring, face_id: str) -> list[Item]:
    """Items of a face from the left, those without a place last."""

    def left_m(item: Item) -> float:
        places = [p.offset_m for p in wiring.positions.get(item.id, ()) if p.face_id == face_id]
        return min(places, default=1e9)

    own = [i for i in wiring.items.values() if i.face_id == face_id or left_m(i) < 1e9]
    return sorted((i for i in own if i.kind != "staple"), key=lambda i: (left_m(i), i.id))


def _line(wiring: Wiring, number: int, item: Item, photos: dict[str, ItemPhoto]) -> ItemLine:
    places = wiring.positions.get(item.id, ())
    place = places[len(places) // 2] if places else None  # the middle of a run
    circuit = wiring.circuits.get(item.circuit_id or "")
    return ItemLine(
        number=number, item_id=item.id, name=wording.thing_name(item.kind, item.label), label=item.label,
        circuit_number=circuit.number if circuit else "", offset_m=place.offset_m if place else None,
        height_m=place.height_m if place else None, photo=photos.get(item.id),
    )  # fmt: skip


def _open_items(wiring: Wiring, face_id: str, items: list[Item], photos, state: FaceState) -> Iterator[str]:
    doubts = outdated(wiring.view, {i.id: wiring.positions[i.id] for i in items if i.id in wiring.positions})
    for item in items:
        name = wording.thing_name(item.kind, item.label) + ("" if item.label else f" {item.id}")
        if item.state == "proposed":
            yield f"{name}: found by the program, not confirmed by a person"
        if item.id not in wiring.positions:
            refused = wiring.record.all(Position, item_id=item.id, status="refused")
            yield f"{name}: not located" + (f" ({refused[0].reason})" if refused and refused[0].reason else "")
        if item.id in doubts:
            yield f"{name}: {doubts[item.id]}"
        if item.id not in photos:
            yield f"{name}: no photo of it on record"
        if wiring.kind(item.id).hazard == "live" and item.circuit_id is None and item.kind != "panel":
            yield f"{name}: no circuit on record"
    for lead in wiring.leads.values():
        runs = [i for i in lead.item_ids if i in wiring.items]
        if runs and wiring.items[runs[0]].face_id == face_id:
            missing = sum(end.kind == UNKNOWN for end in lead.ends)
            if missing:
                label = wiring.items[runs[0]].label or lead.id
                yield f"cable {wording.quoted(label)}: {missing} of its ends not on record"
    yield from (f"picture not placed: {text}" for text in state.not_placed)
    if not wiring.view.coverings.get(face_id):
        yield "no covering is planned on record: depths count from the stud face"


def grouped_findings(findings: Sequence[Finding]) -> list[tuple[str, str, str, list[str]]]:
    """(result, rule, text, subjects) with findings of equal text together, the most pressing first."""
    kinds = dict.fromkeys((f.result, f.rule_id) for f in findings)
    return [
        (result, rule_id, text, subjects)
        for result, rule_id in sorted(kinds, key=lambda kind: RESULTS.index(kind[0]))
        for text, subjects in grouped(f for f in findings if (f.result, f.rule_id) == (result, rule_id))
    ]


def readiness_text(answer: ReadinessAnswer) -> str:
    """Readiness for the screen: one block for each face, then what lies on no face."""
    blocks = ["\n".join(_face_lines(face)) for face in answer.faces]
    if answer.not_looked_at:
        blocks.append("\n".join(["Film that was not looked at:", *(f"  {line}" for line in answer.not_looked_at)]))
    if answer.elsewhere:
        rest = [f"  {result}: {'; '.join(s)}: {text}" for result, _, text, s in grouped_findings(answer.elsewhere)]
        blocks.append("\n".join(["On no face:", *rest]))
    return "\n\n".join([*blocks, answer.note])


def _face_lines(face: FaceReadiness) -> Iterator[str]:
    yield f"{face.title}, {face.room}: {face.sentence}"
    cover = face.coverage
    yield (
        f"  well recorded {100 * cover.well_share:.0f} %, seen but poor {100 * cover.poor_share:.0f} %, "
        f"not recorded {100 * cover.not_recorded_share:.0f} %"
    )
    yield from (f"  photograph again: {s.text}" for s in cover.shortfalls)
    for result, rule_id, text, subjects in grouped_findings((*face.does_not_meet, *face.cannot_tell)):
        yield f"  {result}: {'; '.join(subjects)}: {text} [{rule_id}]"
    yield from (f"  open: {text}" for text in face.open_items)
    yield f"  {face.met_count} findings meet their figure; {len(face.items)} items"
