"""Many setups judged at once: the same questions as for a take, put to lanes that run side by side.

In: setups. Out: a `Cell` each, or the answers to questions of `measures.locking`. A cell depends on
its setup alone, never on what stands beside it.
"""

import math
import os
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from reedbore import listening
from reedbore.kernel.lanes import Lanes
from reedbore.measures import locking, pitch
from reedbore.measures.locking import Course, Request
from reedbore.model import Setup
from reedbore.notes import cents, choose_ratio
from reedbore.verdict import FUSED_HZ, NEAR_CENTS, ONLY_VOICE, SIMPLE, UNDECIDED

BATCH = 2048
"""Setups that run at the same time."""

LOOK_S = 0.5
"""The end of a run, in which the pressure itself is looked at. [s]"""

BANDS_HZ = 20.0, 10.0, 5.0, 2.5
"""Half the widths of the bands that lines are followed in; near partials ask for narrow ones."""

Samples = NDArray[np.float64]
Progress = Callable[[float], None]


class Cell(NamedTuple):
    """What became of the two notes of one setup; nan where a quantity has no meaning."""

    state: str
    """As in a verdict, or 'undecided'."""
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


class Pair(NamedTuple):
    """A setup and the ratio p/q at which its two notes are watched."""

    setup: Setup
    p: int
    q: int


class _Batch(NamedTuple):
    """Lanes that started together, and what they have shown so far."""

    lanes: Lanes
    members: list[int]
    lines: list[NDArray[Any]]
    times: list[Samples]


def ask(
    pairs: Sequence[Pair],
    questions: Sequence[locking.Question[Any]],
    progress: Progress | None = None,
) -> list[Any]:
    """Put a question to each of many pairs.

    Parameters
    ----------
    pairs : sequence of Pair
        What is watched.
    questions : sequence of generator
        One for each, from `measures.locking`.
    progress : callable, optional
        Told the share of questions answered so far.

    Returns
    -------
    list
        The answers, in order; a pair that diverges answers None.
    """
    answers: list[Any] = [None] * len(pairs)
    wanted: dict[int, Request] = {}
    for k, question in enumerate(questions):
        try:
            wanted[k] = next(question)
        except StopIteration as end:
            answers[k] = end.value
    batches: list[_Batch] = []
    running: dict[int, float] = {}
    while wanted:
        batches = _continued(batches, pairs, wanted, running)
        running = {k: request.detuning for k, request in wanted.items()}
        _watched_on(batches, wanted)
        courses = _courses(batches, pairs, wanted)
        for k, course in courses.items():
            try:
                if course is None:
                    del wanted[k]
                else:
                    wanted[k] = questions[k].send(course)
            except StopIteration as end:
                answers[k] = end.value
                del wanted[k]
        if progress:
            progress(1.0 - len(wanted) / len(pairs))
    return answers


def _continued(
    batches: list[_Batch],
    pairs: Sequence[Pair],
    wanted: dict[int, Request],
    running: dict[int, float],
) -> list[_Batch]:
    """Keep the lanes that are to be watched on, and start those that are new."""
    kept = []
    for batch in batches:
        stays = [k in wanted and running[k] == wanted[k].detuning for k in batch.members]
        if any(stays):
            batch.lanes.keep(np.array(stays))
            lines = [line[np.array(stays)] for line in batch.lines]
            members = [k for k, stay in zip(batch.members, stays, strict=True) if stay]
            kept.append(_Batch(batch.lanes, members, lines, batch.times))
    busy = {k for batch in kept for k in batch.members}
    fresh: dict[float, list[int]] = {}
    for k in wanted:
        if k not in busy:
            fresh.setdefault(_band(pairs[k]), []).append(k)
    for band, members in fresh.items():
        starts = range(0, len(members), BATCH)
        kept += [_started(members[k : k + BATCH], pairs, wanted, band) for k in starts]
    return kept


def _band(pair: Pair) -> float:
    spacing = pair.setup.voice.frequency / pair.p
    return next((band for band in BANDS_HZ if band <= spacing), BANDS_HZ[-1])


def _started(
    members: list[int], pairs: Sequence[Pair], wanted: dict[int, Request], band: float
) -> _Batch:
    pulls = np.array([wanted[k].detuning for k in members])
    setups = [pairs[k].setup for k in members]
    scale = np.array([pairs[k].q / pairs[k].p for k in members])
    sung = np.array([setup.voice.frequency for setup in setups]) * 2.0 ** (pulls / 1200.0)
    return _Batch(Lanes(setups, sung * scale, pulls, band_hz=band), members, [], [])


