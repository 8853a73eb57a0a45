"""The data set of a sweep: a folder in the Zarr v3 format that xarray opens.

In: a sweep, and what was found in each of its blocks. Out: labelled arrays, and the sweep again.

Two tables stand in one store. ``cells`` has the axes of the sweep as its dimensions; ``edges`` has
all axes but the sung one, and the ratios. Whoever works on a block writes the whole of it, and the
variable that says what became of it (`MARKS`) last: a block is done if its part of that variable
is there. Each part is written beside its place and renamed, so that a process can be killed at any
instant.
"""

import contextlib
import json
import math
import shutil
import uuid
from collections import Counter
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import zarr
import zarr.errors

from reedbore.errors import ReedboreError
from reedbore.files import check_writable
from reedbore.model.settings import leaves
from reedbore.model.setup import Setup
from reedbore.model.sidecar import versions
from reedbore.verdict.state import EdgeState, State, flags
from reedbore.verdict.sweep.cells import Block, Values, block_shape, blocks
from reedbore.verdict.sweep.plan import (
    EDGES,
    MARKS,
    SUNG,
    TABLES,
    VARIABLES,
    VOICE,
    Axis,
    EdgePlan,
    Fingered,
    Sweep,
    check_model,
)

SUFFIX = ".zarr"
MADE_BY = "reedbore sweep"


class Task(NamedTuple):
    """A block of a table that is still to be worked on."""

    table: str
    block: Block

    @property
    def cells(self) -> int:
        """How many cells it has."""
        return math.prod(part.stop - part.start for part in self.block)


# --- make and find -------------------------------------------------------------------------------


def prepare(path: Path, sweep: Sweep, edges: EdgePlan | None = None) -> None:
    """Make the store of a sweep, or make sure that it is the one that is there.

    Parameters
    ----------
    path : Path
        The store; its name ends in `SUFFIX`.
    sweep : Sweep
        What is swept.
    edges : EdgePlan, optional
        If edges are going to be kept too.

    Raises
    ------
    ReedboreError
        If something else stands there, another sweep or one of another version, or if it cannot
        be written.
    """
    check_place(path)
    try:
        if not path.exists():
            _make_cells(path, sweep)
        _compare(path, sweep)
        if edges and not (path / MARKS["edges"]).exists():
            _add_edges(path, sweep, edges)
    except OSError as error:
        raise _unwritable(path, error) from error


def check_place(path: Path) -> None:
    """Refuse a store that is no ``.zarr`` or cannot be written to."""
    if path.suffix != SUFFIX:
        raise ReedboreError(f"{path} ends in {path.suffix!r}; a sweep is kept as {SUFFIX}")
    check_writable(path / "zarr.json")


def _unwritable(path: Path, error: OSError) -> ReedboreError:
    return ReedboreError(f"{path} cannot be written ({(error.strerror or str(error)).lower()})")


@contextlib.contextmanager
def _beside(path: Path) -> Iterator[Path]:
    """Name a folder beside a store to make something in, and leave nothing there."""
    place = path.with_name(f".{path.name}.{uuid.uuid4().hex}.part")
    path.parent.mkdir(parents=True, exist_ok=True)
    try:
        yield place
    finally:
        shutil.rmtree(place, ignore_errors=True)


def _move(place: Path, path: Path) -> None:
    """Rename a folder; if another process was faster, its folder stays."""
    try:
        place.rename(path)
    except OSError:
        if not path.exists():
            raise


def _make_cells(path: Path, sweep: Sweep) -> None:
    with _beside(path) as place:
        group = zarr.create_group(place, zarr_format=3, attributes=_attributes(sweep))
        for axis in sweep.axes:
            about = {"units": axis.unit, "long_name": axis.says}
            _keep_axis(group, axis.name, (axis.name,), np.array(axis.values), about)
        names = tuple(axis.name for axis in sweep.axes)
        for name in VARIABLES:
            _make_variable(group, "cells", name, (names, sweep.shape, block_shape(sweep)))
        _move(place, path)


