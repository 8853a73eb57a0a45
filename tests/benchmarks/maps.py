"""How fast maps and tables are made, what they cost in memory, and that the step is right.

Run `python tests/benchmarks/maps.py [whole] [many] [tiny]`: `whole` also makes the map of 256 × 256
cells, `many` also one of 10⁵. Each map is made in a process of its own, through its store, fits
included; rivals run in turn. The load of the machine stands beside each figure.

`python tests/benchmarks/maps.py cores LENGTHS NOTES SECONDS [ON ...]` makes one map by each of some
machines, such as 1 2 4 8 16 (cores) or gpu; 16p are processes instead of threads; SECONDS is 0 for
as long as the decision needs; it tells cells a second, and how busy cores and card were.
`... before FOLDER ...` lets another state of the package, in FOLDER, make each map first.
`python tests/benchmarks/maps.py equal LENGTHS NOTES SECONDS` makes one by the cores and by a card,
and tells all cells that differ.
"""

import json
import os
import resource
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from functools import partial
from pathlib import Path
from unittest import mock

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "helpers"))

import ode

from reedbore.kernel import executor
from reedbore.measures import pitch
from reedbore.model import presets
from reedbore.model.setup import Setup
from reedbore.notes import cents, parse_pitch, simple_ratios
from reedbore.simulate import tuning
from reedbore.simulate.acoustics import numbers, reflection
from reedbore.verdict import lock_edges, locks
from reedbore.verdict.cells import controls_of, judge_cells
from reedbore.verdict.result import SIMPLE
from reedbore.verdict.state import State
from reedbore.verdict.sweep import run, table
from reedbore.verdict.sweep.plan import SUNG, Axis, Fingered, Sweep

HORN, NOTE, SINGER = "tenor-saxophone", "Bb2", "low-male"
SMALL, WHOLE = 48, 256
SUNG_CENTS = 1200.0, 2400.0
LENGTHS = 0.97, 1.03
"""Of the bore, over the length that plays the note."""

COUNTS = 1000, 10_000
RUNS = 3
FITS = 32
RATES = 1, 2, 4
"""Times 96 kHz."""

VOICE = 20.0, 2000.0
"""What may be sung. [Hz]"""

RATE_HZ = 96e3
DEPTHS = 0.0, 0.3

if "tiny" in sys.argv[1:]:
    SMALL, COUNTS, RUNS, FITS, RATES, VOICE = 4, (16,), 1, 2, (1,), (225.0, 240.0)
    RATE_HZ, DEPTHS = 48e3, (0.3,)


def sung_setup() -> tuple[Setup, float]:
    horn, hz = presets.load_horn(HORN), parse_pitch(NOTE)
    voice = presets.setup_for(horn, presets.load_singer(SINGER)).voice
    return tuning.tune(horn, hz, RATE_HZ).model_copy(update={"voice": voice}), hz


def sweep_of(lengths: int, notes: int, seconds: float | None) -> Sweep:
    setup, hz = sung_setup()
    length = 1e3 * (setup.bore.length or 0.0)
    bores = tuple(length * float(part) for part in np.linspace(*LENGTHS, lengths))
    sung = tuple(float(cent) for cent in np.linspace(*SUNG_CENTS, notes))
    axes = Axis(name="bore.length_mm", values=bores), Axis(name=SUNG, values=sung)
    return Sweep(setup=setup, fingered=Fingered(hz), axes=axes, seconds=seconds)


def make_map(lengths: int, notes: int, seconds: float | None, on: str, path: Path) -> None:
    """Make a map in this process; print what it took."""
    swept = sweep_of(lengths, notes, seconds)
    machine = "gpu" if on == "gpu" else "cpu"
    processes = int(on.removesuffix("p")) if on.endswith("p") else 1
    with mock.patch("sys.stderr", Path(os.devnull).open("w", encoding="ascii")):
        # What is compiled once on a computer is not counted.
        judge = partial(judge_cells, executor=executor.machine(machine, 10**6))
        run.run(sweep_of(2, 4, seconds), path.with_name(f"warm-{path.name}"), judge=judge)
        reflection.waveguide.cache_clear()
        start = time.perf_counter()
        before = [sum(resource.getrusage(who)[:2]) for who in WHO]
        helpers = 1 if processes > 1 else executor.usable_cores()
        run.run(swept, path, on=machine, processes=processes, helpers=helpers)
        took = time.perf_counter() - start
        busy = sum(sum(resource.getrusage(who)[:2]) for who in WHO) - sum(before)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
    print(json.dumps({"s": took, "busy": busy, "mb": peak, "load": os.getloadavg()[0]}))


WHO = resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN


