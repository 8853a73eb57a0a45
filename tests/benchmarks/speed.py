"""How fast: a take against real time, whole commands against the bare imports they cannot avoid.

Run by `.ci/run bench` or `python tests/benchmarks/speed.py [tiny]`. Shared machines drift, so
rivals are run in turn and ratios are medians of pairs.
"""

import platform
import statistics
import subprocess
import sys
import tempfile
import time

import numba
import numpy as np

from reedbore.kernel import single
from reedbore.model.presets import load_horn
from reedbore.notes import midi_to_hz, parse_note
from reedbore.simulate.acoustics.numbers import numbers_of
from reedbore.simulate.tuning import blown, tune

IMPORTS = "import numpy, numba, soundfile, matplotlib.pyplot"
TINY = "tiny" in sys.argv[1:]
RUNS, SECONDS = (1, 0.5) if TINY else (9, 10.0)


def seconds(*command: str) -> float:
    start = time.perf_counter()
    with tempfile.TemporaryDirectory() as folder:
        subprocess.run(command, check=True, capture_output=True, cwd=folder)
    return time.perf_counter() - start


def command_row(name: str, *words: str) -> None:
    pairs = [
        (
            seconds(sys.executable, "-m", "reedbore", *words),
            seconds(sys.executable, "-c", IMPORTS),
        )
        for _ in range(RUNS)
    ]
    ours = statistics.median(pair[0] for pair in pairs)
    ratio = statistics.median(a / b for a, b in pairs)
    print(f"{name:<38}{ours:8.3f} s   {ratio:5.2f} x the bare imports")


def kernel_row(horn_name: str) -> None:
    setup = tune(load_horn(horn_name), midi_to_hz(parse_note("Bb2")))
    numbers, mouth = numbers_of(setup), blown(setup, SECONDS)
    single.run(numbers, mouth[:1000])
    times = []
    for _ in range(RUNS):
        start = time.perf_counter()
        single.run(numbers, mouth)
        times.append(time.perf_counter() - start)
    took = statistics.median(times)
    step, times_real = 1e9 * took / mouth.size, SECONDS / took
    print(f"{horn_name:<38}{step:8.1f} ns a step   {times_real:5.0f} x real time")


def main() -> None:
    print(f"{platform.platform()}, numpy {np.__version__}, numba {numba.__version__}")
    print("one take, one core, 96 kHz inside")
    for horn in ("tenor-saxophone", "plain-cylinder"):
        kernel_row(horn)
    print(f"whole processes, median of {RUNS}")
    command_row("render, one pair", "render", "--fingered", "Bb2", "--sung", "D4-13.8c")
    if not TINY:
        command_row("render, the whole etude", "render")
    command_row("predict, one pair", "predict", "--fingered", "Bb2", "--sung", "D4")
    command_row("--help", "--help")


if __name__ == "__main__":
    main()
