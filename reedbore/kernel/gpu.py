"""Lanes on a graphics card: the same text as on the cores, a lane a thread.

A thread has the numbers of its lane in the memory that threads of a block share, the state of the
step in registers, and its columns of all else in the card's memory, where the lanes lie side by
side. Nothing of the step is written a second time: `lanes.move_lanes` is compiled for one lane,
with the rows that a kind of lanes uses and no others.
"""

import functools
import inspect
from collections.abc import Callable
from dataclasses import dataclass, replace
from types import ModuleType
from typing import Any, NamedTuple, TypeVar

import numba
import numba.cuda
import numpy as np
from numba import float64, int64
from numpy.typing import NDArray

from reedbore.errors import ReedboreError
from reedbore.kernel import rows
from reedbore.kernel.blocks import Columns, Whole, columns_of, line_steps
from reedbore.kernel.compiler import KEPT, assembled
from reedbore.kernel.executor import (
    COMPILING,
    CpuLanes,
    Emitted,
    Keep,
    Running,
    Shared,
    kept,
    usable_cores,
)
from reedbore.kernel.folds import SECTIONS
from reedbore.kernel.lanes import Kind, choices, move_lanes, name_of
from reedbore.kernel.numbers import Driven, vent_rise
from reedbore.kernel.rows import AHEAD

Answer = TypeVar("Answer")

cuda: Any = numba.cuda

_PART = {"device": True} | ({} if numba.config.ENABLE_CUDASIM else {"forceinline": True})  # type: ignore[attr-defined]

SHARED_BYTES = 48 * 1024
"""What every card gives the threads of a block to share."""

MOST_THREADS = 64
"""Threads of a block; so many keep their state in registers."""

LANE_BYTES = 120_000
"""About so much of the card's memory a lane takes, what it hands over included."""

WIDTHS = 1 << 10, 1 << 15
"""So many lanes at least, and at most, are started together: a step of few takes as long, and while
some are judged others are to be stepped."""

BATCHES = 12
"""So many batches of this width shall have room on the card."""

FEW = 512
"""Fewer lanes the cores step sooner: a card takes as long for one as for thousands."""

PROCESS_BYTES = 8 << 30
"""A process that drives a card takes about so much of its memory, and may have it."""

MOST_THREADS_HERE = 16
"""More threads would only wait for each other."""

HANDED_BYTES = 1 << 30
"""About so much is handed over at a time, for lanes that are looked at step by step."""

# Shapes of what a thread has of its own; `_threads` puts those of a kind in their place.
TABLE_SHAPE = 1, 1
STATE_SHAPE = 1, 1
REST_SHAPE = 1, 1
TILES_SHAPE = 1, 1, 1


