"""What the page takes: from a move of each control to its sound, memory, and waiting in a crowd.

Run by `.ci/run bench` or `python tests/benchmarks/page.py [GESTURES] [tiny]`, the moves alone by
`python tests/benchmarks/page.py controls [MOVES] [NAME...]`, a long use of the page in a browser by
`python tests/benchmarks/page.py minutes [MINUTES]`. Each control of the page is moved 30 times in
Chromium, to a value that it had not before, and its sound is waited for, once the server has solved
ahead what it will, for `READY_S` at most; what else moves a machine is told by its load. A long use
is moves, notes, passages, maps and steps of the lesson in turn; frames and memory are told as it
goes on: the browser's after its garbage was collected, the server's with its processes. A gesture
is what one move on the page asks: a prediction, a sound, its picture, every third time a verdict
and the air in the bore; about 600 of them are half an hour. Memory is told after each tenth of
them. The crowd is 200 sounds asked at once; beside it a prediction is asked again and again.
"""

import concurrent.futures
import contextlib
import json
import math
import os
import random
import shutil
import statistics
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from typing import Any

TINY = "tiny" in sys.argv[1:]
TYPED = next((int(word) for word in sys.argv[1:] if word.isdecimal()), None)
ONLY = next((word for word in ("controls", "minutes") if word in sys.argv[1:]), None)
NAMED = [word for word in sys.argv[1:] if word not in ("controls", "minutes", "tiny", str(TYPED))]
GESTURES = TYPED or (6 if TINY else 600)
MOVED_TIMES = TYPED if TYPED and ONLY == "controls" else 1 if TINY else 30
MINUTES = 0.0 if TINY else TYPED if TYPED and ONLY == "minutes" else 30.0
CROWD = 4 if TINY else 200
LENGTHS = (0.5,) if TINY else (2.5, 4.0, 20.0)  # of sounds [s], the last the longest allowed
HORNS = {"tenor-saxophone": ("Bb2", "F3"), "clarinet-b-flat": ("F3", "A3")}
SUNG = "1/1", "3/2", "5/2", "5/3", "+7st", "D4", "F4"


def ask(address: str, name: str, body: dict[str, Any]) -> float:
    """Ask the server; how long the answer took. [s]"""
    headers = {"origin": address, "content-type": "application/json"}
    request = urllib.request.Request(
        f"{address}/api/{name}", data=json.dumps(body).encode(), headers=headers
    )
    began = time.perf_counter()
    with urllib.request.urlopen(request, timeout=600) as answer:
        answer.read()
    return time.perf_counter() - began


def gesture(address: str, number: int) -> None:
    """Ask what a move of one control asks."""
    dice = random.Random(number)
    horn = dice.choice(list(HORNS))
    words = {
        "horn": horn,
        "fingered": dice.choice(HORNS[horn]),
        "sung": dice.choice(SUNG),
        "depth": round(dice.uniform(0.02, 0.3), 3),
    }
    ask(address, "predict", {"words": words})
    ask(address, "sound", {"words": words, "seconds": dice.choice(LENGTHS)})
    ask(address, "look", {"words": words, "seconds": LENGTHS[0]})
    if number % 3 == 0:
        ask(address, "judge", {"words": words})
        ask(address, "bore", {"words": words})


# From a move to the moment when its sound begins, all in the page. [ms]
MOVED = """async ([kind, name, value]) => {
  const labelled = [...document.querySelectorAll("label")].filter((one) => one.control)
    .find((one) => one.textContent === name)?.control;
  const input = labelled ?? document.querySelector(name);
  if (!globalThis.begun) {
    globalThis.begun = null;
    reedbore.player.onChange((who) => who && globalThis.begun?.(performance.now()));
  }
  const sounds = new Promise((done) => (globalThis.begun = done));
  const from = performance.now();
  if (kind === "press") input.click();
  else {
    input.value = value;
    for (const one of ["input", "change"]) input.dispatchEvent(new Event(one, { bubbles: true }));
  }
  const at = await Promise.race([sounds, new Promise((done) => setTimeout(done, 30000))]);
  globalThis.begun = null;
  return at ? at - from : null;
}"""
RESTS = "() => Boolean(reedbore.state.told.judged)"
READY_S, REST_S = 300.0, 2.0  # for what is solved ahead, and of a hand between two moves [s]
QUIET = 10
"""Looks in turn that see none of its processes, until there are none to come."""

