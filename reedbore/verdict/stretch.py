"""What can be measured inside one stretch of a passage, and what it proves.

In: a `Performance`, a stretch of it, the horn alone, and the same pair as it behaves when held.
Out: a verdict on the stretch. The request is not looked at: of the stretch only its steps and
whether it has a sung note, of the setup only the kind of its voice.
"""

from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from reedbore.kernel.rows import BURST_PA
from reedbore.measures import locking, pitch
from reedbore.measures.drift import AT_REST_CYCLES, at_rest, mean_drift
from reedbore.notes import cents
from reedbore.simulate.controls import BREATH, LARGEST_PART
from reedbore.simulate.outside import SOUND_RATE
from reedbore.simulate.performance import Performance, Stretch
from reedbore.verdict import runs
from reedbore.verdict.decide import Answer, decide, settle
from reedbore.verdict.movement import as_written
from reedbore.verdict.result import NO_CONTROL, Control, Outcome, Ratio, Verdict, filled
from reedbore.verdict.state import HornState, Reason, State

SHORTEST_S = 0.15
"""A shorter stretch is not measured. [s]"""

LEAST_PERIODS = 6.0
"""Of the resultant: a stretch that holds fewer is not measured."""

SUNG_AT_ALL = 0.03
"""A sung waveform that stays below this, 30 dB under a full one, is nobody singing."""

GROWING = 1.2
"""A line that grows so much more than the breath through the later half is still starting."""

STARTED = 0.7
"""In the middle of a note, a line as strong as this share of the horn alone has started."""

START_S = 0.3
"""No longer, and at most a quarter of a note, is left out of its beat: the reed starts. [s]"""

SAME_CENTS = 5.0
"""A held pair whose voice is farther off than this is another pair. [cents]"""

Samples = NDArray[np.float64]


class Held(NamedTuple):
    """A pair played from rest: its verdict, and the phase at which its beat rests, if known."""

    verdict: Verdict
    rest: float | None
    """[cycles]"""


