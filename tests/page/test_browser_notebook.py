"""What a notebook shows, in a real browser: the sound plays, the pictures are there."""

import pytest
from browsing import until
from playwright.sync_api import Page

from reedbore.model.presets import load_horn
from reedbore.notes import midi_to_hz
from reedbore.simulate.take import render
from reedbore.simulate.tuning import tune

pytestmark = pytest.mark.browser


@pytest.fixture
def blank(watched) -> Page:
    return watched.context().new_page()


def test_a_take_is_seen_and_heard(blank: Page, watched):
    take = render(tune(load_horn("tenor-saxophone"), midi_to_hz(46)), 1.5)
    blank.set_content(f"<!doctype html><body>{take._repr_html_()}</body>")
    until(blank, "() => document.querySelector('audio').readyState >= 3")
    assert blank.evaluate("() => document.querySelector('audio').duration") == pytest.approx(1.5)
    blank.evaluate("() => document.querySelector('audio').play()")
    until(blank, "() => document.querySelector('audio').currentTime > 0.3")
    seen = (
        "() => document.querySelector('img').complete && document.querySelector('img').naturalWidth"
    )
    assert until(blank, seen) == 1000
    assert "Nobody sings" in blank.locator("section").inner_text()
    assert [url for _, url in watched.asked if not url.startswith("data:")] == []
