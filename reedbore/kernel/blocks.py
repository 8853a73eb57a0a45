"""Lanes as columns of tables, and the tables as blocks of lanes that are stepped together."""

from collections.abc import Iterable
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from reedbore.kernel import folds, rows
from reedbore.kernel.lanes import Kind
from reedbore.kernel.numbers import Driven, Numbers
from reedbore.kernel.rows import AHEAD, LANES

PAIR_COUNTS = 1, rows.ROW_PAIRS, rows.CHAMBER_PAIRS, rows.PAIRS
"""Pole pairs that there are loops for: a setup takes the next larger one."""

BATCHES = AHEAD, 4, 2, 1
"""How many steps may be looked up at once."""

ALONE = 5
"""So many lanes, or fewer, are stepped sooner one by one than as a block that is filled up."""

Reals = NDArray[np.float64]
Whole = NDArray[np.int64]


class Block(NamedTuple):
    """`LANES` lanes, or a single one: the tables of `lanes` and the delay lines."""

    table: Reals
    places: Whole
    entering: Reals
    """Shape (lanes, steps + AHEAD), the delay line of the reflection; steps is a power of two."""
    leaving: Reals
    """The same to the junction above a vent; empty without one."""
    onward: Reals
    """The same from there to the vent."""
    frames: Reals
    """Shape (2 ages, lanes), open windows: real parts, then imaginary parts."""
    voices: Reals
    """Singers, rows as in `folds`; without any, this and the two below are empty."""
    tubes: Reals
    """Shape (2 steps, lanes), the waves in their tubes."""
    sung_frames: Reals
    """As `frames`, of the line of the folds."""


LANE_AXES = 1, 1, 0, 0, 0, 1, 1, 1, 1
"""Along which axis of its tables the lanes of a block lie."""


class Group(NamedTuple):
    """Lanes of one kind."""

    kind: Kind
    members: Whole
    """Shape (m,), their places in the batch."""
    blocks: list[Block]
    """In this order; the last block may be filled up with copies of its last lane."""
    echoes: int
    """Early ones in use that come from afar."""
    near: int
    """The same that come sooner."""
    steps: Whole
    """Shape (k,), of delay in each section of the tubes."""
    alone: int
    """So many lanes left over, or fewer, have a block each."""

    def members_of(self, number: int) -> Whole:
        """Return which lanes of the batch stand in a block."""
        begin = sum(block.table.shape[1] for block in self.blocks[:number])
        return self.members[begin : begin + self.blocks[number].table.shape[1]]


class Columns(NamedTuple):
    """Lanes of one kind, at rest, as columns of tables."""

    kind: Kind
    members: Whole
    """Shape (m,), their places in the batch."""
    table: Reals
    """Shape (ROWS, m)."""
    places: Whole
    """Shape (PLACES, m)."""
    voices: Reals
    """Shape (ROWS of `folds`, m); no rows without singers."""
    steps: Whole
    """Shape (k,), of delay in each section of the tubes."""

    @property
    def longest(self) -> int:
        """Steps of the longest delay."""
        return int(np.delete(self.places, rows.PERIOD, axis=0).max())

    @property
    def echoes(self) -> int:
        """Early echoes in use that come from afar."""
        return int(np.count_nonzero(self.table[rows.ECHO : rows.NEAR_ECHO].any(axis=1)))

    @property
    def near(self) -> int:
        """The same that come sooner."""
        return int(np.count_nonzero(self.table[rows.NEAR_ECHO : rows.DELAYED].any(axis=1)))


def columns_of(lanes: Driven, tick: int) -> list[Columns]:
    """Put lanes, at rest, into the columns of their kinds.

    Parameters
    ----------
    lanes : Driven
        All of the same rate.
    tick : int
        How often the pressure is looked at. [steps]

    Returns
    -------
    list of Columns
        Of all kinds among them.
    """
    differing = len(lanes.numbers)
    table = np.zeros((rows.ROWS, differing))
    places = np.zeros((rows.PLACES, differing), np.int64)
    for k, numbers in enumerate(lanes.numbers):
        _fill(table[:, k], places[:, k], numbers)
    found: list[Columns] = []
    for (kind, tube), some in _by_kind(lanes, tick).items():
        own, places_own = table[:, lanes.which[some]], places[:, lanes.which[some]]
        for row, name in _DRIVEN.items():
            own[row] = getattr(lanes, name)[some]
        places_own[rows.PERIOD] = lanes.period[some]
        voices = np.zeros((folds.ROWS * kind.folds, some.size))
        for column, lane in enumerate(some if kind.folds else ()):
            singer = lanes.singers[lane]
            assert singer is not None
            _fill_voice(voices[:, column], singer)
        found.append(Columns(kind, some, own, places_own, voices, np.array(tube, np.int64)))
    return found


