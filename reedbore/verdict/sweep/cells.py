"""The cells of a sweep, block by block: which there are, their setups, and what the judge says.

In: a sweep. Out: blocks, and an array for each variable of a block.
"""

import itertools
import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from reedbore.errors import ModelError
from reedbore.model.setup import Setup
from reedbore.model.units import attribute_of
from reedbore.simulate.many import Setups
from reedbore.verdict.state import State
from reedbore.verdict.sweep.plan import (
    REASON_BYTES,
    SUNG,
    VARIABLES,
    VOICE,
    Sweep,
    Variable,
    check_model,
)

if TYPE_CHECKING:
    from reedbore.verdict.cells import Cell

BLOCK_CELLS = 2048
"""Cells of a second each that are judged at one go and kept together: some seconds of work."""

OPEN_CELLS = 512
"""The same for cells that run until they are decided."""

LEAST_CELLS = 128
"""So few still keep all cores of a small machine busy."""

MOST_BLOCKS = 64
"""In more blocks than about this no large sweep of a second each is kept: writing costs too."""

TUBES = "air.", "bore.", "mouthpiece.", "time."
"""Settings that make another bore begin so."""

Block = tuple[slice, ...]
Values = dict[str, NDArray[Any]]
Judge = Callable[..., Sequence["Cell"]]


