"""The bore in time: one fractional delay and one low-order passive filter.

In: the exact admittance of the bore, from its two-ports. Out: the delay and the filter through
which the outgoing wave at the reed comes back. Pressure waves are spherical in a cone and plane in
a cylinder: a pressure p = p⁺ + p⁻ at the throat drives the flow (p⁺ - p⁻)/Zc through the
characteristic resistance, and, in a cone, one more flow through the throat's inertance. Volume of
mouthpiece and inertance of throat are stepped by the trapezoidal rule; the filter is fitted to
what then remains, so that the sampled bore has the exact admittance and no bent frequency axis.
"""

import functools
import math
from collections.abc import Callable
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from reedbore.physics import radiation, tube
from reedbore.physics.air import Gas

Pieces = tuple[tuple[float, float, float], ...]
Reals = NDArray[np.float64]
Complexes = NDArray[Any]

POLES = 10
"""Real poles of the reflection filter."""

BETWEEN_POINTS = 1e-5
"""By so much a response may be greater between two points of the passivity check."""

BRANCHES = 5
"""Branches of the network that stands for the throat of a cone."""

LOOKS_AHEAD = 0.083, 0.14
"""A long wave feels the loss of the wider bore ahead: losses at the throat are those of the radius
so many wavelengths/2π away; the part within these bounds that makes the lowest peak true is found
for each bore."""

HIGH_WEIGHT = 0.1
LOW_WEIGHT = 0.1
LEAST_LOSS = 0.1
BRANCH_HZ = 1.0, 1000.0
LOWEST_POLE_HZ = 6.0
HIGHEST_POLE = 0.35
"""Of the rate."""

END_POLE = -1.670 + 1.820j
"""Pole pair of an open end, in units of c/a (`radiation.reflection_rational`)."""

UNBENT_HZ = 8000.0
"""Up to here the filter undoes the bent frequency axis of the lumped elements."""
GRID = 360
"""Frequencies of the fit; the passivity check uses a grid of its own, ten times as dense."""


class Throat(NamedTuple):
    """What the bore does at the reed without delay.

    With p = p⁺ + p⁻ the flow into horn and mouthpiece is Yc (p⁺ - p⁻) + Yt p + jωC p. Both the
    characteristic admittance Yc of the waves, with its losses, and that of the throat, Yt, are
    written with resistances and inertances in series, which share their poles.
    """

    resistance: float
    """Lossless characteristic resistance ρc/S. [Pa s m⁻³]"""
    compliance: float
    """Of the mouthpiece. [m³ Pa⁻¹]"""
    throat: Reals
    """Shape (BRANCHES,), never negative: inverse inertances of the cone's throat. [m⁴ kg⁻¹]"""
    wave: Reals
    """Shape (BRANCHES,): the same for what the losses add to Yc. [m⁴ kg⁻¹]"""
    rates: Reals
    """Shape (BRANCHES,): resistance over inertance of each branch. [s⁻¹]"""

    def sampled(self, rate: float) -> tuple[Reals, Reals, Reals]:
        """Return conductances of throat and wave, and decay a step, by the trapezoidal rule."""
        share = 1.0 / (2.0 * rate + self.rates)
        return self.throat * share, self.wave * share, (2.0 * rate - self.rates) * share

    def at_throat(self, s: Complexes) -> Complexes:
        """Return Yt [m³ s⁻¹ Pa⁻¹] at complex frequencies s."""
        return (self.throat[:, None] / (s + self.rates[:, None])).sum(axis=0)

    def of_wave(self, s: Complexes) -> Complexes:
        """Return Yc [m³ s⁻¹ Pa⁻¹] at complex frequencies s."""
        return 1.0 / self.resistance + (self.wave[:, None] / (s + self.rates[:, None])).sum(axis=0)


class Reflection(NamedTuple):
    """A delay, and behind it a filter with fixed real poles and one pair for the open end."""

    delay: float
    """[samples]"""
    direct: float
    gains: Reals
    poles: Reals
    """Shape (POLES,), between 0 and 1."""
    ring_gains: Reals
    """Shape (2,), numerator of the pair."""
    ring: Reals
    """Shape (2,), a and b of the pair's denominator 1 - a/z + b/z²."""

    def response(self, z: Complexes) -> Complexes:
        """Return the frequency response at points z of the unit circle."""
        gains = self.gains / (1.0 - self.poles)
        weights = np.concatenate(((self.direct,), gains, self.ring_gains))
        return _basis(self.delay, self.poles, self.ring, z) @ weights


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


def _delay_response(delay: float, z: Complexes) -> Complexes:
    first, fraction = split_delay(delay)
    taps = lagrange(fraction)
    return sum(t * z ** (-(first + k)) for k, t in enumerate(taps))  # type: ignore[return-value]


