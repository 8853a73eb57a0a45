"""What is blown and sung into the mouth, as every kernel takes it."""

import functools

import numpy as np
from numpy.typing import NDArray

from reedbore.physics import glottis

TABLE = 8192
"""Points of one period of the sung waveform."""

HIGHEST_HZ = 12000.0
"""No partial of the sung waveform lies above this, nor above `HIGHEST_SHARE` of the rate."""

HIGHEST_SHARE = 0.45


def harmonics(hz: float, rate: float) -> int:
    """Return how many partials a sung note of a frequency [Hz] has at a rate [Hz]."""
    return max(int(min(HIGHEST_SHARE * rate, HIGHEST_HZ) / hz), 1)


@functools.lru_cache(maxsize=64)
def period(source: str, rd: float, count: int) -> NDArray[np.float64]:
    """Return one period of the sung waveform.

    Parameters
    ----------
    source : str
        ``pulse`` or ``sine``.
    rd : float
        Shape of the pulse.
    count : int
        Its partials.

    Returns
    -------
    ndarray, shape (TABLE + 1,)
        Zero mean, largest value 1; the first point stands at the end again.
    """
    if source == "sine":
        table = glottis.waveform_table(glottis.sine_harmonics(count), TABLE)
    else:
        table = glottis.waveform_table(glottis.pulse_harmonics(rd, count), TABLE)
    return np.append(table, table[0])
