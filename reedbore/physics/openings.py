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


def hole_load(radius: float, outer_end: float, omega: Reals, gas: "Gas") -> Complexes:
    """Load of the open air on one tone hole that nothing else sounds beside.

    Parameters
    ----------
    radius : float
        b. [m]
    outer_end : float
        Length of the air that moves along outside, over the radius.
    omega : ndarray, shape (n,)
        Angular frequency. [rad s⁻¹]
    gas : Gas
        The air.

    Returns
    -------
    ndarray, shape (n,)
        jωρ l/πb² + (ρω²/4πc) / (1 + (kb)²/4), l the outer length: a point source whose resistance
        stops growing where the hole is as wide as the wave is long [1]_ (the bound: common
        practice, no source). [Pa s m⁻³]

    References
    ----------
    .. [1] A. D. Pierce, "Acoustics: An Introduction to Its Physical Principles and Applications,"
       Acoustical Society of America, 1989, ch. 4.
    """
    mass = 1j * omega * gas.density * outer_end / (math.pi * radius)
    bound = 1.0 + (omega * radius / gas.sound_speed) ** 2 / 4.0
    return np.asarray(mass + point_resistance(omega, gas) / bound, np.complex128)


def radiation_matrix(branches: Sequence[Branch], omega: Reals, gas: "Gas") -> Complexes:
    """Pressure that the flow out of each opening makes in front of every other.

    Parameters
    ----------
    branches : sequence of Branch
        The N openings.
    omega : ndarray, shape (n,)
        Angular frequency. [rad s⁻¹]
    gas : Gas
        The air.

    Returns
    -------
    ndarray, shape (n, N, N)
        Symmetric; its real part has no negative eigenvalue, so that no set of flows takes power
        out of still air. [Pa s m⁻³]

    Notes
    -----
    Openings hear each other as point sources, jωρ e^{-jkd}/4πd at a distance d: external
    interaction of tone holes [1]_ [2]_. Those too wide for a point are weakened by the root of
    their own resistances over that of a point, √(R_i R_j)/R: the resistances are then
    √R_i sin(kd)/kd √R_j, whose middle factor has no negative eigenvalue for points on a line
    (ours). In the part that only moves mass, d is never less than the sum of the radii.

    References
    ----------
    .. [1] J. Kergomard, "Tone hole external interactions in woodwinds musical instruments,"
       Proc. 13th Int. Congr. Acoust., Belgrade, 1989.
    .. [2] A. Lefebvre, G. P. Scavone and J. Kergomard, "External tonehole interactions in woodwind
       instruments," Acta Acust. united Acust. 99(6), 975-985, 2013.
    """
    place = np.array([branch.place for branch in branches])
    radius = np.array([branch.radius for branch in branches])
    own = np.stack([branch.own for branch in branches], axis=1)
    apart = np.abs(place[:, None] - place)
    centres = np.maximum(apart, radius[:, None] + radius)
    root = np.sqrt(own.real)
    k = (omega / gas.sound_speed)[:, None, None]
    heard: Complexes = np.sinc(k * apart / math.pi) + 1j * np.cos(k * centres) / (k * centres)
    heard *= root[:, :, None] * root[:, None, :]
    numbers = np.arange(place.size)
    heard[:, numbers, numbers] = own
    return heard


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
