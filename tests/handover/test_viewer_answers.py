"""The viewer that needs no program gives the program's answers, word for word."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest

from asbuilt.answers.behind import behind
from asbuilt.answers.drill import drill
from asbuilt.handover.viewer_data import viewer_data
from asbuilt.handover.viewer_pages import page
from asbuilt.record import Covering, Event, Face, Item, Position, Record
from asbuilt.units import format_error, format_length, parse_length
from tests.handover.browser import Pages, browser, needs_browser
from tests.truth import truth_record

pytestmark = needs_browser
TOLERANCE = 2e-6  # answers are written to a millionth


@pytest.fixture(scope="module")
def opened():
    with browser() as chromium:
        yield chromium


def _hard_cases(record: Record) -> None:
    """What the sample does not have: events, a far face, gas, a tendon, blocking, proposals."""
    record.put(
        Event(id="e1", kind="opened", date="2026-07-01", face_id="kiln", left_m=1.0, right_m=2.0, note="leak"),
        Event(id="e2", kind="inspected", date="2026-07-02"),
        Face(id="hall", room_id="studio", title="Hall side", kind="ceiling", order_idx=9, length_m=4.2, height_m=2.7,
             far_face_id="partition", far_offset_sum_m=4.28, far_height_shift_m=0.05, sheathing_m=0.011),
        Covering(id="hall-board", face_id="hall", material="board", thickness_m=0.016),
        Event(id="e3", kind="altered", date="2026-08-01", face_id="hall", bottom_m=2.0, top_m=2.7),
    )  # fmt: skip
    small = tuple(tuple(1e-5 * (i == j) for j in range(3)) for i in range(3))
    things = (
        ("gas1", "gas pipe", [(0.6, 0.1, 0.04), (0.6, 2.6, 0.05)], {}),
        ("tendon1", "tendon", [(2.0, 1.0, 0.05), (3.4, 1.02, 0.03)], {}),
        ("block1", "blocking", [(2.6, 1.4, 0.0)], {"width_m": 0.4, "height_m": 0.09}),
        ("box1", "device box", [(3.0, 0.4, -0.012)], {"state": "proposed", "note": "half hidden"}),
        ("stub1", "stub", [(1.2, 0.5, 0.04)], {}),
    )
    for item_id, kind, points, more in things:
        method, count = ("taped", 0) if kind == "stub" else ("usual depth", 1)
        record.put(Item(id=item_id, kind=kind, face_id="hall", **more))
        for order, (x, z, y) in enumerate(points):
            record.put(
                Position(id=f"{item_id}/{order}", item_id=item_id, place=f"p{order}", order_idx=order, face_id="hall",
                         offset_m=x, height_m=z, depth_m=y, covariance=small, method=method, picture_count=count)
            )  # fmt: skip


@pytest.fixture(scope="module")
def records(record_folder, tmp_path_factory):
    """The sample with dense and with clicked places, and one with everything that is awkward."""
    base = tmp_path_factory.mktemp("answers")
    found = {"dense": Record.open(record_folder)}
    found["clicked"] = truth_record(base / "clicked", sigma_m=0.008, places="clicked", frame_step=24, known_studs=False)
    found["hard"] = truth_record(base / "hard", sigma_m=0.01, places="clicked", frame_step=40, covered=False)
    _hard_cases(found["hard"])
    yield found
    for record in found.values():
        record.close()


@pytest.fixture
def asking(opened, tmp_path):
    """Opens the page of a record and returns a function that asks it."""

    started = []

    def start(record: Record, screen: str = "desktop"):
        path = tmp_path / "page.html"
        path.write_bytes(page(viewer_data(record, {}, {}, ()), {}))
        pages = Pages(opened, screen)
        started.append(pages)
        pages.open(path)

        def ask(call: str, *arguments):
            return pages.page.evaluate(f"(a) => asbuilt.{call}(...a)", list(arguments))

        return ask, pages

    yield start
    for pages in started:
        assert len(pages.requested) == 1  # the file itself
        pages.check(tmp_path)


def _differences(wanted, got, where: str = ""):
    if isinstance(wanted, dict):
        if set(wanted) - set(got):
            yield f"{where}: lacks {sorted(set(wanted) - set(got))}"
        for key in wanted:
            if key in got:
                yield from _differences(wanted[key], got[key], f"{where}.{key}")
    elif isinstance(wanted, list):
        if len(wanted) != len(got):
            yield f"{where}: {len(wanted)} wanted, {len(got)} found"
        else:
            for number, (a, b) in enumerate(zip(wanted, got, strict=True)):
                yield from _differences(a, b, f"{where}[{number}]")
    elif isinstance(wanted, float) and isinstance(got, (int, float)):
        if not math.isclose(wanted, got, rel_tol=TOLERANCE, abs_tol=_slack(where)):
            yield f"{where}: {wanted} wanted, {got} found"
    elif wanted != got:
        yield f"{where}: {wanted!r} wanted, {got!r} found"


def _slack(where: str) -> float:
    return 2e-3 if where.endswith("_px") else TOLERANCE


def _places(record: Record, count: int, seed: int):
    rng = np.random.default_rng(seed)
    faces = record.all(Face)
    for number in range(count):
        face = faces[number % len(faces)]
        yield face, float(rng.uniform(0, face.length_m)), float(rng.uniform(0, face.height_m)), rng


BOTH_SCREENS = [("dense", "desktop"), ("dense", "phone"), ("clicked", "phone"), ("hard", "desktop")]


@pytest.mark.parametrize(("name", "screen"), BOTH_SCREENS)
def test_behind_gives_the_same_answer_at_200_random_places(name, screen, records, asking):
    record = records[name]
    ask, _ = asking(record, screen)
    outcomes, wrong = set(), []
    for face, offset, height, rng in _places(record, 200, seed=11):
        asked_height = height if rng.random() < 0.5 else None
        within = float(rng.choice([0.1, 0.2032, 0.4]))
        wanted = json.loads(json.dumps(behind(record, face.id, offset, asked_height, within).to_json()))
        got = ask("behind", face.id, offset, asked_height, within)
        found = list(_differences(wanted, got))
        if found:
            wrong.append((face.id, offset, asked_height, within, found[:5]))
        outcomes.add(wanted["outcome"])
    assert wrong == []
    assert {"recorded here", "not recorded"} <= outcomes


@pytest.mark.parametrize(("name", "screen"), BOTH_SCREENS)
def test_drill_gives_the_same_answer_at_200_random_places(name, screen, records, asking):
    record = records[name]
    ask, _ = asking(record, screen)
    outcomes, wrong = set(), []
    for face, offset, height, rng in _places(record, 200, seed=12):
        positions = [p for p in record.all(Position, face_id=face.id, status="measured")]
        if rng.random() < 0.6 and positions:  # near something, where it matters
            p = positions[rng.integers(len(positions))]
            offset = float(np.clip(p.offset_m + rng.normal(0, 0.03), 0, face.length_m))
            height = float(np.clip(p.height_m + rng.normal(0, 0.03), 0, face.height_m))
        bit, depth = float(rng.choice([0.003, 0.00635, 0.02])), float(rng.uniform(0.01, 0.18))
        depth_from = str(rng.choice(["finished", "stud"]))
        wanted = json.loads(json.dumps(drill(record, face.id, offset, height, bit, depth, depth_from).to_json()))
        got = ask("drill", face.id, offset, height, bit, depth, depth_from)
        found = list(_differences(wanted, got))
        if found:
            wrong.append((face.id, offset, height, bit, depth, depth_from, found[:5]))
        outcomes.add(wanted["outcome"])
    assert wrong == []
    assert {"hit expected", "too close to call", "not recorded"} <= outcomes


def test_lengths_are_written_and_read_the_same(records, asking):
    ask, _ = asking(records["dense"])
    rng = np.random.default_rng(13)
    values = [*rng.uniform(-2, 12, 150), *(k * 0.0015875 / 2 for k in range(40)), 0.0, 0.3048, 2.7432, -0.0127]
    for value in values:
        for unit in ("in", "mm"):
            for sigma in (None, float(rng.choice([0.0005, 0.002, 0.01, 0.2]))):
                assert ask("length", float(value), unit, sigma) == format_length(float(value), unit, sigma)
    for text in ("6ft", "6' 3-1/2\"", "6'3.5", "75 1/2in", "1.91m", "1910 mm", "72", "5 ft 6 in", "6 ft, 3 in",
                 "3/4 in", "6\u2032 3\u00bd\u2033", "2.5ft", "12 inches", "1910"):  # fmt: skip
        assert ask("parse", text, "in") == pytest.approx(parse_length(text, "in"), abs=1e-12), text
    for text in ("six", "6'14", "6..5", "", "5/4 in", "6 ft 3 m", "1,91 m"):
        assert ask("parse", text, "in") != ask("parse", text, "in") or ask("parse", text, "in") is None, text


def test_errors_are_written_the_same(records, asking):
    ask, pages = asking(records["dense"])
    rng = np.random.default_rng(14)
    for sigma in [*10 ** rng.uniform(-4, 0, 200), 0.0, 0.0015875, 0.0015875 / 1.96]:
        for unit in ("in", "mm"):
            got = pages.page.evaluate("([s, u]) => Units.error(s, u)", [float(sigma), unit])
            assert got == format_error(float(sigma), unit)
