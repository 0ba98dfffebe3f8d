"""Readiness before cover-up on paper: for each face what is open, its key drawing, a photo of each item."""

from __future__ import annotations

import io
from collections.abc import Iterator, Sequence

from reportlab.lib.styles import ParagraphStyle
from reportlab.platypus import CondPageBreak, Flowable, Image, PageBreak, Spacer, Table, TableStyle

from asbuilt.answers import wording
from asbuilt.answers.checks.rule import CANNOT_TELL, DOES_NOT, Finding
from asbuilt.answers.checks.run import BY_ID
from asbuilt.answers.readiness import NOT_DECIDED, FaceReadiness, ItemLine, ReadinessAnswer, grouped_findings
from asbuilt.record import Record
from asbuilt.sheets.crops import crops_of
from asbuilt.sheets.flow import BODY, HEAD, PART, SIDE_PT, SMALL, flowed_pdf, strong, words
from asbuilt.sheets.key_drawing import KeyDrawing
from asbuilt.sheets.paper import PAPERS_PT

PHOTOS_IN_A_ROW = 7
PHOTO_ROW_PT = 125.0
TITLE = ParagraphStyle("title", parent=PART, keepWithNext=0)  # keeping would take a whole table along
GAP_PT = 6.0


def readiness_pdf(record: Record, answer: ReadinessAnswer, printed_on: str, paper: str = "letter") -> bytes:
    """Each face from a new page, then what lies on no face.

    Parameters
    ----------
    record : Record
        Whose pictures are cut out.
    answer : ReadinessAnswer
    printed_on : str
    paper : str
        letter or a4.
    """
    size_pt = PAPERS_PT[paper]
    width_pt, unit = size_pt[0] - 2 * SIDE_PT, record.building.unit
    story: list[Flowable] = []
    for face in answer.faces:
        if story:
            story.append(PageBreak())
        story += _face(record, face, width_pt, unit)
    if answer.elsewhere or answer.left_out or answer.not_looked_at:
        story += [PageBreak(), *_elsewhere(answer)]
    foot = f"{answer.building}, before cover-up, printed {printed_on}. A list of what is open on record, no verdict."
    return flowed_pdf(story, size_pt, f"Before cover-up, {answer.building}", foot)


def _face(record: Record, face: FaceReadiness, width_pt: float, unit: str) -> Iterator[Flowable]:
    yield words(f"{face.title}, {face.room}", HEAD)
    yield strong(face.sentence)
    yield words(_facts(face))
    yield Spacer(0, 4)
    yield KeyDrawing(record, face, width_pt)
    yield words("Numbers as in the photos below. Hatched: not recorded. Dotted: seen but poor.", SMALL)
    yield from _again(face)
    numbers = {line.name: f"{line.number} {line.label or line.name}" for line in face.items}
    yield from _findings("Does not meet", face.does_not_meet, numbers, BODY)
    yield from _findings("Cannot tell", face.cannot_tell, numbers, SMALL)
    yield from _listed("Open", [("", text) for text in face.open_items], BODY)
    yield words(f"{face.met_count} findings meet their figure. {NOT_DECIDED}", SMALL)
    if face.items:
        yield CondPageBreak(PHOTO_ROW_PT)  # a title does not stand alone
        yield words(f"{len(face.items)} items, each where it was marked", TITLE)
        yield _photos(record, face.items, width_pt, unit)


def _again(face: FaceReadiness) -> Iterator[Flowable]:
    """What to photograph again, places of one reason together."""
    by_reason: dict[str, list[str]] = {}
    for s in face.coverage.shortfalls:
        by_reason.setdefault(s.reason, []).append(s.text.removesuffix(f": {s.reason}"))
    lines = [(f"{reason}: ", "; ".join(places)) for reason, places in by_reason.items()]
    yield from _listed("To photograph again", lines, SMALL, count=len(face.coverage.shortfalls))


