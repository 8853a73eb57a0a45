"""How fast many setups are side by side, against rivals in the same run.

Run by `.ci/run bench` or `python tests/benchmarks/lanes.py [tiny] [card]`, with `card` only what
runs on a graphics card, if there is one. The rivals: the one-take
kernel, the same step in C for one lane and for many, and pure Python. Shared machines drift, so
rivals are run in turn, several times, and ratios are medians of pairs; what runs on one core is
timed by the processor's own clock. The rivals in C do not measure the played line, ours does.
"""

import ctypes
import functools
import math
import os
import platform
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numba
import numpy as np

from reedbore.kernel import gpu, rows, single
from reedbore.kernel.compiler import plain
from reedbore.kernel.executor import CpuLanes
from reedbore.kernel.rows import LANES
from reedbore.model.presets import load_horn, setup_for
from reedbore.model.setup import Setup
from reedbore.simulate.acoustics.numbers import Numbers, numbers_of
from reedbore.simulate.batch import HOP_S, Lanes
from reedbore.simulate.many import Setups
from reedbore.simulate.take import again
from reedbore.simulate.tuning import blown

TINY = "tiny" in sys.argv[1:]
COUNT, SECONDS, RUNS = (LANES, 0.04, 1) if TINY else (16 * LANES, 0.2, 9)
C_STEPS = 2000 if TINY else 100_000
FLAGS = (
    "-O3 -march=native -mprefer-vector-width=512 -fno-math-errno -fno-trapping-math -shared -fPIC"
)
NAMES = (
    "FADE DIRECT GAIN POLE TURN SHRINK PAIR_GAIN PAIR_SLOPE CONDUCTANCE WAVE VOLUME STIFF DAMPED "
    "REST GIVE CONTACT LAY_DAMPED PISTON CHANNEL DECAY INFLOW BACKFLOW ECHOING MEMORY RINGING "
    "RINGING_BEFORE VOLUME_FLOW THROAT_FLOW OPENING BEFORE POLES BRANCHES TABLE LANES"
)
CARD_LANES = 1 << 10, 1 << 13, 1 << 15, 1 << 17
ONE = CpuLanes(threads=1)
Work = Callable[[], object]


def setups(count: int = COUNT) -> list[Setup]:
    """Lanes of a map: the sung note over the length of the bore."""
    base = setup_for(load_horn("baritone-saxophone")).with_value("voice.depth", 0.12)
    return [
        base.with_value("bore.length_mm", 1133.8 - 0.5 * (lane % 16)).with_value(
            "voice.frequency_hz", 345.0 + 0.02 * lane
        )
        for lane in range(count)
    ]


def cost(work: Work, lane_steps: float, clock: Callable[[], float] = time.thread_time) -> float:
    """Nanoseconds a lane and step."""
    start = clock()
    work()
    return 1e9 * (clock() - start) / lane_steps


class InC:
    """The step in C, with the numbers of a block that has come to a steady tone."""

    def __init__(self, folder: str, batch: Lanes) -> None:
        group, waves = batch._running.groups[0], batch._shared.waves
        block, table = group.blocks[0], group.blocks[0].table
        self.now = round(batch.seconds * batch.rate)
        target, source = Path(folder) / "lanes.so", Path(__file__).with_suffix(".c")
        values = {name: getattr(rows, name) for name in NAMES.split()}
        values |= {"BATCH": rows.AHEAD, "USED_PAIRS": group.kind.pairs, "USED_ECHOES": group.echoes}
        defined = [f"-D{name}={value}" for name, value in values.items()]
        command = ["gcc", *FLAGS.split(), *defined, "-o", str(target), str(source), "-lm"]
        subprocess.run(command, check=True)
        self.code = ctypes.CDLL(str(target))
        self.code.scalar.restype = ctypes.c_double
        self.waves = waves[block.places[rows.PERIOD, 0] :].copy()
        self.first = block.places[rows.FIRST].copy()
        self.echo = table[rows.ECHO : rows.DELAYED].copy()
        self.echo_place = block.places[rows.ECHO_PLACE :].copy()
        self.numbers = table[: rows.NUMBERS].copy()
        self.state = table[rows.NUMBERS : rows.BREATH].copy()
        self.taps = table[rows.TAP : rows.TAP + rows.TAPS].copy()
        self.heard = table[rows.DELAYED + 1 : rows.DELAYED + rows.TAPS].copy()
        self.lines, self.size = block.entering.copy(), block.entering.shape[1] - rows.AHEAD
        self.turn, self.breath, self.depth = (
            table[row].copy() for row in (rows.SUNG_TURN, rows.BREATH, rows.DEPTH)
        )
        self.squares = np.zeros(LANES)
        one = (self.numbers.T, self.state.T, self.taps.T, self.echo.T, self.echo_place.T)
        self.columns = [np.ascontiguousarray(part) for part in one]
        self.one_line = self.lines.copy()

    def lanes(self, steps: int) -> None:
        arrays = (self.numbers, self.state, self.taps, self.heard, self.lines)
        more = (self.first, self.waves, self.turn, self.breath, self.depth)
        more += (self.echo, self.echo_place)
        self.code.lanes(
            *(_at(array) for array in arrays),
            ctypes.c_long(self.size),
            *(_at(array) for array in more),
            *(ctypes.c_long(self.now), ctypes.c_long(steps), _at(self.squares)),
        )

    def scalar(self, steps: int, lane: int = 0) -> float:
        arrays = [_at(part[lane]) for part in self.columns]
        real = ctypes.c_double
        return self.code.scalar(
            *(*arrays[:3], _at(self.one_line[lane]), ctypes.c_long(self.size)),
            *(ctypes.c_long(int(self.first[lane])), _at(self.waves), real(self.turn[lane])),
            *(real(self.breath[lane]), real(self.depth[lane]), *arrays[3:]),
            *(ctypes.c_long(self.now), ctypes.c_long(steps)),
        )


