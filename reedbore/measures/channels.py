"""Whether what a microphone gave is fit to be listened to: silence, clipping, one for the other.

In: samples. Out: numbers, and what they mean by the thresholds that stand here.
"""

import numpy as np
from numpy.typing import NDArray

from reedbore.measures.spectrum import SILENCE_DB

SILENT = 1e-5
"""A sound whose largest sample is smaller is none: under the last bit of 16. [full scale]"""

CLIPPED = 1e-3
"""A larger share of samples on one flat top is clipping."""

FLAT = 3
"""So many samples in a row on the highest value make a flat top."""

HIGH_HZ = 1500.0
"""The neck passes little above; a horn has much there. [Hz]"""

SWAPPED_DB = 10.0
"""A throat with so much more above `HIGH_HZ`, for all it has, than the horn is the horn."""

Samples = NDArray[np.float64]


def flat_top(samples: Samples) -> float:
    """Share of the samples that lie on a flat top or bottom.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        As the microphone gave them, neither thinned nor filtered. [full scale]

    Returns
    -------
    float
        Of those with two neighbours or more on the same extreme value; 0 for silence. A converter
        clips at the same height up and down, so an extreme lower than the other is none. [1]
    """
    if samples.size < FLAT:
        return 0.0
    share, peak = 0.0, float(np.abs(samples).max())
    for extreme in (float(samples.max()), float(samples.min())):
        if abs(extreme) < 0.99 * peak:
            continue
        at = np.abs(samples - extreme) <= 1e-4 * abs(extreme)
        rows = np.lib.stride_tricks.sliding_window_view(at, FLAT).all(axis=1)
        share += float(rows.sum()) / samples.size if extreme else 0.0
    return share


def brightness(samples: Samples, rate: float) -> float:
    """Level above `HIGH_HZ` against the whole.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        A sound. [any]
    rate : float
        Samples per second. [Hz]

    Returns
    -------
    float
        -300 for silence. [dB]
    """
    even = samples[: samples.size // 96 * 96]
    if not even.any():
        return SILENCE_DB
    power = np.abs(np.fft.rfft(even - even.mean())) ** 2
    high = np.fft.rfftfreq(even.size, 1.0 / rate) > HIGH_HZ
    whole = float(power.sum())
    share = float(power[high].sum()) / whole if whole > 0.0 else 0.0
    return 10.0 * float(np.log10(max(share, 1e-30)))
