"""From a voice to the waveform that is sung into the mouth, as steady or unsteady as it is."""

import functools
import math
from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from reedbore import sound
from reedbore.kernel.rows import TABLE
from reedbore.model.setup import Setup
from reedbore.model.voice import Voice
from reedbore.physics import glottis, unsteady
from reedbore.simulate import mouth
from reedbore.simulate.controls import GLIDE, LARGEST_PART, Span

STREAMS = "jitter", "shimmer", "wander", "noise"
"""Each has dice of its own, so that setting one leaves the others as they are."""

Samples = NDArray[np.float64]


class Sung(NamedTuple):
    """A sung line; arrays of shape (n,), a value a step."""

    wave: Samples
    """Zero mean, largest value 1 in each note, but for shimmer and breath noise."""
    pressure: Samples | None
    """Its peak, of a source of flow; None for a source of pressure. [Pa]"""


USUAL_JITTER, USUAL_WANDER_CENTS = 0.005, 10.0
"""Of a healthy adult holding a note: half of the jitter's usual bound, C. T. Ferrand, Speech
Science, 2007 (from memory); the wander: common practice, no source."""


def sing(setup: Setup, seconds: float, pull_cents: float | Samples = 0.0) -> Samples:
    """Return the sung waveform, faded in.

    Parameters
    ----------
    setup : Setup
        Its voice and rate.
    seconds : float
        How long; a recorded voice that is shorter is followed by silence. [s]
    pull_cents : float or ndarray, shape (n,)
        By how much the pitch is raised, at each step if it is an array; a recording is resampled
        for it. [cents]

    Returns
    -------
    ndarray, shape (n,)
        Zero mean, largest value 1, before the fade. Shimmer and breath noise may go beyond it. The
        same seed sings the same to the last bit, and longer begins as shorter does.
    """
    voice, rate = setup.voice, setup.time.rate
    n = round(seconds * rate)
    if voice.source == "off":
        return np.zeros(n)
    if voice.source == "recording":
        wave = _played(voice, rate, n, pull_cents)
    else:
        wave = _made(setup, np.asarray(pull_cents), n)
    steps = np.arange(min(n, math.ceil(voice.fade * rate)))
    wave[: steps.size] *= 0.5 - 0.5 * np.cos(math.pi * (steps / (voice.fade * rate)))
    return wave


def sing_line(setup: Setup, hz: Samples, line: tuple[Span, ...]) -> Sung:
    """Return a sung line, not faded: `passage_controls.Controls.singing` is its gate.

    Parameters
    ----------
    setup : Setup
        Its voice, tract and rate; `voice.frequency` does not count.
    hz : ndarray, shape (n,)
        Pitch at each step, glides included, as `passage_controls.Controls.sung_hz`. [Hz]
    line : tuple of Span
        Notes and rests, which begin and end at steps of `hz`.

    Returns
    -------
    Sung
        As `sing` for each note. Under a slur one note's vowel turns into the next one's while the
        pitch glides, and vibrato and scoop run on; a note that is not slurred begins them anew. A
        recorded voice takes the place of the line.

    Notes
    -----
    The clock runs on from note to note, and never jumps.
    """
    voice, rate, n = setup.voice, setup.time.rate, hz.size
    notes = [span for span in line if span.hz > 0.0]
    if voice.source == "recording":
        return Sung(_played(voice, rate, n, 0.0), None)
    if voice.source == "off" or not notes:
        return Sung(np.zeros(n), np.zeros(n) if voice.flows else None)
    time = np.arange(n) / rate
    faster = 2.0 ** (_bent(voice, time, _since_begun(notes, n) / rate, np.zeros(())) / 1200.0)
    pitch = hz * faster
    turns = _clock(voice, pitch / rate if np.ptp(pitch) else pitch[0] / rate, n)
    breath = _breath(voice, n, rate)
    wave, pressure = np.zeros(n), np.zeros(n)
    for note, part, share, whole in parts(notes, n, rate):
        highest = float(np.max(pitch[whole], initial=note.hz))
        table = mouth.period(*mouth.key(setup, highest, note.hz))
        wave[part] += share * _toned(voice, table, turns[part], breath[part])
        pressure[part] += share * mouth.sung_pressure(setup, note.hz)
    return Sung(wave, pressure if voice.flows else None)


