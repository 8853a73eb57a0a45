"""What was found in the blocks of a sweep: no kill loses it, and what is lost is named.

In: values block by block. Out: the same, or one sentence on what is lost. Whoever works on a block
writes the whole of it, and the variable that says what became of it (`MARKS`) last, once all else
has reached the disk: a block is done if its part of that variable is there and all its other parts
are as they were written. Each part is written beside its place and renamed, so that a process can
be killed at any instant.
"""

import math
from collections import Counter
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import zarr
from numpy.typing import NDArray

from reedbore.files import to_disk
from reedbore.verdict.state import EdgeState, State
from reedbore.verdict.sweep import arrays
from reedbore.verdict.sweep.arrays import Array, Damaged, open_group
from reedbore.verdict.sweep.cells import Block, Values, as_text, blocks
from reedbore.verdict.sweep.plan import LATER, MARKS, REASONS, TABLES, VARIABLES, EdgePlan


class Task(NamedTuple):
    """A block of a table: its number along each axis, and its cells."""

    table: str
    place: tuple[int, ...]
    block: Block

    @property
    def cells(self) -> int:
        """How many cells it has."""
        return math.prod(part.stop - part.start for part in self.block)


def tasks(path: Path, table: str, part: tuple[int, int] = (1, 1)) -> Iterator[tuple[Task, bool]]:
    """List the blocks of a table.

    Parameters
    ----------
    path : Path
        The store.
    table : str
        ``cells`` or ``edges``.
    part : (int, int)
        Which of how many equal parts of the work, counted from 1.

    Yields
    ------
    task : Task
        A block.
    done : bool
        Whether all that was found in it is there, and as it was written.
    """
    kept = _Table(path, table)
    for number, task in enumerate(kept.tasks()):
        if number % part[1] == part[0] - 1:
            yield task, kept.whole(task)


class _Table:
    """The arrays of a table, opened once."""

    def __init__(self, path: Path, table: str, group: zarr.Group | None = None) -> None:
        self.path, self.table = path, table
        self.group = group or open_group(path)
        self.mark = arrays.array_of(path, self.group, MARKS[table])
        self._known: dict[str, Array] = {}
        self.array(MARKS[table])

    def array(self, name: str) -> Array:
        """Find one of its arrays."""
        if name not in self._known:
            found = arrays.array_of(self.path, self.group, name)
            wanted = np.dtype(TABLES[self.table][0][name].dtype)
            if found.dtype != wanted or found.shape[: self.mark.ndim] != self.mark.shape:
                strange = TypeError(f"it holds {found.dtype} in the shape {found.shape}")
                raise Damaged(self.path, f"{name}/zarr.json", strange)
            self._known[name] = found
        return self._known[name]

    def tasks(self) -> Iterator[Task]:
        """List its blocks."""
        for place, block in blocks(self.mark.shape, self.mark.chunks):
            yield Task(self.table, place, block)

    def marked(self, task: Task) -> bool:
        """Tell whether a block has its mark."""
        return arrays.part_file(self.path, self.mark, task.place).exists()

    def whole(self, task: Task) -> bool:
        """Tell whether a block is done, and nothing of it is lost."""
        try:
            for name in TABLES[self.table][0] if self.marked(task) else ():
                self.read(name, task)
        except Damaged:
            return False
        return self.marked(task)

    def read(self, name: str, task: Task) -> NDArray[Any]:
        """Read what was found in a block; its fill value if it is not done yet."""
        if self.marked(task):
            return arrays.read_part(self.path, self.array(name), task.place, task.block)
        return arrays.blank_part(self.array(name), task.block)


def write(path: Path, task: Task, values: Values) -> None:
    """Write all that was found in a block, its mark last.

    Parameters
    ----------
    path : Path
        The store.
    task : Task
        The block.
    values : dict
        An array in its shape for each variable of its table.

    Raises
    ------
    ReedboreError
        If it cannot be written.
    """
    kept = _Table(path, task.table, open_group(path, "r+"))
    mark = MARKS[task.table]
    try:
        for names in ([name for name in values if name != mark], [mark]):
            for name in names:
                arrays.write_part(kept.array(name), task.block, values[name])
            to_disk(arrays.part_file(path, kept.array(name), task.place) for name in names)
    except OSError as error:
        raise arrays.unwritable(path, error) from error


# --- read ----------------------------------------------------------------------------------------


def read_values(path: Path, table: str, names: Sequence[str]) -> Values:
    """Read what was found, as far as a table has been filled.

    Parameters
    ----------
    path : Path
        The store.
    table : str
        ``cells`` or ``edges``.
    names : sequence of str
        Of its variables.

    Returns
    -------
    dict
        An array in the shape of the table for each name.

    Raises
    ------
    ReedboreError
        If there is no such store, or a file of it is lost or damaged.
    """
    kept = _Table(path, table)
    out = {name: np.empty(kept.array(name).shape, kept.array(name).dtype) for name in names}
    for task in kept.tasks():
        for name, array in out.items():
            array[task.block] = kept.read(name, task)
    return out


