"""The lock map that stands alone, in a browser: it tells every cell, by mouse and by keys."""

from collections.abc import Callable
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from browsing import RULES, until
from fake_sweeps import BREATHS, DEPTHS, SUNG_AXIS, store
from playwright.sync_api import Page

from reedbore.report import maps_data
from reedbore.report.figures.maps import html
from reedbore.report.looks import LOOKS

pytestmark = pytest.mark.browser

Shown = Callable[..., Page]


@pytest.fixture
def shown(watched, tmp_path: Path) -> Shown:
    """Open the page of a sweep in a window that reaches no server."""

    def opened(*axes, edges=True, **options) -> Page:
        page = watched.context(**options).new_page()
        page.found = maps_data.read(store(tmp_path, *axes, edges=edges))
        page.set_content(html.page(page.found))
        until(page, "() => document.querySelector('#state').textContent")
        return page

    return opened


def facts(page: Page) -> dict[str, str]:
    names, words = (page.locator(f"#facts {tag}").all_inner_texts() for tag in ("dt", "dd"))
    return dict(zip(names, words, strict=True))


def test_every_cell_that_the_arrow_keys_reach_is_told_as_the_store_has_it(shown: Shown):
    page = shown(DEPTHS, SUNG_AXIS)
    states = page.found.state_names()  # depth, sung
    sheet = page.get_by_role("application")
    sheet.focus()
    sheet.press("Home")
    for _ in range(7):
        sheet.press("Shift+ArrowDown")
    for j in range(61):
        told = facts(page)
        assert page.locator("#state").inner_text() == LOOKS[states[0, j]].says
        assert told["voice.depth"] == "0.1 (normal)"
        hz = 120.0 * 2.0 ** (SUNG_AXIS.values[j] / 1200.0)
        assert f"({hz:.2f} Hz)" in told["sing"].replace("\u00a0", " ")
        sheet.press("ArrowUp")
    sheet.press("End")
    assert facts(page)["voice.depth"] == "0.4 (exaggerated)"
    assert page.locator("#state").inner_text() == LOOKS[states[2, 60]].says


def test_the_next_lock_and_the_list_lead_to_where_to_aim(shown: Shown):
    page = shown(DEPTHS, SUNG_AXIS)
    rows = page.locator("#aims tbody tr")
    sheet = page.get_by_role("application")
    sheet.focus()
    for k in range(rows.count()):
        sheet.press("n")
        ratio = rows.nth(k).locator("button").inner_text()
        assert facts(page)["lock in it"].startswith(f"{ratio}: sing ")
    page.get_by_role("button", name="go to 3/2").click()
    told = facts(page)
    assert told["ratio"] == "3/2"
    # B2 -49 c is 120 Hz; a just fifth over it, an octave below it: arithmetic.
    assert told["common note"].replace("\u00a0", " ") == "B♭1 +49 c (59.93 Hz)"
    assert page.locator("#listen").inner_text().endswith("--at voice.depth=0.4 --at sung=+700c")


def test_the_cell_under_the_pointer_is_told(shown: Shown):
    page = shown(SUNG_AXIS, edges=False)
    sheet = page.get_by_role("application")
    box = sheet.bounding_box()
    assert box
    told = []
    for share in (0.2, 0.9):
        sheet.hover(position={"x": box["width"] * share, "y": box["height"] * 0.3})
        told.append(facts(page)["sing"])
    assert told[0] != told[1]


def test_a_third_axis_is_turned_by_slider_and_keys(shown: Shown):
    page = shown(DEPTHS, SUNG_AXIS, BREATHS)
    before = page.evaluate("() => document.querySelector('#picture canvas').toDataURL()")
    slider = page.get_by_label("voice.depth")
    slider.focus()
    slider.press("Home")
    assert facts(page)["voice.depth"] == "0.1 (normal)"
    assert page.evaluate("() => document.querySelector('#picture canvas').toDataURL()") != before
    sheet = page.get_by_role("application")
    sheet.focus()
    sheet.press("PageUp")
    assert facts(page)["voice.depth"] == "0.2 (strong)"


@pytest.mark.parametrize("width", [1440, 390], ids=["desk", "phone"])
def test_the_automated_judge_finds_nothing_by_day_and_by_night(shown: Shown, width: int):
    page = shown(DEPTHS, SUNG_AXIS, color_scheme="light", viewport={"width": width, "height": 844})
    paper = "() => getComputedStyle(document.body).backgroundColor"
    grounds = set()
    for light in ("light", "dark"):
        page.emulate_media(color_scheme=light)
        until(page, "(light) => document.documentElement.dataset.theme === light", light)
        found = Axe().run(page, options=RULES).response
        assert [(one["id"], one["nodes"][0]["target"]) for one in found["violations"]] == []
        assert len(found["passes"]) > 10  # it looked
        grounds.add(page.evaluate(paper))
    assert len(grounds) == 2
    assert page.evaluate("() => document.scrollingElement.scrollWidth") <= width
