"""A judge of cells that simulates nothing, for the tests of sweeps; and a process that can die.

What it says of a cell depends on the setup alone, as with the real one, and is quick to have.
"""

import itertools
import os
import signal
import sys
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from reedbore.kernel.executor import CPU
from reedbore.measures.locking import Edge
from reedbore.model.presets import load_horn, setup_for
from reedbore.model.setup import Setup
from reedbore.notes import cents, choose_ratio
from reedbore.verdict.cells import Cell
from reedbore.verdict.lock_edges import Sought
from reedbore.verdict.state import State
from reedbore.verdict.sweep import run, store
from reedbore.verdict.sweep.plan import SUNG, Axis, Fingered, Sweep

HZ = 116.0


@dataclass(frozen=True)
class Card:
    """A machine that is given several blocks at a time, four cells of them."""

    processes: int = 1
    width: int = 4
    threads: int = 2
    joins: bool = True

    def shared(self, processes: int) -> "Card":
        return replace(self, threads=self.threads // processes)

    def start(self, lanes: Any, shared: Any) -> Any:
        return CPU.start(lanes, shared)


calls = itertools.count()
"""Counts the blocks that were judged in this process."""


def judge(
    setups: Sequence[Setup],
    fingered_hz: Sequence[float],
    *,
    seconds: float | None = None,
    progress: Callable[[float], None] | None = None,
) -> list[Cell]:
    """Judge cells by arithmetic; below 2 kPa the horn is silent, and nothing is a number."""
    next(calls)
    if progress:
        progress(0.5)
    return [_cell(setup, hz, seconds) for setup, hz in zip(setups, fingered_hz, strict=True)]


def _cell(setup: Setup, hz: float, seconds: float | None) -> Cell:
    played = hz * (1.0 + 1e-3 * (setup.reed.opening * 1e3 - 1.0))
    if setup.breath.pressure < 2000.0:
        return Cell(State.SILENT)
    if setup.voice.source == "off":
        return Cell(State.UNSUNG, played_hz=played, period=1, voice_off_hz=played)
    sung = setup.voice.frequency
    p, q = choose_ratio(sung / played, 20.0, 8) or (0, 0)
    drift = p * played - q * sung
    state = State.ROUGH if not p else State.UNDECIDED if seconds else State.DRIFTING
    if p and abs(drift) < 10.0 * setup.voice.depth:
        state = State.LOCKED
    return Cell(
        state,
        None, p, q, sung, played, cents(played, hz), setup.reed.opening > 0.0012,
        played / q if q else np.nan, drift if q else np.nan, 1, played,
    )  # fmt: skip


def seek(
    setup: Setup,
    voice_off_hz: float,
    ratios: Sequence[tuple[int, int]],
    *,
    progress: Callable[[float], None] | None = None,
) -> list[Sought | None]:
    """Find a lock as many cents wide as the depth in percent, at ratios with odd p."""
    assert voice_off_hz > 0.0
    if progress:
        progress(1.0)
    half = 50.0 * setup.voice.depth
    edges = Edge(-half, -half - 0.1), Edge(half, half + 0.1)
    return [Sought(edges if p % 2 else None, (-1.0, 1.0)) for p, _ in ratios]


def example(seconds: float | None = None) -> Sweep:
    """Make a sweep of 9 × 6 cells on the tenor saxophone; a third of them are silent."""
    setup = setup_for(load_horn("tenor-saxophone")).with_value("voice.source", "sine")
    setup = setup.with_value("reed.opening_mm", 1.0)
    axes = (
        Axis(name=SUNG, values=tuple(np.linspace(-200.0, 1400.0, 9).tolist())),
        Axis(name="breath.pressure_kpa", values=(1.0, 1.5, 2.5, 3.0, 3.5, 4.0)),
    )
    return Sweep(setup=setup, fingered=Fingered(HZ), axes=axes, seconds=seconds, horn="tenor")


def small_blocks(_: Sweep) -> tuple[int, int]:
    """Make blocks of 2 × 1 cells, so that there are many."""
    return 2, 1


def files(path: Path) -> Iterator[tuple[str, bytes]]:
    """List all whole files of a store and what they hold."""
    for file in sorted(path.rglob("*")):
        # Zarr writes beside a file's place; what a killed process leaves there is never read.
        if file.is_file() and file.suffix != ".partial":
            yield str(file.relative_to(path)), file.read_bytes()


def die_at(path: str, moment: int) -> None:
    """Die, as by force, when a file of the store is opened or put in its place so many times."""
    moments = itertools.count(1)

    def watch(event: str, things: tuple[object, ...]) -> None:
        touched = event in ("open", "os.rename") and str(things[0]).startswith(path)
        if touched and next(moments) == moment:
            os.kill(os.getpid(), signal.SIGKILL)

    sys.addaudithook(watch)


def main(path: str, part: str, dies_at: str = "0") -> None:
    """Run the example with small blocks, as a process of its own."""
    die_at(path, int(dies_at))
    store.block_shape = small_blocks  # type: ignore[assignment]
    number, parts = map(int, part.split("/"))
    run.run(
        example(), Path(path), edges=True, part=(number, parts), judge=judge, seek=seek
    )  # fmt: skip


if __name__ == "__main__":
    main(*sys.argv[1:])
