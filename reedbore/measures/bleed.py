"""What one microphone hears of what stands before another, and how to take it away.

In: two sounds recorded at once. Out: the first without what a short filter makes of the second.
"""

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import solve_toeplitz

BEFORE_S, AFTER_S = 1.5e-3, 9.5e-3
"""Sound may reach the other microphone so much sooner, or later, ways over skin and walls counted.
Together they are too short to tell lines apart that lie closer than 90 Hz: what is taken away is
what the horn does over all, not the one line that voice and horn share. [s]"""

LEAST_POWER = 1e-4
"""Where the other sound is weaker than this share of its power nothing is learnt from it."""

SWAY, NARROWEST = 0.01, 0.1
"""A partial moves by such a share of its frequency; it is looked for within such a share of the
note."""

Samples = NDArray[np.float64]


def without(
    samples: Samples, other: Samples, rate: float, quiet: tuple[Samples, Samples] | None = None
) -> Samples:
    """Take away what can be made of another sound by a short filter.

    Parameters
    ----------
    samples, other : ndarray, shape (n,)
        Recorded at once; a quarter of a second or more. [any]
    rate : float
        Samples per second. [Hz]
    quiet : (samples, other), optional
        A while of both in which only the other sounds: there the filter is found. By default it is
        found where it is used, and may take a little of what both share.

    Returns
    -------
    ndarray, shape (n,)
        What is left. [any]

    Notes
    -----
    The filter of least squares, by its normal equations [1]_.

    References
    ----------
    .. [1] N. Levinson, "The Wiener RMS error criterion in filter design and prediction," J. Math.
       Phys. 25, 261-278, 1946 (from memory).
    """
    before, taps = round(BEFORE_S * rate), round((BEFORE_S + AFTER_S) * rate)
    heard, source = (samples, other) if quiet is None else quiet
    source = _advanced(source - source.mean(), before)
    own = _correlated(source, source, taps)
    if own[0] <= 0.0:
        return samples - samples.mean()
    own[0] *= 1.0 + LEAST_POWER
    path = solve_toeplitz(own, _correlated(heard - heard.mean(), source, taps))
    through = np.convolve(_advanced(other - other.mean(), before), path)[: samples.size]
    return np.asarray(samples - samples.mean() - through)


def _advanced(samples: Samples, by: int) -> Samples:
    """Return it so many samples sooner, silent at its end."""
    return np.concatenate((samples[by:], np.zeros(min(by, samples.size))))


def _correlated(one: Samples, other: Samples, lags: int) -> Samples:
    """Sum of one times the other so many samples later, for lags from 0. Shape (lags,)."""
    size = 1 << (2 * one.size - 1).bit_length()
    crossed = np.fft.rfft(one, size) * np.conj(np.fft.rfft(other, size))
    return np.asarray(np.fft.irfft(crossed, size)[:lags])


def partials_alone(samples: Samples, rate: float, hz: float) -> Samples:
    """Keep the partials of one note and nothing else.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        The sound. [any]
    rate : float
        Samples per second. [Hz]
    hz : float
        The note. [Hz]

    Returns
    -------
    ndarray, shape (n,)
        What lies within a hundredth of a partial, and never farther from it than a tenth of the
        note: what a voice adds between the partials stays out. [any]
    """
    spectrum = np.fft.rfft(samples)
    frequency = np.fft.rfftfreq(samples.size, 1.0 / rate)
    order = np.maximum(np.rint(frequency / hz), 1.0)
    near = np.clip(SWAY * order * hz, 3.0 * rate / samples.size, NARROWEST * hz)
    return np.fft.irfft(
        np.where(np.abs(frequency - order * hz) <= near, spectrum, 0.0), samples.size
    )
