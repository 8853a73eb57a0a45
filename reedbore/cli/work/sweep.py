"""A sweep from the command line: read what is asked for, run it, tell; and find a cell again.

The commands `sweep` and `render` are made of these steps; they are apart from them so that their
help starts fast.
"""

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from reedbore.cli.common import Progress, tell
from reedbore.errors import NoteError, ReedboreError
from reedbore.files import file_stem
from reedbore.model.presets import load_horn
from reedbore.model.sidecar import model_change
from reedbore.notes import note_name, written_name
from reedbore.simulate.request.take import Request, Words, read_request, refuse_words, tune_request
from reedbore.simulate.request.typed import TypedCell
from reedbore.verdict.state import State
from reedbore.verdict.sweep import table
from reedbore.verdict.sweep.arrays import is_atlas
from reedbore.verdict.sweep.axes import LUNGS, check, read_axis, read_sung
from reedbore.verdict.sweep.plan import SUNG, VOICE, Axis, Fingered, Sweep
from reedbore.verdict.sweep.store import read_sweep

SAME = 1e-9
"""A value that differs from one of the grid by less than this share of it is meant to be that."""

SHOWN = 6
"""Ratios that are listed by name."""


# --- sweep ---------------------------------------------------------------------------------------


def read(
    words: Mapping[str, Any],
    along: Sequence[Sequence[str]],
    log: Sequence[str],
    seconds: float | None,
    *,
    edges: bool,
) -> Sweep:
    """Turn what was typed into a sweep, its bore tuned.

    Parameters
    ----------
    words : mapping
        As for `request.Words`.
    along : sequence of (field, start, stop, count)
        The axes.
    log : sequence of str
        Fields of those that are logarithmic.
    seconds : float or None
        Run of each cell; None for until decided. [s]
    edges : bool
        Whether the edges of locks are wanted.

    Returns
    -------
    Sweep
        What `run` takes.

    Raises
    ------
    ReedboreError
        If anything is wrong with it.
    """
    names = [name for name, *_ in along]
    for name in log:
        if name not in names:
            raise ReedboreError(f"--log {name}: it is not swept; add --along {name}")
    moved = [name for name in names if name in {SUNG, VOICE}]
    if moved and words["sung"] is not None:
        raise ReedboreError(f"--sung and --along {moved[0]} both move the sung note: leave one out")
    if LUNGS in names and words["breath"] is not None:
        said = f"--breath {words['breath']}: leave it out"
        raise ReedboreError(f"{said}; along {LUNGS} the breath follows")
    # The note is moved off the fingered one cell by cell; without one nobody would sing.
    typed = Words(**{**words, "sung": "1/1"} if moved else words)
    request = read_request(typed, still=True)
    horn = load_horn(request.typed.horn)
    fingered = Fingered(request.typed.fingered_hz, typed.a4, horn.transposition)
    axes = tuple(
        read_axis(axis, request.setup, fingered, logarithmic=axis[0] in log) for axis in along
    )
    untuned = Sweep(
        setup=request.setup,
        fingered=fingered,
        axes=axes,
        seconds=seconds,
        horn=horn.name,
        title=horn.title,
        fingering=typed.fingering,
    )
    check(untuned, edges=edges)
    for warning in () if moved else request.warnings:
        tell(warning)
    with Progress() as progress:
        progress.stage("tuning the horn")
        return replace(untuned, setup=tune_request(request).setup)


def read_part(text: str) -> tuple[int, int]:
    """Read ``i/n``: which of how many parts of the work, counted from 1."""
    found = re.fullmatch(r"(\d{1,6})/(\d{1,6})", text)
    if not found or not 1 <= int(found[1]) <= int(found[2]):
        raise ReedboreError(f"--part is {text!r}; write i/n with i from 1 to n, as in 2/4")
    return int(found[1]), int(found[2])


