"""Making an atlas: its store, and all that is still to be done in it."""

import json
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from pathlib import Path

import numpy as np
import zarr

from reedbore.errors import ReedboreError
from reedbore.kernel.executor import CPU
from reedbore.model.setup import Horn, Singer
from reedbore.model.sidecar import versions
from reedbore.verdict.atlas.blocks import clock_block, singer_block
from reedbore.verdict.atlas.plan import RATIOS, Atlas, check, differs
from reedbore.verdict.atlas.reading import read
from reedbore.verdict.sweep import arrays, store
from reedbore.verdict.sweep.cells import Values
from reedbore.verdict.sweep.plan import TABLES, check_model
from reedbore.verdict.sweep.run import deal_out, fill

Made = Callable[..., Values]


def run(
    atlas: Atlas,
    path: Path,
    *,
    part: tuple[int, int] = (1, 1),
    cluster: str | None = None,
    processes: int = 1,
    clock: Made = clock_block,
    sung: Made = singer_block,
) -> None:
    """Do all that is still to be done: first the clock on all notes, then the singers.

    Parameters
    ----------
    atlas : Atlas
        What is made.
    path : Path
        The store; made if it is not there.
    part, cluster, processes
        As for `sweep.run.run`.
    clock, sung : callable
        What makes a block, instead of the simulation.

    Raises
    ------
    ReedboreError
        If there is anything wrong with it, the store is another's or cannot be written, or the
        cluster is lost.
    """
    check(atlas)
    prepare(path, atlas)
    processes = 1 if cluster else min(processes, len(atlas.notes) * len(atlas.depths))
    executor = CPU.shared(processes)
    deal = partial(deal_out, cluster=cluster, processes=processes)
    fill(path, "clock", part, deal, partial(clock, atlas, executor=executor))
    if atlas.voices:
        fill(path, "singer", part, deal, partial(sung, atlas, executor=executor))


def prepare(path: Path, atlas: Atlas) -> None:
    """Make the store of an atlas, or make sure that it is the one that is there.

    Folds may be tried later than the clock.
    """

    def make(place: Path) -> None:
        there = read(path).atlas if path.exists() else atlas
        voices = atlas.voices or there.voices
        _make(place, replace(atlas, voices=voices))

    store.make_or_compare(path, make, partial(_compare, path, atlas))


def _compare(path: Path, atlas: Atlas) -> None:
    there = read(path).atlas
    other = "give -o another name"
    try:
        check_model(there, "atlas")
    except ReedboreError as error:
        raise ReedboreError(f"{path}: {error}; {other}") from error
    difference = differs(there, atlas)
    for name in ("notes", "depths", "voices"):
        known, wanted = getattr(there, name), getattr(atlas, name)
        free = name == "voices" and not (known and wanted)
        if difference is None and not free and known != wanted:
            told = (", ".join(map(str, values)) for values in (known, wanted))
            difference = f"there the {name} are {next(told)}, here {next(told)}"
    if difference:
        raise ReedboreError(f"{path} holds another atlas: {difference}; {other}")


def _make(place: Path, atlas: Atlas) -> None:
    """Make a store in which nothing is known yet."""
    about = {
        "made_by": arrays.ATLAS,
        "version": atlas.version,
        "versions": json.dumps({**versions(), "model": atlas.model}),
        **{name: _plain(getattr(atlas, name)) for name in ("horn", "singer")},
        "breath": atlas.breath or "",
        "settings": list(atlas.settings),
        "a4_hz": atlas.a4,
        "all_ratios": int(atlas.all_ratios),
    }
    group = zarr.create_group(place, zarr_format=3, attributes=about)
    p, q = np.array(RATIOS, np.int8).T
    midi = {"units": "1", "long_name": "fingered note, as it sounds: MIDI number"}
    depth = {"units": "1", "long_name": "peak of the sung over the blowing pressure"}
    store.keep_axis(group, "note", ("note",), np.array(atlas.notes, np.int16), midi)
    store.keep_axis(group, "depth", ("depth",), np.array(atlas.depths), depth)
    for name, values, says in (
        ("ratio", p / q, "sung/fingered"),
        ("ratio_p", p, "its p"),
        ("ratio_q", q, "its q"),
    ):
        store.keep_axis(group, name, ("ratio",), values, {"units": "1", "long_name": says})
    names, shape, size = ("note", "depth"), (len(atlas.notes), len(atlas.depths)), len(RATIOS)
    for name in TABLES["clock"][0]:
        layout = (*names, "ratio"), (*shape, size), (1, 1, size)
        store.make_variable(group, "clock", name, layout)
    if not atlas.voices:
        return
    count = len(atlas.voices)
    which = {"units": "1", "long_name": "whose folds", "names": list(atlas.voices)}
    store.keep_axis(group, "voice", ("voice",), np.arange(count, dtype=np.int8), which)
    for name in TABLES["singer"][0]:
        sung = (*names, "voice", "ratio"), (*shape, count, size), (1, 1, 1, size)
        store.make_variable(group, "singer", name, sung)


def _plain(preset: Horn | Singer) -> str:
    return json.dumps(preset.to_plain(), ensure_ascii=False, allow_nan=False)