_DRIVEN = {
    rows.BREATH: "breath",
    rows.RISE: "rise",
    rows.DEPTH: "depth",
    rows.FADE_IN: "fade",
    rows.SUNG_TURN: "sung_turn",
    rows.CLOCK_TURN: "clock_turn",
}
"""Rows of a block that say what is blown and sung, and where `Driven` has them."""


def _by_kind(lanes: Driven, tick: int) -> dict[tuple[Kind, tuple[int, ...]], Whole]:
    """Find the lanes of each kind, in order; those of folds have tubes of equal steps too."""
    tubes: list[tuple[int, ...]] = [
        tuple(singer.folds.steps.tolist()) if singer else () for singer in lanes.singers
    ]
    known: dict[tuple[Kind, tuple[int, ...]], int] = {}
    if tubes:
        those = zip((lanes.numbers[k] for k in lanes.which), tubes, strict=True)
        kinds = [(kind_of(numbers, tick, bool(tube)), tube) for numbers, tube in those]
        number = np.array([known.setdefault(kind, len(known)) for kind in kinds], np.int64)
    else:
        kinds = [(kind_of(numbers, tick, singing=False), ()) for numbers in lanes.numbers]
        number = np.array([known.setdefault(kind, len(known)) for kind in kinds], np.int64)
        number = number[lanes.which]
    return {kind: np.flatnonzero(number == k) for kind, k in known.items()}


def grouped(lanes: Driven, tick: int, ages: int, alone: int) -> list[Group]:
    """Put lanes, at rest, into blocks of their kinds.

    Parameters
    ----------
    lanes, tick
        As for `columns_of`.
    ages : int
        Windows open at a time.
    alone : int
        So many lanes left over, or fewer, have a block each.

    Returns
    -------
    list of Group
        Of all kinds among them.
    """
    return [_group(some, ages, alone) for some in columns_of(lanes, tick)]


def line_steps(longest: int) -> int:
    """Return the steps of a delay line that holds a delay: a power of two, and some ahead."""
    return (1 << longest.bit_length()) + AHEAD


def kind_of(numbers: Numbers, tick: int, singing: bool) -> Kind:
    """Return which loop a setup needs.

    Its pressure is looked at so often [steps]; folds may be singing in the mouth.
    """
    pairs = next(count for count in PAIR_COUNTS if count >= numbers.pairs)
    shortest = min([*numbers.firsts, *numbers.places])
    far = next(steps for steps in BATCHES if tick % steps == 0 and numbers.taps.first >= steps)
    batch = next(steps for steps in BATCHES if far % steps == 0 and shortest >= steps)
    lines = numbers.upper is not None, numbers.coupled, singing
    return Kind(numbers.valve, *lines, pairs, far, batch)


def _fill(table: Reals, places: Whole, numbers: Numbers) -> None:
    """Write a setup, at rest, into its columns, which are filled with zeros."""
    upper, tube = numbers.upper or numbers.taps, numbers.tube or numbers.taps
    near = int(np.count_nonzero(numbers.places < AHEAD))
    far = numbers.echoes.size - near
    state = table[rows.NUMBERS : rows.BREATH]
    table[: rows.NUMBERS] = numbers.table
    state[rows.OPENING] = state[rows.BEFORE] = numbers.opening
    table[rows.VENT_OPENS] = numbers.vent_begins
    table[rows.TAP : rows.UPPER_TAP] = numbers.taps.weights
    table[rows.UPPER_TAP : rows.TUBE_TAP] = upper.weights
    table[rows.TUBE_TAP : rows.ECHO] = tube.weights
    table[rows.ECHO : rows.ECHO + far] = numbers.echoes[:far]
    table[rows.NEAR_ECHO : rows.NEAR_ECHO + near] = numbers.echoes[far:]
    table[rows.SANE] = 1.0
    places[rows.FIRST], places[rows.UPPER_FIRST] = numbers.taps.first, upper.first
    places[rows.TUBE_FIRST] = tube.first
    places[rows.ECHO_PLACE :] = numbers.taps.first
    places[rows.ECHO_PLACE : rows.ECHO_PLACE + far] = numbers.places[:far]
    places[rows.NEAR_PLACE : rows.NEAR_PLACE + near] = numbers.places[far:]


