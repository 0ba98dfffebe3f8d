"""The offline viewer as a person uses it: opened from disk, on a desk and on a phone, with no network."""

from __future__ import annotations

import re
import threading
import urllib.request
from dataclasses import replace
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

import pytest

from asbuilt.answers.behind import behind
from asbuilt.answers.drill import drill
from asbuilt.handover.bag import new_bag
from asbuilt.handover.pictures import Shown
from asbuilt.handover.viewer_pages import add_viewer
from asbuilt.record import Item, Record
from asbuilt.steps import coverage
from asbuilt.units import parse_length
from tests.handover.browser import Pages, browser, needs_browser
from tests.handover.conftest import MEDIA
from tests.truth import truth_record

pytestmark = needs_browser
TRY_TO_REACH = """async (url) => {
    const image = new Image();
    image.src = url + 'a.png';
    const script = document.createElement('script');
    script.src = url + 'a.js';
    document.head.append(script);
    try { await fetch(url + 'a.json'); return 'fetched'; } catch (error) { return 'refused'; }
}"""
SIZE_OF = "(u) => new Promise((r) => { const i = new Image(); i.onload = () => r(i.width); i.src = u; })"
ODD_LABEL = "</script><b>bold</b> & \"quoted\""


@pytest.fixture(scope="module")
def opened():
    with browser() as chromium:
        yield chromium


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A record with real pictures, a label that is no good HTML, and the viewer made of it."""
    base = tmp_path_factory.mktemp("viewer")
    with truth_record(base / "record", sigma_m=0.006, frame_step=60, media_folder=MEDIA) as record:
        coverage.run(record)
        record.put(replace(record.all(Item)[0], label=ODD_LABEL))
        bag = new_bag(base / "out")
        shown = Shown(record)
        add_viewer(bag, record, shown, ("the ceiling",))
        assert shown.faults == []
        bag.finish([])
    return base


@pytest.fixture(params=[("desktop", "index.html"), ("phone", "phone.html"), ("phone", "index.html")], ids="-".join)
def pages(request, opened, folder):
    """The viewer on one screen; whatever a test does, nothing may leave the page."""
    screen, name = request.param
    found = Pages(opened, screen)
    found.path = folder / "out" / "data" / "viewer" / name
    yield found
    found.check(found.path.parent)
    found.context.close()


def _words(pages: Pages) -> str:
    return " ".join(pages.page.inner_text("main").split())


def _record(folder) -> Record:
    return Record.open(folder / "record")


def test_a_typed_offset_gives_the_programs_sentence(pages, folder):
    page = pages.open(pages.path, "#/wall/garden")
    page.fill("input[name=at]", "6' 3-1/2\"")
    page.click("text=What is behind?")
    with _record(folder) as record:
        wanted = behind(record, "garden", parse_length("6' 3-1/2\""))
    words = _words(pages)
    assert wanted.sentence in words
    assert page.inner_text(".verdict").lower().startswith(wanted.outcome)
    for thing in [t for bay in wanted.bays for t in bay.things]:
        assert thing.name in words
    for caution in wanted.cautions:
        assert caution in words


def test_a_tap_on_the_wall_asks_for_that_place(pages, folder):
    page = pages.open(pages.path, "#/wall/kiln")
    drawing = page.locator(".board svg")
    box, view = drawing.bounding_box(), [float(v) for v in drawing.get_attribute("viewBox").split()]
    left_mm, top_mm = (float(drawing.get_attribute(f"data-{n}-mm")) for n in ("left", "top"))
    x = box["x"] + (1500 - left_mm) / view[2] * box["width"]
    y = box["y"] + (top_mm - 1200) / view[3] * box["height"]
    page.mouse.wheel(0, 0)
    (page.touchscreen.tap if pages.is_phone else page.mouse.click)(x, y)
    page.wait_for_selector(".verdict")
    offset_m = parse_length(page.input_value("input[name=at]"), "in")
    height_m = parse_length(page.input_value("input[name=height]"), "in")
    assert offset_m == pytest.approx(1.5, abs=0.02)
    assert height_m == pytest.approx(1.2, abs=0.02)
    with _record(folder) as record:
        assert page.inner_text(".verdict").lower().startswith(behind(record, "kiln", offset_m, height_m).outcome)


def test_a_hole_is_checked(pages, folder):
    page = pages.open(pages.path, "#/wall/kiln")
    for name, text in (("at", "10 ft"), ("height", "4 ft"), ("bit", "1/4 in"), ("depth", "3 in")):
        page.fill(f"input[name={name}]", text)
    page.click("text=Check a hole")
    place = [parse_length(t) for t in ("10 ft", "4 ft", "1/4 in", "3 in")]
    with _record(folder) as record:
        wanted = drill(record, "kiln", *place)
    assert wanted.sentence in _words(pages)
    assert wanted.screw.text in _words(pages)
    page.fill("input[name=depth]", "")
    page.click("text=Check a hole")
    assert "give its height, the bit and the depth too" in _words(pages)
    assert page.locator(".verdict").count() == 0


@pytest.mark.parametrize("text", ["six feet", "99 ft", "-1 ft"])
def test_what_is_no_place_is_refused_in_words(pages, text):
    page = pages.open(pages.path, "#/wall/kiln")
    page.fill("input[name=at]", text)
    page.click("text=What is behind?")
    assert page.locator(".verdict").count() == 0
    assert page.locator("#answer .problem").count() == 1


def test_not_recorded_and_nothing_recorded_look_different(pages, folder):
    looks = {}
    with _record(folder) as record:
        for offset_m in [0.2 + 0.1 * n for n in range(40)]:
            outcome = behind(record, "kiln", offset_m, 2.5, 0.1).outcome
            looks.setdefault(outcome, offset_m)
        for offset_m in [0.2 + 0.1 * n for n in range(60)]:
            looks.setdefault(behind(record, "garden", offset_m, 1.5).outcome, offset_m)
    assert {"not recorded", "nothing recorded here"} <= set(looks)
    page = pages.open(pages.path, f"#/wall/kiln?at={looks['not recorded']:.4f} m&height=2.5 m")
    missing = page.evaluate("getComputedStyle(document.querySelector('.verdict')).backgroundImage")
    assert page.inner_text(".verdict").startswith("Not recorded")
    page = pages.open(pages.path, f"#/wall/garden?at={looks['nothing recorded here']:.4f} m&height=1.5 m")
    page.reload()
    nothing = page.evaluate("getComputedStyle(document.querySelector('.verdict')).backgroundImage")
    assert page.inner_text(".verdict").startswith("Nothing recorded here")
    assert "gradient" in missing and nothing == "none"


def test_pictures_are_shown_with_the_place_marked(pages):
    page = pages.open(pages.path, "#/pictures")
    page.wait_for_function("[...document.images].some((i) => i.complete && i.naturalWidth > 300)")
    page.evaluate("document.querySelector('.picture').click()")
    page.wait_for_selector(".whole svg image")
    href = page.get_attribute(".whole svg image", "href")
    assert page.evaluate(SIZE_OF, href) > 300


def test_things_are_found_by_words(pages):
    page = pages.open(pages.path, "#/find")
    every = page.locator(".thing").count()
    page.fill("input[name=words]", "receptacle circuit 4")
    some = page.locator(".thing").count()
    assert 0 < some < every
    assert "from the left end" in _words(pages)
    page.locator(".thing a").first.click()
    page.wait_for_selector(".verdict")
    page = pages.open(pages.path, "#/find?words=elephant")
    page.reload()
    assert "That does not prove there is none." in _words(pages)


def test_circuits_are_listed(pages):
    pages.open(pages.path, "#/circuits")
    words = _words(pages)
    assert "50 A, 2 poles" in words and "1+3" in words
    assert "A label is not proof." in words


def test_a_circuit_leads_to_what_is_on_it_and_to_nothing_else(pages):
    page = pages.open(pages.path, "#/circuits")
    tallest = page.evaluate("Math.max(...[...document.querySelectorAll('.stacked td')].map((c) => c.offsetHeight))")
    assert tallest < 100  # words stay whole on a phone
    page.click(".stacked a:text('wheel bench')")
    page.wait_for_selector(".thing")
    assert set(page.locator(".thing .tag").all_inner_texts()) == {"2"}
    page.fill("input[name=words]", "device box circuit 9")
    assert set(page.locator(".thing .tag").all_inner_texts()) == {"7+9"}


def test_what_was_left_out_is_said(pages):
    pages.open(pages.path)
    assert "Left out of this copy" in _words(pages) and "the ceiling" in _words(pages)


def test_no_page_promises_anything(pages):
    for place in ("", "#/find", "#/circuits", "#/pictures", "#/wall/kiln?at=3ft&height=4ft&bit=1/4in&depth=1in"):
        pages.open(pages.path, place).reload()
        assert not re.search(r"\bsafe\b|clear to drill", pages.page.inner_text("body"), re.IGNORECASE)


def test_labels_are_text_and_never_markup(pages):
    page = pages.open(pages.path, "#/find?words=bold")
    assert ODD_LABEL in pages.page.inner_text("main")
    assert page.locator("main b").count() == 0


class _Counting(BaseHTTPRequestHandler):
    reached: list[str] = []

    def do_GET(self) -> None:
        self.reached.append(self.path)
        self.send_response(204)
        self.end_headers()

    def log_message(self, *_arguments) -> None:
        return


def test_the_page_cannot_reach_the_network(opened, folder):
    """Whatever might get into the page, a server that is there is not reached from it."""
    server = ThreadingHTTPServer(("127.0.0.1", 0), _Counting)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    try:
        urllib.request.urlopen(f"http://127.0.0.1:{server.server_port}/hello").close()
        pages = Pages(opened, "desktop")
        pages.open(folder / "out" / "data" / "viewer" / "index.html")
        tried = pages.page.evaluate(TRY_TO_REACH, f"http://127.0.0.1:{server.server_port}/")
        pages.page.wait_for_timeout(500)
    finally:
        server.shutdown()
        server.server_close()
    assert tried == "refused"
    assert _Counting.reached == ["/hello"]


def test_there_is_nothing_in_the_page_to_fetch(folder):
    for name in ("index.html", "phone.html"):
        text = (folder / "out" / "data" / "viewer" / name).read_text("utf-8")
        outside = set(re.findall(r"https?://[^\s\"'<)]+", text)) - {"http://www.w3.org/2000/svg"}
        assert {u.rstrip("\\") for u in outside} <= {"http://www.w3.org/2000/svg"}


def test_a_picture_that_cannot_be_decoded_does_not_stop_the_others(tmp_path, folder):
    with truth_record(tmp_path / "record", frame_step=200, media_folder=MEDIA) as record:
        path = record.folder / record.db.execute("SELECT path FROM media WHERE name = 'open_01.jpg'").fetchone()[0]
        path.chmod(0o644)
        path.write_bytes(b"no picture any more")
        bag = new_bag(tmp_path / "out")
        shown = Shown(record)
        add_viewer(bag, record, shown, ())
        bag.finish([])
    assert len(shown.faults) == 1 and "open_01.jpg" in shown.faults[0]
    assert len(list((tmp_path / "out" / "data" / "viewer" / "pictures").glob("*.jpg"))) > 8
