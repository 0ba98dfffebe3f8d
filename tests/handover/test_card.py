"""The panel card: its code can be read from the printed page and says what the card says."""

from __future__ import annotations

import io
import re
import subprocess

import cv2
import pikepdf
import pytest
from click.testing import CliRunner
from pypdf import PdfReader

from asbuilt.cli import main
from asbuilt.handover.card import Card, card_of, card_pdf, summary
from asbuilt.handover.opendata import fingerprint, short_fingerprint
from asbuilt.record import Record

DPI = 300
MANY = Card(
    building="Long House", recorded_on="2026-03-14", kept_at="blue folder", mark="0123 4567 89ab cdef 0123",
    circuits=tuple(f"{n} circuit for room number {n}, 20 A: receptacles and lights" for n in range(1, 43)),
)  # fmt: skip


def _page(pdf: bytes, tmp_path):
    (tmp_path / "card.pdf").write_bytes(pdf)
    subprocess.run(["pdftoppm", "-r", str(DPI), "-gray", "-singlefile", "-png", str(tmp_path / "card.pdf"),
                    str(tmp_path / "card")], check=True)  # fmt: skip
    return cv2.imread(str(tmp_path / "card.png"), cv2.IMREAD_GRAYSCALE)


@pytest.mark.parametrize("paper", ["card", "a5", "letter", "a4"])
def test_the_code_reads_back_as_the_summary(paper, record_folder, tmp_path):
    with Record.open(record_folder) as record:
        card = card_of(record, fingerprint(record), "blue folder beside the panel, stick at the notary")
    text, _, _ = cv2.QRCodeDetector().detectAndDecode(_page(card_pdf(card, "2026-11-25", paper), tmp_path))
    assert text == summary(card)
    assert "://" not in text and "www." not in text
    assert card.mark in text and "Kept at: blue folder" in text
    for line in card.circuits:
        assert line in text


def test_a_code_with_more_than_fits_says_so_and_still_reads(tmp_path):
    text, _, _ = cv2.QRCodeDetector().detectAndDecode(_page(card_pdf(MANY, "2026-11-25"), tmp_path))
    assert text == summary(MANY)
    left = int(re.search(r"and (\d+) more, see the card", text)[1])
    assert 0 < left < 42
    assert f"\n{MANY.circuits[41 - left]}\n" in text


def test_every_circuit_stands_on_the_card_and_within_it():
    for paper in ("card", "a5"):
        page = PdfReader(io.BytesIO(card_pdf(MANY, "2026-11-25", paper))).pages[0]
        places: list[tuple[float, float]] = []
        page.extract_text(visitor_text=lambda text, _cm, tm, _font, _size, places=places: text.strip()
                          and places.append((tm[4], tm[5])))  # fmt: skip
        width, height = (float(v) for v in page.mediabox[2:])
        assert all(0.25 * 72 < x < width and 0.25 * 72 < y < height for x, y in places)
        whole = re.sub(r"\s", "", page.extract_text())
        assert all(re.sub(r"\s", "", c) in whole for c in MANY.circuits)
        assert "notpermissiontodrill" in whole


def test_the_pdf_is_sound_and_promises_nothing(record_folder):
    with Record.open(record_folder) as record:
        pdf = card_pdf(card_of(record, "ab" * 32), "2026-11-25")
    with pikepdf.open(io.BytesIO(pdf)) as opened:
        assert opened.check_pdf_syntax() == []
        assert len(opened.pages) == 1
    assert not re.search(r"\bsafe\b|clear to drill", PdfReader(io.BytesIO(pdf)).pages[0].extract_text(), re.IGNORECASE)


def test_the_command_writes_it(record, tmp_path):
    run = CliRunner().invoke(main, ["card", str(record.folder), str(tmp_path / "card.pdf"), "--kept-at", "shelf"])
    assert run.exit_code == 0, run.output
    text = PdfReader(tmp_path / "card.pdf").pages[0].extract_text()
    assert short_fingerprint(fingerprint(record)) in text and "shelf" in text
    assert CliRunner().invoke(main, ["card", str(record.folder), str(tmp_path / "card.pdf")]).exit_code == 1
