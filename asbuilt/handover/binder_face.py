"""The pages of one face: elevation at scale with its check ruler, lists, coverage, pictures."""

from __future__ import annotations

import io
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from reportlab.lib.units import inch
from reportlab.platypus import (
    BaseDocTemplate,
    Flowable,
    Frame,
    Image,
    NextPageTemplate,
    PageBreak,
    PageTemplate,
    Spacer,
    Table,
)

from asbuilt.answers import wording
from asbuilt.answers.coverage import coverage_of, shortfalls
from asbuilt.answers.landmarks import marks_on
from asbuilt.answers.pole import pole
from asbuilt.answers.things import Thing
from asbuilt.answers.view import FaceView, View, view_of
from asbuilt.handover.binder_pictures import chosen_for_face, marked_jpegs
from asbuilt.handover.pictures import Shown
from asbuilt.record import Picture
from asbuilt.record.elevations import elevation_of, overview_path
from asbuilt.sheets.drawing import Drawing
from asbuilt.sheets.elevation import elevation_sheet
from asbuilt.sheets.flow import FOOT_PT, HEAD, HEAD_PT, PART, SIDE_PT, SMALL, ruled_table, strong, words
from asbuilt.sheets.framing import bay_numbers, face_ground, outline
from asbuilt.sheets.hatch import hatched
from asbuilt.sheets.paper import REGULAR, register_fonts
from asbuilt.sheets.pdf import DrawingFlowable, draw_drawing, scale_for
from asbuilt.sheets.pole_ruler import check_ruler
from asbuilt.sheets.recorded import unseen_areas
from asbuilt.units import format_error, format_length

if TYPE_CHECKING:
    from asbuilt.handover.binder import Binder

RULER_PT = 0.75 * inch
MAP_TALLEST_PT = 2.7 * inch
ITEM_SHARES = (0.05, 0.29, 0.17, 0.17, 0.16, 0.16)
PICTURES_IN_A_ROW = 2


class ElevationPage(Flowable):
    """A drawing at scale that fills a page turned sideways, with the ruler that proves the scale."""

    def __init__(self, drawing: Drawing, width_pt: float, height_pt: float, unit: str) -> None:
        super().__init__()
        self.drawing, self.width, self.height = drawing, width_pt, height_pt
        self.scale = scale_for(drawing.width_m, drawing.height_m, width_pt, height_pt - RULER_PT, unit)

    def draw(self) -> None:
        """Draw the elevation above, the ruler below."""
        draw_drawing(self.canv, self.drawing, 0.0, RULER_PT, self.scale.denominator)
        check_ruler(self.canv, 0.0, 0.3 * inch)
        self.canv.setFont(REGULAR, 9)
        self.canv.drawString(6.3 * inch, 0.32 * inch, f"Scale {self.scale.words}, when the ruler measures true.")


def face_pdf(binder: Binder, face_id: str, shown: Shown) -> bytes:
    """The pages of a face."""
    view = view_of(binder.record)
    with tempfile.TemporaryDirectory(prefix="asbuilt-") as scratch:
        story = list(_story(binder, view, view.face(face_id), shown, Path(scratch)))
        return _built(binder, story, view.faces[face_id].title)


def _built(binder: Binder, story: list[Flowable], title: str) -> bytes:
    register_fonts()
    out = io.BytesIO()

    def foot(canvas, _document) -> None:
        canvas.setFillGray(0)
        canvas.setFont(REGULAR, 7)
        canvas.drawString(SIDE_PT, FOOT_PT - 12, binder.foot)

    document = BaseDocTemplate(out, title=title, invariant=1)
    for name, size in (("sideways", binder.size_pt[::-1]), ("upright", binder.size_pt)):
        frame = Frame(SIDE_PT, FOOT_PT, size[0] - 2 * SIDE_PT, size[1] - HEAD_PT - FOOT_PT, 0, 0, 0, 0)
        document.addPageTemplates([PageTemplate(id=name, frames=[frame], pagesize=size, onPage=foot)])
    document.build(story)
    return out.getvalue()


