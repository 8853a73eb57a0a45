"""The data set of a sweep: a folder in the Zarr v3 format that xarray opens.

In: a sweep. Out: labelled arrays in which nothing is known yet, and the sweep again. Two tables
stand in one store: ``cells`` has the axes of the sweep as its dimensions; ``edges`` has all axes
but the sung one, and the ratios. `table` fills them.
"""

import contextlib
import json
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import zarr

from reedbore.errors import ReedboreError
from reedbore.files import beside, check_writable, clear_dead, write_whole
from reedbore.model.settings import leaves
from reedbore.model.setup import Setup
from reedbore.model.sidecar import versions
from reedbore.verdict.state import flags
from reedbore.verdict.sweep import arrays
from reedbore.verdict.sweep.arrays import MADE_BY, open_group
from reedbore.verdict.sweep.cells import block_shape
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

    def make(place: Path) -> None:
        _make_cells(place, sweep)
        if edges and path.exists():
            _make_edges(place, sweep, edges)

    make_or_compare(path, make, lambda: _compare(path, sweep))


def make_or_compare(path: Path, make: Callable[[Path], None], compare: Callable[[], None]) -> None:
    """Make a store, or make sure that it is the one that is there and that nothing of it is lost.

    Parameters
    ----------
    path : Path
        The store; its name ends in `SUFFIX`.
    make : callable
        Makes one in a folder, in which nothing is known yet.
    compare : callable
        Refuses another one that stands there.

    Raises
    ------
    ReedboreError
        What `compare` raises, or if it cannot be written.
    """
    check_place(path)
    try:
        clear_dead(path)
        with _beside(path) as place:
            make(place)
            if not path.exists():
                _move(place, path)
        compare()
        with _beside(path) as place:
            make(place)
            _put_in(place, path)
    except OSError as error:
        raise arrays.unwritable(path, error) from error


def check_place(path: Path) -> None:
    """Refuse a store that is no ``.zarr`` or cannot be written to."""
    if path.suffix != SUFFIX:
        raise ReedboreError(
            f"{path} ends in {path.suffix!r}; a sweep or an atlas is kept as {SUFFIX}"
        )
    check_writable(path / "zarr.json")


@contextlib.contextmanager
def _beside(path: Path) -> Iterator[Path]:
    """Name a folder beside a store to make something in, and leave nothing there."""
    place = beside(path)
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


def _put_in(place: Path, path: Path) -> None:
    """Put descriptions and axes in that are not there as they must be, the marks' last."""
    ends = tuple(MARKS.values())
    for folder in sorted(place.iterdir(), key=lambda folder: (folder.name in ends, folder.name)):
        for file in sorted(file for file in folder.rglob("*") if file.is_file()):
            there = path / file.relative_to(place)
            if not _alike(file, there):
                write_whole(there, file.read_bytes())


def _alike(one: Path, other: Path) -> bool:
    """Tell whether two files say the same."""
    try:
        if one.suffix == ".json":
            return bool(json.loads(one.read_bytes()) == json.loads(other.read_bytes()))
        return one.read_bytes() == other.read_bytes()
    except (OSError, ValueError):
        return False


def _make_cells(place: Path, sweep: Sweep) -> None:
    """Make a store in which nothing is known yet."""
    group = zarr.create_group(place, zarr_format=3, attributes=_attributes(sweep))
    for axis in sweep.axes:
        about = {"units": axis.unit, "long_name": axis.says}
        keep_axis(group, axis.name, (axis.name,), np.array(axis.values), about)
    names = tuple(axis.name for axis in sweep.axes)
    for name in VARIABLES:
        make_variable(group, "cells", name, (names, sweep.shape, block_shape(sweep)))


def _make_edges(place: Path, sweep: Sweep, edges: EdgePlan) -> None:
    """Add the arrays of the edges."""
    others = [axis for axis in sweep.axes if axis is not sweep.sung_axis]
    names = (*(axis.name for axis in others), "ratio")
    shape = (*(len(axis.values) for axis in others), len(edges.ratios))
    p, q = np.array(edges.ratios, np.int8).T
    known = {"ratio": (p / q, "sung/fingered"), "ratio_p": (p, "its p"), "ratio_q": (q, "its q")}
    group = zarr.open_group(place, mode="r+")
    for name, (values, says) in known.items():
        keep_axis(group, name, ("ratio",), values, {"units": "1", "long_name": says})
    for name in EDGES:
        chunks = (*(1 for _ in others), len(edges.ratios))
        make_variable(group, "edges", name, (names, shape, chunks))
    group[MARKS["edges"]].attrs["narrowest_band_cents"] = edges.narrowest


def keep_axis(
    group: zarr.Group, name: str, names: tuple[str, ...], values: Any, about: dict[str, Any]
) -> None:
    """Write the values along an axis; `names` are those of its dimensions."""
    array = arrays.make(
        group, name, values.shape, values.dtype, chunks=values.shape, dimension_names=names,
        attributes=about,
    )  # fmt: skip
    array[:] = values


def make_variable(
    group: zarr.Group, table: str, name: str, layout: tuple[tuple[str, ...], Any, Any]
) -> None:
    """Make the array of a variable; `layout` is its dimensions, its shape and that of a block."""
    names, shape, chunks = layout
    variables, states = TABLES[table]
    kept = variables[name]
    about: dict[str, Any] = {"units": kept.units, "long_name": kept.says}
    if name == MARKS[table]:
        about |= flags(states)
    if names[-1] == "ratio":
        about["coordinates"] = "ratio_p ratio_q"
    if kept.letters:
        names, shape, chunks = (*names, "letter"), (*shape, kept.letters), (*chunks, kept.letters)
    arrays.make(
        group, name, shape, kept.dtype, chunks=chunks, fill_value=kept.fill, dimension_names=names,
        attributes=about,
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
    if group.attrs["made_by"] != MADE_BY:
        raise ReedboreError(f"{path} holds an atlas, not a sweep")
    try:
        about: dict[str, Any] = dict(group.attrs)
        axes = tuple(
            Axis(name=name, values=tuple(arrays.read(path, group, name).tolist()))
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
    except arrays.Damaged as error:
        raise ReedboreError(f"{path} is no whole sweep ({error})") from error
    except (KeyError, TypeError, ValueError) as error:
        raise ReedboreError(f"{path} is no whole sweep ({error})") from error


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