def _findings(
    title: str, findings: Sequence[Finding], numbers: dict[str, str], style: ParagraphStyle
) -> Iterator[Flowable]:
    """Findings of one result, a line for each rule; items by the numbers they have on the page."""
    by_rule: dict[str, list[str]] = {}
    for _, rule_id, text, subjects in grouped_findings(findings):
        named = ", ".join(numbers.get(s, s) for s in subjects)
        by_rule.setdefault(rule_id, []).append(f"{named}: {text}")
    lines = [(f"{BY_ID[rule_id].title}. ", "; ".join(texts)) for rule_id, texts in by_rule.items()]
    yield from _listed(title, lines, style, count=len(findings))


def _facts(face: FaceReadiness) -> str:
    cover = face.coverage
    covering = ", ".join(face.coverings) or "no covering on record"
    filling = f", {face.insulation}" if face.insulation else ""
    covered = f"covered {face.covered_on}" if face.covered_on else "not covered yet on record"
    return (
        f"Well recorded {100 * cover.well_share:.0f} %, seen but poor {100 * cover.poor_share:.0f} %, not recorded "
        f"{100 * cover.not_recorded_share:.0f} %. Planned: {covering}{filling}; {covered}."
    )


def _listed(
    title: str, lines: list[tuple[str, str]], style: ParagraphStyle, count: int | None = None
) -> Iterator[Flowable]:
    """A part with its title, how many it lists, and its lines (bold words, other words)."""
    if lines:
        yield words(f"{title} ({len(lines) if count is None else count})", PART)
        yield from (strong(bold, text, style) if bold else words(text, style) for bold, text in lines)


def _photos(record: Record, items: tuple[ItemLine, ...], width_pt: float, unit: str) -> Table:
    crops = crops_of(record, [line.photo for line in items if line.photo is not None])
    side_pt = (width_pt - (PHOTOS_IN_A_ROW - 1) * GAP_PT) / PHOTOS_IN_A_ROW
    cells = [_photo_cell(line, crops.get(line.item_id), side_pt, unit) for line in items]
    cells += [""] * (-len(cells) % PHOTOS_IN_A_ROW)
    rows = [cells[i : i + PHOTOS_IN_A_ROW] for i in range(0, len(cells), PHOTOS_IN_A_ROW)]
    table = Table(rows, colWidths=[side_pt + GAP_PT * 0.75] * PHOTOS_IN_A_ROW)
    table.setStyle(TableStyle([("VALIGN", (0, 0), (-1, -1), "TOP"), ("LEFTPADDING", (0, 0), (-1, -1), 0),
                               ("RIGHTPADDING", (0, 0), (-1, -1), GAP_PT * 0.75)]))  # fmt: skip
    return table


def _photo_cell(line: ItemLine, jpeg: bytes | None, side_pt: float, unit: str) -> list[Flowable]:
    circuit = f", circuit {line.circuit_number}" if line.circuit_number else ""
    place = "not located"
    if line.offset_m is not None:
        place = f"{wording.length(line.offset_m, unit)} from left, {wording.length(line.height_m, unit)} up"
    caption = [strong(f"{line.number} {line.name}", circuit, SMALL), words(place, SMALL)]
    if jpeg is None:
        return [strong("no photo on record", style=SMALL), *caption]
    taken = f"{line.photo.name}, {line.photo.taken_at[:10]}" if line.photo.taken_at else line.photo.name
    return [Image(io.BytesIO(jpeg), width=side_pt, height=side_pt), *caption, words(taken, SMALL)]


def _elsewhere(answer: ReadinessAnswer) -> Iterator[Flowable]:
    yield words("On no face", HEAD)
    yield from _listed("Film that was not looked at", [("", text) for text in answer.not_looked_at], BODY)
    for result in (DOES_NOT, CANNOT_TELL):
        yield from _findings(result.capitalize(), [f for f in answer.elsewhere if f.result == result], {}, BODY)
    yield from _listed("Rules not looked at", [("", text) for text in answer.left_out], BODY)
