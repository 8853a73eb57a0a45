"""Open holes that hear each other: what each sends into the open air loads all the others.

Openings are numbered along the bore, the one nearest the reed first; n is the number of
frequencies and N that of openings. Pressures [Pa] and volume flows [m³ s⁻¹] are per frequency,
shape (n, N); two-ports (A, B, C, D) as in `tube`, each entry of shape (n,); time factor e^{+jωt}.
"""

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import numpy.typing as npt

if TYPE_CHECKING:
    from reedbore.physics.air import Gas

Reals = npt.NDArray[np.float64]
Complexes = npt.NDArray[np.complex128]
TwoPort = tuple[Complexes, Complexes, Complexes, Complexes]


class Branch(NamedTuple):
    """The way from the bore out through one opening."""

    place: float
    """Along the bore. [m]"""
    radius: float
    """[m]"""
    inner: Complexes
    """Shape (n,): impedance of the air that moves inside the bore. [Pa s m⁻³]"""
    chimney: TwoPort
    """From the bore to where the sound leaves."""
    own: Complexes
    """Shape (n,): what the open air does to this opening alone. [Pa s m⁻³]"""


class Outflow(NamedTuple):
    """What openings do for 1 Pa at the reed."""

    admittance: Complexes
    """Shape (n,): flow into the bore at the reed. [m³ s⁻¹ Pa⁻¹]"""
    flows: Complexes
    """Shape (n, N): out of each opening. [m³ s⁻¹ Pa⁻¹]"""
    power: Reals
    """Shape (n,): mean sound power that leaves all of them, for an amplitude of 1 Pa. [W Pa⁻²]"""


def point_resistance(omega: Reals, gas: "Gas") -> Reals:
    """Radiation resistance of a small source in the open, ρω²/4πc [Pierce 1989, ch. 4].

    Parameters
    ----------
    omega : ndarray, shape (n,)
        Angular frequency. [rad s⁻¹]
    gas : Gas
        The air.

    Returns
    -------
    ndarray, shape (n,)
        [Pa s m⁻³]
    """
    return gas.density * omega**2 / (4.0 * math.pi * gas.sound_speed)


def outflow(ways: Sequence[TwoPort], branches: Sequence[Branch], radiation: Complexes) -> Outflow:
    """Solve bore, openings and open air together.

    Parameters
    ----------
    ways : sequence of TwoPort
        N of them: the bore from the reed to the first opening, and from each to the next.
    branches : sequence of Branch
        The N openings; the bore goes on behind each but the last.
    radiation : ndarray, shape (n, N, N)
        As from `radiation_matrix`. [Pa s m⁻³]

    Returns
    -------
    Outflow
        Admittance at the reed, flows and power outside.

    Notes
    -----
    The bore between openings takes the flow s - Y p from the pressures p at them: Y has D/B of
    the way behind and A/B of the one before on its diagonal, -1/B beside it, and s is 1/B of the
    first. With the chimneys (A, B, C, D)_j, inner impedances Z_i and p_out = Z U (after [1]_):

        [Y (Z_i (C Z + D) + A Z + B) + C Z + D] U = s

    References
    ----------
    .. [1] A. Lefebvre, G. P. Scavone and J. Kergomard, "External tonehole interactions in woodwind
       instruments," Acta Acust. united Acust. 99(6), 975-985, 2013.
    """
    a, b, c, d = (np.stack(part, axis=1)[:, :, None] for part in _by_entry(branches))
    inner = np.stack([branch.inner for branch in branches], axis=1)[:, :, None]
    one = np.eye(len(branches))
    inflow = c * radiation + d * one
    pressure = inner * inflow + a * radiation + b * one
    drive = np.zeros(pressure.shape[:2], np.complex128)
    drive[:, 0] = 1.0 / ways[0][1]
    system = _bore_admittances(ways) @ pressure + inflow
    flows = np.asarray(np.linalg.solve(system, drive[:, :, None]), np.complex128)
    first = (pressure[:, :1] @ flows)[:, 0, 0]
    power = 0.5 * (flows.conj() * (radiation @ flows)).real.sum(axis=(1, 2))
    admittance = np.asarray((ways[0][3] - first) / ways[0][1], np.complex128)
    return Outflow(admittance, flows[:, :, 0], power)


def _by_entry(branches: Sequence[Branch]) -> list[list[Complexes]]:
    """List A of all chimneys, then B, C, D."""
    return [[branch.chimney[entry] for branch in branches] for entry in range(4)]


def _bore_admittances(ways: Sequence[TwoPort]) -> Complexes:
    """Return Y, shape (n, N, N): flow that the bore takes at each opening for pressures there."""
    count = len(ways)
    found = np.zeros((ways[0][0].size, count, count), np.complex128)
    for j, (a, b, _, d) in enumerate(ways):
        found[:, j, j] += a / b
        if j:
            found[:, j - 1, j - 1] += d / b
            found[:, j - 1, j] = found[:, j, j - 1] = -1.0 / b
    return found
