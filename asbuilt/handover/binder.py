"""The paper binder: the whole record as one PDF to print at 100 %, on Letter or A4.

Every part is a PDF of its own; they are put together, numbered through and given a table of
contents at the end, when it is known how long each of them is.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from pypdf import PdfReader, PdfWriter
from reportlab.lib.units import inch
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Flowable, Spacer
from tqdm import tqdm

from asbuilt.answers.coverage import coverage_of
from asbuilt.answers.directory import schedules
from asbuilt.answers.readiness import readiness
from asbuilt.answers.trimout import trim_out
from asbuilt.answers.view import view_of
from asbuilt.handover import binder_text as text
from asbuilt.handover.binder_face import face_pdf
from asbuilt.handover.binder_plan import plan_flowables
from asbuilt.handover.opendata import short_fingerprint
from asbuilt.handover.pictures import Shown
from asbuilt.record import Media, Picture, Record
from asbuilt.record.types import COPYING
from asbuilt.sheets.flow import BODY, HEAD, PART, SIDE_PT, SMALL, flowed_pdf, ruled_table, strong, words
from asbuilt.sheets.paper import PAPERS_PT, REGULAR, register_fonts
from asbuilt.sheets.readiness import readiness_pdf
from asbuilt.sheets.schedule import schedule_pdf
from asbuilt.sheets.trimout import trimout_pdf

PAPERS = ("letter", "a4")
MOST_CONTENTS_PAGES = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """A part of the binder."""

    title: str
    pdf: bytes
    page_count: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Binder:
    """What goes with every page: the record, the paper, the day, and the record's fingerprint."""

    record: Record
    paper: str
    printed_on: str
    mark: str
    left_out: tuple[str, ...] = ()

    @property
    def size_pt(self) -> tuple[float, float]:
        """Width and height of the paper, upright [pt]."""
        return PAPERS_PT[self.paper]

    @property
    def width_pt(self) -> float:
        """Between the margins of an upright page [pt]."""
        return self.size_pt[0] - 2 * SIDE_PT

    @property
    def foot(self) -> str:
        """What every page says at its foot."""
        return f"{self.record.building.name}, printed {self.printed_on}. {text.FOOT}"


def binder_pdf(binder: Binder, shown: Shown) -> bytes:
    """The binder of a record as PDF.

    Parameters
    ----------
    binder : Binder
    shown : Shown
        Decodes the pictures; keeps what could not be decoded.
    """
    made = [_part(title, make()) for title, make in tqdm(_parts(binder, shown), desc=f"binder, {binder.paper}",
                                                         unit="part", leave=False, disable=None)]  # fmt: skip
    made = [part for part in made if part.page_count]
    contents = _contents(binder, made)
    return _bound(binder, [contents, *made])


def _parts(binder: Binder, shown: Shown) -> list[tuple[str, Callable[[], bytes]]]:
    """Titles of the parts with what makes each."""
    record, paper, day = binder.record, binder.paper, binder.printed_on
    building = record.building
    parts: list[tuple[str, Callable[[], bytes]]] = [
        ("How to read this, cautions", lambda: _flowed(binder, list(_reading(binder)))),
        ("Plan, shut-offs", lambda: _flowed(binder, plan_flowables(record, binder.width_pt))),
    ]
    if panels := schedules(record):
        parts.append(("Panel schedule and circuit directory", lambda: schedule_pdf(panels, building.name, day, paper)))
    for face_id, face in view_of(record).faces.items():
        title = f"{face.title}, {view_of(record).face(face_id).room.name}"
        parts.append((title, lambda face_id=face_id: face_pdf(binder, face_id, shown)))
    if not binder.left_out:  # of a part these lists would look complete
        parts += [
            ("Trim-out sheet", lambda: trimout_pdf(trim_out(record), building.name, building.unit, day, paper)),
            ("Before cover-up: what was open", lambda: readiness_pdf(record, readiness(record), day, paper)),
        ]
    parts.append(("Originals and their digests", lambda: _flowed(binder, list(_originals(binder)))))
    return [*parts, ("Words used", lambda: _flowed(binder, list(_glossary(binder))))]


def _part(title: str, pdf: bytes) -> Part:
    return Part(title=title, pdf=pdf, page_count=len(PdfReader(io.BytesIO(pdf)).pages))


def _flowed(binder: Binder, story: list[Flowable]) -> bytes:
    return flowed_pdf(story, binder.size_pt, binder.record.building.name, binder.foot, numbered=False)


def _reading(binder: Binder) -> Iterator[Flowable]:
    yield words("How to read this", HEAD)
    for line in text.READING:
        yield words(line)
        yield Spacer(0, 4)
    yield words("Before you drill or cut", PART)
    for line in text.CAUTIONS:
        yield words(f"\u2022 {line}")
    yield words("How it was measured, and how sure it is", PART)
    for line in text.MEASURED:
        yield words(line)
        yield Spacer(0, 4)
    yield from _evidence(binder)
    yield words("To open this record again", PART)
    for line in text.OPENING:
        yield words(line)
        yield Spacer(0, 4)


