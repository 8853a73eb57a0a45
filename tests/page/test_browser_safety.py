"""The page in a browser: nothing leaves the machine, tabs are apart, mistakes and ends are told."""

import contextlib
import os
import re
import signal
import socket
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from browsing import PATIENCE_S, Open, put, settle, setup_of, until, whole, words
from playwright.sync_api import Page

from reedbore.page import map

pytestmark = pytest.mark.browser

TROUBLE = """() => {
  const told = document.querySelector("[role=alert]");
  return !told.hidden && told.textContent;
}"""
SOUNDING = "() => document.documentElement.dataset.sounding"
GONE = "The server does not answer"
HANDOUT = {"panels/lesson/handout.html", "panels/lesson/handout.html?answers"}


def test_only_its_own_server_is_asked(page: Page, watched, address: str):
    settle(page)
    whole(page)
    asked = [(method, url) for method, url in watched.asked if url.startswith("http")]
    assert {url.split("/")[2] for _, url in asked} == {address.split("/")[2]}
    posts = {url.removeprefix(address) for method, url in asked if method != "GET"}
    assert {"/api/predict", "/api/sound", "/api/look", "/api/judge"} <= posts
    assert all(path.startswith("/api/") for path in posts)
    assert page.context.cookies() == []


@pytest.fixture
def stranger() -> Iterator[str]:
    """Another server of this machine; the test fails if it is told anything.

    Chromium may open a connection before it asks the policy, but must not say a word on it.
    """
    listening = socket.create_server(("127.0.0.1", 0))
    said: list[bytes] = []

    def listen() -> None:
        with contextlib.suppress(OSError):
            while True:
                with listening.accept()[0] as visitor:
                    visitor.settimeout(1.0)
                    with contextlib.suppress(TimeoutError):
                        said.append(visitor.recv(1000))

    thread = threading.Thread(target=listen, daemon=True)
    thread.start()
    yield f"http://127.0.0.1:{listening.getsockname()[1]}/"
    listening.shutdown(socket.SHUT_RDWR)
    listening.close()
    thread.join(5)
    assert b"".join(said) == b""


def test_the_policy_stops_whatever_would_leave(page: Page, watched, stranger: str):
    page.evaluate(
        """async (stranger) => {
          globalThis.stopped = new Set();
          const hear = (event) => stopped.add(event.effectiveDirective);
          addEventListener("securitypolicyviolation", hear);
          await fetch(stranger, { method: "POST", body: "a take" }).catch(() => {});
          try { new WebSocket(stranger.replace("http", "ws")); } catch {}
          new Image().src = stranger;
          new Audio(stranger).play().catch(() => {});
          await import(stranger).catch(() => {});
          const make = (tag, props) => {
            const made = Object.assign(document.createElement(tag), props);
            document.body.append(made);
            return made;
          };
          make("form", { action: stranger, method: "post" }).submit();
          make("iframe", { src: stranger });
          try { eval("1"); } catch {}
        }""",
        stranger,
    )
    kinds = ["connect-src", "img-src", "media-src", "script-src-elem", "form-action", "frame-src"]
    until(page, "(kinds) => kinds.every((kind) => stopped.has(kind))", [*kinds, "script-src"])
    assert all("Content Security Policy" in told or "CSP" in told for told in watched.complaints)
    watched.complaints.clear()


def test_nothing_can_be_uploaded(page: Page, watched, tmp_path: Path):
    """Files are opened for setups, passages and voices; all go to the page's own server."""
    whole(page)
    inputs = page.locator("input[type=file]").evaluate_all("(all) => all.map((one) => one.id)")
    assert sorted(inputs) == ["open", "passage-open", "voice-file"]
    assert page.locator("form[action]").count() == 0
    links = page.locator("a[href]").evaluate_all("(all) => all.map((a) => a.getAttribute('href'))")
    # Within the page, and to the lesson on paper, which the same server has.
    assert {link for link in links if not link.startswith("#")} <= HANDOUT
    said = page.locator("body").inner_text().lower()
    assert not re.search(r"\b(upload|cloud|share|publish|sign in|account|send)\b", said)
    broken = tmp_path / "setup.json"
    broken.write_text("{ no JSON")
    page.get_by_label("Open a sidecar or a preset").set_input_files(broken)
    until(
        page, "() => document.querySelector('#files .caption').textContent.includes('no JSON file')"
    )
    assert not any(url.endswith("/api/read") for _, url in watched.asked)
    assert not any("no JSON" in told for told in watched.sent)
    stranger = tmp_path / "other.json"
    stranger.write_text('{"a": 1}')
    page.get_by_label("Open a sidecar or a preset").set_input_files(stranger)
    until(page, "() => !document.querySelector('#files .caption').textContent.includes('no JSON')")
    assert setup_of(page) == {}


def test_two_tabs_do_not_know_of_each_other(page: Page, address: str):
    other = page.context.new_page()
    other.goto(address)
    until(other, "() => globalThis.reedbore")
    put(page, {"sung": "A3"})
    put(other, {"sung": "5/3", "fingered": "D3"})
    one, two = settle(page), settle(other)
    assert (one["verdict"]["state"], one["verdict"]["fingered_note"]) == ("rough", "Bb2")
    assert (two["verdict"]["ratio"], two["verdict"]["fingered_note"]) == ("5/3", "D3")
    assert words(page)["sung"] == "A3"
    other.locator("#keep-sounding").click()
    assert until(other, SOUNDING) == "setup"
    page.keyboard.press("Escape")
    assert until(other, SOUNDING) == "setup"
    other.close()
    put(page, {"sung": None})
    assert settle(page)["verdict"]["state"] == "unsung"


