"""The colour of a steady tone: where its energy lies, how still it stands, how much of it is air.

In: a steady tone and its pitch. Out: single numbers in hertz, decibels and cents. Levels of
partials are those of sinusoids, as in `spectrum`; partials count from 1.
"""

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from reedbore.measures import spectrum

Reals = NDArray[np.float64]

HIGHEST_HZ = 16000.0
"""Up to here partials count."""

AIR_HZ = 8000.0
"""Up to here noise counts."""

NOISE_PERIODS = 24.0
"""Long enough to leave room between partials."""

FRAME_PERIODS = 16.0
"""Long enough to tell partials apart, short enough to see them move."""


class Movement(NamedTuple):
    """How far a tone moves about its means, as standard deviations."""

    level_db: float
    """Mean over partials 1 to 8 that are no more than 40 dB below the strongest. [dB]"""
    pitch_cents: float
    """Of the first partial that is so strong. [cents]"""


def partials(tone: Reals, rate: float, hz: float) -> Reals:
    """Amplitudes of all partials up to `HIGHEST_HZ`.

    Parameters
    ----------
    tone : ndarray, shape (n,)
        At least 8 periods. [any]
    rate : float
        Samples per second. [Hz]
    hz : float
        The pitch. [Hz]

    Returns
    -------
    ndarray, shape (k,)
        Peak amplitudes, the first partial's first. [unit of the tone]
    """
    count = int(min(HIGHEST_HZ, 0.49 * rate) / hz)
    return spectrum.harmonic_amplitudes(tone, rate, hz, count)


def centroid(amplitude: Reals, hz: float) -> float:
    """Mean frequency of partials, weighted by amplitude.

    Parameters
    ----------
    amplitude : ndarray, shape (k,)
        Of partials 1 to k. [any]
    hz : float
        The pitch. [Hz]

    Returns
    -------
    float
        Not a number for silence. [Hz]
    """
    whole = float(amplitude.sum())
    order = np.arange(1, amplitude.size + 1)
    return hz * float((order * amplitude).sum()) / whole if whole > 0.0 else math.nan


def share_db(part: Reals, whole: Reals) -> float:
    """Energy of some partials over that of others.

    Parameters
    ----------
    part, whole : ndarray, shape (k,)
        Their amplitudes. [any]

    Returns
    -------
    float
        -300 where there is none in either. [dB]
    """
    sizes = np.sqrt([float((part**2).sum()), float((whole**2).sum())])
    if sizes[1] == 0.0:
        return spectrum.SILENCE_DB
    return float(spectrum.decibel(sizes[:1] / sizes[1])[0])


def harmonics_to_noise(tone: Reals, rate: float, hz: float) -> float:
    """Energy of the partials over that of all between them, up to `AIR_HZ`.

    Parameters
    ----------
    tone : ndarray, shape (n,)
        At least `NOISE_PERIODS` periods. [any]
    rate : float
        Samples per second. [Hz]
    hz : float
        The pitch, to a few cents. [Hz]

    Returns
    -------
    float
        About 80 at most; not a number for silence. [dB]

    Notes
    -----
    Mean over frames short enough for a player's slow movement not to count. Within
    `spectrum.HALF_WIDTH` grid points of a partial all counts as its own, elsewhere as noise, which
    is taken to go on evenly under the partials.
    """
    size = min(tone.size, round(NOISE_PERIODS / hz * rate))
    frames = np.lib.stride_tricks.sliding_window_view(tone, size)[:: max(1, size // 2)]
    energy = np.mean(
        [spectrum.spectrum(one - one.mean(), rate).amplitude ** 2 for one in frames], 0
    )
    at = np.arange(energy.size) * (rate / size)
    inside = (at > 0.5 * hz) & (at < AIR_HZ)
    apart = np.abs(at - hz * np.rint(at / hz)) * (size / rate)
    own = inside & (apart <= spectrum.HALF_WIDTH)
    between = inside & ~own
    if not energy[own].sum() > 0.0:
        return math.nan
    noise = float(energy[between].mean()) * np.count_nonzero(inside)
    return 10.0 * math.log10(float(energy[own].sum()) / max(noise, 1e-30))


def movement(tone: Reals, rate: float, hz: float) -> Movement:
    """How much the partials and the pitch of a held tone move.

    Parameters
    ----------
    tone : ndarray, shape (n,)
        Several times `FRAME_PERIODS` periods. [any]
    rate : float
        Samples per second. [Hz]
    hz : float
        The pitch, to a few cents. [Hz]

    Returns
    -------
    Movement
        Zero for silence.
    """
    size = round(FRAME_PERIODS / hz * rate)
    frames = np.lib.stride_tricks.sliding_window_view(tone, size)[:: size // 4]
    window = spectrum.blackman_harris(size)
    time = np.arange(size) / rate
    clock = np.exp(-2j * math.pi * hz * np.arange(1, 9)[:, None] * time) * window
    waves = frames @ clock.T / window.sum()
    level = spectrum.decibel(2.0 * np.abs(waves))
    mean = level.mean(axis=0)
    strong = (mean > mean.max() - 40.0) & (mean > 0.5 * spectrum.SILENCE_DB)
    if not strong.any():
        return Movement(0.0, 0.0)
    first = int(np.flatnonzero(strong)[0])
    hop = (size // 4) / rate
    turn = 2.0 * math.pi * hz * (first + 1) * hop
    slow = np.diff(np.unwrap(np.angle(waves[:, first]))) - turn
    slow = (slow + math.pi) % (2.0 * math.pi) - math.pi
    played = (slow / (2.0 * math.pi * hop) + hz * (first + 1)) / (first + 1)
    cents = 1200.0 * np.log2(played / hz)
    return Movement(float(level[:, strong].std(axis=0).mean()), float(cents.std()))
