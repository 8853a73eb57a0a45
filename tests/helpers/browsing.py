"""What tests of the page do in a browser again and again."""

import io
import json
from collections import deque
from collections.abc import Callable, Mapping
from typing import Any

import numpy as np
import soundfile
from numpy.typing import NDArray
from playwright.sync_api import Page
from starlette.types import ASGIApp, Message, Receive, Scope, Send

Open = Callable[..., Page]

DEMO = {"horn": "tenor-saxophone", "fingered": "Bb2", "sung": "D4-13.8c", "voice": "low-male"}
RULES = {"runOnly": {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa"]}}
KNOWN_HZ = 295.0
"""Of the hum that the browser's made microphone hears: D4, 8 cents high. [Hz]"""

PATIENCE_S = 600.0  # before what hangs is given up; nothing that works may depend on it


class Recorded:
    """An application, and a copy of the sounds that it has sent lately with what was asked for.

    A browser throws the body of an answer away as soon as the page has dropped its question, and
    which of several answers is the one to a change cannot be told from when it comes.
    """

    def __init__(self, app: ASGIApp) -> None:
        self.app = app
        self.sounds: deque[tuple[dict[str, Any], bytes]] = deque(maxlen=20)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope.get("path") != "/api/sound":
            await self.app(scope, receive, send)
            return
        asked, sent = bytearray(), bytearray()

        async def received() -> Message:
            message = await receive()
            asked.extend(message.get("body", b""))
            return message

        async def sending(message: Message) -> None:
            sent.extend(message.get("body", b""))
            if message["type"] == "http.response.body" and not message.get("more_body"):
                self.sounds.append((json.loads(asked), bytes(sent)))  # before the page can have it
            await send(message)

        await self.app(scope, received, sending)

    def sound_of(self, page: Page) -> tuple[NDArray[np.float64], dict[str, Any]]:
        """Wait until the page has the sound of its setup; its samples, and what was asked for."""
        until(page, "() => reedbore.state.told.heard")
        now = words(page)
        asked, sent = next(one for one in reversed(self.sounds) if one[0]["words"] == now)
        samples, rate = soundfile.read(io.BytesIO(sent), dtype="float64")
        assert rate == 48000
        return samples, asked


def until(page: Page, asks: str, argument: object = None, seconds: float = PATIENCE_S) -> Any:
    """Have the page ask itself until it says something true, and return that.

    Its policy forbids Playwright's own waiting; asked from here, again and again, it would have
    more work with the questions than with what they wait for.
    """
    said = page.evaluate(
        f"""async ([argument, seconds]) => {{
          const asks = {asks}, end = performance.now() + 1e3 * seconds;
          for (;;) {{
            const said = asks(argument);
            if (said || performance.now() > end) return said;
            await new Promise((done) => setTimeout(done, 20));
          }}
        }}""",
        [argument, seconds],
    )
    assert said, f"still not so after {seconds:g} s: {asks}"
    return said


def settle(page: Page) -> dict[str, Any]:
    """Wait until all is told of what is set now, and return the verdict on it."""
    found: dict[str, Any] = until(
        page,
        """() => {
          const { predicted, looked, judged } = reedbore.state.told;
          return predicted && looked && judged;
        }""",
    )
    return found


def whole(page: Page) -> None:
    """Wait until every panel stands on the page."""
    until(
        page, "() => [...document.querySelectorAll('.room')].every((room) => room.children.length)"
    )


def begun(page: Page) -> str:
    """Wait until a sound has begun that was not told yet; whose it is. It may be over again."""
    found: str = until(page, "() => begun.shift()")
    return found


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