class Part(NamedTuple):
    """A note among the steps of a line."""

    note: Span
    part: slice
    """Where it is heard."""
    share: Samples
    """How much of it, less than 1 while it turns into the next one."""
    whole: slice
    """Where only it is heard."""


def parts(notes: list[Span], n: int, rate: float) -> Iterator[Part]:
    """Share the steps of a line among its notes: all at once, or in a glide under a slur."""
    glides = [
        round(min(GLIDE * rate, LARGEST_PART * (note.end - note.first))) * note.joined
        for note in notes
    ]
    firsts = [0, *(note.first for note in notes[1:]), n]
    for place, note in enumerate(notes):
        first, end, glide = firsts[place], firsts[place + 1], glides[place]
        into_next = glides[place + 1] if place + 1 < len(notes) else 0
        share = np.ones(end + into_next - first)
        share[:glide] = _rise(glide)
        share[end - first :] = 1.0 - _rise(into_next)
        yield Part(note, slice(first, end + into_next), share, slice(first + glide, end))


def _rise(steps: int) -> Samples:
    """Half a period of a raised cosine, from 0 up to nearly 1."""
    return 0.5 - 0.5 * np.cos(math.pi * np.arange(steps) / max(steps, 1))


def _since_begun(notes: list[Span], n: int) -> Samples:
    """Return how many steps ago the last note began that is not slurred; 0 before the first."""
    firsts = np.array([note.first for note in notes if not note.joined] or [notes[0].first])
    steps = np.arange(n)
    begun = firsts[np.maximum(np.searchsorted(firsts, steps, "right") - 1, 0)]
    return np.maximum(steps - begun, 0).astype(np.float64)


def pitch_bend(setup: Setup, n: int, pull_cents: float | Samples = 0.0) -> Samples:
    """Return by how much a voice's pitch is raised at each of n steps, or once for all. [cents]."""
    time = np.arange(n) / setup.time.rate
    return np.asarray(_bent(setup.voice, time, time, np.asarray(pull_cents)))


def line_bend(setup: Setup, notes: list[Span], n: int) -> Samples:
    """Return the same of a line, whose notes begin vibrato and scoop anew unless slurred."""
    rate, since = setup.time.rate, _since_begun(notes, n)
    time = np.arange(n) / rate
    return np.broadcast_to(_bent(setup.voice, time, since / rate, np.zeros(())), n)


def _made(setup: Setup, pull_cents: Samples, n: int) -> Samples:
    """Sing a pulse or a sine: pitch, then periods, then loudness, then breath."""
    voice, rate = setup.voice, setup.time.rate
    time = np.arange(n) / rate
    faster = 2.0 ** (_bent(voice, time, time, pull_cents) / 1200.0)
    turns = _clock(voice, voice.frequency * faster / rate, n)
    highest = voice.frequency * float(np.max(faster))
    table = mouth.period(*mouth.key(setup, highest))
    return _toned(voice, table, turns, _breath(voice, n, rate))


def _clock(voice: Voice, step: Samples, n: int) -> Samples:
    """Return how many periods have run at each step, as unequal as the voice's jitter says."""
    turns = _turns(step, n)
    return unsteady.jittered(turns, voice.jitter, _dice(voice, "jitter")) if voice.jitter else turns


def _breath(voice: Voice, n: int, rate: float) -> Samples:
    """Return the noise of the breath, rms 1; silence if the voice has none."""
    if not voice.noise:
        return np.zeros(n)
    return unsteady.breath_noise(n, rate, _dice(voice, "noise"))


