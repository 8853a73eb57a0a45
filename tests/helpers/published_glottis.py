"""The glottal pulse in time, where the program needs only its harmonics."""

import math

import numpy as np
from numpy.typing import NDArray

from reedbore.physics.glottis import (
    PulseShape,
    _opening_flow,
    _return_flow,
    pulse_harmonics,
    waveform_table,
)


def lf_flow(phase: NDArray[np.float64], shape: PulseShape) -> NDArray[np.float64]:
    """Flow through the vocal folds, never negative, by integrating the LF derivative exactly.

    Parameters
    ----------
    phase : ndarray, shape (n,)
        Time within the period, 0 to 1. [periods]
    shape : PulseShape
        From `lf_parameters`.

    Returns
    -------
    ndarray, shape (n,)
        Flow. [slope at t_e × period]
    """
    opening = _opening_flow(np.minimum(phase, shape.closing_time), shape)
    return opening + _return_flow(np.maximum(phase - shape.closing_time, 0.0), shape)


def lf_flow_derivative(phase: NDArray[np.float64], shape: PulseShape) -> NDArray[np.float64]:
    """Slope of the flow through the vocal folds.

    Parameters
    ----------
    phase : ndarray, shape (n,)
        Time within the period, 0 to 1. [periods]
    shape : PulseShape
        From `lf_parameters`.

    Returns
    -------
    ndarray, shape (n,)
        Slope of the flow, -1 at t_e. [slope at t_e]

    Notes
    -----
    E_0 exp(αt) sin(πt/t_p) up to t_e, then
    −(exp(−ε(t − t_e)) − exp(−ε(1 − t_e)))/(ε t_a) (Fant, Liljencrants and Lin 1985).
    Up to Rd = 2.5 nothing is steeper than the slope at t_e; at 2.7 the flow falls 0.2 % faster
    just before.
    """
    early = np.minimum(phase, shape.closing_time)
    opening = (
        shape.opening_scale
        * np.exp(shape.growth_rate * early)
        * np.sin(np.pi * early / shape.peak_time)
    )
    late = np.maximum(phase - shape.closing_time, 0.0)
    end = math.exp(-shape.return_rate * (1.0 - shape.closing_time))
    closing = (np.exp(-shape.return_rate * late) - end) / (shape.return_rate * shape.return_time)
    return np.where(phase < shape.closing_time, opening, -closing)


def pulse_table(rd: float, n: int) -> NDArray[np.float64]:
    """One period of the sung pulse, zero-mean with its peak at 1, as a table of n samples.

    Parameters
    ----------
    rd : float
        Shape parameter, 0.3 to 2.7. [1]
    n : int
        Samples in the table. With 256 or more the peak is within 1e-3 of 1.

    Returns
    -------
    ndarray, shape (n,)
        The waveform from the moment the folds open. [peak]
    """
    return waveform_table(pulse_harmonics(rd, (n - 1) // 2), n)


def fundamental_level_db(rd: float) -> float:
    """Level of the fundamental of the sung pulse against its peak.

    Parameters
    ----------
    rd : float
        Shape parameter, 0.3 to 2.7. [1]

    Returns
    -------
    float
        20 log10 of (amplitude of the fundamental over the peak of the waveform); a sine has 0. [dB]
    """
    return 20.0 * math.log10(2.0 * abs(pulse_harmonics(rd, 1)[0]))
