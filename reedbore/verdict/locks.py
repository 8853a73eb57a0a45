"""The lock table: over one fingered note, what may be sung, how exactly, how strongly.

In: a tuned setup with its voice. Out: a `Row` for every ratio p/q, from the simulation alone: what
a listener hears, how long a human voice holds it, the range of detuning over which it locks. All
detunings are in cents against p/q times the pitch that the horn plays with the voice off.
"""

import math
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from reedbore.errors import ModelError
from reedbore.kernel.executor import CPU, Executor
from reedbore.measures import hearing, locking, spectrum
from reedbore.measures.drift import at_rest
from reedbore.measures.locking import Edge, Keeps
from reedbore.model.setup import Setup
from reedbore.model.voice import COMPUTED
from reedbore.notes import simple_ratios
from reedbore.simulate.outside import SOUND_RATE
from reedbore.simulate.take import render
from reedbore.verdict import cells, questions, runs
from reedbore.verdict.human_hold import HELD_CYCLES, beat_of, held_share
from reedbore.verdict.lock_edges import (
    LONGEST_S,
    NARROWEST_CENTS,
    Sought,
    edges_of,
    seek,
    sung_at,
    width,
)
from reedbore.verdict.questions import Pair, Progress
from reedbore.verdict.result import SIMPLE, Control
from reedbore.verdict.state import RowState

LISTEN_S = 4.0
REST_WATCHES = 4
"""So many times as long as a lock is first watched its phase has come to rest."""

BESIDE_CENTS = 5.0
"""So far beside the just note a lock is looked for where the horn leaves its register there."""

DEPTHS = 0.05, 0.1, 0.2, 0.3
"""Soft hum, normal, and strong."""

DEPTH_FINENESS = 1.1
"""The least depth that locks is found to this factor."""

Samples = NDArray[np.float64]
Ratio = tuple[int, int]


@dataclass(frozen=True, kw_only=True)
class Row:
    """What is known of one ratio; None where it was not asked for or has no meaning."""

    ratio: Ratio
    sung_hz: float
    """Where to aim: the middle of the lock, or the just note."""
    state: RowState
    heard: str
    resultant_hz: float
    resultant_level_db: float | None
    low: Edge | None
    high: Edge | None
    nearest: tuple[float, float] | None
    """Where nothing locks: detunings with the beat running either way, as near as was looked."""
    held: float | None
    lock_s: float | None
    by_depth: dict[float, tuple[Edge, Edge] | None] = field(default_factory=dict)
    least_depth: float | None = None
    from_below: float | None = None
    """Where a voice that glides up from outside begins to lock. [cents]"""
    from_above: float | None = None
    confirmed: bool | None = None
    """At twice the rate over a minute: locked just inside and slipping just outside."""

    @property
    def middle(self) -> float:
        """How far `sung_hz` lies above the just note, from which edges count. [cents]."""
        return 0.5 * (self.low.inside + self.high.inside) if self.low and self.high else 0.0


@dataclass(frozen=True, kw_only=True)
class Table:
    """The lock table of one fingered note."""

    setup: Setup
    fingered_hz: float
    voice_off_hz: float
    period: int
    rows: tuple[Row, ...]


