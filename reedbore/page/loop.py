"""A sound that goes round without a click.

In: a sound, and how the beat of its two notes turns. Out: the same with its end cross-faded into
the stretch before the place to which it goes back. That place is chosen so that both are as alike
as they can be: for a steady sound they are whole common periods apart, and the seam is not heard
at all. Two notes that drift are held for whole beats, or a slow beat would be heard as another.
"""

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from reedbore import notes
from reedbore.measures import pitch
from reedbore.measures.drift import mean_drift
from reedbore.model.setup import Setup
from reedbore.page.answers import LONGEST_S
from reedbore.simulate.take import again, burst
from reedbore.sound import smooth_number
from reedbore.verdict import runs
from reedbore.verdict.result import NEAR_CENTS, SIMPLE

FADE_SHARE, LONGEST_FADE = 0.1, 0.25  # of the sound, [s]
FIRST_SHARE, LAST_SHARE = 0.42, 0.62  # where in the sound the loop may begin
SETTLED_S = 1.05
"""From here on the two notes have found how they go together, or as good as. [s]"""

WHOLE = 0.008
"""So far from a whole number of beats, as a share of it, a loop may be."""

RESTS = 0.02
"""A beat that turned by no more in the last `LOOK_S` rests. [cycles]"""

LOOK_S = 1.0
BAND_HZ = 20.0
SHORT_S, SURE_BEATS = 2.5, 1.7
"""The shortest run in which a beat is looked for [s]; over so many its mean is sure to 0.1 %."""

Samples = NDArray[np.float64]


class Loop(NamedTuple):
    """A sound, and the samples from and up to which it goes round."""

    sound: Samples
    first: int
    end: int


class Beat(NamedTuple):
    """How the beat of two notes turns."""

    hz: float
    """Mean, without its sign. [Hz]"""
    period: float
    """Of the common note: only whole ones go round without a seam. [s]"""

    @property
    def least(self) -> float:
        """The shortest loop in which whole beats and whole common periods can agree [s]."""
        return max(0.5 * self.period / WHOLE, (1.0 - WHOLE) / self.hz)

    @property
    def wanted(self) -> float:
        """How long a sound must be to hold it, in seconds."""
        return SETTLED_S + math.ceil(self.least * self.hz) * (1.0 + WHOLE) / self.hz + LONGEST_FADE


def beat_of(setup: Setup, fingered_hz: float) -> Beat | None:
    """Find how the beat of two notes turns, of a player who holds still, as a verdict tells it.

    Parameters
    ----------
    setup : Setup
        What is played.
    fingered_hz : float
        What is fingered. [Hz]

    Returns
    -------
    Beat or None
        None where the two keep step, are near no simple ratio, or the voice is no steady one: then
        there is no beat that anybody could count.
    """
    voice = setup.voice
    steady = voice.source in ("pulse", "sine") and not voice.unsteady and voice.depth > 0.0
    if not steady or not notes.choose_ratio(voice.frequency / fingered_hz, NEAR_CENTS, SIMPLE):
        return None
    seconds = SHORT_S
    while True:
        found = _turning(setup, fingered_hz, seconds)
        sure = SETTLED_S + SURE_BEATS / found.hz if found else 0.0
        if found is None or sure <= seconds or seconds == LONGEST_S:
            return found
        seconds = min(max(1.1 * sure, seconds + 1.0), LONGEST_S)


def _turning(setup: Setup, fingered_hz: float, seconds: float) -> Beat | None:
    """Measure the beat in a run of so many seconds."""
    run = again(setup, seconds)
    late = round(SETTLED_S * setup.time.rate)
    if burst(run.traces) is not None:
        return None
    sung, rate = pitch.thin(run.sung[late:], setup.time.rate)
    hz: float | None = setup.voice.frequency
    if setup.voice.folded:
        hz, _ = runs.voice_pitch(run.sung[late:], setup.time.rate, setup.voice)
    ratio = notes.choose_ratio(hz / fingered_hz, 2.0 * NEAR_CENTS, SIMPLE) if hz else None
    if hz is None or ratio is None:
        return None
    pressure, _ = pitch.thin(run.traces.pressure[late:], setup.time.rate)
    course = runs.beat(pressure, sung, rate, hz, ratio, min(hz / ratio[0], BAND_HZ))
    last = course.cycles[course.times > course.times[-1] - LOOK_S]
    if course.times.size < 3 or np.ptp(last) < RESTS:
        return None
    return Beat(abs(mean_drift(course.times, course.cycles)), ratio[1] / fingered_hz)


def looped(sound: Samples, rate: float, beat: Beat | None = None) -> Loop:
    """Make a sound go round.

    Parameters
    ----------
    sound : ndarray, shape (n,)
        Its later half steady, or as steady as it is. [any]
    rate : float
        Samples per second. [Hz]
    beat : Beat, optional
        Whole ones of it go round, to `WHOLE`; a sound that is too short for one, as
        `Beat.wanted` tells, is faded out at its end and begins again.

    Returns
    -------
    Loop
        Unchanged but for its end. After the last sample comes sample `first`.
    """
    end = sound.size
    fade = round(min(FADE_SHARE * end, LONGEST_FADE * rate))
    tail = sound[end - fade :]
    lowest, highest = round(FIRST_SHARE * end), round(LAST_SHARE * end)
    if beat is not None:
        lowest, highest = round(SETTLED_S * rate) + fade, end - round(beat.least * rate)
    allowed = np.arange(lowest, highest + 1)
    whole = _holds(beat, (end - allowed) / rate) if beat else np.ones(allowed.size, bool)
    if not whole.any():
        return Loop(_faded(sound, fade), 0, end)
    first, alike = _best_start(tail, sound[lowest - fade : highest], whole)
    first += lowest
    before = sound[first - fade : first]
    rise = np.sin(0.5 * np.pi * (np.arange(fade) + 1.0) / fade) ** 2
    # Sounds that are alike add, others only add their energy: this keeps the level either way.
    level = np.sqrt(rise**2 + (1.0 - rise) ** 2 + 2.0 * alike * rise * (1.0 - rise))
    out = sound.copy()
    out[end - fade :] = (rise * before + (1.0 - rise) * tail) / level
    return Loop(out, first, end)


def _holds(beat: Beat, seconds: Samples) -> NDArray[np.bool_]:
    """Tell which lengths hold whole beats."""
    beats = beat.hz * seconds
    return (np.rint(beats) > 0.0) & (np.abs(beats - np.rint(beats)) <= WHOLE * beats)


def _faded(sound: Samples, fade: int) -> Samples:
    out = sound.copy()
    out[sound.size - fade :] *= np.cos(0.5 * np.pi * (np.arange(fade) + 1.0) / fade) ** 2
    return out


def _best_start(tail: Samples, where: Samples, allowed: NDArray[np.bool_]) -> tuple[int, float]:
    """Find the stretch that is most like a tail; its number, and how alike, from 0 to 1."""
    size = smooth_number(where.size)  # what wraps round is not looked at
    product = np.fft.irfft(np.fft.rfft(where, size) * np.conj(np.fft.rfft(tail, size)), size)
    product = product[: where.size - tail.size + 1]
    energy = np.concatenate(([0.0], np.cumsum(where**2)))
    energy = energy[tail.size :] - energy[: -tail.size]
    norm = np.sqrt(np.maximum(energy, 0.0) * float(tail @ tail))
    alike = np.divide(product, norm, out=np.zeros_like(product), where=norm > 0.0)
    best = int(np.argmax(np.where(allowed, alike, -np.inf)))
    return best, float(np.clip(alike[best], 0.0, 1.0))
