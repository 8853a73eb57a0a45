"""The one decision what became of two notes: of a take, of a note of a passage, of a cell of a map.

In: what is seen of them. Out: an `Outcome`. Where the two are so near a ratio that they may lock,
it `asks`: whoever can watch them longer puts that to the judge of locking and hands the answer to
`settle`. The rules are written once, for many pairs side by side (`decide_all`, `settle_all`); a
take is one of them.
"""

import functools
import itertools
from collections.abc import Callable, Sequence
from typing import Any, NamedTuple, Protocol

import numpy as np
from numpy.typing import NDArray

from reedbore.notes import cents, choose_ratio, simple_ratios
from reedbore.verdict.result import (
    FUSED_HZ,
    NEAR_CENTS,
    SIMPLE,
    STEADY_VOICE_CENTS,
    Control,
    Flags,
    Outcome,
    Outcomes,
    Ratio,
    Reals,
    Reasons,
    Whole,
)
from reedbore.verdict.state import Reason, State, own_period, wanders


class Seen(Protocol):
    """What is seen of two notes; each is asked for only where it decides."""

    @property
    def burst(self) -> bool:
        """Whether the simulation diverged."""

    @property
    def brief(self) -> bool:
        """Whether it lasts too short a time for any measure."""

    @property
    def alone(self) -> Control:
        """The horn with the voice off."""

    @property
    def sings(self) -> bool:
        """Whether there is a voice."""

    @property
    def voice(self) -> tuple[float | None, float]:
        """The sung pitch [Hz], None if there is none, and how far it wanders [cents]."""

    @property
    def reed(self) -> tuple[float | None, bool]:
        """The pitch that the reed plays [Hz], None for none, and whether it left its register."""

    @property
    def mute(self) -> tuple[State, str | None]:
        """What to say where the horn alone does not sound."""

    @property
    def why_unsung(self) -> str | None:
        """Why there is no voice, if there should be one."""

    @property
    def why_silent(self) -> Reason:
        """Why the reed does not sound though the horn alone does."""

    @property
    def why_no_pitch(self) -> Reason:
        """Why a voice has no pitch."""

    @property
    def unanswered(self) -> State:
        """What two notes are whose drift is too slow to tell."""

    @property
    def exact(self) -> bool:
        """Whether a lock is proven here and now, so that the sung pitch gives the played one."""

    def too_few(self, played: float, ratio: Ratio) -> bool:
        """Tell whether it holds too few periods of the resultant to be measured."""

    def starting(self, played: float) -> bool:
        """Tell whether the line that is played is still on its way."""

    def lines(self, played: float, sung: float | None) -> State:
        """Tell a line spectrum, rough, from an irregular one."""


class SeenMany(Protocol):
    """What is seen of many pairs of notes; each is asked for only of those, `at`, that it decides.

    What `Seen` says of one; a number that is None there is nan here.
    """

    count: int
    exact: bool
    unanswered: State

    def burst(self, at: Whole) -> Flags:
        """Whether the simulation diverged."""

    def brief(self, at: Whole) -> Flags:
        """Whether it lasts too short a time for any measure."""

    def alone_hz(self, at: Whole) -> Reals:
        """Pitch of the horn with the voice off; nan if it does not sound. [Hz]."""

    def period(self, at: Whole) -> Whole:
        """Periods of its note after which the horn alone repeats; 0 if unknown."""

    def sings(self, at: Whole) -> Flags:
        """Whether there is a voice."""

    def voice(self, at: Whole) -> tuple[Reals, Reals]:
        """Give the sung pitch [Hz] and how far it wanders [cents]."""

    def reed(self, at: Whole) -> tuple[Reals, Flags]:
        """Give the pitch that the reed plays [Hz], and whether it left its register."""

    def mute(self, at: Whole) -> tuple[Whole, Reasons]:
        """Say what is so where the horn alone does not sound: codes of states, and reasons."""

    def why(self, what: str, at: Whole) -> Reasons:
        """`why_unsung`, `why_silent` or `why_no_pitch`."""

    def too_few(self, at: Whole, played: Reals, p: Whole, q: Whole) -> Flags:
        """Tell whether it holds too few periods of the resultant to be measured."""

    def starting(self, at: Whole, played: Reals) -> Flags:
        """Tell whether the line that is played is still on its way."""

    def lines(self, at: Whole, played: Reals, sung: Reals) -> Whole:
        """Tell line spectra from irregular ones: codes of states."""