def lock_table(
    setup: Setup,
    fingered_hz: float,
    *,
    voice_range: tuple[float, float] | None = None,
    thorough: bool = False,
    confirm: bool = False,
    progress: Progress | None = None,
    executor: Executor = CPU,
) -> Table:
    """Make the lock table of one fingered note.

    Parameters
    ----------
    setup : Setup
        The horn with the note fingered, breath and voice; the sung frequency does not matter.
    fingered_hz : float
        The note that was asked for. [Hz]
    voice_range : (low, high), optional
        Only what lies between is looked at; by default all ratios with p, q ≤ 8. [Hz]
    thorough : bool
        Also lock range against depth, least depth, and hysteresis.
    confirm : bool
        Also watch each lock for a minute at twice the rate.
    progress : callable, optional
        Told the share done.
    executor : Executor
        The machine that searches; as many threads as are best for it listen.

    Returns
    -------
    Table
        Rows by rising sung pitch.

    Raises
    ------
    ModelError
        If the reed does not sound by itself or has a subharmonic of its own, or if a thorough
        table is asked of a voice whose depth is not set.
    """
    if thorough and setup.voice.flows:
        raise ModelError(f"a thorough table varies the depth, but {COMPUTED}")
    parts = 1.0 + 4.0 * thorough + confirm

    def tell(done: float) -> None:
        if progress:
            progress(done / parts)

    at_once = partial(_at_once, tell=tell, threads=executor.threads)
    control = alone(setup, executor)
    assert control.hz is not None
    ratios = [
        ratio
        for ratio in simple_ratios(SIMPLE)
        if _within(control.hz * ratio[0] / ratio[1], voice_range)
    ]
    sought = edges_of(
        setup, control.hz, ratios, progress=lambda share: tell(0.6 * share), executor=executor
    )
    rows = [_row(control, ratio, found) for ratio, found in zip(ratios, sought, strict=True)]
    rows = at_once(lambda row: _listened(setup, control, row), rows, start=0.6, end=0.9)
    rows = _looked_beside(setup, control, rows, executor)
    tell(1.0)
    if thorough:
        rows = _by_depth(setup, control.hz, rows, tell)
        rows = at_once(lambda row: _approached(setup, control, row), rows, start=4.6, end=5.0)
    if confirm:
        rows = _confirmed(setup, rows)
        tell(parts)
    rows.sort(key=lambda row: row.sung_hz)
    period = control.period or 0
    return Table(
        setup=setup,
        fingered_hz=fingered_hz,
        voice_off_hz=control.hz,
        period=period,
        rows=tuple(rows),
    )


def alone(setup: Setup, executor: Executor = CPU) -> Control:
    """Play the horn with the voice off; a ModelError where there is nothing that could lock."""
    control = cells.controls_of([setup], executor=executor)[0]
    if control.hz is None:
        raise ModelError(
            f"the reed does not sound by itself at {setup.breath.pressure / 1e3:.3g} kPa; "
            "there is nothing to lock (breath.pressure_kpa)"
        )
    if (control.period or 1) > 1:
        raise ModelError(
            f"the horn repeats every {control.period} periods without a voice; "
            "no lock could be credited to the voice (breath.pressure_kpa)"
        )
    return control


def _within(hz: float, bounds: tuple[float, float] | None) -> bool:
    low, high = bounds or (20.0, 2000.0)
    return low <= hz <= high


def _row(control: Control, ratio: Ratio, found: Sought | None) -> Row:
    assert control.hz is not None
    p, q = ratio
    just = control.hz * p / q
    edges = found.edges if found else None
    state = RowState.FREE
    if edges:
        state = RowState.LOCKED if width(edges) >= NARROWEST_CENTS else RowState.NARROW
    aim = 0.5 * (edges[0].inside + edges[1].inside) if edges else 0.0
    return Row(
        ratio=ratio,
        sung_hz=just * 2.0 ** (aim / 1200.0),
        state=state,
        heard="no",
        resultant_hz=control.hz / q,
        resultant_level_db=None,
        low=edges[0] if edges else None,
        high=edges[1] if edges else None,
        nearest=found.nearest if found and not edges else None,
        held=None,
        lock_s=None,
    )


def _at_once(
    work: Callable[[Row], Row],
    rows: list[Row],
    *,
    tell: Progress,
    threads: int,
    start: float,
    end: float,
) -> list[Row]:
    """Work on all rows with a few threads; compiled steps run side by side."""
    done = []
    with ThreadPoolExecutor(threads) as pool:
        for row in pool.map(work, rows):
            done.append(row)
            tell(start + (end - start) * len(done) / len(rows))
    return done


