"""The paper binder: sound PDF, true to scale on paper, complete, and plain about what is not known."""

from __future__ import annotations

import io
import re
import subprocess
from pathlib import Path

import cv2
import numpy as np
import pikepdf
import pytest
from pypdf import PdfReader
from reportlab.lib.units import inch

from asbuilt.answers.view import view_of
from asbuilt.handover.binder import Binder, binder_pdf
from asbuilt.handover.binder_face import face_pdf, numbered
from asbuilt.handover.binder_pictures import chosen_for_face, marked_jpegs
from asbuilt.handover.pictures import Shown
from asbuilt.record import Face, Item, Media, Position, Record, Room, Sighting
from tests.handover.conftest import MEDIA
from tests.truth import truth_record

DPI = 200
SIZES_PT = {"letter": (612, 792), "a4": (595.28, 841.89)}


@pytest.fixture(scope="module", params=["letter", "a4"])
def bound(request, record_folder, tmp_path_factory):
    """The binder of the sample on one paper: (paper, path, page texts)."""
    path = tmp_path_factory.mktemp("binder") / f"{request.param}.pdf"
    with Record.open(record_folder) as record:
        binder = Binder(record=record, paper=request.param, printed_on="2026-11-25", mark="0123456789abcdef" * 4)
        path.write_bytes(binder_pdf(binder, Shown(record)))
    return request.param, path, [" ".join(p.extract_text().split()) for p in PdfReader(path).pages]


def _page_image(path: Path, number: int, tmp_path: Path) -> np.ndarray:
    """A page (from 1) as grey pixels."""
    stem = tmp_path / f"page{number}"
    subprocess.run(["pdftoppm", "-r", str(DPI), "-f", str(number), "-l", str(number), "-gray", "-singlefile", "-png",
                    str(path), str(stem)], check=True)  # fmt: skip
    return cv2.imread(f"{stem}.png", cv2.IMREAD_GRAYSCALE)


def _drawings(texts: list[str]) -> list[int]:
    """Numbers of the pages with a drawing at a stated scale."""
    return [n for n, text in enumerate(texts, 1) if "when the ruler measures true" in text]


def test_the_pdf_is_sound(bound):
    paper, path, texts = bound
    with pikepdf.open(path) as pdf:
        assert pdf.check_pdf_syntax() == []
        assert len(pdf.pages) == len(texts) > 20
        sizes = {tuple(sorted(round(float(v), 2) for v in page.mediabox[2:])) for page in pdf.pages}
    assert {tuple(round(v, 1) for v in s) for s in sizes} == {tuple(round(v, 1) for v in SIZES_PT[paper])}


def test_every_font_is_embedded(bound):
    for page in PdfReader(bound[1]).pages:
        for font in page["/Resources"].get("/Font", {}).values():
            font = font.get_object()
            if font["/BaseFont"] in ("/ZapfDingbats", "/Symbol", "/Helvetica"):
                continue  # named by the PDF library on every page, used on none
            assert "/FontFile2" in font["/FontDescriptor"].get_object(), font["/BaseFont"]


def test_no_text_is_set_in_a_font_that_is_not_embedded(bound):
    for page in PdfReader(bound[1]).pages:
        used: set[str] = set()
        page.extract_text(visitor_text=lambda text, _cm, _tm, font, _size, used=used: used.add(
            font["/BaseFont"] if font and text.strip() else ""))  # fmt: skip
        assert not {u for u in used if u and "Vera" not in u}


def test_the_check_ruler_is_true_to_half_a_percent(bound, tmp_path):
    _, path, texts = bound
    pages = _drawings(texts)
    assert len(pages) == 4
    for number in pages:
        dark = _page_image(path, number, tmp_path) < 128
        run = _longest_run(dark[-int(1.05 * DPI) :])
        assert run / DPI == pytest.approx(6.0, rel=0.005)


def test_walls_are_drawn_at_the_stated_scale(bound, tmp_path, record_folder):
    _, path, texts = bound
    with Record.open(record_folder) as record:
        faces = {f.title: f for f in record.all(Face)}
    for number in _drawings(texts):
        face = next(f for title, f in faces.items() if title in texts[number - 1])
        denominator = int(re.search(r"\(1:(\d+)\)", texts[number - 1])[1])
        left, right, bottom, top = _outline(_page_image(path, number, tmp_path))
        inches = face.length_m / 0.0254 / denominator, face.height_m / 0.0254 / denominator
        assert (right - left) / DPI == pytest.approx(inches[0], rel=0.005)
        assert (bottom - top) / DPI == pytest.approx(inches[1], rel=0.005)


def _longest_run(dark: np.ndarray) -> int:
    """Length of the longest level line [px]."""
    best = 0
    for row in dark:
        edges = np.flatnonzero(np.diff(np.concatenate([[0], row.astype(int), [0]])))
        best = max(best, int((edges[1::2] - edges[::2]).max(initial=0)))
    return best


def _outline(page: np.ndarray) -> tuple[float, float, float, float]:
    """Middles of the four lines round the wall (left, right, bottom, top) [px].

    The floor is the thickest long level line; the sides stand on it and reach up to the top.
    """
    dark = page < 110
    rows = np.array([_longest_run(dark[r : r + 1]) for r in range(len(dark))])
    long = np.flatnonzero(rows > 0.5 * rows.max())
    bands = np.split(long, np.flatnonzero(np.diff(long) > 1) + 1)
    floor = _middle(max(bands, key=len))
    upright = dark[: int(floor)].sum(axis=0)
    sides = np.flatnonzero(upright > 0.9 * upright.max())
    left, right = _middle(sides[sides < sides[0] + 12]), _middle(sides[sides > sides[-1] - 12])
    # Words may lie on the left side; its upper end is half a line's width above the middle of the top.
    top_edge = np.flatnonzero(dark[: int(floor), int(left)]).min()
    width = np.ptp(sides[sides < sides[0] + 12]) + 1
    return left, right, floor, top_edge + width / 2


