"""Every page checked by axe-core for what a machine can tell of WCAG 2.2 AA."""

from __future__ import annotations

import pytest

from tests.web.conftest import Visit, needs_browser

pytestmark = needs_browser
PAGES = ("/", "/faces/street?at=6ft&height=4ft", "/wall", "/wall/street?at=6ft", "/pictures", "/pictures/open_01",
         "/circuits", "/add", "/share", "/building", "/building/face", "/plan", "/gaps", "/nowhere")  # fmt: skip
RULES = {
    "runOnly": {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}
}


@pytest.mark.parametrize("screen", ["desk", "phone"])
@pytest.mark.parametrize("path", PAGES)
def test_axe_finds_nothing(browser, served, screen, path):
    axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="install axe-playwright-python")
    visit = Visit(browser, screen, served.url)
    page = visit.open(path)
    found = axe.Axe().run(page, options=RULES)
    visit.context.close()
    told = [f"{v['id']}: {v['help']} - {v['nodes'][0]['html'][:150]}" for v in found.response["violations"]]
    assert not told
    assert len(found.response["passes"]) > 15  # it did look