class Answer(NamedTuple):
    """What the judge of locking says of two notes near a ratio."""

    locked: bool
    drift: float | None
    """[Hz]"""
    decided: bool = True
    reason: str | None = None
    """Why it is so, or what else is to be said."""


class Answers(NamedTuple):
    """The same of many pairs."""

    there: Flags
    """False where the simulation diverged meanwhile."""
    locked: Flags
    decided: Flags
    drift: Reals
    """nan if there is none. [Hz]"""
    reason: Reasons


def decide(seen: Seen) -> Outcome:
    """Decide what became of two notes, as far as one look tells.

    Parameters
    ----------
    seen : Seen
        What is seen of them.

    Returns
    -------
    Outcome
        If it `asks`, it is undecided until `settle` has the answer.
    """
    return decide_all(_One(seen)).one(0)


def settle(seen: Seen, asked: Outcome, answer: Answer | None) -> Outcome:
    """Decide what became of two notes near a ratio.

    Parameters
    ----------
    seen : Seen
        As for `decide`; their waveforms are not looked at again.
    asked : Outcome
        What `decide` said.
    answer : Answer or None
        Of the judge of locking; None if the simulation diverged meanwhile.

    Returns
    -------
    Outcome
        Final.
    """
    found = Outcomes.of([asked])
    settle_all(_One(seen), found, np.array([0]), answers_of([answer]))
    return found.one(0)


def answers_of(answers: Sequence[Answer | None]) -> Answers:
    """Put answers side by side."""
    given = [answer or Answer(locked=False, drift=None) for answer in answers]
    locked, drift, decided, reason = zip(*given, strict=True) if given else ((), (), (), ())
    return Answers(
        np.array([answer is not None for answer in answers], np.bool_),
        np.array(locked, np.bool_),
        np.array(decided, np.bool_),
        np.array(drift, np.float64),
        np.array(reason, object),
    )


def decide_all(seen: SeenMany) -> Outcomes:
    """Decide what became of many pairs of notes, as far as one look tells.

    Parameters
    ----------
    seen : SeenMany
        What is seen of them.

    Returns
    -------
    Outcomes
        Those that `asks` are undecided until `settle_all` has the answers.
    """
    found, wander = Outcomes.blank(seen.count), np.zeros(seen.count)
    at = np.arange(seen.count)
    at = found.tell(at, seen.burst(at), State.FAILED.code, Reason.DIVERGED)
    at = found.tell(at, seen.brief(at), State.UNDECIDED.code, Reason.TOO_SHORT)
    found.sung[at], wander[at] = seen.voice(at)
    mute = np.isnan(seen.alone_hz(at))
    at = found.tell(at, mute, *seen.mute(at[mute]))
    found.played[at], found.jumped[at] = seen.reed(at)
    silent = np.isnan(found.played[at])
    found.jumped[at[silent]] = False
    at = found.tell(at, silent, State.SILENT.code, seen.why("why_silent", at[silent]))
    alone = ~seen.sings(at)
    found.sung[at[alone]] = np.nan
    at = found.tell(at, alone, State.UNSUNG.code, seen.why("why_unsung", at[alone]))
    vague = np.isnan(found.sung[at])
    some = at[vague]
    states = seen.lines(some, found.played[some], found.sung[some])
    _pairs(seen, found, found.tell(at, vague, states, seen.why("why_no_pitch", some)), wander)
    return found