def _watched_on(batches: list[_Batch], wanted: dict[int, Request]) -> None:
    """Step all batches on, several small ones side by side."""

    def step(batch: _Batch) -> None:
        seconds = max(wanted[k].seconds for k in batch.members)
        if seconds > batch.lanes.seconds + 1e-6:
            found = batch.lanes.advance(seconds - batch.lanes.seconds)
            batch.lines.append(found.line)
            batch.times.append(found.times)

    with ThreadPoolExecutor(os.cpu_count() or 1) as pool:
        # The longest first, so that no core waits for one that was started last.
        list(pool.map(step, sorted(batches, key=lambda batch: -len(batch.members))))


def _courses(
    batches: list[_Batch], pairs: Sequence[Pair], wanted: dict[int, Request]
) -> dict[int, Course | None]:
    """Return what each lane has shown, up to the time that was asked for; None after a burst."""
    found: dict[int, Course | None] = {}
    for batch in batches:
        times, lines = np.concatenate(batch.times), np.concatenate(batch.lines, axis=1)
        for row, k in enumerate(batch.members):
            asked = times <= wanted[k].seconds
            line = lines[row, asked]
            if batch.lanes.burst[row] or not np.isfinite(line).all():
                found[k] = None
                continue
            cycles = pairs[k].p * np.unwrap(np.angle(line)) / (2.0 * math.pi)
            found[k] = Course(times[asked], cycles, float(batch.lanes.sung_hz[row] * pairs[k].q))
    return found


def judge_cells(
    setups: Sequence[Setup],
    fingered_hz: Sequence[float],
    *,
    seconds: float | None = None,
    progress: Progress | None = None,
) -> list[Cell]:
    """Judge many setups.

    Parameters
    ----------
    setups : sequence of Setup
        Steady voices or none; a recorded one is refused.
    fingered_hz : sequence of float
        The note that each fingers, to measure the played pitch against. [Hz]
    seconds : float, optional
        Each cell runs just so long, and what cannot be decided then is 'undecided'; by default as
        long as the decision needs, at most `locking.LAST_WATCH`. [s]
    progress : callable, optional
        Told the share done so far, from 0 to 1.

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
    controls: dict[Setup, listening.Control] = {}
    for start in range(0, len(setups), BATCH):
        part = list(setups[start : start + BATCH])
        heard = controls_of(part, controls, seconds)
        firsts = _first_looks(part, heard, seconds)
        named = [
            _named(cell, control, hz)
            for cell, control, hz in zip(
                firsts, heard, fingered_hz[start : start + BATCH], strict=True
            )
        ]
        if seconds is None:
            named = _decided(part, named, fingered_hz[start : start + BATCH])
        cells += named
        tell(len(cells) / len(setups))
    return cells


def controls_of(
    setups: Sequence[Setup],
    known: dict[Setup, listening.Control] | None = None,
    seconds: float | None = None,
) -> list[listening.Control]:
    """Play each different horn once with its voice off.

    Parameters
    ----------
    setups : sequence of Setup
        With or without voices.
    known : dict, optional
        Horns that were played before; the new ones are added.
    seconds : float, optional
        How long at least. [s]

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
        length = max(seconds or 0.0, listening.LEAST_SECONDS)
        lanes = Lanes(fresh, 100.0)
        rate = lanes.rate
        lanes.advance(length - 1.0)

        def look(lane: int, pressure: Samples) -> listening.Control:
            if lanes.burst[lane] or not np.isfinite(pressure).all():
                return listening.NO_CONTROL
            return listening.control_of(fresh[lane], pressure[-round(rate) :])

        known.update(zip(fresh, lanes.watch(round(rate), look), strict=True))
    return [known[setup] for setup in off]


_SILENCED = {"source": "off", "frequency": 220.0, "depth": 0.0, "rd": 1.0, "file": None}


def _first_looks(
    setups: list[Setup], controls: list[listening.Control], seconds: float | None
) -> list[Cell]:
    """Run all once and measure what is played."""
    cells = [_unsounded(s, control) for s, control in zip(setups, controls, strict=True)]
    open_ones = [k for k, cell in enumerate(cells) if cell is None]
    if open_ones:
        part = [setups[k] for k in open_ones]
        heard = [controls[k] for k in open_ones]
        for k, cell in zip(open_ones, _played(part, heard, seconds), strict=True):
            cells[k] = cell
    return [cell for cell in cells if cell is not None]