def _story(binder: Binder, view: View, face: FaceView, shown: Shown, scratch: Path) -> Iterator[Flowable]:
    record, unit = binder.record, view.building.unit
    long_pt = binder.size_pt[1] - 2 * SIDE_PT
    tall_pt = binder.size_pt[0] - HEAD_PT - FOOT_PT - 1
    drawing = elevation_sheet(record, face.face.id, drawn_on=binder.printed_on)
    yield ElevationPage(drawing, long_pt, tall_pt, unit)
    yield NextPageTemplate("upright")
    yield PageBreak()
    yield from _head(face, unit)
    yield from _items(view, face, binder.width_pt)
    yield from _landmarks(view, face)
    yield from _coverage(binder, view, face)
    yield from _pole(binder, face)
    yield from _elevation_picture(binder, face)
    yield from _pictures(binder, view, face, shown, scratch)


def _head(face: FaceView, unit: str) -> Iterator[Flowable]:
    own = face.face
    yield words(f"{own.title}, {face.room.name}", HEAD)
    size = f"{format_length(own.length_m, unit)} long, {format_length(own.height_m, unit)} high, studs "
    size += f"{format_length(own.stud_depth_m, unit)} deep."
    yield words(f"{size} {wording.covering(face.covering_m, unit)[:1].upper()}"
                f"{wording.covering(face.covering_m, unit)[1:]}.")  # fmt: skip
    closed = f"Covered {face.covered_on}." if face.covered_on else "No day of covering is on record."
    yield words(closed)
    if face.far is not None:
        yield words(f"On the other side: {face.far.title}.")
    for event in face.events:
        yield words(f"{event.date}: {event.kind}. {event.note}")


def numbered(view: View, face: FaceView) -> list[tuple[int, Thing]]:
    """The things of a face itself, numbered from its left end."""
    own = [t for t in view.things_on(face.face.id) if not t.on_far_face and t.spots and (t.block or t.kind.is_run)]
    own.sort(key=lambda t: (min(s.point_m[0] for s in t.spots), t.item.id))
    return list(enumerate(own, start=1))


def _items(view: View, face: FaceView, width_pt: float) -> Iterator[Flowable]:
    unit = view.building.unit
    from_face = "finished face" if face.covering_m > 0 else "stud face"
    yield words(f"What was recorded, from the left end; depth from the {from_face}; +/- at 95 %", PART)
    things = numbered(view, face)
    if not things:
        yield words("Nothing was marked on this face. That does not prove it empty: see what was not recorded.")
        return
    heads = ("No.", "What", "Offset", "Height", "Depth", "How measured")
    rows = [[strong(h, style=SMALL) for h in heads]]
    for number, thing in things:
        rows += _rows(number, thing, face, unit)
    yield ruled_table(rows, [share * width_pt for share in ITEM_SHARES])
    yield words("A run has a line for each place where it was marked. A thing that is not listed may still be there.",
                SMALL)  # fmt: skip


def _rows(number: int, thing: Thing, face: FaceView, unit: str) -> Iterator[list]:
    circuit = f", circuit {thing.circuit.number} {thing.circuit.name}" if thing.circuit else ""
    name = f"{wording.thing_name(thing.item.kind, thing.item.label)} {thing.item.cable}".strip()
    notes = [n for n in (thing.item.note, "proposed, not confirmed" if thing.item.state == "proposed" else "") if n]
    for first, (spot, position) in enumerate(zip(thing.spots, thing.positions, strict=True)):
        sigma = np.sqrt(np.maximum(np.diag(spot.cov), 0))
        x, z, y = (float(v) for v in spot.point_m)
        cells = [_measure(v, float(s), unit) for v, s in zip((x, z, y + face.covering_m), sigma, strict=True)]
        what = [strong(name, circuit, style=SMALL), *(words(n, SMALL) for n in notes)] if first == 0 else ""
        how = wording.measured(position.method, position.picture_count, "")
        yield [words(str(number) if first == 0 else "", SMALL), what, *cells, words(how, SMALL)]


def _measure(value_m: float, sigma_m: float, unit: str) -> Flowable:
    error = format_error(sigma_m, unit).removesuffix(" at 95 %")
    shown = format_length(abs(value_m), unit, sigma_m)
    proud = " proud" if value_m < 0 and shown.split()[0] != "0" else ""
    return words(f"{shown}{proud} {error}", SMALL)


