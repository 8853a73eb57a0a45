"""Many setups judged at once, by the same questions as a take.

In: setups. Out: a `Cell` each, which depends on its setup alone, never on what stands beside it.
All that is done for a cell is done for a block of them side by side, in columns.
"""

import math
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, fields
from typing import Any, NamedTuple, overload

import numpy as np

from reedbore import stopping
from reedbore.errors import ModelError
from reedbore.kernel.executor import CPU, Executor
from reedbore.measures import locking
from reedbore.measures.drift import slopes
from reedbore.model.setup import Setup
from reedbore.model.voice import Voice
from reedbore.simulate.batch import Lanes, Lines, depths
from reedbore.simulate.folds import LEAST_SWING, Solved, solve
from reedbore.simulate.lungs import breathing
from reedbore.simulate.many import Reals, Setups, Whole
from reedbore.verdict import runs
from reedbore.verdict.decide import Answer, answers_of, decide_all, settle_all
from reedbore.verdict.questions import Pairs, Progress, ask
from reedbore.verdict.result import NO_CONTROL, Control, Flags, Outcomes, Reasons
from reedbore.verdict.singer import LONGEST_S
from reedbore.verdict.state import HornState, Reason, State, broke_down

LOOK_S = 0.5
"""The end of a run, in which the pressure itself is looked at. [s]"""

SHORTEST_S = 1.0
"""A shorter run shows too little of a beat to tell anything. [s]"""

UNCOUNTED_HZ = 1.0
"""A line that turns so much faster or slower than the folds swing is not what they sing. [Hz]"""

LOOKING = 0.5
"""Share of the work that first looks are, about."""

LINES_AT_ONCE = 512
"""Of so many cells a thread measures the spectra."""

SOLVING = 0.8
"""Share of the work that it is to find out how folds sing; clocks have none of it."""


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
    breath_kpa: float = math.nan
    """In the mouth."""
    lungs_kpa: float = math.nan
    """Behind folds that sing what they aim at where no horn sounds back."""


@dataclass(frozen=True, kw_only=True)
class Cells(Sequence[Cell]):
    """Many of them in columns, shape (n,), named as in a `Cell`; states are codes."""

    state: Whole
    reason: Reasons
    p: Whole
    q: Whole
    sung_hz: Reals
    played_hz: Reals
    played_cents: Reals
    jumped: Flags
    resultant_hz: Reals
    drift_hz: Reals
    period: Whole
    voice_off_hz: Reals
    breath_kpa: Reals
    lungs_kpa: Reals

    @classmethod
    def of(cls, cells: Sequence[Cell]) -> "Cells":
        """Put cells side by side."""
        if isinstance(cells, Cells):
            return cells
        columns = dict(zip(Cell._fields, zip(*cells, strict=True), strict=True))
        made = {name: np.array(columns[name]) for name in Cell._fields if name != "reason"}
        made["state"] = np.array([state.code for state in columns["state"]], np.int64)
        made["reason"] = np.array(columns["reason"], object)
        return cls(**made)

    @classmethod
    def joined(cls, parts: "Sequence[Cells]") -> "Cells":
        """Put several of them one after the other."""
        names = [field.name for field in fields(cls)]
        return cls(**{
            name: np.concatenate([getattr(part, name) for part in parts]) for name in names
        })  # fmt: skip

    def __len__(self) -> int:
        return self.state.size

    @overload
    def __getitem__(self, place: int) -> Cell: ...
    @overload
    def __getitem__(self, place: slice) -> "Cells": ...
    def __getitem__(self, place: Any) -> Any:
        rows = {field.name: getattr(self, field.name)[place] for field in fields(self)}
        if isinstance(place, slice):
            return Cells(**rows)
        values = {name: getattr(value, "item", lambda v=value: v)() for name, value in rows.items()}
        return Cell(**{**values, "state": State.of(values["state"])})


class _Asked(NamedTuple):
    """Setups as they are stepped, and what is known of their singers, if folds sing."""

    setups: Setups
    solved: Reasons
    """Shape (n,): what was solved for the folds; None without."""
    refused: Reasons
    """Why the folds do not sing what they aim at."""

    def at(self, places: Whole) -> "_Asked":
        """Return some of them."""
        return _Asked(self.setups.at(places), self.solved[places], self.refused[places])


def judge_cells(
    setups: Sequence[Setup],
    fingered_hz: Sequence[float],
    *,
    seconds: float | None = None,
    progress: Progress | None = None,
    executor: Executor = CPU,
) -> list[Cell]:
    """Judge many setups; as `judge_all`, but for the cells one by one."""
    found = judge_all(setups, fingered_hz, seconds=seconds, progress=progress, executor=executor)
    return list(found)


