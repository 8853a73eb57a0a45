"""What the page takes: from a move of each control to its sound, memory, and waiting in a crowd.

Run by `.ci/run bench` or `python tests/benchmarks/page.py [GESTURES] [tiny]`, the moves alone by
`python tests/benchmarks/page.py controls [MOVES]`. Each control of the page is moved 30 times in
Chromium, to a value that it had not before, and its sound is waited for; what else moves a machine
is told by its load. A gesture is what one move on the page asks: a prediction, a sound, its
picture, every third time a verdict and the air in the bore; about 600 of them are half an hour.
Memory is told after each tenth of them. The crowd is 200 sounds asked at once; beside it a
prediction is asked again and again.
"""

import concurrent.futures
import json
import os
import random
import shutil
import statistics
import subprocess
import sys
import time
import urllib.request
from pathlib import Path
from typing import Any

TINY = "tiny" in sys.argv[1:]
TYPED = next((int(word) for word in sys.argv[1:] if word.isdecimal()), None)
GESTURES = TYPED or (6 if TINY else 600)
MOVED_TIMES = TYPED or 30 if "controls" in sys.argv[1:] else 30
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
READY_S, REST_S = 20.0, 2.0  # for what is solved ahead, and of a hand between two moves [s]
MOVES = {
    "fingered note, slider": ("slide", "Along the horn", lambda k: (5 * k + 3) % 33),
    "fingered note, typed": ("slide", "#fingered", lambda k: ("C3", "D3", "E3", "F3")[k % 4]),
    "cents off": ("slide", "Cents off", lambda k: -50 + 3.1 * k),
    "sung note, typed": ("slide", "#sung", lambda k: f"{('A3', 'C4', 'D4')[k % 3]}{k - 15:+}c"),
    "sung note, keys": ("press", ".voice .key", lambda k: f"[data-midi='{45 + (7 * k) % 19}']"),
    "depth": ("slide", "How strongly I sing", lambda k: 0.05 + 0.01 * k),
    "breath, dynamics": ("press", "#controls .choice input", lambda k: f"[value='{'pmf'[k % 3]}']"),
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


def controls(address: str, moves: int) -> None:
    """Move each control and tell how long its sound takes: median and worst. [ms]"""
    from playwright.sync_api import sync_playwright  # noqa: PLC0415

    flags = ["--no-sandbox", "--disable-gpu", "--autoplay-policy=no-user-gesture-required"]
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=flags)
        page = browser.new_page(viewport={"width": 1440, "height": 900})
        page.goto(address)
        page.locator("#play").click()
        time.sleep(READY_S)
        for name, (kind, place, value) in MOVES.items():
            settings = {"voice.drive": "folds"} if name.startswith(FOLDS) else {}
            page.evaluate("(words) => void reedbore.state.replace(words)", {"settings": settings})
            _rest(page)
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
        browser.close()


def _rest(page: Any) -> None:
    """Let a hand rest until all is told, or for a while."""
    end = time.perf_counter() + REST_S
    while time.perf_counter() < end and not page.evaluate(RESTS):
        time.sleep(0.05)


def memory(process: subprocess.Popen[str]) -> float:
    """Return how much memory a process holds. [MB]"""
    told = Path(f"/proc/{process.pid}/status").read_text(encoding="ascii")
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


def main() -> None:
    command = [sys.executable, "-u", "-m", "reedbore", "page", "--no-browser"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as server:
        assert server.stdout is not None
        address = server.stdout.readline().strip().rstrip("/")
        ask(address, "sound", {"words": {}})
        if not TINY:
            controls(address, MOVED_TIMES)
        if "controls" in sys.argv[1:]:
            server.terminate()
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
        server.terminate()


if __name__ == "__main__":
    main()
