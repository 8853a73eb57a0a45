"""What a sound is made of: its lines, its harmonics, how much of it lies in lines, over time.

Amplitudes are those of the sinusoids themselves: a line of peak amplitude 1 reads 1.
"""

import functools
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

# Four terms, side lobes at -92 dB from the fourth bin on: F. J. Harris, "On the use of windows
# for harmonic analysis with the discrete Fourier transform," Proc. IEEE 66(1), 51-83, 1978.
BLACKMAN_HARRIS = (0.35875, -0.48829, 0.14128, -0.01168)
# Half the width of a line under that window. [bins]
HALF_WIDTH = 4
# Levels are given down to here, so that silence has one. [dB]
SILENCE_DB = -300.0
# Of so many sounds lines are sought together: with fewer, threads would wait for Python's lock.
AT_ONCE = 256
# Lengths that are whole multiples of this have many small factors, and are transformed many times
# faster. [samples]
GRAIN = 96


class Lines(NamedTuple):
    """Sinusoids: frequencies [Hz], rising, and peak amplitudes; each of shape (n,)."""

    hz: NDArray[np.float64]
    amplitude: NDArray[np.float64]


class LineShare(NamedTuple):
    """Share of the energy that lies in expected lines, and the share of the band they cover.

    Noise has `share` near `covered`; a line spectrum has `share` near 1.
    """

    share: float
    covered: float


class Spectrogram(NamedTuple):
    """Levels over time: `times` [s] (m,), `hz` (k,), `level_db` (k, m) [dB re amplitude 1]."""

    times: NDArray[np.float64]
    hz: NDArray[np.float64]
    level_db: NDArray[np.float64]


@functools.lru_cache(maxsize=16)
def blackman_harris(length: int) -> NDArray[np.float64]:
    """Blackman-Harris window of four terms.

    Parameters
    ----------
    length : int
        Number of samples.

    Returns
    -------
    ndarray, shape (length,)
        The window, symmetrical about its middle, where it is 1. [1]
    """
    turn = 2.0 * np.pi * (np.arange(length, dtype=np.float64) + 0.5) / length
    window = np.zeros(length)
    for order, weight in enumerate(BLACKMAN_HARRIS):
        window += weight * np.cos(order * turn)
    window.flags.writeable = False  # it is shared
    return window


def decibel(amplitude: NDArray[np.float64]) -> NDArray[np.float64]:
    """Level of amplitudes.

    Parameters
    ----------
    amplitude : ndarray, any shape
        Never negative. [any]

    Returns
    -------
    ndarray, same shape
        20 log10 of it, at least -300. [dB]
    """
    least = 10.0 ** (SILENCE_DB / 20.0)
    return np.asarray(20.0 * np.log10(np.maximum(amplitude, least)), dtype=np.float64)


def spectrum(samples: NDArray[np.float64], rate: float, padding: int = 1) -> Lines:
    """Amplitude at each frequency of the grid, Blackman-Harris window.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        The sound. [any]
    rate : float
        Samples per second. [Hz]
    padding : int
        Density of the grid: its step is rate/(n · padding). [1]

    Returns
    -------
    Lines
        One "line" per grid point, n · padding // 2 + 1 of them; a sinusoid on the grid has its
        own peak amplitude there, and shows up to 4 · padding points to either side.
    """
    window = blackman_harris(len(samples))
    size = len(samples) * padding
    amplitude = np.abs(np.fft.rfft(samples * window, size)) * (2.0 / window.sum())
    return Lines(_grid(size, rate), amplitude)


def lines(samples: NDArray[np.float64], rate: float, floor_db: float = -60.0) -> Lines:
    """Find the lines of a steady sound.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        The sound; lines closer than 4·rate/n count as one. [any]
    rate : float
        Samples per second. [Hz]
    floor_db : float
        Weakest level wanted, against the strongest line; down to -80. [dB]

    Returns
    -------
    Lines
        None at all for silence. Frequencies to 0.01 · rate/n, amplitudes to 0.02 dB, for lines
        far enough apart.

    Notes
    -----
    Maxima of the spectrum sampled twice as densely as its resolution asks for, placed by a
    parabola through the logarithms of three points. The mean of the sound is no line.
    """
    return lines_of(samples[np.newaxis], rate, floor_db)[1]


def lines_of(
    sounds: NDArray[np.float64], rate: float, floor_db: float = -60.0
) -> tuple[NDArray[np.int64], Lines]:
    """Find the lines of many steady sounds.

    Parameters
    ----------
    sounds : ndarray, shape (sounds, n)
        Each as for `lines`.
    rate, floor_db
        As for `lines`.

    Returns
    -------
    whose : ndarray, shape (m,)
        To which sound each line belongs, rising.
    found : Lines
        The lines of all, one after the other.
    """
    hz, size = _amplitudes(sounds, rate, padding=2)
    middle = size[:, 1:-1]
    least = 10.0 ** (floor_db / 20.0) * size.max(axis=1, keepdims=True)
    is_peak = (middle > size[:, :-2]) & (middle >= size[:, 2:]) & (middle > least)
    whose, at = np.nonzero(is_peak)
    at += 1
    before, here, after = (decibel(size[whose, at + step]) for step in (-1, 0, 1))
    bend = before - 2.0 * here + after
    offset = 0.5 * (before - after) / np.where(bend < 0.0, bend, -1.0)
    amplitude = 10.0 ** ((here - 0.25 * (before - after) * offset) / 20.0)
    return whose, Lines((at + offset) * hz[1], amplitude)


