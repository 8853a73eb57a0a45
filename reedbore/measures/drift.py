"""How far one oscillation turns while another turns once: the winding number, and the mean drift.

In: turns a beat, or a course of phase. Out: their mean, far more exactly than by a plain average,
and from when on a course rests.
"""

import math

import numpy as np
from numpy.typing import NDArray

AT_REST_CYCLES = 0.05
"""A course is at rest once it stays so near to the phase at which it ends. [cycles]"""


def mean_drift(times: NDArray[np.float64], cycles: NDArray[np.float64]) -> float:
    """Return the mean drift over as many whole slips as there are before the end. [Hz].

    Near a lock a slip dwells and then hurries, so that a part of one tells little of the mean.
    Where there is no whole slip it is the mean over the course; where there is not even half of
    one, as on the way to a lock, over its later half.

    Parameters
    ----------
    times, cycles : ndarray, shape (n,)
        A course of phase, its start left out; at least 3 points. [s], [cycles]

    Returns
    -------
    float
        [Hz]
    """
    way = cycles[-1] - cycles
    whole = math.floor(np.abs(way).max())
    if whole == 0:
        first = 0 if abs(way[0]) > 0.5 else times.size // 2
        return float(way[first] / (times[-1] - times[first]))
    last = int(np.flatnonzero(np.abs(way) >= whole)[-1])
    since = np.interp(whole, np.abs(way[[last + 1, last]]), times[[last + 1, last]])
    return float(math.copysign(whole, way[last]) / (times[-1] - since))


def at_rest(times: NDArray[np.float64], off: NDArray[np.float64]) -> float:
    """Return from when on a course of phase stays within `AT_REST_CYCLES` of its rest. [s].

    Parameters
    ----------
    times, off : ndarray, shape (n,)
        How far it is from the phase at which it rests. [s], [cycles]

    Returns
    -------
    float
        Its last moment if it never does. [s]
    """
    away = np.flatnonzero(np.abs(off) > AT_REST_CYCLES)
    return float(times[min(away[-1] + 1, off.size - 1) if away.size else 0])
