"""Many setups judged at once, by the same questions as a take.

In: setups. Out: a `Cell` each, which depends on its setup alone, never on what stands beside it.
"""

import math
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from reedbore import stopping
from reedbore.errors import ModelError
from reedbore.kernel.executor import CPU, Executor
from reedbore.measures import locking, pitch
from reedbore.model.setup import Setup
from reedbore.model.voice import Voice
from reedbore.notes import cents
from reedbore.simulate.batch import Lanes, Lines
from reedbore.simulate.folds import LEAST_SWING, Solved, solve
from reedbore.simulate.lungs import breathing
from reedbore.simulate.mouth import depth
from reedbore.verdict import runs
from reedbore.verdict.decide import Answer, decide, settle
from reedbore.verdict.questions import Pair, Progress, ask
from reedbore.verdict.result import NO_CONTROL, Control, Outcome, Ratio
from reedbore.verdict.singer import LONGEST_S
from reedbore.verdict.state import HornState, Reason, State, broke_down

LOOK_S = 0.5
"""The end of a run, in which the pressure itself is looked at. [s]"""

SHORTEST_S = 1.0
"""A shorter run shows too little of a beat to tell anything. [s]"""

UNCOUNTED_HZ = 1.0
"""A line that turns so much faster or slower than the folds swing is not what they sing. [Hz]"""

SOLVING = 0.8
"""Share of the work that it is to find out how folds sing; clocks have none of it."""

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
    breath_kpa: float = math.nan
    """In the mouth."""
    lungs_kpa: float = math.nan
    """Behind folds that sing what they aim at where no horn sounds back."""


class _Asked(NamedTuple):
    """A setup as it is stepped, and what is known of its singer, if its voice is sung by folds."""

    setup: Setup
    solved: Solved | None = None
    refused: str | None = None
    """Why the folds do not sing what they aim at."""


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
    controls: dict[Setup, Control] = {}
    solving = SOLVING if any(setup.voice.folded for setup in setups) else 0.0
    asked = _solved(setups, executor, lambda share: tell(solving * share))
    for start in range(0, len(setups), executor.width):
        stopping.check()
        here = slice(start, start + executor.width)
        cells += _together(asked[here], fingered_hz[here], controls, seconds, executor)
        tell(solving + (1.0 - solving) * len(cells) / len(setups))
    return cells


def _solved(setups: Sequence[Setup], executor: Executor, tell: Progress) -> list[_Asked]:
    """Ask of each voice that is sung by folds whether they sing the note at all."""
    if not any(setup.voice.folded for setup in setups):
        return list(map(_Asked, setups))
    asked: list[_Asked] = []
    with ThreadPoolExecutor(executor.threads) as pool:
        for one in pool.map(_solve, setups):
            asked.append(one)
            tell(len(asked) / len(setups))
    return asked


def _solve(setup: Setup) -> _Asked:
    stopping.check()
    if not setup.voice.folded:
        return _Asked(setup)
    try:
        blown = breathing(setup)
        return _Asked(blown, solve(blown))
    except ModelError as error:
        return _Asked(setup, refused=str(error))


def _together(
    asked: Sequence[_Asked],
    fingered_hz: Sequence[float],
    controls: dict[Setup, Control],
    seconds: float | None,
    executor: Executor,
) -> list[Cell]:
    """Judge some setups side by side; one that breaks down is found, and fails alone."""
    try:
        heard = controls_of([one.setup for one in asked], controls, seconds, executor)
        outcomes = _first_looks(asked, heard, seconds, executor)
        longest = locking.LAST_WATCH if seconds is None else seconds
        if longest >= SHORTEST_S:
            outcomes = _decided(asked, heard, outcomes, longest, executor)
    except (ArithmeticError, LookupError, ValueError) as error:
        if len(asked) == 1:
            return [Cell(State.FAILED, broke_down(error))]
        middle = len(asked) // 2
        parts = slice(0, middle), slice(middle, None)
        return [
            cell
            for part in parts
            for cell in _together(asked[part], fingered_hz[part], controls, seconds, executor)
        ]
    return list(map(_cell, outcomes, heard, fingered_hz, asked))


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
    if fresh:
        length = max(seconds or 0.0, runs.LEAST_SECONDS)
        lanes = Lanes(fresh, 100.0, executor=executor)
        rate = lanes.rate
        lanes.advance(length - 1.0)

        def look(lane: int, pressure: Samples) -> Control:
            if lanes.burst[lane] or not np.isfinite(pressure).all():
                return NO_CONTROL
            return runs.control_of(fresh[lane], pressure[-round(rate) :])

        known.update(zip(fresh, lanes.watch(round(rate), look), strict=True))
    return [known[setup] for setup in off]