def block_shape(sweep: Sweep) -> tuple[int, ...]:
    """Choose how many cells along each axis are judged at one go.

    Parameters
    ----------
    sweep : Sweep
        What is swept.

    Returns
    -------
    tuple of int
        Axes that leave the bore alone come first, so that a block has few different bores.
    """
    cells = OPEN_CELLS
    if sweep.seconds is not None:
        most = max(BLOCK_CELLS, math.prod(sweep.shape) // MOST_BLOCKS)
        cells = min(max(int(most / sweep.seconds), LEAST_CELLS), most)
    names = [axis.name for axis in sweep.axes]
    shape = [1] * len(names)
    for place in sorted(range(len(names)), key=lambda place: names[place].startswith(TUBES)):
        length = sweep.shape[place]
        share = min(length, max(cells, 1))
        shape[place] = math.ceil(length / math.ceil(length / share))
        cells //= shape[place]
    return tuple(shape)


def count_bores(sweep: Sweep) -> int:
    """Return how many different bores a sweep has."""
    return math.prod(len(axis.values) for axis in sweep.axes if axis.name.startswith(TUBES))


def blocks(shape: Sequence[int], block: Sequence[int]) -> Iterator[tuple[tuple[int, ...], Block]]:
    """List the blocks of a grid.

    Parameters
    ----------
    shape, block : sequence of int
        Cells along each axis, in all and in a block.

    Yields
    ------
    place : tuple of int
        Number of the block along each axis.
    cells : tuple of slice
        What it holds.
    """
    counts = (range(-(-length // step)) for length, step in zip(shape, block, strict=True))
    for place in itertools.product(*counts):
        yield (
            place,
            tuple(
                slice(number * step, min((number + 1) * step, length))
                for number, step, length in zip(place, block, shape, strict=True)
            ),
        )


def cells(sweep: Sweep, values: Sequence[Sequence[float]]) -> Iterator[Setup | None]:
    """Make the setups of many cells, faster than one by one.

    Parameters
    ----------
    sweep : Sweep
        What is swept.
    values : sequence of sequence of float
        Those of each axis that are wanted.

    Yields
    ------
    Setup or None
        The same as of `Sweep.cell`, the last axis running fastest; None if it has none.
    """
    # A number of a bore has to suit the others, any other number stands by itself.
    in_bore = [axis.name.startswith("bore.") for axis in sweep.axes]
    known = [
        [] if bore else [_changed(sweep, place, value) for value in values[place]]
        for place, bore in enumerate(in_bore)
    ]
    tubes: dict[tuple[float | None, ...], Setup | None] = {}
    for place in itertools.product(*map(range, map(len, values))):
        at = [values[k][number] if in_bore[k] else None for k, number in enumerate(place)]
        if tuple(at) not in tubes:
            tubes.clear()
            tubes[tuple(at)] = _cell_or_none(sweep, at)
        base = tubes[tuple(at)]
        changes: dict[str, dict[str, float]] = {}
        for k, number in enumerate(place):
            if not in_bore[k]:
                part, attribute, value = known[k][number]
                changes.setdefault(part, {})[attribute] = value
        yield base and base.model_copy(update={
            part: getattr(base, part).model_copy(update=change) for part, change in changes.items()
        })  # fmt: skip


def setups_of(sweep: Sweep, values: Sequence[Sequence[float]]) -> tuple[Setups, NDArray[np.bool_]]:
    """Make the same as columns: a setup for all cells that differ in the sung note only.

    Parameters
    ----------
    sweep, values
        As for `cells`.

    Returns
    -------
    setups : Setups
        Of the cells that have one.
    there : ndarray, shape (cells,)
        Which cells these are, the last axis running fastest.
    """
    place = next((k for k, axis in enumerate(sweep.axes) if axis is sweep.sung_axis), None)
    if place is None or sweep.setup.voice.drive == "folds":
        found = list(cells(sweep, values))
        there = np.array([setup is not None for setup in found], np.bool_)
        return Setups.of([setup for setup in found if setup is not None]), there
    notes = [sweep.sung_hz(value) for value in values[place]]
    some = [given if k != place else given[:1] for k, given in enumerate(values)]
    bases = list(cells(sweep, some))
    shape = tuple(map(len, values))
    sung = np.expand_dims(np.array(notes), tuple(k for k in range(len(shape)) if k != place))
    number = np.arange(len(bases)).reshape(tuple(map(len, some)))
    which, hz = (np.broadcast_to(column, shape).reshape(-1) for column in (number, sung))
    has = np.array([base is not None for base in bases], np.bool_)
    there = has[which]
    known = [base for base in bases if base is not None]
    return Setups(known, (np.cumsum(has) - 1)[which[there]], hz[there]), there


def _changed(sweep: Sweep, place: int, value: float) -> tuple[str, str, float]:
    """Say which attribute of which part a value along an axis changes, and to what."""
    at = [value if k == place else None for k in range(len(sweep.axes))]
    name = VOICE if sweep.axes[place].name == SUNG else sweep.axes[place].name
    part, attribute = name.split(".")[0], attribute_of(name)
    return part, attribute, getattr(getattr(sweep.cell(at), part), attribute)


def _cell_or_none(sweep: Sweep, at: Sequence[float | None]) -> Setup | None:
    try:
        return sweep.cell(at)
    except ModelError:
        return None


def blank(variables: Mapping[str, Variable], shape: tuple[int, ...]) -> Values:
    """Make an array for each variable of a table in which nothing is known yet.

    Parameters
    ----------
    variables : mapping
        From `plan`.
    shape : tuple of int
        Cells along each axis.

    Returns
    -------
    dict
        Array by variable, in that shape; text has a last dimension of its own.
    """
    return {
        name: np.full((*shape, *([kept.letters] if kept.letters else [])), kept.fill, kept.dtype)
        for name, kept in variables.items()
    }


def as_letters(text: str | None) -> NDArray[np.uint8]:
    """Write a reason as a row of `REASON_BYTES` bytes."""
    code = (text or "").encode()[:REASON_BYTES]
    return np.frombuffer(code.ljust(REASON_BYTES, b"\0"), np.uint8)


def all_letters(texts: NDArray[np.object_]) -> NDArray[np.uint8]:
    """Write reasons as rows of bytes; most are the same few."""
    known: dict[str | None, int] = {}
    which = [known.setdefault(text, len(known)) for text in texts.tolist()]
    return np.stack([as_letters(text) for text in known])[which]


def as_text(letters: NDArray[np.uint8]) -> str:
    """Read a reason back; a letter that was cut in two is left out."""
    return letters.tobytes().rstrip(b"\0").decode(errors="ignore")


def judge_block(
    sweep: Sweep, block: Block, judge: Judge, progress: Callable[[float], None] | None = None
) -> Values:
    """Judge all cells of a block; as `judge_blocks`."""
    return judge_blocks(sweep, [block], judge, progress)[0]


def judge_blocks(
    sweep: Sweep,
    some: Sequence[Block],
    judge: Judge,
    progress: Callable[[float], None] | None = None,
) -> list[Values]:
    """Judge all cells of some blocks, side by side.

    Parameters
    ----------
    sweep : Sweep
        What is swept.
    some : sequence of tuple of slice
        Which of its cells, block by block.
    judge : callable
        `cells.judge_all`.
    progress : callable, optional
        Is told the share that is done.

    Returns
    -------
    list of dict
        Of each block, an array in its shape for each of `VARIABLES`. Values that do not go together
        make a cell ``failed``, for the reason that one sentence tells.

    Raises
    ------
    ReedboreError
        If the sweep was begun with another version of reedbore.
    """
    from reedbore.verdict.cells import Cells  # noqa: PLC0415 - reading a store needs no judge

    check_model(sweep)
    made = [_prepared(sweep, block) for block in some]
    setups = Setups.joined([part.setups for part in made])
    rates = setups.each(lambda one: one.time.rate)
    columns: dict[str, NDArray[Any]] = {}
    for rate in dict.fromkeys(rates.tolist()):  # those of one rate can be stepped side by side
        alike = np.flatnonzero(rates == rate)
        notes = np.full(alike.size, sweep.fingered.hz)
        given = judge(setups.at(alike), notes, seconds=sweep.seconds, progress=progress)
        found = Cells.of(given)
        for name, kept in VARIABLES.items():
            column = all_letters(found.reason) if name == "reason" else getattr(found, name)
            shape = (len(setups), *column.shape[1:])
            columns.setdefault(name, np.zeros(shape, kept.dtype))[alike] = column
    ends = np.cumsum([len(part.setups) for part in made])
    for part, end in zip(made, ends.tolist(), strict=True):
        own = slice(end - len(part.setups), end)
        for name, column in columns.items():
            rows = part.out[name].reshape(part.there.size, -1)
            rows[part.there] = column[own].reshape(len(part.setups), -1)
    return [part.out for part in made]


class _Prepared(NamedTuple):
    """A block before it is judged."""

    out: Values
    """In which is told already which cells have no setup."""
    setups: Setups
    there: NDArray[np.bool_]
    """Shape (cells,), which cells have one."""


def _prepared(sweep: Sweep, block: Block) -> _Prepared:
    values = [axis.values[part] for axis, part in zip(sweep.axes, block, strict=True)]
    shape = tuple(map(len, values))
    out = blank(VARIABLES, shape)
    setups, there = setups_of(sweep, values)
    for cell in np.flatnonzero(~there).tolist():
        place = tuple(int(number) for number in np.unravel_index(cell, shape))
        at = [along[number] for along, number in zip(values, place, strict=True)]
        out["state"][place] = State.FAILED.code
        out["reason"][place] = as_letters(_why_none(sweep, at))
    return _Prepared(out, setups, there)


def _why_none(sweep: Sweep, at: Sequence[float]) -> str:
    """Say why the values of a cell make no setup."""
    try:
        sweep.cell(at)
    except ModelError as error:
        return "; ".join(str(error).splitlines())
    raise AssertionError(at)