def run(
    swept: Sweep,
    path: Path,
    *,
    edges: bool,
    part: tuple[int, int],
    cluster: str | None,
    on: str = "auto",
) -> dict[str, Any]:
    """Run a sweep and sum up what its store then holds.

    Parameters
    ----------
    swept : Sweep
        From `read`.
    path : Path
        The store.
    edges, part, cluster, on : bool, (int, int), str or None, str
        As for `sweep_run.run`.

    Returns
    -------
    dict
        Fit for JSON: `file`, `axes`, `cells`, `states`, `failed` (cells by reason), `locked` (cells
        by ratio), `edges` (ratios with a lock anywhere), `edges_failed` (searches by reason),
        `narrowest_band_cents` that the grid resolves, that of the edges.
    """
    # Finding a cell needs no judge.
    from reedbore.kernel.executor import usable_cores  # noqa: PLC0415
    from reedbore.verdict.sweep import run as sweep_run  # noqa: PLC0415

    # To find out how folds sing keeps Python busy, and Python one core a process; so do fits.
    cores = usable_cores()
    processes, helpers = (cores, 1) if swept.setup.voice.folded else (1, cores)
    sweep_run.run(
        swept, path, edges=edges, part=part, cluster=cluster, on=on,
        processes=processes, helpers=helpers,
    )  # fmt: skip
    states, locked = table.count(path)
    failed, edges_failed = table.failures(path), table.failures(path, "edges")
    found = table.locks(path)
    return {
        "file": str(path),
        "horn": swept.horn,
        "fingered_hz": swept.fingered.hz,
        "fingered_note": note_name(swept.fingered.hz, swept.fingered.a4),
        "fingered_written": written_name(
            swept.fingered.hz, swept.fingered.transposition or 0, swept.fingered.a4
        ),
        "axes": [_axis_document(axis) for axis in swept.axes],
        "cells": math.prod(swept.shape),
        "states": dict(states.most_common()),
        "failed": dict(failed.most_common()),
        "locked": {f"{p}/{q}": number for (p, q), number in locked.most_common()},
        "edges": found and [f"{p}/{q}" for p, q in found],
        "edges_failed": dict(edges_failed.most_common()),
        "narrowest_band_cents": swept.resolved_cents,
        "narrowest_edge_cents": sweep_run.edge_plan(swept).narrowest if found is not None else None,
    }


def _axis_document(axis: Axis) -> dict[str, Any]:
    first, last = axis.values[0], axis.values[-1]
    ends = {"start": first, "stop": last, "count": len(axis.values), "unit": axis.unit}
    return {"field": axis.name, **ends}


def text(document: Mapping[str, Any]) -> str:
    """Set the sum of a sweep out for reading.

    Parameters
    ----------
    document : mapping
        From `run`.

    Returns
    -------
    str
        Lines without a line end after the last.
    """
    fields = ", ".join(axis["field"] for axis in document["axes"])
    lines = [f"{document['cells']} cells along {fields}"]
    lines += [f"  {state:11} {number}" for state, number in document["states"].items()]
    lines += [f"  failed: {why} ({number})" for why, number in document["failed"].items()]
    if document["locked"]:
        lines.append(f"locked at {_first(list(document['locked']))}")
    if document["edges"] is not None:
        none = "no lock at any ratio along the sung axis"
        some = f"locks somewhere at {_first(document['edges'])}"
        lines.append(f"edges: {some if document['edges'] else none}")
        failed = document["edges_failed"].items()
        lines += [f"  failed: {why} ({number} searches)" for why, number in failed]
        width = document["narrowest_edge_cents"]
        lines.append(f"Locks down to {width:g} cents were looked for at all p/q with p, q up to 8.")
    elif document["narrowest_band_cents"]:
        band = document["narrowest_band_cents"]
        lines.append(f"A lock narrower than {band:.3g} cents can lie between cells: see --edges.")
    if State.NOT_RUN in document["states"]:
        lines.append("The other parts are still to be run.")
    return "\n".join([*lines, f"file        {document['file']}"])


def _first(names: Sequence[str]) -> str:
    more = f" and {len(names) - SHOWN} more" if len(names) > SHOWN else ""
    return ", ".join(names[:SHOWN]) + more


# --- a cell again --------------------------------------------------------------------------------


