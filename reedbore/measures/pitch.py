"""How high a sound is: its period, the exact frequency of a line, its phase, its steadiness.

`fundamental` finds the period of a steady sound with no guess; `refine` makes a frequency exact;
`phase_track` follows one line; `period_jitter` says how equal the cycles are; `pitch_track` and
`median_voiced_pitch` are for voices and other sounds that move.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from reedbore.measures.spectrum import blackman_harris

# A shorter period is preferred if its dip is at most this much shallower than the deepest one:
# the partials it leaves unexplained then hold at most half this share of the energy (-16 dB).
DIP_MARGIN = 0.05
# Frames below this clarity, or this much weaker than the loudest one, count as unvoiced.
VOICED_CLARITY = 0.7
VOICED_LEVEL_DB = -30.0
# Six samples around a crossing, and what turns them into the polynomial through them.
_CROSSING_POINTS = np.arange(-2, 4)
_CROSSING_FIT = np.linalg.inv(np.vander(_CROSSING_POINTS.astype(float), increasing=True))


class Pitch(NamedTuple):
    """A pitch [Hz] and how clearly the sound repeats at it: 1 exactly, 0 not at all."""

    hz: float
    clarity: float


class PhaseTrack(NamedTuple):
    """One line over time; each field has shape (n,).

    `times` [s] are the middles of the windows, `cycles` the phase [cycles] minus that of a clock
    at the frequency asked for, unwrapped, `amplitude` the peak amplitude [unit of the samples].
    """

    times: NDArray[np.float64]
    cycles: NDArray[np.float64]
    amplitude: NDArray[np.float64]


def fundamental(
    samples: NDArray[np.float64],
    rate: float,
    low: float = 20.0,
    high: float = 2000.0,
    least_clarity: float = 0.5,
) -> Pitch | None:
    """Pitch of a steady sound: the shortest time after which it repeats almost exactly.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        The sound; two or more of its periods, for a steady value ten or more. [any]
    rate : float
        Samples per second. [Hz]
    low, high : float
        Bounds of the search. [Hz]
    least_clarity : float
        Below this clarity there is no pitch. [1]

    Returns
    -------
    Pitch or None
        To about 1e-4 of its value; None for silence and for sounds that do not repeat.

    Notes
    -----
    Cumulative mean normalised difference function [1]_; of its dips the first one that is within
    0.05 of the deepest. So two periods are not taken for one, and partials that belong to a
    longer period are heeded only if they hold 1/40 of the energy or more (-16 dB).

    References
    ----------
    .. [1] A. de Cheveigné and H. Kawahara, "YIN, a fundamental frequency estimator for speech
       and music," J. Acoust. Soc. Am. 111(4), 1917-1930, 2002.
    """
    hz, clarity = _shortest_periods(samples[np.newaxis, :], rate, low, high)
    if not clarity[0] >= least_clarity:
        return None
    return Pitch(float(hz[0]), float(clarity[0]))


def thin(
    samples: NDArray[np.float64], rate: float, near: float = 12000.0
) -> tuple[NDArray[np.float64], float]:
    """Average blocks of samples: what is measured below 2 kHz needs no more than 12 kHz.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        The sound. [any]
    rate : float
        Samples per second. [Hz]
    near : float
        Rate wanted. [Hz]

    Returns
    -------
    samples : ndarray, shape (m,)
        A sample a block; frequencies stay what they are. [any]
    rate : float
        Samples per second, near the one wanted; never more than before. [Hz]
    """
    block = max(1, round(rate / near))
    whole = samples.size // block * block
    return samples[:whole].reshape(-1, block).mean(axis=1), rate / block


def crossing_rate(samples: NDArray[np.float64], rate: float) -> float:
    """Rate at which a signal rises through its mean: its frequency if one swing stands out.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        Any signal. [any]
    rate : float
        Samples per second. [Hz]

    Returns
    -------
    float
        Over whole periods; 0 if it rises less than four times. [Hz]
    """
    at = rises(samples, rate)
    return float((at.size - 1) / (at[-1] - at[0])) if at.size >= 4 else 0.0


def rises(samples: NDArray[np.float64], rate: float) -> NDArray[np.float64]:
    """Moments at which a signal rises through its mean.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        Any signal. [any]
    rate : float
        Samples per second. [Hz]

    Returns
    -------
    ndarray, shape (m,)
        Between two samples by a straight line. [s]
    """
    above = samples - samples.mean()
    at = np.flatnonzero((above[:-1] < 0.0) & (above[1:] >= 0.0))
    return np.asarray((at + above[at] / (above[at] - above[at + 1])) / rate)


def refine(samples: NDArray[np.float64], rate: float, hz: float) -> float:
    """Exact frequency of the line near a given frequency.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        A steady sound of at least 16 periods. [any]
    rate : float
        Samples per second. [Hz]
    hz : float
        Frequency of the line, to about half a per cent; other lines lie at least hz/2 away. [Hz]

    Returns
    -------
    float
        The frequency; to 1e-6 of its value for a steady line that lasts half a second; nan for
        silence. [Hz]

    Notes
    -----
    The slope of the phase against a clock at hz, fitted by least squares weighted by power; three
    times, each with the clock of the time before.
    """
    bandwidth = max(0.25 * hz, 8.0 * rate / len(samples))
    for _ in range(3):
        track = phase_track(samples, rate, hz, bandwidth)
        weight = track.amplitude**2
        if not weight.any():
            return float("nan")
        since = track.times - np.average(track.times, weights=weight)
        hz += float(np.sum(weight * since * track.cycles) / np.sum(weight * since**2))
    return hz


def phase_track(
    samples: NDArray[np.float64], rate: float, hz: float, bandwidth: float
) -> PhaseTrack:
    """Phase and amplitude of one line over time.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        The sound, longer than 4/bandwidth. [any]
    rate : float
        Samples per second. [Hz]
    hz : float
        Frequency of the clock that the phase is compared with. [Hz]
    bandwidth : float
        Lines farther than this from hz are suppressed by 92 dB. [Hz]

    Returns
    -------
    PhaseTrack
        A point each quarter of 1/bandwidth. The slope of `cycles` is the frequency minus hz.

    Notes
    -----
    Demodulation with a Blackman-Harris window of length 4/bandwidth.
    """
    length = min(len(samples), round(4.0 * rate / bandwidth))
    hop = max(1, length // 16)
    window = blackman_harris(length)
    starts = np.arange(0, len(samples) - length + 1, hop, dtype=np.float64)
    turn = 2.0 * np.pi * hz / rate
    clock = np.exp(-1j * turn * np.arange(length)) * window * (2.0 / window.sum())
    frames = np.lib.stride_tricks.sliding_window_view(samples, length)[::hop]
    parts = frames @ np.stack((clock.real, clock.imag), axis=1)
    line = (parts[:, 0] + 1j * parts[:, 1]) * np.exp(-1j * turn * starts)
    times = (starts + 0.5 * (length - 1)) / rate
    return PhaseTrack(times, np.unwrap(np.angle(line)) / (2.0 * np.pi), np.abs(line))


def period_jitter(samples: NDArray[np.float64], rate: float, hz: float) -> float:
    """How unequal the cycles are: standard deviation of their lengths over the mean length.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        The sound. [any]
    rate : float
        Samples per second. [Hz]
    hz : float
        Its pitch, to a few per cent. [Hz]

    Returns
    -------
    float
        Relative jitter; nan if there are fewer than three cycles. Up to 500 Hz an exact pulse
        train reads below 1e-6 at 96 kHz and below 4e-5 at 44.1 kHz. [1]

    Notes
    -----
    A cycle lasts from one rise through the middle between lowest and highest value to the next,
    each rise placed by a polynomial through six samples. Of several rises within a cycle the
    steepest is followed.
    """
    marks = _cycle_marks(samples, rate / hz)
    if len(marks) < 4:
        return float("nan")
    lengths = np.diff(marks)
    return float(np.std(lengths) / np.mean(lengths))


def pitch_track(
    samples: NDArray[np.float64],
    rate: float,
    low: float = 60.0,
    high: float = 1000.0,
    hop: float = 0.01,
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Pitch of a sound that moves, such as a voice.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        The sound. [any]
    rate : float
        Samples per second. [Hz]
    low, high : float
        Bounds of the search. [Hz]
    hop : float
        Time from one frame to the next. [s]

    Returns
    -------
    times : ndarray, shape (frames,)
        Moment that each pitch belongs to, to about half a period. [s]
    hz : ndarray, shape (frames,)
        Pitch of each frame; nan where it has none. [Hz]
    """
    length = int(np.ceil(2.5 * rate / low))
    if len(samples) < length:
        return np.empty(0), np.empty(0)
    step = max(1, round(hop * rate))
    frames = np.lib.stride_tricks.sliding_window_view(samples, length)[::step]
    parts = [
        _shortest_periods(frames[start : start + 64], rate, low, high)
        for start in range(0, len(frames), 64)
    ]
    hz = np.concatenate([part[0] for part in parts])
    clarity = np.concatenate([part[1] for part in parts])
    # The mean is no sound, and a knock shorter than a tenth of a second is no voice.
    level = np.array([np.std(frame) for frame in frames])
    loudest = np.sort(level)[-min(len(level), max(1, round(0.1 / hop)))]
    loud = level > 10.0 ** (VOICED_LEVEL_DB / 20.0) * loudest
    voiced = loud & (clarity >= VOICED_CLARITY)
    # A frame compares its first part with the same a period later: their common middle counts.
    compared = length - _longest_lag(length, rate, low)
    period = rate / float(np.median(hz[voiced])) if voiced.any() else 0.0
    middle = 0.5 * (compared + period)
    times = (np.arange(len(frames), dtype=np.float64) * step + middle) / rate
    return times, np.where(voiced, hz, np.nan)


