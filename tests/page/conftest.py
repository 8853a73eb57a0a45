"""A real browser on the real server: what the tests of the page share.

Playwright drives the Chromium that the system has; without one these tests are skipped.
"""

import shutil
import socket
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
import uvicorn
from browsing import KNOWN_HZ, PATIENCE_S, Open, Recorded, until
from made_mixtures import RATE, cycles, tone
from playwright.sync_api import (
    Browser,
    BrowserContext,
    ConsoleMessage,
    Page,
    Request,
    WebError,
    sync_playwright,
)

from reedbore.page.app import make_app
from reedbore.page.serve import warm

FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--autoplay-policy=no-user-gesture-required",
    "--use-fake-device-for-media-stream",
    "--host-resolver-rules=MAP * ~NOTFOUND , EXCLUDE 127.0.0.1",  # nothing else is to be found
]

# Every sound that begins is noted: a short one is over before it is looked for.
NOTE = """() => {
  globalThis.begun = [];
  reedbore.player.onChange((who) => who && begun.push(who));
}"""

# Whatever reaches the loudspeakers is kept beside them, for `heard`.
LISTEN = """
{
  const connect = AudioNode.prototype.connect;
  AudioNode.prototype.connect = function (to, ...more) {
    if (to instanceof AudioDestinationNode && to.context instanceof AudioContext) {
      const ear = to.context.createAnalyser();
      ear.fftSize = 32768;
      connect.call(this, ear);
      globalThis.ear = ear;
    }
    return connect.call(this, to, ...more);
  };
}
"""


@pytest.fixture(scope="session")
def recorded() -> Recorded:
    return Recorded(make_app())


@pytest.fixture(scope="session")
def address(recorded: Recorded) -> Iterator[str]:
    """Serve the page from a thread, as `reedbore page` does, once the kernel is compiled."""
    warm()
    listening = socket.socket()
    listening.bind(("127.0.0.1", 0))
    server = uvicorn.Server(uvicorn.Config(recorded, log_level="warning", lifespan="off"))
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.01)
    yield f"http://127.0.0.1:{listening.getsockname()[1]}"
    server.should_exit = True
    thread.join(10)


@pytest.fixture(scope="session")
def known_voice(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """What the browser's made microphone hears, again and again: a hum on D4."""
    path = tmp_path_factory.mktemp("voice") / "known.wav"
    voice = tone(cycles(KNOWN_HZ, np.zeros(round(1.2 * RATE))), 9.0)
    soundfile.write(path, 0.3 * voice / np.abs(voice).max(), round(RATE))
    return path


@pytest.fixture(scope="session")
def browser(known_voice: Path) -> Iterator[Browser]:
    path = shutil.which("chromium")
    if path is None:
        pytest.skip("there is no chromium; `.ci/run install` installs it")
    with sync_playwright() as playwright:
        microphone = f"--use-file-for-fake-audio-capture={known_voice}"
        browser = playwright.chromium.launch(executable_path=path, args=[*FLAGS, microphone])
        yield browser
        browser.close()


class Watched:
    """Windows of one browser whose every request and complaint is noted."""

    def __init__(self, window: BrowserContext):
        self.window = window
        self.contexts: list[BrowserContext] = []
        self.asked: list[tuple[str, str]] = []
        self.sent: list[str] = []
        self.complaints: list[str] = []

    def context(self, **options: Any) -> BrowserContext:
        """Open a window of its own, or take the usual one if nothing special is wanted."""
        assert self.window.browser
        context = new_window(self.window.browser, **options) if options else self.window
        for kind, heard in self._ears().items():
            context.on(kind, heard)
        self.contexts.append(context)
        return context

    def leave(self) -> None:
        """Close all, but of the usual window only its tabs: it remembers nothing of them."""
        for context in self.contexts:
            if context is not self.window:
                context.close()
        for page in self.window.pages[1:]:
            if page.url.startswith("http"):
                page.evaluate("() => localStorage.clear()")
            page.close()
        self.window.clear_permissions()
        for kind, heard in self._ears().items():
            if self.window in self.contexts:
                self.window.remove_listener(kind, heard)

    def _ears(self) -> dict[str, Callable[[Any], None]]:
        return {"request": self._note, "weberror": self._complain, "console": self._hear}

    def _complain(self, error: WebError) -> None:
        self.complaints.append(str(error.error))

    def _note(self, asked: Request) -> None:
        self.asked.append((asked.method, asked.url))
        self.sent.append(asked.post_data or "")

    def _hear(self, message: ConsoleMessage) -> None:
        # A refused question is logged as a failed resource: the page tells it in a sentence.
        if message.type == "error" and not message.text.startswith("Failed to load resource"):
            self.complaints.append(message.text)


def new_window(browser: Browser, **options: Any) -> BrowserContext:
    context = browser.new_context(**{"viewport": {"width": 1440, "height": 900}, **options})
    context.set_default_timeout(1000.0 * PATIENCE_S)
    context.add_init_script(LISTEN)
    return context


@pytest.fixture(scope="session")
def window(browser: Browser) -> Iterator[BrowserContext]:
    """The usual window: a page opens in it at a third of the work, as long as one tab stays."""
    window = new_window(browser)
    window.new_page()
    yield window
    window.close()


@pytest.fixture
def watched(window: BrowserContext) -> Iterator[Watched]:
    """Watch the browser; the test fails if anything left the machine or an error was thrown."""
    watched = Watched(window)
    yield watched
    watched.leave()
    inside = ("http://127.0.0.1:", "data:", "blob:")
    assert [url for _, url in watched.asked if not url.startswith(inside)] == []
    assert watched.complaints == []


@pytest.fixture
def open_page(watched: Watched, address: str) -> Open:
    """Open the page in a tab of its own, and wait until its controls stand there."""

    def opened(path: str = "/", **options: Any) -> Page:
        page = watched.context(**options).new_page()
        page.goto(address + path)
        until(page, "() => globalThis.reedbore")
        page.evaluate(NOTE)
        return page

    return opened


@pytest.fixture
def page(open_page: Open) -> Page:
    return open_page()