def _add_edges(path: Path, sweep: Sweep, edges: EdgePlan) -> None:
    """Make the arrays of the edges and move them into the store, the mark last."""
    others = [axis for axis in sweep.axes if axis is not sweep.sung_axis]
    names = (*(axis.name for axis in others), "ratio")
    shape = (*(len(axis.values) for axis in others), len(edges.ratios))
    p, q = np.array(edges.ratios, np.int8).T
    known = {"ratio": (p / q, "sung/fingered"), "ratio_p": (p, "its p"), "ratio_q": (q, "its q")}
    with _beside(path) as place:
        group = zarr.create_group(place, zarr_format=3)
        for name, (values, says) in known.items():
            _keep_axis(group, name, ("ratio",), values, {"units": "1", "long_name": says})
        for name in EDGES:
            chunks = (*(1 for _ in others), len(edges.ratios))
            _make_variable(group, "edges", name, (names, shape, chunks))
        group[MARKS["edges"]].attrs["narrowest_band_cents"] = edges.narrowest
        for name in (*known, *EDGES):
            _move(place / name, path / name)


def _keep_axis(
    group: zarr.Group, name: str, names: tuple[str, ...], values: Any, about: dict[str, Any]
) -> None:
    array = group.create_array(
        name, shape=values.shape, chunks=values.shape, dtype=values.dtype, dimension_names=names,
        attributes=about,
    )  # fmt: skip
    array[:] = values


def _make_variable(
    group: zarr.Group, table: str, name: str, layout: tuple[tuple[str, ...], Any, Any]
) -> None:
    names, shape, chunks = layout
    variables, states = TABLES[table]
    kept = variables[name]
    about: dict[str, Any] = {"units": kept.units, "long_name": kept.says}
    if name == MARKS[table]:
        about |= flags(states)
    if table == "edges":
        about["coordinates"] = "ratio_p ratio_q"
    group.create_array(
        name, shape=shape, chunks=chunks, dtype=kept.dtype, fill_value=kept.fill,
        dimension_names=names, attributes=about,
    )  # fmt: skip


def _attributes(sweep: Sweep) -> dict[str, Any]:
    return {
        "made_by": MADE_BY,
        "version": sweep.version,
        "versions": json.dumps({**versions(), "model": sweep.model}),
        "setup": json.dumps(sweep.setup.to_plain(), ensure_ascii=False, allow_nan=False),
        "horn": sweep.horn,
        "title": sweep.title,
        "fingering": sweep.fingering,
        "fingered_hz": sweep.fingered.hz,
        "a4_hz": sweep.fingered.a4,
        "transposition": sweep.fingered.transposition,
        "axes": [axis.name for axis in sweep.axes],
        # 0 and not null, which netCDF has no attribute for.
        "seconds": sweep.seconds or 0.0,
        "narrowest_band_cents": sweep.resolved_cents or 0.0,
    }


def read_sweep(path: Path) -> Sweep:
    """Read what was swept.

    Parameters
    ----------
    path : Path
        The store.

    Returns
    -------
    Sweep
        The same as was given to `prepare`, bit for bit.

    Raises
    ------
    ReedboreError
        If there is no store of a sweep.
    """
    group = open_group(path)
    try:
        about: dict[str, Any] = dict(group.attrs)
        axes = tuple(
            Axis(name=name, values=tuple(np.asarray(group[name]).tolist()))
            for name in about["axes"]
        )
        words = {name: str(about[name]) for name in ("horn", "title", "fingering", "version")}
        return Sweep(
            setup=Setup.from_plain(json.loads(about["setup"])),
            fingered=Fingered(about["fingered_hz"], about["a4_hz"], about["transposition"]),
            axes=axes,
            seconds=about["seconds"] or None,
            model=dict(json.loads(about.get("versions", "{}"))).get("model"),
            **words,
        )
    except (KeyError, TypeError, ValueError) as error:
        raise ReedboreError(f"{path} is no whole sweep ({error})") from error


