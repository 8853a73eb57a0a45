"""The seam between many lanes and the machine that steps them: a protocol, and the cores at hand.

In: numbers, and what is blown and sung. Out, hop by hop: lines, levels and pressures. Another kind
of machine is another `Executor`; whoever has lanes to step is given one and knows no more of it.
"""

import functools
import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from enum import StrEnum
from threading import Lock
from typing import Any, NamedTuple, Protocol, TypeVar

import numpy as np
from numpy.typing import NDArray

from reedbore.errors import ReedboreError
from reedbore.kernel import blocks, folds, rows
from reedbore.kernel.blocks import Reals, Whole
from reedbore.kernel.lanes import Kind, make_lanes
from reedbore.kernel.numbers import Driven, vent_rise

Answer = TypeVar("Answer")


class Shared(NamedTuple):
    """What lanes that are started together have in common."""

    waves: Reals
    """Shape (k (TABLE + 1),), sung periods one after the other; empty if nobody sings."""
    window: Reals
    """Shape (ages, ticks), that of the played line, cut into hops."""
    tick: int
    """How often the pressure is looked at. [steps]"""
    settled: int
    """After so many steps breath and voice have risen."""

    @property
    def hop(self) -> int:
        """Steps from one value to the next."""
        return self.window.shape[1] * self.tick


class Emitted(NamedTuple):
    """What some lanes of a batch have emitted."""

    members: Whole
    """Shape (m,), which lanes."""
    line: Reals
    """Shape (hops, 2, m), of the window that ends with a hop, real and imaginary part. [Pa]"""
    sung: Reals
    """Shape (hops, 3, m): the same of half the gap between folds [m], and how often these have
    swung; 0 where none sing."""
    levels: Reals
    """Shape (hops, 3, m): sum of the pressure, of its square, and 0 from where a lane burst."""
    pressure: Reals
    """Shape (steps, m), of each step; no steps unless they were to be kept. [Pa]"""
    ticks: Reals
    """Shape (ticks, m), the mean of each tick; no ticks unless they were to be kept. [Pa]"""


class Keep(StrEnum):
    """Which pressures are handed on."""

    NONE = "none"
    STEPS = "steps"
    TICKS = "ticks"


class Running(Protocol):
    """Lanes on a machine, as far as they have come."""

    now: int
    """Steps made."""

    def advance(
        self, hops: int, digest: Callable[[Emitted], Answer], keep: Keep = Keep.NONE
    ) -> list[Answer]:
        """Step all lanes on.

        Parameters
        ----------
        hops : int
            How far.
        digest : callable
            Called with what some lanes have emitted, until each lane was told of once; in any
            order, and from several threads at a time. The arrays are not kept.
        keep : Keep
            Which pressures are handed on.

        Returns
        -------
        list
            The answers of `digest`.
        """

    def keep(self, mask: NDArray[np.bool_]) -> None:
        """Drop lanes, by their places; the others close up and go on as if nothing had happened."""


class Executor(Protocol):
    """A machine for many lanes."""

    @property
    def width(self) -> int:
        """How many lanes are best started together."""

    @property
    def threads(self) -> int:
        """How many threads are best at giving it work."""

    @property
    def processes(self) -> int:
        """Between how many processes at most, which all have the machine, work is best shared."""

    @property
    def joins(self) -> bool:
        """Whether lanes that have come as far can be put together."""

    def shared(self, processes: int) -> "Executor":
        """Return what each of so many processes is given, with its share of the threads."""

    def start(self, lanes: Driven, shared: Shared) -> Running:
        """Set up lanes, at rest."""


def compiled_loop(kind: Kind, lanes: int) -> Any:
    """Return the compiled loop for blocks of a kind; threads that ask for one have the same."""
    with COMPILING:
        return _made(kind, lanes)


@functools.cache
def _made(kind: Kind, lanes: int) -> Any:
    return make_lanes(kind, lanes)


COMPILING = Lock()
"""Held while a loop is made."""


