"""How true edges of locks are: at twice the rate, watched twice as long, read from a fine sweep.

Run `python tests/benchmarks/edges.py [tiny]`. Detunings are in cents against p/q times the
pitch that the horn plays with the voice off, at the same rate.
"""

import itertools
import os
import sys
import time
from typing import NamedTuple

import numpy as np

from reedbore.model import presets
from reedbore.model.setup import Setup
from reedbore.notes import parse_pitch
from reedbore.simulate import tuning
from reedbore.verdict import lock_edges
from reedbore.verdict.cells import controls_of, judge_cells
from reedbore.verdict.lock_edges import Sought, sung_at
from reedbore.verdict.questions import Pair

NOTES = {"tenor-saxophone": "Bb2", "bass-clarinet": "F2"}
SINGER = "low-male"
RATIOS = (1, 1), (2, 1), (3, 1), (5, 2), (7, 2)
DEPTHS = 0.1, 0.2
FINE_STEP, FINE_REACH = 0.1, 0.6
"""The fine sweep about an edge. [cents]"""

FINE_DEPTH = 0.1

RUNS = {
    "96 kHz, 60 s": (96000.0, 60.0),
    "96 kHz, 120 s": (96000.0, 120.0),
    "192 kHz, 60 s": (192000.0, 60.0),
    "192 kHz, 120 s": (192000.0, 120.0),
}
"""Steps a second, and how long a detuning is watched at most."""

if "tiny" in sys.argv[1:]:
    NOTES, RATIOS, DEPTHS = {"tenor-saxophone": "Bb2"}, ((2, 1),), (FINE_DEPTH,)
    FINE_REACH = FINE_STEP
    RUNS = {"96 kHz, 5 s": (96000.0, 5.0), "192 kHz, 5 s": (192000.0, 5.0)}


class Place(NamedTuple):
    """Where a lock is looked for."""

    horn: str
    depth: float
    p: int
    q: int


PLACES = [
    Place(horn, depth, p, q) for horn, depth, (p, q) in itertools.product(NOTES, DEPTHS, RATIOS)
]


def tuned(name: str, rate: float) -> Setup:
    """The horn with its bore solved at the usual rate, stepped at another."""
    horn = presets.load_horn(name)
    voice = presets.setup_for(horn, presets.load_singer(SINGER)).voice
    setup = tuning.tune(horn, parse_pitch(NOTES[name])).model_copy(update={"voice": voice})
    return setup.with_value("time.rate_hz", rate)


def pairs_at(rate: float) -> tuple[list[Pair], dict[str, float]]:
    """All places, and what each horn plays with the voice off [Hz]."""
    setups = {name: tuned(name, rate) for name in NOTES}
    off = {name: controls_of([setup])[0].hz or 0.0 for name, setup in setups.items()}
    pairs = []
    for place in PLACES:
        sung = sung_at(setups[place.horn], off[place.horn] * place.p / place.q)
        pairs.append(Pair(sung.with_value("voice.depth", place.depth), place.p, place.q))
    return pairs, off


def told(found: Sought | None) -> str:
    if found is None:
        return "failed"
    if found.edges is None:
        return "none"
    low, high = found.edges
    unsure = max(abs(low.outside - low.inside), abs(high.outside - high.inside))
    return f"{low.inside:+.2f} {high.inside:+.2f} ±{unsure:.2f}"


def convergence() -> dict[str, list[Sought | None]]:
    found: dict[str, list[Sought | None]] = {}
    for name, (rate, longest) in RUNS.items():
        start, busy = time.perf_counter(), time.process_time()
        pairs, off = pairs_at(rate)
        found[name] = lock_edges.seek(pairs, longest, lambda _: None)
        played = ", ".join(f"{horn} {hz:.4f} Hz" for horn, hz in off.items())
        print(
            f"{name}: {played}; {time.perf_counter() - start:.0f} s, "
            f"{time.process_time() - busy:.0f} s of processor, load {os.getloadavg()[0]:.1f}",
            flush=True,
        )
    print("edges: last detunings that lock, bracket" + " " * 5 + " | ".join(RUNS))
    for k, place in enumerate(PLACES):
        each = " | ".join(f"{told(one[k]):<22}" for one in found.values())
        print(f"  {place.horn:<16}{place.depth:g} {place.p}/{place.q}   {each}")
    return found


def differences(found: dict[str, list[Sought | None]]) -> None:
    base = found[next(iter(RUNS))]
    for name in list(RUNS)[1:]:
        off = []
        for place, one, other in zip(PLACES, base, found[name], strict=True):
            if one and other and one.edges and other.edges:
                ends = zip(one.edges, other.edges, strict=True)
                off += [(abs(b.inside - a.inside), place) for a, b in ends]
        size = [one for one, _ in off]
        worst, place = max(off)
        print(
            f"{name} against {next(iter(RUNS))}: {len(off)} edges, median {np.median(size):.3f} "
            f"cents, worst {worst:.3f} ({place.horn} {place.depth:g} {place.p}/{place.q})"
        )


def fine_sweep(found: list[Sought | None]) -> None:
    """Read edges from cells beside each other, each judged for itself."""
    start = time.perf_counter()
    pairs, off = pairs_at(96000.0)
    steps = np.arange(-FINE_REACH, FINE_REACH + 0.5 * FINE_STEP, FINE_STEP)
    setups, hz, asked = [], [], []
    for place, pair, sought in zip(PLACES, pairs, found, strict=True):
        if place.depth != FINE_DEPTH or not sought or not sought.edges:
            continue
        for edge, way in zip(sought.edges, (-1.0, 1.0), strict=True):
            cells = edge.inside + steps
            asked.append((place, edge.inside, way, cells))
            just = off[place.horn] * place.p / place.q
            setups += [sung_at(pair.setup, just * 2.0 ** (cell / 1200.0)) for cell in cells]
            hz += [off[place.horn]] * cells.size
    judged = judge_cells(setups, hz)
    print(f"edges at depth {FINE_DEPTH:g} read from a sweep in steps of {FINE_STEP:g} cent")
    for number, (place, edge, way, cells) in enumerate(asked):
        part = judged[number * cells.size : (number + 1) * cells.size]
        states = [cell.state.upper() if cell.jumped else cell.state for cell in part]
        seen = read(states, cells, way, edge)
        print(f"  {place.horn:<16}{place.p}/{place.q} {edge:+8.2f} {seen}")
    print(f"  {len(setups)} cells until decided, {time.perf_counter() - start:.0f} s")


def read(states: list[str], cells: np.ndarray, way: float, edge: float) -> str:
    """Return the last locked cell and a letter a cell; capitals where the horn has jumped."""
    locked = [float(cell) for cell, state in zip(cells, states, strict=True) if state == "locked"]
    marks = "".join(state[0] for state in states)
    if not locked:
        return f"nothing locked   {marks}"
    last = max(locked) if way > 0.0 else min(locked)
    return f"last locked cell {last - edge:+.2f} from it   {marks}"


def main() -> None:
    began = time.perf_counter()
    print("NOTES: " + ", ".join(f"{horn} {note}" for horn, note in NOTES.items()))
    found = convergence()
    differences(found)
    fine_sweep(found[next(iter(RUNS))])
    print(f"{time.perf_counter() - began:.0f} s in all")


if __name__ == "__main__":
    main()