def throat(pieces: Pieces, volume: float, gas: Gas, looks_ahead: float | None = None) -> Throat:
    """Return the lumped elements at the reed.

    Parameters
    ----------
    pieces : tuple of (length, entry_radius, exit_radius)
        From the reed to the open end. [m]
    volume : float
        Of the mouthpiece. [m³]
    gas : Gas
        Air in the bore.

    looks_ahead : float, optional
        Whose loss the throat of a cone has (`LOOKS_AHEAD`); by default found for this bore.

    Returns
    -------
    Throat
        For a cone with the lossy inertance 1/(Zc Γ x₁) of its spherical waves.
    """
    length, entry, far = pieces[0]
    resistance = gas.density * gas.sound_speed / (math.pi * entry**2)
    rates = 2.0 * math.pi * np.geomspace(*BRANCH_HZ, BRANCHES)
    omega = 2.0 * math.pi * np.geomspace(8.0, 6000.0, 60)
    branches = 1.0 / (1j * omega[:, None] + rates)
    taper = max(far - entry, 0.0) / (length * entry)
    if looks_ahead is None:
        looks_ahead = _looks_ahead(pieces, volume, gas) if taper else 0.0
    seen = np.minimum(entry * (1.0 + looks_ahead * taper * gas.sound_speed / omega), far)
    propagation, impedance = tube.wall_loss(seen, omega, gas)  # type: ignore[arg-type]
    admittance = (entry / seen) ** 2 / impedance
    wave = _solve(branches, admittance - 1.0 / resistance)
    throat = np.zeros(BRANCHES)
    if far > entry:
        throat = _never_negative(branches, taper / propagation * admittance)
    return Throat(resistance, volume / (gas.density * gas.sound_speed**2), throat, wave, rates)


def _never_negative(basis: Complexes, wanted: Complexes) -> Reals:
    """Fit by relative least squares, dropping terms until none left is negative."""
    scaled = basis / wanted[:, None]
    keep = np.arange(basis.shape[1])
    found = _solve(scaled, np.ones_like(wanted))
    while found.min() < 0.0:
        keep = np.delete(keep, found.argmin())
        found = _solve(scaled[:, keep], np.ones_like(wanted))
    strengths = np.zeros(basis.shape[1])
    strengths[keep] = found
    return strengths


def bore_admittance(pieces: Pieces, end: str, omega: Reals, gas: Gas) -> Complexes:
    """Return the exact input admittance of a bore behind the mouthpiece.

    Parameters
    ----------
    pieces : tuple of (length, entry_radius, exit_radius)
        From the reed to the open end. [m]
    end : {'unflanged', 'flanged'}
        Surroundings of the open end.
    omega : ndarray, shape (n,)
        Angular frequency. [rad s⁻¹]
    gas : Gas
        Air in the bore.

    Returns
    -------
    ndarray, shape (n,)
        Volume flow over pressure at the reed end. [m³ s⁻¹ Pa⁻¹]
    """
    load = end_impedance(pieces[-1][2], end, omega, gas)
    return 1.0 / tube.input_impedance(tube.bore_two_port(pieces, omega, gas), load)


def end_impedance(radius: float, end: str, omega: Reals, gas: Gas) -> Complexes:
    """Return the radiation impedance [Pa s m⁻³] of an open end."""
    ka = omega * radius / gas.sound_speed
    reflect = {
        "unflanged": radiation.reflection_levine,
        "flanged": radiation.reflection_flanged_silva,
    }[end]
    reflected = reflect(ka)
    resistance = gas.density * gas.sound_speed / (math.pi * radius**2)
    return resistance * (1.0 + reflected) / (1.0 - reflected)


def sampled_admittance(
    reflection: Reflection, lumped: Throat, frequency: Reals, rate: float
) -> Complexes:
    """Return the input admittance that the time step realises, mouthpiece included.

    Parameters
    ----------
    reflection, lumped
        What `fit` and `throat` returned.
    frequency : ndarray, shape (n,)
        Below half of `rate`. [Hz]
    rate : float
        Steps per second. [Hz]

    Returns
    -------
    ndarray, shape (n,)
        [m³ s⁻¹ Pa⁻¹]
    """
    z = np.exp(2j * math.pi * frequency / rate)
    back, s = reflection.response(z), _bilinear(z, rate)
    waves = (1.0 - back) / (1.0 + back) * lumped.of_wave(s)
    return waves + lumped.at_throat(s) + s * lumped.compliance


def _bilinear(z: Complexes, rate: float) -> Complexes:
    return 2.0 * rate * (z - 1.0) / (z + 1.0)


@functools.lru_cache(maxsize=4096)
def fit(pieces: Pieces, end: str, volume: float, gas: Gas, rate: float) -> Reflection:
    """Fit the delay and the filter of a bore.

    Parameters
    ----------
    pieces : tuple of (length, entry_radius, exit_radius)
        From the reed to the open end. [m]
    end : {'unflanged', 'flanged'}
        Surroundings of the open end.
    volume : float
        Of the mouthpiece. [m³]
    gas : Gas
        Air in the bore.
    rate : float
        Steps per second. [Hz]

    Returns
    -------
    Reflection
        Passive: its response never exceeds 1, from DC to half the rate.
    """
    return _fit(pieces, end, throat(pieces, volume, gas), gas, rate)