LOUD = "p", "mf", "f"
MOVES = {
    "fingered note, slider": ("slide", "Along the horn", lambda k: (5 * k + 3) % 33),
    "fingered note, typed": ("slide", "#fingered", lambda k: ("C3", "D3", "E3", "F3")[k % 4]),
    "cents off": ("slide", "Cents off", lambda k: -50 + 3.1 * k),
    "sung note, typed": ("slide", "#sung", lambda k: f"{('A3', 'C4', 'D4')[k % 3]}{k - 15:+}c"),
    "sung note, keys": ("press", ".voice .key", lambda k: f"[data-midi='{45 + (7 * k) % 19}']"),
    "depth": ("slide", "How strongly I sing", lambda k: 0.05 + 0.01 * k),
    "breath, dynamics": ("press", "#controls .choice input", lambda k: f"[value='{LOUD[k % 3]}']"),
    "breath, typed": ("slide", "#breath-kpa", lambda k: round(2.4 + 0.03 * k, 2)),
    "reed strength": ("slide", "Reed strength", lambda k: 2.0 + 0.1 * (k % 15)),
    "tip opening": ("slide", "Tip opening", lambda k: 1.2 + 0.01 * k),
    "lip": ("slide", "Firmness of the lip", lambda k: 0.8 + 0.05 * (k % 8)),
    "bore length": ("slide", "Bore length", lambda k: -7.5 + 0.5 * k),
    "vowel": ("press", "#controls .choice input", lambda k: f"[value='{'aiu'[k % 3]}']"),
    "horn": ("slide", "#horn", lambda k: ("clarinet-b-flat", "alto-saxophone")[k % 2]),
    "voice of folds, cents": ("slide", "Cents off", lambda k: -50 + 3.1 * k),
}
"""Controls: how each is moved, its label or selector, and its k-th value."""

FOLDS = "voice of folds"
MOST_FOLDS = 5
"""Moves of a voice of folds, each of which takes seconds."""


def controls(server: subprocess.Popen[str], page: Any, moves: int) -> None:
    """Move each control and tell how long its sound takes: median and worst. [ms]"""
    page.locator("#play").click()
    for name, (kind, place, value) in MOVES.items():
        if NAMED and name not in NAMED:
            continue
        settings = {"voice.drive": "folds"} if name.startswith(FOLDS) else {}
        page.evaluate("(words) => void reedbore.state.replace(words)", {"settings": settings})
        _rest(page)
        _ready(server)
        took = []
        for k in range(min(moves, MOST_FOLDS) if settings else moves):
            asked = [kind, f"{place}{value(k)}" if kind == "press" else place, value(k)]
            took.append(page.evaluate(MOVED, asked))
            _rest(page)
        heard = [one for one in took if one is not None]
        middle = statistics.median(heard) if heard else float("nan")
        print(
            f"{name:24}{middle:7.0f} ms, at most {max(heard, default=0.0):6.0f} ms, "
            f"{len(heard)} of {len(took)} heard, load {os.getloadavg()[0]:.1f}",
            flush=True,
        )


def _ready(server: subprocess.Popen[str]) -> float:
    """Wait until the server has solved ahead what it will: its processes end. How long [s]."""
    began, still = time.perf_counter(), 0
    while not TINY and still < QUIET and time.perf_counter() - began < READY_S:
        time.sleep(0.5)
        still = 0 if _processes(server.pid) else still + 1
    return time.perf_counter() - began


