"""The waveform of a sung note: the LF model of the flow through the vocal folds, and a sine.

One period lasts 1 and the slope at the main excitation, the moment t_e of closing, is -1, so times
are fractions of a period and flows are in units of (that slope × period). What drives the reed is
that flow made zero-mean with its peak at 1. Its Fourier coefficients are known in closed form, so
a table of it can be made for any pitch without a partial above the Nyquist frequency.
"""

import math
from collections.abc import Callable
from typing import NamedTuple, TypeVar

import numpy as np
from numpy.typing import NDArray

FloatOrArray = TypeVar("FloatOrArray", float, NDArray[np.float64])


class PulseShape(NamedTuple):
    """The constants of one LF pulse; the period is 1 and the slope at `closing_time` is -1."""

    peak_time: float
    closing_time: float
    return_time: float
    return_rate: float
    growth_rate: float
    opening_scale: float


WANDER_HZ = 0.11, 0.23, 0.41
"""How fast a held note wanders: common practice, no source."""


def lf_parameters(rd: float) -> PulseShape:
    """Constants of the LF pulse that belong to one value of the shape parameter Rd.

    Parameters
    ----------
    rd : float
        Shape parameter, 0.3 (pressed, bright) to 2.7 (breathy, dull). [1]

    Returns
    -------
    PulseShape
        Times of peak flow t_p, of main excitation t_e and of return t_a [periods], rates of the
        return ε and of the growth α [1/period], scale of the opening phase E_0 [1].

    Notes
    -----
    Ra = (−1 + 4.8 Rd)/100, Rk = (22.4 + 11.8 Rd)/100,
    Rg = Rk / (4 (0.11 Rd/(0.5 + 1.2 Rk) − Ra)); t_p = 1/(2 Rg), t_e = t_p (1 + Rk), t_a = Ra [1]_.
    ε solves ε t_a = 1 − exp(−ε (1 − t_e)); α makes the flow return to where it began;
    E_0 = −1/(exp(α t_e) sin(π t_e/t_p)) [2]_.

    References
    ----------
    .. [1] G. Fant, "The LF-model revisited. Transformations and frequency domain analysis,"
       STL-QPSR 36(2-3), 119-156, 1995 (coefficients from memory).
    .. [2] G. Fant, J. Liljencrants and Q. Lin, "A four-parameter model of glottal flow,"
       STL-QPSR 26(4), 1-13, 1985.
    """
    return_time = (-1.0 + 4.8 * rd) / 100.0
    closing_ratio = (22.4 + 11.8 * rd) / 100.0
    opening_ratio = 0.25 * closing_ratio / (0.11 * rd / (0.5 + 1.2 * closing_ratio) - return_time)
    peak_time = 0.5 / opening_ratio
    closing_time = peak_time * (1.0 + closing_ratio)
    rest = 1.0 - closing_time

    def return_misfit(rate: float) -> float:
        return 1.0 - math.exp(-rate * rest) - rate * return_time

    def shape_for(growth_rate: float) -> PulseShape:
        scale = -1.0 / (
            math.exp(growth_rate * closing_time) * math.sin(math.pi * closing_time / peak_time)
        )
        return PulseShape(peak_time, closing_time, return_time, return_rate, growth_rate, scale)

    return_rate = _root(return_misfit, math.log(rest / return_time) / rest, 1.0 / return_time)
    growth_rate = _root(lambda rate: _flow_left_over(shape_for(rate)), -10.0, 40.0)
    return shape_for(growth_rate)


def pulse_harmonics(rd: float, count: int) -> NDArray[np.complex128]:
    """Fourier coefficients of the sung pulse, zero-mean with its peak at 1.

    Parameters
    ----------
    rd : float
        Shape parameter, 0.3 to 2.7. [1]
    count : int
        Number of harmonics wanted, at least 1.

    Returns
    -------
    ndarray, shape (count,)
        c_k for k = 1 … count of s(t) = 2 Re Σ c_k exp(2πjkt), t in periods. [peak]

    Notes
    -----
    The transform of the LF derivative in closed form, divided by 2πjk. A sum of few harmonics
    peaks a little off 1; the coefficients do not depend on how many are asked for.
    """
    shape = lf_parameters(rd)
    s = np.asarray(2j * np.pi * np.arange(1, count + 1), dtype=np.complex128)
    slope = _opening_transform(s, shape) + _return_transform(s, shape)
    peak = _opening_flow(shape.peak_time, shape) - _mean_flow(shape)
    return slope / (s * peak)


def sine_harmonics(count: int) -> NDArray[np.complex128]:
    """Fourier coefficients of a sung sine of peak 1 that starts at zero, as `pulse_harmonics`."""
    coefficients = np.zeros(count, dtype=np.complex128)
    coefficients[0] = -0.5j
    return coefficients


