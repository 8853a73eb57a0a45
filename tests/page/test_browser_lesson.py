"""The lesson in a browser, as a student and as a teacher use it."""

import json
import re

import pytest
from axe_playwright_python.sync_playwright import Axe
from browsing import RULES, Open, begun, put, setup_of, until, words
from playwright.sync_api import Locator, Page

pytestmark = pytest.mark.browser

PHONE, DESK = {"width": 390, "height": 844}, {"width": 1440, "height": 900}
HALL = {"width": 1920, "height": 1080}

READY = """() => {
  const film = document.querySelector(".podium .bore-film");
  if (film) return document.querySelector(".podium [data-bore=ready]");
  const says = document.querySelector(".podium-seen [role=status]");
  return says && !says.textContent.includes("plays it");
}"""
IN_SIGHT = """(asks) => [...document.querySelectorAll(asks)].every((node) => {
  const { left, right, top, bottom } = node.getBoundingClientRect();
  return left >= 0 && right <= innerWidth + 1 && top >= -1 && bottom <= innerHeight + 1;
})"""
# All that is written and matters, and how large: of pictures the font that they are drawn with.
SIZES = """() => [...document.querySelectorAll(
    ".podium h2, .podium p, .podium dd, .podium dt, .podium label, .podium button, .podium .asks")]
  .filter((node) => node.checkVisibility() && node.textContent)
  .map((node) => [node.textContent.slice(0, 30), parseFloat(getComputedStyle(node).fontSize)])
  .concat([...document.querySelectorAll(".podium canvas")]
    .filter((sheet) => sheet.getContext("2d").font !== "10px sans-serif")
    .map((sheet) => ["a picture", /([\\d.]+)px/.exec(sheet.getContext("2d").font)[1] * 1]))"""

# Half the way round a stopped tube: any textbook. The pairs: arithmetic of the notes.
RIGHT = {"push": "the open end", "tube": 4, "reed": "low", "voice": "one", "multiple": 2,
         "octave": 2, "lower": "7/4", "drift": 6, "rough": "5/3"}  # fmt: skip
WRONG = {"push": "both", "tube": 2, "octave": 5, "rough": None}


def entered(page: Page) -> Locator:
    # By keyboard: answers that come in above move the button, and a mouse that goes down on it
    # and up beside it has pressed nothing.
    page.get_by_role("button", name="Start the lesson").press("Enter")
    return page.get_by_role("dialog", name="The lesson")


def answered(page: Page, lesson: Locator, answer: object) -> str:
    """Answer a question as a student does, and return what is said to it."""
    if lesson.locator(".answers").count():
        lesson.get_by_label(str(answer), exact=True).check()
    elif lesson.get_by_label("Sung note").count():
        if answer is not None:
            lesson.get_by_label("Sung note").first.fill(str(answer))
            lesson.get_by_label("Sung note").first.press("Enter")
    else:
        lesson.locator("form input").fill(str(answer))
    lesson.get_by_role("button", name="Check it").click()
    return str(until(page, "() => document.querySelector('.podium [data-right]')?.textContent"))


def test_a_student_goes_through_it_and_the_players_setup_stays(page: Page):
    put(page, {"fingered": "C3", "sung": "E4"})
    mine, link = setup_of(page), page.url
    lesson = entered(page)
    solved = 0
    for name, right in RIGHT.items():
        assert lesson.locator("h2").inner_text().startswith(f"{solved + 1}. ")
        assert lesson.locator("h2").evaluate("(node) => node === document.activeElement")
        if name in WRONG:
            assert answered(page, lesson, WRONG[name]).startswith("Not yet."), name
        assert answered(page, lesson, right).startswith("Right."), name
        solved += 1
        assert lesson.get_by_role("button", name=", done").count() == solved
        lesson.get_by_role("button", name="On to the next step").click()
    assert lesson.locator("h2").inner_text().startswith("10. ")
    assert setup_of(page) == mine
    # A reload loses nothing; neither does leaving.
    page.reload()
    until(page, "() => document.querySelector('.podium h2')")
    lesson = page.get_by_role("dialog", name="The lesson")
    assert lesson.get_by_role("button", name=", done").count() == solved
    assert lesson.locator("h2").inner_text().startswith("10. ")
    lesson.get_by_role("button", name="Leave the lesson").click()
    assert page.get_by_role("button", name="Go on with step 10").is_visible()
    assert setup_of(page) == mine
    assert page.url == link


def test_answers_are_hidden_until_they_are_given(page: Page):
    lesson = entered(page)
    lesson.get_by_role("button", name="Step 6, ").click()
    until(page, READY)
    shown = lesson.inner_text() + str(lesson.locator("canvas").first.get_attribute("aria-label"))
    for told in ("B♭1", "every 5th", "locked", "octave below"):
        assert told not in shown
    assert lesson.locator(".bore-moments button").count() == 0
    assert page.locator(".strip").evaluate("(node) => node.inert")
    answered(page, lesson, 3)
    assert lesson.locator(".bore-moments button").count() == 0
    answered(page, lesson, 2)
    assert "B♭1" in lesson.locator(".verdict-of-task").inner_text()
    assert lesson.locator(".bore-moments button").count() > 5


