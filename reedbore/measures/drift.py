"""How far one oscillation turns while another turns once: the winding number, and the mean drift.

In: turns a beat, or a course of phase. Out: their mean, far more exactly than by a plain average,
and from when on a course rests.
"""

import numpy as np
from numpy.typing import NDArray

AT_REST_CYCLES = 0.05
"""A course is at rest once it stays so near to the phase at which it ends. [cycles]"""


def mean_drift(times: NDArray[np.float64], cycles: NDArray[np.float64]) -> float:
    """Return the mean drift of one course [Hz], as `mean_drifts` has it."""
    return float(mean_drifts(times, cycles[np.newaxis])[0])


def mean_drifts(times: NDArray[np.float64], cycles: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the mean drift over as many whole slips as there are before the end. [Hz].

    Near a lock a slip dwells and then hurries, so that a part of one tells little of the mean.
    Where there is no whole slip it is the mean over the course; where there is not even half of
    one, as on the way to a lock, over its later half.

    Parameters
    ----------
    times : ndarray, shape (n,)
        Of courses of phase, their start left out; at least 3. [s]
    cycles : ndarray, shape (courses, n)
        [cycles]

    Returns
    -------
    ndarray, shape (courses,)
        [Hz]
    """
    rows, count = np.arange(len(cycles)), times.size
    way = cycles[:, -1:] - cycles
    far = np.abs(way)
    whole = np.floor(far.max(axis=1))
    slips = whole > 0.0
    # The last moment from which on there are so many slips, or where a course without any is begun.
    last = count - 1 - np.argmax(far[:, ::-1] >= whole[:, np.newaxis], axis=1)
    first = np.where(slips, last, np.where(far[:, 0] > 0.5, 0, count // 2))
    begun, after = times[first], np.minimum(first + 1, count - 1)
    step = far[rows, first] - far[rows, after]
    back = (whole - far[rows, after]) / np.where(slips, step, 1.0)
    since = np.where(slips, times[after] + (begun - times[after]) * back, begun)
    gone = np.where(slips, np.copysign(whole, way[rows, first]), way[rows, first])
    return np.asarray(gone / (times[-1] - since))


def slopes(times: NDArray[np.float64], values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the slope of the straight line, by least squares, through the values of each row.

    Parameters
    ----------
    times : ndarray, shape (n,)
        At least 2. [s]
    values : ndarray, shape (rows, n)
        [any]

    Returns
    -------
    ndarray, shape (rows,)
        [any s⁻¹]
    """
    since = times - times.mean()
    off = values - values.mean(axis=1, keepdims=True)
    return np.asarray((off * (since / np.sum(since**2))).sum(axis=1))


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