# --- mistakes ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("patch", "field", "told"),
    [
        ({"fingered": "H9"}, "fingered", ("H9",)),
        ({"fingered": "C7"}, "fingered", ("C7", "Ab2", "C#5")),
        ({"fingered": ""}, "fingered", ("which note?",)),
        ({"sung": "loud"}, "sung", ("loud",)),
        ({"breath": "99kPa"}, "breath-kpa", ("99", "kPa")),
        ({"settings": {"reed.opening_mm": 77}}, "setting-value", ("77", "mm", "reed.opening_mm")),
    ],
    ids=["no note", "not on the horn", "nothing", "no sung note", "no such breath", "out of range"],
)
def test_a_mistake_is_told_in_one_sentence_at_its_field(
    page: Page, patch: dict, field: str, told: tuple[str, ...]
):
    settle(page)
    put(page, patch)
    said = until(page, TROUBLE).replace("♭", "b")
    assert all(word in said for word in told)
    assert "\n" not in said
    assert len(said) < 250
    assert "Traceback" not in said
    wrong = page.locator("[aria-invalid]")
    assert wrong.evaluate_all("(all) => all.map((one) => one.id)") == [field]
    at = page.locator(f"#{wrong.get_attribute('aria-describedby')}")
    assert at.inner_text().replace("♭", "b") == said
    # Nothing is left of the answer before.
    assert page.locator("#answer .tile .name").all_inner_texts() == ["–", "–", "–"]
    assert "No answer" in page.locator("#sentence").inner_text()
    assert page.locator("#answer dd").count() == 0
    page.evaluate("() => void reedbore.state.replace({})")
    assert wrong.count() == 0
    assert settle(page)["verdict"]["state"] == "locked"
    assert page.evaluate("() => document.querySelector('[role=alert]').hidden")


def test_a_map_that_breaks_off_says_so(page: Page, monkeypatch: pytest.MonkeyPatch):
    whole_map, read = map.cells, threading.Event()

    def broken(*asked: Any) -> Iterator[dict[str, Any]]:
        yield next(whole_map(*asked))
        # What a page has not read when the connection breaks, it never sees.
        read.wait(PATIENCE_S)
        raise RuntimeError("not one of ours")

    monkeypatch.setattr(map, "cells", broken)
    whole(page)
    page.get_by_role("button", name="Compute the map").click()
    until(page, "() => document.querySelector('#map canvas[aria-label^=\"Lock map of\"]')?.tagName")
    read.set()
    status = "() => document.querySelector('#map [role=status]').textContent"
    until(page, f"() => ({status})().includes('broke off after 0 of 600 cells')")


def test_a_map_that_ends_before_it_began_says_so(page: Page, monkeypatch: pytest.MonkeyPatch):
    def broken(*_: Any) -> Iterator[dict[str, Any]]:
        yield from ()

    monkeypatch.setattr(map, "cells", broken)
    whole(page)
    page.get_by_role("button", name="Compute the map").click()
    status = "() => document.querySelector('#map [role=status]').textContent"
    until(page, f"() => ({status})().includes('broke off before its first cell')")


# --- the end of the server -----------------------------------------------------------------------


@pytest.fixture
def program() -> Iterator[tuple[subprocess.Popen, str]]:
    """`reedbore page` as a program of its own, and its address as it says it."""
    with socket.create_server(("127.0.0.1", 0)) as free:
        port = free.getsockname()[1]
    with subprocess.Popen(
        [sys.executable, "-m", "reedbore", "page", "--no-browser", "--port", str(port)],
        stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
        env={**os.environ, "PYTHONUNBUFFERED": "1"},
    ) as program:  # fmt: skip
        assert program.stdout
        said = program.stdout.readline()
        found = re.search(r"http://127\.0\.0\.1:\d+", said)
        try:
            assert found, said
            yield program, found[0]
        finally:
            program.kill()


def test_a_server_stopped_at_work_is_told_and_nothing_hangs(open_page: Open, program, watched):
    process, address = program
    page = watched.context().new_page()
    page.goto(address)
    whole(page)
    page.locator("#map").get_by_label("Cells", exact=True).select_option("40")
    page.get_by_role("button", name="Compute the map").click()
    until(page, "() => document.querySelector('#map .legend').childElementCount > 0")
    process.send_signal(signal.SIGINT)
    assert process.wait(PATIENCE_S) == 0
    status = page.locator("#map [role=status]")
    until(page, "() => !document.querySelector('#map progress').checkVisibility()")
    assert "broke off" in status.inner_text()
    put(page, {"sung": "C4"})
    assert GONE in until(page, TROUBLE)
    page.get_by_role("button", name="Compute the map").or_(
        page.get_by_role("button", name="Compute it again")
    ).click()
    until(
        page, f"() => document.querySelector('#map [role=status]').textContent.includes('{GONE}')"
    )
    page.locator("#theme").click()  # what needs no server goes on
    assert page.evaluate("() => document.documentElement.dataset.theme") == "dark"
    page.get_by_label("Note", exact=True).fill("D3")
    page.get_by_label("Note", exact=True).press("Enter")
    assert setup_of(page)["fingered"] == "D3"
