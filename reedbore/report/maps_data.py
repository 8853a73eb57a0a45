"""What a lock map shows: a sweep read as a whole, where its locks end, and where to aim.

In: the store of a sweep. Out: arrays with the axes of the sweep, and for each ratio the place where
its lock is widest. Sung notes are in cents from the fingered one throughout.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from reedbore.notes import cents
from reedbore.verdict.state import EdgeState, State
from reedbore.verdict.sweep import store, table
from reedbore.verdict.sweep.plan import (
    EDGES,
    MARKS,
    REASONS,
    SUNG,
    VOICE,
    Axis,
    Sweep,
)

ALWAYS = "state", "p", "q"
"""What every map shows of its cells."""

Slice = tuple[int, int] | None
"""Which axis is held, and at which of its values; None for the whole sweep."""


class Edges(NamedTuple):
    """Lock ranges found beside the grid; arrays of shape (axes but the sung one, ratios)."""

    ratios: tuple[tuple[int, int], ...]
    state: NDArray[np.int8]
    low: NDArray[np.float64]
    """From the fingered note, as `high`; nan where there is no lock. [cents]"""
    high: NDArray[np.float64]
    perhaps: NDArray[np.float64]
    """Where there may be a lock that is too narrow to be sure of; else nan. [cents]"""
    narrowest: float
    """Locks narrower than this are not told from none. [cents]"""


class Aim(NamedTuple):
    """Where a ratio is held most easily."""

    ratio: tuple[int, int]
    place: tuple[int, ...]
    """The nearest cell, by axes of the sweep."""
    low: float
    """Lowest and highest sung note that locks there, from the fingered one. [cents]"""
    high: float
    sung_hz: float
    """The middle, of what is sung or aimed at."""
    exact: bool
    """Whether the ends are edges that were searched for, or only those of cells."""
    third_hz: float
    """The common fundamental. [Hz]"""

    @property
    def middle(self) -> float:
        """The note to sing, from the fingered one. [cents]."""
        return 0.5 * (self.low + self.high)


@dataclass(frozen=True, kw_only=True)
class LockMap:
    """A sweep and all that was found in it.

    Attributes
    ----------
    name : str
        Of the store.
    sweep : Sweep
        What was swept.
    values : dict
        Array of the sweep's shape by variable.
    edges : Edges or None
        Where locks end along the sung axis, if that was looked for.
    failures : mapping of str to int
        How many cells failed, by the reason.
    edge_failures : mapping of str to int
        At how many ratios the search for edges failed, by the reason.
    """

    name: str
    sweep: Sweep
    values: dict[str, NDArray[Any]]
    edges: Edges | None
    failures: Mapping[str, int]
    edge_failures: Mapping[str, int]

    @property
    def sung_place(self) -> int | None:
        """Which axis is the sung note, if one is."""
        axis = self.sweep.sung_axis
        return None if axis is None else self.sweep.axes.index(axis)

    def state_names(self) -> NDArray[Any]:
        """Name the state of every cell."""
        known = State.by_code()
        names = np.array(known, dtype=object)
        return names[self.values["state"] - known[0].code]

    def locked(self, ratio: tuple[int, int]) -> NDArray[np.bool_]:
        """Tell which cells are locked at a ratio."""
        values = self.values
        at_ratio = (values["p"] == ratio[0]) & (values["q"] == ratio[1])
        return np.asarray(at_ratio & (values["state"] == State.LOCKED.code), np.bool_)


class _Values(dict[str, NDArray[Any]]):
    """Variables of the cells, each read when it is first asked for.

    What a picture always shows is read at once: a sweep may be running meanwhile.
    """

    def __init__(self, path: Path) -> None:
        super().__init__(table.read_values(path, "cells", ALWAYS))
        self._path = path

    def __missing__(self, name: str) -> NDArray[Any]:
        self[name] = table.read_values(self._path, "cells", [name])[name]
        return self[name]


def read(path: Path) -> LockMap:
    """Read a sweep as far as it has been run.

    Parameters
    ----------
    path : Path
        The store.

    Returns
    -------
    LockMap
        States and ratios, 3 bytes a cell; other variables are read when they are asked for.

    Raises
    ------
    ReedboreError
        If there is no sweep.
    """
    sweep = store.read_sweep(path)
    return LockMap(
        name=path.name,
        sweep=sweep,
        values=_Values(path),
        edges=_edges(path, sweep),
        failures=table.failures(path),
        edge_failures=table.failures(path, "edges"),
    )


def _edges(path: Path, sweep: Sweep) -> Edges | None:
    mark = MARKS["edges"]
    plan = table.edge_plan(path)
    if plan is None:
        return None
    found = table.read_values(path, "edges", [name for name in EDGES if name != REASONS["edges"]])
    just = 1200.0 * np.log2(found["edge_just_hz"] / sweep.fingered.hz)
    lock, narrow = (found[mark] == which.code for which in (EdgeState.LOCK, EdgeState.NARROW))
    low, high = (just + found[f"edge_{side}_cents"] for side in ("low", "high"))
    assert sweep.sung_axis is not None
    first, last = borders(axis_values(sweep, sweep.sung_axis))[[0, -1]]
    middle = 0.5 * (low + high)
    perhaps = np.where(narrow & (middle >= first) & (middle <= last), middle, math.nan)
    low, high = (np.where(lock, side, math.nan) for side in (low, high))
    return Edges(plan.ratios, found[mark], low, high, perhaps, plan.narrowest)


# --- axes ----------------------------------------------------------------------------------------


def axis_values(sweep: Sweep, axis: Axis) -> NDArray[np.float64]:
    """Place the values of an axis on a picture.

    Parameters
    ----------
    sweep : Sweep
        What is swept.
    axis : Axis
        One of its axes.

    Returns
    -------
    ndarray, shape (n,)
        Cents from the fingered note for the sung note, logarithms to base 10 for values that rise
        by factors, else the values.
    """
    if axis is sweep.sung_axis:
        return np.array([cents(sweep.sung_hz(value), sweep.fingered.hz) for value in axis.values])
    values = np.array(axis.values)
    return np.log10(values) if is_logarithmic(axis) else values


def is_logarithmic(axis: Axis) -> bool:
    """Tell whether the values of an axis rise by the same factor each time."""
    values = np.array(axis.values)
    if axis.name in {SUNG, VOICE} or len(values) < 3 or values[0] <= 0.0:
        return False
    factors, steps = values[1:] / values[:-1], np.diff(values)
    return bool(np.ptp(factors) < 1e-6 * factors[0] and np.ptp(steps) > 1e-6 * steps[0])


def borders(places: NDArray[np.float64]) -> NDArray[np.float64]:
    """Lay the borders of cells half-way between their middles."""
    inner = 0.5 * (places[1:] + places[:-1])
    ends = 2.0 * places[[0, -1]] - inner[[0, -1]]
    return np.array([ends[0], *inner, ends[1]])


def roles(sweep: Sweep) -> tuple[int, int | None, int | None]:
    """Say which axis runs across the picture, which up, and which from picture to picture.

    Parameters
    ----------
    sweep : Sweep
        What is swept.

    Returns
    -------
    tuple of int or None
        The sung note runs up unless it is alone; of the others the one with fewest values makes
        small multiples.
    """
    left = list(range(len(sweep.axes)))
    if len(left) == 1:
        return 0, None, None
    sung = sweep.sung_axis
    up = left.pop(-1 if sung is None else sweep.axes.index(sung))
    if len(left) == 1:
        return left[0], up, None
    left.sort(key=lambda place: -sweep.shape[place])
    return left[0], up, left[1]


# --- where to aim --------------------------------------------------------------------------------


def aims(found: LockMap, held: Slice = None) -> list[Aim]:
    """Find for each ratio where its lock is widest.

    Parameters
    ----------
    found : LockMap
        With the sung note along one axis.
    held : (int, int), optional
        Look only at this value of this other axis.

    Returns
    -------
    list of Aim
        Lowest ratio first; empty if the sung note does not move.
    """
    if found.sung_place is None:
        return []
    known = {aim.ratio: aim for aim in _aims_of_edges(found, held)}
    p, q = found.values["p"], found.values["q"]
    at = (found.values["state"] == State.LOCKED.code) & _shown(found, held)
    for ratio in set(zip(p[at].tolist(), q[at].tolist(), strict=True)):
        if ratio not in known:
            known[ratio] = _aim_of_cells(found, at & (p == ratio[0]) & (q == ratio[1]), ratio)
    return sorted(known.values(), key=lambda aim: aim.ratio[0] / aim.ratio[1])


def _shown(found: LockMap, held: Slice) -> NDArray[np.bool_]:
    """Flag the cells that are looked at."""
    flags = np.full(found.sweep.shape, held is None)
    if held is not None:
        np.moveaxis(flags, held[0], 0)[held[1]] = True
    return flags


def _aims_of_edges(found: LockMap, held: Slice) -> list[Aim]:
    edges, sweep, sung = found.edges, found.sweep, found.sung_place
    if edges is None or sung is None:
        return []
    places = axis_values(sweep, sweep.axes[sung])
    low_end, high_end = borders(places)[[0, -1]]
    middle = 0.5 * (edges.low + edges.high)
    inside = (middle >= low_end) & (middle <= high_end)
    inside &= np.take(_shown(found, held), 0, axis=sung)[..., np.newaxis]
    width = np.where(inside, edges.high - edges.low, -math.inf)
    made = []
    for k, ratio in enumerate(edges.ratios):
        best = np.unravel_index(int(np.argmax(width[..., k])), width.shape[:-1])
        if width[(*best, k)] < 0.0:
            continue
        low, high = float(edges.low[(*best, k)]), float(edges.high[(*best, k)])
        note = int(np.argmin(np.abs(places - 0.5 * (low + high))))
        place = [int(step) for step in best]
        place.insert(sung, note)
        made.append(_aim(found, ratio, tuple(place), (low, high), exact=True))
    return made


def _aim_of_cells(found: LockMap, locked: NDArray[np.bool_], ratio: tuple[int, int]) -> Aim:
    """Take the longest run of locked cells along the sung axis."""
    sweep, sung = found.sweep, found.sung_place
    assert sung is not None
    ends = borders(axis_values(sweep, sweep.axes[sung]))
    columns = np.moveaxis(locked, sung, -1)
    widest, others, start, stop = max(
        (float(ends[stop] - ends[start]), place, start, stop)
        for place in np.ndindex(columns.shape[:-1])
        for start, stop in runs(columns[place])
    )
    cell = list(others)
    cell.insert(sung, (start + stop - 1) // 2)
    span = float(ends[start]), float(ends[start]) + widest
    return _aim(found, ratio, tuple(cell), span, exact=False)


def _aim(
    found: LockMap,
    ratio: tuple[int, int],
    place: tuple[int, ...],
    span: tuple[float, float],
    *,
    exact: bool,
) -> Aim:
    hz = found.sweep.fingered.hz * 2.0 ** (0.5 * sum(span) / 1200.0)
    third = hz / ratio[0]
    if found.sweep.setup.voice.folded:
        # The horn pulls the voice off its aim: what it plays itself tells.
        third = float(found.values["played_hz"][place]) / ratio[1]
    return Aim(ratio, place, *span, hz, exact, third)


def runs(flags: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """List the stretches of a row of flags that are set, as (first, one past the last)."""
    steps = np.diff(np.concatenate(([False], flags, [False])).astype(np.int8))
    starts, stops = np.flatnonzero(steps == 1), np.flatnonzero(steps == -1)
    return list(zip(starts.tolist(), stops.tolist(), strict=True))
