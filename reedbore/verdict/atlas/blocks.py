"""One note at one depth: what is worked out for it, as arrays that a store keeps.

In: an atlas and a block of it. Out: the rows of the lock table of a voice like a clock, or of a
singer whose folds feel the horn.
"""

import math
from typing import Any

from reedbore.errors import ModelError
from reedbore.kernel.executor import CPU, Executor
from reedbore.notes import midi_to_hz
from reedbore.verdict import locks, singer
from reedbore.verdict.atlas.plan import RATIOS, SIDES, Atlas
from reedbore.verdict.locks import Row
from reedbore.verdict.questions import Progress
from reedbore.verdict.singer import SingerRow
from reedbore.verdict.state import Heard, KeptState, RowState, broke_down
from reedbore.verdict.sweep.cells import Block, Values, as_letters, blank
from reedbore.verdict.sweep.plan import TABLES, check_model


def clock_block(
    atlas: Atlas, block: Block, *, executor: Executor = CPU, progress: Progress | None = None
) -> Values:
    """Make the lock table of a voice like a clock for one note and depth.

    Parameters
    ----------
    atlas : Atlas
        What is made.
    block : tuple of slice
        One note, one depth, all ratios.
    executor : Executor
        The machine that searches.
    progress : callable, optional
        Told the share done.

    Returns
    -------
    dict
        An array in the shape of the block for each of `plan.CLOCK`.
    """
    out, flat = _blank("clock", block)
    midi, depth = _at(atlas, block)
    try:
        hz = midi_to_hz(midi, atlas.a4)
        found = locks.lock_table(
            atlas.setup(midi, depth), hz, voice_range=atlas.reach, progress=progress,
            executor=executor,
        )  # fmt: skip
    except (ModelError, ArithmeticError, LookupError, ValueError) as error:
        return _no_table(out, flat, error)
    flat["voice_off_hz"][:] = found.voice_off_hz
    for row in found.rows:
        k = RATIOS.index(row.ratio)
        kept = _kept(row) | {
            "sung_hz": row.sung_hz,
            "resultant_hz": row.resultant_hz,
            "level_db": row.resultant_level_db,
            "lock_s": row.lock_s,
        }
        if row.nearest is not None:
            kept |= {"nearest_low_cents": row.nearest[0], "nearest_high_cents": row.nearest[1]}
        _put(flat, k, kept)
    return out


def singer_block(
    atlas: Atlas, block: Block, *, executor: Executor = CPU, progress: Progress | None = None
) -> Values:
    """Find out what one singer can do over one note at one depth; as `clock_block`."""
    out, flat = _blank("singer", block)
    midi, depth = _at(atlas, block)
    try:
        setup = singer.singers(atlas.setup(midi, depth))[atlas.voices[block[2].start]]
        off = locks.alone(setup, executor).hz
        assert off is not None
        low, high = atlas.reach or (-math.inf, math.inf)
        ratios = [ratio for ratio in RATIOS if low <= off * ratio[0] / ratio[1] <= high]
        (rows,) = singer.singer_rows([setup], off, ratios, progress, executor)
    except (ModelError, ArithmeticError, LookupError, ValueError) as error:
        return _no_table(out, flat, error)
    flat["voice_off_hz"][:] = off
    for row in rows:
        kept = _kept(row) | {"just_hz": row.just_hz, "depth": row.depth, "reason": row.reason}
        if row.middle is not None:
            names = "sung_hz", "played_hz", "pulled_cents", "lungs_pa"
            kept |= dict(zip(names, row.middle, strict=True))
        _put(flat, RATIOS.index(row.ratio), kept)
    return out


def _at(atlas: Atlas, block: Block) -> tuple[int, float]:
    """Say which note and depth a block is for."""
    check_model(atlas, "atlas")
    return atlas.notes[block[0].start], atlas.depths[block[1].start]


def _blank(who: str, block: Block) -> tuple[Values, Values]:
    """Make the arrays of a block, and the same without its axes and the name of the table."""
    shape = tuple(part.stop - part.start for part in block)
    out = blank(TABLES[who][0], shape)
    flat = {
        name.removeprefix(f"{who}_"): array.reshape(len(RATIOS), *array.shape[len(shape) :])
        for name, array in out.items()
    }
    flat["state"][:] = KeptState.ELSEWHERE.code
    return out, flat


def _no_table(out: Values, flat: Values, error: Exception) -> Values:
    """Keep of a note only why it has no table."""
    why = str(error) if isinstance(error, ModelError) else broke_down(error)
    flat["state"][:] = KeptState.NO_TABLE.code
    flat["reason"][:] = as_letters("; ".join(why.splitlines()))
    return out


def _kept(row: Row | SingerRow) -> dict[str, Any]:
    """Take what both kinds of rows have."""
    edges = dict(zip(SIDES, (row.low, row.high), strict=True))
    ends = {f"{side}_cents": edge.inside for side, edge in edges.items() if edge}
    ends |= {f"{side}_outside_cents": edge.outside for side, edge in edges.items() if edge}
    heard = Heard(row.heard).code if row.heard else None
    return {"state": RowState(row.state).code, "heard": heard, "held": row.held, **ends}


def _put(flat: Values, k: int, kept: dict[str, Any]) -> None:
    for name, value in kept.items():
        if name == "reason":
            flat[name][k] = as_letters(value)
        elif value is not None:
            flat[name][k] = value
