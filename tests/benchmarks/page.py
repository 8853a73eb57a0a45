"""What the page's server takes: memory over a long use, and what a quick question waits in a crowd.

Run by `.ci/run bench` or `python tests/benchmarks/page.py [GESTURES] [tiny]`. A gesture is what one
move on the page asks: a prediction, a sound, its picture, every third time a verdict and the air in
the bore; about 600 of them are half an hour. Memory is told after each tenth of them. The crowd is
200 sounds asked at once; beside it a prediction is asked again and again.
"""

import concurrent.futures
import json
import random
import statistics
import subprocess
import sys
import time
import urllib.request
from pathlib import Path
from typing import Any

TINY = "tiny" in sys.argv[1:]
GESTURES = next((int(word) for word in sys.argv[1:] if word.isdecimal()), 6 if TINY else 600)
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
