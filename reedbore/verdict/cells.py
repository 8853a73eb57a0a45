"""Many setups judged at once, by the same questions as a take.

In: setups. Out: a `Cell` each, which depends on its setup alone, never on what stands beside it.
"""

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from reedbore import stopping
from reedbore.kernel.executor import CPU, Executor
from reedbore.measures import locking, pitch
from reedbore.model.setup import Setup
from reedbore.model.voice import Voice
from reedbore.notes import cents, choose_ratio
from reedbore.simulate.batch import Lanes
from reedbore.simulate.mouth import depth
from reedbore.verdict import runs
from reedbore.verdict.questions import Pair, Progress, ask
from reedbore.verdict.state import HornState, Reason, State, own_period
from reedbore.verdict.take import FUSED_HZ, NEAR_CENTS, SIMPLE

LOOK_S = 0.5
"""The end of a run, in which the pressure itself is looked at. [s]"""

SHORTEST_S = 1.0
"""A shorter run shows too little of a beat to tell anything. [s]"""

Samples = NDArray[np.float64]


class Cell(NamedTuple):
    """What became of the two notes of one setup; nan where a quantity has no meaning."""

    state: State
    """As in a verdict."""
    reason: str | None = None
    p: int = 0
    q: int = 0
    """Ratio sung/played, 0 if none is near."""
    sung_hz: float = math.nan
    played_hz: float = math.nan
    played_cents: float = math.nan
    """Off the fingered note."""
    jumped: bool = False
    resultant_hz: float = math.nan
    drift_hz: float = math.nan
    period: int = 0
    """Of the horn alone, in periods of its note; 0 if unknown."""
    voice_off_hz: float = math.nan


def judge_cells(
    setups: Sequence[Setup],
    fingered_hz: Sequence[float],
    *,
    seconds: float | None = None,
    progress: Progress | None = None,
    executor: Executor = CPU,
) -> list[Cell]:
    """Judge many setups.

    Parameters
    ----------
    setups : sequence of Setup
        Steady voices or none; a recorded one is refused.
    fingered_hz : sequence of float
        The note that each fingers, to measure the played pitch against. [Hz]
    seconds : float, optional
        No run is longer, and what cannot be decided then is 'undecided'; by default as
        long as the decision needs, at most `locking.LAST_WATCH`. [s]
    progress : callable, optional
        Told the share done so far, from 0 to 1.
    executor : Executor
        The machine that steps them.

    Returns
    -------
    list of Cell
        In order.

    Raises
    ------
    ModelError
        If a setup cannot be stepped.
    """
    cells: list[Cell] = []
    tell = progress or (lambda _: None)
    controls: dict[Setup, runs.Control] = {}
    for start in range(0, len(setups), executor.width):
        stopping.check()
        here = slice(start, start + executor.width)
        part = list(setups[here])
        heard = controls_of(part, controls, seconds, executor)
        firsts = _first_looks(part, heard, seconds, executor)
        named = [
            _named(cell, control, hz)
            for cell, control, hz in zip(firsts, heard, fingered_hz[here], strict=True)
        ]
        longest = locking.LAST_WATCH if seconds is None else seconds
        if longest >= SHORTEST_S:
            named = _decided(part, named, fingered_hz[here], longest, executor)
        cells += named
        tell(len(cells) / len(setups))
    return cells


def controls_of(
    setups: Sequence[Setup],
    known: dict[Setup, runs.Control] | None = None,
    seconds: float | None = None,
    executor: Executor = CPU,
) -> list[runs.Control]:
    """Play each different horn once with its voice off.

    Parameters
    ----------
    setups : sequence of Setup
        With or without voices.
    known : dict, optional
        Horns that were played before; the new ones are added.
    seconds : float, optional
        How long at least. [s]
    executor : Executor
        The machine that steps them.

    Returns
    -------
    list of Control
        In order, without sound.
    """
    known = {} if known is None else known
    off = [
        setup.model_copy(update={"voice": setup.voice.model_copy(update=_SILENCED)})
        for setup in setups
    ]
    fresh = [setup for setup in dict.fromkeys(off) if setup not in known]
    if fresh:
        length = max(seconds or 0.0, runs.LEAST_SECONDS)
        lanes = Lanes(fresh, 100.0, executor=executor)
        rate = lanes.rate
        lanes.advance(length - 1.0)

        def look(lane: int, pressure: Samples) -> runs.Control:
            if lanes.burst[lane] or not np.isfinite(pressure).all():
                return runs.NO_CONTROL
            return runs.control_of(fresh[lane], pressure[-round(rate) :])

        known.update(zip(fresh, lanes.watch(round(rate), look), strict=True))
    return [known[setup] for setup in off]


_SILENCED = dict(Voice(source="off", depth=0.0))


def _first_looks(
    setups: list[Setup],
    controls: list[runs.Control],
    seconds: float | None,
    executor: Executor,
) -> list[Cell]:
    """Run all once and measure what is played."""
    cells = [_unsounded(s, control) for s, control in zip(setups, controls, strict=True)]
    open_ones = [k for k, cell in enumerate(cells) if cell is None]
    if open_ones:
        part = [setups[k] for k in open_ones]
        heard = [controls[k] for k in open_ones]
        for k, cell in zip(open_ones, _played(part, heard, seconds, executor), strict=True):
            cells[k] = cell
    return [cell for cell in cells if cell is not None]