def _processes(pid: int) -> list[int]:
    """List the processes that another has begun and that work for it."""
    told = Path(f"/proc/{pid}/task").glob("*/children")
    tasks = [path.read_text(encoding="ascii") for path in told]
    found = sorted({one for task in tasks for one in task.split()})
    return [int(one) for one in found if b"spawn_main" in _command(one)]


def _command(pid: str) -> bytes:
    try:
        return Path(f"/proc/{pid}/cmdline").read_bytes()
    except OSError:
        return b""


# Frames since they were told last: [ms] between each two.
FRAMES = """() => {
  if (globalThis.framed) return framed.splice(0);
  globalThis.framed = [];
  let before = null;
  const beat = (now) => {
    if (before !== null) framed.push(now - before);
    before = now;
    requestAnimationFrame(beat);
  };
  requestAnimationFrame(beat);
  return [];
}"""
TELL_S = 120.0
"""So often a long use is told. [s]"""

USES = (
    *(("slide", "Cents off", cents) for cents in (-22.0, -8.0, 4.0, 17.5)),
    ("slide", "How strongly I sing", 0.2), ("slide", "Along the horn", 9),
    ("slide", "#fingered", "C3"), ("slide", "#sung", "G4"), ("slide", "Reed strength", 3.0),
    ("press", "#passage-play", None), ("press", "#passage-play", None),
    ("press", "#map .room button", None), ("press", "#map .room button", None),
    ("press", "#lesson .room button", None), ("press", ".podium-foot button:last-child", None),
    ("press", ".podium-foot button:last-child", None), ("leave", "", None),
    ("slide", "Along the horn", 2), ("slide", "Bore length", 2.5), ("slide", "Bore length", 0),
    ("slide", "#horn", "clarinet-b-flat"), ("slide", "#horn", "tenor-saxophone"),
)  # fmt: skip
"""One round of a long use: how, what and to which value."""

USE = """([kind, name, value]) => {
  const labelled = [...document.querySelectorAll("label")].filter((one) => one.control)
    .find((one) => one.textContent === name)?.control;
  const input = labelled ?? (name ? document.querySelector(name) : null);
  if (kind === "leave") dispatchEvent(new KeyboardEvent("keydown", { key: "Escape" }));
  else if (kind === "press") input?.click();
  else {
    input.value = value;
    for (const one of ["input", "change"]) input.dispatchEvent(new Event(one, { bubbles: true }));
  }
  return Boolean(input) || kind === "leave";
}"""


def minutes(server: subprocess.Popen[str], page: Any, long: float) -> None:
    """Use the page for so many minutes; tell frames a second, memory of browser and server."""
    tools = page.context.new_cdp_session(page)
    tools.send("Performance.enable")
    page.evaluate(FRAMES)
    page.locator("#keep-sounding").click()
    began = told = time.perf_counter()
    done = 0
    while True:
        for use in USES:
            assert page.evaluate(USE, list(use)), use
            done += 1
            time.sleep(0.1 if TINY else REST_S)
            now = time.perf_counter()
            if now - told > TELL_S or done == len(USES):
                _tell(server, page, tools, now - began, done)
                told = now
        if time.perf_counter() - began > 60.0 * long:
            break
    _tell(server, page, tools, time.perf_counter() - began, done)


def _tell(server: subprocess.Popen[str], page: Any, tools: Any, since: float, done: int) -> None:
    between = sorted(page.evaluate(FRAMES)) or [math.nan]
    tools.send("HeapProfiler.collectGarbage")
    told = {one["name"]: one["value"] for one in tools.send("Performance.getMetrics")["metrics"]}
    slow = between[min(int(0.99 * len(between)), len(between) - 1)]
    print(
        f"after {since / 60.0:5.1f} min, {done:4} uses: {1e3 / statistics.median(between):3.0f} "
        f"frames/s, the slowest 1 % under {1e3 / slow:4.1f}; heap "
        f"{told['JSHeapUsedSize'] / 1e6:5.1f} MB, {told['Nodes']:.0f} nodes, "
        f"{told['JSEventListeners']:.0f} listeners; server {memory(server):.0f} MB, "
        f"load {os.getloadavg()[0]:.1f}",
        flush=True,
    )


