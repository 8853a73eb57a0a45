"""Turns a step of a map of the circle."""

import numpy as np
from numpy.typing import NDArray


def winding_number(turns: NDArray[np.float64]) -> float:
    """Return the mean turn per beat by the weighted Birkhoff average.

    Parameters
    ----------
    turns : ndarray, shape (n,)
        Advance at each beat. [cycles]

    Returns
    -------
    float
        Converges faster than any power of 1/n for quasi-periodic motion [1]_. [cycles]

    References
    ----------
    .. [1] S. Das, Y. Saiki, E. Sander and J. A. Yorke, "Quantitative quasiperiodicity,"
       Nonlinearity 30(11), 4111-4140, 2017.
    """
    t = np.arange(1, turns.size + 1) / (turns.size + 1)
    weight = np.exp(-1.0 / (t * (1.0 - t)))
    return float(np.sum(weight * turns) / np.sum(weight))