def _fill_voice(table: Reals, singer: folds.Steady) -> None:
    """Write a singer, at rest, into its column, which is filled with zeros."""
    state = table[folds.NUMBERS : folds.TENSE]
    table[: folds.NUMBERS] = singer.folds.table
    state[folds.HALF_GAP], state[folds.LUNGS] = singer.folds.half_gap, singer.folds.lungs
    table[folds.TENSE], table[folds.HELD] = singer.tension, singer.hold
    table[folds.CLOCK_TURN] = singer.clock_turn


def _group(some: Columns, ages: int, alone: int) -> Group:
    """Make blocks of columns."""
    kind, steps, count = some.kind, line_steps(some.longest), some.members.size
    above = steps if kind.vented else 0
    lines = [np.zeros((count, length)) for length in (steps, above, above)]
    sung = 2 * ages if kind.folds else 0
    singers = some.voices, np.zeros((2 * int(some.steps.sum()), count))
    frames = np.zeros((2 * ages, count)), *singers, np.zeros((sung, count))
    blocks = _split((some.table, some.places, *lines, *frames), alone)
    return Group(kind, some.members, blocks, some.echoes, some.near, some.steps, alone)


def together(one: Group, other: Group) -> Group | None:
    """Return the lanes of two groups as one; None if they are not stepped alike."""
    alike = one.kind == other.kind and (one.echoes, one.near) == (other.echoes, other.near)
    if not (alike and np.array_equal(one.steps, other.steps)):
        return None
    if one.blocks[0].entering.shape[1] != other.blocks[0].entering.shape[1]:
        return None
    parts = zip(_tables(one), _tables(other), LANE_AXES, strict=True)
    members = np.concatenate((one.members, other.members))
    tables = [np.concatenate((ours, theirs), axis) for ours, theirs, axis in parts]
    return one._replace(members=members, blocks=_split(tables, one.alone))


def moved(some: Group, by: int, periods: Whole) -> Group:
    """Return a group whose lanes stand so much later in their batch.

    Their sung periods begin elsewhere, too: one that was the kth now begins at `periods[k]`.
    """

    def placed(block: Block) -> Block:
        places = block.places.copy()
        places[rows.PERIOD] = periods[places[rows.PERIOD] // (rows.TABLE + 1)]
        return block._replace(places=places)

    return some._replace(members=some.members + by, blocks=[*map(placed, some.blocks)])


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
    tables = zip(_tables(some), LANE_AXES, strict=True)
    blocks = _split([table.take(stays, axis) for table, axis in tables], some.alone)
    return some._replace(members=places[some.members[stays]], blocks=blocks)


def _tables(some: Group) -> list[NDArray[Any]]:
    """Return the tables of all lanes of a group, without what its last block is filled up with."""
    own = slice(some.members.size)
    return [
        np.concatenate(parts, axis)[(slice(None), own) if axis else own]
        for axis, parts in zip(LANE_AXES, zip(*some.blocks, strict=True), strict=True)
    ]


def _split(tables: Iterable[NDArray[Any]], alone: int) -> list[Block]:
    """Cut the tables of many lanes into blocks; the last few lanes stand alone."""
    whole = list(zip(tables, LANE_AXES, strict=True))
    count = whole[0][0].shape[1]
    blocks, rest = divmod(count, LANES)
    widths = [LANES] * blocks + ([1] * rest if rest <= alone else [LANES])
    ends = np.cumsum(widths)
    filled = np.minimum(np.arange(ends[-1]), count - 1)
    return [
        Block(*(np.ascontiguousarray(table.take(lanes, axis)) for table, axis in whole))
        for lanes in np.split(filled, ends[:-1])
    ]
