"""The page in a browser: moving bore, lock map, and lock table."""

import itertools
import json
import math
import re
from collections.abc import Callable
from fractions import Fraction
from typing import Any

import pytest
from browsing import Open, begun, put, settle, setup_of, slide, until
from playwright.sync_api import Locator, Page

from reedbore.model.setup import Setup
from reedbore.page import map, table
from reedbore.page.request import read_words
from reedbore.verdict.locks import Table, lock_table
from reedbore.verdict.singer import SingerRow
from reedbore.verdict.state import RowState

pytestmark = pytest.mark.browser

FRAME = """() =>
  [...document.querySelectorAll("#bore canvas")].map((sheet) => sheet.toDataURL()).join()"""
DRAWN_ON = f"(before) => ({FRAME})() !== before"
# What moves is drawn anew in each of these; the next question is asked after the last of them.
FRAMES_PASS = """async () => {
  for (let k = 0; k < 12; k += 1) await new Promise(requestAnimationFrame);
}"""


def panel(page: Page, name: str) -> Locator:
    """Go to a panel, which is begun only after the first sound, and wait until it is there."""
    until(page, f"() => document.querySelector('#{name} .room').childElementCount > 0")
    found = page.locator(f"#{name}")
    found.scroll_into_view_if_needed()
    return found


# --- the bore ------------------------------------------------------------------------------------


@pytest.fixture
def bore(page: Page) -> Locator:
    found = panel(page, "bore")
    until(page, "() => document.querySelector('#bore .room').dataset.bore === 'ready'")
    return found


def room(page: Page, name: str) -> str:
    said: str = page.evaluate(f"() => document.querySelector('#bore .room').dataset.{name} ?? ''")
    return said


def test_the_bore_moves_and_can_be_stopped(page: Page, bore: Locator):
    assert room(page, "running") == "true"
    until(page, DRAWN_ON, page.evaluate(FRAME))
    until(page, "() => Number(document.querySelector('#bore .room').dataset.fps) > 0")
    bore.get_by_role("button", name="Pause").click()
    still = page.evaluate(FRAME)
    page.evaluate(FRAMES_PASS)
    assert page.evaluate(FRAME) == still
    bore.get_by_role("button", name="One step on").click()
    stepped = page.evaluate(FRAME)
    assert stepped != still
    bore.get_by_role("button", name="One step on").click()
    assert page.evaluate(FRAME) != stepped
    bore.get_by_role("button", name="One step back").click()
    assert page.evaluate(FRAME) == stepped


@pytest.mark.parametrize("size", [(1920, 1080), (1440, 900), (390, 844)])
def test_nothing_below_moves_when_the_film_comes_in_and_runs(
    open_page: Open, size: tuple[int, int]
):
    page = open_page(viewport={"width": size[0], "height": size[1]})
    page.route("**/api/bore", lambda route: None)
    bore = panel(page, "bore")
    until(page, "() => document.querySelector('#bore .room').dataset.bore === 'asking'")
    tall = "() => document.querySelector('#bore').getBoundingClientRect().height"
    kept = page.evaluate(tall)
    page.unroute("**/api/bore")  # what was held goes on
    until(page, "() => document.querySelector('#bore .room').dataset.bore === 'ready'")
    assert page.evaluate(tall) == kept
    bore.get_by_role("button", name="Pause").click()
    moments = page.locator("#bore .bore-moments button")
    assert moments.count() > 5
    for told in moments.all_text_contents():
        page.evaluate(
            "(text) => (document.querySelector('#bore .caption').textContent = text)",
            told.partition(": ")[2],
        )
        assert page.evaluate(tall) == kept, told


def test_the_bore_can_be_dragged_through_time_and_slowed(page: Page, bore: Locator):
    bore.get_by_role("button", name="Pause").click()
    slide(page, "Time", 0)
    first, said = page.evaluate(FRAME), bore.locator(".caption").inner_text()
    slide(page, "Time", 100)
    assert page.evaluate(FRAME) != first
    assert "ms" in bore.inner_text()
    assert said
    slide(page, "Speed", 0)
    assert "1:1000" in bore.inner_text()
    slide(page, "Speed", 100)
    assert "1:20" in bore.inner_text()


