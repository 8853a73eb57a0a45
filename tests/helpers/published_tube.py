"""Loss at the wall of a tube by closed formulas: a rival of `tube.wall_loss`."""

import math

import numpy as np

from reedbore.physics.air import Gas
from reedbore.physics.tube import Complexes, Reals


def wall_loss_keefe(radius: float, omega: Reals, gas: "Gas") -> tuple[Complexes, Complexes]:
    """Propagation and characteristic impedance by a series for wide tubes, r_v above about 10.

    Parameters
    ----------
    radius : float
        Radius of the tube. [m]
    omega : ndarray, shape (n,)
        Angular frequency. [rad s⁻¹]
    gas : Gas
        The gas in the tube. The numbers of the series hold for air near 300 K.

    Returns
    -------
    propagation, impedance : ndarray, shape (n,)
        As in `wall_loss`. [m⁻¹], [Pa s m⁻³]

    Notes
    -----
    α = (ω/c)(1.045/r + 1.080/r² + 0.750/r³), v = c/(1 + 1.045/r),
    Z_c = (ρc/S)[(1 + 0.369/r) - j(0.369/r + 1.149/r² + 0.303/r³)] with r = r_v [1]_
    (coefficients from memory; `wall_loss` confirms them, see the tests).

    References
    ----------
    .. [1] D. H. Keefe, "Acoustical wave propagation in cylindrical ducts: transmission line
       parameter approximations for isothermal and nonisothermal boundary conditions,"
       J. Acoust. Soc. Am. 75(1), 58-62, 1984.
    """
    x = np.sqrt(gas.viscosity / (gas.density * omega)) / radius
    free = omega / gas.sound_speed
    plain = gas.density * gas.sound_speed / (math.pi * radius**2)
    attenuation = free * (1.045 * x + 1.080 * x**2 + 0.750 * x**3)
    propagation: Complexes = attenuation + 1j * free * (1.0 + 1.045 * x)
    resistance = plain * (1.0 + 0.369 * x)
    impedance: Complexes = resistance - 1j * plain * (0.369 * x + 1.149 * x**2 + 0.303 * x**3)
    return propagation, impedance
