"""The door card: everything on it or on its back, readable, the same for the same content."""

from __future__ import annotations

import io
import subprocess
from dataclasses import replace

import numpy as np
import pytest
from click.testing import CliRunner
from PIL import Image

from asbuilt.answers.directory import schedules
from asbuilt.cli import main
from asbuilt.record import Circuit, Panel, Record, Verification
from asbuilt.sheets.paper import PAPERS_PT, fits, wrapped
from asbuilt.sheets.schedule import cells_of, schedule_pdf

PANEL = Panel(id="main", name="Main panel, utility room", amps=200, volts=240, spaces=42, main="main breaker")
RANGE = Circuit(id="1+3", panel_id="main", number="1+3", name="range, north wall", amps=50, volts=240, poles=2,
                cable="6/3 black")  # fmt: skip
SPARE = Circuit(id="2", panel_id="main", number="2", name="spare", amps=20, volts=120, state="spare")
LONG = Circuit(
    id="6", panel_id="main", number="6", amps=15, volts=120, protection="AFCI",
    name="smoke alarms on all floors, with the lights of the upstairs hall so that a loss is noticed",
)  # fmt: skip
HALVES = (
    Circuit(id="4", panel_id="main", number="4", name="left of the sink", amps=20, shares_neutral_id="5", tied=True),
    Circuit(id="5", panel_id="main", number="5", name="right of the sink", amps=20),
)


@pytest.fixture
def record(tmp_path):
    with Record.create(tmp_path / "house", "Harbour Row") as made:
        made.put(PANEL, RANGE, SPARE, LONG, *HALVES, Verification(id="t", target_id="1+3", date="2026-05-02"))
        yield made


def _words(pdf: bytes, *options: str) -> str:
    command = ["pdftotext", "-layout", *options, "-", "-"]
    return subprocess.run(command, input=pdf, capture_output=True, check=True).stdout.decode()


def _pages(pdf: bytes) -> int:
    found = subprocess.run(["pdfinfo", "-"], input=pdf, capture_output=True, check=True).stdout.decode()
    return int(next(line.split()[1] for line in found.splitlines() if line.startswith("Pages:")))


def _flat(text: str) -> str:
    return " ".join(text.split())


def test_the_card_says_what_every_position_is(record):
    pdf = schedule_pdf(schedules(record), "Harbour Row", "2026-06-01")
    text = _flat(_words(pdf, "-raw"))
    for words in ("Main panel, utility room", "200 A, 240 V, main breaker, 42 spaces, 36 empty, 1 spare",
                  "range, north wall", "50 A", "tested 2026-05-02", "spare", "left of the sink", "printed 2026-06-01",
                  "A label is not proof. Prove dead with a contact tester"):  # fmt: skip
        assert words in text, words
    assert text.count("space") >= 36


def test_a_pair_that_shares_a_neutral_says_so_on_both_halves(record):
    (panel,) = schedules(record)
    under = {c.number: c.under for side in (0, 1) for c in cells_of(panel, panel.rows, side)}
    assert "shares neutral with 5" in under["4"] and "shares neutral with 4" in under["5"]


def test_the_poles_of_one_breaker_share_a_frame_and_spare_is_not_space(record):
    (panel,) = schedules(record)
    left, right = (cells_of(panel, panel.rows, side) for side in (0, 1))
    assert left[0].positions == (1, 3) and left[0].name == "range, north wall"
    assert [(c.positions, c.kind) for c in right[:2]] == [((2,), "spare"), ((4,), "breaker")]
    assert {p for c in left + right for p in c.positions} == set(range(1, 43))
    assert panel.spares == ("2",) and len(panel.spaces) == 36


def test_what_does_not_fit_the_front_is_in_full_on_the_back(record):
    pdf = schedule_pdf(schedules(record), "Harbour Row", "2026-06-01")
    assert _pages(pdf) == 2
    assert LONG.name in _flat(_words(pdf, "-f", "2", "-raw")) and "AFCI" in _words(pdf, "-f", "2")
    assert "More on the back" in _words(pdf, "-l", "1")
    record.put(replace(LONG, name="smoke alarms, all floors", protection=""))
    assert _pages(schedule_pdf(schedules(record), "Harbour Row", "2026-06-01")) == 1


