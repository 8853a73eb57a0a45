"""What became of the two notes, measured on the simulation.

In: a take. Out: a verdict. Nothing here sees which note or ratio was asked for: the sung pitch is
measured on the sung waveform, the played pitch on the pressure in the mouthpiece, the ratio on the
two; whether they are locked is decided by `measures.locking`.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from reedbore.measures import locking, pitch, roughness, spectrum
from reedbore.measures.drift import at_rest
from reedbore.notes import A4_HZ, cents, choose_ratio, note_name
from reedbore.simulate.outside import SOUND_RATE
from reedbore.simulate.take import Take, again, burst, render
from reedbore.verdict import runs
from reedbore.verdict.state import HornState, Reason, State, folds, late, own_period, wanders

SIMPLE = 8
"""Ratios p/q are looked for with p and q up to here."""

NEAR_CENTS = 20.0
"""So near a ratio two notes count as an approach to it. [cents]"""

UNSTEADY_WATCH = 24.0
"""A voice that is no clock is watched no longer: it leaves a narrow lock sooner or later. [s]"""

FUSED_HZ = 15.0
"""A beat slower than this is heard as one moving sound. [Hz]"""

Samples = NDArray[np.float64]


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

    def document(
        self,
        fingered_hz: float | None = None,
        asked_sung_hz: float | None = None,
        a4: float = A4_HZ,
    ) -> dict[str, Any]:
        """Return the verdict as plain data; what was asked for is only written beside it.

        Parameters
        ----------
        fingered_hz, asked_sung_hz : float, optional
            The notes that were asked for. [Hz]
        a4 : float
            Pitch of A4 for note names. [Hz]

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
        return {
            "fingered_hz": fingered_hz,
            "fingered_note": name(fingered_hz),
            "sung_hz": sung,
            "sung_note": name(sung),
            "sing_cents": just,
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
            "lock_range_cents": list(self.lock_range_cents) if self.lock_range_cents else None,
            "held": None,
            "settle_s": self.settle_s,
            "roughness": self.roughness,
            "voice_off": {"state": self.voice_off_state, "period": self.voice_off_period},
        }


_ALONE = {
    HornState.SOUNDING: State.UNSUNG,
    HornState.SILENT: State.SILENT,
    HornState.FAILED: State.FAILED,
}
"""What becomes of a take in which nobody sings."""


def judge(take: Take, *, lock_range: bool = False) -> Verdict:
    """Measure what became of the two notes.

    Parameters
    ----------
    take : Take
        A rendered take.
    lock_range : bool
        Whether to search the edges of a lock; takes some seconds.

    Returns
    -------
    Verdict
        The verdict.
    """
    if burst(take.traces) is not None:
        return bare(State.FAILED, runs.NO_CONTROL, reason=Reason.DIVERGED)
    if take.seconds < runs.LEAST_SECONDS and take.setup.voice.source != "recording":
        take = render(take.setup, runs.LEAST_SECONDS)
    control = runs.control_run(take)
    if not take.sung.any():
        return bare(_ALONE[control.state], control, played=control.hz)
    sung, wander = runs.sung_pitch(take)
    if control.hz is None:
        return bare(State.SILENT, control, sung=sung, reason=Reason.MUTE)
    played, jumped = runs.played_pitch(take, control, sung)
    if played is None:
        return bare(State.SILENT, control, sung=sung, reason=Reason.ONLY_VOICE)
    if sung is None:
        recorded = take.setup.voice.source == "recording"
        return _measured(
            take,
            control,
            state=runs.spectrum_state(take, played, None),
            reason=Reason.NO_PITCH_RECORDED if recorded else Reason.NO_PITCH,
            sung=None,
            played=played,
            jumped=jumped,
        )
    return _judged_pair(take, control, sung, wander, played, jumped, lock_range)


