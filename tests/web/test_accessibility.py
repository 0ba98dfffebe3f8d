"""Every page checked by axe-core for what a machine can tell of WCAG 2.2 AA."""

from __future__ import annotations

import pytest

from tests.web.conftest import Visit, needs_browser

pytestmark = needs_browser
PAGES = ("/", "/faces/street?at=6ft&height=4ft", "/wall", "/wall/street?at=6ft", "/pictures", "/pictures/open_01",
         "/pictures/closed_03", "/pictures/closed_03/today", "/circuits", "/add", "/share", "/building",
         "/building/face", "/building/circuit", "/plan", "/gaps", "/placing", "/wall/labels", "/nowhere")  # fmt: skip
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


@pytest.mark.parametrize("screen", ["desk", "phone"])
def test_axe_finds_nothing_while_tools_are_open(browser, own_served, screen):
    """Layers, holes, openings on a face; a tagged thing with its other pictures; known places."""
    axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="install axe-playwright-python")
    visit = Visit(browser, screen, own_served.url)
    page = visit.open("/faces/street?at=6ft&height=4ft")
    page.get_by_role("button", name="Layers").click()
    page.get_by_role("button", name="Row of holes").click()
    page.wait_for_selector(".pattern-answer")
    faults = axe.Axe().run(page, options=RULES).response["violations"]
    page = visit.open("/pictures/open_01")
    page.locator("#board").focus()
    for key in ("Enter", "1", "s"):
        page.keyboard.press(key)
    page.wait_for_selector("#elsewhere:not([hidden])")
    page.get_by_role("button", name="Known places").click()
    page.wait_for_selector("#reference_id")
    faults += axe.Axe().run(page, options=RULES).response["violations"]
    visit.context.close()
    assert not [f"{v['id']}: {v['help']} - {v['nodes'][0]['html'][:150]}" for v in faults]


def test_language_of_every_page_is_set_and_nothing_moves_by_itself(browser, served):
    visit = Visit(browser, "desk", served.url)
    visit.page.emulate_media(reduced_motion="reduce")
    for path in PAGES:
        page = visit.open(path)
        assert page.get_attribute("html", "lang") == "en"
        assert page.evaluate("document.getAnimations().length") == 0
        moving = """() => [...document.querySelectorAll('*')].filter((e) => {
          const style = getComputedStyle(e);
          return parseFloat(style.transitionDuration) > 0 || (style.animationName !== 'none' && style.animationName);
        }).length"""
        assert page.evaluate(moving) == 0
    visit.context.close()


def test_every_control_is_reached_and_seen_with_the_keyboard_alone(browser, served):
    """Tab goes through everything that can be pressed, each shows where it is, none is a trap."""
    visit = Visit(browser, "desk", served.url)
    for path in ("/", "/faces/street?at=6ft", "/wall/street?at=6ft", "/pictures/open_01"):
        page = visit.open(path)
        wanted = page.evaluate(
            """() => [...document.querySelectorAll('a[href], button, input, select, summary, [tabindex="0"]')]
              .filter((e) => e.type !== 'hidden')
              .filter((e) => e.checkVisibility() && !e.disabled && e.tabIndex >= 0)
              .map((e, n) => { e.dataset.tabTest = n; return n; })"""
        )
        reached, unseen = set(), []
        for _ in range(len(wanted) + 40):
            page.keyboard.press("Tab")
            now = page.evaluate(
                """() => {
                  const e = document.activeElement;
                  const ring = e.closest('label.check, p') ?? e;
                  const rings = [e, ring, e.nextElementSibling].filter(Boolean);
                  const shown = rings.some((x) => getComputedStyle(x).outlineStyle !== 'none');
                  return [e.dataset.tabTest ?? null, shown || e.tagName === 'BODY', e.outerHTML.slice(0, 80)];
                }"""
            )
            if now[0] is not None:
                reached.add(int(now[0]))
                if not now[1]:
                    unseen.append(now[2])
        radios = page.evaluate(
            """() => [...document.querySelectorAll('input[type=radio]')].map((e) => Number(e.dataset.tabTest))"""
        )
        assert set(wanted) - reached <= set(radios)  # one of a group of radios is reached, arrows do the rest
        assert not unseen
    visit.context.close()