def _thread(
    first: int,
    block: Any,
    places: Any,
    entering: Any,
    leaving: Any,
    onward: Any,
    frames: Any,
    voices: Any,
    tubes: Any,
    sung_frames: Any,
    steps: Any,
    waves: Any,
    window: Any,
    start: int,
    settled: int,
    tick: int,
    echoes: int,
    near: int,
    vent_rise: int,
    lines: Any,
    sung_lines: Any,
    levels: Any,
    record: Any,
    ticks: Any,
) -> None:
    """Step one lane on; the lanes of this launch begin with the first."""
    column = cuda.grid(1)
    if column >= lines.shape[2]:
        return
    lane, own = first + column, cuda.threadIdx.x
    table = cuda.shared.array(TABLE_SHAPE, float64)
    for k in range(TABLE_SHAPE[0]):
        table[k, own] = block[k, lane]
    state = cuda.local.array(STATE_SHAPE, float64)
    for k in range(STATE_SHAPE[0]):
        state[k, 0] = block[TABLE_SHAPE[0] + k, lane]
    rest = cuda.local.array(REST_SHAPE, float64)
    for k in range(rows.BREATH, rows.ECHO):
        rest[k, 0] = block[k, lane]
    for k in range(rows.DELAYED, rows.ROWS):
        rest[k, 0] = block[k, lane]
    spots = cuda.local.array(SECTIONS, int64)
    begin = 0
    for k in range(steps.size):
        spots[k] = begin + start % steps[k]
        begin += steps[k]
    after = lane + 1
    move_lanes(
        *(rest, (table[:, own : own + 1], state, block[rows.ECHO : rows.DELAYED, lane:after])),
        places[:, lane:after],
        *(entering[:, lane:after].T, leaving[:, lane:after].T, onward[:, lane:after].T),
        frames[:, lane:after],
        *(voices[:, lane:after], tubes[:, lane:after], sung_frames[:, lane:after], steps, spots),
        *(cuda.local.array(TILES_SHAPE, float64), cuda.local.array(AHEAD, float64)),
        *(waves, window, start, settled, tick, echoes, near, vent_rise, 1),
        *(lines[:, :, column : column + 1], sung_lines[:, :, column : column + 1]),
        *(levels[:, :, column : column + 1], record[:, column : column + 1]),
        ticks[:, column : column + 1],
    )
    for k in range(STATE_SHAPE[0]):
        block[TABLE_SHAPE[0] + k, lane] = state[k, 0]
    for k in range(rows.DELAYED, rows.ROWS):
        block[k, lane] = rest[k, 0]


def _kept_apart(_: Any, apart: Any) -> Any:
    """Return numbers, state and strengths, which stand in tables of their own."""
    return apart


class _Given(dict[str, Any]):
    """Names of a module, some of which keep what they were given."""

    def __init__(self, given: dict[str, int]) -> None:
        super().__init__()
        self.given = given

    def __setitem__(self, name: str, value: Any) -> None:
        super().__setitem__(name, self.given.get(name, value))


def rows_for(kind: Kind) -> ModuleType:
    """Return the module `rows` with none that a kind does not use."""
    given = {"PAIRS": kind.pairs}
    if not kind.vented:
        given |= {"UPPER_POLES": 0, "JUNCTIONS": 0}
    if not kind.coupled or kind.folds:
        given |= {"UPSTREAM_POLES": 0, "UPSTREAM_PAIRS": 0}
    names, packed = _Given(given), ModuleType(rows.__name__)
    exec(compile(inspect.getsource(rows), rows.__name__, "exec"), {}, names)  # our own text
    packed.__dict__.update(names)
    return packed


def places_of(packed: ModuleType) -> Whole:
    """Return where each row of a packed block stands in a whole one."""
    names = [name for name in vars(packed) if name.isupper()]
    found = []
    for first, end, before in (
        ("STIFF", "NUMBERS", 0),
        ("OPENING", "STATE", rows.NUMBERS),
        ("BREATH", "ROWS", 0),
    ):
        those = names[names.index(first) : names.index(end)]
        widths = np.diff([vars(packed)[name] for name in [*those, end]])
        for name, width in zip(those, widths, strict=True):
            found.append(before + vars(rows)[name] + np.arange(width))
    return np.concatenate(found)


class _Loop(NamedTuple):
    """What moves lanes of a kind on."""

    kernel: Any
    rows: Whole
    """Which rows of a block it has."""
    threads: int


def _loop_for(kind: Kind) -> _Loop:
    with COMPILING:
        return _made(kind)


@functools.cache
def _made(kind: Kind) -> _Loop:
    packed: Any = rows_for(kind)
    most = SHARED_BYTES // (8 * packed.NUMBERS)
    threads = 1 << (min(most, MOST_THREADS).bit_length() - 1)
    kernel = assembled(
        *(_thread, f"threads_{name_of(kind)}"),
        cuda.jit(cache=KEPT),
        cuda.jit(**_PART),
        **choices(kind),
        parts_of=_kept_apart,
        LANES=1,
        rows=packed,
        TABLE_SHAPE=(packed.NUMBERS, threads),
        STATE_SHAPE=(packed.STATE, 1),
        REST_SHAPE=(packed.ROWS, 1),
        TILES_SHAPE=(packed.TILES, kind.far, 1),
    )
    return _Loop(kernel, places_of(packed), threads)


