"""The colour of a tone in bands a third of an octave wide.

In: a tone. Out: amplitudes of its partials, a level a band. What a room does to a single partial is
chance, for the level of one frequency swings by some 5.6 dB from place to place [1]_; over a band
it evens out.

References
----------
.. [1] M. R. Schroeder, "Statistical parameters of the frequency response curves of large rooms," J.
   Audio Eng. Soc. 35(5), 299-306, 1987 (from memory).
"""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from reedbore.measures import pitch, spectrum

MIDDLE_HZ, STEP = 1000.0, 10.0**0.1
"""Exact middles are MIDDLE_HZ · STEP^n: IEC 61260-1:2014, bands a third of an octave wide."""

PERIODS = 32
"""A frame is so long: partials of the note and of an eighth of it stay apart."""

LEAST = 1e-15
"""A softer microphone has heard nothing. [any]"""

Reals = NDArray[np.float64]


class Bands(NamedTuple):
    """Those bands that hold a partial: their middles [Hz] and levels [dB], shape (n,)."""

    hz: Reals
    level_db: Reals


def thirds(amplitude: Reals, hz: float) -> Bands:
    """Add the partials of a note up in bands.

    Parameters
    ----------
    amplitude : ndarray, shape (k,)
        Of partials 1 to k. [any]
    hz : float
        The note. [Hz]

    Returns
    -------
    Bands
        The level of a band is that of a sinusoid with the energy of all its partials.
    """
    partial = hz * np.arange(1, amplitude.size + 1)
    number = np.rint(np.log(partial / MIDDLE_HZ) / np.log(STEP)).astype(np.int64)
    found, which = np.unique(number, return_inverse=True)
    power = np.bincount(which, amplitude**2)
    return Bands(MIDDLE_HZ * STEP**found, spectrum.decibel(np.sqrt(power)))


def partials(tones: Sequence[Reals], rate: float, hz: float, count: int) -> Reals:
    """Mean amplitudes of partials, over time and over microphones.

    Parameters
    ----------
    tones : sequence of ndarray, shape (n,)
        A held note, as several microphones heard it; at least `PERIODS` periods. [any]
    rate : float
        Samples per second. [Hz]
    hz : float
        The note, to half a per cent; it may sway. [Hz]
    count : int
        How many partials.

    Returns
    -------
    ndarray, shape (count,)
        Effective means, each microphone counting alike; 0 from half the rate up, and of what is
        silent or nowhere holds the note.
    """
    size = min(tones[0].size, round(PERIODS / hz * rate))
    size -= size % spectrum.GRAIN
    total, frames = np.zeros(count), 0
    whole = [max(float(np.std(tone)), LEAST) for tone in tones]
    for start in range(0, tones[0].size - size + 1, max(1, size // 2)):
        pieces = [tone[start : start + size] for tone in tones]
        loudest = max(pieces, key=np.std)
        exact = pitch.refine(loudest, rate, hz)
        if not abs(exact / hz - 1.0) < 0.03:
            continue
        for piece, size_of in zip(pieces, whole, strict=True):
            found = spectrum.harmonic_amplitudes(piece, rate, exact, count)
            total += (found / size_of) ** 2
        frames += len(pieces)
    return np.sqrt(total / max(frames, 1))
