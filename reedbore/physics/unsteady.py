"""What a held sung note does that a clock does not: jitter, shimmer, vibrato, scoop, noise.

Time runs in turns, one for each period of the note. Whatever is random comes from dice that the
caller brings: the same dice give the same voice, and a longer note begins as a shorter one does.
"""

import math

import numpy as np
from numpy.typing import NDArray

Reals = NDArray[np.float64]
Dice = np.random.Generator

APART = math.sqrt(math.pi) / 2.0
"""Standard deviation of numbers whose successive ones are 1 apart on the average, normal ones."""

FALSE_FOLDS_SHARE = 0.5
"""How much of the pulse the false folds take away where they are nearest: our choice."""

NOISE_HZ = 24000.0
"""How often a second the breath noise is drawn, so it reaches to about 10 kHz. [Hz]"""


def jittered(turns: Reals, jitter: float, dice: Dice) -> Reals:
    """Make successive periods unequal.

    Parameters
    ----------
    turns : ndarray, shape (n,)
        How far an even voice has run, never falling, from 0 or more. [periods]
    jitter : float
        Mean difference of successive periods over the mean period; 0.2 to 1 % is usual in healthy
        adults [1]_ (from memory).
    dice : Generator
        One draw for each period.

    Returns
    -------
    ndarray, shape (n,)
        How far the uneven voice has run. [periods]

    Notes
    -----
    Each period departs from the mean by itself, normally distributed.

    References
    ----------
    .. [1] C. T. Ferrand, "Speech Science: An Integrated Approach to Theory and Clinical Practice,"
       2nd ed., Pearson, 2007.
    """
    # No period departs by more than a quarter, and there is room for a voice that runs ahead.
    count = 2 + math.ceil(1.4 * float(turns.max(initial=0.0)))
    off = np.clip(jitter * APART * dice.standard_normal(count), -0.25, 0.25)
    starts = np.concatenate(([0.0], np.cumsum(1.0 + off)))
    return np.interp(turns, starts, np.arange(starts.size, dtype=np.float64))


def shimmer_gain(turns: Reals, shimmer_db: float, peak: float, dice: Dice) -> Reals:
    """Make successive periods unequally loud.

    Parameters
    ----------
    turns : ndarray, shape (n,)
        How far the voice has run. [periods]
    shimmer_db : float
        Mean difference of the levels of successive peaks; below 0.5 dB is usual [1]_ (from
        memory). [dB]
    peak : float
        Where in a period its peak lies. [periods]
    dice : Generator
        One draw for each period.

    Returns
    -------
    ndarray, shape (n,)
        What the waveform is to be multiplied by.

    Notes
    -----
    The level, normally distributed, holds at each peak and goes straight from one to the next.

    References
    ----------
    .. [1] C. T. Ferrand, "Speech Science: An Integrated Approach to Theory and Clinical Practice,"
       2nd ed., Pearson, 2007.
    """
    count = 2 + math.ceil(float(turns.max(initial=0.0)))
    level = shimmer_db * APART * dice.standard_normal(count)
    return np.asarray(10.0 ** (np.interp(turns - peak, np.arange(count), level) / 20.0))


def vibrato_cents(time: Reals, hz: float, extent_cents: float, after: float) -> Reals:
    """Vibrato of a sung note.

    Parameters
    ----------
    time : ndarray, shape (n,)
        From the start of the note. [s]
    hz : float
        How often it goes up and down; 5 to 7 a second is usual [1]_ (from memory). [Hz]
    extent_cents : float
        How far it goes either way; 50 to 100 is usual [1]_ (from memory). [cents]
    after : float
        When it begins. [s]

    Returns
    -------
    ndarray, shape (n,)
        What is added to the note: a sine, first upwards. [cents]

    References
    ----------
    .. [1] J. Sundberg, "The Science of the Singing Voice," Northern Illinois University Press,
       1987, ch. 6.
    """
    return extent_cents * np.sin(2.0 * math.pi * hz * np.maximum(time - after, 0.0))


