"""Setups as columns of tables, and the tables as blocks of lanes that are stepped together."""

import functools
from collections.abc import Iterable, Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from reedbore.kernel import step
from reedbore.kernel.compiler import compiled, compiled_part
from reedbore.kernel.lanes import (
    AHEAD,
    BREATH,
    DEPTH,
    ECHO,
    ECHO_PLACE,
    FADE_IN,
    FIRST,
    HEARD,
    LANES,
    RISE,
    SANE,
    STATE,
    TAP,
    VENT_OPENS,
    WAVE,
    WAY_FIRST,
    WAY_TAP,
    make_lanes,
)
from reedbore.kernel.single import vent_opens
from reedbore.model.setup import Setup
from reedbore.simulate import mouth
from reedbore.simulate.acoustics.numbers import Numbers

PAIR_COUNTS = 1, 8, 18
"""Pole pairs that there are loops for: a setup takes the next larger one."""

Reals = NDArray[np.float64]
Whole = NDArray[np.int64]
Kind = tuple[bool, bool, bool, int, int]
"""Whether without mass, with a vent, with a coupled mouth; pole pairs, steps looked up at once."""

BATCHES = AHEAD, 4, 2, 1
"""How many steps may be looked up at once."""


class Block(NamedTuple):
    """`LANES` lanes: the tables of `lane_loop` and the delay lines."""

    table: Reals
    places: Whole
    entering: Reals
    """Shape (LANES, steps + AHEAD), the delay line of the reflection; steps is a power of two."""
    leaving: Reals
    """The same to the vent; empty without one."""
    frames: Reals
    """Shape (2 ages, LANES), open windows: real parts, then imaginary parts."""


LANE_AXES = 1, 1, 0, 0, 1
"""Along which axis of its tables the lanes of a block lie."""


class Group(NamedTuple):
    """Lanes of one kind."""

    kind: Kind
    members: Whole
    """Shape (m,), their places in the batch."""
    blocks: list[Block]
    """In this order; the last block is filled up with copies of its last lane."""
    echoes: int


def waves(setups: Sequence[Setup], sung_hz: Reals, rate: float) -> tuple[Whole, Reals]:
    """Make the periods that a batch sings.

    Parameters
    ----------
    setups : sequence of Setup
        Their voices count.
    sung_hz : ndarray, shape (lanes,)
        What is sung. [Hz]
    rate : float
        Steps per second. [Hz]

    Returns
    -------
    which : ndarray, shape (lanes,)
        Where that of each lane begins.
    periods : ndarray, shape (k (TABLE + 1),)
        One after the other, silence first; none at all if nobody sings.
    """
    known: dict[mouth.Key, int] = {}
    which = np.zeros(len(setups), np.int64)
    for lane, (setup, hz) in enumerate(zip(setups, sung_hz, strict=True)):
        voice = setup.voice
        if voice.source != "off":
            key = mouth.key(setup, hz)
            which[lane] = known.setdefault(key, len(known) + 1) * (mouth.TABLE + 1)
    silence = np.zeros(mouth.TABLE + 1 if known else 0)
    return which, np.concatenate([silence, *(mouth.period(*key) for key in known)])


def kind_of(numbers: Numbers, tick: int) -> Kind:
    """Return which loop a setup needs, if the pressure is looked at so often [steps]."""
    pairs = next(count for count in PAIR_COUNTS if count >= numbers.pairs)
    way = numbers.way or numbers.taps
    shortest = min(numbers.taps.first, way.first, *numbers.places)
    batch = next(steps for steps in BATCHES if tick % steps == 0 and shortest >= steps)
    return numbers.massless, numbers.way is not None, numbers.coupled, pairs, batch


def fill(table: Reals, places: Whole, setup: Setup, numbers: Numbers) -> None:
    """Write a setup, at rest, into its columns; its frequencies and its period are not known here.

    Parameters
    ----------
    table, places : ndarray, shapes (ROWS,) and (PLACES,)
        Columns, filled with zeros.
    setup : Setup
        What to step.
    numbers : Numbers
        The same as numbers.
    """
    rate, way, early = numbers.rate, numbers.way or numbers.taps, numbers.echoes.size
    table[:STATE] = numbers.table
    table[STATE + step.OPENING] = numbers.opening
    table[STATE + step.BEFORE] = numbers.opening
    table[BREATH] = setup.breath.pressure
    table[RISE] = setup.breath.rise * rate
    table[DEPTH] = mouth.depth(setup)
    table[FADE_IN] = setup.voice.fade * rate
    table[VENT_OPENS] = vent_opens(numbers)
    table[TAP : TAP + 4] = numbers.taps.weights
    table[WAY_TAP : WAY_TAP + 4] = way.weights
    table[ECHO : ECHO + early] = numbers.echoes
    table[SANE] = 1.0
    places[FIRST], places[WAY_FIRST] = numbers.taps.first, way.first
    places[ECHO_PLACE:] = numbers.taps.first
    places[ECHO_PLACE : ECHO_PLACE + early] = numbers.places


def group(kind: Kind, members: Whole, columns: Reals, places: Whole, ages: int) -> Group:
    """Make blocks, at rest, of some columns.

    Parameters
    ----------
    kind : tuple
        Theirs.
    members : ndarray, shape (m,)
        Which columns.
    columns, places : ndarray, shapes (ROWS, lanes) and (PLACES, lanes)
        Of the whole batch.
    ages : int
        Windows open at a time.

    Returns
    -------
    Group
        The lanes in blocks.
    """
    own, far = columns[:, members], places[:, members]
    delays = np.delete(far, WAVE, axis=0)
    steps, count = (1 << int(delays.max()).bit_length()) + AHEAD, members.size
    lines = np.zeros((count, steps)), np.zeros((count, steps if kind[1] else 0))
    echoes = np.count_nonzero(own[ECHO:HEARD].any(axis=1))
    blocks = _split((own, far, *lines, np.zeros((2 * ages, count))))
    return Group(kind, members, blocks, int(echoes))


def kept(some: Group, mask: NDArray[np.bool_], places: Whole) -> Group | None:
    """Return a group without some of its lanes.

    Parameters
    ----------
    some : Group
        The lanes as they are.
    mask : ndarray, shape (lanes,)
        Which lanes of the batch stay.
    places : ndarray, shape (lanes,)
        Where each then stands.

    Returns
    -------
    Group or None
        None if no lane is left.
    """
    stays = np.flatnonzero(mask[some.members])
    if not stays.size:
        return None
    tables = [
        np.concatenate(parts, axis).take(stays, axis)
        for axis, parts in zip(LANE_AXES, zip(*some.blocks, strict=True), strict=True)
    ]
    return some._replace(members=places[some.members[stays]], blocks=_split(tables))


def _split(tables: Iterable[NDArray[Any]]) -> list[Block]:
    """Cut the tables of many lanes into blocks."""
    whole = list(zip(tables, LANE_AXES, strict=True))
    count = whole[0][0].shape[1]
    filled = np.minimum(np.arange(-(-count // LANES) * LANES), count - 1)
    return [
        Block(*(np.ascontiguousarray(table.take(lanes, axis)) for table, axis in whole))
        for lanes in filled.reshape(-1, LANES)
    ]


@functools.cache
def compiled_loop(kind: Kind) -> Any:
    """Return the loop for lanes of a kind."""
    return make_lanes(compiled, *kind, compile_parts=compiled_part)
