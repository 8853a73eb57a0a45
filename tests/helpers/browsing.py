"""What tests of the page do in a browser again and again."""

import io
import json
import time
from collections.abc import Callable, Mapping
from typing import Any

import numpy as np
import soundfile
from numpy.typing import NDArray
from playwright.sync_api import Page, Response

Open = Callable[..., Page]

DEMO = {"horn": "tenor-saxophone", "fingered": "Bb2", "sung": "D4-13.8c", "voice": "low-male"}
PATIENCE_S = 120.0  # shared cores; on a quiet machine nothing takes longer than ten seconds


def until(page: Page, asks: str, argument: object = None, seconds: float = PATIENCE_S) -> Any:
    """Ask the page until it says something true; its policy forbids Playwright's own waiting."""
    end = time.monotonic() + seconds
    while not (said := page.evaluate(asks, argument)):
        assert time.monotonic() < end, f"still not so after {seconds:g} s: {asks}"
        page.wait_for_timeout(20)
    return said


def settle(page: Page) -> dict[str, Any]:
    """Wait until all is told of what is set now, and return the verdict on it."""
    found: dict[str, Any] = until(
        page, "() => reedbore.state.told.looked && reedbore.state.told.judged"
    )
    return found


def whole(page: Page) -> None:
    """Wait until every panel stands on the page."""
    until(
        page, "() => [...document.querySelectorAll('.room')].every((room) => room.children.length)"
    )


def pass_time(page: Page, seconds: float) -> None:
    """Let what sounds go on for some seconds of its own clock."""
    now = until(page, "() => globalThis.ear?.context.currentTime")
    until(page, "(end) => ear.context.currentTime > end", now + seconds)


def words(page: Page) -> dict[str, Any]:
    """Read the words of the setup."""
    found: dict[str, Any] = page.evaluate("() => reedbore.state.words")
    return found


def setup_of(page: Page) -> dict[str, Any]:
    """Read the words and the settings in one, without what is the demo's."""
    found = words(page)
    plain = {**found, **found.get("settings", {})}
    del plain["settings"]
    return {name: value for name, value in plain.items() if DEMO.get(name) != value}


def put(page: Page, patch: Mapping[str, Any]) -> None:
    """Change the setup as a panel does."""
    page.evaluate("(patch) => void reedbore.state.set(patch)", dict(patch))


def slide(page: Page, label: str, value: float) -> None:
    """Drag a slider to a value and let go."""
    page.get_by_label(label, exact=True).evaluate(
        """(slider, value) => {
          slider.value = value;
          slider.dispatchEvent(new Event("input", { bubbles: true }));
          slider.dispatchEvent(new Event("change", { bubbles: true }));
        }""",
        value,
    )


def waveform(response: Response) -> NDArray[np.float64]:
    """Decode a sound that the server sent."""
    samples, rate = soundfile.read(io.BytesIO(response.body()), dtype="float64")
    assert rate == 48000
    return samples


def sent(response: Response) -> dict[str, Any]:
    """Read what the page asked for."""
    asked: dict[str, Any] = json.loads(response.request.post_data or "{}")
    return asked