def _gather(source: Any, which: Any, target: Any) -> None:
    """Copy some columns of a table."""
    column = cuda.grid(1)
    if column < which.size:
        for row in range(source.shape[0]):
            target[row, column] = source[row, which[column]]


_gathering = cuda.jit(_gather, cache=KEPT)


def _turn(source: Any, target: Any) -> None:
    """Copy a table, its columns as rows: what is read lane by lane then lies together."""
    column = cuda.grid(1)
    if column < target.shape[0]:
        for row in range(target.shape[1]):
            target[column, row] = source[row, column]


_turning = cuda.jit(_turn, cache=KEPT)


def _clear(target: Any) -> None:
    """Fill a table with zeros."""
    column = cuda.grid(1)
    if column < target.shape[1]:
        for row in range(target.shape[0]):
            target[row, column] = 0.0


_clearing = cuda.jit(_clear, cache=KEPT)


class _Group(NamedTuple):
    """Lanes of one kind on the card."""

    kind: Kind
    members: Whole
    tables: list[Any]
    """On the card: block, places, all delay lines, windows, voices, tubes, windows of these; the
    last axis is the lane."""
    steps: Any
    echoes: int
    near: int


@dataclass(frozen=True)
class GpuLanes:
    """A graphics card: an `Executor`.

    Batches that several threads start are stepped side by side, each in a stream of its own: so the
    card has work while some of them are judged, and is full though each has few lanes.

    Attributes
    ----------
    width, threads, processes : int
        As of an `Executor`; the card is full at some ten thousand lanes in all.
    few : int
        Fewer lanes are left to the cores.

    Raises
    ------
    ReedboreError
        If there is none.
    """

    width: int = WIDTHS[1]
    threads: int = 4
    processes: int = 1
    joins: bool = False
    few: int = 0

    def __post_init__(self) -> None:
        if why := missing():
            raise ReedboreError(why)

    @classmethod
    def for_this_card(cls) -> "GpuLanes":
        """Return the machine with as many lanes and threads as card and cores are good for."""
        threads = min(max(usable_cores(), 4), MOST_THREADS_HERE)
        least, most = WIDTHS
        free = cuda.current_context().get_memory_info()[0]
        width = int(min(max(free / (LANE_BYTES * BATCHES), least), most))
        processes = min(max(free // PROCESS_BYTES, 1), BATCHES)
        return cls(width, threads, processes, few=FEW)

    def shared(self, processes: int) -> "GpuLanes":
        """Return what each of so many processes is given; see `Executor`."""
        return replace(self, threads=max(self.threads // processes, 1))

    def start(self, lanes: Driven, shared: Shared) -> Running:
        """Set up lanes, at rest."""
        if len(lanes) < self.few:
            return CpuLanes(threads=self.threads).start(lanes, shared)
        return GpuRunning(lanes, shared)


def missing() -> str | None:
    """Say in one sentence why no card can be used; None if one can."""
    if cuda.is_available():
        return None
    return (
        "no graphics card can be used here (it takes an NVIDIA card, its driver, and "
        "pip install 'reedbore[gpu]')"
    )


class GpuRunning:
    """Lanes in the memory of a card."""

    def __init__(self, lanes: Driven, shared: Shared) -> None:
        self.now = 0
        self._shared = shared
        self._stream = cuda.stream()
        self._waves, self._window = (
            cuda.to_device(part, self._stream) for part in (shared.waves, shared.window)
        )
        self._vent_rise = vent_rise(lanes.numbers[0].rate)
        ages = shared.window.shape[0]
        self.groups = [
            _on_card(some, ages, self._stream) for some in columns_of(lanes, shared.tick)
        ]

    def keep(self, mask: NDArray[np.bool_]) -> None:
        """Drop lanes; see `Running`."""
        moved, groups = np.cumsum(mask) - 1, []
        for group in self.groups:
            stays = np.flatnonzero(mask[group.members])
            if stays.size:
                members, which = moved[group.members[stays]], cuda.to_device(stays, self._stream)
                for k, table in enumerate(group.tables):
                    group.tables[k] = _gathered(table, which, self._stream)
                groups.append(group._replace(members=members))
        self.groups = groups

    def advance(
        self, hops: int, digest: Callable[[Emitted], Answer], keep: Keep = Keep.NONE
    ) -> list[Answer]:
        """Move all lanes on; see `Running`."""
        start = self.now
        self.now += hops * self._shared.hop
        bytes_a_lane = 8 * (8 * hops + sum(kept(self._shared, hops, keep)))
        most = max(HANDED_BYTES // bytes_a_lane, MOST_THREADS)
        return [
            digest(self._moved(group, slice(first, first + most), start, hops, keep))
            for group in self.groups
            for first in range(0, group.members.size, most)
        ]

    def _moved(self, group: _Group, some: slice, start: int, hops: int, keep: Keep) -> Emitted:
        """Move some lanes of a group on."""
        shared, loop, members = self._shared, _loop_for(group.kind), group.members[some]
        stream, count = self._stream, members.size
        lines, sung, levels = (
            cuda.device_array((hops, parts, count), stream=stream) for parts in (2, 3, 3)
        )
        pressure, ticks = (
            cuda.device_array((length, count), stream=stream) for length in kept(shared, hops, keep)
        )
        loop.kernel[-(-count // loop.threads), loop.threads, stream](
            *(some.start, *group.tables, group.steps, self._waves, self._window),
            *(start, shared.settled, shared.tick, group.echoes, group.near, self._vent_rise),
            *(lines, sung, levels, pressure, ticks),
        )
        turned = [_turned(part, stream) for part in (pressure, ticks)]
        shown = [np.empty(part.shape) for part in (lines, sung, levels, *turned)]
        if not group.kind.folds:
            shown[1][:] = 0.0
        for part, here in zip((lines, sung, levels, *turned), shown, strict=True):
            if here.size and (part is not sung or group.kind.folds):
                part.copy_to_host(here, stream)
        stream.synchronize()
        line, swings, level, recorded, ticked = shown
        return Emitted(members, line, swings, level, recorded.T, ticked.T)


def _on_card(some: Columns, ages: int, stream: Any) -> _Group:
    """Put columns on the card, at rest."""
    kind, count = some.kind, some.members.size
    steps = line_steps(some.longest)
    still = [steps, *2 * (steps * kind.vented,), 2 * ages]
    singing = [2 * int(some.steps.sum()), 2 * ages * kind.folds]
    moving = [np.ascontiguousarray(some.table[_loop_for(kind).rows]), some.places]
    tables = [
        *(cuda.to_device(part, stream) for part in moving),
        *(_silent(length, count, stream) for length in still),
        cuda.to_device(some.voices, stream),
        *(_silent(length, count, stream) for length in singing),
    ]
    return _Group(
        kind, some.members, tables, cuda.to_device(some.steps, stream), some.echoes, some.near
    )


def _silent(length: int, count: int, stream: Any) -> Any:
    """Return a table of zeros on the card."""
    target = cuda.device_array((length, count), stream=stream)
    if length:
        _clearing[-(-count // 256), 256, stream](target)
    return target


def _turned(table: Any, stream: Any) -> Any:
    """Return a table on the card with its columns as rows."""
    target = cuda.device_array(table.shape[::-1], stream=stream)
    if table.shape[0]:
        _turning[-(-table.shape[1] // 256), 256, stream](table, target)
    return target


def _gathered(table: Any, which: Any, stream: Any) -> Any:
    """Return some columns of a table on the card."""
    target = cuda.device_array((table.shape[0], which.size), table.dtype, stream=stream)
    if table.shape[0]:
        _gathering[-(-which.size // 256), 256, stream](table, which, target)
    return target