def usable_cores() -> int:
    """Return how many cores this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


@dataclass(frozen=True)
class CpuLanes:
    """The cores at hand: lanes of a kind, block by block, as vectors.

    Attributes
    ----------
    threads, width, processes : int
        As of an `Executor`; by default as many threads as there are cores for this process.
    loop : callable
        For a kind of lanes, and how many a block has, the loop from `lanes.make_lanes`.
    joins : bool
        As of an `Executor`.
    alone : int
        So many lanes left over, or fewer, have a block each.
    """

    threads: int = usable_cores()
    width: int = 512
    loop: Callable[[Kind, int], Any] = compiled_loop
    processes: int = 1
    joins: bool = True
    alone: int = blocks.ALONE

    def shared(self, processes: int) -> "CpuLanes":
        """Return what each of so many processes is given; see `Executor`."""
        return replace(self, threads=max(self.threads // processes, 1))

    def start(self, lanes: Driven, shared: Shared) -> "CpuRunning":
        """Set up lanes, at rest."""
        return CpuRunning(self, lanes, shared)


class CpuRunning:
    """Lanes in the memory of the computer, in blocks."""

    def __init__(self, machine: CpuLanes, lanes: Driven, shared: Shared) -> None:
        self.now = 0
        ages = shared.window.shape[0]
        self.groups = blocks.grouped(lanes, shared.tick, ages, machine.alone)
        self._machine, self._shared = machine, shared
        self._vent_rise = vent_rise(lanes.numbers[0].rate)

    def keep(self, mask: NDArray[np.bool_]) -> None:
        """Drop lanes; see `Running`."""
        moved = np.cumsum(mask) - 1
        left = [blocks.kept(group, mask, moved) for group in self.groups]
        self.groups = [group for group in left if group]

    def join(self, other: "CpuRunning") -> None:
        """Take over lanes that have come as far; they stand behind its own."""
        count = sum(group.members.size for group in self.groups)
        waves, periods = _added(self._shared.waves, other._shared.waves)
        settled = max(self._shared.settled, other._shared.settled)
        self._shared = self._shared._replace(waves=waves, settled=settled)
        for theirs in other.groups:
            group = blocks.moved(theirs, count, periods)
            for k, ours in enumerate(self.groups):
                if whole := blocks.together(ours, group):
                    self.groups[k] = whole
                    break
            else:
                self.groups.append(group)

    def advance(
        self, hops: int, digest: Callable[[Emitted], Answer], keep: Keep = Keep.NONE
    ) -> list[Answer]:
        """Move all blocks on, all cores at work; see `Running`."""
        start, self.now = self.now, self.now + hops * self._shared.hop
        work = [(group, number) for group in self.groups for number in range(len(group.blocks))]

        def move(piece: tuple[blocks.Group, int]) -> Answer:
            return digest(self._moved(*piece, start, hops, keep))

        threads = self._machine.threads
        if threads == 1 or len(work) == 1:
            return [move(piece) for piece in work]
        with ThreadPoolExecutor(threads) as pool:
            return list(pool.map(move, work))

    def _moved(
        self, group: blocks.Group, number: int, start: int, hops: int, keep: Keep
    ) -> Emitted:
        """Move one block on."""
        shared = self._shared
        steps, looks = kept(shared, hops, keep)
        table, *others = group.blocks[number]
        lanes = table.shape[1]
        line, sung, levels = (np.zeros((hops, parts, lanes)) for parts in (2, 3, 3))
        # Where in the tubes a section is read now: it goes round once in its own steps.
        spots = folds.first_places(group.steps) + start % np.maximum(group.steps, 1)
        pressure, ticks = np.zeros((steps, lanes)), np.zeros((looks, lanes))
        tiles = np.zeros((rows.TILES, group.kind.far, lanes)), np.zeros(rows.AHEAD)
        self._machine.loop(group.kind, lanes)(
            *(table, None, *others, group.steps, spots),
            *(*tiles, shared.waves, shared.window, start, shared.settled),
            *(shared.tick, group.echoes, group.near, self._vent_rise, lanes),
            *(line, sung, levels, pressure, ticks),
        )
        members = group.members_of(number)
        own = slice(members.size)
        lines = line[..., own], sung[..., own]
        return Emitted(members, *lines, levels[..., own], pressure[:, own], ticks[:, own])


def _added(waves: Reals, more: Reals) -> tuple[Reals, Whole]:
    """Add sung periods to others; return all, none twice, and where those that came begin."""
    size = rows.TABLE + 1
    whole = list(waves.reshape(-1, size))
    begin = {period.tobytes(): k * size for k, period in enumerate(whole)}
    for period in more.reshape(-1, size):
        if period.tobytes() not in begin:
            begin[period.tobytes()] = len(whole) * size
            whole.append(period)
    places = [begin[period.tobytes()] for period in more.reshape(-1, size)]
    # Where nobody sings there is not even silence, which stands first.
    return np.concatenate([waves[:0], *whole]), np.array(places or [0], np.int64)


def kept(shared: Shared, hops: int, keep: Keep) -> tuple[int, int]:
    """Return of how many steps, and of how many ticks, the pressures are kept over some hops."""
    steps = hops * shared.hop if keep == Keep.STEPS else 0
    return steps, hops * shared.window.shape[1] if keep == Keep.TICKS else 0


CPU = CpuLanes()
"""The usual machine."""

WORTH_A_CARD = 4096
"""Fewer lanes leave a card idle for most of the time."""

ON = "auto", "cpu", "gpu"
"""Where lanes may be stepped."""


def machine(on: str, lanes: int) -> Executor:
    """Return the machine for some work.

    Parameters
    ----------
    on : str
        One of `ON`; ``auto`` takes a graphics card if there is one and the work is large.
    lanes : int
        How many there are to step in all.

    Returns
    -------
    Executor
        The machine.

    Raises
    ------
    ReedboreError
        If a card is asked for and there is none.
    """
    if on == "cpu" or (on == "auto" and lanes < WORTH_A_CARD):
        return CPU
    from reedbore.kernel import gpu  # noqa: PLC0415 - takes a moment to load

    why = gpu.missing()
    if why and on == "gpu":
        raise ReedboreError(f"--on gpu: {why}")
    return CPU if why else gpu.GpuLanes.for_this_card()