def _pairs(seen: SeenMany, found: Outcomes, at: Whole, wander: Reals) -> None:
    """Decide where both notes were found."""
    p, q = nearest_ratios(found.sung[at] / found.played[at])
    few = q > 0
    few[few] = seen.too_few(at[few], found.played[at[few]], p[few], q[few])
    _forget(found, at[few])
    kept = ~few
    at, p, q = found.tell(at, few, State.UNDECIDED.code, Reason.TOO_SHORT), p[kept], q[kept]
    beat = p * found.played[at] - q * found.sung[at]
    unsteady = wander[at] > STEADY_VOICE_CENTS
    reason = np.full(at.size, None, object)
    reason[unsteady] = [wanders(by) for by in wander[at[unsteady]].tolist()]
    apart = (q == 0) | (np.abs(beat) >= FUSED_HZ)
    near = ~apart
    found.p[at[near]], found.q[at[near]], found.drift[at[near]] = p[near], q[near], beat[near]
    far, why = at[apart], reason[apart]
    at, reason = at[near], reason[near]
    starting = seen.starting(far, found.played[far])
    _forget(found, far[starting])
    why = why[~starting]
    far = found.tell(far, starting, State.UNDECIDED.code, Reason.STARTING)
    states = seen.lines(far, found.played[far], found.sung[far])
    found.tell(far, np.ones(far.size, np.bool_), states, why)
    unsteady = unsteady[near]
    found.drift[at[unsteady]] = np.nan
    at = found.tell(at, unsteady, State.DRIFTING.code, reason[unsteady])
    found.tell(at, np.ones(at.size, np.bool_), State.UNDECIDED.code, Reason.UNDECIDED)


def _forget(found: Outcomes, at: Whole) -> None:
    """Say nothing of the notes of some pairs."""
    found.sung[at] = found.played[at] = np.nan
    found.jumped[at] = False


def settle_all(seen: SeenMany, found: Outcomes, at: Whole, answers: Answers) -> None:
    """Decide what became of notes near a ratio.

    Parameters
    ----------
    seen : SeenMany
        As for `decide_all`; waveforms are not looked at again.
    found : Outcomes
        What `decide_all` said; is made final.
    at : ndarray, shape (m,)
        Which of them asked.
    answers : Answers
        Of the judge of locking, in this order.
    """
    gone = ~answers.there
    _forget_all_but_sung(found, at[gone])
    left = found.tell(at, gone, State.FAILED.code, Reason.DIVERGED)
    locked, decided = answers.locked[~gone], answers.decided[~gone]
    drift, reason = answers.drift[~gone], answers.reason[~gone]
    found.drift[left] = drift
    free = ~locked
    parts = free & decided & (np.abs(drift) >= FUSED_HZ)
    found.drift[left[parts]] = np.nan
    found.tell(left, free & decided & ~parts, State.DRIFTING.code, reason[free & decided & ~parts])
    found.tell(left, parts, State.DRIFTING.code, Reason.PARTS)
    found.tell(left, free & ~decided, seen.unanswered.code, Reason.UNDECIDED)
    period = seen.period(left)
    own = locked & (period > 1)
    found.drift[left[own]] = found.beat(left[own])
    found.tell(left, own, State.DRIFTING.code, [own_period(one) for one in period[own].tolist()])
    held = locked & ~own
    some = left[held]
    found.drift[some] = 0.0
    if seen.exact:
        found.played[some] = found.sung[some] * found.q[some] / found.p[some]
    found.tell(left, held, State.LOCKED.code, reason[held])


def _forget_all_but_sung(found: Outcomes, at: Whole) -> None:
    """Say no more of some pairs than what is sung."""
    sung = found.sung[at]
    _forget(found, at)
    found.sung[at], found.drift[at] = sung, np.nan
    found.p[at] = found.q[at] = 0