def judge_all(
    setups: Sequence[Setup],
    fingered_hz: Sequence[float],
    *,
    seconds: float | None = None,
    progress: Progress | None = None,
    executor: Executor = CPU,
) -> Cells:
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
    Cells
        In order.

    Raises
    ------
    ModelError
        If a setup cannot be stepped.
    """
    many, fingered = Setups.of(setups), np.asarray(fingered_hz, np.float64)
    if not len(many):
        return Cells.of([])
    tell = progress or (lambda _: None)
    solving = SOLVING if any(kind.voice.folded for kind in many.kinds) else 0.0
    asked = _solved(many, executor, lambda share: tell(solving * share))
    bounds = _Bounds(seconds, executor, lambda share: tell(solving + (1.0 - solving) * share))
    found = _together(asked, fingered, {}, bounds)
    tell(1.0)
    return found


class _Bounds(NamedTuple):
    """For how long, and where, cells are run, and who is told how far they are."""

    seconds: float | None
    executor: Executor
    tell: Progress


def _solved(setups: Setups, executor: Executor, tell: Progress) -> _Asked:
    """Ask of each voice that is sung by folds whether they sing the note at all."""
    nothing = np.full(len(setups), None, object)
    if not any(kind.voice.folded for kind in setups.kinds):
        return _Asked(setups, nothing, nothing)
    blown, solved, refused = list[Setup](), nothing.copy(), nothing.copy()
    with ThreadPoolExecutor(executor.threads) as pool:
        for one, found, why in pool.map(_solve, setups):
            solved[len(blown)], refused[len(blown)] = found, why
            blown.append(one)
            tell(len(blown) / len(setups))
    return _Asked(Setups.of(blown), solved, refused)


def _solve(setup: Setup) -> tuple[Setup, Solved | None, str | None]:
    stopping.check()
    if not setup.voice.folded:
        return setup, None, None
    try:
        blown = breathing(setup)
        return blown, solve(blown), None
    except ModelError as error:
        return setup, None, str(error)


def _together(
    asked: _Asked,
    fingered_hz: Reals,
    controls: dict[Setup, Control],
    bounds: _Bounds,
) -> Cells:
    """Judge some setups side by side; one that breaks down is found, and fails alone."""
    count, seconds = len(asked.setups), bounds.seconds
    try:
        alone = _alone(asked.setups, controls, seconds, bounds.executor)
        found = _first_looks(asked, alone, bounds)
        longest = locking.LAST_WATCH if seconds is None else seconds
        if longest >= SHORTEST_S:
            _decided(asked, alone, found, longest, bounds)
    except (ArithmeticError, LookupError, ValueError) as error:
        if count == 1:
            return Cells.of([Cell(State.FAILED, broke_down(error))])
        halves = np.split(np.arange(count), [count // 2])
        return Cells.joined([
            _together(asked.at(half), fingered_hz[half], controls, bounds)
            for half in halves
        ])  # fmt: skip
    return _cells(found, alone, fingered_hz, asked)


def controls_of(
    setups: Sequence[Setup],
    known: dict[Setup, Control] | None = None,
    seconds: float | None = None,
    executor: Executor = CPU,
) -> list[Control]:
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
    for start in range(0, len(fresh), executor.width):
        stopping.check()
        some = fresh[start : start + executor.width]
        known.update(zip(some, _played_alone(some, seconds, executor), strict=True))
    return [known[setup] for setup in off]


def _played_alone(
    horns: Sequence[Setup], seconds: float | None, executor: Executor
) -> list[Control]:
    """Play horns side by side."""
    length = max(seconds or 0.0, runs.LEAST_SECONDS)
    lanes = Lanes(horns, 100.0, executor=executor)
    rate = lanes.rate
    lanes.advance(length - 1.0)

    def look(lane: int, pressure: Reals) -> Control:
        if lanes.burst[lane] or not np.isfinite(pressure).all():
            return NO_CONTROL
        return runs.control_of(horns[lane], pressure[-round(rate) :])

    return lanes.watch(round(rate), look)


_SILENCED = dict(Voice(source="off", depth=0.0))


class _Alone(NamedTuple):
    """The horns with their voices off, in columns."""

    hz: Reals
    """nan where they do not sound."""
    amplitude: Reals
    period: Whole
    """0 if unknown."""
    failed: Flags

    def at(self, places: Whole) -> "_Alone":
        """Return some of them."""
        own = self.hz[places], self.amplitude[places], self.period[places], self.failed[places]
        return _Alone(*own)


def _alone(
    setups: Setups, known: dict[Setup, Control], seconds: float | None, executor: Executor
) -> _Alone:
    """Play the horns of some setups once each with their voices off."""
    heard = controls_of(setups.kinds, known, seconds, executor)
    which = setups.which
    return _Alone(
        np.array([one.hz for one in heard], np.float64)[which],
        np.array([one.amplitude for one in heard])[which],
        np.array([one.period or 0 for one in heard])[which],
        np.array([one.state == HornState.FAILED for one in heard])[which],
    )


class _Look(NamedTuple):
    """What one run of each cell shows: the horn's own line in its later half, and its end."""

    hz: Reals
    amplitude: Reals
    tail: Reals
    """Shape (n, ticks). [Pa]"""
    rate: float
    """Of the tail. [Hz]"""
    whole: Flags
    """False after a burst."""
    sung: Reals
    """Of folds: what they sing; nan if they do not swing. [Hz]"""


