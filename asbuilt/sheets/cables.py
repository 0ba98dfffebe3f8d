"""The cable schedule on paper: id, kind, both ends, length, test, one line each."""

from __future__ import annotations

from collections.abc import Sequence

from reportlab.platypus import Flowable, Spacer

from asbuilt.answers.cables import CableRow
from asbuilt.answers.circuit_text import length_text
from asbuilt.sheets.flow import HEAD, SIDE_PT, SMALL, flowed_pdf, ruled_table, strong, words
from asbuilt.sheets.paper import PAPERS_PT

HEADS = ("Cable", "Kind", "From", "To", "Circuit", "Length", "Tested", "Remarks")
SHARES = (0.09, 0.13, 0.17, 0.17, 0.06, 0.19, 0.09, 0.10)


def cables_pdf(rows: Sequence[CableRow], building: str, unit: str, printed_on: str, paper: str = "letter") -> bytes:
    """The schedule as PDF, landscape, power and low voltage under titles of their own.

    Parameters
    ----------
    rows : sequence of CableRow
    building : str
    unit : str
        Of the lengths shown.
    printed_on : str
    paper : str
        letter or a4.
    """
    size_pt = PAPERS_PT[paper][::-1]
    width_pt = size_pt[0] - 2 * SIDE_PT
    story: list[Flowable] = []
    for use in dict.fromkeys(row.use for row in rows):
        table = [[strong(head, style=SMALL) for head in HEADS]]
        table += [_line(row, unit) for row in rows if row.use == use]
        lines = ruled_table(table, [share * width_pt for share in SHARES])
        story += [words(f"Cable schedule, {use}", HEAD), lines, Spacer(0, 10)]
    foot = f"{building}, cable schedule, printed {printed_on}. Lengths with their error at 95 %."
    return flowed_pdf(story or [words("No cable is on record yet.")], size_pt, f"Cable schedule, {building}", foot)


def _line(row: CableRow, unit: str) -> list[Flowable]:
    tested = " ".join(filter(None, [row.tested_on, row.test_result, row.tested_by]))
    remarks = "; ".join(filter(None, [row.note, *row.length.notes]))
    cells = (row.words or "not on record", row.from_text, row.to_text, row.circuit_number, length_text(row, unit),
             tested or "no test on record", remarks)  # fmt: skip
    label = f" {row.label}" if row.label else ""
    return [strong(row.cable_id, label, SMALL), *(words(cell, SMALL) for cell in cells)]
