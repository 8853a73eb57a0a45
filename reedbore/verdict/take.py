"""What became of the two notes, measured on the simulation.

In: a take. Out: a verdict. Nothing here sees which note or ratio was asked for: the sung pitch is
measured on the sung waveform, the played pitch on the pressure in the mouthpiece, the ratio on the
two; whether they are locked is decided by `measures.locking`.
"""

from dataclasses import replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from reedbore.measures import locking, pitch
from reedbore.measures.drift import at_rest
from reedbore.model.setup import Setup
from reedbore.notes import cents
from reedbore.simulate.folds import solve
from reedbore.simulate.take import Take, again, burst, render
from reedbore.verdict import runs
from reedbore.verdict.decide import Answer, decide, settle
from reedbore.verdict.movement import as_written
from reedbore.verdict.result import NO_CONTROL, Control, Outcome, Ratio, Verdict, filled
from reedbore.verdict.singer import aims_of, beat_of, observed
from reedbore.verdict.state import Follows, HornState, Movement, Reason, State, folds, late

LEADS = 0.25
"""Who is pulled less than this share of the other's pull leads."""

LEAST_PULL_CENTS = 1.0
"""Where neither is pulled by so much, nobody leads a singer who aims where they meet. [cents]"""

UNSTEADY_WATCH = 24.0
"""A voice that is no clock is watched no longer: it leaves a narrow lock sooner or later. [s]"""


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
        The verdict. A player who moves is judged held still, for no lock outlasts noise; what is
        heard, the beat and the roughness are measured on the take itself.
    """
    short = take.seconds < runs.LEAST_SECONDS and take.setup.voice.source != "recording"
    if short and burst(take.traces) is None:  # what broke is told as it is
        take = render(take.setup, runs.LEAST_SECONDS)
    written = take
    if take.setup.breath.moves and burst(take.traces) is None:
        take = again(take.setup, take.seconds)
    seen = _Seen(take, written)
    outcome, edges = decide(seen), None
    if outcome.asks:
        outcome, edges = _settled(seen, outcome, lock_range)

    def listen() -> tuple[NDArray[np.float64], float | None]:
        assert outcome.played is not None
        return written.sound[written.sound.size // 2 :], runs.settled(take, outcome.played)

    found = filled(outcome, seen.alone, listen, edges)
    if written is not take:
        found = _as_written(found, written, seen.alone)
    return _heard_by_ear(aimed(found, take.setup), take)


def _as_written(found: Verdict, written: Take, alone: Control) -> Verdict:
    """Add what breath and lip make of it that move in what is written."""
    if alone.hz is None:
        return replace(found, movement=Movement.KEEPS)

    def course() -> locking.Course:
        sung, ratio = found.sung_hz, found.ratio
        assert sung is not None
        assert ratio is not None
        if written.setup.voice.folded:
            return beat_of(written, sung, ratio)
        pressure, rate = pitch.thin(written.traces.pressure, written.setup.time.rate)
        voice, _ = pitch.thin(written.sung, written.setup.time.rate)
        return runs.beat(pressure, voice, rate, sung, ratio, min(sung / ratio[0], runs.LINE_BAND))

    return as_written(found, course, jumped=runs.played_pitch(written, alone, found.sung_hz)[1])


def aimed(verdict: Verdict, setup: Setup) -> Verdict:
    """Add to a verdict what the singer aimed at, and who follows whom."""
    if verdict.sung_hz is None:
        return verdict
    aim = setup.voice.frequency if setup.voice.folded else verdict.sung_hz
    made = setup.voice.source in {"pulse", "sine"}
    verdict = replace(verdict, aimed_hz=aim, folds=setup.voice.false_folds if made else 1)
    if verdict.state != State.LOCKED or not (verdict.played_hz and verdict.voice_off_hz):
        return verdict
    voice = abs(verdict.pulled_cents or 0.0)
    reed = abs(cents(verdict.played_hz, verdict.voice_off_hz))
    follows = Follows.BOTH
    leads = min(voice, reed) < LEADS * max(voice, reed) and max(voice, reed) >= LEAST_PULL_CENTS
    if leads or not setup.voice.folded:
        follows = Follows.VOICE if voice > reed else Follows.REED
    return replace(verdict, follows=follows)


def _heard_by_ear(verdict: Verdict, take: Take) -> Verdict:
    """Add to a verdict what the ear has added to the tension, and what to aim at without it."""
    if verdict.aimed_hz is None or not take.traces.corrected.size:
        return verdict
    practised = verdict.aimed_hz * 2.0 ** (_muscles(take) / 1200.0)
    return replace(verdict, ear_cents=_corrected(take), practise_hz=practised)


def _corrected(take: Take) -> float:
    """Return what the ear has added to the tension in the later half of a take [cents]."""
    added = take.traces.corrected
    return float(added[added.size // 2 :].mean()) if added.size else 0.0


def _muscles(take: Take) -> float:
    """Return where muscles aim that hold still what the ear has made of them. [cents]."""
    return solve(take.setup).raised(_corrected(take)) if take.traces.corrected.size else 0.0


def _held_still(take: Take, sung: float, ratio: Ratio) -> locking.Observe:
    """Make the same observed without an ear, the muscles held as it has left them."""
    voice = take.setup.voice.model_copy(update={"ear": "off"})
    setup, held = take.setup.model_copy(update={"voice": voice}), _muscles(take)
    observe = _observer(replace(take, setup=setup), sung, ratio)
    return lambda detuning, seconds: observe(held + detuning, seconds)


class _Seen:
    """What is seen of the two notes of a take."""

    brief = False
    exact = True
    unanswered = State.DRIFTING
    why_silent = Reason.ONLY_VOICE

    def __init__(self, take: Take, written: Take) -> None:
        self.take, self.written = take, written
        self.recorded = take.setup.voice.source == "recording"
        self.burst = burst(take.traces) is not None
        self.why_unsung = Reason.FOLDS_REST if take.setup.voice.folded else None
        self.sings = bool(take.sung.any())

    @cached_property
    def alone(self) -> Control:
        if self.burst:
            return NO_CONTROL
        setup, seconds = self.take.setup, max(self.take.seconds, runs.LEAST_SECONDS)
        if setup.voice.source == "off" and seconds == self.take.seconds:
            late = self.take.traces.pressure[-round(setup.time.rate) :]
            return replace(runs.control_of(setup, late), sound=self.written.sound)
        return runs.control_run(self.written)

    @cached_property
    def voice(self) -> tuple[float | None, float]:
        return runs.sung_pitch(self.take) if self.sings else (None, 0.0)

    @cached_property
    def reed(self) -> tuple[float | None, bool]:
        if not self.sings:
            return self.alone.hz, False
        return runs.played_pitch(self.take, self.alone, self.voice[0])

    @property
    def mute(self) -> tuple[State, str | None]:
        if self.sings:
            return State.SILENT, Reason.MUTE
        return (State.FAILED if self.alone.state == HornState.FAILED else State.SILENT), None

    @property
    def why_no_pitch(self) -> Reason:
        return Reason.NO_PITCH_RECORDED if self.recorded else Reason.NO_PITCH

    def too_few(self, played: float, ratio: Ratio) -> bool:
        return False

    def starting(self, played: float) -> bool:
        return False

    def lines(self, played: float, sung: float | None) -> State:
        return runs.spectrum_state(self.take, played, sung)


def _settled(
    seen: _Seen, asked: Outcome, lock_range: bool
) -> tuple[Outcome, tuple[float, float] | None]:
    """Put two notes near a ratio to the judge of locking; find the edges of a lock if wanted."""
    take, sung, ratio = seen.take, asked.sung, asked.ratio
    assert sung is not None
    assert ratio is not None
    observe = (_held_still if take.traces.corrected.size else _observer)(take, sung, ratio)
    found, course = _watched(observe, _longest(take))
    reason = _told(take) or (_comes_late(course, take.seconds) if found.locked else None)
    answer = Answer(found.locked, found.drift_hz, found.decided, reason)
    outcome = settle(seen, asked, _with_ear(take, asked, answer))
    if outcome.state != State.LOCKED or not lock_range or asked.jumped:
        return outcome, None
    if take.setup.voice.folded:
        return outcome, aims_of(observe)
    if _moves(take):
        return outcome, None
    return outcome, _edges(observe)


def _with_ear(take: Take, asked: Outcome, still: Answer) -> Answer:
    """Ask of a lock that still muscles hold whether the ear, which moves them, leaves it alone."""
    if not (still.locked and take.traces.corrected.size):
        return still
    assert asked.sung is not None
    assert asked.ratio is not None
    observe = _observer(take, asked.sung, asked.ratio)
    found = locking.answer(locking.watch(0.0, UNSTEADY_WATCH), observe)
    if found.state == locking.Keeps.FOLLOWS:
        return still
    return Answer(False, found.hz, found.state == locking.Keeps.SLIPS, Reason.EAR)


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
    return voice.source == "recording" or voice.folded or bool(voice.unsteady)


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


def _edges(observe: locking.Observe) -> tuple[float, float]:
    """Find the lock range around the sung note. [cents]."""
    low, high = locking.answer(locking.lock_range(0.0), observe)
    return low.inside, high.inside


def _observer(take: Take, sung: float, ratio: Ratio) -> locking.Observe:
    """Make what the judge of locking observes: the phase of the beat p·f_played - q·f_sung."""
    if take.setup.voice.folded:
        return observed(take, sung, ratio)
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