def _at(array: np.ndarray) -> ctypes.c_void_p:
    return ctypes.c_void_p(array.ctypes.data)


def rival_in_c(folder: str) -> InC:
    """Make the rival, and see that it plays what the lanes play."""
    batch = Lanes(setups(LANES), 116.5, executor=ONE)
    batch.advance(0.5)
    rival = InC(folder, batch)
    hop = round(batch.rate * HOP_S)
    found = batch.watch(hop, lambda lane, pressure: float(np.sum(pressure**2)))
    rival.lanes(hop)
    for lane, ours in enumerate(found):
        assert math.isclose(rival.squares[lane], ours, rel_tol=1e-9)
        assert math.isclose(rival.scalar(hop, lane), ours, rel_tol=1e-9)
    return rival


def one_take(numbers: Numbers, pressure: np.ndarray) -> Work:
    return lambda: [single.run(numbers, pressure) for _ in range(4)]


def table() -> None:
    """Print all rivals and their ratios."""
    batch = setups()
    ours = Lanes(batch, 116.5, executor=ONE)
    ours.advance(0.4)
    lane_steps = COUNT * ours.advance(SECONDS).hop_times.size * ours._shared.hop
    take, pressure = numbers_of(batch[0]), blown(batch[0], 0.5)
    single.run(take, pressure)
    works: dict[str, tuple[Work, float]] = {
        "lanes": (lambda: ours.advance(SECONDS), lane_steps),
        "one-take kernel, mouth given": (one_take(take, pressure), 4 * pressure.size),
        "one take with its voice": (lambda: again(batch[0], 0.5), pressure.size),
    }
    with tempfile.TemporaryDirectory() as folder:
        if shutil.which("gcc"):
            rival = rival_in_c(folder)
            works["scalar C"] = (lambda: rival.scalar(C_STEPS), C_STEPS)
            works["lanes in C"] = (lambda: rival.lanes(C_STEPS), C_STEPS * LANES)
        else:
            print("gcc is not installed: no rivals in C")
        costs = [{name: cost(*work) for name, work in works.items()} for _ in range(RUNS)]
    print("one core                           ns a lane-step: median (least)   over lanes: median")
    for name in works:
        each = [run[name] for run in costs]
        ratio = statistics.median(run[name] / run["lanes"] for run in costs)
        print(f"  {name:<36}{statistics.median(each):8.2f} ({min(each):.2f}){ratio:20.2f}")
    loop = single.make_run("mass", compile_with=plain)
    slow = cost(lambda: single.run(take, pressure[:1000], loop), 1000)
    print(f"  {'pure Python':<36}{slow:8.0f}")


def threads_row() -> None:
    """Print what a second core adds; both by the clock on the wall."""
    batch = setups()
    pair = [Lanes(batch, 116.5, executor=CpuLanes(threads=count)) for count in (1, 2)]
    for one in pair:
        one.advance(0.4)
    works = [functools.partial(one.advance, SECONDS) for one in pair]
    costs = [[cost(work, 1, time.perf_counter) for work in works] for _ in range(RUNS)]
    ratio = statistics.median(a / b for a, b in costs)
    best = min(a for a, _ in costs) / min(b for _, b in costs)
    speed = COUNT * SECONDS / (1e-9 * min(b for _, b in costs))
    print(f"two threads against one: {ratio:.2f} (median), {best:.2f} (least times)")
    print(f"cells of 1 s a second, two threads: {speed:.0f}; load {os.getloadavg()[0]:.1f}")


def card_rows() -> None:
    """Print what a lane and step costs on a graphics card, by how many lanes it is given."""
    why = gpu.missing()
    if why:
        print(f"no row of a card: {why}")
        return
    few = Setups.of(setups(LANES))
    for count in CARD_LANES:
        some = few.at(np.arange(count) % LANES)
        lanes = Lanes(some, 116.5, executor=gpu.GpuLanes())
        lanes.advance(0.1)
        lane_steps = count * lanes.advance(0.1).hop_times.size * lanes._shared.hop
        each = cost(functools.partial(lanes.advance, 0.1), lane_steps, time.perf_counter)
        print(f"card, {count} lanes at once: {each:.3f} ns a lane-step", flush=True)


def main() -> None:
    print(f"{platform.platform()}, numpy {np.__version__}, numba {numba.__version__}")
    print(f"{COUNT} lanes, blocks of {LANES}, 96 kHz, baritone saxophone with a pulse")
    start = time.perf_counter()
    Lanes(setups(COUNT // 4), 116.5)
    each = 1e3 * (time.perf_counter() - start) / (COUNT // 4)
    print(f"numbers of a setup: {each:.2f} ms, fits included")
    if "card" not in sys.argv[1:]:
        table()
        threads_row()
    card_rows()


if __name__ == "__main__":
    main()
