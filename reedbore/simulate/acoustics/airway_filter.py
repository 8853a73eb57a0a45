"""The player's airway in time: a low-order passive filter between reed and lungs.

In: the exact upstream impedance. Out: its reflectance at true frequencies as real poles and pole
pairs, like that of a bore (`reflection`) but with no delay before it: the part of a wave that is
sent back at once makes the mouth a resistance to the step in which it comes.
"""

import functools
import math
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from reedbore.kernel.rows import UPSTREAM_PAIRS, UPSTREAM_POLES
from reedbore.model.setup import Setup
from reedbore.simulate.acoustics.airway import Airway, airway
from reedbore.simulate.acoustics.rational import (
    find_pairs,
    one_thread,
    pair_sections,
    passive_fit,
    real_sections,
)

Reals = NDArray[np.float64]
Complexes = NDArray[Any]

CAVITY_PAIRS = 1
"""Pole pairs of a cavity alone, which is one resonance."""

LOWEST_HZ, HIGHEST_HZ = 60.0, 4000.0
"""Between these the fit matters most, ..."""

OUTSIDE = 0.1
"""... and so much as that far outside."""

LEAST_CHANGE = 0.02
"""So little change of the reflectance is a change of the impedance by itself, or the impedance is
small or large beyond interest."""

NARROWEST_HZ = 15.0
"""No pole pair has a narrower band: none of a living tract is."""

POLES_HZ = 30.0, 0.35
"""Two real poles: the lower one [Hz], and the upper one as a share of the rate."""


class Upstream(NamedTuple):
    """Reflectance of an airway, (Z − R)/(Z + R), as the time step runs it."""

    resistance: float
    """R, to which waves refer. [Pa s m⁻³]"""
    direct: float
    gains: Reals
    poles: Reals
    """Shape (UPSTREAM_POLES,), between 0 and 1: y = Σ gain x/(1 − pole/z)."""
    pair_gains: Reals
    """Shape (pairs, 2), numerators g₀ + g₁/z over 1 − 2 Re(p)/z + |p|²/z²."""
    pairs: Complexes
    """Shape (pairs,), p in the upper half of the unit circle; at most `UPSTREAM_PAIRS`."""

    @property
    def at_once(self) -> float:
        """Share of a wave that comes back in the step in which it is sent, below 1 either way."""
        return float(self.direct + self.gains.sum() + self.pair_gains[:, 0].sum())

    def response(self, z: Complexes) -> Complexes:
        """Return the reflectance at points z of the unit circle."""
        gains = self.gains / (1.0 - self.poles)
        weights = np.concatenate(((self.direct,), gains, self.pair_gains.ravel()))
        return _basis(self.poles, self.pairs, z) @ weights

    def impedance(self, frequency: Reals, rate: float) -> Complexes:
        """Return the upstream impedance that the time step realises.

        Parameters
        ----------
        frequency : ndarray, shape (n,)
            From zero to half of `rate`. [Hz]
        rate : float
            Steps per second. [Hz]

        Returns
        -------
        ndarray, shape (n,)
            Its real part is nowhere negative. [Pa s m⁻³]
        """
        back = self.response(np.exp(2j * math.pi * np.asarray(frequency) / rate))
        return self.resistance * (1.0 + back) / (1.0 - back)


def _basis(poles: Reals, pairs: Complexes, z: Complexes) -> Complexes:
    """Return the responses that the filter is a sum of, one a column."""
    once = np.ones((z.size, 1))
    return np.hstack((once, real_sections(poles, z), pair_sections(pairs, z)))


def upstream_of(setup: Setup) -> Upstream:
    """Return the fitted filter of a setup's airway, coupled or not."""
    return upstream_filter(airway(setup), setup.time.rate)


@functools.lru_cache(maxsize=64)
def upstream_filter(way: Airway, rate: float) -> Upstream:
    """Fit the filter of an airway.

    Parameters
    ----------
    way : Airway
        Tongue shape, air and folds.
    rate : float
        Steps per second. [Hz]

    Returns
    -------
    Upstream
        Passive: no response exceeds 1, from DC to half the rate. Its impedance is within 0.5 dB of
        the exact one from 60 Hz to 4 kHz.
    """
    low, high = np.geomspace(0.1, 100.0, 90), np.geomspace(5050.0, 0.497 * rate, 120)
    frequency = np.concatenate((low, np.linspace(105.0, 5000.0, 500), high))
    z = np.exp(2j * math.pi * frequency / rate)
    exact, resistance = way.impedance(frequency), way.resistance
    target = (exact - resistance) / (exact + resistance)
    weight = _weight(target, frequency)
    helping = 2.0 * math.pi * np.array((POLES_HZ[0], POLES_HZ[1] * rate))
    poles = np.exp(-np.array((way.slowest, *helping)) / rate)
    with one_thread():
        start = _starts(way, rate)
        fixed = _basis(poles, start[:0], z) * weight[:, None]
        narrowest = math.exp(-math.pi * NARROWEST_HZ / rate)
        pairs = find_pairs(fixed, weight, start, z, target * weight, narrowest)
        found = passive_fit(functools.partial(_basis, poles, pairs), z, target, weight)
    real, paired = np.split(found[1:], [UPSTREAM_POLES])
    gains, numerators = real * (1.0 - poles), paired.reshape(-1, 2)
    return Upstream(resistance, float(found[0]), gains, poles, numerators, pairs)


def _weight(target: Complexes, frequency: Reals) -> Reals:
    """Weigh each error by what it does to the impedance, as dZ/Z = 2 dr/(1 − r²)."""
    weight = 1.0 / np.maximum(np.abs(1.0 - target**2), LEAST_CHANGE)
    for beyond in ((LOWEST_HZ / frequency) ** 2, (frequency / HIGHEST_HZ) ** 4):
        weight = weight * (1.0 + OUTSIDE * beyond) / (1.0 + beyond)
    return weight / np.sqrt(np.mean(weight**2))


def _starts(way: Airway, rate: float) -> Complexes:
    """Return where pole pairs are looked for first: at the walls' resonance and the formants."""
    count = CAVITY_PAIRS if way.vowel == "none" else UPSTREAM_PAIRS
    hz = np.concatenate(((200.0,), np.linspace(600.0, 4500.0, count - 1)))
    return np.exp((-0.1 + 1j) * 2.0 * math.pi * hz / rate)
