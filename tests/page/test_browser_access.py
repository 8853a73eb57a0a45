"""The page in a browser: by keyboard alone, on a phone, held still, and read by an automated judge.

The judge is axe-core, a general-purpose reference for WCAG 2.1 A and AA.
"""

import pytest
from axe_playwright_python.sync_playwright import Axe
from browsing import RULES, Open, put, settle, setup_of, until, whole
from playwright.sync_api import Page

pytestmark = pytest.mark.browser

PHONE, DESK = {"width": 390, "height": 844}, {"width": 1440, "height": 900}
SOUNDING = "() => document.documentElement.dataset.sounding"

# All that can be reached by Tab: of radio buttons one each, of keys the one that is on.
STOPS = """() => {
  const groups = new Set();
  const all = document.querySelectorAll("a[href], button, input, select, summary, [tabindex]");
  globalThis.stops = [...all].filter((node) => {
    if (node.disabled || node.tabIndex < 0) return false;
    if (!node.checkVisibility({ visibilityProperty: true })) return false;
    if (node.type !== "radio") return true;
    if (groups.has(node.name)) return false;
    groups.add(node.name);
    return true;
  });
  return stops.length;
}"""
HERE = """() => {
  const node = document.activeElement;
  if (!node || node === document.body) return null;
  globalThis.visited ??= new Set();
  visited.add(node);
  const style = getComputedStyle(node), box = node.getBoundingClientRect();
  const line = parseFloat(style.outlineWidth) > 0 && style.outlineStyle !== "none";
  const ring = line || style.boxShadow !== "none";
  const name = node.ariaLabel || node.labels?.[0]?.innerText || node.innerText || node.title;
  return { name, ring, tag: node.tagName, id: node.id, seen: box.width > 0 && box.height > 0 };
}"""

# What is wider than its place, of all that moves up and down.
WIDER = """() => [document.scrollingElement, ...document.querySelectorAll("main, .work, .panel")]
  .filter((one) => one.scrollWidth > one.clientWidth)
  .map((one) => [one.id || one.className, one.scrollWidth, one.clientWidth])"""


def everything_open(page: Page) -> None:
    """Show all that can be shown without much work."""
    settle(page)
    whole(page)
    page.locator("#keep-a").click()
    page.evaluate("() => document.querySelectorAll('details').forEach((one) => (one.open = true))")
    page.locator("#bore").scroll_into_view_if_needed()
    until(page, "() => document.querySelector('#bore .room').dataset.bore === 'ready'")
    settle(page)


@pytest.mark.parametrize("size", [DESK, PHONE], ids=["desk", "phone"])
def test_the_automated_judge_finds_nothing(open_page: Open, size: dict):
    page = open_page(color_scheme="light", viewport=size)
    everything_open(page)
    for light in ("light", "dark"):
        page.emulate_media(color_scheme=light)
        until(page, "(light) => document.documentElement.dataset.theme === light", light)
        found = Axe().run(page, options=RULES).response
        told = [
            f"{light}: {one['id']}: {node['target']} {node.get('failureSummary', '')}"
            for one in found["violations"]
            for node in one["nodes"]
        ]
        assert told == []
        assert len(found["passes"]) > 15  # it looked


def test_while_it_works_the_page_can_be_read_too(page: Page):
    settle(page)
    page.route("**/api/judge", lambda route: None)  # never answered
    put(page, {"sung": "A3"})
    page.evaluate("() => document.body.append(document.createElement('button'))")
    found = Axe().run(page, options=RULES).response["violations"]
    assert [one["id"] for one in found] == ["button-name"]  # the nameless one was seen


def test_every_control_is_reached_by_tab_has_a_name_and_shows_it(page: Page):
    settle(page)
    whole(page)
    ids = page.locator("[id]").evaluate_all("(all) => all.map((one) => one.id)")
    assert len(ids) == len(set(ids))
    wanted = page.evaluate(STOPS)
    assert wanted > 40  # it looked
    for _ in range(wanted + 5):
        page.keyboard.press("Tab")
        here = page.evaluate(HERE)
        if here is None:
            break
        assert here["name"], here
        assert here["ring"], here
        assert here["seen"], here
    assert page.evaluate("() => stops.filter((node) => !visited.has(node)).length") == 0