def median_voiced_pitch(
    samples: NDArray[np.float64],
    rate: float,
    low: float = 60.0,
    high: float = 1000.0,
    least_voiced: float = 0.1,
) -> float | None:
    """Median pitch of the voiced part of a sound.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        The sound. [any]
    rate : float
        Samples per second. [Hz]
    low, high : float
        Bounds of the search. [Hz]
    least_voiced : float
        Time that has to be voiced in all. [s]

    Returns
    -------
    float or None
        The median [Hz], or None if less than `least_voiced` is voiced.
    """
    hop = 0.01
    hz = pitch_track(samples, rate, low, high, hop)[1]
    voiced = hz[np.isfinite(hz)]
    if len(voiced) * hop < least_voiced:
        return None
    return float(np.median(voiced))


def _shortest_periods(
    frames: NDArray[np.float64], rate: float, low: float, high: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Pitch [Hz] and clarity of each frame, shape (m, n); clarity 0 where there is nothing."""
    longest = _longest_lag(frames.shape[1], rate, low)
    shortest = max(2, int(rate / high))
    count = len(frames)
    if longest - shortest < 3:
        return np.zeros(count), np.zeros(count)
    difference = _normalised_difference(frames, longest)
    inner = difference[:, shortest:longest]
    dip = (inner <= difference[:, shortest - 1 : longest - 1]) & (
        inner < difference[:, shortest + 1 : longest + 1]
    )
    depth = np.where(dip, inner, np.inf)
    deepest = depth.min(axis=1)
    lag = np.argmax(depth <= deepest[:, np.newaxis] + DIP_MARGIN, axis=1) + shortest
    row = np.arange(count)
    before, at, after = (difference[row, lag + step] for step in (-1, 0, 1))
    bend = before - 2.0 * at + after
    offset = 0.5 * (before - after) / np.where(bend > 0.0, bend, 1.0)
    clarity = np.where(np.isfinite(deepest), np.clip(1.0 - at, 0.0, 1.0), 0.0)
    return rate / (lag + np.clip(offset, -1.0, 1.0)), clarity


def _longest_lag(length: int, rate: float, low: float) -> int:
    """Longest period that is looked for in a frame. [samples]."""
    return min(int(rate / low) + 2, length // 2)


def _normalised_difference(frames: NDArray[np.float64], longest: int) -> NDArray[np.float64]:
    """Squared difference from the sound a lag later, over its mean at all shorter lags.

    Shape (m, longest + 1); 1 where a frame is silent.
    """
    centred = frames - frames.mean(axis=1, keepdims=True)
    length = centred.shape[1] - longest
    size = 1 << (centred.shape[1] + length - 1).bit_length()
    spectrum = np.fft.rfft(centred, size)
    head = np.fft.rfft(centred[:, :length], size)
    product = np.fft.irfft(spectrum * np.conj(head), size)[:, : longest + 1]
    energy = np.concatenate([np.zeros((len(frames), 1)), np.cumsum(centred**2, axis=1)], axis=1)
    energy_later = energy[:, length : length + longest + 1] - energy[:, : longest + 1]
    difference = np.maximum(energy_later[:, :1] + energy_later - 2.0 * product, 0.0)
    total = np.cumsum(difference, axis=1)
    floor = 1e-12 * length * np.maximum(np.max(frames**2, axis=1, keepdims=True), 1e-300)
    lags = np.arange(longest + 1)
    normalised = difference * lags / np.maximum(total, floor)
    return np.where(energy_later[:, :1] > floor, normalised, 1.0)


def _cycle_marks(samples: NDArray[np.float64], period: float) -> NDArray[np.float64]:
    """Positions [samples] at which the cycles begin: rises through the middle value."""
    level = 0.5 * (samples.max() + samples.min())
    below = samples < level
    rises = np.flatnonzero(below[2:-4] & ~below[3:-3]) + 2
    if len(rises) == 0:
        return np.empty(0)
    first = rises[rises < rises[0] + period]
    at = first[np.argmax(samples[first + 1] - samples[first])]
    chosen = []
    while True:
        chosen.append(at)
        expected = at + period
        following = rises[np.searchsorted(rises, at, side="right") :]
        if expected > len(samples) - 4 or len(following) == 0:
            break
        at = following[np.argmin(np.abs(following[: int(2 * period)] - expected))]
    index = np.array(chosen)
    return index + _crossing(samples[index[:, np.newaxis] + _CROSSING_POINTS] - level)


def _crossing(around: NDArray[np.float64]) -> NDArray[np.float64]:
    """Zero between the third and fourth of six samples, by Newton's method; shape (m, 6)."""
    terms = around @ _CROSSING_FIT.T
    place = around[:, 2] / (around[:, 2] - around[:, 3])
    powers = np.arange(6)
    for _ in range(4):
        value = np.sum(terms * place[:, np.newaxis] ** powers, axis=1)
        slope = np.sum(terms[:, 1:] * powers[1:] * place[:, np.newaxis] ** powers[:-1], axis=1)
        safe = np.where(slope > 0.0, slope, np.inf)
        place = np.clip(place - value / safe, 0.0, 1.0)
    return place
