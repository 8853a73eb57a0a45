"""What a bore does at the reed without delay: its characteristic admittance, throat, mouthpiece.

Pressure waves are spherical in a cone and plane in a cylinder: a pressure p = p⁺ + p⁻ drives the
flow Yc (p⁺ - p⁻) through the characteristic admittance, and, in a cone, one more flow Yt p through
the inertance of the throat.
"""

import math
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from reedbore.kernel.rows import BRANCHES
from reedbore.physics import tube
from reedbore.physics.air import Gas
from reedbore.simulate.acoustics.bore import Piece
from reedbore.simulate.acoustics.rational import solve

Reals = NDArray[np.float64]
Complexes = NDArray[Any]

BRANCH_HZ = 1.0, 1000.0


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


def throat(piece: Piece, volume: float, gas: Gas, looks_ahead: float) -> Throat:
    """Return the lumped elements at the narrow end of a piece of bore.

    Parameters
    ----------
    piece : tuple of length, entry_radius, exit_radius
        The first piece. [m]
    volume : float
        Of the mouthpiece. [m³]
    gas : Gas
        Air in the bore.
    looks_ahead : float
        The throat of a cone loses like the bore so many wavelengths/2π ahead.

    Returns
    -------
    Throat
        For a cone with the lossy inertance 1/(Zc Γ x₁) of its spherical waves; that of a narrowing
        piece would be negative and is left to the reflection.
    """
    length, entry, far = piece
    resistance = gas.density * gas.sound_speed / (math.pi * entry**2)
    rates = 2.0 * math.pi * np.geomspace(*BRANCH_HZ, BRANCHES)
    omega = 2.0 * math.pi * np.geomspace(8.0, 6000.0, 60)
    branches = 1.0 / (1j * omega[:, None] + rates)
    taper = max(far - entry, 0.0) / (length * entry)
    seen = np.minimum(
        entry * (1.0 + looks_ahead * taper * gas.sound_speed / omega), max(entry, far)
    )
    propagation, impedance = tube.wall_loss(seen, omega, gas)  # type: ignore[arg-type]
    admittance = (entry / seen) ** 2 / impedance
    wave = solve(branches, admittance - 1.0 / resistance)
    inertances = np.zeros(BRANCHES)
    if far > entry:
        inertances = _never_negative(branches, taper / propagation * admittance)
    return Throat(resistance, volume / (gas.density * gas.sound_speed**2), inertances, wave, rates)


def _never_negative(basis: Complexes, wanted: Complexes) -> Reals:
    """Fit by relative least squares, dropping terms until none left is negative."""
    scaled = basis / wanted[:, None]
    keep = np.arange(basis.shape[1])
    found = solve(scaled, np.ones_like(wanted))
    while found.min() < 0.0:
        keep = np.delete(keep, found.argmin())
        found = solve(scaled[:, keep], np.ones_like(wanted))
    strengths = np.zeros(basis.shape[1])
    strengths[keep] = found
    return strengths