@functools.lru_cache(maxsize=4096)
def _looks_ahead(pieces: Pieces, volume: float, gas: Gas) -> float:
    """Find how far ahead the throat's loss lies, by the height of the lowest impedance peak."""
    rate, end = 96000.0, "unflanged"
    length = sum(piece[0] for piece in pieces)
    hz = np.linspace(0.1, 0.6, 400) * gas.sound_speed / length
    exact = bore_admittance(pieces, end, 2.0 * math.pi * hz, gas)
    exact = exact + tube.cavity_admittance(volume, 2.0 * math.pi * hz, gas)
    peak = slice(int(np.abs(exact).argmin()), int(np.abs(exact).argmin()) + 1)
    low, high = LOOKS_AHEAD
    for _ in range(6):
        middle = 0.5 * (low + high)
        lumped = throat(pieces, volume, gas, middle)
        found = sampled_admittance(_fit(pieces, end, lumped, gas, rate), lumped, hz[peak], rate)
        low, high = (low, middle) if abs(found[0]) > abs(exact[peak][0]) else (middle, high)
    return 0.5 * (low + high)


def _fit(pieces: Pieces, end: str, lumped: Throat, gas: Gas, rate: float) -> Reflection:
    frequency = _fit_grid(rate)
    omega = 2.0 * math.pi * frequency
    z = np.exp(1j * omega / rate)
    unbent = 1.0 / (1.0 + (frequency / UNBENT_HZ) ** 4)
    bent = 1j * omega + unbent * (_bilinear(z, rate) - 1j * omega)
    waves = bore_admittance(pieces, end, omega, gas) - lumped.at_throat(bent)
    waves = (waves + (1j * omega - bent) * lumped.compliance) / lumped.of_wave(bent)
    target = (1.0 - waves) / (1.0 + waves)
    delay = max(3.0, 2.0 * sum(piece[0] for piece in pieces) / gas.sound_speed * rate)
    poles = np.exp(-2.0 * math.pi * np.geomspace(LOWEST_POLE_HZ, HIGHEST_POLE * rate, POLES) / rate)
    pair = np.exp(END_POLE * gas.sound_speed / (pieces[-1][2] * rate))
    ring = np.array((2.0 * pair.real, abs(pair) ** 2))
    weight = _relevance(frequency, rate / (4.0 * delay)) / np.maximum(
        1.0 - np.abs(target) ** 2, LEAST_LOSS
    )
    basis = functools.partial(_basis, delay, poles, ring)
    found = _passive_fit(basis, z, target, weight)
    return Reflection(delay, float(found[0]), found[1:-2] * (1.0 - poles), poles, found[-2:], ring)


def _relevance(frequency: Reals, lowest: float) -> Reals:
    """Return weights that favour the frequencies at which the horn resonates."""
    below, above = (lowest / frequency) ** 2, (frequency / 3000.0) ** 2
    return (1.0 + LOW_WEIGHT * below) / (1.0 + below) * (1.0 + HIGH_WEIGHT * above) / (1.0 + above)


def _fit_grid(rate: float) -> Reals:
    """Return frequencies [Hz] dense where the horn plays, up to nearly half the rate."""
    low = np.geomspace(8.0, 200.0, GRID // 6)
    middle = np.linspace(210.0, 6000.0, GRID // 2)
    return np.concatenate((low, middle, np.geomspace(6100.0, 0.49 * rate, GRID // 3)))


def _passive_fit(
    basis: Callable[[Complexes], Complexes],
    z: Complexes,
    target: Complexes,
    weight: Reals,
) -> Reals:
    """Solve the weighted linear least squares; pull the answer back wherever it exceeds 1."""
    rows, wanted = basis(z) * weight[:, None], target * weight
    dense = basis(np.exp(1j * math.pi * np.linspace(0.0, 1.0, 10 * GRID) ** 3))
    pull = np.zeros(len(dense))
    for _ in range(15):
        found = _solve(rows, wanted)
        response = dense @ found
        size = np.abs(response)
        over = size > 1.0 + 1e-9
        if not over.any():
            break
        pull[over] += 0.1 * weight.max()
        held = pull > 0.0
        aim = response[held] / np.maximum(size[held], 1.0) * pull[held] * 0.9999
        rows = np.vstack((rows[: z.size], dense[held] * pull[held, None]))
        wanted = np.concatenate((wanted[: z.size], aim))
    return found / max(1.0, np.abs(dense @ found).max() * (1.0 + BETWEEN_POINTS))


def _solve(rows: Complexes, wanted: Complexes) -> Reals:
    """Solve complex least squares for real unknowns."""
    matrix = np.vstack((rows.real, rows.imag))
    return np.linalg.lstsq(matrix, np.concatenate((wanted.real, wanted.imag)), None)[0]


def _basis(
    delay: float,
    poles: Reals,
    ring: Reals,
    z: Complexes,
) -> Complexes:
    """Return the responses, shape (z, 1 + POLES + 2), that the filter is a sum of."""
    back = 1.0 / z[:, None]
    pair = 1.0 / (1.0 - ring[0] * back + ring[1] * back**2)
    sections = (1.0 - poles) / (1.0 - poles * back)
    terms = np.hstack((np.ones_like(back), sections, pair, pair * back))
    return _delay_response(delay, z)[:, None] * terms