def open_group(path: Path, mode: Any = "r") -> zarr.Group:
    """Open a store; a ReedboreError if there is none of a sweep."""
    try:
        group = zarr.open_group(path, mode=mode, zarr_format=3)
    except (OSError, ValueError, zarr.errors.BaseZarrError) as error:
        there = "holds no sweep" if path.exists() else "is not there"
        raise ReedboreError(f"{path} {there}") from error
    if group.attrs.get("made_by") != MADE_BY:
        raise ReedboreError(f"{path} holds other data than a sweep")
    return group


def _compare(path: Path, sweep: Sweep) -> None:
    """Refuse to go on with another sweep, naming the first difference."""
    there = read_sweep(path)
    try:
        check_model(there)
    except ReedboreError as error:
        raise ReedboreError(f"{path}: {error}; give -o another name") from error
    one, two = (_identity(which) for which in (there, sweep))
    for name in {**one, **two}:
        if one.get(name) != two.get(name):
            raise ReedboreError(
                f"{path} holds another sweep: there {name} is {one.get(name, 'not set')}, "
                f"here {two.get(name, 'not set')}; give -o another name"
            )


def _identity(sweep: Sweep) -> dict[str, Any]:
    """List all that the cells depend on; along the sung axis the setup's own note counts not."""
    axes = {
        f"--along {axis.name}": f"{axis.text(axis.values[0])} to {axis.text(axis.values[-1])} "
        f"in {len(axis.values)}"
        for axis in sweep.axes
    }
    values = {f"the values along {axis.name}": axis.values for axis in sweep.axes}
    swept = {VOICE if axis.name == SUNG else axis.name for axis in sweep.axes}
    settings = {name: value for name, value in leaves(sweep.setup.to_plain()) if name not in swept}
    fixed = {"seconds": sweep.seconds, "the fingered note": f"{sweep.fingered.hz} Hz"}
    order = {"the order of axes": ", ".join(axis.name for axis in sweep.axes)}
    return {**axes, **order, **values, **fixed, **settings}


# --- work ----------------------------------------------------------------------------------------


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
        Whether it is there already.
    """
    mark = MARKS[table]
    if not (path / mark).exists():
        return
    array = open_group(path)[mark]
    assert isinstance(array, zarr.Array)
    for number, (place, block) in enumerate(blocks(array.shape, array.chunks)):
        if number % part[1] == part[0] - 1:
            yield Task(table, block), (path / mark / "c" / "/".join(map(str, place))).exists()


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
    group = open_group(path, "r+")
    mark = MARKS[task.table]
    try:
        for name in (*(name for name in values if name != mark), mark):
            group[name][task.block] = values[name]  # type: ignore[index]
    except OSError as error:
        raise _unwritable(path, error) from error


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
        Value by variable; the state in words, ``not run`` if nobody has judged it yet.
    """
    group = open_group(path)
    found = {name: group[name][tuple(place)].item() for name in VARIABLES}  # type: ignore
    return {**found, "state": State.of(found["state"])}


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
    group = open_group(path)
    states: Counter[State] = Counter()
    locked: Counter[tuple[int, int]] = Counter()
    for task, _ in tasks(path, "cells"):
        codes, p, q = (np.asarray(group[name][task.block]) for name in ("state", "p", "q"))  # type: ignore
        for code, number in zip(*np.unique(codes, return_counts=True), strict=True):
            states[State.of(code)] += int(number)
        at = codes == State.LOCKED.code
        locked.update(zip(p[at].tolist(), q[at].tolist(), strict=True))
    return states, locked


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
    if not (path / MARKS["edges"]).exists():
        return None
    group = open_group(path)
    found: set[int] = set()
    for task, _ in tasks(path, "edges"):
        codes = np.asarray(group[MARKS["edges"]][task.block]).reshape(-1)  # type: ignore[index]
        found |= set(np.flatnonzero(codes == EdgeState.LOCK.code).tolist())
    p, q = (np.asarray(group[name]) for name in ("ratio_p", "ratio_q"))
    return [(int(p[k]), int(q[k])) for k in sorted(found)]