_SILENCED = dict(Voice(source="off", depth=0.0))


def _first_looks(
    asked: Sequence[_Asked],
    controls: list[Control],
    seconds: float | None,
    executor: Executor,
) -> list[Outcome]:
    """Decide as far as one look tells; run only those for which the horn alone is not enough."""
    seen = [_Seen(*both) for both in zip(asked, controls, strict=True)]
    runs_on = [one for one in seen if one.sings and one.alone.hz is not None]
    looks = iter(_played(runs_on, seconds, executor) if runs_on else ())
    open_ones = set(map(id, runs_on))
    return [next(looks) if id(one) in open_ones else decide(one) for one in seen]


class _Look(NamedTuple):
    """What one run shows: the horn's own line in its later half, and its end."""

    hz: float
    amplitude: Samples
    tail: Samples | None
    """None after a burst. [Pa]"""
    sung: float | None
    """Of folds: what they sing; None if they do not swing. [Hz]"""


class _Seen:
    """What is seen of the two notes of a cell."""

    brief = False
    exact = True
    unanswered = State.UNDECIDED
    why_silent = Reason.ONLY_VOICE
    why_no_pitch = Reason.NO_PITCH

    def __init__(self, asked: _Asked, control: Control, look: _Look | None = None) -> None:
        self.asked, self.alone, self.look = asked, control, look
        self.setup = setup = asked.setup
        self.sings = setup.voice.source != "off" and depth(setup) != 0.0 and not asked.refused
        if look is not None and setup.voice.folded and look.tail is not None:
            self.sings = look.sung is not None
        diverged = look is not None and look.tail is None
        self.burst = diverged or control.state == HornState.FAILED

    @property
    def why_unsung(self) -> str | None:
        rest = Reason.FOLDS_REST if self.look is not None else None
        return self.asked.refused or rest

    @property
    def voice(self) -> tuple[float | None, float]:
        if self.look is not None and self.setup.voice.folded:
            return self.look.sung, 0.0
        # A clock: it need not be measured.
        return (self.setup.voice.frequency if self.sings else None), 0.0

    @cached_property
    def _thin(self) -> tuple[Samples, float]:
        tail = self.look and self.look.tail
        assert tail is not None
        return pitch.thin(tail, self.setup.time.rate)

    @cached_property
    def reed(self) -> tuple[float | None, bool]:
        """Name what is played: the horn's own line, or what has taken its place."""
        alone = self.alone
        if self.look is None or alone.hz is None:
            return alone.hz, False
        hz: float | None = self.look.hz
        if np.median(self.look.amplitude) <= 0.25 * alone.amplitude:
            hz = runs.other_line(*self._thin, alone, self.voice[0])
        return hz, hz is not None and bool(abs(cents(hz, alone.hz)) > runs.JUMP_CENTS)

    @property
    def mute(self) -> tuple[State, str | None]:
        return State.SILENT, Reason.MUTE if self.sings else None

    def too_few(self, played: float, ratio: Ratio) -> bool:
        return False

    def starting(self, played: float) -> bool:
        return False

    def lines(self, played: float, sung: float | None) -> State:
        return runs.line_state(*self._thin, played, sung)


