"""How loud a sound is to a listener: programme loudness, ITU-R BS.1770, of one channel."""

import math

import numpy as np
from numpy.typing import NDArray

Reals = NDArray[np.float64]

RATE = 48000
"""The standard gives its filters at this rate. [Hz]"""

# ITU-R BS.1770-4 (2015), tables 1 and 2: shelf of the head, and the high-pass behind it.
HEAD = (1.53512485958697, -2.69169618940638, 1.19839281085285)
HEAD_BACK = (1.0, -1.69065929318241, 0.73248077421585)
HIGH_PASS = (1.0, -2.0, 1.0)
HIGH_PASS_BACK = (1.0, -1.99004745483398, 0.99007225036621)

BLOCK_S, STEP_S = 0.4, 0.1
OFFSET = -0.691
SILENT_LUFS, GATE_LU = -70.0, -10.0
RINGS_S = 1.0


def loudness(samples: Reals) -> float:
    """Programme loudness of a sound in one channel [1]_.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        At `RATE`; a sound shorter than a block of 0.4 s is one block. [full scale]

    Returns
    -------
    float
        Minus infinity where no block is louder than -70 LUFS. [LUFS]

    References
    ----------
    .. [1] ITU-R BS.1770-4, "Algorithms to measure audio programme loudness and true-peak audio
       level," 2015.
    """
    size = min(samples.size, round(BLOCK_S * RATE))
    if not size:
        return -math.inf
    blocks = np.lib.stride_tricks.sliding_window_view(weighted(samples) ** 2, size)
    power = blocks[:: round(STEP_S * RATE)].mean(axis=1)
    heard = power[power > _power(SILENT_LUFS)]
    if not heard.size:
        return -math.inf
    heard = heard[heard > heard.mean() * 10.0 ** (GATE_LU / 10.0)]
    return OFFSET + 10.0 * math.log10(float(heard.mean()))


def weighted(samples: Reals) -> Reals:
    """Return a sound as the standard weights it (its K-weighting), at `RATE`, as long as before."""
    size = samples.size + round(RINGS_S * RATE)
    delay = np.exp(-2j * math.pi * np.fft.rfftfreq(size))
    response = np.ones_like(delay)
    for over, under in ((HEAD, HEAD_BACK), (HIGH_PASS, HIGH_PASS_BACK)):
        response *= np.polyval(over[::-1], delay) / np.polyval(under[::-1], delay)
    return np.fft.irfft(np.fft.rfft(samples, size) * response, size)[: samples.size]


def _power(lufs: float) -> float:
    return float(10.0 ** ((lufs - OFFSET) / 10.0))