def _unsounded(setup: Setup, control: listening.Control) -> Cell | None:
    """Judge what needs no run with the voice."""
    period = control.period or 0
    if control.state == "failed":
        return Cell("failed", "the simulation diverged")
    if setup.voice.source == "off" or setup.voice.depth == 0.0:
        if control.hz is None:
            return Cell("silent")
        return Cell("unsung", played_hz=control.hz, period=period, voice_off_hz=control.hz)
    if control.hz is None:
        reason = "the reed does not sound by itself"
        return Cell("silent", reason, sung_hz=setup.voice.frequency)
    return None


def _played(
    setups: list[Setup], controls: list[listening.Control], seconds: float | None
) -> list[Cell]:
    length = seconds or listening.LEAST_SECONDS
    reference = np.array([control.hz for control in controls], np.float64)
    lanes = Lanes(setups, reference)
    look_s = min(LOOK_S, 0.5 * length)
    lines = lanes.advance(length - look_s)
    late = lines.times >= 0.5 * (length - look_s)

    def look(lane: int, pressure: Samples) -> Cell:
        if lanes.burst[lane] or not np.isfinite(pressure).all():
            return Cell("failed", "the simulation diverged")
        line = lines.line[lane, late]
        track = np.unwrap(np.angle(line)) / (2.0 * math.pi)
        hz = reference[lane] + float(np.polyfit(lines.times[late], track, 1)[0])
        tail = pressure[-round(look_s * lanes.rate) :]
        return _seen(setups[lane], controls[lane], hz, np.abs(line), tail)

    return lanes.watch(round(look_s * lanes.rate), look)


def _seen(
    setup: Setup, control: listening.Control, hz: float, amplitude: Samples, tail: Samples
) -> Cell:
    """Name what is played: the horn's own line, or what has taken its place."""
    sung = setup.voice.frequency
    thin, rate = pitch.thin(tail, setup.time.rate)
    if np.median(amplitude) <= 0.25 * control.amplitude:
        other = listening.other_line(thin, rate, control, sung)
        if other is None:
            return Cell("silent", ONLY_VOICE, sung_hz=sung)
        hz = other
    assert control.hz is not None
    jumped = bool(abs(cents(hz, control.hz)) > listening.JUMP_CENTS)
    ratio = choose_ratio(sung / hz, NEAR_CENTS, SIMPLE)
    p, q = ratio or (0, 0)
    drift = p * hz - q * sung if ratio else math.nan
    state = "undecided"
    reason: str | None = UNDECIDED
    if ratio is None or abs(drift) >= FUSED_HZ:
        state = listening.line_state(thin, rate, hz, sung)
        reason, p, q, drift = None, 0, 0, math.nan
    return Cell(state, reason, p, q, sung, hz, jumped=jumped, drift_hz=drift)


def _named(cell: Cell, control: listening.Control, fingered_hz: float) -> Cell:
    """Add what is known of the horn alone, and the names of what is played."""
    off = math.nan if control.hz is None else control.hz
    played = cell.played_hz
    return cell._replace(
        played_cents=cents(played, fingered_hz) if played > 0.0 else math.nan,
        resultant_hz=played / cell.q if cell.q else math.nan,
        period=control.period or 0,
        voice_off_hz=off,
    )


def _decided(setups: list[Setup], cells: list[Cell], fingered: Sequence[float]) -> list[Cell]:
    """Watch on all that are near a ratio until it is known whether they lock."""
    near = [k for k, cell in enumerate(cells) if cell.state == "undecided"]
    pairs = [Pair(setups[k], cells[k].p, cells[k].q) for k in near]
    for k, found in zip(near, ask(pairs, [locking.decide() for _ in near]), strict=True):
        cells[k] = _judged(cells[k], found, fingered[k])
    return cells


def _judged(cell: Cell, found: locking.Decision | None, fingered_hz: float) -> Cell:
    if found is None:
        return Cell("failed", "the simulation diverged", sung_hz=cell.sung_hz)
    if found.locked and cell.period > 1:
        reason = f"the horn repeats every {cell.period} periods without a voice"
        return cell._replace(state="drifting", reason=reason)
    if found.locked:
        played = cell.sung_hz * cell.q / cell.p
        return cell._replace(
            state="locked",
            reason=None,
            played_hz=played,
            played_cents=cents(played, fingered_hz),
            resultant_hz=played / cell.q,
            drift_hz=0.0,
        )
    if found.decided:
        return cell._replace(state="drifting", reason=None, drift_hz=found.drift_hz)
    return cell._replace(drift_hz=found.drift_hz)