@contextlib.contextmanager
def opened(address: str) -> Iterator[Any]:
    """Open the page in Chromium."""
    from playwright.sync_api import sync_playwright  # noqa: PLC0415

    flags = ["--no-sandbox", "--disable-gpu", "--autoplay-policy=no-user-gesture-required"]
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=flags)
        page = browser.new_page(viewport={"width": 1440, "height": 900})
        page.goto(address)
        page.wait_for_function("() => document.querySelector('#map .room').childElementCount > 0")
        yield page
        browser.close()


def _rest(page: Any) -> None:
    """Let a hand rest until all is told, or for a while."""
    end = time.perf_counter() + REST_S
    while time.perf_counter() < end and not page.evaluate(RESTS):
        time.sleep(0.05)


def memory(process: subprocess.Popen[str]) -> float:
    """Return how much memory a process and those that work for it hold. [MB]"""
    return sum(map(_memory, [process.pid, *_processes(process.pid)]))


def _memory(pid: int) -> float:
    try:
        told = Path(f"/proc/{pid}/status").read_text(encoding="ascii")
    except OSError:  # it has just ended
        return 0.0
    return int(told.partition("VmRSS:")[2].split()[0]) / 1e3


def crowd(address: str) -> tuple[list[float], float]:
    """Ask for many sounds at once; what predictions beside them waited, what all took. [s]"""
    waits = []
    with concurrent.futures.ThreadPoolExecutor(CROWD) as pool:
        began = time.perf_counter()
        bodies = [{"words": {"depth": 0.05 + 1e-4 * k}, "seconds": 0.5} for k in range(CROWD)]
        asked = [pool.submit(ask, address, "sound", body) for body in bodies]
        while not all(one.done() for one in asked):
            waits.append(ask(address, "predict", {"words": {"sung": "5/2"}}))
            time.sleep(0.1)
    return waits, time.perf_counter() - began


NOTHING_AHEAD = """
import sys
from reedbore.cli import main
from reedbore.page import ahead
ahead.likely = lambda words: ()
sys.exit(main(sys.argv[1:]))
"""
"""A server for the tiny run, beside whose tests nothing is to be solved ahead."""


@contextlib.contextmanager
def ended(server: subprocess.Popen[str]) -> Iterator[None]:
    """End the server also where something goes wrong; else who began it waits for ever."""
    try:
        yield
    finally:
        server.terminate()


def main() -> None:
    how = ["-c", NOTHING_AHEAD] if TINY else ["-m", "reedbore"]
    command = [sys.executable, "-u", *how, "page", "--no-browser"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as server, ended(server):
        assert server.stdout is not None
        address = server.stdout.readline().strip().rstrip("/")
        ask(address, "sound", {"words": {}})
        if shutil.which("chromium"):
            if ONLY != "minutes":
                print(f"solved ahead              {_ready(server):7.1f} s", flush=True)
            with opened(address) as page:
                if ONLY != "minutes":
                    controls(server, page, MOVED_TIMES)
                if ONLY != "controls":
                    minutes(server, page, MINUTES)
        if ONLY:
            return
        print(f"at first                  {memory(server):7.0f} MB")
        for number in range(GESTURES):
            gesture(address, number)
            if (number + 1) % max(GESTURES // 10, 1) == 0:
                print(f"after {number + 1:4} gestures       {memory(server):7.0f} MB", flush=True)
        waits, whole = crowd(address)
        usual, longest = statistics.median(waits), max(waits)
        print(f"{CROWD:3} sounds at once        {whole:7.1f} s, then {memory(server):.0f} MB")
        print(f"a prediction beside them  {usual:7.3f} s, at most {longest:.3f} s")


if __name__ == "__main__":
    main()