def _toned(voice: Voice, table: Samples, turns: Samples, breath: Samples) -> Samples:
    """Read the periods of a note by a clock; let them growl, differ in level, and breathe."""
    place = turns - np.floor(turns)
    place *= TABLE
    before = place.astype(np.int32)
    place -= before
    place *= np.diff(table, append=table[-1])[before]
    wave = table[before]
    wave += place
    if voice.false_folds > 1:
        wave = _growled(wave, turns, voice.false_folds, table)
    if voice.shimmer_db:
        dice, peak = _dice(voice, "shimmer"), float(np.argmax(table)) / TABLE
        wave = wave * unsteady.shimmer_gain(turns, voice.shimmer_db, peak, dice)
    if voice.noise:
        loud = voice.noise * float(np.sqrt(np.mean(table[:-1] ** 2)))
        wave = wave + loud * breath
    return wave


def _growled(wave: Samples, turns: Samples, folds: int, table: Samples) -> Samples:
    """Pass a voice between the false folds, its largest value 1 again."""
    peak, lowest = float(np.argmax(table)) / TABLE, float(table.min())
    swung = unsteady.between_false_folds(wave, turns, folds, peak, lowest)
    mean = 1.0 - 0.5 * unsteady.FALSE_FOLDS_SHARE
    return swung / max(float(table.max()) - lowest * (1.0 - mean), -lowest * mean)


def _bent(voice: Voice, time: Samples, since: Samples, pull_cents: Samples) -> Samples:
    """Return by how much the pitch is raised [cents], a single number if it stays so.

    The voice wanders through all the time [s]; vibrato and scoop count from the note's start [s].
    """
    bent = pull_cents
    if voice.vibrato_cents:
        extent, after = voice.vibrato_cents, voice.vibrato_after
        bent = bent + unsteady.vibrato_cents(since, voice.vibrato, extent, after)
    if voice.scoop_cents:
        bent = bent + unsteady.scoop_cents(since, voice.scoop_cents, voice.scoop)
    if voice.wander_cents:
        bent = bent + glottis.slow_wander(time, voice.wander_cents, _dice(voice, "wander"))
    return bent


def _played(voice: Voice, rate: float, n: int, pull_cents: float | Samples) -> Samples:
    """Play a recorded voice, silence behind it; it is resampled to be raised."""
    wave = _recorded(str(voice.file), rate)
    faster = 2.0 ** (np.asarray(pull_cents) / 1200.0)
    return np.interp(_turns(faster, n), np.arange(wave.size), wave, right=0.0)


def _dice(voice: Voice, stream: str) -> np.random.Generator:
    return np.random.default_rng([voice.seed, STREAMS.index(stream)])


def _turns(step: Samples, n: int) -> Samples:
    """Return how far a clock has run at each of n steps, by an even or a changing step."""
    if step.ndim == 0:
        return np.arange(n) * step
    return np.concatenate(([0.0], np.cumsum(step[: n - 1])))


@functools.lru_cache(maxsize=4)
def _recorded(path: str, rate: float) -> Samples:
    samples, rate_in = sound.read(path, sound.LONGEST_VOICE)
    return sound.voice_waveform(sound.resample(samples, rate_in, rate), rate)


def human_pitch(seconds: float, rate: float, hz: float, seed: int = 0) -> Samples:
    """Return how the pitch of a steadily held human note departs from it.

    Parameters
    ----------
    seconds, rate : float
        Length [s] and values per second [Hz].
    hz : float
        The note. [Hz]
    seed : int
        The same seed gives the same voice.

    Returns
    -------
    ndarray, shape (n,)
        `USUAL_JITTER`, and a slow wander of `USUAL_WANDER_CENTS` at most. [cents]
    """
    dice = np.random.default_rng(seed)
    n = round(seconds * rate)
    slow = glottis.slow_wander(np.arange(n) / rate, USUAL_WANDER_CENTS, dice)
    even = np.concatenate(([0.0], np.cumsum(hz / rate * 2.0 ** (slow / 1200.0))))
    turns = unsteady.jittered(even, USUAL_JITTER, dice)
    return 1200.0 * np.log2(np.diff(turns) * rate / hz)
