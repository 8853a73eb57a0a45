"""What is blown and sung into the mouth, as every kernel takes it."""

import functools
import math

import numpy as np
from numpy.typing import NDArray

from reedbore.model import Voice
from reedbore.physics import glottis, tract
from reedbore.physics.air import air_keefe

TABLE = 8192
"""Points of one period of the sung waveform."""

HIGHEST_HZ = 12000.0
"""No partial of the sung waveform lies above this, nor above `HIGHEST_SHARE` of the rate."""

HIGHEST_SHARE = 0.45

TRACT_K = 308.15
"""Temperature of the air in the vocal tract. [K]"""

REED_CONDUCTANCE = tract.channel_conductance(1.8e-4, 3e3)
"""What the lips' end of the tract lets out: the channel of a reed, blown as usual (common practice,
no source). [m³ s⁻¹ Pa⁻¹]"""

Key = tuple[str, float, int, str, float]
"""What one period of a sung waveform depends on: the arguments of `period`."""


def harmonics(hz: float, rate: float) -> int:
    """Return how many partials a sung note of a frequency [Hz] has at a rate [Hz]."""
    return max(int(min(HIGHEST_SHARE * rate, HIGHEST_HZ) / hz), 1)


def key(voice: Voice, hz: float, rate: float) -> Key:
    """Return what one period depends on.

    Parameters
    ----------
    voice : Voice
        A pulse or a sine.
    hz : float
        The highest frequency that it takes. [Hz]
    rate : float
        Steps per second. [Hz]

    Returns
    -------
    Key
        Arguments of `period`. A voice that is pulled keeps the vowel of its own note, and so its
        waveform.
    """
    note = 0.0 if voice.vowel == "none" else voice.frequency
    return voice.source, voice.rd, harmonics(hz, rate), voice.vowel, note


@functools.lru_cache(maxsize=64)
def period(
    source: str, rd: float, count: int, vowel: str = "none", hz: float = 0.0
) -> NDArray[np.float64]:
    """Return one period of the sung waveform.

    Parameters
    ----------
    source : str
        ``pulse`` or ``sine``.
    rd : float
        Shape of the pulse.
    count : int
        Its partials.
    vowel : str
        ``none``, or the tongue shape that the pulse has to pass.
    hz : float
        The note that is sung, if there is a tongue shape. [Hz]

    Returns
    -------
    ndarray, shape (TABLE + 1,)
        Zero mean, largest value 1, either way with a vowel; the first point stands at the end
        again.
    """
    sung = glottis.sine_harmonics(count)
    if source != "sine":
        sung = glottis.pulse_harmonics(rd, count)
    if vowel != "none":
        sung = sung * formed(vowel, hz * np.arange(1.0, count + 1.0))
    table = glottis.waveform_table(sung, TABLE)
    if vowel != "none":
        table = table / np.abs(table).max()
    return np.append(table, table[0])


def formed(vowel: str, frequency: NDArray[np.float64]) -> NDArray[np.complex128]:
    """Return the pressure in the mouth for a flow through the folds, past a tongue shape.

    Parameters
    ----------
    vowel : str
        One of `tract.SHAPES`.
    frequency : ndarray, shape (n,)
        Above zero. [Hz]

    Returns
    -------
    ndarray, shape (n,)
        The lips are round a mouthpiece, whose reed lets out `REED_CONDUCTANCE`. [Pa s m⁻³]
    """
    omega = 2.0 * math.pi * frequency
    whole = tract.two_port(tract.SHAPES[vowel], omega, air_keefe(TRACT_K))
    return tract.pressure_at_lips(whole, REED_CONDUCTANCE)