def _evidence(binder: Binder) -> Iterator[Flowable]:
    """What was filmed and how much of it could be used, face by face."""
    view = view_of(binder.record)
    rows = [[strong(h) for h in ("Face", "Well recorded", "Poorly", "NOT recorded", "Pictures placed")]]
    for face_id, face in view.faces.items():
        coverage = coverage_of(binder.record, face_id)
        shares = [words(f"{100 * share:.0f} %") for share in coverage.shares()]
        rows.append([words(face.title), *shares, words(str(len(coverage.picture_ids)))])
    yield Spacer(0, 4)
    yield ruled_table(rows, [binder.width_pt * share for share in (0.36, 0.16, 0.16, 0.16, 0.16)])
    yield Spacer(0, 4)
    placed, every = len(view.placements), len(view.pictures)
    yield words(f"{placed} of {every} pictures could be placed; the others are kept and shown, but nothing is "
                "measured in them.")  # fmt: skip


def _originals(binder: Binder) -> Iterator[Flowable]:
    """Each original with its digest, so that a file can be told from a changed one by hand."""
    yield words("Originals and their digests", HEAD)
    yield words(text.DIGESTS)
    rows = [[strong(h, style=SMALL) for h in ("File", "Taken", "Bytes", "SHA-256")]]
    for media in binder.record.all(Media):
        taken = media.taken_at or "not known"
        digest = "still being copied into the record" if media.state == COPYING else media.id
        rows.append([words(c, SMALL) for c in (media.name, taken, str(media.byte_count), digest)])
    yield Spacer(0, 4)
    yield ruled_table(rows, [binder.width_pt * share for share in (0.2, 0.2, 0.11, 0.49)])


def _glossary(binder: Binder) -> Iterator[Flowable]:
    yield words("Words used", HEAD)
    for word, meaning in text.GLOSSARY:
        yield strong(word, f": {meaning}")
        yield Spacer(0, 3)


def _contents(binder: Binder, parts: Sequence[Part]) -> Part:
    """The cover with the table of contents, whose own length moves every number in it."""
    for own in range(1, MOST_CONTENTS_PAGES):
        cover = _part("Contents", _flowed(binder, list(_cover(binder, parts, own))))
        if cover.page_count <= own:
            return cover
    return cover


def _cover(binder: Binder, parts: Sequence[Part], first_page: int) -> Iterator[Flowable]:
    record = binder.record
    pictures = sorted(p.taken_at[:10] for p in record.all(Picture) if p.taken_at)
    days = " to ".join(dict.fromkeys([pictures[0], pictures[-1]])) if pictures else "on a day that is not known"
    title = HEAD.clone("title", fontSize=24, leading=30, spaceBefore=1.0 * inch)
    large = BODY.clone("large", fontSize=11, leading=15)
    yield words(record.building.name, title)
    yield words("What is inside the walls: a measured record made before they were covered", large)
    yield Spacer(0, 12)
    yield words(f"Pictures taken {days}. Printed {binder.printed_on}.", large)
    yield words(f"Fingerprint of the record: {short_fingerprint(binder.mark)}", large)
    yield Spacer(0, 12)
    yield strong(text.FOOT, style=large)
    yield Spacer(0, 6)
    yield words("Print at 100 % (not fit to page); hold a tape to the check ruler on each drawing.", large)
    if binder.left_out:
        yield words("Left out of this copy", PART)
        for line in binder.left_out:
            yield words(f"\u2022 {line}")
    yield words("Contents", PART)
    rows, page = [], first_page + 1
    for part in parts:
        rows.append([words(part.title, large), words(str(page), large)])
        page += part.page_count
    yield ruled_table(rows, [0.88 * binder.width_pt, 0.12 * binder.width_pt], repeat_head=False)


def _bound(binder: Binder, parts: Sequence[Part]) -> bytes:
    """All parts as one document with a number on every page and a bookmark at every part."""
    writer = PdfWriter()
    for part in parts:
        writer.append(io.BytesIO(part.pdf), outline_item=part.title, import_outline=False)
    count = len(writer.pages)
    for number, page in enumerate(writer.pages, start=1):
        size = (float(page.mediabox.width), float(page.mediabox.height))
        page.merge_page(PdfReader(io.BytesIO(_number(number, count, size))).pages[0])
    writer.add_metadata({"/Title": f"{binder.record.building.name}: what is inside the walls"})
    writer.compress_identical_objects()
    out = io.BytesIO()
    writer.write(out)
    return out.getvalue()


def _number(number: int, count: int, size_pt: tuple[float, float]) -> bytes:
    register_fonts()
    out = io.BytesIO()
    canvas = Canvas(out, pagesize=size_pt, invariant=1)
    canvas.setFont(REGULAR, 8)
    canvas.drawRightString(size_pt[0] - SIDE_PT, size_pt[1] - 0.35 * inch, f"binder {number} / {count}")
    canvas.save()
    return out.getvalue()
