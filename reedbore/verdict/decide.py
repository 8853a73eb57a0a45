"""The one decision what became of two notes: of a take, of a note of a passage, of a cell of a map.

In: what is seen of them. Out: an `Outcome`. Where the two are so near a ratio that they may lock,
it `asks`: whoever can watch them longer puts that to the judge of locking and hands the answer to
`settle`.
"""

from dataclasses import replace
from typing import NamedTuple, Protocol

from reedbore.notes import choose_ratio
from reedbore.verdict.result import (
    FUSED_HZ,
    NEAR_CENTS,
    SIMPLE,
    STEADY_VOICE_CENTS,
    Control,
    Outcome,
    Ratio,
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


class Answer(NamedTuple):
    """What the judge of locking says of two notes near a ratio."""

    locked: bool
    drift: float | None
    """[Hz]"""
    decided: bool = True
    reason: str | None = None
    """Why it is so, or what else is to be said."""


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
    if seen.burst:
        return Outcome(State.FAILED, Reason.DIVERGED)
    if seen.brief:
        return Outcome(State.UNDECIDED, Reason.TOO_SHORT)
    sung, wander = seen.voice
    if seen.alone.hz is None:
        return Outcome(*seen.mute, sung=sung)
    played, jumped = seen.reed
    if played is None:
        return Outcome(State.SILENT, seen.why_silent, sung=sung)
    if not seen.sings:
        return Outcome(State.UNSUNG, seen.why_unsung, played=played, jumped=jumped)
    if sung is None:
        state = seen.lines(played, None)
        return Outcome(state, seen.why_no_pitch, played=played, jumped=jumped)
    return _pair(seen, sung, wander, played, jumped)


def _pair(seen: Seen, sung: float, wander: float, played: float, jumped: bool) -> Outcome:
    ratio = choose_ratio(sung / played, NEAR_CENTS, SIMPLE)
    if ratio and seen.too_few(played, ratio):
        return Outcome(State.UNDECIDED, Reason.TOO_SHORT)
    unsteady = wanders(wander) if wander > STEADY_VOICE_CENTS else None
    beat = ratio and ratio[0] * played - ratio[1] * sung
    if ratio is None or beat is None or abs(beat) >= FUSED_HZ:
        if seen.starting(played):
            return Outcome(State.UNDECIDED, Reason.STARTING)
        return Outcome(seen.lines(played, sung), unsteady, sung, played, jumped)
    if unsteady:
        return Outcome(State.DRIFTING, unsteady, sung, played, jumped, ratio)
    return Outcome(State.UNDECIDED, Reason.UNDECIDED, sung, played, jumped, ratio, beat)


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
    if answer is None:
        return Outcome(State.FAILED, Reason.DIVERGED, asked.sung)
    if not answer.locked:
        state, reason = State.DRIFTING, answer.reason
        if not answer.decided:
            state, reason = seen.unanswered, Reason.UNDECIDED
        elif answer.drift is not None and abs(answer.drift) >= FUSED_HZ:
            return replace(asked, state=state, reason=Reason.PARTS, drift=None)
        return replace(asked, state=state, reason=reason, drift=answer.drift)
    period = seen.alone.period or 1
    if period > 1:
        return replace(asked, state=State.DRIFTING, reason=own_period(period))
    played = asked.played
    if seen.exact:
        assert asked.sung is not None
        assert asked.ratio is not None
        played = asked.sung * asked.ratio[1] / asked.ratio[0]
    return replace(asked, state=State.LOCKED, reason=answer.reason, played=played, drift=0.0)
