"""A delay that need not be whole: four taps of a delay line.

In: a delay in samples. Out: its first whole sample, its taps, its response.
"""

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

Complexes = NDArray[Any]


def lagrange(fraction: float) -> tuple[float, float, float, float]:
    """Return the taps of a third-order Lagrange delay of 1 + fraction samples.

    Parameters
    ----------
    fraction : float
        From 0 to 1; in this middle stretch no frequency is amplified.

    Returns
    -------
    tuple of float
        Taps at 0, 1, 2 and 3 samples.

    References
    ----------
    .. [1] T. I. Laakso, V. Välimäki, M. Karjalainen and U. K. Laine, "Splitting the unit delay",
       IEEE Signal Process. Mag. 13(1), 30-60, 1996.
    """
    d = 1.0 + fraction
    return (
        -(d - 1.0) * (d - 2.0) * (d - 3.0) / 6.0,
        d * (d - 2.0) * (d - 3.0) / 2.0,
        -d * (d - 1.0) * (d - 3.0) / 2.0,
        d * (d - 1.0) * (d - 2.0) / 6.0,
    )


def split_delay(delay: float) -> tuple[int, float]:
    """Split a delay [samples] into the whole samples before the first tap, and the fraction."""
    whole = math.floor(delay)
    return whole - 1, delay - whole


def delay_response(delay: float, z: Complexes) -> Complexes:
    """Return the response of a delay [samples] at points z of the unit circle."""
    first, part = split_delay(delay)
    taps = lagrange(part)
    back = 1.0 / z
    fraction = taps[0] + back * (taps[1] + back * (taps[2] + back * taps[3]))
    return np.exp(-1j * first * np.angle(z)) * fraction
