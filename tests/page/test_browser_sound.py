"""The page in a browser: what it plays is what is rendered, at the level it is rendered at."""

from collections.abc import Callable

import numpy as np
import pytest
from browsing import Recorded, begun, pass_time, put, settle, slide, until
from numpy.typing import NDArray
from playwright.sync_api import Page

from reedbore.measures.loudness import loudness
from reedbore.page.loop import Loop, looped
from reedbore.page.request import read_words
from reedbore.simulate.outside import FULL_SCALE_PA, MATCHED_LUFS, SOUND_RATE
from reedbore.simulate.request.take import read_request, tune_request
from reedbore.simulate.take import render
from reedbore.sound import fade, remove_dc

pytestmark = pytest.mark.browser

Change = Callable[[dict], tuple[NDArray[np.float64], dict]]

USUAL_LOUDNESS = 0.4**2  # what the page starts with
LAST_BITS = 2.0 / 32768.0  # of 16: rounding, and 32767 or 32768 steps to full scale
SOUNDING = "() => document.documentElement.dataset.sounding"
QUIET = "() => document.documentElement.dataset.sounding === ''"
# Down and up at one moment: how long a driven mouse stays down is for the machine to say.
TAP = """() => {
  for (const kind of ["pointerdown", "pointerup", "click"]) {
    document.querySelector("#play").dispatchEvent(new PointerEvent(kind, { pointerId: 1 }));
  }
}"""
HEARD = "() => (ear.getFloatTimeDomainData((globalThis.caught ??= new Float32Array(32768))), 0)"


def rendered(asked: dict) -> NDArray[np.float64]:
    """Render what the page asked for, as a file of it begins and ends. [full scale]"""
    setup = tune_request(read_request(read_words(asked["words"]))).setup
    sound = remove_dc(render(setup, asked["seconds"]).sound, SOUND_RATE)
    return fade(sound, SOUND_RATE, 0.02) / FULL_SCALE_PA


STILL = {"breath.sway": 0, "breath.lip_sway": 0}
"""What is heard for two thirds of a second is then as loud as the whole."""


def heard(page: Page) -> NDArray[np.float64]:
    """What reached the loudspeakers in the last two thirds of a second. [full scale]"""
    page.evaluate(HEARD)
    return np.array(page.evaluate("() => Array.from(caught)"))


def level(samples: NDArray[np.float64]) -> float:
    return float(np.sqrt(np.mean(samples**2)))


def alike(part: NDArray[np.float64], whole: NDArray[np.float64]) -> float:
    """Correlation of a part with the place in a whole that is most like it, 1 at most."""
    # A sound that moves is louder here and there: that alone is no likeness.
    size = whole.size + part.size
    product = np.fft.irfft(np.fft.rfft(whole, size) * np.conj(np.fft.rfft(part, size)), size)
    energy = np.concatenate(([0.0], np.cumsum(whole**2)))
    beside = np.sqrt(np.maximum(energy[part.size :] - energy[: -part.size], 1e-12))
    place = int(np.argmax(product[: beside.size] / beside))
    return float(np.corrcoef(part, whole[place : place + part.size])[0, 1])


def going_round(loop: Loop) -> NDArray[np.float64]:
    return np.tile(loop.sound[loop.first : loop.end], 3)


@pytest.fixture
def change(page: Page, recorded: Recorded) -> Change:
    """Change the setup; the sound that is fetched for it, and what was asked for."""

    def changed(patch: dict) -> tuple[NDArray[np.float64], dict]:
        put(page, patch)
        return recorded.sound_of(page)

    return changed


def test_the_sound_fetched_is_the_take_that_is_rendered(change: Change):
    for patch in ({"sung": "5/3"}, {"horn": "clarinet-b-flat", "fingered": "D3", "sung": "+7st"}):
        fetched, asked = change(patch)
        # Two notes that drift are held for whole beats, which may take longer than was asked for.
        assert fetched.size >= round(asked["seconds"] * SOUND_RATE)
        expected = rendered({**asked, "seconds": fetched.size / SOUND_RATE})
        assert fetched.size == expected.size
        # Its last tenth, at most a quarter of a second, is bent so that it goes round.
        steady = expected.size - SOUND_RATE // 4
        assert np.abs(fetched - expected)[:steady].max() < LAST_BITS
        assert np.ptp(expected) > 0.05


def decoded(page: Page, asked: dict) -> tuple[NDArray[np.float64], float, float]:
    """What the browser makes of a sound, and between which moments it goes round. [s]"""
    samples, start, end = page.evaluate(
        """async (asked) => {
          const { clipOf } = await import("/core/sound.js");
          const clip = await clipOf(asked.words, { seconds: asked.seconds });
          return [Array.from(clip.buffer.getChannelData(0)), clip.start, clip.end];
        }""",
        asked,
    )
    return np.array(samples), start, end


def test_the_browser_decodes_the_same_samples(page: Page, change: Change):
    fetched, asked = change({"depth": 0.2})
    samples, start, end = decoded(page, asked)
    assert np.abs(samples - fetched).max() < LAST_BITS
    # It goes round without a step that the sound has not elsewhere.
    first, last = round(start * SOUND_RATE), round(end * SOUND_RATE)
    inside = np.abs(np.diff(fetched[first:last])).max()
    assert 0 < first < last <= fetched.size
    assert abs(fetched[last - 1] - fetched[first]) <= inside


