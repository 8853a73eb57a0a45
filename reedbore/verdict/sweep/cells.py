"""The cells of a sweep, block by block: which there are, their setups, and what the judge says.

In: a sweep. Out: blocks, and an array for each variable of a block.
"""

import itertools
import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reedbore.errors import ModelError
from reedbore.model.setup import Setup
from reedbore.model.units import attribute_of
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
        cells = min(max(int(BLOCK_CELLS / sweep.seconds), LEAST_CELLS), BLOCK_CELLS)
    names = [axis.name for axis in sweep.axes]
    tubes = ("air.", "bore.", "mouthpiece.", "time.")
    shape = [1] * len(names)
    for place in sorted(range(len(names)), key=lambda place: names[place].startswith(tubes)):
        length = sweep.shape[place]
        share = min(length, max(cells, 1))
        shape[place] = math.ceil(length / math.ceil(length / share))
        cells //= shape[place]
    return tuple(shape)


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


def as_text(letters: NDArray[np.uint8]) -> str:
    """Read a reason back; a letter that was cut in two is left out."""
    return letters.tobytes().rstrip(b"\0").decode(errors="ignore")


def judge_block(
    sweep: Sweep, block: Block, judge: Judge, progress: Callable[[float], None] | None = None
) -> Values:
    """Judge all cells of a block.

    Parameters
    ----------
    sweep : Sweep
        What is swept.
    block : tuple of slice
        Which of its cells.
    judge : callable
        `many.judge_cells`.
    progress : callable, optional
        Is told the share that is done.

    Returns
    -------
    dict
        An array in the shape of the block for each of `VARIABLES`. Values that do not go together
        make a cell ``failed``, for the reason that one sentence tells.

    Raises
    ------
    ReedboreError
        If the sweep was begun with another version of reedbore.
    """
    check_model(sweep)
    values = [axis.values[part] for axis, part in zip(sweep.axes, block, strict=True)]
    shape = tuple(map(len, values))
    out = blank(VARIABLES, shape)
    by_rate: dict[float, list[tuple[tuple[int, ...], Setup]]] = {}
    for place, setup in zip(np.ndindex(shape), cells(sweep, values), strict=True):
        if setup is None:
            at = [along[number] for along, number in zip(values, place, strict=True)]
            out["state"][place] = State.FAILED.code
            out["reason"][place] = as_letters(_why_none(sweep, at))
        else:
            by_rate.setdefault(setup.time.rate, []).append((place, setup))
    for alike in by_rate.values():  # only setups of one rate can be stepped side by side
        places, setups = zip(*alike, strict=True)
        notes = [sweep.fingered.hz] * len(setups)
        found = judge(setups, notes, seconds=sweep.seconds, progress=progress)
        for place, one in zip(places, found, strict=True):
            kept = {**one._asdict(), "state": one.state.code, "reason": as_letters(one.reason)}
            for name, array in out.items():
                array[place] = kept[name]
    return out


def _why_none(sweep: Sweep, at: Sequence[float]) -> str:
    """Say why the values of a cell make no setup."""
    try:
        sweep.cell(at)
    except ModelError as error:
        return "; ".join(str(error).splitlines())
    raise AssertionError(at)