def test_the_bore_is_driven_by_keys_and_told_in_words(page: Page, bore: Locator):
    scene = bore.locator(".bore-scene")
    scene.focus()
    scene.press(" ")
    assert room(page, "running") == "false"
    scene.press("Home")
    place = page.get_by_label("Time", exact=True)
    assert place.input_value() == "0"
    scene.press("ArrowRight")
    assert place.input_value() == "1"
    scene.press("ArrowLeft")
    captions = set()
    for k in range(24):
        assert place.input_value() == str(10 * k)
        captions.add(bore.locator(".caption").inner_text())
        scene.press("Shift+ArrowRight")
    assert len(captions) >= 4
    bore.get_by_text("What happens, moment by moment").click()
    listed = bore.locator("ol button").all_inner_texts()
    assert len(listed) >= 4
    assert all(any(text in line for line in listed) for text in captions)


SCALE = """async () => {
  const { post } = await import("./core/api.js"), { film } = await import("./panels/bore/film.js");
  const { words } = reedbore.state;
  const { pressure, forward, low, high } = await film(await post("/api/bore", { words }));
  const back = pressure.map((whole, k) => whole - forward[k]);
  const ends = [pressure, forward, back].map((rows) => [Math.min(...rows), Math.max(...rows)]);
  return { low, high, ends };
}"""


def test_the_sum_and_both_waves_lie_within_the_scale(page: Page, bore: Locator):
    told = page.evaluate(SCALE)
    assert all(told["low"] <= low and high <= told["high"] for low, high in told["ends"])
    (_, whole), *waves = told["ends"]
    assert max(high for _, high in waves) > whole  # the tenor's waves rise above their sum


def test_another_setup_moves_otherwise(page: Page, bore: Locator):
    bore.get_by_role("button", name="Pause").click()
    slide(page, "Time", 50)
    before = page.evaluate(FRAME)
    put(page, {"horn": "plain-cylinder", "fingered": "Bb2", "sung": "3/1"})
    until(page, DRAWN_ON, before)
    # What is wrong with a setup is told at its field and in the strip, not here once more.
    put(page, {"fingered": "C7"})
    until(
        page,
        """() => document.querySelector('#bore .room').dataset.bore === 'refused'
          && !document.querySelector('[role=alert]').hidden
          && !document.querySelector('#bore .caption').textContent""",
    )


# --- map and table -------------------------------------------------------------------------------


@pytest.fixture
def small_batches(monkeypatch: pytest.MonkeyPatch) -> None:
    """Judge few cells at one go: what is called off ends with the batch that is under way."""
    monkeypatch.setattr(map, "BATCH", 8)


def opening_told(found: Locator) -> str:
    """The opening of the reed in the cell under the cursor."""
    told = re.search(r"reed opening ([\d.]+) mm", found.locator(".cell-says").inner_text())
    assert told
    return told[1]


def test_a_cell_of_the_map_is_told_loaded_and_played(page: Page, small_batches: None):
    found = panel(page, "map")
    page.locator("#each-change").uncheck()
    found.get_by_label("Cells", exact=True).select_option("12")
    found.get_by_label("Across", exact=True).select_option("reed.opening_mm")
    found.get_by_label("Across: from").fill("1.0")
    found.get_by_label("Across: to").fill("1.4")
    found.get_by_role("button", name="Compute the map").click()
    # It can be asked while it is computed, coarse cells first.
    until(page, "() => document.querySelector('#map .legend').childElementCount > 0")
    sheet = found.get_by_role("application")
    box = sheet.bounding_box()
    assert box
    middle = {"x": box["width"] * 0.5, "y": box["height"] * 0.4}
    sheet.hover(position=middle)
    until(page, "() => document.querySelector('#map .cell-says').textContent.includes('mm:')")
    said = found.locator(".cell-says").inner_text().replace("♭", "b")
    assert "Bb2 fingered" in said
    assert "sung" in said
    sheet.click(position=middle)
    # What there is is enough. On a quick machine it is all there, and the button gone.
    page.evaluate("() => [...document.querySelectorAll('#map button')].at(-1).click()")
    loaded = setup_of(page)
    assert 1.0 <= loaded["reed.opening_mm"] <= 1.4
    assert loaded["sung"]
    assert begun(page) == "setup"
    assert settle(page)["verdict"]["ratio"] == "5/2"
    page.keyboard.press("Escape")
    sheet.focus()
    before = opening_told(found)
    for _ in range(8):  # a coarse cell is eight wide
        sheet.press("ArrowRight")
        if opening_told(found) != before:
            break
    sheet.press("Enter")
    assert setup_of(page)["reed.opening_mm"] > loaded["reed.opening_mm"]
    assert begun(page) == "setup"