def _played(seen: Sequence[_Seen], seconds: float | None, executor: Executor) -> list[Outcome]:
    length = seconds or runs.LEAST_SECONDS
    reference = np.array([one.alone.hz for one in seen], np.float64)
    lanes = Lanes([one.setup for one in seen], reference, executor=executor)
    look_s = min(LOOK_S, 0.5 * length)
    lines = lanes.advance(length - look_s)
    late = lines.times >= 0.5 * (length - look_s)
    # The slope of the straight line through a phase, by least squares, is a sum with these.
    since = lines.times[late] - lines.times[late].mean()
    weights = since / np.sum(since**2)

    def look(lane: int, pressure: Samples) -> Outcome:
        line = lines.line[lane, late]
        track = np.unwrap(np.angle(line)) / (2.0 * math.pi)
        hz = reference[lane] + float(np.sum(weights * track))
        whole = not lanes.burst[lane] and bool(np.isfinite(pressure).all())
        tail = pressure[-round(look_s * lanes.rate) :] if whole else None
        one = seen[lane]
        sung = _sung(one.setup, lines, lane, late) if one.setup.voice.folded else None
        return decide(_Seen(one.asked, one.alone, _Look(hz, np.abs(line), tail, sung)))

    return lanes.watch(round(look_s * lanes.rate), look)


def _sung(setup: Setup, lines: Lines, lane: int, late: NDArray[np.bool_]) -> float | None:
    """Return what folds sing [Hz] in some windows of a run; None if they do not swing."""
    times, line = lines.times[late], lines.sung_line[lane, late]
    swings = float(np.polyfit(times, lines.swings[lane, late], 1)[0])
    if swings <= 0.0 or np.median(np.abs(line)) < LEAST_SWING:
        return None
    cycles = np.unwrap(np.angle(line)) / (2.0 * math.pi)
    exact = setup.voice.frequency + float(np.polyfit(times, cycles, 1)[0])
    # Where another line than that near the aim stands out, the swings are its own.
    return exact if abs(exact - swings) < UNCOUNTED_HZ else swings


def _decided(
    asked: Sequence[_Asked],
    controls: list[Control],
    firsts: list[Outcome],
    longest: float,
    executor: Executor,
) -> list[Outcome]:
    """Watch on all that are near a ratio until it is known whether they lock."""
    near = [k for k, outcome in enumerate(firsts) if outcome.asks]
    pairs = [Pair(asked[k].setup, *ratio) for k in near if (ratio := firsts[k].ratio)]
    bounds = [LONGEST_S if pair.setup.voice.folded else math.inf for pair in pairs]
    questions = [locking.decide(longest=min(longest, bound)) for bound in bounds]
    final = list(firsts)
    for k, found in zip(near, ask(pairs, questions, executor=executor), strict=True):
        answer = found and Answer(found.locked, found.drift_hz, found.decided)
        final[k] = settle(_Seen(asked[k], controls[k]), firsts[k], answer)
    return final


def _cell(outcome: Outcome, control: Control, fingered_hz: float, asked: _Asked) -> Cell:
    """Add what is known of the horn alone and of the breath, and the names of what is played."""
    breath, solved = asked.setup.breath.pressure / 1e3, asked.solved
    p, q = outcome.ratio or (0, 0)
    played = _number(outcome.played)
    return Cell(
        state=outcome.state,
        reason=outcome.reason,
        p=p,
        q=q,
        sung_hz=_number(outcome.sung),
        played_hz=played,
        played_cents=cents(played, fingered_hz) if played > 0.0 else math.nan,
        jumped=outcome.jumped,
        resultant_hz=played / q if q else math.nan,
        drift_hz=_number(outcome.drift),
        period=control.period or 0,
        voice_off_hz=_number(control.hz),
        breath_kpa=breath if solved or asked.setup.voice.lung is None else math.nan,
        lungs_kpa=breath + solved.lungs / 1e3 if solved else math.nan,
    )


def _number(value: float | None) -> float:
    return math.nan if value is None else value