def block_values(path: Path, table: str, place: tuple[int, ...]) -> Values | None:
    """Read all that was found in one block; None if it is not done yet.

    Parameters
    ----------
    path : Path
        The store.
    table : str
        One of `plan.TABLES`.
    place : tuple of int
        Number of the block along each axis.

    Returns
    -------
    dict
        An array in the shape of the block for each variable.

    Raises
    ------
    ReedboreError
        If there is no such store, or a file of it is lost or damaged.
    """
    kept = _Table(path, table)
    task = next(task for task in kept.tasks() if task.place == place)
    if not kept.marked(task):
        return None
    return {name: kept.read(name, task) for name in TABLES[table][0]}


def cell_values(path: Path, place: Sequence[int]) -> dict[str, Any]:
    """Read what was found in one cell.

    Parameters
    ----------
    path : Path
        The store.
    place : sequence of int
        Its number along each axis.

    Returns
    -------
    dict
        Value by variable; the state in words, ``not run`` if nobody has judged it yet, and its
        reason, None if there is none.
    """
    kept = _Table(path, "cells")
    steps = kept.mark.chunks
    at = tuple(number // step for number, step in zip(place, steps, strict=True))
    task = next(task for task in kept.tasks() if task.place == at)
    inside = tuple(number % step for number, step in zip(place, steps, strict=True))
    names = [name for name in VARIABLES if name not in LATER or _tells_more(kept)]
    found = {name: kept.read(name, task)[inside] for name in names if name != "reason"}
    numbers = {name: VARIABLES[name].fill for name in LATER}
    numbers |= {name: one.item() for name, one in found.items()}
    reason = as_text(kept.read("reason", task)[inside]) if "reason" in names else ""
    return {**numbers, "state": State.of(int(numbers["state"])), "reason": reason or None}


def _tells_more(kept: _Table) -> bool:
    """Tell whether a store keeps what is `LATER`; old ones do not."""
    return arrays.checked(kept.mark)


def count(path: Path) -> tuple[Counter[State], Counter[tuple[int, int]]]:
    """Count the cells of each state, and the locked ones of each ratio.

    Parameters
    ----------
    path : Path
        The store.

    Returns
    -------
    states : Counter
        Cells by state; ``not run`` for those that nobody has judged yet.
    locked : Counter
        Locked cells by (p, q).
    """
    kept = _Table(path, "cells")
    states: Counter[State] = Counter()
    locked: Counter[tuple[int, int]] = Counter()
    for task in kept.tasks():
        codes, p, q = (kept.read(name, task) for name in ("state", "p", "q"))
        for code, number in zip(*np.unique(codes, return_counts=True), strict=True):
            states[State.of(code)] += int(number)
        at = codes == State.LOCKED.code
        locked.update(zip(p[at].tolist(), q[at].tolist(), strict=True))
    return states, locked


def failures(path: Path, name: str = "cells") -> Counter[str]:
    """Count what failed, by the reason; old stores tell none, so none is told of them.

    Parameters
    ----------
    path : Path
        The store.
    name : str
        Of the table: ``cells``, or ``edges``, which may not be there.

    Returns
    -------
    Counter
        Cells, or ratios at a value of the other axes, by reason.
    """
    found: Counter[str] = Counter()
    if REASONS[name] not in open_group(path):
        return found
    kept = _Table(path, name)
    failed = {"cells": State.FAILED, "edges": EdgeState.FAILED}[name]
    for task in kept.tasks():
        at = kept.read(MARKS[name], task) == failed.code
        if at.any():
            found.update(as_text(letters) for letters in kept.read(REASONS[name], task)[at])
    return found


def locks(path: Path) -> list[tuple[int, int]] | None:
    """List the ratios with a lock at any value of the other axes.

    Parameters
    ----------
    path : Path
        The store.

    Returns
    -------
    list of (p, q) or None
        Rising; None if no edges are kept.
    """
    plan = edge_plan(path)
    if plan is None:
        return None
    kept = _Table(path, "edges")
    found: set[int] = set()
    for task in kept.tasks():
        codes = kept.read(MARKS["edges"], task).reshape(-1)
        found |= set(np.flatnonzero(codes == EdgeState.LOCK.code).tolist())
    return [plan.ratios[k] for k in sorted(found)]


def edge_plan(path: Path) -> EdgePlan | None:
    """Read which edges a store keeps; None if none."""
    if not (path / MARKS["edges"]).exists():
        return None
    kept = _Table(path, "edges")
    p, q = (arrays.read(path, kept.group, name).tolist() for name in ("ratio_p", "ratio_q"))
    narrowest = kept.mark.attrs.get("narrowest_band_cents")
    if not isinstance(narrowest, float):
        raise Damaged(path, f"{MARKS['edges']}/zarr.json", TypeError("narrowest_band_cents"))
    return EdgePlan(tuple(zip(p, q, strict=True)), narrowest)