def test_a_map_can_be_called_off_and_a_wrong_axis_is_told(page: Page, small_batches: None):
    found = panel(page, "map")
    found.get_by_label("Cells", exact=True).select_option("40")
    found.get_by_role("button", name="Compute the map").click()
    until(page, "() => document.querySelector('#map .legend').childElementCount > 0")
    found.get_by_role("button", name="Call it off").click()
    until(page, "() => document.querySelector('#map [role=status]').textContent.includes('off')")
    found.get_by_label("Across: from").fill("nonsense")
    found.get_by_role("button", name="Compute").click()
    until(
        page, "() => document.querySelector('#map [role=status]').textContent.includes('nonsense')"
    )
    wrong = found.locator("[aria-invalid]")
    assert wrong.input_value() == "nonsense"
    assert "nonsense" in page.locator(f"#{wrong.get_attribute('aria-describedby')}").inner_text()


# Where a column or a row of the map, through the middles of its cells, is not painted as a locked
# cell, and whether there is something written beside the end of it; places in cells.
ACROSS_LINES = """async ({ head, way, k }) => {
  const { frameOf } = await import("/panels/map/draw.js");
  const { colourOf } = await import("/core/looks.js");
  const sheet = document.querySelector("#map canvas"), pen = sheet.getContext("2d");
  const [wide, tall] = [sheet.width, sheet.height], frame = frameOf({ head }, wide, tall);
  const plain = [1, 3, 5].map((n) => parseInt(colourOf(head.looks.locked).slice(n, n + 2), 16));
  const at = way === "up" ? Math.round(frame.x(k + 0.5)) : Math.round(frame.y(k + 0.5));
  const from = 2 + (way === "up" ? frame.top : frame.left);
  const size = (way === "up" ? frame.tall : frame.wide) - 4;
  const dots = pen.getImageData(...(way === "up" ? [at, from, 1, size] : [from, at, size, 1]));
  let found = [], begun = null;
  for (let n = 0; n <= size; n += 1) {
    const other = n < size && plain.some((value, c) => Math.abs(dots.data[4 * n + c] - value) > 8);
    if (other) begun ??= n;
    else if (begun !== null) {
      const middle = from + (begun + n) / 2;
      begun = null;
      const place = way === "up" ? (frame.ny * (frame.top + frame.tall - middle)) / frame.tall
        : (frame.nx * (middle - frame.left)) / frame.wide;
      found.push(place - 0.5);
    }
  }
  return found;
}"""


def between(low: float, high: float) -> list[float]:
    """Sizes of all ratios of numbers up to 8 between two, by arithmetic. [cents]"""
    sizes = {1200.0 * math.log2(Fraction(p, q)) for p in range(1, 9) for q in range(1, 9)}
    return sorted(size for size in sizes if low < size < high)