def nearest_ratios(ratios: Reals) -> tuple[Whole, Whole]:
    """Find the simplest p/q close to each of many frequency ratios, as `notes.choose_ratio` does.

    Parameters
    ----------
    ratios : ndarray, shape (n,)
        Sung/played, more than 0.

    Returns
    -------
    p, q : ndarray, shape (n,)
        0 where none is near.
    """
    ends, p, q = _stretches()
    where = np.searchsorted(ends, 1200.0 * np.log2(ratios))
    return p[where], q[where]


@functools.cache
def _stretches() -> tuple[Reals, Whole, Whole]:
    """Cut the line of sizes [cents] where another ratio is chosen; ask once between two cuts."""
    sizes = [cents(p, q) for p, q in simple_ratios(SIMPLE)]
    middles = [0.5 * (one + two) for one, two in itertools.pairwise(sizes)]
    around = [size + way * NEAR_CENTS for size in sizes for way in (-1.0, 1.0)]
    ends = np.unique([*around, *middles])
    inside = [ends[0] - 1.0, *(0.5 * (ends[1:] + ends[:-1])), ends[-1] + 1.0]
    chosen = [choose_ratio(2.0 ** (size / 1200.0), NEAR_CENTS, SIMPLE) or (0, 0) for size in inside]
    p, q = np.array(chosen, np.int64).T
    return ends, p, q


class _One:
    """One pair, seen as one of many."""

    count = 1

    def __init__(self, seen: Seen) -> None:
        self.seen, self.exact, self.unanswered = seen, seen.exact, seen.unanswered

    def burst(self, at: Whole) -> Flags:
        return _each(at, lambda: self.seen.burst, np.bool_)

    def brief(self, at: Whole) -> Flags:
        return _each(at, lambda: self.seen.brief, np.bool_)

    def alone_hz(self, at: Whole) -> Reals:
        return _each(at, lambda: self.seen.alone.hz, np.float64)

    def period(self, at: Whole) -> Whole:
        return _each(at, lambda: self.seen.alone.period or 0, np.int64)

    def sings(self, at: Whole) -> Flags:
        return _each(at, lambda: self.seen.sings, np.bool_)

    def voice(self, at: Whole) -> tuple[Reals, Reals]:
        hz, wander = _each(at, lambda: self.seen.voice, np.float64).reshape(-1, 2).T
        return hz, wander

    def reed(self, at: Whole) -> tuple[Reals, Flags]:
        hz, jumped = _each(at, lambda: self.seen.reed, np.float64).reshape(-1, 2).T
        return hz, jumped > 0.0

    def mute(self, at: Whole) -> tuple[Whole, Reasons]:
        states = _each(at, lambda: self.seen.mute[0].code, np.int64)
        return states, _each(at, lambda: self.seen.mute[1], object)

    def why(self, what: str, at: Whole) -> Reasons:
        return _each(at, lambda: getattr(self.seen, what), object)

    def too_few(self, at: Whole, played: Reals, p: Whole, q: Whole) -> Flags:
        ratio: Callable[[], Ratio] = lambda: (int(p[0]), int(q[0]))  # noqa: E731
        return _each(at, lambda: self.seen.too_few(float(played[0]), ratio()), np.bool_)

    def starting(self, at: Whole, played: Reals) -> Flags:
        return _each(at, lambda: self.seen.starting(float(played[0])), np.bool_)

    def lines(self, at: Whole, played: Reals, sung: Reals) -> Whole:
        def look() -> int:
            heard = None if np.isnan(sung[0]) else float(sung[0])
            return self.seen.lines(float(played[0]), heard).code

        return _each(at, look, np.int64)


def _each(at: Whole, look: Callable[[], Any], dtype: Any) -> NDArray[Any]:
    """Look if the one pair is among those asked for."""
    return np.array([look() for _ in at], dtype)