def measured(
    lengths: int,
    notes: int,
    seconds: float | None,
    on: str = "2",
    path: Path | None = None,
    package: Path | None = None,
) -> dict[str, float]:
    """Let a process of its own, with as many cores as it may use, make a map."""
    words = [str(lengths), str(notes), str(seconds or 0.0), on]
    usable = sorted(os.sched_getaffinity(0))
    few = usable if on == "gpu" else usable[: int(on.removesuffix("p"))]
    paths = [str(package)] * bool(package) + [os.environ.get("PYTHONPATH", "")]
    known = {**os.environ, "PYTHONPATH": os.pathsep.join(paths)}
    with tempfile.TemporaryDirectory() as folder, Card(on == "gpu") as card:
        place = path or Path(folder) / "map.zarr"
        start = time.perf_counter()
        done = subprocess.run(
            [sys.executable, __file__, "map", *words, str(place)],
            check=False,
            capture_output=True,
            text=True,
            env=known,
            preexec_fn=lambda: os.sched_setaffinity(0, few),
        )
        whole = time.perf_counter() - start
    if done.returncode:
        raise SystemExit(f"{' '.join(words)}: {done.stderr}")
    found: dict[str, float] = json.loads(done.stdout)
    return {**found, "whole": whole, "card": card.busy}