def test_a_pair_is_set_heard_and_read_by_keyboard_alone(page: Page):
    def tab_to(asks: str) -> None:
        for _ in range(150):
            page.keyboard.press("Tab")
            if page.evaluate(f"() => document.activeElement?.matches('{asks}')"):
                return
        raise AssertionError(asks)

    tab_to("#fingered")
    page.keyboard.press("Control+A")
    page.keyboard.type("D3")
    tab_to("#sung")
    page.keyboard.press("Control+A")
    page.keyboard.type("5/3")
    tab_to(".keys.voice .key")
    assert setup_of(page) == {"fingered": "D3", "sung": "5/3"}
    page.keyboard.press("ArrowRight")
    assert setup_of(page)["sung"] == "C4"  # B3 and a semitone
    assert settle(page)["verdict"]["sung_note"].startswith("C4")
    tab_to("#play")
    page.keyboard.down(" ")
    assert until(page, SOUNDING) == "setup"
    page.keyboard.up(" ")
    page.keyboard.press("Escape")
    until(page, f"() => !({SOUNDING})()")
    tab_to("#spectrum canvas")
    page.keyboard.press("ArrowRight")
    assert " Hz (" in page.locator("#spectrum .caption").inner_text()


def test_the_answer_is_told_as_it_changes(page: Page):
    settle(page)
    assert page.locator("#sentence").get_attribute("aria-live") == "polite"
    assert page.locator("#bore .caption").get_attribute("aria-live") == "polite"
    before = page.locator("#waves canvas").first.get_attribute("aria-label")
    put(page, {"sung": "A3"})
    settle(page)
    until(page, "(before) => document.querySelector('#waves canvas').ariaLabel !== before", before)


def test_who_wants_no_motion_gets_none(open_page: Open):
    page = open_page(reduced_motion="reduce")
    settle(page)
    whole(page)  # what stands above has its height: nothing pushes the bore out of sight again
    page.locator("#bore").scroll_into_view_if_needed()
    until(page, "() => document.querySelector('#bore .room').dataset.bore === 'ready'")
    assert page.evaluate("() => document.querySelector('#bore .room').dataset.running") == "false"
    assert page.evaluate("() => document.getAnimations().length") == 0
    assert (
        page.evaluate("() => getComputedStyle(document.documentElement).scrollBehavior") == "auto"
    )
    page.locator("#bore").get_by_role("button", name="Run", exact=True).click()  # unless asked
    assert page.evaluate("() => document.querySelector('#bore .room').dataset.running") == "true"


def test_it_fits_and_fingers_find_the_controls(open_page: Open):
    page = open_page(viewport=PHONE)
    everything_open(page)
    for width in (390, 1024, 1440):
        page.set_viewport_size({"width": width, "height": 844})
        until(page, "(width) => innerWidth === width", width)
        until(page, f"() => !({WIDER})().length")
        small = page.evaluate(
            """() => [...document.querySelectorAll("button, select, summary")]
              .filter((node) => node.checkVisibility() && !node.matches(".key"))
              .map((node) => [node.innerText || node.id, node.getBoundingClientRect().height])
              .filter(([, height]) => height < 40)"""
        )
        assert small == []


# Whether the middle of a thing is on the screen and nothing else lies there.
IN_SIGHT = """(asks) => [...document.querySelectorAll(asks)].every((node) => {
  const { left, right, top, bottom } = node.getBoundingClientRect();
  const there = document.elementFromPoint((left + right) / 2, (top + bottom) / 2);
  return node.contains(there) || there?.contains(node);
})"""


def test_controls_and_answer_are_in_sight_together(page: Page):
    for width, height in ((1440, 900), (1024, 768)):
        page.set_viewport_size({"width": width, "height": height})
        for asks in ("#fingered", "#sung", "#play", ".strip .badge", ".horn [aria-checked=true]"):
            until(page, IN_SIGHT, asks)


def test_on_a_phone_keys_are_wide(open_page: Open):
    page = open_page(viewport=PHONE)
    whole(page)
    sizes = page.evaluate(
        """() => [...document.querySelectorAll(".key")]
          .map((key) => [key.offsetWidth, key.offsetHeight]).flat()"""
    )
    assert min(sizes) >= 40


def test_nothing_lies_under_the_foot(open_page: Open):
    page = open_page(viewport=PHONE)
    whole(page)
    for size in (PHONE, {"width": 1024, "height": 768}, DESK):
        page.set_viewport_size(size)
        until(page, "(width) => innerWidth === width", size["width"])
        for name in ("fingered", "link"):  # the first and the last thing to be typed into
            page.locator(f"#{name}").focus()
            until(page, IN_SIGHT, f"#{name}")
        foot = page.locator(".strip").bounding_box()
        assert foot
        assert foot["y"] + foot["height"] == size["height"]
