"""What a verdict holds, and how it is filled.

In: what was decided of two notes, and the sound outside. Out: a `Verdict`.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from reedbore.measures import hearing, roughness, spectrum
from reedbore.notes import A4_HZ, cents, note_name
from reedbore.simulate.outside import SOUND_RATE
from reedbore.verdict.instead import AIM_CENTS, CLOCK_CENTS, Instead, Range, sing_instead
from reedbore.verdict.state import Follows, HornState, Movement, State

SIMPLE = 8
"""Ratios p/q are looked for with p and q up to here."""

NEAR_CENTS = 20.0
"""So near a ratio two notes count as an approach to it. [cents]"""

FUSED_HZ = 15.0
"""A beat slower than this is heard as one moving sound. [Hz]"""

STEADY_VOICE_CENTS = 15.0
"""A voice that wanders more than this (standard deviation) cannot prove a lock."""

Samples = NDArray[np.float64]
Reals = NDArray[np.float64]
Whole = NDArray[np.int64]
Flags = NDArray[np.bool_]
Reasons = NDArray[np.object_]
"""Texts, or None."""

Ratio = tuple[int, int]


@dataclass(frozen=True)
class Control:
    """The same setup with the voice off."""

    state: HornState
    hz: float | None
    period: int | None
    amplitude: float
    sound: Samples


NO_CONTROL = Control(HornState.FAILED, None, None, 0.0, np.zeros(0))


@dataclass(frozen=True)
class Outcome:
    """What was decided of two notes: the state, why, and the notes as far as they were found."""

    state: State
    reason: str | None = None
    sung: float | None = None
    """[Hz]"""
    played: float | None = None
    """[Hz]"""
    jumped: bool = False
    ratio: Ratio | None = None
    drift: float | None = None
    """The beat p·f_played - q·f_sung. [Hz]"""

    @property
    def asks(self) -> bool:
        """Whether the judge of locking has still to be asked."""
        return self.state == State.UNDECIDED and self.ratio is not None


class Outcomes(NamedTuple):
    """The same of many pairs, in columns of shape (n,); nan and 0 where an `Outcome` has None."""

    state: Whole
    """Codes."""
    reason: Reasons
    sung: Reals
    played: Reals
    jumped: Flags
    p: Whole
    q: Whole
    drift: Reals

    @classmethod
    def blank(cls, count: int) -> "Outcomes":
        """Make columns in which nothing is known yet."""
        sung, played, drift = (np.full(count, math.nan) for _ in range(3))
        p, q = (np.zeros(count, np.int64) for _ in range(2))
        codes, reason = np.full(count, State.NOT_RUN.code), np.full(count, None, object)
        return cls(codes, reason, sung, played, np.zeros(count, np.bool_), p, q, drift)

    @classmethod
    def of(cls, outcomes: "Sequence[Outcome]") -> "Outcomes":
        """Put outcomes side by side."""
        made = cls.blank(len(outcomes))
        for k, one in enumerate(outcomes):
            made.state[k], made.reason[k] = one.state.code, one.reason
            made.p[k], made.q[k] = one.ratio or (0, 0)
            made.jumped[k] = one.jumped
            for name in ("sung", "played", "drift"):
                value = getattr(one, name)
                getattr(made, name)[k] = math.nan if value is None else value
        return made

    def one(self, number: int) -> "Outcome":
        """Take one out."""
        row = [column[number : number + 1].tolist()[0] for column in self]
        code, reason, sung, played, jumped, p, q, drift = row
        ratio = (p, q) if q else None
        return Outcome(
            *(State.of(code), reason, _known(sung), _known(played), jumped, ratio, _known(drift))
        )

    @property
    def asks(self) -> Flags:
        """Of which pairs the judge of locking has still to be asked."""
        return np.asarray((self.state == State.UNDECIDED.code) & (self.q > 0))

    def put(self, at: Whole, others: "Outcomes") -> None:
        """Put others in some places."""
        for column, values in zip(self, others, strict=True):
            column[at] = values

    def tell(self, at: Whole, where: Flags, state: Any, reason: Any) -> Whole:
        """Say what became of some pairs.

        Parameters
        ----------
        at : ndarray, shape (m,)
            Those that are looked at.
        where : ndarray, shape (m,)
            Of which of them it is said.
        state, reason
            A code and a text or None for all these, or one for each.

        Returns
        -------
        ndarray
            Of which of them it is not.
        """
        told = at[where]
        self.state[told], self.reason[told] = state, reason
        return at[~where]

    def beat(self, at: Whole) -> Reals:
        """Return the beat p·f_played - q·f_sung of some pairs. [Hz]."""
        return np.asarray(self.p[at] * self.played[at] - self.q[at] * self.sung[at])


def _known(value: float) -> float | None:
    return None if math.isnan(value) else value


@dataclass(frozen=True, kw_only=True)
class Verdict:
    """What was measured; None where a quantity has no meaning."""

    state: State
    reason: str | None
    sung_hz: float | None
    played_hz: float | None
    jumped: bool
    ratio: tuple[int, int] | None
    resultant_hz: float | None
    resultant_level_db: float | None
    heard: str
    drift_hz: float | None
    lock_range_cents: tuple[float, float] | None
    settle_s: float | None
    roughness: float | None
    voice_off_state: HornState
    voice_off_hz: float | None
    voice_off_period: int | None
    aimed_hz: float | None = None
    """What the singer aims at; the sung note of a voice that is a clock. [Hz]"""
    follows: Follows | None = None
    """Who is pulled in a lock."""
    ear_cents: float | None = None
    """What a singer who listens adds to the tension; None for one who does not. [cents]"""
    practise_hz: float | None = None
    """The aim that needs no ear for the same muscles. [Hz]"""
    movement: Movement | None = None
    """What moving breath and lip make of it; None where they are still."""
    folds: int = 1
    """After how many periods of the true folds the voice repeats."""

    @property
    def pulled_cents(self) -> float | None:
        """How far the horn has pulled the voice: what is sung against the aim."""
        if self.aimed_hz is None or self.sung_hz is None:
            return None
        return cents(self.sung_hz, self.aimed_hz)

    def instead(self, reach: Range | None = None) -> Instead | None:
        """Find what to sing instead, or to aim at, where the pair misses.

        Parameters
        ----------
        reach : (low, high), optional
            Lowest and highest note of the voice. [Hz]

        Returns
        -------
        Instead or None
            None where nothing is to be said: no two notes, a lock, notes in tune that do not lock,
            or a horn that has left its register, of which arithmetic knows nothing.
        """
        missed = self.state in (State.DRIFTING, State.ROUGH) and not self.jumped
        if not missed or self.played_hz is None or self.sung_hz is None:
            return None
        asked, least = self.folds * self.sung_hz, CLOCK_CENTS
        if self.aimed_hz is not None and self.pulled_cents:
            asked, least = self.aimed_hz, AIM_CENTS
        found = sing_instead(self.played_hz, self.sung_hz, asked, self.ratio, reach)
        return found if found.cents is None or abs(found.cents) >= least else None

    def document(
        self,
        fingered_hz: float | None = None,
        asked_sung_hz: float | None = None,
        a4: float = A4_HZ,
        reach: Range | None = None,
    ) -> dict[str, Any]:
        """Return the verdict as plain data; what was asked for is only written beside it.

        Parameters
        ----------
        fingered_hz, asked_sung_hz : float, optional
            The notes that were asked for. [Hz]
        a4 : float
            Pitch of A4 for note names. [Hz]
        reach : (low, high), optional
            Lowest and highest note of the voice. [Hz]

        Returns
        -------
        dict
            Same keys in every output of the program.
        """

        def name(hz: float | None) -> str | None:
            return None if hz is None else note_name(hz, a4)

        sung = self.sung_hz if self.sung_hz is not None else asked_sung_hz
        just = None
        if self.ratio and self.played_hz and sung:
            reference = fingered_hz or self.voice_off_hz or self.played_hz
            just = cents(reference * self.ratio[0] / self.ratio[1], sung)
        off_note = None
        if self.played_hz and fingered_hz:
            off_note = cents(self.played_hz, fingered_hz)
        instead = self.instead(reach)
        return {
            "fingered_hz": fingered_hz,
            "fingered_note": name(fingered_hz),
            "sung_hz": sung,
            "sung_note": name(sung),
            "aimed_hz": self.aimed_hz,
            "aimed_note": name(self.aimed_hz),
            "pulled_cents": self.pulled_cents,
            "ear_cents": self.ear_cents,
            "practise_hz": self.practise_hz,
            "practise_note": name(self.practise_hz),
            "follows": self.follows,
            "sing_cents": just,
            "sing_instead": instead and instead.document(a4),
            "played_hz": self.played_hz,
            "played_cents": off_note,
            "jumped": self.jumped,
            "state": self.state,
            "reason": self.reason,
            "ratio": f"{self.ratio[0]}/{self.ratio[1]}" if self.ratio else None,
            "resultant_hz": self.resultant_hz,
            "resultant_note": name(self.resultant_hz),
            "resultant_level_db": self.resultant_level_db,
            "heard": self.heard,
            "drift_hz": self.drift_hz,
            "movement": self.movement,
            "lock_range_cents": list(self.lock_range_cents) if self.lock_range_cents else None,
            "held": None,
            "held_singer": None,
            "settle_s": self.settle_s,
            "roughness": self.roughness,
            "voice_off": {"state": self.voice_off_state, "period": self.voice_off_period},
        }


def filled(
    outcome: Outcome,
    alone: Control,
    listen: Callable[[], tuple[Samples, float | None]],
    edges: tuple[float, float] | None = None,
) -> Verdict:
    """Make the verdict of what was decided.

    Parameters
    ----------
    outcome : Outcome
        What was decided.
    alone : Control
        The horn alone, with its sound.
    listen : callable
        Gives the sound once it has settled, as for `measured`, and when that was [s]; is asked
        only where there are two notes to compare.
    edges : (low, high), optional
        Of a lock. [cents]

    Returns
    -------
    Verdict
        With all that can be measured in this state.
    """
    notes = {"sung": outcome.sung, "jumped": outcome.jumped, "reason": outcome.reason}
    common: dict[str, Any] = {"state": outcome.state, **notes}
    if not outcome.state.pair:
        heard = "uncertain" if outcome.state == State.UNDECIDED else "no"
        return bare(control=alone, played=outcome.played, heard=heard, **common)
    assert outcome.played is not None
    sound, settle = listen()
    common |= {"ratio": outcome.ratio, "drift": outcome.drift, "edges": edges}
    return measured(sound, alone, played=outcome.played, settle=settle, **common)


def bare(
    state: State,
    control: Control,
    *,
    sung: float | None = None,
    played: float | None = None,
    jumped: bool = False,
    heard: str = "no",
    reason: str | None = None,
) -> Verdict:
    """Return the verdict where there are no two notes to compare."""
    return Verdict(
        state=state,
        reason=reason,
        sung_hz=sung,
        played_hz=played,
        jumped=jumped,
        ratio=None,
        resultant_hz=None,
        resultant_level_db=None,
        heard=heard,
        drift_hz=None,
        lock_range_cents=None,
        settle_s=None,
        roughness=None,
        voice_off_state=control.state,
        voice_off_hz=control.hz,
        voice_off_period=control.period,
    )


def measured(
    sound: Samples,
    control: Control,
    *,
    state: State,
    sung: float | None,
    played: float,
    jumped: bool,
    settle: float | None,
    reason: str | None = None,
    ratio: tuple[int, int] | None = None,
    drift: float | None = None,
    edges: tuple[float, float] | None = None,
) -> Verdict:
    """Add to what was found of two notes what the sound outside shows.

    Parameters
    ----------
    sound : ndarray, shape (n,)
        What is heard once it has settled, at `outside.SOUND_RATE`. [Pa]
    control : Control
        The horn alone, with its sound.
    state, sung, played, jumped, settle, reason, ratio, drift, edges
        As in a `Verdict`.

    Returns
    -------
    Verdict
        With level, heard and roughness.
    """
    found = spectrum.lines(sound, SOUND_RATE, -70.0)
    off = spectrum.lines(control.sound[control.sound.size // 2 :], SOUND_RATE, -70.0)
    rough = roughness.relative_roughness(found.hz, found.amplitude, off.hz, off.amplitude)
    resultant = played / ratio[1] if ratio else None
    level, heard = hearing.third_note(found, ratio, resultant)
    return Verdict(
        state=state,
        reason=reason,
        sung_hz=sung,
        played_hz=played,
        jumped=jumped,
        ratio=ratio,
        resultant_hz=resultant,
        resultant_level_db=level,
        heard=heard,
        drift_hz=drift,
        lock_range_cents=edges,
        settle_s=settle,
        roughness=rough,
        voice_off_state=control.state,
        voice_off_hz=control.hz,
        voice_off_period=control.period,
    )