class Card:
    """How busy the first graphics card is meanwhile, as its driver tells."""

    def __init__(self, there: bool) -> None:
        self.there, self.busy = there and bool(shutil.which("nvidia-smi")), float("nan")

    def __enter__(self) -> "Card":
        if self.there:
            ask = "-i 0 --query-gpu=utilization.gpu --format=csv,noheader,nounits -lms 100"
            command = ["nvidia-smi", *ask.split()]
            self.smi = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
        return self

    def __exit__(self, *_: object) -> None:
        if self.there:
            self.smi.terminate()
            told = [float(line) for line in self.smi.communicate()[0].split() if line.isdigit()]
            late = told[len(told) // 4 :]
            self.busy = sum(late) / max(len(late), 1)


def cores_table(words: list[str]) -> None:
    """One map by several machines, each beside the first."""
    package = Path(words.pop(words.index("before") + 1)) if "before" in words else None
    words = [word for word in words if word != "before"]
    lengths, notes, seconds = int(words[0]), int(words[1]), float(words[2]) or None
    cells, first = lengths * notes, 0.0
    print(f"{lengths} x {notes} cells, {seconds or 'until decided'} s, {os.cpu_count()} cores here")
    for on in words[3:] or ["1", "2"]:
        for state in [package, None] if package else [None]:
            found = measured(lengths, notes, seconds, on, package=state)
            speed = cells / found["s"]
            first = first or speed
            cores = os.cpu_count() if on == "gpu" else int(on.removesuffix("p"))
            print(
                f"  {on:>4}{' before' if state else '':7}{found['s']:8.1f} s"
                f"{speed:9.0f} cells/s{speed / first:7.2f} x the first, "
                f"cores busy {100.0 * found['busy'] / found['s'] / cores:3.0f} %, card busy "
                f"{found['card']:3.0f} %, peak {found['mb']:.0f} MB, whole process "
                f"{found['whole']:.1f} s, load {found['load']:.1f}",
                flush=True,
            )


def equal_maps(words: list[str]) -> None:
    """Make a map by the cores and by a card; list what differs."""
    lengths, notes, seconds = int(words[0]), int(words[1]), float(words[2]) or None
    with tempfile.TemporaryDirectory() as folder:
        paths = [Path(folder) / f"{on}.zarr" for on in ("cpu", "gpu")]
        for on, path in zip((str(os.cpu_count()), "gpu"), paths, strict=True):
            print(f"  {on}: {measured(lengths, notes, seconds, on, path)['s']:.1f} s", flush=True)
        ours, theirs = (table.read_values(path, "cells", SHOWN) for path in paths)
    off = ours["state"] != theirs["state"]
    print(f"{off.sum()} of {off.size} states differ")
    for place in np.argwhere(off)[:20]:
        both = [[State.of(one["state"][*place]), *(one[name][*place] for name in SHOWN[1:])]
                for one in (ours, theirs)]  # fmt: skip
        print(f"  {place.tolist()}: cores {both[0]}, card {both[1]}")
    for name in SHOWN[1:]:
        alike = ~off & np.isfinite(ours[name]) & np.isfinite(theirs[name])
        gap = np.abs(ours[name] - theirs[name])[alike]
        print(f"  {name}: largest difference {gap.max(initial=0.0):.2e}")


SHOWN = "state", "played_hz", "drift_hz", "voice_off_hz"


def map_row(name: str, lengths: int, notes: int, seconds: float | None, on: str = "2") -> float:
    """Print one map; return its seconds."""
    found = measured(lengths, notes, seconds, on)
    cells = lengths * notes
    print(
        f"  {name:<34}{lengths} x {notes:<5}{found['s']:8.1f} s {cells / found['s']:7.0f} cells/s "
        f"{found['busy']:8.1f} s of processor, peak {found['mb']:.0f} MB, load {found['load']:.1f}",
        flush=True,
    )
    return found["s"]


def map_table(whole: bool) -> None:
    print("maps, bore length along one axis, sung note along the other, fits included")
    pairs = [
        (
            map_row("1 s cells, one core", SMALL, SMALL, 1.0, "1"),
            map_row("1 s cells, two cores", SMALL, SMALL, 1.0, "2"),
        )
        for _ in range(RUNS)
    ]
    print(f"  one core over two: {statistics.median(a / b for a, b in pairs):.2f} (median)")
    map_row("until decided, two cores", SMALL // 2, SMALL // 2, None)
    if whole:
        map_row("1 s cells, two cores", WHOLE, WHOLE, 1.0)


def fits_row() -> None:
    """What a fit costs, and whether two threads fit faster: a map begins with one a length."""
    swept = sweep_of(FITS, 2, 1.0)
    setups = [swept.cell([length, 1200.0]) for length in swept.axes[0].values]
    reflection.waveguide.cache_clear()
    start = time.thread_time()
    for setup in setups:
        numbers.numbers_of(setup)
    print(f"fit of one bore: {1e3 * (time.thread_time() - start) / FITS:.1f} ms of processor")


def memory_table(most: bool) -> None:
    print("memory and time over cells, 1 s each, two cores")
    counts = [*COUNTS, 100_000] if most else COUNTS
    for cells in counts:
        lengths = max(8, cells // 1250)
        took = map_row(f"{cells} cells", lengths, cells // lengths, 1.0)
    print(f"  10^6 cells by extrapolation from {counts[-1]}: {took * 1e6 / counts[-1]:.0f} s")


def locks_row() -> None:
    setup, hz = sung_setup()
    control = controls_of([setup])[0]
    assert control.hz is not None
    low, high = VOICE
    ratios = [one for one in simple_ratios(SIMPLE) if low <= control.hz * one[0] / one[1] <= high]
    works = {
        f"edges of {len(ratios)} ratios": lambda: lock_edges.edges_of(setup, control.hz, ratios),
        f"lock table of {len(ratios)} ratios": lambda: locks.lock_table(
            setup, hz, voice_range=VOICE
        ),
    }
    lock_edges.edges_of(setup, control.hz, ratios[:1], longest=1.0)  # compiled from here on
    for name, work in works.items():
        start, busy = time.perf_counter(), time.process_time()
        work()
        print(
            f"{name}: {time.perf_counter() - start:.1f} s, {time.process_time() - busy:.1f} s of "
            f"processor, load {os.getloadavg()[0]:.1f}",
            flush=True,
        )


def solver_table() -> None:
    """The step against `scipy.integrate.solve_ivp` on the same equations."""
    seconds = 0.5
    print("step against scipy.integrate.solve_ivp (LSODA), beating reed on a cone without end")
    for depth in DEPTHS:
        start = time.process_time()
        exact, _ = ode.solved(ode.endless_cone(), seconds, depth)
        took = time.process_time() - start
        hz = pitched(exact)
        print(f"  depth {depth:g}: {hz:.3f} Hz; the solver takes {took:.1f} s for {seconds:g} s")
        for times in RATES:
            setup = ode.endless_cone(times * 96000.0)
            start = time.process_time()
            ours = ode.stepped(setup, seconds, depth)[::times]
            took = time.process_time() - start
            error = np.sqrt(np.mean((ours - exact) ** 2)) / np.std(exact)
            print(
                f"    {times * 96} kHz: waveform off by {error:.1e} (rms over rms), pitch by "
                f"{cents(pitched(ours), hz):+.4f} cents, {1e3 * took:.0f} ms"
            )


def pitched(pressure: np.ndarray) -> float:
    thin, rate = pitch.thin(pressure[-round(0.4 * 96000.0) :], 96000.0)
    found = pitch.fundamental(thin, rate)
    assert found is not None
    return pitch.refine(thin, rate, found.hz)


def main() -> None:
    words = sys.argv[1:]
    if words[:1] == ["map"]:
        lengths, notes, seconds, on, path = words[1:]
        make_map(int(lengths), int(notes), float(seconds) or None, on, Path(path))
        return
    if words[:1] in (["cores"], ["equal"]):
        {"cores": cores_table, "equal": equal_maps}[words[0]](words[1:])
        return
    print(f"{HORN}, {NOTE}, {SINGER}, {RATE_HZ / 1e3:g} kHz")
    solver_table()
    fits_row()
    locks_row()
    map_table("whole" in words)
    memory_table("many" in words)


if __name__ == "__main__":
    main()