def test_a_step_can_be_heard_moved_undone_and_gone_back_from(page: Page):
    lesson = entered(page)
    lesson.get_by_role("button", name="Hear it").click()
    assert begun(page) == "lesson"
    assert "dB" in until(
        page, "() => document.querySelector('.podium-seen > .row .hint').textContent"
    )
    lesson.get_by_role("button", name="Stop the sound").click()
    lesson.get_by_role("button", name="Step 9, ").click()
    sung = lesson.get_by_label("Sung note").first
    lesson.get_by_role("button", name="A semitone down").click()
    assert sung.input_value() == "A♭3"
    lesson.get_by_role("button", name="Undo").click()
    assert sung.input_value() == "A3"
    page.go_back()
    until(page, "() => document.querySelector('.podium h2').textContent.startsWith('1. ')")
    page.go_back()
    until(page, "() => !document.querySelector('.podium')")
    assert words(page)["sung"] == "D4-13.8c"


def test_it_is_presented_with_large_letters_and_by_a_clicker(open_page: Open):
    page = open_page(viewport=HALL)
    lesson = entered(page)
    lesson.get_by_role("button", name="Present").click()
    until(page, "() => document.fullscreenElement")
    for number in range(1, 10):
        until(page, READY)
        sizes = page.evaluate(SIZES)
        assert len(sizes) > 8
        assert min(size for _, size in sizes) >= 28.0, sorted(sizes, key=lambda one: one[1])[:3]
        until(page, IN_SIGHT, ".podium h2, .podium .asks, .podium form button[type=submit]")
        page.keyboard.press("PageDown")
        assert lesson.locator("h2").inner_text().startswith(f"{number + 1}. ")
    page.keyboard.press("PageUp")
    page.keyboard.press("ArrowLeft")
    assert lesson.locator("h2").inner_text().startswith("8. ")
    assert not lesson.get_by_text("For the teacher").is_visible()
    page.keyboard.press("n")
    assert lesson.get_by_text("For the teacher").is_visible()
    page.evaluate("() => document.exitFullscreen()")
    until(page, "() => !('presenting' in document.documentElement.dataset)")


@pytest.mark.parametrize("size", [DESK, PHONE], ids=["desk", "phone"])
def test_the_automated_judge_finds_nothing_and_all_fits(open_page: Open, size: dict):
    page = open_page(viewport=size, color_scheme="light")
    lesson = entered(page)
    for step in (1, 4, 7):
        lesson.get_by_role("button", name=f"Step {step}, ").click()
        until(page, READY)
        until(page, IN_SIGHT, ".podium-foot button")
        assert page.evaluate("() => document.querySelector('.podium').scrollWidth <= innerWidth")
        for light in ("light", "dark"):
            page.emulate_media(color_scheme=light)
            until(page, "(light) => document.documentElement.dataset.theme === light", light)
            found = Axe().run(page, options=RULES).response
            assert [(one["id"], one["nodes"][0]["target"]) for one in found["violations"]] == []
        small = page.evaluate(
            """() => [...document.querySelectorAll(".podium button, .podium summary")]
              .filter((node) => node.checkVisibility())
              .map((node) => [node.innerText, node.getBoundingClientRect().height])
              .filter(([, height]) => height < 40)"""
        )
        assert small == []


def test_the_handout_has_every_step_and_answers_only_for_the_teacher(page: Page):
    few = json.loads(json.dumps(page.evaluate("() => fetch('/api/lesson').then((a) => a.json())")))
    few = [step for step in few if step["name"] in ("push", "multiple")]
    page.context.route("**/api/lesson", lambda route: route.fulfill(json=few))
    told = {"answer": "two peaks", "said": "So it is."}
    page.context.route("**/api/lesson/truth", lambda route: route.fulfill(json=told))
    for link, answers in (("Handout to print", 0), ("The same with answers and notes", len(few))):
        with page.expect_popup() as opened:
            page.get_by_role("link", name=link).click()
        sheet = opened.value
        until(sheet, "() => document.querySelector('#ready')?.textContent === 'Ready.'")
        assert sheet.locator("section").count() == len(few)
        assert sheet.locator(".answer").count() == answers
        assert ("So it is." in sheet.inner_text("body")) == bool(answers)
        pages = len(re.findall(rb"/Type\s*/Page\b", sheet.pdf(prefer_css_page_size=True)))
        assert 1 <= pages <= 3
        sheet.close()
    page.context.unroute_all()