def test_what_is_held_goes_round_and_reaches_the_loudspeakers(page: Page, change: Change):
    _, asked = change({"sung": "3/2", "settings": STILL})
    settle(page)
    whole = going_round(looped(rendered(asked), SOUND_RATE))
    page.locator("#keep-sounding").click()
    assert until(page, SOUNDING) == "setup"
    pass_time(page, 3.5)  # longer than the take: it has gone round
    assert page.evaluate(SOUNDING) == "setup"
    assert page.evaluate("() => ear.context.state") == "running"
    before = page.evaluate("() => ear.context.currentTime")
    part = heard(page)
    assert alike(part, whole) > 0.99
    assert level(part) == pytest.approx(USUAL_LOUDNESS * level(whole), rel=0.05)
    until(page, "(before) => ear.context.currentTime > before + 0.1", before)
    page.keyboard.press("Escape")
    until(page, QUIET)
    pass_time(page, 1.2)
    assert level(heard(page)) < 1e-6


def test_a_change_is_heard_at_once_while_a_sound_is_held(page: Page, change: Change):
    page.locator("#keep-sounding").click()
    assert until(page, SOUNDING) == "setup"
    _, asked = change({"sung": "C4"})
    pass_time(page, 1.5)
    assert alike(heard(page), going_round(looped(rendered(asked), SOUND_RATE))) > 0.99


def test_a_tap_plays_the_take_once_and_a_press_as_long_as_it_lasts(page: Page):
    settle(page)  # an answer that comes between moves the button from under the pointer
    page.locator("#play").hover()
    page.mouse.down()
    assert begun(page) == "setup"
    pass_time(page, 3.5)  # longer than the take
    assert level(heard(page)) > 1e-3
    page.mouse.up()
    until(page, QUIET)
    page.evaluate(TAP)
    assert begun(page) == "setup"
    until(page, QUIET)  # by itself


def test_louder_is_louder_and_nothing_is_silence(page: Page, change: Change):
    change({"settings": STILL})
    page.locator("#keep-sounding").click()
    until(page, SOUNDING)
    pass_time(page, 1.5)
    usual = level(heard(page))
    slide(page, "Loudness", 80)
    pass_time(page, 1.2)
    assert level(heard(page)) == pytest.approx(4.0 * usual, rel=0.1)
    slide(page, "Loudness", 0)
    pass_time(page, 1.5)
    assert level(heard(page)) < 1e-4 * usual


def test_two_setups_sound_as_loud_as_they_are_against_each_other(page: Page, change: Change):
    change({"settings": STILL})
    settle(page)
    page.locator("#keep-a").click()
    _, asked = change({"settings": {"reed.opening_mm": 0.8}})
    settle(page)
    levels = []
    for side, patch in (("a", {**asked["words"], "settings": STILL}), ("b", asked["words"])):
        page.locator(f"#play-{side}").hover()
        page.mouse.down()
        until(page, f"() => document.documentElement.dataset.sounding === '{side.upper()}'")
        pass_time(page, 3.5)  # it has gone round
        part = heard(page)
        page.mouse.up()
        samples, start, end = decoded(page, {**asked, "words": patch})
        whole = np.tile(samples[round(start * SOUND_RATE) : round(end * SOUND_RATE)], 3)
        assert alike(part, whole) > 0.99
        levels.append((level(part), level(whole)))
    (first, as_first), (second, as_second) = levels
    assert first / second == pytest.approx(as_first / as_second, rel=0.05)
    assert as_first / as_second > 1.5
    said = page.locator("#compare .caption").inner_text()
    assert f"{20.0 * np.log10(as_first / as_second):.1f} dB softer" in said


def test_matched_two_setups_sound_equally_loud_and_that_is_said(page: Page, change: Change):
    change({"settings": STILL})
    settle(page)
    page.locator("#keep-a").click()
    change({"settings": {"reed.opening_mm": 0.8}})
    settle(page)
    page.locator("#matched").check()
    levels = []
    for side in "ab":
        page.locator(f"#play-{side}").hover()
        page.mouse.down()
        until(page, f"() => document.documentElement.dataset.sounding === '{side.upper()}'")
        pass_time(page, 3.5)
        part = heard(page)
        page.mouse.up()
        levels.append(loudness(part))
    assert levels[0] == pytest.approx(levels[1], abs=1.5)
    assert levels[0] == pytest.approx(MATCHED_LUFS + 20.0 * np.log10(USUAL_LOUDNESS), abs=2.0)
    assert "both sound equally loud here" in page.locator("#compare .caption").inner_text()
    assert "Matched: it sounds" in page.locator("#sound-note").inner_text()
    page.locator("#matched").uncheck()
    assert page.locator("#sound-note").inner_text() == ""


def test_no_sound_is_made_before_it_is_asked_for(page: Page, change: Change):
    assert page.evaluate("() => globalThis.ear ?? null") is None
    page.locator("#each-change").uncheck()
    change({"sung": "C4"})
    settle(page)
    assert page.evaluate("() => begun") == []