def _listened(setup: Setup, control: Control, row: Row) -> Row:
    """Hear the row where a player would aim, and let a human voice try to hold it."""
    take = render(sung_at(setup, row.sung_hz), LISTEN_S)
    late = take.sound[take.sound.size // 2 :]
    found = spectrum.lines(late, SOUND_RATE, -70.0)
    level, heard = hearing.third_note(found, row.ratio, row.resultant_hz)
    played, jumped = runs.played_pitch(take, control, row.sung_hz)
    if row.state != RowState.LOCKED and (jumped or played is None):
        return replace(row, state=RowState.JUMPED)
    held = lock_s = None
    if row.state == RowState.LOCKED:
        held = held_share(setup, row.sung_hz, row.ratio)
        lock_s = _time_to_lock(setup, row)
    return replace(row, heard=heard, resultant_level_db=level, held=held, lock_s=lock_s)


def _time_to_lock(setup: Setup, row: Row) -> float | None:
    """Measure from when on the phase stays where it ends. [s]."""
    watched = REST_WATCHES * locking.FIRST_WATCH
    times, beat = beat_of(sung_at(setup, row.sung_hz), row.ratio, watched, 0.0)
    rest = at_rest(times, beat - np.median(beat[-beat.size // 8 :]))
    return rest if rest < times[-1] else None


def _looked_beside(
    setup: Setup, control: Control, rows: list[Row], executor: Executor
) -> list[Row]:
    """Where the just note throws the horn out of its register, look for a lock on either side."""
    assert control.hz is not None
    for start in (-BESIDE_CENTS, BESIDE_CENTS):
        left = [k for k, row in enumerate(rows) if row.state == RowState.JUMPED]
        pairs = []
        for k in left:
            p, q = rows[k].ratio
            pairs.append(Pair(sung_at(setup, control.hz * p / q), p, q))
        sought = seek(pairs, LONGEST_S, lambda _: None, start, executor)
        for k, found in zip(left, sought, strict=True):
            if found is not None and found.edges:
                rows[k] = _listened(setup, control, _row(control, rows[k].ratio, found))
    return rows


def _by_depth(setup: Setup, voice_off_hz: float, rows: list[Row], tell: Progress) -> list[Row]:
    """Find each lock range at the usual depths, and the least depth that locks."""
    ratios = [row.ratio for row in rows]
    found: dict[float, list[Sought | None]] = {}
    for depth in DEPTHS:
        found[depth] = edges_of(setup.with_value("voice.depth", depth), voice_off_hz, ratios)
        tell(1.0 + 3.0 * len(found) / len(DEPTHS))
    wide = []
    for k in range(len(rows)):
        seen = {depth: sought[k] for depth, sought in found.items()}
        wide.append({depth: one.edges if one else None for depth, one in seen.items()})
    least = _least_depths(setup, voice_off_hz, ratios, [_least_bracket(edges) for edges in wide])
    return [
        replace(row, by_depth=ranges, least_depth=depth)
        for row, ranges, depth in zip(rows, wide, least, strict=True)
    ]


def _least_bracket(
    ranges: dict[float, tuple[Edge, Edge] | None],
) -> tuple[float, float] | None:
    """Return a depth that does not lock and the next one that does; None if none does."""
    below = 0.0
    for depth, edges in sorted(ranges.items()):
        if width(edges) >= NARROWEST_CENTS:
            return below, depth
        below = depth
    return None


def _least_depths(
    setup: Setup,
    voice_off_hz: float,
    ratios: list[Ratio],
    brackets: list[tuple[float, float] | None],
) -> list[float | None]:
    """Close in on the least depth that locks, all ratios side by side."""
    lows = [max(bracket[0], 0.01) if bracket else 0.0 for bracket in brackets]
    highs = [bracket[1] if bracket else 0.0 for bracket in brackets]
    while True:
        open_ones = [k for k, high in enumerate(highs) if high > DEPTH_FINENESS * lows[k] > 0.0]
        if not open_ones:
            return [high or None for high in highs]
        pairs = []
        for k in open_ones:
            p, q = ratios[k]
            shallow = setup.with_value("voice.depth", math.sqrt(lows[k] * highs[k]))
            pairs.append(Pair(sung_at(shallow, voice_off_hz * p / q), p, q))
        found = seek(pairs, LONGEST_S, lambda _: None)
        for k, sought in zip(open_ones, found, strict=True):
            middle = math.sqrt(lows[k] * highs[k])
            if sought is not None and width(sought.edges) >= NARROWEST_CENTS:
                highs[k] = middle
            else:
                lows[k] = middle


GLIDE_S = 30.0
"""In this time a voice glides through an edge. [s]"""


def _approached(setup: Setup, control: Control, row: Row) -> Row:
    """Glide into the lock from below and from above, and look where it takes hold."""
    if row.low is None or row.high is None or row.state != RowState.LOCKED:
        return row
    assert control.hz is not None
    just = control.hz * row.ratio[0] / row.ratio[1]
    outside = max(0.5 * width((row.low, row.high)), 0.5)
    below = _taken_hold(setup, just, row.ratio, row.low.outside - outside, row.high.inside)
    above = _taken_hold(setup, just, row.ratio, row.high.outside + outside, row.low.inside)
    return replace(row, from_below=below, from_above=above)


def _taken_hold(setup: Setup, just: float, ratio: Ratio, start: float, end: float) -> float | None:
    """Glide from one detuning to another; return the first from where the beat stands. [cents]."""
    rate = setup.time.rate
    n = round((GLIDE_S + 2.0) * rate)
    curve = np.interp(np.arange(n) / rate, (2.0, 2.0 + GLIDE_S), (start, end))
    times, beat = beat_of(sung_at(setup, just), ratio, n / rate, curve)
    moving = np.flatnonzero(np.abs(beat - np.median(beat[-beat.size // 50 :])) > HELD_CYCLES)
    if not moving.size or moving[-1] + 1 >= times.size:
        return None
    return float(np.interp(times[moving[-1] + 1], (2.0, 2.0 + GLIDE_S), (start, end)))


def _confirmed(setup: Setup, rows: list[Row]) -> list[Row]:
    """Watch a minute at twice the rate, just inside and just outside of each edge."""
    fine = setup.with_value("time.rate_hz", 2.0 * setup.time.rate)
    off = cells.controls_of([fine])[0].hz
    assert off is not None
    asked: list[tuple[int, float]] = []
    for k, row in enumerate(rows):
        if row.state == RowState.LOCKED and row.low and row.high:
            room = min(0.1, 0.25 * width((row.low, row.high)))
            for edge, way in ((row.low, -1.0), (row.high, 1.0)):
                asked += [(k, edge.inside - way * room), (k, edge.outside + way * 0.1)]
    pairs = [
        Pair(sung_at(fine, off * rows[k].ratio[0] / rows[k].ratio[1]), *rows[k].ratio)
        for k, _ in asked
    ]
    states = questions.ask(pairs, [_a_minute(detuning) for _, detuning in asked])
    seen: dict[int, list[Any]] = {}
    for (k, _), state in zip(asked, states, strict=True):
        seen.setdefault(k, []).append(state)
    good = [Keeps.FOLLOWS, Keeps.SLIPS] * 2
    return [
        replace(row, confirmed=seen[k] == good) if k in seen else row for k, row in enumerate(rows)
    ]


def _a_minute(detuning: float) -> locking.Question[Keeps]:
    """Watch for a minute, and on while it is not decided."""
    found = yield locking.Request(detuning, 60.0)
    if found.state == Keeps.UNDECIDED:
        found = yield from locking.watch(detuning)
    return found.state