def _landmarks(view: View, face: FaceView) -> Iterator[Flowable]:
    unit = view.building.unit
    yield words("Landmarks that stay visible, by offset", PART)
    for name, offset_m, sigma_m in sorted(marks_on(view, face), key=lambda m: m[1]):
        where = format_length(offset_m, unit, sigma_m)
        yield words(f"{where} {format_error(sigma_m, unit).removesuffix(' at 95 %')}: {name}", SMALL)


def _coverage(binder: Binder, view: View, face: FaceView) -> Iterator[Flowable]:
    coverage, row = coverage_of(binder.record, face.face.id), face.face
    well, poor, missing = (f"{100 * share:.0f} %" for share in coverage.shares())
    yield words("What the pictures show", PART)
    yield words(f"Well recorded {well}, seen but poor {poor} (dotted), NOT recorded {missing} (hatched): what is "
                "behind the hatched part is unknown.")  # fmt: skip
    unseen, dim = unseen_areas(binder.record, row)
    parts = [face_ground(row), hatched(dim, "seen but poor", "coverage"), hatched(unseen, "not recorded", "coverage"),
             outline(row), bay_numbers(list(face.studs), -0.11)]  # fmt: skip
    drawing = Drawing(left_m=-0.05, bottom_m=-0.3, right_m=row.length_m + 0.05, top_m=row.height_m + 0.05,
                      title="Coverage", parts=tuple(parts))  # fmt: skip
    scale = scale_for(drawing.width_m, drawing.height_m, binder.width_pt, MAP_TALLEST_PT, view.building.unit)
    yield Spacer(0, 4)
    yield DrawingFlowable(drawing, scale.denominator)
    for shortfall in shortfalls(coverage):
        yield words(f"{shortfall.recorded}: {shortfall.text}", SMALL)


def _pole(binder: Binder, face: FaceView) -> Iterator[Flowable]:
    yield words("Story pole: every mark from the left end (rough corner, before covering)", PART)
    for mark in pole(binder.record, face.face.id).marks:
        yield words(mark.text, SMALL)


def _elevation_picture(binder: Binder, face: FaceView) -> Iterator[Flowable]:
    elevation = elevation_of(binder.record, face.face.id)
    if elevation is None or not overview_path(binder.record, elevation).is_file():
        return
    path = overview_path(binder.record, elevation)
    width = binder.width_pt
    yield words("The open wall, straightened from the pictures: stud faces to scale, deeper things shifted", PART)
    yield Image(str(path), width=width, height=width * elevation.height_px / elevation.width_px)


def _pictures(binder: Binder, view: View, face: FaceView, shown: Shown, scratch: Path) -> Iterator[Flowable]:
    things = numbered(view, face)
    chosen = chosen_for_face(binder.record, face.face.id, {t.item.id for _, t in things})
    if not chosen:
        return
    yield PageBreak()
    yield words(f"Pictures of {face.face.title}; the numbers are those of the list", PART)
    yield words("Ring: marked in this picture. Square: worked out from the camera's place; it may be hidden.", SMALL)
    cell_pt = binder.width_pt / PICTURES_IN_A_ROW
    cells = []
    for picture, jpeg, size_px in marked_jpegs(view, face, chosen, things, shown):
        path = scratch / f"{picture.id}.jpg"
        path.write_bytes(jpeg)
        width = cell_pt - 8
        scale = min(width / size_px[0], 0.9 * width / size_px[1])
        image = Image(str(path), width=scale * size_px[0], height=scale * size_px[1])
        cells.append([image, words(_caption(view, picture), SMALL)])
    for first in range(0, len(cells), PICTURES_IN_A_ROW):
        row = cells[first : first + PICTURES_IN_A_ROW]
        yield Table([row + [""] * (PICTURES_IN_A_ROW - len(row))], colWidths=[cell_pt] * PICTURES_IN_A_ROW,
                    style=[("VALIGN", (0, 0), (-1, -1), "TOP")])  # fmt: skip


def _caption(view: View, picture: Picture) -> str:
    name = view.media_names.get(picture.media_id, picture.id)
    time = "" if picture.pts_s is None else f" at {picture.pts_s:.2f} s"
    taken = f", {picture.taken_at[:10]}" if picture.taken_at else ", day not known"
    return f"{name}{time}{taken}" + ("" if picture.stage == "open" else ", finished wall")