def waveform_table(harmonics: NDArray[np.complex128], n: int) -> NDArray[np.float64]:
    """One period of the waveform with the given harmonics.

    Parameters
    ----------
    harmonics : ndarray, shape (count,)
        Coefficients c_k, k = 1 … count, as from `pulse_harmonics`. [peak]
    n : int
        Samples in the table; harmonics from n/2 up have no place in it and are left out.

    Returns
    -------
    ndarray, shape (n,)
        The waveform at phases 0, 1/n, …; its mean is zero. [peak]
    """
    kept = harmonics[: (n - 1) // 2]
    return np.fft.irfft(np.concatenate([[0.0], kept]), n, norm="forward")


def _opening_flow(time: FloatOrArray, shape: PulseShape) -> FloatOrArray:
    """Flow at a time up to t_e, float or array alike."""
    angular = math.pi / shape.peak_time
    grown = np.exp(shape.growth_rate * time) * (
        shape.growth_rate * np.sin(angular * time) - angular * np.cos(angular * time)
    )
    flow: FloatOrArray = (
        shape.opening_scale * (grown + angular) / (shape.growth_rate**2 + angular**2)
    )
    return flow


def _return_flow(since: FloatOrArray, shape: PulseShape) -> FloatOrArray:
    """Flow lost since t_e (so negative), float or array alike."""
    rate = shape.return_rate
    end = math.exp(-rate * (1.0 - shape.closing_time))
    fall = (1.0 - np.exp(-rate * since)) / rate - since * end
    flow: FloatOrArray = -fall / (rate * shape.return_time)
    return flow


def _flow_left_over(shape: PulseShape) -> float:
    """Flow at the end of the period, which the right α makes zero."""
    rest = 1.0 - shape.closing_time
    return float(_opening_flow(shape.closing_time, shape) + _return_flow(rest, shape))


def _mean_flow(shape: PulseShape) -> float:
    """Mean flow over a period: minus the first moment of its slope, as it ends where it began."""
    angular = math.pi / shape.peak_time
    rate, growth, time = shape.return_rate, shape.growth_rate, shape.closing_time
    rest = 1.0 - time
    square = growth**2 + angular**2
    grown = math.exp(growth * time)
    sine, cosine = math.sin(angular * time), math.cos(angular * time)
    sine_area = (grown * (growth * sine - angular * cosine) + angular) / square
    cosine_area = (grown * (growth * cosine + angular * sine) - growth) / square
    opening = growth * sine_area - angular * cosine_area + angular * time
    end = math.exp(-rate * rest)
    fall = (rest - (1.0 - end) / rate) / rate - 0.5 * rest**2 * end
    return float(
        shape.opening_scale * opening / square
        + _opening_flow(time, shape) * rest
        - fall / (rate * shape.return_time)
    )


def _opening_transform(s: NDArray[np.complex128], shape: PulseShape) -> NDArray[np.complex128]:
    """∫ slope exp(−st) dt from 0 to t_e."""
    angular, time = math.pi / shape.peak_time, shape.closing_time
    growth = shape.growth_rate - s
    grown = np.exp(growth * time) * (
        growth * math.sin(angular * time) - angular * math.cos(angular * time)
    )
    return shape.opening_scale * (grown + angular) / (growth**2 + angular**2)


def _return_transform(s: NDArray[np.complex128], shape: PulseShape) -> NDArray[np.complex128]:
    """∫ slope exp(−st) dt from t_e to 1."""
    rate, rest = shape.return_rate, 1.0 - shape.closing_time
    decay = (1.0 - np.exp(-(rate + s) * rest)) / (rate + s)
    offset = math.exp(-rate * rest) * (1.0 - np.exp(-s * rest)) / s
    return -np.exp(-s * shape.closing_time) * (decay - offset) / (rate * shape.return_time)


def _root(function: Callable[[float], float], low: float, high: float) -> float:
    """Zero of a function between two points where its signs differ, by bisection."""
    sign = math.copysign(1.0, function(low))
    while True:
        middle = 0.5 * (low + high)
        if middle in (low, high):
            return middle
        if sign * function(middle) > 0.0:
            low = middle
        else:
            high = middle


def slow_wander(
    time: NDArray[np.float64], wander_cents: float, dice: np.random.Generator
) -> NDArray[np.float64]:
    """Return how the pitch of a held note wanders slowly.

    Parameters
    ----------
    time : ndarray, shape (n,)
        From the start of the note. [s]
    wander_cents : float
        Farthest departure. [cents]
    dice : Generator
        It says where the wandering begins.

    Returns
    -------
    ndarray, shape (n,)
        A sum of sines, below half a hertz. [cents]
    """
    phases = dice.uniform(0.0, 2.0 * math.pi, len(WANDER_HZ))
    slow = sum(
        np.sin(2.0 * math.pi * f * time + start) for f, start in zip(WANDER_HZ, phases, strict=True)
    )
    return np.asarray(wander_cents / len(WANDER_HZ) * slow, np.float64)