def told_map(page: Page, along: list[dict], alone: Callable[[int, int], float | None]) -> dict:
    """Answer the page with a map that locks everywhere, and tell what its horn alone plays.

    `alone` takes a cell and returns cents from the fingered note, or nothing where the horn does
    not sound; both axes are those of the program, so that only the drawing is tried.
    """
    stream = map.cells(read_words({}), along)
    head = next(stream)
    stream.close()
    fixed = 1200.0 * math.log2(2.5)  # the demo's sung note
    counts = [range(len(axis["values"])) for axis in head["axes"]]
    cells = []
    for place in itertools.product(*counts):
        sung = [axis["values"][k] for axis, k in zip(head["axes"], place, strict=True)
                if axis["field"] == "sung"]  # fmt: skip
        played = alone(*place)
        interval = None if played is None else (sung or [fixed])[0] - played
        cells.append({"i": place[0], "j": place[1], "state": "locked", "interval": interval,
                      "ratio": "5/2", "beat": 0, "third": "none", "jumped": False})  # fmt: skip
    body = "".join(json.dumps(line) + "\n" for line in (head, *cells))
    page.route("**/api/map", lambda route: route.fulfill(body=body))
    found = panel(page, "map")
    found.get_by_role("button", name="Compute the map").click()
    until(page, "() => document.querySelector('#map [role=status]').textContent.includes('Done')")
    return head


def without_cursor(head: dict) -> list[int]:
    across = head["axes"][0]
    return [k for k in range(len(across["values"])) if k != across["here"]]


WIDE = {"field": "sung", "start": "2/1-60c", "stop": "3/1+60c", "count": 12}
OPENING = {"field": "reed.opening_mm", "start": 1.0, "stop": 1.4, "count": 9}
BREATH = {"field": "breath.pressure_kpa", "start": 3.0, "stop": 4.0, "count": 8}


def test_lines_of_simple_ratios_lie_where_the_voice_is_just_over_the_horn_alone(page: Page):
    bend = 15.0  # cents for each cell that the reed opens
    head = told_map(page, [OPENING, WIDE], lambda i, j: bend * i)
    low, *_, high = head["axes"][1]["values"]
    step = (high - low) / 11
    for i in without_cursor(head):
        drawn = page.evaluate(ACROSS_LINES, {"head": head, "way": "up", "k": i})
        ends = low - step / 2 - bend * i + 5.0, high + step / 2 - bend * i - 5.0
        just = [(size + bend * i - low) / step for size in between(*ends)]
        assert len(just) >= 4
        assert sorted(drawn) == pytest.approx(just, abs=0.1)
    said = page.locator("#map .legend").inner_text()
    assert all(ratio in said for ratio in ("2/1", "7/3", "5/2", "8/3", "3/1"))


def test_lines_stand_upright_where_the_sung_note_runs_across(page: Page):
    head = told_map(page, [WIDE, OPENING], lambda i, j: 0.0)
    low, *_, high = head["axes"][0]["values"]
    drawn = page.evaluate(ACROSS_LINES, {"head": head, "way": "across", "k": 1})
    just = [11.0 * (size - low) / (high - low) for size in between(low, high)]
    assert drawn == pytest.approx(just, abs=0.1)


def test_a_line_bends_through_a_map_whose_voice_stays(page: Page):
    # 3 cents flat for each cell to the right, 5 sharp for each one up, and just in the cell (3, 3).
    head = told_map(page, [OPENING, BREATH], lambda i, j: 5.0 * (j - 3) - 3.0 * (i - 3))
    for i in without_cursor(head):
        drawn = page.evaluate(ACROSS_LINES, {"head": head, "way": "up", "k": i})
        assert drawn == pytest.approx([3.0 + 0.6 * (i - 3)], abs=0.1)