def _middle(places: np.ndarray) -> float:
    return float((places.min() + places.max()) / 2)


def test_the_contents_name_the_right_pages(bound):
    _, _, texts = bound
    found = re.findall(r"(How to read this, cautions|Plan, shut-offs|Trim-out sheet|Words used|\w+ wall, Studio) (\d+)",
                       texts[0])  # fmt: skip
    wanted = {"How to read this, cautions": "How to read this", "Plan, shut-offs": "Plan of the faces",
              "Trim-out sheet": "trim-out", "Words used": "Words used"}  # fmt: skip
    assert len(found) >= 4
    for title, number in found:
        words = wanted.get(title, title.removesuffix(", Studio"))
        assert words in texts[int(number) - 1]
    for number, text in enumerate(texts, 1):
        assert f"binder {number} / {len(texts)}" in text


def test_every_located_item_is_listed(bound, record_folder):
    whole = " ".join(bound[2])
    with Record.open(record_folder) as record:
        located = {p.item_id for p in record.all(Position, status="measured")}
        labels = {i.label for i in record.all(Item) if i.id in located and i.label}
        circuits = {c for (c,) in record.db.execute("SELECT name FROM circuits").fetchall()}
    assert len(labels) > 20
    squeezed = re.sub(r"\s", "", whole)
    assert [label for label in labels if re.sub(r"\s", "", label) not in squeezed] == []
    assert [c for c in circuits if re.sub(r"\s", "", c) not in squeezed] == []


def test_every_original_is_listed_with_its_digest(bound, record_folder):
    whole = re.sub(r"\s", "", " ".join(bound[2]))
    with Record.open(record_folder) as record:
        media = record.all(Media)
    assert len(media) > 10
    assert [m.name for m in media if m.id not in whole or m.name not in whole] == []


def test_it_says_what_is_not_known_and_promises_nothing(bound):
    whole = " ".join(bound[2])
    assert "HATCHED means NOT RECORDED" in whole and "It does not mean empty" in whole
    assert "Prove dead with a contact tester" in whole
    assert "not permission to drill" in whole
    assert "0123 4567 89ab cdef 0123" in whole
    assert not re.search(r"\bsafe\b|clear to drill", whole, re.IGNORECASE)


def test_a_record_with_next_to_nothing_gives_a_binder_too(tmp_path):
    with Record.create(tmp_path / "record", "Bare house", unit="mm") as record:
        record.put(Room(id="r", name="Room"), Face(id="f", room_id="r", title="North", length_m=3.2, height_m=2.5))
        binder = Binder(record=record, paper="a4", printed_on="2026-01-01", mark="0" * 64, left_out=("the ceiling",))
        pdf = binder_pdf(binder, Shown(record))
    texts = [p.extract_text() for p in PdfReader(io.BytesIO(pdf)).pages]
    assert "Left out of this copy" in texts[0] and "the ceiling" in texts[0]
    assert not any("Before cover-up" in t for t in texts)  # of a part it would look complete
    assert any("Nothing was marked on this face. That does not prove it empty" in " ".join(t.split()) for t in texts)
    assert any("(1:" not in t and "1:" in t for t in texts)


def test_numbers_are_drawn_where_things_were_marked(tmp_path):
    with truth_record(tmp_path / "record", frame_step=200, media_folder=MEDIA) as record:
        view = view_of(record)
        face = view.face("kiln")
        things = numbered(view, face)
        chosen = chosen_for_face(record, "kiln", {t.item.id for _, t in things})
        assert chosen[0].stage == "open"
        picture, data, size = next(iter(marked_jpegs(view, face, chosen[:1], things, Shown(record))))
        _, plain, _ = next(iter(marked_jpegs(view, face, chosen[:1], [], Shown(record))))
        own = {t.item.id for _, t in things}
        marks = [m for m in record.all(Sighting, picture_id=picture.id) if m.target_id in own]
    changed = np.abs(_decoded(data).astype(int) - _decoded(plain)).max(axis=2) > 60
    scale = changed.shape[1] / size[0]
    assert marks
    for mark in marks:
        x, y = round(mark.x_px * scale), round(mark.y_px * scale)
        r = round(0.014 * max(changed.shape)) + 4
        assert changed[max(y - r, 0) : y + r, max(x - r, 0) : x + r].any()


def test_pictures_lie_in_the_papers_as_they_are_and_are_decoded_once(tmp_path, monkeypatch):
    with truth_record(tmp_path / "record", frame_step=200, media_folder=MEDIA) as record:
        shown, pdfs = Shown(record), []
        for paper in SIZES_PT:
            binder = Binder(record=record, paper=paper, printed_on="2026-11-25", mark="0123456789abcdef" * 4)
            pdfs.append(face_pdf(binder, "kiln", shown))
            monkeypatch.setattr(shown, "pictures", None)  # the second paper asks for none again
    filters = []
    for pdf in pdfs:
        assert b"ASCII85Decode" not in pdf
        pages = PdfReader(io.BytesIO(pdf)).pages
        found = [x.get_object() for page in pages for x in page["/Resources"].get("/XObject", {}).values()]
        filters.append(["/DCTDecode" in image["/Filter"] for image in found])
    assert any(filters[0]) and filters[0] == filters[1]


def _decoded(data: bytes) -> np.ndarray:
    return cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR)


def test_the_paper_is_as_wide_as_it_says():
    assert SIZES_PT["letter"] == (8.5 * inch, 11 * inch)