def _amplitudes(
    sounds: NDArray[np.float64], rate: float, padding: int = 1
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the grid [Hz] of `spectrum`, and the amplitudes of many sounds without their means."""
    window = blackman_harris(sounds.shape[1])
    size = sounds.shape[1] * padding
    centred = sounds - sounds.mean(axis=1, keepdims=True)
    found = np.fft.rfft(centred * window, size, axis=1)
    amplitude = np.sqrt(found.real**2 + found.imag**2) * (2.0 / window.sum())
    return _grid(size, rate), amplitude


def line_share(
    samples: NDArray[np.float64], rate: float, f1: float, f2: float, orders: int
) -> LineShare:
    """Share of the energy that lies at the combinations of two frequencies.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        The sound. [any]
    rate : float
        Samples per second. [Hz]
    f1, f2 : float
        The two frequencies. [Hz]
    orders : int
        Combinations |n f1 + m f2| with n and m from -orders to orders count.

    Returns
    -------
    LineShare
        Energy within 4 bins of a combination over all energy, and the part of the band that lies
        so near. Many orders in a short sound cover the whole band: then nothing is learnt.
        Silence has a share of 0. [1], [1]
    """
    share, covered = line_shares(samples[np.newaxis], rate, np.array([f1]), np.array([f2]), orders)
    return LineShare(float(share[0]), float(covered[0]))


def line_shares(
    sounds: NDArray[np.float64],
    rate: float,
    f1: NDArray[np.float64],
    f2: NDArray[np.float64],
    orders: int,
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Share of the energy of many sounds that lies at combinations of their two frequencies.

    Parameters
    ----------
    sounds : ndarray, shape (sounds, n)
        Each as for `line_share`.
    rate, f1, f2, orders
        As for `line_share`; frequencies of shape (sounds,).

    Returns
    -------
    share, covered : ndarray, shape (sounds,)
        As in a `LineShare`.
    """
    if len(sounds) > AT_ONCE:
        some = [slice(k, k + AT_ONCE) for k in range(0, len(sounds), AT_ONCE)]
        parts = [line_shares(sounds[part], rate, f1[part], f2[part], orders) for part in some]
        share, covered = (np.concatenate(part) for part in zip(*parts, strict=True))
        return share, covered
    hz, amplitude = _amplitudes(sounds, rate)
    # n f1 + m f2 and its negative lie in the same place.
    n, m = np.array(
        [(n, m) for n in range(orders + 1) for m in range(-orders, orders + 1) if n or m > 0]
    ).T
    places = np.abs(f1[:, np.newaxis] * n + f2[:, np.newaxis] * m)
    index = np.rint(places / hz[1]).astype(np.int64)
    row, column = np.nonzero((index > 0) & (index < hz.size))
    near = np.zeros((len(sounds), hz.size + 2 * HALF_WIDTH), np.bool_)
    near[row, index[row, column] + HALF_WIDTH] = True
    expected = near[:, : hz.size].copy()
    for step in range(1, 2 * HALF_WIDTH + 1):
        expected |= near[:, step : step + hz.size]
    energy = amplitude**2
    total, found = energy.sum(axis=1), np.where(expected, energy, 0.0).sum(axis=1)
    share = np.divide(found, total, out=np.zeros_like(total), where=total > 0.0)
    return share, expected.mean(axis=1)


def harmonic_amplitudes(
    samples: NDArray[np.float64], rate: float, hz: float, count: int
) -> NDArray[np.float64]:
    """Peak amplitudes of the harmonics of a frequency.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        The sound, at least 8 periods. [any]
    rate : float
        Samples per second. [Hz]
    hz : float
        The fundamental, exact to 0.1 · rate/(n · count). [Hz]
    count : int
        How many harmonics, the fundamental included.

    Returns
    -------
    ndarray, shape (count,)
        Amplitudes, 0 for harmonics from the Nyquist frequency up. [unit of the samples]
    """
    window = blackman_harris(len(samples))
    weighted = (samples - np.mean(samples)) * window * (2.0 / window.sum())
    clock = np.exp(-2j * np.pi * hz / rate * np.arange(len(samples), dtype=np.float64))
    turned = weighted.astype(np.complex128)
    amplitudes = np.zeros(count)
    for order in range(1, count + 1):
        if order * hz >= 0.5 * rate:
            break
        turned *= clock
        amplitudes[order - 1] = abs(turned.sum())
    return amplitudes


def spectrogram(
    samples: NDArray[np.float64], rate: float, window: float = 0.1, hop: float = 0.02
) -> Spectrogram:
    """Levels of all frequencies over time.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        The sound; shorter than a window, it is one window. [any]
    rate : float
        Samples per second. [Hz]
    window, hop : float
        Length of a Blackman-Harris window, and time from one to the next. [s]

    Returns
    -------
    Spectrogram
        A sinusoid of peak amplitude 1 reads 0 dB at its frequency.
    """
    length = min(len(samples), max(16, round(window * rate)))
    step = max(1, round(hop * rate))
    frames = np.lib.stride_tricks.sliding_window_view(samples, length)[::step]
    weight = blackman_harris(length)
    amplitude = np.abs(np.fft.rfft(frames * weight, axis=1)) * (2.0 / weight.sum())
    times = (np.arange(len(frames), dtype=np.float64) * step + 0.5 * length) / rate
    return Spectrogram(times, _grid(length, rate), decibel(amplitude).T)


def _grid(size: int, rate: float) -> NDArray[np.float64]:
    """Frequencies of the transform of `size` real samples."""
    return np.arange(size // 2 + 1, dtype=np.float64) * (rate / size)