def test_no_line_runs_through_silence_or_into_another_register(page: Page):
    head = told_map(page, [OPENING, WIDE], lambda i, j: (0.0, 1200.0, None)[i // 3])
    low = head["axes"][1]["values"][0]
    assert not between(low, low + 40.0)
    drawn = page.evaluate(ACROSS_LINES, {"head": head, "way": "across", "k": 0.3})
    assert drawn == []  # between the lines of either side, which end at the cliff
    assert len(page.evaluate(ACROSS_LINES, {"head": head, "way": "up", "k": 1})) == 5
    assert page.evaluate(ACROSS_LINES, {"head": head, "way": "up", "k": 7}) == []


@pytest.mark.slow
def test_a_row_of_the_table_is_loaded_and_played(page: Page, monkeypatch: pytest.MonkeyPatch):
    def some(setup: Setup, hz: float, *, voice_range: object, **more: Any) -> Table:
        return lock_table(setup, hz, voice_range=(1.9 * hz, 2.1 * hz), **more)

    def sung(_: object, hz: float, ratios: list[tuple[int, int]], tell: object) -> list[list]:
        free = [SingerRow(one, hz, RowState.FREE, *[None] * 5) for one in ratios]
        return [free]

    monkeypatch.setattr(table, "lock_table", some)
    monkeypatch.setattr(table, "singer_rows", sung)  # tried elsewhere, and slow
    put(page, {"fingered": "B3"})
    found = panel(page, "table")
    page.locator("#each-change").uncheck()
    found.get_by_role("button", name="Make the table").click()
    until(page, "() => document.querySelector('#table tbody button')")
    assert "What a clock may sing over B3" in found.locator(".of-clock caption").inner_text()
    assert "For a singer" in found.locator("h3").first.inner_text()  # who comes first
    row = found.locator(".of-clock tbody tr", has=page.get_by_role("button")).first
    ratio = row.locator("td").nth(1).inner_text()
    row.get_by_role("button").click()
    assert begun(page) == "setup"
    verdict = settle(page)["verdict"]
    assert verdict["ratio"] == ratio
    assert verdict["fingered_note"] == "B3"
    until(page, "() => document.querySelector('#table-now').textContent")
    now = page.locator("#table-now").inner_text()
    assert now.startswith(f"Now {ratio} is sung")
    assert now.endswith("so does the headline.") == (verdict["state"] == "locked")


def test_the_table_can_be_called_off(page: Page):
    found = panel(page, "table")
    found.get_by_role("button", name="Make the table").click()
    until(page, "() => document.querySelector('#table progress').checkVisibility()")
    found.get_by_role("button", name="Call it off").click()
    until(page, "() => document.querySelector('#table [role=status]').textContent.includes('off')")


# --- how far it is -------------------------------------------------------------------------------

TOLD = """async () => {
  const { startable } = await import("./core/stream.js");
  const said = [], { now } = performance;
  const made = startable({ start: "Go", again: "Again", cancel: "Stop", work: async (tell) => {
    const at = (seconds, share, text = "Judging …") => {
      performance.now = () => 1000 * seconds;
      tell(text, share);
      said.push(made.root.querySelector("[role=status]").textContent);
    };
    for (const [seconds, share] of [[0], [50, 0.8], [51, 0.81], [58, 0.85], [60, 0], [68, 0.2]])
      at(seconds, share);
    return "Done";
  } });
  await made.run();
  performance.now = now;
  return said;
}"""
FORGETS = """async () => {
  const { canvas } = await import("./core/canvas.js");
  const passes = () => new Promise((done) => requestAnimationFrame(() => setTimeout(done)));
  let drawn = 0;
  const told = async (change) => {
    change();
    for (let k = 0; k < 3; k += 1) await passes();
    const before = drawn;
    for (let k = 0; k < 2; k += 1) document.querySelector("#theme").click();
    return drawn - before;
  };
  const { root } = canvas(() => (drawn += 1), { label: "a picture", height: 50 });
  const shown = () => document.querySelector("main").append(root);
  return [await told(shown), await told(() => root.remove()), await told(shown)];
}"""


def test_the_time_left_is_of_the_share_that_is_being_done(page: Page):
    # Begun at 80 %, a quarter of the rest took 8 s, so 24 s are left; then another part begins.
    begins = ["Judging …"] * 3
    assert page.evaluate(TOLD) == [
        *begins,
        "Judging: 85 %, about 30 s left",
        "Judging …",
        "Judging: 20 %, about 40 s left",
    ]


def test_a_picture_that_is_gone_is_not_drawn_for_other_colours(page: Page):
    assert page.evaluate(FORGETS) == [2, 0, 2]
