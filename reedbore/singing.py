"""From a voice to the waveform that is sung into the mouth, as steady or unsteady as it is."""

import functools
import math

import numpy as np
from numpy.typing import NDArray

from reedbore import audio
from reedbore.kernel import mouth
from reedbore.model import Setup, Voice
from reedbore.physics import glottis, unsteady

STREAMS = "jitter", "shimmer", "wander", "noise"
"""Each has dice of its own, so that setting one leaves the others as they are."""

Samples = NDArray[np.float64]

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
        wave = _recorded(str(voice.file), rate)
        faster = 2.0 ** (np.asarray(pull_cents) / 1200.0)
        wave = np.interp(_turns(faster, n), np.arange(wave.size), wave, right=0.0)
    else:
        wave = _made(voice, rate, np.asarray(pull_cents), n)
    fade = np.minimum(np.arange(n) / (voice.fade * rate), 1.0)
    return wave * (0.5 - 0.5 * np.cos(math.pi * fade))


def _made(voice: Voice, rate: float, pull_cents: Samples, n: int) -> Samples:
    """Sing a pulse or a sine: pitch, then periods, then loudness, then breath."""
    faster = 2.0 ** (_bent(voice, rate, pull_cents, n) / 1200.0)
    turns = _turns(voice.frequency * faster / rate, n)
    if voice.jitter:
        turns = unsteady.jittered(turns, voice.jitter, _dice(voice, "jitter"))
    highest = voice.frequency * float(np.max(faster))
    table = mouth.period(*mouth.key(voice, highest, rate))
    wave = np.interp(turns % 1.0 * mouth.TABLE, np.arange(mouth.TABLE + 1), table)
    peak = float(np.argmax(table)) / mouth.TABLE
    if voice.false_folds > 1:
        wave = _growled(wave, turns, voice.false_folds, table)
    if voice.shimmer_db:
        dice = _dice(voice, "shimmer")
        wave = wave * unsteady.shimmer_gain(turns, voice.shimmer_db, peak, dice)
    if voice.noise:
        loud = voice.noise * float(np.sqrt(np.mean(table[:-1] ** 2)))
        wave = wave + loud * unsteady.breath_noise(n, rate, _dice(voice, "noise"))
    return wave


def _growled(wave: Samples, turns: Samples, folds: int, table: Samples) -> Samples:
    """Pass a voice between the false folds, its largest value 1 again."""
    peak, lowest = float(np.argmax(table)) / mouth.TABLE, float(table.min())
    swung = unsteady.between_false_folds(wave, turns, folds, peak, lowest)
    mean = 1.0 - 0.5 * unsteady.FALSE_FOLDS_SHARE
    return swung / max(float(table.max()) - lowest * (1.0 - mean), -lowest * mean)


def _bent(voice: Voice, rate: float, pull_cents: Samples, n: int) -> Samples:
    """Return by how much the pitch is raised [cents], a single number if it stays so."""
    bent, time = pull_cents, np.arange(n) / rate
    if voice.vibrato_cents:
        extent, after = voice.vibrato_cents, voice.vibrato_after
        bent = bent + unsteady.vibrato_cents(time, voice.vibrato, extent, after)
    if voice.scoop_cents:
        bent = bent + unsteady.scoop_cents(time, voice.scoop_cents, voice.scoop)
    if voice.wander_cents:
        bent = bent + glottis.slow_wander(time, voice.wander_cents, _dice(voice, "wander"))
    return bent


def _dice(voice: Voice, stream: str) -> np.random.Generator:
    return np.random.default_rng([voice.seed, STREAMS.index(stream)])


def _turns(step: Samples, n: int) -> Samples:
    """Return how far a clock has run at each of n steps, by an even or a changing step."""
    if step.ndim == 0:
        return np.arange(n) * step
    return np.concatenate(([0.0], np.cumsum(step[: n - 1])))


@functools.lru_cache(maxsize=4)
def _recorded(path: str, rate: float) -> Samples:
    samples, rate_in = audio.read(path)
    return audio.voice_waveform(audio.resample(samples, rate_in, rate), rate)


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