class Inside:
    """A stretch up to where breath and voice leave it, and what is known of its pair."""

    exact = False
    unanswered = State.DRIFTING

    def __init__(
        self,
        performance: Performance,
        part: Stretch,
        control: Control,
        pair: Held | None,
        depth: float,
    ) -> None:
        """Take what was played, and the depth at which the pair is held."""
        score = performance.score
        self.rate = score.rate
        length = part.end - part.first
        # In the last moments the note may be let go already.
        end = part.end - round(min(BREATH * self.rate, LARGEST_PART * length))
        self.whole_s = length / self.rate
        self.seconds = (end - part.first) / self.rate
        self.traces = performance.traces
        self.pressure = performance.traces.pressure[part.first : end]
        self.blown = performance.pressure_asked[part.first : end]
        self.sung = performance.sung[part.first : end]
        self.begin, self.end = part.first, end
        self.singer = score.setup_of(part.fingered).voice
        rests = self.singer.folded and part.sung_hz is not None
        self.why_unsung = Reason.FOLDS_REST if rests else None
        curve = performance.controls.depth[part.first : end]
        depths = np.full(curve.shape, depth) if self.singer.flows else curve
        most = float(depths.max(initial=0.0))
        self.sings = bool(np.abs(depths * self.sung).max(initial=0.0) > SUNG_AT_ALL * most)
        self.noted = part.sung_hz is not None
        self.burst = not (np.abs(self.pressure) < BURST_PA).all()
        self.brief = self.whole_s < SHORTEST_S
        self.alone = NO_CONTROL if self.burst else control
        self.pair = pair

    def judged(self, written: Performance) -> tuple[Verdict, float | None]:
        """Return the verdict, and when the beat came to rest [s].

        What is heard, and the beat, are those of the passage as it is written: the one that is
        decided on may be the same held still.
        """
        outcome, rest = decide(self), None
        if outcome.asks:
            outcome, rest = self._settled(outcome)
        found = filled(outcome, self.alone, lambda: self._listen(outcome, written.sound))
        if written.traces.pressure is self.traces.pressure or self.alone.hz is None:
            return found, rest
        pressure, sung = (
            one[self.begin : self.end] for one in (written.traces.pressure, written.sung)
        )

        def course() -> locking.Course:
            assert found.sung_hz is not None
            assert found.ratio is not None
            return self._course(found.sung_hz, found.ratio, pressure, sung)

        jumped = self._reed(pressure)[1] if found.played_hz is not None else found.jumped
        return as_written(found, course, jumped=jumped), rest

    def _settled(self, asked: Outcome) -> tuple[Outcome, float | None]:
        """Let the pair that is held answer for this one, if the beat has come to rest here."""
        assert asked.sung is not None
        assert asked.ratio is not None
        course = self._course(asked.sung, asked.ratio, self.pressure, self.sung)
        proven, reason = self._proven(asked.sung, asked.ratio, asked.jumped)
        rest = self._at_rest(course) if proven else None
        if rest is not None:
            return settle(self, asked, Answer(True, 0.0)), rest
        return settle(self, asked, Answer(False, mean_beat(course), reason=reason)), None

    # --- what is seen ----------------------------------------------------------------------------

    @cached_property
    def voice(self) -> tuple[float | None, float]:
        """Pitch [Hz] and wandering [cents] of a voice that has a note here."""
        pitched, wander = self._pitched
        return (pitched if self.noted else None), wander

    @cached_property
    def _pitched(self) -> tuple[float | None, float]:
        if not self.sings:
            return None, 0.0
        late = self.sung[-round(self._late_s(0.1) * self.rate) :]
        return runs.voice_pitch(late, self.rate, self.singer)

    @cached_property
    def reed(self) -> tuple[float | None, bool]:
        """Pitch that the reed plays [Hz], and whether it left its register."""
        return self._reed(self.pressure)

    def _reed(self, pressure: Samples) -> tuple[float | None, bool]:
        late_s = self._late_s(0.1)
        late, rate = pitch.thin(pressure[-round(late_s * self.rate) :], self.rate)
        band = max(runs.LINE_BAND, 8.0 / late_s)
        return runs.late_pitch(late, rate, self.alone, self._pitched[0], band)

    @property
    def mute(self) -> tuple[State, str | None]:
        """What to say where the horn alone does not sound."""
        failed = self.alone.state == HornState.FAILED
        return (State.FAILED if failed else State.SILENT), Reason.MUTE

    @property
    def why_silent(self) -> Reason:
        """Tell a reed that is on its way from one that the voice has stopped."""
        assert self.alone.hz is not None
        if self.starting(self.alone.hz):
            return Reason.STARTING
        return Reason.ONLY_VOICE if self.sings else Reason.NOT_SOUNDING

    @property
    def why_no_pitch(self) -> Reason:
        """Tell a note without a pitch from a recording without a note."""
        return Reason.NO_PITCH if self.noted else Reason.NO_NOTE

    def too_few(self, played: float, ratio: Ratio) -> bool:
        """Tell whether it holds too few periods of the resultant to be measured."""
        return self.seconds * played / ratio[1] < LEAST_PERIODS

    def starting(self, played: float) -> bool:
        """Tell whether the line that is played is weak and still grows, and not by the breath."""
        pressure, rate = pitch.thin(self.pressure, self.rate)
        strength = pitch.phase_track(pressure, rate, played, self._band()).amplitude
        before, after = self.blown[self.blown.size // 2], self.blown[-1]
        swells = max(float(after / before), 1.0) if before > 0.0 else 1.0
        middle = strength[strength.size // 2]
        grows = strength[-1] > GROWING * swells * middle
        # The horn alone was blown as here in the middle.
        return bool(grows and middle < STARTED * self.alone.amplitude)

    def lines(self, played: float, sung: float | None) -> State:
        """Tell a line spectrum, rough, from an irregular one."""
        late, rate = pitch.thin(self.pressure[self.pressure.size // 2 :], self.rate)
        return runs.line_state(late, rate, played, sung)

    # --- near a ratio ----------------------------------------------------------------------------

    def _proven(self, sung: float, ratio: Ratio, jumped: bool) -> tuple[bool, str | None]:
        """Tell whether the held pair is locked at this ratio, and what to say while it drifts."""
        if self.pair is None:
            return False, Reason.NOT_HELD
        held = self.pair.verdict
        same = held.sung_hz is not None and abs(cents(held.sung_hz, sung)) < SAME_CENTS
        if not same or held.jumped != jumped or held.ratio != ratio:
            return False, Reason.OTHERWISE
        return (True, Reason.NOT_SETTLED) if held.state == State.LOCKED else (False, held.reason)

    def _at_rest(self, course: locking.Course) -> float | None:
        """Return from when on the beat is where it will stay [s], None if it is not there yet.

        That is the phase at which the held pair rests, kept through the last quarter; or, where
        that is another one, as under a moving breath, the one that a long enough course comes to
        by the judge's own rule.
        """
        rest = self.pair.rest if self.pair else None
        off = np.zeros(0)
        if rest is not None and self.singer.source != "recording":
            off = np.abs((course.cycles - rest + 0.5) % 1.0 - 0.5)
        late = off[off.size * 3 // 4 :]
        if not off.size or (late > AT_REST_CYCLES).any():
            if self.seconds < runs.LEAST_SECONDS:
                return None
            if locking.drift(course).state != locking.Keeps.FOLLOWS:
                return None
            off = np.abs(course.cycles - np.median(course.cycles[-course.cycles.size // 8 :]))
        return at_rest(course.times, off)

    def _course(
        self, sung: float, ratio: Ratio, pressure: Samples, wave: Samples
    ) -> locking.Course:
        """Follow the phase of the beat p·f_played - q·f_sung through the stretch."""
        pressure, rate = pitch.thin(pressure, self.rate)
        voice, _ = pitch.thin(wave, self.rate)
        # Never so short a window that two lines of the resultant run together.
        band = min(sung / ratio[0], self._band())
        return runs.beat(pressure, voice, rate, sung, ratio, band)

    def _band(self) -> float:
        """Return the width that leaves windows of at most a quarter of the stretch. [Hz]."""
        return max(runs.LINE_BAND, 16.0 / self.seconds)

    def _late_s(self, least: float) -> float:
        """Return how much of the end is looked at: the later half, or so much at least. [s]."""
        return max(0.5 * self.seconds, min(least, self.seconds))

    def _listen(self, found: Outcome, sound: Samples) -> tuple[Samples, float | None]:
        """Give so much of the sound that lines stand apart, and when the played one settled [s]."""
        assert found.played is not None
        least = LEAST_PERIODS * found.ratio[1] / found.played if found.ratio else 0.1
        fine = pitch.thin(self.pressure, self.rate)
        settle = runs.settled_in(*fine, found.played, self._band())
        first, last = (round(step * SOUND_RATE / self.rate) for step in (self.begin, self.end))
        return sound[first:last][-round(self._late_s(least) * SOUND_RATE) :], settle


def mean_beat(course: locking.Course) -> float:
    """Return the mean drift of a note's course, but for its start. [Hz]."""
    times, cycles = course.times, course.cycles
    begun = times >= times[0] + min(START_S, 0.25 * (times[-1] - times[0]))
    return mean_drift(times[begun], cycles[begun])