class _Seen:
    """What is seen of the two notes of some cells: a `SeenMany`."""

    exact = True
    unanswered = State.UNDECIDED

    def __init__(
        self, asked: _Asked, alone: _Alone, look: _Look | None = None, threads: int = 1
    ) -> None:
        """Take what is known of the cells; so many threads measure their spectra."""
        setups, self._threads = asked.setups, threads
        self.count = len(setups)
        self._asked, self._alone, self._look = asked, alone, look
        self._folded = setups.each(lambda one: one.voice.folded, np.bool_)
        voiced = setups.each(lambda one: one.voice.source != "off", np.bool_)
        refused = np.array([why is not None for why in asked.refused], np.bool_)
        self.sung = voiced & (depths(setups) != 0.0) & ~refused
        """Whether a voice is asked for, and possible."""
        self._sings, self._hz = self.sung, np.where(self.sung, setups.sung_hz, np.nan)
        if look is not None:
            by_folds = self._folded & look.whole
            self._sings = np.where(by_folds, ~np.isnan(look.sung), self.sung)
            # A clock need not be measured.
            self._hz = np.where(self._folded, look.sung, self._hz)

    def burst(self, at: Whole) -> Flags:
        diverged = self._alone.failed[at]
        return diverged if self._look is None else diverged | ~self._look.whole[at]

    def brief(self, at: Whole) -> Flags:
        return np.zeros(at.size, np.bool_)

    def alone_hz(self, at: Whole) -> Reals:
        return self._alone.hz[at]

    def period(self, at: Whole) -> Whole:
        return self._alone.period[at]

    def sings(self, at: Whole) -> Flags:
        return self._sings[at]

    def voice(self, at: Whole) -> tuple[Reals, Reals]:
        return self._hz[at], np.zeros(at.size)

    def reed(self, at: Whole) -> tuple[Reals, Flags]:
        """Name what is played: the horn's own line, or what has taken its place."""
        alone, look = self._alone, self._look
        if look is None:
            return alone.hz[at], np.zeros(at.size, np.bool_)
        hz = look.hz[at]
        weak = look.amplitude[at] <= 0.25 * alone.amplitude[at]
        some = at[weak]
        if some.size:
            tails = look.tail[some]
            hz[weak] = runs.other_lines(tails, look.rate, alone.amplitude[some], self._hz[some])
        off = np.abs(1200.0 * np.log2(hz / alone.hz[at]))
        return hz, ~np.isnan(hz) & (off > runs.JUMP_CENTS)

    def mute(self, at: Whole) -> tuple[Whole, Reasons]:
        reasons = np.full(at.size, None, object)
        reasons[self._sings[at]] = Reason.MUTE
        return np.full(at.size, State.SILENT.code), reasons

    def why(self, what: str, at: Whole) -> Reasons:
        if what != "why_unsung":
            reason = {"why_silent": Reason.ONLY_VOICE, "why_no_pitch": Reason.NO_PITCH}[what]
            return np.full(at.size, reason, object)
        refused, rest = self._asked.refused[at], Reason.FOLDS_REST if self._look else None
        return np.array([why or rest for why in refused], object)

    def too_few(self, at: Whole, played: Reals, p: Whole, q: Whole) -> Flags:
        return np.zeros(at.size, np.bool_)

    def starting(self, at: Whole, played: Reals) -> Flags:
        return np.zeros(at.size, np.bool_)

    def lines(self, at: Whole, played: Reals, sung: Reals) -> Whole:
        if not at.size:
            return np.zeros(0, np.int64)
        assert self._look is not None
        tail, rate = self._look.tail, self._look.rate

        def states(some: Whole) -> Whole:
            return runs.line_states(tail[at[some]], rate, played[some], sung[some])

        parts = np.array_split(np.arange(at.size), -(-at.size // LINES_AT_ONCE))
        if self._threads == 1 or len(parts) == 1:
            return np.concatenate(list(map(states, parts)))
        with ThreadPoolExecutor(self._threads) as pool:
            return np.concatenate(list(pool.map(states, parts)))


def _first_looks(asked: _Asked, alone: _Alone, bounds: _Bounds) -> Outcomes:
    """Decide as far as one look tells; run only those for which the horn alone is not enough."""
    seen, width = _Seen(asked, alone), bounds.executor.width
    runs_on = seen.sung & ~np.isnan(alone.hz)
    found = Outcomes.blank(seen.count)
    still, run = np.flatnonzero(~runs_on), np.flatnonzero(runs_on)
    found.put(still, decide_all(_Seen(asked.at(still), alone.at(still))))
    for start in range(0, run.size, width):
        stopping.check()
        some = run[start : start + width]
        part = asked.at(some), alone.at(some)
        look = _looked(part[0].setups, part[1].hz, bounds.seconds, bounds.executor)
        found.put(some, decide_all(_Seen(*part, look, bounds.executor.threads)))
        bounds.tell(LOOKING * (start + some.size) / run.size)
    return found


def _looked(setups: Setups, reference: Reals, seconds: float | None, executor: Executor) -> _Look:
    """Run setups once; look at the line near each reference [Hz], and at the end of each run."""
    length = seconds or runs.LEAST_SECONDS
    lanes = Lanes(setups, reference, executor=executor)
    look_s = min(LOOK_S, 0.5 * length)
    lines = lanes.advance(length - look_s)
    tail = lanes.ticks(look_s)
    late = lines.times >= 0.5 * (length - look_s)
    line = lines.line[:, late]
    whole = ~lanes.burst & np.isfinite(tail.sum(axis=1))
    cycles = np.unwrap(np.angle(np.where(whole[:, np.newaxis], line, 0.0)), axis=1) / (2.0 * np.pi)
    hz = reference + slopes(lines.times[late], cycles)
    sung = np.full(len(setups), np.nan)
    folded = np.flatnonzero(setups.each(lambda one: one.voice.folded, np.bool_) & whole)
    if folded.size:
        sung[folded] = _sung(setups.at(folded), lines.of(folded), late)
    amplitude = np.median(np.abs(line), axis=1)
    return _Look(hz, amplitude, tail, lanes.tick_rate, whole, sung)


def _sung(setups: Setups, lines: Lines, late: Flags) -> Reals:
    """Return what folds sing [Hz] in some windows of their runs; nan if they do not swing."""
    times, line = lines.times[late], lines.sung_line[:, late]
    swings = slopes(times, lines.swings[:, late])
    cycles = np.unwrap(np.angle(line), axis=1) / (2.0 * math.pi)
    exact = setups.sung_hz + slopes(times, cycles)
    # Where another line than that near the aim stands out, the swings are its own.
    sung = np.where(np.abs(exact - swings) < UNCOUNTED_HZ, exact, swings)
    rest = (swings <= 0.0) | (np.median(np.abs(line), axis=1) < LEAST_SWING)
    return np.where(rest, np.nan, sung)


def _decided(
    asked: _Asked, alone: _Alone, found: Outcomes, longest: float, bounds: _Bounds
) -> None:
    """Watch on all that are near a ratio until it is known whether they lock."""
    near = np.flatnonzero(found.asks)
    if not near.size:
        return
    pairs = Pairs(asked.setups.at(near), found.p[near], found.q[near])
    until = np.where(pairs.folded, min(longest, LONGEST_S), longest).tolist()

    def tell(share: float) -> None:
        bounds.tell(LOOKING + (1.0 - LOOKING) * share)

    questions = [locking.decide(longest=bound) for bound in until]
    answers = ask(pairs, questions, tell, bounds.executor)
    given = [one and Answer(one.locked, one.drift_hz, one.decided) for one in answers]
    settle_all(_Seen(asked, alone), found, near, answers_of(given))


def _cells(found: Outcomes, alone: _Alone, fingered_hz: Reals, asked: _Asked) -> Cells:
    """Add what is known of the horn alone and of the breath, and the names of what is played."""
    setups = asked.setups
    breath = setups.each(lambda one: one.breath.pressure) / 1e3
    lung = setups.each(lambda one: one.voice.lung is None, np.bool_)
    lungs = np.array([one.lungs / 1e3 if one else np.nan for one in asked.solved], np.float64)
    played, near = found.played, found.q > 0
    return Cells(
        state=found.state,
        reason=found.reason,
        p=found.p,
        q=found.q,
        sung_hz=found.sung,
        played_hz=played,
        played_cents=1200.0 * np.log2(played / fingered_hz),
        jumped=found.jumped,
        resultant_hz=np.where(near, played / np.where(near, found.q, 1), np.nan),
        drift_hz=found.drift,
        period=alone.period,
        voice_off_hz=alone.hz,
        breath_kpa=np.where(lung | ~np.isnan(lungs), breath, np.nan),
        lungs_kpa=breath + lungs,
    )
