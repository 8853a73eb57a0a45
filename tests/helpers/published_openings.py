"""How open holes and ends sound into each other: a rival of `openings.outflow` and its loads."""

import math
from collections.abc import Sequence

import numpy as np

from reedbore.physics.air import Gas
from reedbore.physics.openings import Branch, Complexes, Reals, point_resistance


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