def scoop_cents(time: Reals, below_cents: float, seconds: float) -> Reals:
    """Glide up to a note from below.

    Parameters
    ----------
    time : ndarray, shape (n,)
        From the start of the note. [s]
    below_cents : float
        How far below it starts. [cents]
    seconds : float
        After which time it is there. [s]

    Returns
    -------
    ndarray, shape (n,)
        What is added to the note: half a cosine, 0 from then on. [cents]
    """
    return -below_cents * (0.5 + 0.5 * np.cos(math.pi * np.minimum(time / seconds, 1.0)))


def between_false_folds(wave: Reals, turns: Reals, folds: int, peak: float, lowest: float) -> Reals:
    """Let the false vocal folds swing once in two or three periods of the true ones.

    Parameters
    ----------
    wave : ndarray, shape (n,)
        The sung waveform without them, its mean zero.
    turns : ndarray, shape (n,)
        How far it has run. [periods]
    folds : int
        Periods of the note to one of the false folds.
    peak : float
        Where in a period the wave is highest; the false folds are then apart in the first of
        `folds` periods. [periods]
    lowest : float
        Least value of the wave, at which nothing flows.

    Returns
    -------
    ndarray, shape (n,)
        The flow less its mean. It repeats only after `folds` periods [1]_, so its pitch is that
        much lower.

    Notes
    -----
    Flow times 1 − s (1 − cos(2π (turns − peak)/folds))/2 with s = `FALSE_FOLDS_SHARE`.

    References
    ----------
    .. [1] K.-I. Sakakibara, L. Fuks, H. Imagawa and N. Tayama, "Growl voice in ethnic and pop
       styles," Proc. Int. Symp. Musical Acoustics, Nara, 2004.
    """
    swing = np.cos(2.0 * math.pi * (turns - peak) / folds)
    open_share = 1.0 - 0.5 * FALSE_FOLDS_SHARE * (1.0 - swing)
    return (wave - lowest) * open_share + lowest * (1.0 - 0.5 * FALSE_FOLDS_SHARE)


SWAY_HZ = 0.31, 0.53, 0.89, 1.3, 1.9, 2.7, 3.7, 5.1
"""Frequencies of a slow movement, none a multiple of another, up to some 6 Hz: our choice. [Hz]"""


def slow_sway(time: Reals, dice: Dice) -> Reals:
    """How what a player holds still moves slowly.

    Parameters
    ----------
    time : ndarray, shape (n,)
        From the start. [s]
    dice : Generator
        It says where the movement begins.

    Returns
    -------
    ndarray, shape (n,)
        Of rms 1 over long times: sines at `SWAY_HZ` whose power falls as 1/f.
    """
    hz = np.array(SWAY_HZ)
    size = np.sqrt(2.0 / hz / np.sum(1.0 / hz))
    starts = dice.uniform(0.0, 2.0 * math.pi, hz.size)
    parts = (
        one * np.sin(2.0 * math.pi * f * time + start)
        for one, f, start in zip(size, hz, starts, strict=True)
    )
    return np.asarray(sum(parts), np.float64)


def breath_noise(n: int, rate: float, dice: Dice) -> Reals:
    """Noise of the air that rushes between the folds.

    Parameters
    ----------
    n : int
        How many values.
    rate : float
        Values per second. [Hz]
    dice : Generator
        `NOISE_HZ` draws a second, so the noise is the same at any rate.

    Returns
    -------
    ndarray, shape (n,)
        Noise of rms 1 without colour up to some 5 kHz, falling from there on.

    Notes
    -----
    Straight lines between draws: their mean square is two thirds of that of the draws.
    """
    draws = dice.standard_normal(math.ceil(n / rate * NOISE_HZ) + 2)
    at = np.arange(n) * (NOISE_HZ / rate)
    return math.sqrt(1.5) * np.interp(at, np.arange(draws.size), draws)