def _judged_pair(
    take: Take,
    control: runs.Control,
    sung: float,
    wander: float,
    played: float,
    jumped: bool,
    lock_range: bool,
) -> Verdict:
    ratio = choose_ratio(sung / played, NEAR_CENTS, SIMPLE)
    beat = None if ratio is None else ratio[0] * played - ratio[1] * sung
    common: dict[str, Any] = {"sung": sung, "played": played, "jumped": jumped}
    unsteady = None
    if wander > runs.STEADY_VOICE_CENTS:
        unsteady = wanders(wander)
    if ratio is None or beat is None or abs(beat) >= FUSED_HZ:
        state = runs.spectrum_state(take, played, sung)
        return _measured(take, control, state=state, reason=unsteady, **common)
    if unsteady:
        common |= {"state": State.DRIFTING, "reason": unsteady}
        return _measured(take, control, ratio=ratio, **common)
    observe = _observer(take, sung, ratio)
    found, course = _watched(observe, _longest(take))
    state = State.DRIFTING
    reason = _told(take)
    edges: tuple[float, float] | None = None
    if found.locked and (control.period or 1) > 1:
        reason = own_period(control.period)
    elif found.locked:
        state, beat = State.LOCKED, 0.0
        reason = reason or _comes_late(course, take.seconds)
        common["played"] = sung * ratio[1] / ratio[0]
        if lock_range and not (_moves(take) or jumped) and control.hz is not None:
            edges = _edges(observe, sung, ratio, control.hz)
    else:
        beat = found.drift_hz
        reason = reason if found.decided else Reason.UNDECIDED
    return _measured(
        take, control, state=state, reason=reason, ratio=ratio, drift=beat, edges=edges, **common
    )


def _watched(observe: locking.Observe, longest: float) -> tuple[locking.Decision, locking.Course]:
    """Let the judge decide; return the course that it watched unpulled as well."""
    courses: dict[float, locking.Course] = {}

    def kept(detuning: float, seconds: float) -> locking.Course:
        courses[detuning] = observe(detuning, seconds)
        return courses[detuning]

    return locking.answer(locking.decide(longest=longest), kept), courses[0.0]


def _comes_late(course: locking.Course, seconds: float) -> str | None:
    """Say so if a lock takes hold only when a take of so many seconds has ended."""
    end = np.median(course.cycles[-course.cycles.size // 8 :])
    rest = at_rest(course.times, course.cycles - end)
    return late(rest) if rest > seconds else None


def _moves(take: Take) -> bool:
    """Tell whether the voice is no clock, so that its own phase has to be measured."""
    voice = take.setup.voice
    return voice.source == "recording" or bool(voice.unsteady)


def _longest(take: Take) -> float:
    """Return how long the two notes may be watched. [s]."""
    if take.setup.voice.source == "recording":
        return take.seconds
    return UNSTEADY_WATCH if _moves(take) else locking.LAST_WATCH


def _told(take: Take) -> str | None:
    """Say why the sung pitch is not the one that the true vocal folds have."""
    voice = take.setup.voice
    if "voice.false_folds" not in voice.uneven:
        return None
    return folds(voice.false_folds)


def _edges(
    observe: locking.Observe, sung: float, ratio: tuple[int, int], off_hz: float
) -> tuple[float, float]:
    """Find the lock range [cents] against the just note over the pitch without voice."""
    here = cents(sung, off_hz * ratio[0] / ratio[1])
    low, high = locking.answer(locking.lock_range(0.0), observe)
    return here + low.inside, here + high.inside


def _observer(take: Take, sung: float, ratio: tuple[int, int]) -> locking.Observe:
    """Make what the judge of locking observes: the phase of the beat p·f_played - q·f_sung."""
    p, q = ratio
    moves = _moves(take)

    def observe(detuning: float, seconds: float) -> locking.Course:
        run = again(take.setup, seconds, detuning)
        hz = sung * 2.0 ** (detuning / 1200.0)
        pressure, rate = pitch.thin(run.traces.pressure, take.setup.time.rate)
        band = min(hz / p, 20.0)
        if moves:
            voice, _ = pitch.thin(run.sung, take.setup.time.rate)
            return runs.beat(pressure, voice, rate, hz, ratio, band)
        track = pitch.phase_track(pressure, rate, hz * q / p, band)
        return locking.Course(track.times, p * track.cycles, hz * q)

    return observe


def bare(
    state: State,
    control: runs.Control,
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


def _measured(take: Take, control: runs.Control, *, played: float, **found: Any) -> Verdict:
    """Add what the sound outside shows in the later half of a take."""
    sound = take.sound[take.sound.size // 2 :]
    settle = runs.settled(take, played)
    return measured(sound, control, played=played, settle=settle, **found)


def measured(
    sound: Samples,
    control: runs.Control,
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
    level, heard = runs.third_note(found, ratio, resultant)
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
