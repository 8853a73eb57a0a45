"""What a voice that is no clock makes of a lock: how far the two notes run apart meanwhile.

In: a setup, the ratio at which its notes are compared, how the voice moves. Out: the beat between
them, and the share of the time that a human voice stays in lock.
"""

import numpy as np
from numpy.typing import NDArray

from reedbore.measures import pitch
from reedbore.model.setup import Setup
from reedbore.simulate.singing import human_pitch
from reedbore.simulate.take import again
from reedbore.verdict.lock_edges import Ratio, sung_at

HOLD_S = 20.0
"""How long a human voice tries to hold a lock. [s]"""

HELD_S, HELD_CYCLES = 0.5, 0.25
"""Held: through so many seconds the beat moves by less than so many cycles."""

Samples = NDArray[np.float64]


def held_share(setup: Setup, sung_hz: float, ratio: Ratio, seed: int = 0) -> float:
    """Measure how much of the time a human voice stays in lock.

    Parameters
    ----------
    setup : Setup
        Horn, breath and voice.
    sung_hz : float
        Where the voice aims. [Hz]
    ratio : (p, q)
        At which it is to lock.
    seed : int
        Which voice.

    Returns
    -------
    float
        Share of the time beyond chance: stretches of `HELD_S` through which the beat
        p·played - q·sung, the voice as it really was, moves by less than `HELD_CYCLES`; less those
        in which it would do so by itself, the horn keeping its pitch; over the rest.
    """
    sung = sung_at(setup, sung_hz)
    rate = setup.time.rate
    curve = human_pitch(HOLD_S, rate, sung_hz, seed)
    times, beat = beat_of(sung, ratio, HOLD_S, curve)
    alone = -ratio[1] * np.interp(times, np.arange(curve.size) / rate, _ahead(sung_hz, curve, rate))
    still, by_chance = still_share(times, beat), still_share(times, alone)
    return float(max(still - by_chance, 0.0) / (1.0 - by_chance)) if by_chance < 1.0 else 0.0


def still_share(times: Samples, beat: Samples) -> float:
    """Return the share of stretches in which a beat hardly moves."""
    steps = round(HELD_S / float(times[1] - times[0]))
    start = int(np.searchsorted(times, 2.0))
    moved = np.abs(beat[start + steps :: steps] - beat[start:-steps:steps])
    return float(np.mean(moved < HELD_CYCLES))


def _ahead(hz: float, curve: Samples, rate: float) -> Samples:
    """Return how far a pitch curve [cents] runs ahead of its note [cycles]."""
    return np.asarray(np.cumsum(hz * (2.0 ** (curve / 1200.0) - 1.0)) / rate)


def beat_of(
    setup: Setup, ratio: Ratio, seconds: float, curve: float | Samples
) -> tuple[Samples, Samples]:
    """Watch a pair while the voice keeps its note, or follows a curve.

    Parameters
    ----------
    setup : Setup
        Horn, breath and voice.
    ratio : (p, q)
        At which the two notes are compared.
    seconds : float
        How long. [s]
    curve : float or ndarray, shape (n,)
        By how much the voice is raised, at each step if it is an array. [cents]

    Returns
    -------
    times : ndarray, shape (m,)
        [s]
    beat : ndarray, shape (m,)
        How far p·played has run ahead of q·sung, the voice as it really was. [cycles]
    """
    p, q = ratio
    rate, hz = setup.time.rate, setup.voice.frequency
    run = again(setup, seconds, curve)
    pressure, thin = pitch.thin(run.traces.pressure, rate)
    track = pitch.phase_track(pressure, thin, hz * q / p, min(hz / p, 20.0))
    ahead = p * track.cycles
    if not isinstance(curve, float):
        off = _ahead(hz, curve, rate)
        ahead = ahead - q * np.interp(track.times, np.arange(off.size) / rate, off)
    return track.times, ahead