def read_cell(words: Mapping[str, Any], path: Path | None, at: Sequence[str]) -> Request:
    """Read the setup of one cell.

    Parameters
    ----------
    words : mapping
        What else was typed; it may be nothing.
    path : Path or None
        The store of a sweep.
    at : sequence of str
        ``FIELD=VALUE`` for each axis.

    Returns
    -------
    Request
        Ready to be rendered; what the sweep found there stands under `cell` in `typed`.

    Raises
    ------
    ReedboreError
        If there is no such sweep, field or value, or something else was typed.
    """
    if path is None:
        raise ReedboreError("--at picks a cell of a sweep: give --from FILE.zarr too")
    if is_atlas(path):
        from reedbore.cli.work import atlas  # noqa: PLC0415 - reads more than a cell needs

        return atlas.read_pair(words, path, at)
    refuse_words(words, f"--from renders a cell of {path}")
    swept = read_sweep(path)
    given = _read_at(swept, at)
    place = [_place(axis, given[axis.name], path) for axis in swept.axes]
    values = [axis.values[number] for axis, number in zip(swept.axes, place, strict=True)]
    said = table.cell_values(path, place)
    ratio = f" near {said['p']}/{said['q']}" if said["p"] else ""
    why = f" ({said['reason']})" if said["reason"] else ""
    change = model_change(swept.model)
    changed = [f"{path}: {change}"] if change else []
    return Request(
        setup=swept.cell(values),
        typed=_typed(swept, values, path, said),
        warnings=(*changed, f"the sweep found here: {said['state']}{ratio}{why}"),
    )


def _typed(swept: Sweep, values: Sequence[float], path: Path, said: Mapping[str, Any]) -> TypedCell:
    """Say what a cell is, and what the sweep found there."""
    at = [f"{axis.name}={axis.text(value)}" for axis, value in zip(swept.axes, values, strict=True)]
    voice, a4 = swept.cell(values).voice, swept.fingered.a4
    fingered = note_name(swept.fingered.hz, a4)
    which = "aimed at" if voice.folded else "sung"
    sung = "nobody sings" if voice.source == "off" else f"{note_name(voice.frequency, a4)} {which}"
    # The title of a take names the sung note and the depth by itself.
    more = [one for one in at if not one.startswith((f"{SUNG}=", VOICE, "voice.depth"))]
    return TypedCell(
        store=str(path),
        cell={name: _finite(value) for name, value in said.items()},
        horn=swept.horn,
        fingered=fingered,
        fingering=swept.fingering,
        at=tuple(at),
        a4_hz=a4,
        fingered_hz=swept.fingered.hz,
        title=", ".join([swept.title, f"{fingered} fingered", sung, *more]),
        stem=file_stem([path.stem, *at]),
    )


def _finite(value: Any) -> Any:
    return None if isinstance(value, float) and not math.isfinite(value) else value


def _read_at(swept: Sweep, at: Sequence[str]) -> dict[str, float]:
    """Read the value of each axis."""
    names = [axis.name for axis in swept.axes]
    given: dict[str, float] = {}
    for one in at:
        name, _, written = (part.strip() for part in one.partition("="))
        if name not in names or not written or name in given:
            raise ReedboreError(
                f"--at {one!r}: write each of {', '.join(names)} once, as NAME=VALUE"
            )
        try:
            given[name] = read_sung(written, swept.fingered) if name == SUNG else float(written)
        except NoteError as error:
            raise NoteError(f"--at {SUNG}: {error}") from error
        except ValueError:
            raise ReedboreError(f"--at {name}: {written!r} is no number") from None
    if missing := [name for name in names if name not in given]:
        raise ReedboreError(f"--at {missing[0]}=VALUE is missing; the sweep has {', '.join(names)}")
    return given


def _place(axis: Axis, value: float, path: Path) -> int:
    """Find a value along an axis."""
    near = sorted(range(len(axis.values)), key=lambda k: abs(axis.values[k] - value))
    tiny = SAME * (axis.values[-1] - axis.values[0])
    if math.isclose(axis.values[near[0]], value, rel_tol=SAME, abs_tol=tiny):
        return near[0]
    first, last = axis.text(axis.values[0]), axis.text(axis.values[-1])
    nearest = " and ".join(axis.text(axis.values[k]) for k in sorted(near[:2]))
    raise ReedboreError(
        f"--at {axis.name}={axis.text(value)}: {path} has {len(axis.values)} values from {first} "
        f"to {last}; the nearest are {nearest}"
    )