def _unsounded(setup: Setup, control: runs.Control) -> Cell | None:
    """Judge what needs no run with the voice."""
    period = control.period or 0
    if control.state == HornState.FAILED:
        return Cell(State.FAILED, Reason.DIVERGED)
    if setup.voice.source == "off" or depth(setup) == 0.0:
        if control.hz is None:
            return Cell(State.SILENT)
        return Cell(State.UNSUNG, played_hz=control.hz, period=period, voice_off_hz=control.hz)
    if control.hz is None:
        return Cell(State.SILENT, Reason.MUTE, sung_hz=setup.voice.frequency)
    return None


def _played(
    setups: list[Setup],
    controls: list[runs.Control],
    seconds: float | None,
    executor: Executor,
) -> list[Cell]:
    length = seconds or runs.LEAST_SECONDS
    reference = np.array([control.hz for control in controls], np.float64)
    lanes = Lanes(setups, reference, executor=executor)
    look_s = min(LOOK_S, 0.5 * length)
    lines = lanes.advance(length - look_s)
    late = lines.times >= 0.5 * (length - look_s)
    # The slope of the straight line through a phase, by least squares, is a sum with these.
    since = lines.times[late] - lines.times[late].mean()
    weights = since / np.sum(since**2)

    def look(lane: int, pressure: Samples) -> Cell:
        if lanes.burst[lane] or not np.isfinite(pressure).all():
            return Cell(State.FAILED, Reason.DIVERGED)
        line = lines.line[lane, late]
        track = np.unwrap(np.angle(line)) / (2.0 * math.pi)
        hz = reference[lane] + float(np.sum(weights * track))
        tail = pressure[-round(look_s * lanes.rate) :]
        return _seen(setups[lane], controls[lane], hz, np.abs(line), tail)

    return lanes.watch(round(look_s * lanes.rate), look)


def _seen(
    setup: Setup, control: runs.Control, hz: float, amplitude: Samples, tail: Samples
) -> Cell:
    """Name what is played: the horn's own line, or what has taken its place."""
    sung = setup.voice.frequency
    thin, rate = pitch.thin(tail, setup.time.rate)
    if np.median(amplitude) <= 0.25 * control.amplitude:
        other = runs.other_line(thin, rate, control, sung)
        if other is None:
            return Cell(State.SILENT, Reason.ONLY_VOICE, sung_hz=sung)
        hz = other
    assert control.hz is not None
    jumped = bool(abs(cents(hz, control.hz)) > runs.JUMP_CENTS)
    ratio = choose_ratio(sung / hz, NEAR_CENTS, SIMPLE)
    p, q = ratio or (0, 0)
    drift = p * hz - q * sung if ratio else math.nan
    state = State.UNDECIDED
    reason: str | None = Reason.UNDECIDED
    if ratio is None or abs(drift) >= FUSED_HZ:
        state = runs.line_state(thin, rate, hz, sung)
        reason, p, q, drift = None, 0, 0, math.nan
    return Cell(state, reason, p, q, sung, hz, jumped=jumped, drift_hz=drift)


def _named(cell: Cell, control: runs.Control, fingered_hz: float) -> Cell:
    """Add what is known of the horn alone, and the names of what is played."""
    off = math.nan if control.hz is None else control.hz
    played = cell.played_hz
    return cell._replace(
        played_cents=cents(played, fingered_hz) if played > 0.0 else math.nan,
        resultant_hz=played / cell.q if cell.q else math.nan,
        period=control.period or 0,
        voice_off_hz=off,
    )


def _decided(
    setups: list[Setup],
    cells: list[Cell],
    fingered: Sequence[float],
    longest: float,
    executor: Executor,
) -> list[Cell]:
    """Watch on all that are near a ratio until it is known whether they lock."""
    near = [k for k, cell in enumerate(cells) if cell.state == State.UNDECIDED]
    pairs = [Pair(setups[k], cells[k].p, cells[k].q) for k in near]
    questions = [locking.decide(longest=longest) for _ in near]
    for k, found in zip(near, ask(pairs, questions, executor=executor), strict=True):
        cells[k] = _judged(cells[k], found, fingered[k])
    return cells


def _judged(cell: Cell, found: locking.Decision | None, fingered_hz: float) -> Cell:
    if found is None:
        return Cell(State.FAILED, Reason.DIVERGED, sung_hz=cell.sung_hz)
    if found.locked and cell.period > 1:
        return cell._replace(state=State.DRIFTING, reason=own_period(cell.period))
    if found.locked:
        played = cell.sung_hz * cell.q / cell.p
        return cell._replace(
            state=State.LOCKED,
            reason=None,
            played_hz=played,
            played_cents=cents(played, fingered_hz),
            resultant_hz=played / cell.q,
            drift_hz=0.0,
        )
    if found.decided:
        return cell._replace(state=State.DRIFTING, reason=None, drift_hz=found.drift_hz)
    return cell._replace(drift_hz=found.drift_hz)