def test_an_unknown_number_of_spaces_is_not_called_a_space(record):
    record.put(replace(PANEL, spaces=None))
    (panel,) = schedules(record)
    whats = {side["what"] for row in panel.rows for side in row}
    assert whats == {"breaker", "spare"} and panel.spaces == ()
    record.remove(Circuit, "2")
    whats = {side["what"] for row in schedules(record)[0].rows for side in row}
    assert "nothing recorded" in whats and "space" not in whats


def test_the_card_is_half_a_letter_sheet_and_dark_enough_in_grey(record):
    """Every word that names a circuit is at least 7 pt and black: read at arm's length in grey print."""
    pdf = schedule_pdf(schedules(record), "Harbour Row", "2026-06-01")
    grey = subprocess.run(["pdftoppm", "-r", "100", "-gray", "-f", "1", "-l", "1", "-singlefile", "-"], input=pdf,
                          capture_output=True, check=True).stdout  # fmt: skip
    page = np.asarray(Image.open(io.BytesIO(grey)))
    assert page.shape == (850, 550) and PAPERS_PT["card"] == (396, 612)
    assert page.min() < 30 and 0.04 < (page < 100).mean() < 0.25
    # The lightest grey that carries a meaning, an empty space, differs from the paper and carries black words.
    assert ((page > 225) & (page < 245)).mean() > 0.2
    sizes = {float(w.split("=")[1].strip('"')) for w in _bbox_sizes(pdf)}
    assert min(sizes) > 5


def _bbox_sizes(pdf: bytes) -> list[str]:
    """Heights of words as pdftotext sees them [pt]."""
    text = _words(pdf, "-bbox")
    found = []
    for line in text.splitlines():
        if "<word" in line:
            low, high = (float(line.split(f'{k}="')[1].split('"')[0]) for k in ("yMin", "yMax"))
            found.append(f'h="{high - low}"')
    return found


def test_a_reprint_of_the_same_content_is_the_same_file_and_a_change_raises_the_revision(record):
    first = schedules(record)
    assert schedule_pdf(first, "H", "2026-06-01") == schedule_pdf(schedules(record), "H", "2026-06-01")
    record.put(replace(RANGE, name="range, south wall"))
    (changed,) = schedules(record)
    assert changed.revision > first[0].revision
    assert f"Revision {changed.revision}" in _words(schedule_pdf([changed], "H", "2026-06-01"))


def test_more_than_42_positions_take_another_page(record):
    record.put(replace(PANEL, spaces=84), replace(LONG, name="smoke alarms", protection=""))
    pdf = schedule_pdf(schedules(record), "Harbour Row", "2026-06-01")
    assert _pages(pdf) == 2 and "84" in _words(pdf, "-f", "2")


@pytest.mark.parametrize("paper", PAPERS_PT)
def test_every_paper_takes_the_card(record, paper):
    pdf = schedule_pdf(schedules(record), "Harbour Row", "2026-06-01", paper)
    assert "range, north wall" in _flat(_words(pdf, "-raw"))


def test_lines_are_no_wider_than_asked_and_lose_nothing():
    text = "receptacles along the garage walls and a Donaudampfschifffahrtselektrizitaetenhauptbetriebswerk in between"
    for width in (30, 60, 200):
        lines = wrapped(text, width, 8)
        assert all(fits(line, width, 8) for line in lines)
        assert "".join(lines).replace(" ", "") == text.replace(" ", "")


def test_the_command_writes_a_card_once_and_says_the_doubts(record, tmp_path):
    record.put(Circuit(id="7", panel_id="main", number="7", name="lights", amps=15))
    house, out = str(record.folder), str(tmp_path / "door.pdf")
    run = CliRunner().invoke(main, ["schedule", house, "--pdf", out])
    assert run.exit_code == 0, run.output
    assert "'lights' does not say which" in run.output and "1 range, north wall, 50 A" in run.output
    again = CliRunner().invoke(main, ["schedule", house, "--pdf", out])
    assert again.exit_code == 1 and "is there already" in again.output
    assert CliRunner().invoke(main, ["schedule", house, "--pdf", out, "--overwrite"]).exit_code == 0
